"""The report's pictures for paper: readings against the spec, before and after, the year; legible in grey."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from shimstock_server.database.words import Stage

from .chosen import bar_edges, name_of, shown_curves, shown_places, stage_of, told, unit_of
from .tables import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, CAME, BAND, GRID = "#1c1c1c", "#555555", "#aeb9c2", "#f0ebde", "#dddddd"
COLUMNS = 3
MOST_PANELS = 12
"""On a sheet."""
MONTHS = "JFMAMJJASOND"
STYLE: dict[Any, Any] = {"text.parse_math": False, "font.family": ["DejaVu Sans"], "hatch.linewidth": 0.6}


def figures(report: Report, units: str) -> list[tuple[str, Figure]]:
    """Draw the report's pictures, each with its heading; to be called with `DRAWING` held and `STYLE` set."""
    shown = shown_places(report)
    drawn: list[tuple[str, Figure | None]] = [
        ("How readings lie against the spec", _distributions(shown[start : start + MOST_PANELS], units))
        for start in range(0, len(shown), MOST_PANELS)
    ]
    if shown:
        drawn.append(
            ("Before and after: median and middle 80 %", _before_and_after(shown[:MOST_PANELS], units))
        )
    drawn.append(("Through the year: median and middle 80 % as received", _season(report, units)))
    return [(heading, figure) for heading, figure in drawn if figure is not None]


def _figure(width: float, height: float) -> Figure:
    from matplotlib.figure import Figure

    return Figure(figsize=(width, height), facecolor="white", layout="constrained")


def _plain(axes: Axes) -> None:
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    for side in ("left", "bottom"):
        axes.spines[side].set_color(SOFT)
    axes.tick_params(labelsize=8, colors=INK, length=3)
    axes.set_axisbelow(True)


def _band(axes: Axes, each: dict[str, Any], units: str, *, upright: bool = True) -> None:
    """The spec's band with its limits, and its target."""
    spec = each["spec"]
    if spec is None:
        return
    line = axes.axvline if upright else axes.axhline
    span = axes.axvspan if upright else axes.axhspan
    lower, upper = (
        None if spec[name] is None else told(each["kind"], spec[name], units) for name in ("lower", "upper")
    )
    if lower is not None and upper is not None:
        span(lower, upper, color=BAND, zorder=0, linewidth=0)
    for limit in (lower, upper):
        if limit is not None:
            line(limit, color=SOFT, linewidth=0.8, linestyle=(0, (4, 2)), zorder=1)
    line(told(each["kind"], spec["target"], units), color=SOFT, linewidth=0.8, zorder=1)


def _distributions(shown: Sequence[dict[str, Any]], units: str) -> Figure:
    rows = -(-len(shown) // COLUMNS)
    figure = _figure(9.6, 0.55 + 2.15 * rows)
    grid = figure.subplots(rows, COLUMNS, squeeze=False)
    for axes, each in zip(grid.flat, shown, strict=False):
        _histogram(axes, each, units)
    for axes in list(grid.flat)[len(shown) :]:
        axes.set_visible(False)
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    figure.legend(
        handles=[
            Patch(facecolor=CAME, edgecolor="#717c86", hatch="////", label="as received"),
            Line2D([], [], color=INK, linewidth=1.6, label="final"),
            Patch(facecolor=BAND, edgecolor=SOFT, linestyle="--", label="spec, with its target"),
        ],
        loc="outside upper left",
        ncols=3,
        frameon=False,
        fontsize=9,
    )
    return figure


def _histogram(axes: Axes, each: dict[str, Any], units: str) -> None:
    import numpy as np

    _plain(axes)
    _band(axes, each, units)
    found = [stage_of(each, stage) for stage in (Stage.AS_RECEIVED.value, Stage.FINAL.value)]
    low, high, wide = bar_edges(each)
    edges = np.arange(low, high + wide, wide)
    shown = np.array([told(each["kind"], edge, units) for edge in edges])
    styles: tuple[dict[str, Any], ...] = (
        {"fill": True, "facecolor": CAME, "edgecolor": "#717c86", "hatch": "////", "linewidth": 0.5},
        {"fill": False, "color": INK, "linewidth": 1.6},
    )
    for stage, style in zip(found, styles, strict=True):
        if stage is None:
            continue
        heights, _ = np.histogram(
            [counted["middle"] for counted in stage["bins"]],
            bins=edges,
            weights=[counted["count"] for counted in stage["bins"]],
        )
        axes.stairs(heights / heights.sum() * 100.0, shown, zorder=2, **style)
    counts = " / ".join(str(stage["count"]) if stage else "0" for stage in found)
    axes.set_title(f"{name_of(each)}  (n {counts})", fontsize=9, loc="left", color=INK)
    axes.set_xlabel(unit_of(each["kind"], units), fontsize=8, color=SOFT, labelpad=1)
    axes.set_ylabel("% of readings", fontsize=8, color=SOFT, labelpad=2)


def _before_and_after(shown: Sequence[dict[str, Any]], units: str) -> Figure:
    by_quantity: dict[str, list[dict[str, Any]]] = {}
    for each in shown:
        by_quantity.setdefault(each["quantity"], []).append(each)
    heights = [0.55 + 0.42 * len(places) for places in by_quantity.values()]
    figure = _figure(9.6, 0.5 + sum(heights) + 0.35 * len(heights))
    grid = figure.subplots(len(heights), 1, squeeze=False, gridspec_kw={"height_ratios": heights})
    for axes, places in zip(grid.flat, by_quantity.values(), strict=True):
        _ranges(axes, places, units)
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    figure.legend(
        handles=[
            Line2D([], [], color=SOFT, marker="o", markerfacecolor="white", label="as received"),
            Line2D([], [], color=INK, marker="o", linewidth=2.2, label="final"),
            Patch(facecolor=BAND, edgecolor=SOFT, linestyle="--", label="spec, with its target"),
        ],
        loc="outside upper left",
        ncols=3,
        frameon=False,
        fontsize=9,
    )
    return figure


def _ranges(axes: Axes, places: Sequence[dict[str, Any]], units: str) -> None:
    from matplotlib.patches import Rectangle

    _plain(axes)
    for row, each in enumerate(places):
        kind, spec = each["kind"], each["spec"]
        if spec is not None and spec["lower"] is not None and spec["upper"] is not None:
            lower, upper = told(kind, spec["lower"], units), told(kind, spec["upper"], units)
            axes.add_patch(
                Rectangle((lower, row - 0.42), upper - lower, 0.84, color=BAND, linewidth=0, zorder=0)
            )
            for limit in (lower, upper):
                axes.plot([limit] * 2, [row - 0.42, row + 0.42], color=SOFT, lw=0.8, ls=(0, (4, 2)), zorder=1)
            target = told(kind, spec["target"], units)
            axes.plot([target] * 2, [row - 0.42, row + 0.42], color=SOFT, lw=0.8, zorder=1)
        looks: tuple[tuple[str, float, dict[str, Any]], ...] = (
            (Stage.AS_RECEIVED.value, -0.17, {"color": SOFT, "markerfacecolor": "white", "linewidth": 1.2}),
            (Stage.FINAL.value, 0.17, {"color": INK, "markerfacecolor": INK, "linewidth": 2.2}),
        )
        for stage, up, look in looks:
            found = stage_of(each, stage)
            if found is None:
                continue
            low, middle, high = (
                told(kind, found["quantiles"][name], units) for name in ("p10", "median", "p90")
            )
            axes.plot([low, high], [row + up] * 2, zorder=3, **{**look, "markerfacecolor": None})
            axes.plot([middle], [row + up], marker="o", markersize=6, zorder=4, **look)
    axes.set_yticks(range(len(places)), [each["place"] or "whole" for each in places], fontsize=8)
    axes.set_ylim(len(places) - 0.45, -0.55)
    axes.set_title(
        f"{places[0]['quantity'].replace('-', ' ')}  [{unit_of(places[0]['kind'], units)}]",
        fontsize=9,
        loc="left",
        color=INK,
    )
    axes.margins(x=0.06)


def _season(report: Report, units: str) -> Figure | None:
    readings, moisture = shown_curves(report)
    if not readings:
        return None
    panels = [*readings, *([moisture] if moisture else [])]
    figure = _figure(9.6, 0.3 + 1.75 * len(panels))
    grid = figure.subplots(len(panels), 1, squeeze=False, sharex=True)
    for axes, months in zip(grid.flat, panels, strict=True):
        _year(axes, months, units)
    grid.flat[-1].set_xticks(range(1, 13), list(MONTHS), fontsize=8)
    grid.flat[-1].set_xlim(0.6, 12.4)
    return figure


def _year(axes: Axes, months: Sequence[dict[str, Any]], units: str) -> None:
    _plain(axes)
    axes.grid(axis="y", color=GRID, linewidth=0.6)
    kind = months[0]["kind"]
    at = [each["month"] for each in months]
    low, middle, high = (
        [told(kind, each[name], units) for each in months] for name in ("p10", "median", "p90")
    )
    axes.vlines(at, low, high, color="#9aa4ad", linewidth=5, zorder=2)
    axes.plot(at, middle, color=INK, linewidth=1.4, marker="o", markersize=4, zorder=3)
    for x, y, each in zip(at, high, months, strict=True):
        axes.annotate(
            str(each["count"]),
            (x, y),
            (0, 3),
            textcoords="offset points",
            ha="center",
            fontsize=7,
            color=SOFT,
        )
    what = "moisture that the room's air brings wood to" if kind == "moisture" else name_of(months[0])
    frets = f", {months[0]['frets']}" if months[0]["frets"] else ""
    axes.set_title(f"{what}{frets}  [{unit_of(kind, units)}]", fontsize=9, loc="left", color=INK)
    axes.margins(y=0.2)
