"""The forecast as a picture: one panel a quantity, the room below; legible in grey and on paper."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10
from xml.etree import ElementTree as ET

from shimstock_server.web.quantities import KINDS, convert

from .climates import MONTHS
from .forecast import Curve, Forecast
from .sentences import day_in_words

WIDTH = 760.0
LEFT, RIGHT, TOP = 84.0, 104.0, 74.0
PANEL, GAP, FOOT = 168.0, 54.0, 46.0
FONT = "-apple-system, 'Segoe UI', Roboto, 'Helvetica Neue', Arial, sans-serif"
INK, SOFT, WIDE_BAND, BAND, OUT, GRID = "#1a1a1a", "#4a4a4a", "#dfe6ec", "#b4c4d2", "#8a1f11", "#d9d9d9"
NAMESPACE = "http://www.w3.org/2000/svg"
ET.register_namespace("", NAMESPACE)
Point = tuple[float, float]
_EM = 0.62
"""Width of a letter in a wide sans serif, rounded up (from memory)."""


@dataclass(frozen=True)
class Panel:
    """A rectangle with days across and values up."""

    top: float
    count: int
    low: float
    high: float

    def x(self, day: float) -> float:
        """Where a day lies."""
        return LEFT + (WIDTH - LEFT - RIGHT) * day / max(1, self.count - 1)

    def y(self, value: float) -> float:
        """Where a value lies, kept inside."""
        share = (value - self.low) / (self.high - self.low)
        return self.top + PANEL * (1.0 - min(1.0, max(0.0, share)))


def chart(forecast: Forecast, sentence: str, units: str) -> str:
    """Return the forecast as an SVG picture."""
    heading = (
        f"Recheck {day_in_words(forecast.recheck_on)}" if forecast.recheck_on else "No recheck within a year"
    )
    lines = _wrapped(sentence, 13.0, WIDTH - 2 * 20.0)
    top = TOP + 17.0 * (len(lines) - 1)
    panels = len(forecast.curves) + 1
    height = top + panels * (PANEL + GAP) - GAP + FOOT + 20.0
    root = _element(
        None, "svg", viewBox=f"0 0 {WIDTH:g} {height:g}", width=f"{WIDTH:g}", height=f"{height:g}",
        role="img", font_family=FONT,
    )  # fmt: skip
    _element(root, "title", f"{heading}. {sentence}")
    _element(root, "rect", width=WIDTH, height=height, fill="#ffffff")
    _text(root, (20.0, 28.0), heading, 17.0, weight="600")
    for n, line in enumerate(lines):
        _text(root, (20.0, 50.0 + 17.0 * n), line, 13.0, fill=SOFT)
    for n, curve in enumerate(forecast.curves):
        _quantity(root, curve, forecast, units, top + 14.0 + n * (PANEL + GAP))
    bottom = top + 14.0 + len(forecast.curves) * (PANEL + GAP)
    _room(root, forecast, bottom)
    return ET.tostring(root, encoding="unicode")


def _quantity(root: ET.Element, curve: Curve, forecast: Forecast, units: str, top: float) -> None:
    watch = curve.watch
    kind = KINDS[watch.quantity.value]
    unit = kind.out(units)
    expected, high, low = (
        [convert(float(value), kind.unit, unit) for value in values]
        for values in (
            curve.expected, curve.expected + 2 * curve.sd, curve.expected - 2 * curve.sd,
        )
    )  # fmt: skip
    inner = [
        [convert(float(value), kind.unit, unit) for value in values]
        for values in (curve.expected + curve.sd, curve.expected - curve.sd)
    ]
    limits = [
        None if limit is None else convert(limit, kind.unit, unit) for limit in (watch.lower, watch.upper)
    ]
    known = [limit for limit in limits if limit is not None]
    least, most = min([*low, *known]), max([*high, *known])
    span = (most - least) or 1.0
    panel = Panel(top, len(expected), least - 0.06 * span, most + 0.06 * span)
    name = watch.quantity.value.replace("-", " ").capitalize()
    if watch.side is not None:
        name += f", {watch.side.value} side"
    elif watch.string is not None:
        name += f", string {watch.string}"
    _frame(root, panel, f"{name} [{unit.value}]", forecast)
    _band(root, panel, high, low, WIDE_BAND)
    _band(root, panel, inner[0], inner[1], BAND)
    labels: list[tuple[float, str, str]] = []
    for limit, word in zip(limits, ("lower limit", "upper limit"), strict=True):
        if limit is not None:
            y = panel.y(limit)
            _line(root, (LEFT, y), (WIDTH - RIGHT, y), OUT, 1.4, dash="7 4")
            labels.append((y, word, OUT))
    _path(root, [(panel.x(n), panel.y(value)) for n, value in enumerate(expected)], INK, 2.2)
    labels.append((panel.y(expected[-1]), "expected", INK))
    _element(root, "circle", cx=panel.x(0), cy=panel.y(expected[0]), r=4.0, fill=INK)
    for y, word, ink in _apart(labels, panel):
        _text(root, (WIDTH - RIGHT + 8.0, y + 4.0), word, 12.0, fill=ink)
    _recheck(root, panel, forecast)


def _room(root: ET.Element, forecast: Forecast, top: float) -> None:
    count = forecast.curves[0].expected.size
    first = forecast.read_on.timetuple().tm_yday - 1
    humidity = [float(forecast.year.air.relative_humidity[(first + n) % 365]) for n in range(count)]
    panel = Panel(top, count, 0.0, 100.0)
    whose = {"log": "its own log", "model": "climate's normals"}.get(
        forecast.year.facts["source"], "log and normals"
    )
    _frame(root, panel, f"Room, relative humidity [%], by {whose}", forecast, ticks=(0, 20, 40, 60, 80, 100))
    _path(root, [(panel.x(n), panel.y(value)) for n, value in enumerate(humidity)], INK, 2.0)
    _recheck(root, panel, forecast)
    reading = day_in_words(forecast.read_on)
    marked = f"● final reading, {reading}" + ("  ┆ recheck" if forecast.recheck_on is not None else "")
    _text(root, (LEFT, panel.top + PANEL + 38.0), marked, 12.0, fill=SOFT)
    words = "darker band: 2 in 3; lighter: 19 in 20"
    _text(root, (WIDTH - RIGHT, panel.top + PANEL + 38.0), words, 12.0, fill=SOFT, anchor="end")


def _frame(
    root: ET.Element, panel: Panel, title: str, forecast: Forecast, *, ticks: Sequence[float] | None = None
) -> None:
    _text(root, (LEFT, panel.top - 9.0), title, 13.0, weight="600")
    for tick in ticks if ticks is not None else _ticks(panel.low, panel.high):
        y = panel.y(tick)
        _line(root, (LEFT, y), (WIDTH - RIGHT, y), GRID, 1.0)
        _text(root, (LEFT - 8.0, y + 4.0), f"{tick:g}", 12.0, fill=SOFT, anchor="end")
    last = -1e9
    for day, label in _months(forecast.read_on, panel.count):
        x = panel.x(day)
        _line(root, (x, panel.top), (x, panel.top + PANEL), GRID, 1.0)
        if x - last > _EM * 12.0 * 4.0 and x < WIDTH - RIGHT - 10.0:
            _text(root, (x, panel.top + PANEL + 17.0), label, 12.0, fill=SOFT, anchor="middle")
            last = x
    _line(root, (LEFT, panel.top + PANEL), (WIDTH - RIGHT, panel.top + PANEL), SOFT, 1.0)


def _recheck(root: ET.Element, panel: Panel, forecast: Forecast) -> None:
    marks = [(forecast.recheck_on, "3 3", 1.8), (forecast.today, "1 4", 1.2)]
    for day, dash, width in marks:
        if day is None:
            continue
        at = (day - forecast.read_on).days
        if 0 < at < panel.count:
            x = panel.x(at)
            _line(root, (x, panel.top), (x, panel.top + PANEL), INK, width, dash=dash)


def _apart(labels: list[tuple[float, str, str]], panel: Panel) -> list[tuple[float, str, str]]:
    """Move labels apart that would touch."""
    found: list[tuple[float, str, str]] = []
    for y, word, ink in sorted(labels):
        least = found[-1][0] + 15.0 if found else panel.top
        found.append((max(y, least), word, ink))
    over = found[-1][0] - (panel.top + PANEL) if found else 0.0
    return [(y - max(0.0, over), word, ink) for y, word, ink in found]


def _ticks(low: float, high: float) -> list[float]:
    step = 10.0 ** floor(log10((high - low) / 3.0))
    for factor in (1.0, 2.0, 2.5, 5.0, 10.0):
        if (high - low) / (step * factor) <= 5.0:
            step *= factor
            break
    return [round(n * step, 10) for n in range(ceil(low / step), floor(high / step) + 1)]


def _months(first: date, count: int) -> list[tuple[int, str]]:
    found = []
    for n in range(count):
        day = first + timedelta(days=n)
        if day.day == 1:
            found.append((n, MONTHS[day.month - 1][:3]))
    return found


def _wrapped(text: str, size: float, width: float) -> list[str]:
    lines: list[str] = []
    for word in text.split():
        if lines and len(f"{lines[-1]} {word}") * size * 0.55 <= width:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _band(root: ET.Element, panel: Panel, high: Sequence[float], low: Sequence[float], fill: str) -> None:
    points = [(panel.x(n), panel.y(value)) for n, value in enumerate(high)]
    points += [(panel.x(n), panel.y(value)) for n, value in reversed(list(enumerate(low)))]
    _element(root, "polygon", points=_points(points), fill=fill)


def _path(root: ET.Element, points: Sequence[Point], ink: str, width: float) -> None:
    _element(root, "polyline", points=_points(points), fill="none", stroke=ink, stroke_width=width)


def _points(points: Sequence[Point]) -> str:
    return " ".join(f"{x:.1f},{y:.1f}" for x, y in points)


def _line(
    root: ET.Element, start: Point, end: Point, ink: str, width: float, *, dash: str | None = None
) -> None:
    more = {"stroke_dasharray": dash} if dash else {}
    _element(
        root, "line", x1=start[0], y1=start[1], x2=end[0], y2=end[1], stroke=ink, stroke_width=width, **more
    )


def _text(
    root: ET.Element, at: Point, text: str, size: float, *, fill: str = INK, anchor: str = "start",
    weight: str = "400",
) -> None:  # fmt: skip
    _element(
        root, "text", text, x=at[0], y=at[1], font_size=size, fill=fill, text_anchor=anchor,
        font_weight=weight,
    )  # fmt: skip


def _element(
    parent: ET.Element | None, tag: str, text: str | None = None, **attributes: object
) -> ET.Element:
    written = {
        name.replace("_", "-") if name != "viewBox" else name: f"{value:.2f}".rstrip("0").rstrip(".")
        if isinstance(value, float)
        else str(value)
        for name, value in attributes.items()
    }
    name = f"{{{NAMESPACE}}}{tag}"
    made = ET.Element(name, written) if parent is None else ET.SubElement(parent, name, written)
    made.text = text
    return made
