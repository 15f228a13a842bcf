"""Sidecars: each column of a row comes back from an XML parser, in the forms that XMP has."""

from __future__ import annotations

import math
import re
from typing import Any
from xml.etree import ElementTree as ET

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.matching.pose_columns import commanded_values, plain_value
from controller.matching.sidecar import DC, POSE, RDF, XML_LANG, XMP, X, sidecar
from controller.matching.table import MatchLine, MatchVerdict
from controller.planning.plan import Frame

FRAME = Frame(id=1, row=2, yaw_deg=7.25, pitch_deg=60.0)
ROW = {"row": 2, "frame": 1, "exposure": 0}
OPENED = "2031-06-21T07:00:01+00:00"


def about_in(text: str) -> ET.Element:
    """The one description of a sidecar."""
    body = text.removeprefix('<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n')
    assert body != text
    assert body.endswith('\n<?xpacket end="w"?>\n')
    root = ET.fromstring(text)
    assert root.tag == f"{{{X}}}xmpmeta"
    (rdf,) = root
    assert rdf.tag == f"{{{RDF}}}RDF"
    (about,) = rdf
    assert about.tag == f"{{{RDF}}}Description"
    assert about.attrib == {f"{{{RDF}}}about": ""}
    return about


def properties(text: str) -> dict[str, str]:
    """Our own properties of a sidecar; each is there once."""
    own = [one for one in about_in(text) if one.tag.startswith(f"{{{POSE}}}")]
    found = {one.tag.removeprefix(f"{{{POSE}}}"): one.text or "" for one in own}
    assert len(found) == len(own)
    assert not any(len(one) or one.attrib for one in own)
    return found


# Forms of values: ISO 16684-1:2019, core value types, from memory. XML 1.0 has no control characters.
REAL = re.compile(r"-?[0-9]+\.[0-9]+")
VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.floats(-1e9, 1e9),
    st.sampled_from([math.nan, math.inf, 5e-324, -0.0, 1e-7]),
    st.text(),
    st.binary(max_size=5).map(lambda data: data.decode("utf-8", "surrogateescape")),
)


@given(st.dictionaries(st.from_regex(r"[a-z][a-z0-9_]{0,9}", fullmatch=True), VALUES, max_size=8))
def test_every_known_value_comes_back_and_unknown_ones_are_left_out(values: dict[str, Any]) -> None:
    given_values = {**values, **ROW}
    found = properties(sidecar(given_values))
    sidecar(given_values).encode("utf-8")
    unknown = {
        name
        for name, value in given_values.items()
        if value is None or (isinstance(value, float) and not math.isfinite(value))
    }
    assert found.keys() == given_values.keys() - unknown
    for name, text in found.items():
        value = given_values[name]
        if isinstance(value, bool):
            assert text == ("True" if value else "False")
        elif isinstance(value, float):
            assert REAL.fullmatch(text)
            assert float(text) == pytest.approx(value, abs=5.1e-10)
        elif isinstance(value, int):
            assert int(text) == value
        elif value.isprintable():
            assert text == value


def test_standard_properties_are_in_the_forms_of_the_standard() -> None:
    """ISO 16684-1:2019, from memory: title by language, subject a bag."""
    about = about_in(sidecar({**ROW, "yaw_deg": 1.5}, OPENED, label="doubtful"))
    assert [child.tag for child in about][:4] == [
        f"{{{DC}}}title", f"{{{DC}}}subject", f"{{{XMP}}}CreateDate", f"{{{XMP}}}Label",
    ]  # fmt: skip
    (title,) = about.findall(f"{{{DC}}}title/{{{RDF}}}Alt/{{{RDF}}}li")
    assert (title.text, title.get(XML_LANG)) == ("row 2, frame 1, exposure 0", "x-default")
    words = [item.text for item in about.findall(f"{{{DC}}}subject/{{{RDF}}}Bag/{{{RDF}}}li")]
    assert words == ["row 2", "frame 1", "exposure 0"]
    assert [about.findtext(f"{{{XMP}}}{name}") for name in ("CreateDate", "Label")] == [OPENED, "doubtful"]


def test_a_namespace_ends_so_that_a_name_can_follow_it() -> None:
    """ISO 16684-1:2019, from memory: a property's full name is its namespace and its name in one."""
    assert POSE.endswith(("/", "#"))
    assert "//" not in POSE


@pytest.mark.parametrize(
    ("passes", "repeats", "more"), [(1, None, ""), (2, None, ", pass 2"), (2, 7, ", pass 2, repeats frame 7")]
)
def test_a_title_names_the_pass_of_several(passes: int, repeats: int | None, more: str) -> None:
    text = sidecar({**ROW, "pass_number": 2, "repeats": repeats}, passes=passes)
    assert about_in(text).findtext(f"{{{DC}}}title/{{{RDF}}}Alt/{{{RDF}}}li") == f"row 2, frame 1, exposure 0{more}"


@pytest.mark.parametrize("pose", [None, (-90.1261239, -4.5, 1.2)])
def test_without_the_pictures_the_commanded_pose_is_known(pose: tuple[float, float, float] | None) -> None:
    line = MatchLine(MatchVerdict.SURE, "a/1.JPG", frame=1, exposure=2, attempt=3, planned_shutter_s=0.01)
    if pose is not None:
        line.yaw_deg, line.pitch_deg, line.roll_deg = pose
    found = properties(sidecar(commanded_values(line, FRAME)))
    assert found == {
        "file": "a/1.JPG", "row": "2", "frame": "1", "pass_number": "1", "exposure": "2", "bracket_group": "1-3",
        "shutter_s": "0.01",
        **(
            {"commanded_yaw_deg": "7.25", "commanded_pitch_deg": "60.0"}
            if pose is None
            else {"commanded_yaw_deg": "-90.12612", "commanded_pitch_deg": "-4.5", "commanded_roll_deg": "1.2"}
        ),
    }  # fmt: skip


@given(st.floats(-1e6, 1e6), st.sampled_from(["yaw_deg", "focal_px", "focal_mm", "shutter_s", "k1"]))
def test_digits_follow_the_unit(value: float, name: str) -> None:
    digits = {"yaw_deg": 5, "focal_px": 3, "focal_mm": 5, "shutter_s": 6, "k1": 9}[name]
    found = plain_value(name, value)
    assert found == pytest.approx(value, abs=0.51 * 10**-digits)
    assert math.copysign(1.0, found) == 1.0 or found < 0
