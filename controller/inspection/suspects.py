"""Frames whose pictures contradict all their neighbours, and what they show instead."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from controller.inspection.linking import Pair, Sized, Source, around, find_all
from controller.inspection.overlap import FrameView
from controller.inspection.points import LinkFinding, LinkReason

AGREEING = frozenset({LinkReason.FOUND, LinkReason.ELSEWHERE})
STRONG_TEXTURE = 0.3  # of an overlap: with less, clouds and water explain why two pictures differ
# Of two places, pictures correlate up to 0.18 at their best shift, but more if both show a horizon; then hardly a point
# agrees. Of one place, an overlap with more texture than MOST_TEXTURE always gave enough points. From simulated sets.
SAME_PEAK, MOST_TEXTURE, FEW_AGREEING = 0.25, 0.55, 4


def agrees(finding: LinkFinding) -> bool:
    """Whether points show that both pictures are of one place, be they too few for a link."""
    return finding.reason in AGREEING or int(np.count_nonzero(finding.matches.agrees)) >= FEW_AGREEING


def shows_same(finding: LinkFinding) -> bool:
    """Whether both pictures may show one place, even if it gives too few points."""
    return agrees(finding) or (finding.peak >= SAME_PEAK and finding.textured < MOST_TEXTURE)


def contradicts(finding: LinkFinding) -> bool:
    """Whether both pictures of a link show much detail, and do not agree on it."""
    return finding.textured >= STRONG_TEXTURE and not shows_same(finding)


def suspects_in(findings: Mapping[Pair, LinkFinding]) -> list[int]:
    """Frames that agree with no neighbour and contradict at least one that is no suspect itself, worst first.

    So a frame between sky and a suspect is not blamed for the latter.
    """
    agreeing = {frame for pair, finding in findings.items() if agrees(finding) for frame in pair}
    against = around(pair for pair, finding in findings.items() if contradicts(finding))
    left = {frame: others for frame, others in against.items() if frame not in agreeing}
    found: list[int] = []
    while left:
        counts = {frame: (len(others & agreeing), len(others - set(found))) for frame, others in left.items()}
        worst = max(left, key=lambda frame: (*counts[frame], -frame))
        if not any(counts[worst]):
            break
        found.append(worst)
        del left[worst]
    return found


@dataclass(frozen=True, slots=True)
class Explained:
    """What suspects show: `place_of` maps a frame to the one whose place its picture shows; `elsewhere` fit no place."""

    place_of: dict[int, int] = field(default_factory=dict)
    elsewhere: tuple[int, ...] = ()

    @property
    def exchanged(self) -> dict[int, int]:
        """The frames whose pictures only changed places among themselves."""
        kept = dict(self.place_of)
        while kept and set(kept) != set(kept.values()):
            kept = {frame: place for frame, place in kept.items() if place in kept and frame in kept.values()}
        return kept

    @property
    def misplaced(self) -> frozenset[int]:
        """The frames whose pictures are of another place. With nothing can they be compared."""
        return frozenset({*self.elsewhere, *self.place_of} - set(self.exchanged))


def explain(
    suspects: Sequence[int], views: Sequence[FrameView], findings: Mapping[Pair, LinkFinding], source: Source
) -> Explained:
    """Try the picture of each suspect at the places of the other suspects and of its own neighbours, and those of
    neighbours that no link holds at its place.
    """
    beside = around(findings)
    held = {frame for pair, finding in findings.items() if finding.reason in AGREEING for frame in pair}
    loose = {frame for suspect in suspects for frame in beside[suspect]} - held - set(suspects)
    sound = {frame: sorted(others - set(suspects)) for frame, others in beside.items()}
    trials = _Trials(views, source)
    for frame in suspects:
        for place in sorted({*suspects, *beside[frame]} - {frame}):
            # A sound frame at that place shows itself what is there.
            for other in sound[place] if place in suspects else [place]:
                trials.add((frame, place), other)
        for other in sorted(loose & beside[frame]):
            for neighbour in sorted(beside[frame] & held):
                trials.add((other, frame), neighbour)
    scores = trials.scores()
    place_of: dict[int, int] = {}
    for frame in [*suspects, *sorted(loose)]:
        fitting = {place: score for (each, place), score in scores.items() if each == frame and score}
        if fitting:
            place_of[frame] = max(fitting, key=lambda place: (fitting[place], -place))
    for frame in sorted(loose & set(place_of)):
        place_of.setdefault(place_of[frame], frame)  # its picture is of the bare place that the other one left
    return Explained(place_of, tuple(frame for frame in suspects if frame not in place_of))


class _Trials:
    """Links between pictures that are looked at as if they showed another frame's place."""

    def __init__(self, views: Sequence[FrameView], source: Source) -> None:
        self._views, self._source = views, source
        self._shown: dict[tuple[int, int], int] = {}  # by picture and place
        self._pairs: list[tuple[tuple[int, int], Pair]] = []

    def add(self, shown: tuple[int, int], other: int) -> None:
        """Compare a picture at a place, `shown`, with another frame at its own."""
        if other != shown[0]:
            self._pairs.append((shown, (self._number(shown), self._number((other, other)))))

    def _number(self, shown: tuple[int, int]) -> int:
        return self._shown.setdefault(shown, len(self._shown))

    def scores(self) -> dict[tuple[int, int], int]:
        """How many links agree with each picture at each place."""
        order = list(self._shown)
        views = [self._views[place] for _, place in order]

        def read(number: int, share: float) -> Sized:
            return self._source(order[number][0], share)

        found = dict(find_all(views, [pair for _, pair in self._pairs], read))
        scores: dict[tuple[int, int], int] = {}
        for shown, pair in self._pairs:
            scores[shown] = scores.get(shown, 0) + (found[pair].reason in AGREEING)
        return scores
