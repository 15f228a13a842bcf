"""The view of one kit: its figures as a form, and the file itself as a text.

The text is what counts; the form changes it.
"""

from typing import Annotated, Any, Literal

from pydantic import Field
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import BaseRoute

from controller.errors import InputError
from controller.files import write_whole
from controller.kit.draft import Draft, kit_text
from controller.own_names import KIT as ENDING
from controller.page.asked import AskedOnPage
from controller.page.kit_form import changes, fields, groups, key_of, shown_value
from controller.page.kit_text import value_at, with_values
from controller.page.page import Page
from controller.page.routing import body_of, control, say, see
from controller.page.served import ServedEntry
from controller.reading import KIT, digest_of, parse_toml, read_text

LONGEST_TEXT = 48_000  # characters: a request holds 64 KB
NEW_NAME = f"kit{ENDING}"
BLANK = Draft(None, None, None, None)


class SearchAsked(AskedOnPage):
    """Words of a camera's or a lens's name."""

    words: Annotated[str, Field(max_length=200)]
    kind: Literal["camera", "lens"]


class KitAsked(AskedOnPage):
    """A kit's name (empty for a new one that has none yet), its text, and what was typed in the form, by key."""

    name: Annotated[str, Field(max_length=200)] = ""
    text: Annotated[str, Field(max_length=LONGEST_TEXT)]
    values: dict[str, Annotated[str, Field(max_length=200)]]

    @property
    def file_name(self) -> str:
        """The name of the file."""
        bare = self.name.strip().removesuffix(ENDING)
        return f"{bare}{ENDING}" if bare else NEW_NAME


class KitSaved(KitAsked):
    """The same to be saved; `digest` is that of the file when it was read, empty for a new one."""

    digest: Annotated[str, Field(max_length=100)] = ""


def routes(page: Page) -> list[BaseRoute]:
    """The view's routes."""
    return [
        see(page, "/kit", show),
        see(page, "/kit/{name}", show),
        say(page, "/kits/find", find),
        say(page, "/kits/judge", judge),
        control(page, "/kits/save", save),
    ]


def show(page: Page, request: Request) -> Response:
    """The view itself, of a kit or of a new one."""
    name, text, digest = "", kit_text(BLANK), ""
    if "name" in request.path_params:
        entry = page.folder.must_find(request.path_params["name"], "kit", ENDING)
        name, text, digest = entry.name, read_text(entry.path, KIT), digest_of(entry.path, KIT)
        if len(text) > LONGEST_TEXT:
            raise InputError(f"{entry.name}: is too long to be changed on the page. Change the file itself.")
    return page.show(request, "kit.html", "set-up", script="kit", groups=groups(), name=name, text=text, digest=digest)


async def find(page: Page, request: Request) -> Response:
    """Cameras or lenses of the open lens data."""
    asked = await body_of(request, SearchAsked)
    return JSONResponse(await page.kits.find(asked.words, asked.kind))


async def judge(page: Page, request: Request) -> Response:
    """The text with what was typed in it, and what follows from it or is wrong with it."""
    return JSONResponse(await _judged(page, await body_of(request, KitAsked)))


async def _judged(page: Page, asked: KitAsked) -> dict[str, Any]:
    """The merged text, the values of its form, and the answer of `kit_worker`, with each mistake's field."""
    name, known = asked.file_name, fields()
    try:
        text = _merged(asked)
    except InputError as error:
        return {"text": asked.text, "mistakes": _placed(error.sentences, name)}
    entry = page.folder.find(name)
    answer = await page.kits.judge(text, name, None if entry is None else entry.path)
    tables = parse_toml(text, name, KIT)
    values = {key: shown_value(value_at(tables, key)) for key in known}
    return answer | {"text": text, "values": values, "mistakes": _placed(answer.get("mistakes", []), name)}


def _merged(asked: KitAsked) -> str:
    """The text with what was typed in the form. Raises InputError."""
    if unknown := asked.values.keys() - fields().keys():
        raise InputError(f"{min(unknown)} is not in the form. Load the page again.")
    tables = parse_toml(asked.text, asked.file_name, KIT)
    return with_values(asked.text, asked.file_name, changes(tables, asked.values))


def _placed(sentences: list[str] | tuple[str, ...], name: str) -> list[dict[str, str]]:
    return [{"sentence": each, "key": key_of(each, name, list(fields()))} for each in sentences]


async def save(page: Page, request: Request) -> Response:
    """Write the kit, if it can be used and nobody has changed it meanwhile."""
    asked = await body_of(request, KitSaved)
    judged = await _judged(page, asked)
    if judged["mistakes"] or "refused" in judged:
        sentence = judged.get("refused", "The kit is not saved: correct what is marked first.")
        return JSONResponse(judged | {"sentence": sentence}, 409)
    path = page.folder.new_path(asked.file_name)
    entry = page.folder.find(asked.file_name)
    _must_be_as_read(entry, asked.digest)
    write_whole(
        path, judged["text"], replace=entry is not None, ours=lambda there: digest_of(there, KIT) == asked.digest,
    )  # fmt: skip
    return JSONResponse(
        judged | {"sentence": f"The kit is saved as {path.name}.", "name": path.name, "digest": digest_of(path, KIT)}
    )


def _must_be_as_read(entry: ServedEntry | None, digest: str) -> None:
    """Raise InputError if a file was made or changed since the page read it."""
    if entry is None:
        return
    if not digest:
        raise InputError(f"{entry.name}: exists already. Choose another name, or open that kit.")
    if digest_of(entry.path, KIT) != digest:
        raise InputError(
            f"{entry.name}: was changed meanwhile, so it is not replaced. Copy what you typed, and load the page again."
        )
