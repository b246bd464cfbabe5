"""A little SVG: elements with rounded coordinates, texts with a width that can be estimated."""

from __future__ import annotations

from collections.abc import Sequence
from unicodedata import normalize
from xml.etree import ElementTree as ET

NAMESPACE = "http://www.w3.org/2000/svg"
FONT = "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
Point = tuple[float, float]

ET.register_namespace("", NAMESPACE)

# Advance widths in em, none less than that of DejaVu Sans, the widest of the usual faces: a label has room in
# any font. Accents add nothing; what is missing here is taken as a wide letter.
_WIDTHS = {
    letter: width
    for letters, width in {
        "ijl'": 0.31,
        ".,:;|/I \u00a0-": 0.37,
        "()[]!frtľ": 0.43,
        '"*°·': 0.51,
        "aceghknopqsuvxyzbd0123456789$_?EFJLPSTYß–": 0.64,
        "{}`ABCDGHKNOQRUVXZ&w": 0.82,
        "+<>=^~#±×÷−→¬": 0.84,
    }.items()
    for letter in letters
}
_WIDEST = 1.1
_BOLD = 1.15
"""How much wider a bold face is."""


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


def width_of(text: str, size: float, *, bold: bool = False) -> float:
    """Return about how wide a text is; rather too wide than too narrow."""
    known = (each if each in _WIDTHS else normalize("NFD", each)[0] for each in text)
    return size * sum(_WIDTHS.get(each, _WIDEST) for each in known) * (_BOLD if bold else 1.0)


def wrapped(text: str, size: float, width: float, *, bold: bool = False) -> list[str]:
    """Break a text into lines that fit a width."""
    lines: list[str] = []
    for word in text.split():
        if lines and width_of(f"{lines[-1]} {word}", size, bold=bold) <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def written(root: ET.Element) -> str:
    """Return a drawing as text."""
    return ET.tostring(root, encoding="unicode")
