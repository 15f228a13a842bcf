"""A sidecar file of standard XMP properties (ISO 16684-1:2019) that describes a photograph.

Dublin Core (dc) for title, description and subject; the XMP basic namespace (xmp) for the time and a label.
"""

from xml.etree import ElementTree as ET

from controller.matching.table import MatchLine, MatchVerdict
from controller.planning.plan import Frame

X, RDF = "adobe:ns:meta/", "http://www.w3.org/1999/02/22-rdf-syntax-ns#"
DC, XMP = "http://purl.org/dc/elements/1.1/", "http://ns.adobe.com/xap/1.0/"
XML_LANG = "{http://www.w3.org/XML/1998/namespace}lang"
PACKET = '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>\n{}\n<?xpacket end="w"?>\n'


def sidecar(line: MatchLine, frame: Frame, opened_utc: str | None, *, passes: int = 1) -> str:
    """The text of the sidecar for a line's file of this frame; `opened_utc` is when the shutter opened.

    Of several `passes` it names the one of the frame, and the frame that it repeats. The pose is the line's, as really
    reached, or the planned one if the line has none.
    """
    for prefix, space in (("x", X), ("rdf", RDF), ("dc", DC), ("xmp", XMP)):
        ET.register_namespace(prefix, space)
    root = ET.Element(f"{{{X}}}xmpmeta")
    about = ET.SubElement(ET.SubElement(root, f"{{{RDF}}}RDF"), f"{{{RDF}}}Description", {f"{{{RDF}}}about": ""})
    pose = _pose(line, frame)
    words = [f"row {frame.row}", f"frame {frame.id}", f"exposure {line.exposure}"]
    words += [f"pass {frame.pass_number}"] if passes > 1 else []
    words += [] if frame.repeats is None else [f"repeats frame {frame.repeats}"]
    _in_language(about, "title", ", ".join(words))
    _in_language(about, "description", f"{pose}, {line.planned_shutter_s:g} s as planned")
    bag = ET.SubElement(ET.SubElement(about, f"{{{DC}}}subject"), f"{{{RDF}}}Bag")
    for word in words:
        ET.SubElement(bag, f"{{{RDF}}}li").text = word
    if opened_utc is not None:
        ET.SubElement(about, f"{{{XMP}}}CreateDate").text = opened_utc
    if line.verdict is MatchVerdict.DOUBTFUL:
        ET.SubElement(about, f"{{{XMP}}}Label").text = line.verdict.value
    ET.indent(root)
    return PACKET.format(ET.tostring(root, encoding="unicode"))


def _pose(line: MatchLine, frame: Frame) -> str:
    if line.yaw_deg is None or line.pitch_deg is None or line.roll_deg is None:
        return f"yaw {frame.yaw_deg:.2f}°, pitch {frame.pitch_deg:.2f}°"
    return f"yaw {line.yaw_deg:z.2f}°, pitch {line.pitch_deg:z.2f}°, roll {line.roll_deg:z.2f}°"


def _in_language(about: ET.Element, name: str, text: str) -> None:
    alternatives = ET.SubElement(ET.SubElement(about, f"{{{DC}}}{name}"), f"{{{RDF}}}Alt")
    ET.SubElement(alternatives, f"{{{RDF}}}li", {XML_LANG: "x-default"}).text = text
