"""The proof sheet of an inspected set: one page that needs no network, and the unrolled sphere as a JPEG."""

import json
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from markupsafe import Markup

from controller.files import write_whole
from controller.inspection.inspected import Inspected, LinkVerdict
from controller.inspection.lens_model import Array
from controller.inspection.measured_words import head_sentences, lens_sentences
from controller.inspection.unrolled import WIDTH, ReadFrame, first_passes, middle_of, reader_of, views_of
from controller.places import Ours
from controller.report.own_pages import is_own_page, is_own_sphere
from controller.report.page_template import page_environment
from controller.report.proof_outlines import arc, outline, path
from controller.report.proof_pictures import ProofPictures, data_address, draw_pictures
from controller.report.proof_signs import FAULT_WORDS, FRAME_SIGNS, LINK_SIGNS, DrawnSign, FrameState, severity, state_of
from controller.report.proof_words import (
    frame_lines,
    frames_named,
    headline,
    link_text,
)

PAGE, SPHERE = "proof.html", "sphere.jpg"
OWN_FILES: dict[str, Ours] = {PAGE: is_own_page, SPHERE: is_own_sphere}
"""What a proof sheet consists of, and how a file of ours is recognised."""


@dataclass(frozen=True, slots=True)
class ProofFrame:
    """A frame on the page. `key` is its place in `Inspected.frames`; `x` and `y` are that of its middle on the sphere."""

    key: int
    id: int
    name: str
    file: str | None
    state: FrameState
    sign: DrawnSign
    x: float
    y: float
    outline: str
    drawn: bool
    faults: str


@dataclass(frozen=True, slots=True)
class ProofLink:
    """A link on the page; `first` and `second` are keys of frames, `x` and `y` the place of its sign."""

    first: int
    second: int
    ids: tuple[int, int]
    verdict: LinkVerdict
    sign: DrawnSign
    x: float
    y: float
    line: str
    name: str
    text: str
    sentence: str

    @property
    def holds(self) -> bool:
        """Whether it is drawn thin: all is well."""
        return self.verdict is LinkVerdict.LINKED


def write_proof_sheet(
    inspected: Inspected,
    folder: Path,
    out_dir: Path,
    advance: Callable[[], None] = lambda: None,
    *,
    width: int = WIDTH,
    passes: Mapping[int, int] | None = None,
    read: ReadFrame | None = None,
    replace: bool = False,
) -> list[Path]:
    """Write `proof.html` and `sphere.jpg` into the folder `out_dir`, and return their paths. Raises StorageFailed.

    The frames' files are in `folder`; `read` reads them another way. `width` is that of the unrolled sphere in pixels.
    `passes` chooses the passes that are drawn, as in `first_passes`. `advance` is called after each frame.
    With `replace`, older files of ours are replaced. A picture that cannot be read is named on the page.
    """
    pictures = draw_pictures(inspected, read or reader_of(folder, inspected.orientation), width, passes, advance)
    contents: dict[str, str | bytes] = {
        PAGE: proof_page(inspected, pictures, passes),
        SPHERE: pictures.whole_sphere,
    }
    for name, content in contents.items():
        write_whole(out_dir / name, content, replace=replace, ours=OWN_FILES[name])
    return [out_dir / name for name in contents]


def proof_page(inspected: Inspected, pictures: ProofPictures, passes: Mapping[int, int] | None = None) -> str:
    """The page as text."""
    frames = page_frames(inspected, pictures, passes)
    links = page_links(inspected, pictures, frames)
    by_id = _keys(frames)
    drawn = sum(frame.drawn for frame in frames)
    states = Counter(frame.state for frame in frames)
    verdicts = Counter(link.verdict for link in links)
    grid = pictures.grid
    return (
        page_environment()
        .get_template("proof.html")
        .render(
            plan=inspected.plan,
            headline=headline(inspected, drawn),
            good=not inspected.retake and not inspected.todo,
            facts=_facts(inspected, states, verdicts, drawn),
            todo=[(text, frames_named(text, by_id)) for text in inspected.todo],
            by_id=by_id,
            grid=grid,
            sphere=data_address(pictures.page_sphere),
            frames=sorted(frames, key=lambda frame: (severity(frame.state), frame.key)),
            links=sorted(links, key=lambda link: severity(link.verdict)),
            frame_signs=FRAME_SIGNS,
            link_signs=LINK_SIGNS,
            states=states,
            verdicts=verdicts,
            lens=list(lens_sentences(inspected.lens, inspected.plan.kit)),
            head=list(head_sentences(inspected.head, inspected.plan.kit)),
            notes=[*inspected.notes, *pictures.unread.values()],
            data=_data(inspected, pictures, frames, links),
        )
    )


def page_frames(
    inspected: Inspected, pictures: ProofPictures, passes: Mapping[int, int] | None = None
) -> list[ProofFrame]:
    """All frames of a set, of every pass."""
    drawn = {id(frame) for frame in first_passes(inspected, passes)}
    found = []
    for key, (frame, view) in enumerate(zip(inspected.frames, views_of(inspected, inspected.frames), strict=True)):
        state = state_of(frame) if key not in pictures.unread else FrameState.MISSING
        x, y = (round(float(part), 1) for part in pictures.grid.places(middle_of(view)[None])[0])
        name = f"{frame.frame}" + (f", pass {frame.pass_number}" if frame.pass_number > 1 else "")
        faults = ", ".join(dict.fromkeys(FAULT_WORDS[blemish.fault] for blemish in frame.blemishes))
        line = path(pictures.grid, outline(view)) if id(frame) in drawn else ""
        found.append(
            ProofFrame(
                key, frame.frame, name, frame.file, state, FRAME_SIGNS[state], x, y, line, id(frame) in drawn, faults
            )
        )
    return found


def page_links(inspected: Inspected, pictures: ProofPictures, frames: Sequence[ProofFrame]) -> list[ProofLink]:
    """All links. Only those between two frames that are drawn have a line."""
    keys, drawn = _keys(frames), {frame.key for frame in frames if frame.drawn}
    middles: dict[int, Array] = {}
    for view, frame in zip(views_of(inspected, inspected.frames), inspected.frames, strict=True):
        middles.setdefault(frame.frame, middle_of(view))
    found = []
    for link in inspected.links:
        line = arc(middles[link.first], middles[link.second])
        x, y = (round(float(part), 1) for part in pictures.grid.places(line[len(line) // 2][None])[0])
        sign, name = LINK_SIGNS[link.verdict], f"frames {link.first} and {link.second}"
        ends = keys[link.first], keys[link.second]
        text = path(pictures.grid, line) if drawn.issuperset(ends) else ""
        found.append(
            ProofLink(
                *ends, (link.first, link.second), link.verdict, sign, x, y, text, name, link_text(link), link.sentence
            )
        )
    return found


def _keys(frames: Sequence[ProofFrame]) -> dict[int, int]:
    """The places of frames by id; of two with one id, the one that is drawn."""
    return {frame.id: frame.key for frame in sorted(frames, key=lambda frame: frame.drawn)}


def _facts(
    inspected: Inspected, states: Mapping[FrameState, int], verdicts: Mapping[LinkVerdict, int], frames: int
) -> list[tuple[str, str]]:
    facts = [
        (f"{frames}", "frame" if frames == 1 else "frames"),
        (f"{len(set(inspected.retake))}", "to shoot again"),
        (f"{verdicts.get(LinkVerdict.LINKED, 0)} of {len(inspected.links)}", "links hold"),
        (f"{states.get(FrameState.ALONE, 0)}", "held by no link"),
    ]
    if focal := inspected.lens.focal_mm:
        facts.append((f"{focal.value:.4g} mm", "focal length, measured"))
    return facts


def _data(
    inspected: Inspected, pictures: ProofPictures, frames: Sequence[ProofFrame], links: Sequence[ProofLink]
) -> Markup:
    """What the page's script needs. Markup: it is JSON in which "<" is escaped, so it cannot end the script."""
    of: dict[int, list[int]] = {}
    for number, link in enumerate(inspected.links):
        of.setdefault(link.first, []).append(number)
        of.setdefault(link.second, []).append(number)
    rows = []
    for frame in frames:
        source, own = inspected.frames[frame.key], of.get(inspected.frames[frame.key].frame, [])
        rows.append(
            {
                "id": frame.id,
                "name": frame.name,
                "word": frame.sign.word,
                "x": frame.x,
                "y": frame.y,
                "drawn": frame.drawn,
                "lines": frame_lines(source, [inspected.links[number] for number in own]),
                "blemishes": [blemish.sentence for blemish in source.blemishes]
                + ([pictures.unread[frame.key]] if frame.key in pictures.unread else []),
                "links": own,
                "picture": data_address(pictures.previews[frame.key]) if frame.key in pictures.previews else "",
            }
        )
    data = {"frames": rows, "links": [_link_data(link) for link in links], "wide": pictures.grid.columns}
    data["high"] = pictures.grid.rows
    text = json.dumps(data, separators=(",", ":"), allow_nan=False, ensure_ascii=False)
    return Markup(text.replace("<", "\\u003c"))


def _link_data(link: ProofLink) -> list[Any]:
    return [link.first, link.second, link.sign.sign, link.text, link.sentence]
