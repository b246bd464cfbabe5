"""The forecast as a picture: one panel a quantity, the room below; legible in grey, on paper, on a phone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import ceil, floor, log10
from xml.etree import ElementTree as ET

from shimstock_server.web import svg
from shimstock_server.web.quantities import KINDS, convert

from .climates import MONTHS
from .forecast import Curve, Forecast
from .sentences import day_in_words

WIDTH, NARROWEST, WIDEST = 760, 320, 1600
"""As a screen has room for it [px]; type keeps its size at any width."""
EDGE, LEFT, RIGHT = 16.0, 52.0, 86.0
PANEL, GAP = 168.0, 58.0
LINE, TYPE, SMALL = 17.0, 13.0, 12.0
SAMPLE = 26.0
INK, SOFT, WIDE_BAND, BAND, OUT, GRID = "#1a1a1a", "#4a4a4a", "#dfe6ec", "#b4c4d2", "#8a1f11", "#d9d9d9"
RECHECK, TODAY = {"stroke_dasharray": "4 3", "stroke_width": 1.8}, {"stroke_width": 1.0}
WHOSE = {"log": "by its own log", "model": "by the climate's normals", "log-and-model": "log and normals"}


@dataclass(frozen=True)
class Panel:
    """A rectangle with days across and values up."""

    width: float
    top: float
    count: int
    low: float
    high: float

    @property
    def right(self) -> float:
        """Where the days end."""
        return self.width - RIGHT

    @property
    def bottom(self) -> float:
        """Where the values begin."""
        return self.top + PANEL

    def x(self, day: float) -> float:
        """Where a day lies."""
        return LEFT + (self.right - LEFT) * day / max(1, self.count - 1)

    def y(self, value: float) -> float:
        """Where a value lies, kept inside."""
        share = (value - self.low) / (self.high - self.low)
        return self.top + PANEL * (1.0 - min(1.0, max(0.0, share)))


def chart(forecast: Forecast, sentence: str, units: str, width: int = WIDTH) -> str:
    """Return the forecast as an SVG picture of some width [px]."""
    recheck = forecast.recheck_on
    heading = f"Recheck {day_in_words(recheck)}" if recheck else "No recheck within a year"
    lines = svg.wrapped(sentence, TYPE, width - 2 * EDGE)
    legend = _legend(forecast)
    top = 50.0 + LINE * len(lines) + 20.0
    panels = len(forecast.curves) + 1
    height = top + panels * (PANEL + GAP) + LINE * len(legend)
    root = svg.element(
        None, "svg", viewBox=f"0 0 {width} {height:g}", width=width, height=f"{height:g}", role="img",
        font_family=svg.FONT,
    )  # fmt: skip
    svg.element(root, "title", f"{heading}. {sentence}")
    svg.element(root, "rect", width=width, height=height, fill="#ffffff")
    svg.label(root, (EDGE, 28.0), heading, size=17.0, font_weight="600", fill=INK)
    for n, line in enumerate(lines):
        svg.label(root, (EDGE, 50.0 + LINE * n), line, size=TYPE, fill=SOFT)
    for n, curve in enumerate(forecast.curves):
        _quantity(root, curve, forecast, units, (float(width), top + n * (PANEL + GAP)))
    bottom = top + len(forecast.curves) * (PANEL + GAP)
    _room(root, forecast, (float(width), bottom))
    _explain(root, legend, bottom + PANEL + 40.0)
    return svg.written(root)


def _quantity(
    root: ET.Element, curve: Curve, forecast: Forecast, units: str, corner: tuple[float, float]
) -> None:
    watch = curve.watch
    kind = KINDS[watch.quantity.value]
    unit = kind.out(units)
    expected, high, low, likely_high, likely_low = (
        [convert(float(value), kind.unit, unit) for value in curve.expected + factor * curve.sd]
        for factor in (0.0, 2.0, -2.0, 1.0, -1.0)
    )
    limits = [
        None if limit is None else convert(limit, kind.unit, unit) for limit in (watch.lower, watch.upper)
    ]
    known = [limit for limit in limits if limit is not None]
    least, most = min([*low, *known]), max([*high, *known])
    span = (most - least) or 1.0
    panel = Panel(*corner, len(expected), least - 0.06 * span, most + 0.06 * span)
    _frame(root, panel, f"{_name(curve)} [{unit.value}]", forecast)
    _band(root, panel, high, low, WIDE_BAND)
    _band(root, panel, likely_high, likely_low, BAND)
    labels: list[tuple[float, str, str]] = []
    for limit, word in zip(limits, ("lower limit", "upper limit"), strict=True):
        if limit is not None:
            y = panel.y(limit)
            dashes = {"stroke": OUT, "stroke_width": 1.4, "stroke_dasharray": "7 4"}
            svg.line(root, (LEFT, y), (panel.right, y), **dashes)
            labels.append((y, word, OUT))
    svg.polyline(root, _across(panel, expected), stroke=INK, stroke_width=2.2)
    labels.append((panel.y(expected[-1]), "expected", INK))
    svg.element(root, "circle", cx=panel.x(0), cy=panel.y(expected[0]), r=4.0, fill=INK)
    for y, word, ink in _apart(labels, panel):
        svg.label(root, (panel.right + 8.0, y + 4.0), word, size=SMALL, fill=ink)
    _days(root, panel, forecast)


def _name(curve: Curve) -> str:
    watch = curve.watch
    name = watch.quantity.value.replace("-", " ").capitalize()
    if watch.side is not None:
        return f"{name}, {watch.side.value} side"
    return name if watch.string is None else f"{name}, string {watch.string}"


def _room(root: ET.Element, forecast: Forecast, corner: tuple[float, float]) -> None:
    count = forecast.curves[0].expected.size
    first = forecast.read_on.timetuple().tm_yday - 1
    humidity = [float(forecast.year.air.relative_humidity[(first + n) % 365]) for n in range(count)]
    panel = Panel(*corner, count, 0.0, 100.0)
    whose = WHOSE[forecast.year.facts["source"]]
    _frame(root, panel, f"Room [% RH], {whose}", forecast, ticks=(0, 20, 40, 60, 80, 100))
    svg.polyline(root, _across(panel, humidity), stroke=INK, stroke_width=2.0)
    _days(root, panel, forecast)


def _frame(
    root: ET.Element, panel: Panel, title: str, forecast: Forecast, *, ticks: Sequence[float] | None = None
) -> None:
    svg.label(root, (EDGE, panel.top - 12.0), title, size=TYPE, font_weight="600", fill=INK)
    grid = {"stroke": GRID, "stroke_width": 1.0}
    for tick in ticks if ticks is not None else _ticks(panel.low, panel.high):
        y = panel.y(tick)
        svg.line(root, (LEFT, y), (panel.right, y), **grid)
        svg.label(root, (LEFT - 8.0, y + 4.0), f"{tick:g}", size=SMALL, anchor="end", fill=SOFT)
    last = -1e9
    for day, label in _months(forecast.read_on, panel.count):
        x = panel.x(day)
        svg.line(root, (x, panel.top), (x, panel.bottom), **grid)
        if x - last > 1.3 * svg.width_of("Mmm", SMALL):
            svg.label(root, (x, panel.bottom + LINE), label, size=SMALL, anchor="middle", fill=SOFT)
            last = x
    svg.line(root, (LEFT, panel.bottom), (panel.right, panel.bottom), stroke=SOFT, stroke_width=1.0)


def _days(root: ET.Element, panel: Panel, forecast: Forecast) -> None:
    """Mark the day to look again, and today."""
    for day, look in ((forecast.recheck_on, RECHECK), (forecast.today, TODAY)):
        at = -1 if day is None else (day - forecast.read_on).days
        if 0 < at < panel.count:
            svg.line(root, (panel.x(at), panel.top), (panel.x(at), panel.bottom), stroke=INK, **look)


def _legend(forecast: Forecast) -> list[tuple[str, str]]:
    """What the marks mean: a mark and its words, a line each."""
    watch = forecast.curves[0].watch
    reading = "recheck" if watch.basis.startswith("recheck") else "final reading"
    told = [("dot", f"{reading}, {day_in_words(forecast.read_on)}")]
    if forecast.recheck_on is not None:
        told.append(("recheck", f"look again, {day_in_words(forecast.recheck_on)}"))
    if forecast.today > forecast.read_on:
        told.append(("today", f"today, {day_in_words(forecast.today)}"))
    return [*told, ("band", "here 2 times in 3"), ("wide", "here 19 times in 20")]


def _explain(root: ET.Element, legend: Sequence[tuple[str, str]], top: float) -> None:
    for n, (mark, words) in enumerate(legend):
        y = top + LINE * n
        middle = EDGE + SAMPLE / 2.0
        if mark == "dot":
            svg.element(root, "circle", cx=middle, cy=y, r=4.0, fill=INK)
        elif mark in ("band", "wide"):
            fill = BAND if mark == "band" else WIDE_BAND
            svg.element(root, "rect", x=EDGE, y=y - 6.0, width=SAMPLE, height=12.0, fill=fill)
        else:
            look = RECHECK if mark == "recheck" else TODAY
            svg.line(root, (middle, y - 8.0), (middle, y + 8.0), stroke=INK, **look)
        svg.label(root, (EDGE + SAMPLE + 8.0, y + 4.0), words, size=SMALL, fill=SOFT)


def _apart(labels: list[tuple[float, str, str]], panel: Panel) -> list[tuple[float, str, str]]:
    """Move labels apart that would touch."""
    found: list[tuple[float, str, str]] = []
    for y, word, ink in sorted(labels):
        least = found[-1][0] + 15.0 if found else panel.top
        found.append((max(y, least), word, ink))
    over = found[-1][0] - panel.bottom if found else 0.0
    return [(y - max(0.0, over), word, ink) for y, word, ink in found]


def _ticks(low: float, high: float) -> list[float]:
    step = 10.0 ** floor(log10((high - low) / 3.0))
    for factor in (1.0, 2.0, 2.5, 5.0, 10.0):
        if (high - low) / (step * factor) <= 5.0:
            step *= factor
            break
    return [round(n * step, 10) for n in range(ceil(low / step), floor(high / step) + 1)]


def _months(first: date, count: int) -> list[tuple[int, str]]:
    days = ((n, first + timedelta(days=n)) for n in range(count))
    return [(n, MONTHS[day.month - 1][:3]) for n, day in days if day.day == 1]


def _across(panel: Panel, values: Sequence[float]) -> list[svg.Point]:
    return [(panel.x(n), panel.y(value)) for n, value in enumerate(values)]


def _band(root: ET.Element, panel: Panel, high: Sequence[float], low: Sequence[float], fill: str) -> None:
    svg.polygon(root, [*_across(panel, high), *reversed(_across(panel, low))], fill=fill)
