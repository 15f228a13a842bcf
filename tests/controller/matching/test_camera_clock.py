"""Any files with any exposures: whatever their clocks show, there is a result."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from controller.matching.evidence import ExposureStamp, FileStamp
from controller.matching.pairing import pair_up

SHUTTERS = st.sampled_from([0.0, 0.01, 0.25, 2.0])
FILES = st.lists(
    st.builds(FileStamp, at_s=st.floats(0, 4e9), shutter_s=SHUTTERS, number=st.none() | st.integers(1, 9999)),
    min_size=1,
    max_size=8,
)
EXPOSURES = st.lists(
    st.builds(ExposureStamp, st.floats(0, 4e9), st.sampled_from([0.01, 0.25, 2.0]), st.just(True), st.booleans()),
    min_size=1,
    max_size=8,
)


@settings(max_examples=60, deadline=None)
@given(FILES, EXPOSURES, st.booleans())
def test_any_files_are_paired_or_are_nobodys(
    files: list[FileStamp], exposures: list[ExposureStamp], clock_known: bool
) -> None:
    found = pair_up(sorted(files, key=lambda file: file.at_s), sorted(exposures, key=lambda one: one.at_s), clock_known)
    assert len(found.matches) == len(files)
    given_to = [match.exposure for match in found.matches if match.exposure is not None]
    assert len(set(given_to)) == len(given_to)
    assert set(given_to) <= set(range(len(exposures)))
