"""A little SVG: elements with rounded coordinates, texts with a width that can be estimated."""

from __future__ import annotations

from collections.abc import Sequence
from xml.etree import ElementTree as ET

NAMESPACE = "http://www.w3.org/2000/svg"
FONT = "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
Point = tuple[float, float]

ET.register_namespace("", NAMESPACE)

# Advance widths in em of a wide sans serif (from memory, rounded up): a label has room in any font.
_NARROW = dict.fromkeys("iIjl.,:;'|!ftr()[] \u00a0", 0.36) | {"→": 1.0, "−": 0.84, "×": 0.84}
_WIDE = dict.fromkeys("mMwW%@", 0.96)
_USUAL = 0.64


def element(parent: ET.Element | None, tag: str, text: object = None, **attributes: object) -> ET.Element:
    """Add an element; underscores in names of attributes stand for hyphens, numbers are rounded to 1/100."""
    written = {name.replace("_", "-"): _write(value) for name, value in attributes.items()}
    made = (
        ET.Element(_qualified(tag), written)
        if parent is None
        else ET.SubElement(parent, _qualified(tag), written)
    )
    made.text = None if text is None else str(text)
    return made


def _qualified(tag: str) -> str:
    return f"{{{NAMESPACE}}}{tag}"


def _write(value: object) -> str:
    if isinstance(value, float):
        text = f"{value:.2f}".rstrip("0").rstrip(".")
        return "0" if text in ("-0", "") else text
    return str(value)


def polyline(parent: ET.Element, points: Sequence[Point], **attributes: object) -> ET.Element:
    """Add a line through points."""
    return element(parent, "polyline", points=_points(points), fill="none", **attributes)


def polygon(parent: ET.Element, points: Sequence[Point], **attributes: object) -> ET.Element:
    """Add a closed shape."""
    return element(parent, "polygon", points=_points(points), **attributes)


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{_write(float(x))},{_write(float(y))}" for x, y in points)


def line(parent: ET.Element, start: Point, end: Point, **attributes: object) -> ET.Element:
    """Add a straight line."""
    return element(
        parent,
        "line",
        x1=float(start[0]),
        y1=float(start[1]),
        x2=float(end[0]),
        y2=float(end[1]),
        **attributes,
    )


def label(
    parent: ET.Element, at: Point, text: str, *, size: float, anchor: str = "start", **attributes: object
) -> ET.Element:
    """Add a text."""
    return element(
        parent,
        "text",
        text,
        x=float(at[0]),
        y=float(at[1]),
        font_size=float(size),
        text_anchor=anchor,
        **attributes,
    )


def width_of(text: str, size: float) -> float:
    """Return about how wide a text is; rather too wide than too narrow."""
    widths = (_NARROW.get(each) or _WIDE.get(each) or _USUAL for each in text)
    return size * sum(widths)


def wrapped(text: str, size: float, width: float) -> list[str]:
    """Break a text into lines that fit a width."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_of(f"{lines[-1]} {word}", size) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def written(root: ET.Element) -> str:
    """Return a drawing as text."""
    return ET.tostring(root, encoding="unicode")
