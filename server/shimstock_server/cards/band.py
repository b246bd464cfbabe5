"""The little band beside a reading: what the spec allows, where it was before, where it is after."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from shimstock_server.web.svg import element, line, polygon, written

from .content import Line, Look

WIDTH, HEIGHT = 92.0, 16.0
LOW, HIGH = 25.0, 67.0
EDGE = 6.0
INK, FADED, BAND, FRAME = "#1f1d1a", "#55514a", "#e9e3d6", "#a39c8d"


def band(item: Line) -> str | None:
    """Draw the band of one item, or nothing when it has no limits or was never read."""
    if item.lower is None and item.upper is None:
        return None
    if not (item.before.usable or item.after.usable):
        return None
    root = element(
        None, "svg", viewBox=f"0 0 {WIDTH:g} {HEIGHT:g}", width=f"{WIDTH:g}", height=f"{HEIGHT:g}",
        aria_hidden="true", focusable="false",
    )  # fmt: skip
    middle = HEIGHT / 2
    line(root, (2.0, middle), (WIDTH - 2.0, middle), stroke=FRAME, stroke_width=0.8)
    start = LOW if item.lower is not None else 2.0
    end = HIGH if item.upper is not None else WIDTH - 2.0
    element(root, "rect", x=start, y=2.5, width=end - start, height=HEIGHT - 5, rx=1.5, fill=BAND,
            stroke=FRAME, stroke_width=0.8)  # fmt: skip
    target = _place(item, item.target)
    line(root, (target, 2.5), (target, HEIGHT - 2.5), stroke=FRAME, stroke_width=0.8)
    if item.before.usable:
        _spot(root, item, item.before, solid=False)
    if item.after.usable:
        _spot(root, item, item.after, solid=True)
    return written(root)


def _place(item: Line, value: float) -> float:
    """Where a value lies; the limits, or the target and its one limit, fix the scale."""
    if item.lower is not None and item.upper is not None:
        step = (item.upper - item.lower) / (HIGH - LOW)
        return LOW + (value - item.lower) / step if step > 0 else (LOW + HIGH) / 2
    limit, at = (item.lower, LOW) if item.lower is not None else (item.upper, HIGH)
    assert limit is not None
    span = abs(item.target - limit) or abs(limit) / 2 or 1.0
    return at + (value - limit) * (HIGH - LOW) / 2 / span


def _spot(root: ET.Element, item: Line, look: Look, *, solid: bool) -> None:
    middle = HEIGHT / 2
    style: dict[str, object] = (
        {"fill": INK, "stroke": "#ffffff", "stroke_width": 0.8}
        if solid
        else {"fill": "#ffffff", "stroke": FADED, "stroke_width": 1.4}
    )
    size = 3.4 if solid else 4.4
    at = _place(item, look.value if look.value is not None else 0.0)
    if look.zero_or_less or at < EDGE:
        points = [(EDGE - 4, middle), (EDGE + 3, middle - size), (EDGE + 3, middle + size)]
        polygon(root, points, **style)
    elif at > WIDTH - EDGE:
        right = WIDTH - EDGE
        polygon(root, [(right + 4, middle), (right - 3, middle - size), (right - 3, middle + size)], **style)
    else:
        element(root, "circle", cx=at, cy=middle, r=size, **style)
