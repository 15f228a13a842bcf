"""How much of an inspection is done, in hundredths of the time that it should take."""

from collections.abc import Mapping
from enum import Enum, auto

from controller.progress import Begin

PARTS = 100


class Stage(Enum):
    """The stages of an inspection. Pictures and links are worked on together."""

    GLANCES = auto()
    PICTURES = auto()
    LINKS = auto()
    FIT = auto()
    """The first adjustment."""
    REFIT = auto()
    """With the head's own uncertainty, and with the pupil."""
    VERDICTS = auto()


def expected_s(files: int, frames: int, links: int, megapixels: float, threads: int) -> dict[Stage, float]:
    """The seconds that each stage should take. Only their ratios matter; measured on one machine."""
    return {
        Stage.GLANCES: files * (0.004 + 0.004 * megapixels) / threads,
        Stage.PICTURES: frames * (0.01 + 0.03 * megapixels) / threads,
        Stage.LINKS: links * 0.055 / threads,
        Stage.FIT: links * 0.010,
        Stage.REFIT: links * 0.008,
        Stage.VERDICTS: links * 0.004,
    }


class ShareDone:
    """Tells `begin` of PARTS equal parts, and calls what that returned once for each part that is done."""

    def __init__(self, expected: Mapping[Stage, float], begin: Begin) -> None:
        self._expected, self._done = expected, dict.fromkeys(expected, 0.0)
        self._whole, self._told, self._advance = sum(expected.values()), 0, begin(PARTS)

    def reached(self, stage: Stage, done: int = 1, of: int = 1) -> None:
        """So many pieces of a stage are done. The last stage's end is the end of all."""
        self._done[stage] = max(self._done[stage], done / max(of, 1))
        share = sum(self._expected[each] * self._done[each] for each in self._done) / max(self._whole, 1e-9)
        while self._told < round(share * PARTS, 6) // 1:
            self._told += 1
            self._advance()

    def finish(self) -> None:
        """All is done, also what was left out."""
        for stage in self._done:
            self.reached(stage)
