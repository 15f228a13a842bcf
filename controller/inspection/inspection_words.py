"""What inspecting a set has found, in sentences."""

from collections import Counter

from controller.amounts import counted
from controller.inspection.inspected import Inspected, LinkVerdict
from controller.inspection.measured_words import head_sentences, lens_sentences

SHOWN = 20  # lines of what to do; the files have all of them


def inspection_sentences(inspected: Inspected) -> list[str]:
    """The result in sentences, what to do first."""
    verdicts = Counter(link.verdict for link in inspected.links)
    held = sum(not frame.alone for frame in inspected.frames)
    counts = ", ".join(f"{verdicts[each]} {each.value}" for each in reversed(LinkVerdict) if verdicts[each])
    return [
        *inspected.todo[:SHOWN],
        *([f"And {len(inspected.todo) - SHOWN} more."] if len(inspected.todo) > SHOWN else []),
        f"{counted(held, 'frame')} of {len(inspected.frames)} linked with their neighbours. "
        f"Of {counted(len(inspected.links), 'link')}: {counts or 'none'}.",
        *inspected.notes,
        *lens_sentences(inspected.lens, inspected.plan.kit),
        *head_sentences(inspected.head, inspected.plan.kit),
    ]
