"""Write docs/reference/ from the command line's own help and the models: `python -m tests.repo.reference`.

Commands are found by walking the command line, tables of files by walking the models' JSON Schemas. Only the files that
people handle are listed here. The meaning of a kit's keys is in kit_words.toml beside this module.
"""

import json
from collections.abc import Iterator
from pathlib import Path

import click

from controller.calibration.records import CalibrationFile
from controller.cli.command import path_of
from controller.cli.headings import under_headings
from controller.cli.main import cli
from controller.kit.schema import kit_schema
from controller.planning.plan import Plan
from controller.report.summary import Summary
from tests.repo.files_page import files_page
from tests.repo.scenario_page import scenario_page
from tests.repo.schemas import bounds, model_page
from tests.repo.trouble_page import write_trouble_pages

FOLDER = Path(__file__).resolve().parents[2] / "docs" / "reference"
MADE_BY = "<!-- Written by `python -m tests.repo.reference`: change the program, not this page. -->"
NAMES = {"integer range": "whole number", "integer": "whole number", "float": "number", "float range": "number"}
CAUTION = (
    "**The head moves by itself.** Read the [cautions](../../../README.md#before-anything-moves) first, and have a "
    "switch within reach that cuts the motor power. Nothing in this program is an emergency stop."
)
FILES = {
    "kit.md": ("The kit file", """\
A kit is one [TOML](https://toml.io) file. Only `[camera]` and `[lens]` are needed. The defaults under `[head]`
describe no real head: you can plan and rehearse with them, but the program moves no real head with them. Take your
head's figures from its maker's handbook, then [measure](../how-to/calibrate-steps.md) them.

In place of `sensor_width_mm` and `sensor_height_mm` a kit may name its camera (`make` and `model`) as the open
lens data does (lensfun project, CC BY-SA 3.0), and its lens likewise: `fullturn kit find` prints the names. A
key that the program does not know is a mistake, so that a typing error is found at once.

The same for editors: [kit.schema.json](kit.schema.json), and [how to use it](../how-to/edit-a-kit.md)."""),
    "plan.md": ("The plan file", """\
`fullturn plan` writes it; `rehearse`, `capture` and `calibrate verify` read it. It holds everything needed to
shoot the set. Other programs may read it, but do not edit it. `hash` seals the rest, so a plan that was changed by
hand is refused. `kit` is a whole [kit](kit.md)."""),
    "calibration.md": ("The calibration file", """\
`fullturn calibrate` keeps what it measures in `NAME.calibration.json` beside `NAME.toml`. No record is ever
removed; one that was undone is marked. The newest record counts of those whose part of the kit is still what it
was."""),
    "report.md": ("The report file", """\
`fullturn rehearse` writes `report.json`, and so does `fullturn report --out FOLDER`. `fullturn capture --json`
and `fullturn report --json` print the same."""),
}  # fmt: skip


def pages() -> dict[str, str]:
    """Every generated file by its path below docs/reference, as text."""
    kit = kit_schema()
    schemas = {
        "kit.md": kit,
        "plan.md": Plan.model_json_schema(mode="serialization"),
        "calibration.md": CalibrationFile.model_json_schema(mode="serialization"),
        "report.md": Summary.model_json_schema(mode="serialization"),
    }
    of_kits = frozenset(kit["$defs"]) | {"Kit"}
    files = {"kit.schema.json": json.dumps(kit, indent=1, ensure_ascii=False) + "\n"}
    for name, (title, about) in FILES.items():
        files[name] = model_page(MADE_BY, title, about, schemas[name], frozenset() if name == "kit.md" else of_kits)
    files["scenario.md"] = scenario_page(MADE_BY)
    files["files.md"] = files_page(MADE_BY)
    commands = dict(_walk(cli, click.Context(cli, info_name="fullturn", **cli.context_settings)))
    files |= {f"commands/{name.replace(' ', '-')}.md": _page(*each) for name, each in commands.items()}
    files["README.md"] = _index({name: command for name, (command, _) in commands.items()})
    return files


def _walk(command: click.Command, context: click.Context) -> Iterator[tuple[str, tuple[click.Command, click.Context]]]:
    yield context.command_path, (command, context)
    if isinstance(command, click.Group):
        for name in command.list_commands(context):
            below = command.get_command(context, name)
            if below is not None and not below.hidden:
                yield from _walk(below, click.Context(below, info_name=name, parent=context))


def _page(command: click.Command, context: click.Context) -> str:
    name = context.command_path
    usage = " ".join([name, *command.collect_usage_pieces(context)])
    parts = [MADE_BY, f"# {name}", _paragraphs(command.help or "")]
    options = [each for each in command.get_params(context) if isinstance(each, click.Option)]
    shown = [each for each in options if not each.hidden and "--help" not in each.opts]
    if any("--port" in each.opts for each in shown) and "board" not in name:
        parts.append(CAUTION)
    parts.append(f"```text\n{usage}\n```")
    if isinstance(command, click.Group):
        rows = []
        for each, (below, _) in _walk(command, context):
            if each != name:
                rows.append(f"| [`{each}`]({each.replace(' ', '-')}.md) | {below.get_short_help_str(200)} |")
        parts.append("\n".join(["| command | what it does |", "| --- | --- |", *rows]))
    headed = list(under_headings(path_of(context), shown))
    for heading, group in headed:
        rows = [f"| {_opts(each)} | {_cell(_takes(each))} | {_cell(_meaning(each))} |" for each in group]
        title = [f"## {heading}", ""] if len(headed) > 1 else []
        parts.append("\n".join([*title, "| option | takes | meaning |", "| --- | --- | --- |", *rows]))
    return "\n\n".join(parts) + "\n"


def _paragraphs(text: str) -> str:
    """Help as Markdown: its paragraphs, each on one line."""
    return "\n\n".join(" ".join(part.split()) for part in text.split("\n\n"))


def _cell(text: str) -> str:
    return text.replace("|", "\\|").replace("<", "&lt;")


def _opts(option: click.Option) -> str:
    return ", ".join(f"`{name}`" for name in (*option.opts, *option.secondary_opts))


def _takes(option: click.Option) -> str:
    if option.is_flag or option.count:
        return ""
    if isinstance(option.type, click.Choice):
        return " or ".join(f"`{choice}`" for choice in option.type.choices)
    kinds = list(option.type.types) if isinstance(option.type, click.Tuple) else [option.type] * option.nargs
    numbers = [_number(kind) for kind in kinds]
    same = len(set(numbers)) == 1 and len(numbers) > 1
    text = f"{len(numbers)} times: {numbers[0]}" if same else ", ".join(numbers)
    if option.metavar is None:
        return text
    told = f" ({text})" if any(_is_range(kind) for kind in kinds) else ""
    return f"`{option.metavar}`{told}"


def _is_range(kind: click.ParamType) -> bool:  # type: ignore[type-arg]
    return isinstance(kind, click.IntRange | click.FloatRange)


def _number(kind: click.ParamType) -> str:  # type: ignore[type-arg]
    text = NAMES.get(kind.name, kind.name)
    if not isinstance(kind, click.IntRange | click.FloatRange):
        return text
    return text + (bounds(None, kind.max, kind.min) if kind.min_open else bounds(kind.min, kind.max))


def _meaning(option: click.Option) -> str:
    text = option.help or ""
    if option.required:
        text += " **Needed.**"
    if option.multiple:
        text += " May be given several times."
    if option.show_default and not option.is_flag:
        text += f" Default: `{option.default}`."
    return text.strip()


def _index(commands: dict[str, click.Command]) -> str:
    rows = [
        f"| [`{name}`](commands/{name.replace(' ', '-')}.md) | {_cell(command.get_short_help_str(200))} |"
        for name, command in commands.items()
    ]
    files = [f"- [{title}]({name})" for name, (title, _) in FILES.items()]
    files.append("- [The scenario file](scenario.md)")
    return "\n".join([
        MADE_BY, "", "# Reference", "",
        "Every command, option and key, written by the program itself. To learn, begin with the",
        "[tutorial](../tutorial.md).", "",
        "Every command also has `--help`. Exit status: 0 done, 1 it could not be done (one sentence says why),",
        "2 wrong use.", "",
        "## Commands", "", "| command | what it does |", "| --- | --- |", *rows, "",
        "## Files", "", *files, "- [The kit file's JSON Schema](kit.schema.json), for editors", "",
    ])  # fmt: skip


def write() -> None:
    """Write all pages, and remove those of commands that no longer exist."""
    new = pages()
    for path in sorted(FOLDER.rglob("*")):
        if path.is_file() and path.relative_to(FOLDER).as_posix() not in new:
            path.unlink()
    for name, text in new.items():
        (FOLDER / name).parent.mkdir(parents=True, exist_ok=True)
        (FOLDER / name).write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    write()
    write_trouble_pages()
