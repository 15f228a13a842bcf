"""Plan files of older versions: each is migrated to the next version, and so on to this one. Never backward.

A migration takes the content of a file whose hash still fits, and returns the content of the next version. It computes
what the older program did not store, and adds a new hash.
"""

import json
from collections.abc import Callable
from typing import Annotated, Any

from pydantic import BaseModel, ConfigDict, Field

from controller.kit.kit import Kit
from controller.planning.budget import cost
from controller.planning.cores import cores_at
from controller.planning.coverage import prove_coverage
from controller.planning.findings import link_record, proof_record
from controller.planning.links import find_links
from controller.planning.motion import mover_of
from controller.planning.order import Order
from controller.planning.plan import FORMAT_VERSION, Frame, Region, content_hash
from controller.planning.reached_poses import poses_of
from controller.planning.region import Bounds
from controller.planning.request import Arrangement, RegionKind

OLDEST_VERSION = 1
Content = dict[str, Any]


def migrated(content: Content, version: int) -> Content:
    """Migrate the content of a plan file of `version` to this version. Raises ValidationError if it is not a plan's."""
    for older in range(version, FORMAT_VERSION):
        content = MIGRATIONS[older](content) | {"format_version": older + 1}
        content["hash"] = content_hash(content)
    return content


class _Plan1(BaseModel):
    """The part of a plan of version 1 that the next version needs."""

    model_config = ConfigDict(frozen=True, allow_inf_nan=False)

    overlap: Annotated[float, Field(ge=0, le=0.9)]
    kit: Kit
    frames: Annotated[tuple[Frame, ...], Field(min_length=1)]


def _from_1(content: Content) -> Content:
    """Version 1 planned the whole sphere in rows, shot row by row. It stored no links, and only part of the budget.

    Its proof found the worst margin by another method, so the frames are proved again.
    """
    old = _Plan1.model_validate_json(json.dumps(content, allow_nan=False))
    whole = Bounds()
    region = Region(
        kind=RegionKind.SPHERE,
        pitch_from_deg=whole.pitch_from_deg,
        pitch_to_deg=whole.pitch_to_deg,
        yaw_from_deg=whole.yaw_from_deg,
        yaw_width_deg=whole.yaw_width_deg,
        unreachable_sr=0.0,
    )
    field, poses = old.kit.field(old.overlap), poses_of(old.kit.head, old.frames)
    links = find_links(field, *poses)
    parts: dict[str, BaseModel] = {
        "region": region,
        "proof": proof_record(old.kit, prove_coverage(cores_at(field, *poses), whole)),
        "links": link_record(links),
        "budget": cost(old.kit, field, region, old.frames, links, Order.ROWS, mover_of(old.kit, old.frames)),
    }
    return {
        **content,
        **{name: part.model_dump(mode="json") for name, part in parts.items()},
        "arrangement": Arrangement.ROWS.value,
        "order": Order.ROWS.value,
    }


MIGRATIONS: dict[int, Callable[[Content], Content]] = {1: _from_1}
"""For each older version, the function that migrates the content to the next one."""
