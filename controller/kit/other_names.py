"""The printed names of cameras and lenses, if the open lens data has them beside the names in the EXIF.

The library that reads the data leaves them out, so they are read from its own files (lensfun project, CC BY-SA 3.0):
`<model>` is what the camera writes, `<model lang="en">` what is printed on it.
"""

from functools import cache
from importlib.resources import files
from xml.etree import ElementTree

FOLDER = "db_files"
NOT_NAMES = {"fixed lens", "standard"}  # the data's names for the lens of a camera that cannot change it


@cache
def other_names() -> dict[tuple[str, str], str]:
    """The other name of each model, by maker and model; empty if the package contains no files."""
    found: dict[tuple[str, str], str] = {}
    for file in sorted(files("lensfunpy").joinpath(FOLDER).iterdir(), key=lambda file: file.name) if _is_there() else ():
        if file.name.endswith(".xml"):
            try:
                root = ElementTree.fromstring(file.read_bytes())  # a file of our own dependency's package
            except (OSError, ElementTree.ParseError):
                continue
            for entry in (*root.iter("camera"), *root.iter("lens")):
                names = {model.get("lang"): _clean(model.text) for model in entry.findall("model")}
                own, other = names.get(None, ""), names.get("en", "")
                if other and other.casefold() not in NOT_NAMES and other != own:
                    found.setdefault((_clean(entry.findtext("maker")), own), other)
    return found


def _is_there() -> bool:
    return files("lensfunpy").joinpath(FOLDER).is_dir()


def _clean(text: str | None) -> str:
    return " ".join((text or "").split())
