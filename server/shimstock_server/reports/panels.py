"""The page's pictures: readings against the spec, before and after, the year; each a small SVG of its own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from shimstock_server.database.words import Stage
from shimstock_server.web.quantities import write
from shimstock_server.web.svg import element, label, line, polyline, width_of, written

from .axes import BAND, BELOW, DASHES, EDGE, END, INK, PALE, SOFT, TEXT, Limits, Panel, Scale, rectangle
from .chosen import ENDS, bar_edges, name_of, shown_curves, shown_places, stage_of, told, unit_of
from .tables import Report

MONTHS = "JFMAMJJASOND"
NAMES = (
    "January", "February", "March", "April", "May", "June", "July", "August", "September", "October",
    "November", "December",
)  # fmt: skip
CAME, WENT = ENDS
WORDS = {CAME: "as received", WENT: "final"}
ROW = 34.0
HALO = {"stroke": "#ffffff", "stroke_width": 3.0, "stroke_linejoin": "round", "paint_order": "stroke"}
"""Keeps a label apart from a line that runs behind it."""


@dataclass(frozen=True)
class Section:
    """Some pictures under one heading."""

    heading: str
    says: str
    legend: str
    """Which legend belongs to it: `bars`, `ranges` or none."""
    drawings: list[str]


def sections(report: Report, units: str) -> list[Section]:
    """Return the report's pictures; without those that have no readings."""
    shown = shown_places(report)
    found = [
        Section(
            "How readings lie against the spec",
            "Share of the readings by value: as they came in, and at the end.",
            "bars",
            [_distribution(each, units) for each in shown],
        ),
        Section(
            "Before and after",
            "Median, and where the middle 80 % of the readings lie.",
            "ranges",
            [_ranges(places, units) for places in _by_quantity(shown)],
        ),
        Section(
            "Through the year",
            "Relief and action as received by month: median, middle 80 %, and how many readings; and the "
            "moisture that the room's air would bring wood to.",
            "",
            _year(report, units),
        ),
    ]
    return [each for each in found if each.drawings]


def _spec(each: dict[str, Any], units: str) -> Limits | None:
    spec = each["spec"]
    if spec is None:
        return None
    lower, upper = (
        None if spec[name] is None else told(each["kind"], spec[name], units) for name in ("lower", "upper")
    )
    return lower, upper, told(each["kind"], spec["target"], units)


def _says(each: dict[str, Any], units: str) -> str:
    """What the readings of a place and its spec are, in sentences."""
    parts = []
    for end in ENDS:
        stage = stage_of(each, end)
        if stage is not None:
            low, middle, high = (
                write(each["kind"], stage["quantiles"][name], units) for name in ("p10", "median", "p90")
            )
            counted = f"middle 80 % {low} to {high}, {stage['count']} readings"
            parts.append(f"{WORDS[end]}: median {middle}, {counted}")
    if each["spec"] is not None:
        names = (("target", "target"), ("lower", "from"), ("upper", "to"))
        told_limits = [
            f"{word} {write(each['kind'], each['spec'][name], units)}"
            for name, word in names
            if each["spec"][name] is not None
        ]
        parts.append(f"spec: {' '.join(told_limits)}")
    return f"{name_of(each)}. {'; '.join(parts)}."


def _small(each: dict[str, Any], units: str) -> str:
    counts = " · ".join(
        f"{stage['count']} {WORDS[end]}" for end in ENDS if (stage := stage_of(each, end)) is not None
    )
    return " · ".join(part for part in (unit_of(each["kind"], units), each["frets"], counts) if part)


def _distribution(each: dict[str, Any], units: str) -> str:
    panel = Panel(name_of(each), _small(each, units), 104.0, _says(each, units))
    kind, (low, high, wide) = each["kind"], bar_edges(each)
    bars = max(1, round((high - low) / wide))
    heights = {end: _heights(stage_of(each, end), low, wide, bars) for end in ENDS}
    top = max([1.0, *(height for found in heights.values() for height in found)])
    scale = Scale(told(kind, low, units), told(kind, low + bars * wide, units), panel.left, panel.right)
    spec = _spec(each, units)
    if spec is not None:
        panel.band(scale, spec, panel.top, panel.bottom)
    up = panel.upward(0.0, top * 1.04, most=4, sign=" %")
    edges = [scale(told(kind, low + number * wide, units)) for number in range(bars + 1)]
    for number, height in enumerate(heights[CAME]):
        if height:
            rectangle(panel.canvas, edges[number] + 0.5, up(0.0), edges[number + 1] - 0.5, up(height),
                      fill=PALE, stroke=EDGE, stroke_width=0.75)  # fmt: skip
    if any(heights[WENT]):
        polyline(panel.canvas, _outline(heights[WENT], edges, up), stroke=INK, stroke_width=1.75)
    panel.across(scale.low, scale.high)
    return panel.written()


def _heights(stage: dict[str, Any] | None, low: float, wide: float, bars: int) -> list[float]:
    """Share of a stage's readings in each bar [%]."""
    heights = [0.0] * bars
    if stage is not None:
        for counted in stage["bins"]:
            heights[min(bars - 1, max(0, int((counted["middle"] - low) / wide)))] += counted["count"]
    whole = sum(heights)
    return [100.0 * height / whole if whole else 0.0 for height in heights]


def _outline(heights: Sequence[float], edges: Sequence[float], up: Scale) -> list[tuple[float, float]]:
    some = [number for number, height in enumerate(heights) if height]
    points = [(edges[some[0]], up(0.0))]
    for number in range(some[0], some[-1] + 1):
        points += [(edges[number], up(heights[number])), (edges[number + 1], up(heights[number]))]
    return [*points, (edges[some[-1] + 1], up(0.0))]


def _by_quantity(shown: Sequence[dict[str, Any]]) -> list[list[dict[str, Any]]]:
    found: dict[tuple[str, str], list[dict[str, Any]]] = {}
    for each in shown:
        found.setdefault((each["quantity"], each["frets"]), []).append(each)
    return list(found.values())


def _ranges(places: Sequence[dict[str, Any]], units: str) -> str:
    first = places[0]
    kind = first["kind"]
    names = [each["place"] or "whole" for each in places]
    panel = Panel(
        first["quantity"].replace("-", " ").capitalize(),
        " · ".join(part for part in (unit_of(kind, units), first["frets"]) if part),
        ROW * len(places),
        " ".join(_says(each, units) for each in places),
        left=min(130.0, max(width_of(name, TEXT) for name in names) + 8.0),
    )
    ends = [value for each in places for value in _reach(each)]
    low, high = told(kind, min(ends), units), told(kind, max(ends), units)
    room = 0.04 * (high - low) or 0.5
    scale = panel.across(low - room, high + room)
    for row, (each, name) in enumerate(zip(places, names, strict=True)):
        top = panel.top + row * ROW
        label(panel.canvas, (panel.left - 6.0, top + ROW / 2.0 + 4.0), name, size=TEXT, anchor="end")
        spec = _spec(each, units)
        if spec is not None:
            panel.band(scale, spec, top + 2.0, top + ROW - 2.0)
        for end, down in ((CAME, 11.0), (WENT, 23.0)):
            stage = stage_of(each, end)
            if stage is not None:
                shares = (stage["quantiles"][name] for name in ("p10", "median", "p90"))
                _range(panel, [scale(told(kind, share, units)) for share in shares], top + down, end == WENT)
    return panel.written()


def _reach(each: dict[str, Any]) -> list[float]:
    """What must find room on the scale of a place: its spec, and the middle 80 % of its readings."""
    spec = each["spec"] or {}
    found = [spec.get(name) for name in ("lower", "upper", "target")]
    for end in ENDS:
        stage = stage_of(each, end)
        if stage is not None:
            found += [stage["quantiles"][name] for name in ("p10", "p90")]
    return [value for value in found if value is not None]


def _range(panel: Panel, at: Sequence[float], y: float, last: bool) -> None:
    low, middle, high = at
    line(panel.canvas, (low, y), (high, y), stroke=INK if last else SOFT, stroke_width=2.5 if last else 1.25)
    element(panel.canvas, "circle", cx=middle, cy=y, r=4.0, fill=INK if last else "#ffffff",
            stroke=INK if last else SOFT, stroke_width=1.5)  # fmt: skip


def _year(report: Report, units: str) -> list[str]:
    readings, moisture = shown_curves(report)
    if not readings:
        return []
    follows = {(each["quantity"], each["place"], each["frets"]): each for each in report["against_moisture"]}
    return [_months(each, follows, units) for each in [*readings, *([moisture] if moisture else [])]]


def _months(months: Sequence[dict[str, Any]], follows: dict[tuple[str, str, str], Any], units: str) -> str:
    first = months[0]
    kind = first["kind"]
    title = "room air: moisture of wood" if kind == "moisture" else name_of(first)
    small = [unit_of(kind, units), first["frets"]]
    follow = follows.get((first["quantity"], first["place"], first["frets"]))
    if follow is not None:
        change, sure = (told(kind, follow[name], units) for name in ("per_percent", "uncertainty"))
        signed = f"{change:+.3f}".replace("-", "\N{MINUS SIGN}")
        small.append(f"{signed} ± {sure:.3f} {unit_of(kind, units)} per % MC")
    says = "; ".join(
        f"{NAMES[each['month'] - 1]} {write(kind, each['median'], units)} ({each['count']})"
        for each in months
    )
    panel = Panel(
        title, " · ".join(part for part in small if part), 104.0, f"{title}, median by month: {says}."
    )
    values = [told(kind, each[name], units) for each in months for name in ("p10", "p90")]
    low, high = min(values), max(values)
    room = (high - low) or 1.0
    up = panel.upward(low - 0.06 * room, high + 0.16 * room)
    across = Scale(0.4, 12.6, panel.left, panel.right)
    points = []
    for each in months:
        x = across(each["month"])
        bottom, middle, top = (up(told(kind, each[name], units)) for name in ("p10", "median", "p90"))
        rectangle(panel.canvas, x - 3.5, bottom, x + 3.5, top, fill=PALE, stroke=EDGE, stroke_width=0.75)
        points.append((x, middle))
    polyline(panel.canvas, points, stroke=INK, stroke_width=1.75)
    for x, y in points:
        element(panel.canvas, "circle", cx=x, cy=y, r=2.5, fill=INK)
    for each in months:
        at = across(each["month"]), up(told(kind, each["p90"], units)) - 4.0
        label(panel.canvas, at, _count(each["count"]), size=10.5, anchor="middle", fill=SOFT, **HALO)
    line(panel.canvas, (panel.left, panel.bottom), (panel.right, panel.bottom), stroke=SOFT)
    for number, letter in enumerate(MONTHS, start=1):
        label(
            panel.canvas,
            (across(number), panel.bottom + BELOW),
            letter,
            size=TEXT,
            anchor="middle",
            fill=SOFT,
        )
    panel.end = panel.bottom + END
    return panel.written()


def _count(number: int) -> str:
    """Write a count so that twelve stand beside each other.

    >>> _count(812), _count(1640), _count(21400)
    ('812', '1.6k', '21k')
    """
    if number < 1000:
        return str(number)
    return f"{number / 1000:.1f}k" if number < 9950 else f"{number / 1000:.0f}k"


LEGENDS = {
    "bars": (("came", WORDS[Stage.AS_RECEIVED.value]), ("went", WORDS[Stage.FINAL.value])),
    "ranges": (("open", WORDS[Stage.AS_RECEIVED.value]), ("full", WORDS[Stage.FINAL.value])),
}


def legend(name: str) -> list[tuple[str, str]]:
    """Return the marks of a legend, each an SVG beside its word."""
    marks = LEGENDS.get(name)
    if marks is None:
        return []
    return [(_mark(mark), word) for mark, word in (*marks, ("band", "spec, with its target"))]


def _mark(mark: str) -> str:
    root = element(None, "svg", viewBox="0 0 26 14", aria_hidden="true")
    if mark == "came":
        rectangle(root, 2.0, 2.0, 24.0, 12.0, fill=PALE, stroke=EDGE)
    elif mark == "went":
        polyline(root, [(2.0, 12.0), (2.0, 3.0), (24.0, 3.0), (24.0, 12.0)], stroke=INK, stroke_width=1.75)
    elif mark == "band":
        rectangle(root, 2.0, 1.0, 24.0, 13.0, fill=BAND)
        for x in (2.0, 24.0):
            line(root, (x, 1.0), (x, 13.0), stroke=SOFT, stroke_dasharray=DASHES)
        line(root, (13.0, 1.0), (13.0, 13.0), stroke=SOFT)
    else:
        full = mark == "full"
        line(root, (2.0, 7.0), (24.0, 7.0), stroke=INK if full else SOFT, stroke_width=2.5 if full else 1.25)
        element(root, "circle", cx=13.0, cy=7.0, r=4.0, fill=INK if full else "#ffffff",
                stroke=INK if full else SOFT, stroke_width=1.5)  # fmt: skip
    return written(root)
