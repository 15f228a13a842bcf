"""The findings about a plan's frames, as its file stores them: the proof and the links."""

from controller.kit.kit import Kit
from controller.planning.coverage import Proof
from controller.planning.links import Links
from controller.planning.plan import Direction, LinkRecord, ProofRecord


def proof_record(kit: Kit, proof: Proof) -> ProofRecord:
    """The proof, and how far off this head's poses may be."""
    return ProofRecord(
        covered=proof.covered,
        worst_margin_deg=proof.worst_margin_deg,
        worst_at=Direction(yaw_deg=proof.worst_yaw_deg, pitch_deg=proof.worst_pitch_deg),
        pointing_error_deg=round(kit.head.pointing_error_deg(), 4),
    )


def link_record(links: Links) -> LinkRecord:
    """Whether the frames are linked, and the weakest link."""
    share, frames = links.weakest()
    return LinkRecord(
        connected=links.connected,
        weakest_share=round(share, 4),
        weakest_frames=frames,
        frames_that_split=tuple(links.cut_frames()),
    )
