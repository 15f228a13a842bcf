"""The pictures of a proof sheet: the sphere unrolled, and a preview of each frame, within a size that is fixed before."""

import base64
import io
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from controller.errors import InputError
from controller.inspection.inspected import Inspected, InspectedFrame
from controller.inspection.sphere_grid import SphereGrid, whole_sphere
from controller.inspection.unrolled import (
    NOTHING,
    Colours,
    ReadFrame,
    SphereCanvas,
    first_passes,
    grid_of,
    has_picture,
    views_of,
    wanted,
)
from controller.report.own_pages import SPHERE_COMMENT

MOST_PAGE_BYTES = 25_000_000
SPHERE_BYTES = 3_000_000  # of the page's own sphere, at most
TEXT_BYTES, FRAME_BYTES, LINK_BYTES = 100_000, 5_000, 1_200  # of the page's text: for all, a frame and a link
LONGEST_PX, SHORTEST_PX = 1000, 120
QUALITIES, WHOLE_QUALITY = (72, 60, 45), 90
BYTES_PER_PIXEL = 0.2  # of a preview of much detail at the first quality; only a first guess
BASE64 = 4 / 3  # RFC 4648, section 4
STRIPE_PX, STRIPES = 6, (88, 138)  # where the plan wants a picture and none is there; no photograph is so even


@dataclass(frozen=True, slots=True, eq=False)
class ProofPictures:
    """JPEGs: the sphere or window of the page with its grid, the whole sphere, and previews by place in
    `Inspected.frames`. `unread` says why a picture could not be read, by the same places.
    """

    grid: SphereGrid
    page_sphere: bytes
    whole_sphere: bytes
    previews: dict[int, bytes]
    unread: dict[int, str]


def preview_budget(frames: int, links: int) -> int:
    """The bytes that all previews of a page may have together, so that it stays below MOST_PAGE_BYTES."""
    text = TEXT_BYTES + FRAME_BYTES * frames + LINK_BYTES * links
    return max(0, int((MOST_PAGE_BYTES - text) / BASE64) - SPHERE_BYTES)


def first_side(share_bytes: float, size_px: tuple[int, int]) -> int:
    """The longest side at which a preview probably has `share_bytes`."""
    aspect = max(size_px) / min(size_px)
    return int(min(LONGEST_PX, max(SHORTEST_PX, (share_bytes / BYTES_PER_PIXEL * aspect) ** 0.5)))


def within_bytes(picture: Image.Image, longest_px: int, most_bytes: float, comment: bytes = b"") -> bytes | None:
    """The picture as a JPEG of at most `most_bytes`: first with less quality, then smaller; None if that fails too."""
    if most_bytes <= 0:
        return None
    side = float(min(longest_px, max(picture.size)))
    while True:
        small = _at_most(picture, round(side))
        for quality in QUALITIES:
            content = jpeg(small, quality, comment)
            if len(content) <= most_bytes:
                return content
        if side <= SHORTEST_PX:
            return None
        side = max(SHORTEST_PX, side * 0.75)


def _at_most(picture: Image.Image, longest_px: int) -> Image.Image:
    share = longest_px / max(picture.size)
    if share >= 1:
        return picture
    wide, high = (max(1, round(side * share)) for side in picture.size)
    return picture.resize((wide, high), Image.Resampling.HAMMING)


def jpeg(picture: Image.Image, quality: int, comment: bytes = b"") -> bytes:
    """The picture as the content of a JPEG file."""
    buffer = io.BytesIO()
    picture.save(buffer, format="JPEG", quality=quality, optimize=True, comment=comment)
    return buffer.getvalue()


def data_address(content: bytes) -> str:
    """A JPEG as an address that holds it (RFC 2397)."""
    return "data:image/jpeg;base64," + base64.b64encode(content).decode("ascii")


def draw_pictures(
    inspected: Inspected,
    read: ReadFrame,
    width: int,
    passes: Mapping[int, int] | None = None,
    advance: Callable[[], None] = lambda: None,
) -> ProofPictures:
    """Draw everything, reading each picture once. `advance` is called after each frame of the set."""
    drawn = [frame for frame in first_passes(inspected, passes) if has_picture(frame)]
    views = views_of(inspected, drawn)
    grid = grid_of(inspected, views, width)
    canvases = [SphereCanvas(each, views) for each in dict.fromkeys((grid, whole_sphere(width)))]
    own = {id(frame): number for number, frame in enumerate(drawn)}
    previews: dict[int, bytes] = {}
    unread: dict[int, str] = {}
    left = preview_budget(len(inspected.frames), len(inspected.links))
    for number, frame in enumerate(inspected.frames):
        budget = left / (len(inspected.frames) - number)
        if has_picture(frame):
            try:
                painted = [(canvas, own[id(frame)]) for canvas in canvases] if id(frame) in own else []
                preview = _use(frame, painted, read, budget)
            except InputError as error:
                unread[number] = str(error)
            else:
                if preview is not None:
                    previews[number] = preview
                    left -= len(preview)
        advance()
    flat = [Image.fromarray(with_stripes(canvas.grid, canvas.owner, canvas.colours, inspected)) for canvas in canvases]
    page = within_bytes(flat[0], max(flat[0].size), SPHERE_BYTES)
    assert page is not None  # at its smallest it has some kilobytes
    whole = jpeg(flat[-1], WHOLE_QUALITY, SPHERE_COMMENT)
    return ProofPictures(grid, page, whole, previews, unread)


def _use(
    frame: InspectedFrame, painted: Sequence[tuple[SphereCanvas, int]], read: ReadFrame, budget: float
) -> bytes | None:
    """Paint a frame on each canvas, where it has a number, and make its preview; None if no preview fits.

    Raises InputError.
    """
    side = first_side(budget, frame.size_px)
    needed = [side / max(frame.size_px), *(canvas.share(own) for canvas, own in painted)]
    try:
        picture = read(frame, min(1.0, max(needed)))
    except InputError:
        for canvas, own in painted:
            canvas.leave_out(own)
        raise
    for canvas, own in painted:
        canvas.paint(own, picture)
    return within_bytes(picture.picture, side, budget)


def with_stripes(grid: SphereGrid, owner: NDArray[np.int32], colours: Colours, inspected: Inspected) -> Colours:
    """The colours, with stripes where the plan wants a picture and none shows anything. Outside the plan it is black."""
    rows, columns = np.nonzero((owner == NOTHING) & wanted(grid, inspected))
    striped = colours.copy()
    striped[rows, columns] = np.array(STRIPES, dtype=np.uint8)[(rows + columns) // STRIPE_PX % 2][:, None]
    return striped
