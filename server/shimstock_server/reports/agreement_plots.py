"""Pictures of how the benches stand: who reads high or low, each check piece by day; legible in grey."""

from __future__ import annotations

import io
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from shimstock_calc.check_pieces import IN_CONTROL
from shimstock_server.learning import TOO_LITTLE
from shimstock_server.web.pictures import DRAWING
from shimstock_server.web.units import KINDS, convert

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

INK, SOFT, BAND, GRID = "#1c1c1c", "#555555", "#f0ebde", "#dddddd"
FONT = ["DejaVu Sans", "Liberation Sans", "Arial", "sans-serif"]
MARKS = "osD^vP*XhH"
"""One for each trial, so that grey tells them apart."""
MOST_NAMES = 12
"""Pieces whose names stand below the picture; more are numbered."""


@contextmanager
def _drawing() -> Iterator[None]:
    with DRAWING:
        import matplotlib as mpl

        with mpl.rc_context(
            {
                "svg.hashsalt": "shimstock",
                "svg.fonttype": "path",
                "text.parse_math": False,
                "font.family": FONT[:1],
            }
        ):
            yield


def told(kind: str, value: float, units: str) -> float:
    """A value in the reader's units."""
    return convert(value, KINDS[kind].unit, KINDS[kind].out(units))


def unit(kind: str, units: str) -> str:
    """The reader's unit, as it stands beside an axis."""
    name = str(KINDS[kind].out(units))
    return {"in/64": "1/64 in"}.get(name, name)


def study_picture(study: dict[str, Any], units: str) -> str:
    """Draw by how much every reading of a study differs from the mean of its piece, reader by reader."""
    kind, judged = study["kind"], [each for each in study["readings"] if each["judged"]]
    pieces: dict[int, list[float]] = {}
    for each in judged:
        pieces.setdefault(each["piece"], []).append(each["value"])
    means = {piece: sum(values) / len(values) for piece, values in pieces.items()}
    readers = sorted({each["reader"] for each in judged})
    with _drawing():
        figure = _figure(9.6, 2.9)
        grid = figure.subplots(1, len(readers), squeeze=False, sharey=True)
        for axes, reader in zip(grid.flat, readers, strict=True):
            own = [each for each in judged if each["reader"] == reader]
            offsets = [told(kind, each["value"] - means[each["piece"]], units) for each in own]
            _plain(axes)
            axes.axhline(0.0, color=SOFT, linewidth=0.8)
            average = sum(offsets) / len(offsets)
            axes.axhline(average, color=INK, linewidth=1.4, linestyle=(0, (4, 2)))
            for trial in sorted({each["trial"] for each in own}):
                at = [place for place, each in enumerate(own) if each["trial"] == trial]
                axes.plot(
                    [own[place]["piece"] + 1 for place in at],
                    [offsets[place] for place in at],
                    MARKS[(trial - 1) % len(MARKS)],
                    markersize=5,
                    markerfacecolor="white",
                    markeredgecolor=INK,
                )
            axes.set_title(study["reader_names"][reader], fontsize=9, loc="left", color=INK)
            axes.set_xlabel("piece", fontsize=8, color=SOFT, labelpad=1)
            axes.set_xticks(range(1, len(pieces) + 1) if len(pieces) <= MOST_NAMES else [1, len(pieces)])
            axes.set_xlim(0.4, len(pieces) + 0.6)
        grid.flat[0].set_ylabel(f"less the piece's mean  [{unit(kind, units)}]", fontsize=8, color=SOFT)
        return _written(figure)


def check_picture(piece: dict[str, Any], units: str) -> str | None:
    """Draw a check piece's days within its limits; None before there are two."""
    checks, kind, limits = piece["checks"], piece["kind"], piece["limits"]
    if len(checks) < 2:
        return None
    with _drawing():
        from matplotlib import dates

        shown: Any = dates
        figure = _figure(9.6, 2.5)
        axes = figure.subplots()
        _plain(axes)
        axes.grid(axis="y", color=GRID, linewidth=0.6)
        if limits is not None:
            low, middle, high = (told(kind, limits[name], units) for name in ("lower", "mean", "upper"))
            axes.axhspan(low, high, color=BAND, zorder=0, linewidth=0)
            for limit in (low, high):
                axes.axhline(limit, color=SOFT, linewidth=0.9, linestyle=(0, (4, 2)))
            axes.axhline(middle, color=SOFT, linewidth=0.8)
        days = [check["day"] for check in checks]
        values = [told(kind, check["mean"], units) for check in checks]
        out = [check["verdict"] not in (IN_CONTROL, TOO_LITTLE) for check in checks]
        axes.plot(days, values, color=INK, linewidth=1.0, zorder=2)
        axes.plot(days, values, "o", color=INK, markersize=4, zorder=3)
        strays = [place for place, is_out in enumerate(out) if is_out]
        axes.plot(
            [days[place] for place in strays],
            [values[place] for place in strays],
            "s",
            markersize=11,
            markerfacecolor="none",
            markeredgecolor=INK,
            markeredgewidth=1.6,
            zorder=4,
        )
        locator = shown.AutoDateLocator(maxticks=8)
        axes.xaxis.set_major_locator(locator)
        axes.xaxis.set_major_formatter(shown.ConciseDateFormatter(locator))
        axes.set_ylabel(f"mean of the day  [{unit(kind, units)}]", fontsize=8, color=SOFT)
        axes.margins(y=0.15)
        return _written(figure)


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


def _written(figure: Figure) -> str:
    from matplotlib.backends.backend_svg import FigureCanvasSVG

    text = io.StringIO()
    canvas: Any = FigureCanvasSVG(figure)
    canvas.print_svg(text, metadata={"Date": None, "Creator": None})
    svg = text.getvalue()
    return svg[svg.index("<svg") :]
