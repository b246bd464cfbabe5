"""Maps and curves drawn: legible in grey, in the reader's units, every axis named."""

from __future__ import annotations

import io
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from functools import wraps
from html import escape
from typing import TYPE_CHECKING, Any, TypeVar, cast

import numpy as np

from shimstock_calc.plan.model import Instrument
from shimstock_server.web.pictures import DRAWING
from shimstock_server.web.quantities import write
from shimstock_server.web.units import KINDS, Unit, convert

from .heights import Heights
from .playing import Clearance
from .telling import note_of
from .tuning import StringCurve, Tuning

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, PALE, BAND = "#1c1c1c", "#8a8a8a", "#e4e4e4"
NOW, SUGGESTED = "#a63d00", "#1f5fa8"
MOST_CENTS = 25.0
SHADES = 40
DARKEST = 0.6
"""Grey of the tightest place; 1 = white."""
COLUMNS = 3
MARKED = (1, 3, 5, 7, 9, 12, 15, 17, 19, 22, 24)
"""Frets named on the axis: those that commonly bear a mark, and the last."""
SIGNS = {Unit.NEWTON: "N", Unit.POUND_FORCE: "lbf", Unit.MM: "mm", Unit.THOU: "thou", Unit.INCH: "in"}


Picture = TypeVar("Picture", bound=Callable[..., str])


def _one_at_a_time(draw: Picture) -> Picture:
    """Let one picture be drawn at a time: matplotlib is not made for threads."""

    @wraps(draw)
    def alone(*given: Any) -> str:
        with DRAWING:
            return draw(*given)

    return cast(Picture, alone)


@dataclass(frozen=True)
class Head:
    """What stands over a picture: the instrument, and the readings behind it in one line."""

    name: str
    readings: str


def head_of(name: str, heights: Heights, day: date, units: str) -> Head:
    """Return what stands over a picture, in the reader's units."""

    def pair(kind: str, values: Sequence[float]) -> str:
        treble, bass = (write(kind, value, units) for value in (values[0], values[-1]))
        return bass if bass == treble else f"{bass} and {treble}"

    told = [
        f"relief {pair('relief', heights.relief)}",
        f"action {pair('action', heights.action)}",
        f"nut action {pair('nut-action', heights.nut_action)}",
    ]
    return Head(name, f"As read until {day.isoformat()} (bass and treble side): {'; '.join(told)}.")


@_one_at_a_time
def clearance_picture(head: Head, instrument: Instrument, clearance: Clearance, units: str) -> str:
    """Return the clearance map as SVG: strings × positions, how hard each may be plucked, what it touches."""
    from matplotlib import colormaps

    free, unit, decimals = _free(clearance, units)
    strings, positions = free.shape
    figure = _figure(1.9 + 0.50 * positions, 1.75 + 0.46 * strings)
    axes = figure.add_axes(_box(figure, left=0.95, right=0.95, top=1.2, bottom=0.55))
    shown = np.where(np.isfinite(free), free, np.nan)
    low, high = _ends(shown)
    # dark = tight, so that it reads in grey and in print; never so dark that black ink is lost on it
    darkest = low - DARKEST / (1.0 - DARKEST) * (high - low)
    # drawn cell by cell in few shades: an image, or a smooth bar, would go into the file as pixels
    edges = np.arange(positions + 1) - 0.5, np.arange(strings + 1) - 0.5
    image = axes.pcolormesh(
        *edges, shown, cmap=colormaps["gray"].resampled(SHADES), vmin=darkest, vmax=high, edgecolors="white",
        linewidth=0.4,
    )  # fmt: skip
    axes.invert_yaxis()
    _cells(axes, clearance, shown, decimals)
    axes.set_xticks(range(positions), ["open", *map(str, range(1, positions))], fontsize=8)
    labels = [_name(instrument, number) for number in clearance.heights.numbers]
    axes.set_yticks(range(strings), labels, fontsize=9)
    axes.tick_params(length=0)
    axes.set_xlabel("string held at fret", fontsize=9)
    bar = figure.colorbar(
        image, cax=figure.add_axes(_box(figure, left=-0.72, right=0.52, top=1.2, bottom=0.55))
    )
    bar.ax.set_ylim(low, high)
    bar.ax.tick_params(labelsize=7, length=2)
    bar.outline.set_linewidth(0.5)
    bar.ax.set_title(unit, fontsize=8)
    what = "How hard" if clearance.found.free_force is not None else "How far from rest"
    title = f"{what} each string may be plucked before it touches a fret [{unit}]"
    below = "small: the fret that it touches first; dark: tight"
    if clearance.force is not None:
        force = _told("tension", clearance.force, units, decimals)
        below += f"; framed: touches when plucked with {force}"
    _heading(figure, head, title, below)
    return _written(figure, f"{head.name}: clearance map", f"{title}; {below}. {head.readings}")


def _free(clearance: Clearance, units: str) -> tuple[Any, str, int]:
    """Return what stays free at each string and position, its unit and its decimals."""
    if clearance.found.free_force is not None:
        kind, values = "tension", clearance.found.free_force
    else:
        kind, values = "fret-height", clearance.found.free_amplitude
    unit = KINDS[kind].out(units)
    out = np.array([[convert(value, KINDS[kind].unit, unit) for value in row] for row in values])
    decimals = {Unit.NEWTON: 2, Unit.POUND_FORCE: 3, Unit.MM: 1, Unit.THOU: 0}.get(unit, 2)
    return out, SIGNS.get(unit, str(unit)), decimals


def _ends(shown: Any) -> tuple[float, float]:
    """Return the ends of the shades: the few very free places do not wash out the others."""
    low, high = float(np.nanmin(shown)), float(np.nanquantile(shown, 0.9))
    return (low, high) if high > low else (low, low + 1.0)


def _cells(axes: Axes, clearance: Clearance, shown: Any, decimals: int) -> None:
    from matplotlib.patches import Rectangle

    touches = clearance.margins < 0.0
    for (string, position), value in np.ndenumerate(shown):
        if not np.isfinite(value):
            continue
        fret = int(clearance.found.touching_fret[string, position])
        for down, text, size in ((-0.14, f"{value:.{decimals}f}", 8.5), (0.27, f"at {fret}", 6.5)):
            axes.text(position, string + down, text, ha="center", va="center", fontsize=size, color=INK)
        if touches[string, position]:
            axes.add_patch(
                Rectangle(
                    (position - 0.44, string - 0.43), 0.88, 0.86, fill=False, edgecolor=INK, linewidth=1.6
                )
            )


@_one_at_a_time
def intonation_picture(head: Head, instrument: Instrument, tuning: Tuning, units: str) -> str:
    """Return the intonation curves as SVG: one panel a string, now and with the saddle suggested."""
    curves = tuning.curves
    columns = COLUMNS if len(curves) > 4 else min(2, max(1, len(curves)))
    rows = -(-max(1, len(curves)) // columns)
    figure = _figure(max(8.6, 0.9 + 3.4 * columns), 1.6 + 2.1 * rows)
    reach = _reach(tuning)
    for place, curve in enumerate(curves):
        axes = figure.add_axes(_panel(figure, place, columns, rows))
        axes.axhspan(*tuning.limits, color=BAND, linewidth=0)
        _curve(axes, instrument, curve, reach, units)
        axes.tick_params(labelsize=7, length=2)
        if place % columns == 0:
            axes.set_ylabel("cents, sharp ↑", fontsize=8)
        if place + columns >= len(curves):
            axes.set_xlabel("fret", fontsize=8)
    title = "How sharp each fretted note is [cents against equal temperament above the open string]"
    below = (
        "solid with dots: now, judged by the reading (ring); dashed: with the saddle where it is suggested; "
    )
    below += "grey: {:+g} to {:+g} cents".format(*tuning.limits)
    if tuning.unknown:
        below += "; not known: string " + ", ".join(map(str, tuning.unknown))
    _heading(figure, head, title, below)
    return _written(figure, f"{head.name}: intonation curves", f"{title}; {below}. {head.readings}")


def _reach(tuning: Tuning) -> float:
    """Return the ends of the axis of cents: what is there, within reason."""
    found = [abs(cents) for curve in tuning.curves for cents in (*curve.now, *curve.suggested)]
    spec = [1.6 * abs(limit) for limit in tuning.limits]
    return float(min(MOST_CENTS, max([*spec, *(1.1 * cents for cents in found)])))


def _curve(axes: Axes, instrument: Instrument, curve: StringCurve, reach: float, units: str) -> None:
    frets = np.arange(1, len(curve.suggested) + 1)
    axes.axhline(0.0, color=PALE, linewidth=0.7)
    if curve.now:
        axes.plot(frets, curve.now, color=NOW, linewidth=1.4, marker="o", markersize=2.6, clip_on=True)
        axes.plot(
            [curve.read_fret], [curve.read or 0.0], marker="o", markersize=8, fillstyle="none", color=NOW
        )
    axes.plot(frets, curve.suggested, color=SUGGESTED, linewidth=1.4, dashes=(4, 2))
    axes.set_xlim(0.5, len(frets) + 0.5)
    axes.set_ylim(-reach, reach)
    axes.set_xticks([fret for fret in MARKED if fret < len(frets) - 1] + [len(frets)])
    setback = _told("compensation", curve.setback, units, 2 if units == "mm" else 0)
    title = f"{_name(instrument, curve.number)}   compensation {setback}"
    axes.set_title(title, fontsize=9, loc="left", pad=14)
    axes.text(0, 1.03, _advice(curve, units), fontsize=7.5, transform=axes.transAxes, va="bottom", color=INK)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _advice(curve: StringCurve, units: str) -> str:
    """Return where the saddle should go, in one line."""
    if curve.move is None:
        return "intonation not read: where its saddle stands is not known"
    move = _told("compensation", abs(curve.move), units, 2 if units == "mm" else 0)
    return f"move the saddle {move} {'away from' if curve.move > 0 else 'toward'} the nut"


def _name(instrument: Instrument, number: int) -> str:
    note = note_of(instrument, number)
    return str(number) if note is None else f"{number}  {note}"


def _told(kind: str, value: float, units: str, decimals: int) -> str:
    unit = KINDS[kind].out(units)
    return f"{convert(value, KINDS[kind].unit, unit):.{decimals}f} {SIGNS.get(unit, str(unit))}"


# ---------------------------------------------------------------- paper and ink


def _figure(width: float, height: float) -> Figure:
    # 0.3 s and 30 MB on first use: only who asks for a picture pays
    import matplotlib
    from matplotlib.figure import Figure

    matplotlib.rcParams["svg.hashsalt"] = "shimstock"
    matplotlib.rcParams["svg.fonttype"] = "path"
    matplotlib.rcParams["text.parse_math"] = False  # a dollar in a name is a dollar
    return Figure(figsize=(width, height), facecolor="white")


def _box(figure: Figure, *, left: float, right: float, top: float, bottom: float) -> Any:
    """Return a rectangle from its distances to the edges [in]; a negative left counts from the right."""
    width, height = figure.get_size_inches()
    start = left if left >= 0 else width + left
    return (start / width, bottom / height, (width - right - start) / width, (height - top - bottom) / height)


def _panel(figure: Figure, place: int, columns: int, rows: int) -> Any:
    width, height = figure.get_size_inches()
    row, column = divmod(place, columns)
    each, tall = (width - 0.75) / columns, (height - 1.5) / rows
    left, bottom = 0.62 + column * each, 0.45 + (rows - 1 - row) * tall
    return (left / width, bottom / height, (each - 0.35) / width, (tall - 0.55) / height)


def _heading(figure: Figure, head: Head, title: str, below: str) -> None:
    _, height = figure.get_size_inches()
    for up, text, size, weight in (
        (0.20, head.name, 12, "bold"), (0.45, title, 10, "normal"), (0.67, below, 8, "normal"),
        (0.86, head.readings, 8, "normal"),
    ):  # fmt: skip
        figure.text(0.012, 1 - up / height, text, fontsize=size, fontweight=weight, color=INK, va="center")


def _written(figure: Figure, title: str, description: str) -> str:
    """Return a drawing as text, with a title and a description for those who hear it read."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    text = io.StringIO()
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(text, metadata={"Date": None, "Creator": None})
    svg = text.getvalue()
    start = svg.index("<svg")
    end = svg.index(">", start) + 1
    root = re.sub(r"\s*>$", ' role="img">', svg[start:end])
    told = f"<title>{escape(title)}</title><desc>{escape(description)}</desc>"
    return root + told + svg[end:]
