"""The form that begins a run becomes a command line, and no value can become an option of its own."""

from pathlib import Path

import click
import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.cli.capture import capture, resume
from controller.errors import InputError
from controller.page.served import ServedFolder
from controller.page.starting import RunAsked, StartAsked, resume_arguments, start_arguments

VALUE = st.text(st.characters(codec="utf-8", categories=("L", "N", "P", "S", "Zs")), min_size=1, max_size=30)


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> ServedFolder:
    where = tmp_path_factory.mktemp("served")
    for name in ("--help.json", "plan.json", "kit.toml", "-.sqlite"):
        (where / name).touch()
    return ServedFolder.at(where)


def parsed(command: click.Command, arguments: list[str]) -> dict[str, object]:
    """What the command line makes of the arguments, without running it."""
    assert arguments[0] == command.name
    return dict(command.make_context(str(command.name), arguments[1:]).params)


@given(
    place=VALUE, port=VALUE, countdown=st.integers(0, 600), skip=st.booleans(), tether=st.booleans(),
    minutes=st.one_of(st.none(), st.floats(1, 6000)), energy=st.one_of(st.none(), st.floats(0.1, 100_000)),
)  # fmt: skip
def test_every_value_arrives_as_itself_or_is_refused(
    folder: ServedFolder, place: str, port: str, countdown: int, skip: bool, tether: bool,
    minutes: float | None, energy: float | None,
) -> None:  # fmt: skip
    asked = StartAsked(
        plan="--help.json", kit="kit.toml", place=place, port=port, countdown=countdown, skip_sweep=skip, tether=tether,
        pause_minutes=minutes, pause_wh=energy,
    )  # fmt: skip
    if not port.strip():
        with pytest.raises(InputError, match="port"):
            start_arguments(folder, asked)
        return
    try:
        found = parsed(capture, start_arguments(folder, asked))
    except click.UsageError as error:
        assert "--place" in error.format_message() or "--port" in error.format_message()  # noqa: PT017  its words matter
        return
    assert (found["port"], found["countdown"]) == (port.strip(), countdown)
    assert found["place"] == (place if place.strip() else None)
    assert (found["skip_sweep"], found["tether"], found["detach"], found["as_json"]) == (skip, tether, True, True)
    assert found["plan"] == folder.root / "--help.json"
    assert found["kit"] == folder.root / "kit.toml"
    assert (found["pause_every"] is None) == (minutes is None)
    assert found["pause_every_wh"] == (None if energy is None else pytest.approx(energy, rel=1e-5))


def test_a_session_with_the_name_of_an_option_is_continued(folder: ServedFolder) -> None:
    entry = folder.find("-.sqlite")
    assert entry is not None
    found = parsed(resume, resume_arguments(entry, RunAsked()))
    assert found["session"] == folder.root / "-.sqlite"
    assert found["port"] is None


@pytest.mark.parametrize("name", ["../plan.json", "gone.json", "", "/etc/passwd"])
def test_a_plan_outside_the_folder_is_refused(folder: ServedFolder, name: str) -> None:
    with pytest.raises(InputError, match="in this folder"):
        start_arguments(folder, StartAsked(plan=name, port="port"))


def test_nothing_is_written_by_the_form(folder: ServedFolder) -> None:
    start_arguments(folder, StartAsked(plan="plan.json", port="port", place="Ledge"))
    assert sorted(path.name for path in Path(folder.root).iterdir()) == [
        "--help.json",
        "-.sqlite",
        "kit.toml",
        "plan.json",
    ]
