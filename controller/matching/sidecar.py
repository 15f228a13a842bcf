"""A sidecar file that describes a photograph as data, in XMP (ISO 16684-1:2019).

Each known column of the table of poses is a property of the namespace POSE, with the column's name and unit. Values have
the forms of the standard's section on core value types: True or False, digits without an exponent, text. Title and
keywords are Dublin Core (dc); the time and a label are of the XMP basic namespace (xmp).
"""

import math
from collections.abc import Mapping
from typing import Any
from xml.etree import ElementTree as ET

from controller.matching.pose_columns import OTHER_DIGITS
from controller.shown import escaped

X, RDF = "adobe:ns:meta/", "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
DC, XMP = "http://purl.org/dc/elements/1.1/", "http://ns.adobe.com/xap/1.0/"
POSE = "urn:fullturn:pose:1#"
"""Our own. It ends in # so that a namespace and a name together are the name of a property."""
SPACES = {"x": X, "rdf": RDF, "dc": DC, "xmp": XMP, "pose": POSE}
XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
PACKET = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n{}\n<?xpacket end="w"?>\n'


def sidecar(
    values: Mapping[str, Any], opened_utc: str | None = None, *, passes: int = 1, label: str | None = None
) -> str:
    """The text of a sidecar with these columns (see `pose_columns`); unknown ones (None) are left out.

    `opened_utc` is when the shutter opened. If the plan has several `passes`, the title names the frame's.
    """
    for prefix, space in SPACES.items():
        ET.register_namespace(prefix, space)
    root = ET.Element(f"{{{X}}}xmpmeta")
    about = ET.SubElement(ET.SubElement(root, f"{{{RDF}}}RDF"), f"{{{RDF}}}Description", {f"{{{RDF}}}about": ""})
    words = [f"{name} {values[name]}" for name in ("row", "frame", "exposure")]
    words += [f"pass {values['pass_number']}"] if passes > 1 else []
    words += [] if values.get("repeats") is None else [f"repeats frame {values['repeats']}"]
    title = ET.SubElement(ET.SubElement(about, f"{{{DC}}}title"), f"{{{RDF}}}Alt")
    ET.SubElement(title, f"{{{RDF}}}li", {XML_LANG: "x-default"}).text = ", ".join(words)
    bag = ET.SubElement(ET.SubElement(about, f"{{{DC}}}subject"), f"{{{RDF}}}Bag")
    for word in words:
        ET.SubElement(bag, f"{{{RDF}}}li").text = word
    for space, name, value in ((XMP, "CreateDate", opened_utc), (XMP, "Label", label)):
        if value is not None:
            ET.SubElement(about, f"{{{space}}}{name}").text = value
    for name, value in values.items():
        text = _xmp_text(value)
        if text is not None:
            ET.SubElement(about, f"{{{POSE}}}{name}").text = text
    ET.indent(root)
    return PACKET.format(ET.tostring(root, encoding="unicode"))


def _xmp_text(value: Any) -> str | None:
    """A value in its form in XMP; None if it is unknown."""
    if value is None or (isinstance(value, float) and not math.isfinite(value)):
        return None
    if isinstance(value, float):
        digits = f"{value:.{OTHER_DIGITS}f}".rstrip("0")
        return digits + "0" if digits.endswith(".") else digits
    return escaped(str(value))
