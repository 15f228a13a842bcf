"""An invented head with all figures stated, so that a run may move it: as tables, and as the text of a kit file."""

from __future__ import annotations

from typing import Any

from controller.kit.own_head import GEARING, MOTION

AXES = {"pan": (200, 16, 36.0, 30.0, 40.0, -370.0, 370.0), "tilt": (200, 16, 36.0, 30.0, 40.0, -95.0, 95.0)}
HEAD: dict[str, dict[str, Any]] = {
    axis: dict(zip((*GEARING, *MOTION), figures, strict=True)) for axis, figures in AXES.items()
}


def head_with(**axes: dict[str, Any]) -> dict[str, Any]:
    """The head with these keys added or replaced."""
    return {**HEAD, **{name: HEAD[name] | value if name in HEAD else value for name, value in axes.items()}}


def head_text(**axes: dict[str, Any]) -> str:
    """The head's tables as in a kit file."""
    lines: list[str] = []
    for axis, keys in head_with(**axes).items():
        lines += [f"[head.{axis}]", *(f"{key} = {str(value).lower()}" for key, value in keys.items())]
    return "\n".join(lines) + "\n"
