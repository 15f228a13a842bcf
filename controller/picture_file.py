"""Open a user's picture: its EXIF, and its pixels upright. All pictures are opened here.

Any fault becomes one sentence. The decoding libraries fail in ways of their own, so only here every exception of theirs
is caught.
"""

import io
import logging
import math
import os
import warnings
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO, TypeVar

import exifread
import numpy as np
from PIL import Image, UnidentifiedImageError
from PIL.ExifTags import IFD, Base

from controller import exif
from controller.errors import InputError
from controller.raw_preview import largest_preview
from controller.reading import FileKind, open_file, refuse

Read = TypeVar("Read")
MOST_BYTES = 2**32  # a TIFF cannot be larger: its offsets have 32 bits (TIFF 6.0, section 2)
MOST_PIXELS = 2**29  # a sphere of 32768 x 16384; at 4 bytes each while one is decoded, 2.1 GB (measured 2.0 GB for 400 M)
MOST_READS = 100_000  # from the head of a file; real ones took 820 at most. EXIF directories may form a loop
MOST_HEAD_BYTES = 2**26
PHOTOGRAPH = FileKind("a photograph", MOST_BYTES, "Give a JPEG or TIFF as the camera wrote it.")
SCENERY = FileKind("a picture", MOST_BYTES, "Give a JPEG, PNG or TIFF.")
FORMATS = {PHOTOGRAPH: ("JPEG", "TIFF"), SCENERY: ("JPEG", "TIFF", "PNG")}
RAW = frozenset({".dng", ".nef", ".cr2", ".cr3", ".arw", ".raf", ".rw2", ".orf", ".pef", ".srw"})
"""Endings of raw files. Their picture is the largest JPEG preview inside them."""
RAW_TAGS = {
    Base.Make: "Image Make", Base.Model: "Image Model", Base.Orientation: "Image Orientation",
}  # fmt: skip
RAW_DETAILS = {
    Base.DateTimeOriginal: "EXIF DateTimeOriginal", Base.ExposureTime: "EXIF ExposureTime",
    Base.FocalLength: "EXIF FocalLength", Base.FocalLengthIn35mmFilm: "EXIF FocalLengthIn35mmFilm",
}  # fmt: skip
END_OF_JPEG = b"\xff\xd9"
END_BYTES = 65536  # the end of a JPEG is searched here: some cameras write more after it
BLOCK_ROWS = 256
UPRIGHT = {
    2: Image.Transpose.FLIP_LEFT_RIGHT,
    3: Image.Transpose.ROTATE_180,
    4: Image.Transpose.FLIP_TOP_BOTTOM,
    5: Image.Transpose.TRANSPOSE,
    6: Image.Transpose.ROTATE_270,
    7: Image.Transpose.TRANSVERSE,
    8: Image.Transpose.ROTATE_90,
}
"""How to turn a picture by its Orientation (CIPA DC-008, section 4.6.5.1); any other value means nothing."""

Image.MAX_IMAGE_PIXELS = None  # the library's own limit is below what cameras shoot; ours is MOST_PIXELS
for _name in ("exifread", "PIL"):
    logging.getLogger(_name).setLevel(logging.CRITICAL + 1)  # this module reports what they cannot read


@dataclass(frozen=True, slots=True)
class Facts:
    """Facts of a picture: width and height as stored, and the values of its directories by tag number.

    `tags` is the first directory, `details` is Exif's; `exif` interprets the values. Of a raw file, the size is the
    preview's, and only the tags that this program uses are there.
    """

    size_px: tuple[int, int]
    tags: Mapping[int, Any]
    details: Mapping[int, Any]


@dataclass(frozen=True, slots=True, eq=False)
class Grey:
    """A photograph in grey, eight bits, upright; `share` is its size relative to the file's own picture."""

    picture: Image.Image
    share: float
    facts: Facts


@dataclass(frozen=True, slots=True, eq=False)
class Coloured:
    """A photograph in red, green and blue, eight bits each, upright; `share` is its size relative to the file's own
    picture.
    """

    picture: Image.Image
    share: float


@dataclass(frozen=True, slots=True)
class CardTags:
    """Facts of a file on a card, raw or not: values by the library's tag names, whether a JPEG reaches its end, and its
    size.

    The size is in bytes.
    """

    tags: Mapping[str, Any]
    whole: bool
    size: int


def read_facts(path: Path, kind: FileKind = PHOTOGRAPH) -> Facts:
    """Read a picture's facts without decoding its pixels. Raises InputError."""
    with open_file(path, kind) as file:
        return _decoded(path, kind, "its first part is damaged", lambda: _facts(_Head(file), path, kind))


def _facts(file: BinaryIO, path: Path, kind: FileKind) -> Facts:
    with Image.open(_seen(file, path, kind), formats=FORMATS[kind]) as image:
        _must_fit(image, path, kind)
        if _is_raw(path, kind):
            return Facts(image.size, *_raw_tags(file))
        tags = image.getexif()
        return Facts(image.size, dict(tags), dict(tags.get_ifd(IFD.Exif)))


def _is_raw(path: Path, kind: FileKind) -> bool:
    return kind is PHOTOGRAPH and path.suffix.lower() in RAW


def _seen(file: BinaryIO, path: Path, kind: FileKind = PHOTOGRAPH) -> BinaryIO:
    """The picture of a file: the file itself, or a raw file's largest preview. Raises InputError if it has none."""
    if not _is_raw(path, kind):
        return file
    preview = largest_preview(_Head(file))
    if preview is None:
        refuse(path, kind, "is a raw file without a preview that can be read")
    file.seek(preview.begin)
    return io.BytesIO(file.read(preview.length))


def _raw_tags(file: BinaryIO) -> tuple[dict[int, Any], dict[int, Any]]:
    """The tags of a raw file that are used here."""
    file.seek(0)
    read = exifread.process_file(_Head(file), details=False, extract_thumbnail=False)

    def values(names: Mapping[Base, str]) -> dict[int, Any]:
        found = {tag: read[name].values for tag, name in names.items() if name in read}
        return {tag: one[0] if isinstance(one, list) and len(one) == 1 else one for tag, one in found.items()}

    return values(RAW_TAGS), values(RAW_DETAILS)


def _must_fit(image: Image.Image, path: Path, kind: FileKind) -> None:
    width, height = image.size
    if width * height > MOST_PIXELS:
        what = f"has {width} x {height} pixels, more than the {MOST_PIXELS / 1e6:.0f} million that are read"
        refuse(path, kind, what)


def read_grey(path: Path, least_px: int | None = None, orientation: int | None = None) -> Grey:
    """Read a photograph's pixels, of a raw file those of its preview. Raises InputError.

    With `least_px` a JPEG may be decoded smaller, with no side below that, to save time and memory. `orientation` counts
    instead of the file's own (see UPRIGHT); a TIFF keeps its own.
    """
    facts = read_facts(path)
    return Grey(*_pixels(path, facts, "L", least_px, orientation), facts)


def read_upright(path: Path, least_px: int | None = None, orientation: int | None = None) -> Coloured:
    """Read a photograph's pixels in colour, as `read_grey` does in grey. Raises InputError."""
    return Coloured(*_pixels(path, read_facts(path), "RGB", least_px, orientation))


def _pixels(
    path: Path, facts: Facts, mode: str, least_px: int | None, orientation: int | None
) -> tuple[Image.Image, float]:
    """The pixels in `mode`, and their share of the full size. A raw file's preview is turned as the raw file says."""
    if orientation is None and _is_raw(path, PHOTOGRAPH):
        orientation = exif.whole(facts.tags.get(Base.Orientation)) or 1
    with open_file(path, PHOTOGRAPH) as file:
        damage = "its pixels are damaged, or cut short"
        return _decoded(path, PHOTOGRAPH, damage, lambda: _upright(_seen(file, path), mode, least_px, orientation))


def _upright(file: BinaryIO, mode: str, least_px: int | None, orientation: int | None) -> tuple[Image.Image, float]:
    """The pixels in `mode` ("L" or "RGB"), and their share of the full size."""
    # Pass the open file, not its name: with a name, Pillow 13 maps a plain TIFF into memory and garbles one that is
    # rotated.
    with Image.open(file, formats=FORMATS[PHOTOGRAPH]) as image:
        own = max(image.size)
        image.draft(mode, None if least_px is None else (least_px, least_px))
        share = 0.5 ** round(math.log2(own / max(image.size)))
        image.load()  # now a TIFF is upright and has lost its orientation tag; a JPEG is not yet
        own_orientation = exif.whole(image.getexif().get(Base.Orientation)) or 1
        turn = UPRIGHT.get(own_orientation if orientation is None or image.format == "TIFF" else orientation)
        codes = _in_mode(image, mode)
        return (codes if turn is None else codes.transpose(turn)), share


def _in_mode(image: Image.Image, mode: str) -> Image.Image:
    deep = image.mode.startswith(("I", "F"))
    return (_eight_bits(image) if deep or mode == "L" else image).convert(mode)


def read_colours(path: Path, widest: int) -> Image.Image:
    """Read a picture in red, green and blue, as stored, at most `widest` pixels across. Raises InputError."""
    read_facts(path, SCENERY)
    with open_file(path, SCENERY) as file:
        return _decoded(path, SCENERY, "its pixels are damaged, or cut short", lambda: _colours(file, widest))


def _colours(file: BinaryIO, widest: int) -> Image.Image:
    with Image.open(file, formats=FORMATS[SCENERY]) as image:
        image.load()
        colours = _in_mode(image, "RGB")
    if colours.width <= widest:
        return colours
    return colours.resize((widest, max(1, round(colours.height * widest / colours.width))), Image.Resampling.BOX)


def _eight_bits(image: Image.Image) -> Image.Image:
    """A picture in grey. With more than eight bits, its brightest pixel becomes 255. Non-finite pixels become black."""
    if not image.mode.startswith(("I", "F")):
        return image.convert("L")
    values = np.asarray(image)
    blocks = [slice(begin, begin + BLOCK_ROWS) for begin in range(0, len(values), BLOCK_ROWS)]
    most = max(float(np.max(values[block], initial=0.0, where=np.isfinite(values[block]))) for block in blocks)
    codes = np.empty(values.shape, dtype=np.uint8)
    for block in blocks:
        finite = np.where(np.isfinite(values[block]), values[block], 0).astype(np.float64)
        codes[block] = np.rint(np.clip(finite * (255 / max(most, 1.0)), 0, 255))
    return Image.fromarray(codes)


def read_card_tags(path: Path) -> CardTags:
    """Read the facts of a photograph, raw or not. Raises InputError."""
    with open_file(path, PHOTOGRAPH) as file:
        return _decoded(path, PHOTOGRAPH, "its EXIF is damaged", lambda: _card_tags(file, path))


def _card_tags(file: BinaryIO, path: Path) -> CardTags:
    tags = exifread.process_file(_Head(file), details=False, extract_thumbnail=False, builtin_types=True)
    size = os.fstat(file.fileno()).st_size
    file.seek(max(0, size - END_BYTES))
    whole = path.suffix.lower() not in {".jpg", ".jpeg"} or END_OF_JPEG in file.read()
    return CardTags(tags, whole, size)


def _decoded(path: Path, kind: FileKind, damage: str, decode: Callable[[], Read]) -> Read:
    """The result of `decode`; any failure in it becomes one sentence. Raises InputError."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # truncated EXIF is used as far as it goes
            return decode()
    except InputError:
        raise
    except UnidentifiedImageError:
        refuse(path, kind, f"is not {kind.name} that can be read")
    except MemoryError:
        refuse(path, kind, "needs more memory than is free; close other programs")
    except Exception as error:  # from a decoder: IndexError, struct.error, SyntaxError and others
        if isinstance(error, OSError) and error.errno is not None:
            damage = "the disk or card reports an error as it is read"
        refuse(path, kind, f"is not {kind.name} that can be read: {damage}")


class _Head(io.BufferedReader):
    """A file of which only the head is read, with a limit on reads and bytes. Closing it leaves the file open."""

    def __init__(self, file: BinaryIO) -> None:
        super().__init__(file)  # type: ignore[arg-type]  # any file will do that has readinto
        self._reads, self._bytes = 0, 0

    def read(self, size: int | None = -1, /) -> bytes:
        """Read as usual. Raises ValueError beyond the limit."""
        left = MOST_HEAD_BYTES - self._bytes
        content = super().read(left if size is None or size < 0 else min(size, left))
        self._reads += 1
        self._bytes += len(content)
        if self._reads > MOST_READS or self._bytes >= MOST_HEAD_BYTES:
            raise ValueError
        return content

    def close(self) -> None:
        """Release the file."""
        with suppress(ValueError):  # already released
            self.detach()
