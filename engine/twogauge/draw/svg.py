"""What is done to an SVG before it leaves: a name and a description, and nothing that a strict page forbids.

The plotting library writes style attributes and a style element, which a content security policy without inline style
blocks when the picture stands inside a page; here they become plain attributes. Identifiers that nothing points to are
taken out, so that two pictures can stand in one page.
"""

from __future__ import annotations

import hashlib
import re
import xml.etree.ElementTree as ET
from typing import Final

_SVG: Final = "http://www.w3.org/2000/svg"
_XLINK: Final = "http://www.w3.org/1999/xlink"
FAMILIES: Final = "'DejaVu Sans', Verdana, Arial, sans-serif"
"""Said once, for all text: where the first is missing, as on telephones, none that is wider and none with serifs."""
_FONT: Final = re.compile(
    r"(?:(?P<style>italic|oblique)\s+)?(?:(?P<weight>bold|[1-9]00)\s+)?(?P<size>[\d.]+)px\s+(?P<family>.+)"
)
_POINTS: Final = re.compile(r"url\(#([^)]+)\)")


def finished(data: bytes, title: str, description: str) -> bytes:
    """Return an SVG with title and description, as one element without a declaration.

    Args:
        data: as the plotting library wrote it.
        title, description: plain text.
    """
    root = ET.fromstring(data)  # noqa: S314 - written a moment ago by the plotting library, not by a stranger
    _drop(root, {"metadata", "title", "style"})
    for element in root.iter():
        _plain_attributes(element)
    used = {name for element in root.iter() for value in element.attrib.values() for name in _POINTS.findall(value)}
    used |= {element.get(f"{{{_XLINK}}}href", "")[1:] for element in root.iter()}
    for element in root.iter():
        if element.get("id") not in used:
            element.attrib.pop("id", None)
    # Of the content, so that it is the same every time and another one for another picture.
    mark = hashlib.sha256(ET.tostring(root) + description.encode()).hexdigest()[:10]
    for place, (tag, text) in enumerate((("title", title), ("desc", description))):
        told = ET.Element(f"{{{_SVG}}}{tag}", {"id": f"{tag}-{mark}"})
        told.text = text
        told.tail = "\n"
        root.insert(place, told)
    root.attrib.update(
        {
            "role": "img",
            "aria-labelledby": f"title-{mark} desc-{mark}",
            "stroke-linejoin": "round",
            "stroke-linecap": "butt",
            "font-family": FAMILIES,
        }
    )
    for element in root.iter():
        _without_namespace(element)
    root.attrib = {"xmlns": _SVG, "xmlns:xlink": _XLINK, **root.attrib}
    return ET.tostring(root, encoding="unicode").encode() + b"\n"


def marked(text: str, mark: str) -> str:
    """Return an SVG as `finished` made it with a mark before every identifier.

    Args:
        text: the element.
        mark: letters.
    """
    root = ET.fromstring(text)  # noqa: S314 - as above
    for element in root.iter():
        for name, value in element.attrib.items():
            if name == "id":
                element.set(name, f"{mark}{value}")
            elif name == f"{{{_XLINK}}}href":
                element.set(name, f"#{mark}{value.removeprefix('#')}")
            elif name == "aria-labelledby":
                element.set(name, " ".join(f"{mark}{each}" for each in value.split()))
            else:
                element.set(name, _POINTS.sub(lambda match: f"url(#{mark}{match[1]})", value))
    for element in root.iter():
        _without_namespace(element)
    root.attrib = {"xmlns": _SVG, "xmlns:xlink": _XLINK, **root.attrib}
    return ET.tostring(root, encoding="unicode") + "\n"


def _drop(parent: ET.Element, tags: set[str]) -> None:
    for child in list(parent):
        if child.tag.rpartition("}")[2] in tags:
            parent.remove(child)
        else:
            _drop(child, tags)


def _plain_attributes(element: ET.Element) -> None:
    for part in element.attrib.pop("style", "").split(";"):
        name, colon, value = (piece.strip() for piece in part.partition(":"))
        if not colon or name == "font-family":
            continue
        font = _FONT.fullmatch(value) if name == "font" else None
        if font is None:
            element.set(name, value)
            continue
        element.set("font-size", font["size"])
        for key in ("style", "weight"):
            if font[key]:
                element.set(f"font-{key}", font[key])


def _without_namespace(element: ET.Element) -> None:
    element.tag = element.tag.rpartition("}")[2]
    element.attrib = {
        (f"xlink:{key.rpartition('}')[2]}" if key.startswith(f"{{{_XLINK}}}") else key): value
        for key, value in element.attrib.items()
    }
