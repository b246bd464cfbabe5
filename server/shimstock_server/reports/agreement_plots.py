"""Pictures of how the benches stand: who reads high or low, each check piece by day; legible in grey."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from shimstock_calc.check_pieces import IN_CONTROL
from shimstock_server.learning import TOO_LITTLE
from shimstock_server.web.svg import element, label, line, polyline

from .axes import BAND, BELOW, DASHES, END, INK, SOFT, TEXT, Panel, Scale, rectangle
from .chosen import told, unit_of
from .page import exactly

TALL = 112.0
MOST_NAMES = 12
"""Pieces that each have a number below the picture; of more only the first and the last."""
BESIDE = 0.44
"""How much of the room of a piece its rounds take, at each side."""


def study_panels(study: dict[str, Any], units: str) -> list[str]:
    """Draw by how much every reading of a study differs from the mean of its piece, a panel a reader."""
    judged = [each for each in study["readings"] if each["judged"]]
    pieces: dict[int, list[float]] = {}
    for each in judged:
        pieces.setdefault(each["piece"], []).append(each["value"])
    means = {piece: sum(values) / len(values) for piece, values in pieces.items()}
    offsets = [each["value"] - means[each["piece"]] for each in judged]
    low, high = (told(study["kind"], most([0.0, *offsets]), units) for most in (min, max))
    room = 0.08 * (high - low) or 0.5
    by_reader: dict[int, list[tuple[int, int, float]]] = {}
    for each, offset in zip(judged, offsets, strict=True):
        by_reader.setdefault(each["reader"], []).append((each["piece"], each["trial"], offset))
    return [
        _reader(study, reader, by_reader[reader], (low - room, high + room), units)
        for reader in sorted(by_reader)
    ]


def _reader(
    study: dict[str, Any],
    reader: int,
    points: Sequence[tuple[int, int, float]],
    reach: tuple[float, float],
    units: str,
) -> str:
    kind, name = study["kind"], study["reader_names"][reader]
    mean = sum(offset for *_, offset in points) / len(points)
    average = exactly(kind, mean, units, signed=True)
    says = f"{name}: {len(points)} readings, on average {average} from the means of their pieces."
    panel = Panel(name, f"{unit_of(kind, units)} · on average {average}", TALL, says)
    scale = panel.upward(*reach)

    def up(offset: float) -> float:
        return scale(told(kind, offset, units))

    count, rounds = len(study["piece_names"]), max(trial for _, trial, _ in points)
    across = Scale(0.4, count + 0.6, panel.left, panel.right)
    line(panel.canvas, (panel.left, up(0.0)), (panel.right, up(0.0)), stroke=SOFT)
    line(panel.canvas, (panel.left, up(mean)), (panel.right, up(mean)),
         stroke=INK, stroke_width=1.5, stroke_dasharray=DASHES)  # fmt: skip
    for piece, trial, offset in points:
        at = across(piece + 1 + BESIDE * ((2.0 * trial - 1.0) / rounds - 1.0))
        element(panel.canvas, "circle", cx=at, cy=up(offset), r=3.0, fill="#ffffff", stroke=INK,
                stroke_width=1.25)  # fmt: skip
    line(panel.canvas, (panel.left, panel.bottom), (panel.right, panel.bottom), stroke=SOFT)
    for number in range(1, count + 1) if count <= MOST_NAMES else (1, count):
        label(panel.canvas, (across(number), panel.bottom + BELOW), str(number), size=TEXT, anchor="middle",
              fill=SOFT)  # fmt: skip
    panel.end = panel.bottom + END
    return panel.written()


def check_panel(piece: dict[str, Any], units: str) -> str | None:
    """Draw a check piece's days within its limits; None before there are two."""
    checks, kind, limits = piece["checks"], piece["kind"], piece["limits"]
    if len(checks) < 2:
        return None
    values = [told(kind, check["mean"], units) for check in checks]
    drawn = (
        None if limits is None else [told(kind, limits[name], units) for name in ("lower", "mean", "upper")]
    )
    says = f"{piece['name']}, mean of the day by day: {exactly(kind, checks[-1]['mean'], units)} at last"
    panel = Panel("Mean of the day", unit_of(kind, units), TALL, f"{says}, {checks[-1]['verdict']}.")
    low, high = min([*values, *(drawn or ())]), max([*values, *(drawn or ())])
    room = 0.12 * (high - low) or 0.5
    up = Scale(low - room, high + room, panel.bottom, panel.top)
    if drawn is not None:
        rectangle(panel.canvas, panel.left, up(drawn[0]), panel.right, up(drawn[2]), fill=BAND)
    up = panel.upward(up.low, up.high)
    for value, dashes in zip(drawn or (), (DASHES, "none", DASHES), strict=False):
        line(panel.canvas, (panel.left, up(value)), (panel.right, up(value)), stroke=SOFT,
             stroke_dasharray=dashes)  # fmt: skip
    days: list[date] = [check["day"] for check in checks]
    first, last = days[0].toordinal(), days[-1].toordinal()
    across = Scale(first - 0.5, last + 0.5, panel.left + 4.0, panel.right - 4.0)
    points = [(across(day.toordinal()), up(value)) for day, value in zip(days, values, strict=True)]
    polyline(panel.canvas, points, stroke=INK)
    for (x, y), check in zip(points, checks, strict=True):
        element(panel.canvas, "circle", cx=x, cy=y, r=1.75, fill=INK)
        if check["verdict"] not in (IN_CONTROL, TOO_LITTLE):
            rectangle(
                panel.canvas, x - 4.5, y - 4.5, x + 4.5, y + 4.5, fill="none", stroke=INK, stroke_width=1.5
            )
    line(panel.canvas, (panel.left, panel.bottom), (panel.right, panel.bottom), stroke=SOFT)
    ends = [(panel.left, "start", days[0]), (panel.right, "end", days[-1])]
    for at, anchor, day in ends if first != last else ends[:1]:
        label(panel.canvas, (at, panel.bottom + BELOW), day.isoformat(), size=TEXT, anchor=anchor, fill=SOFT)
    panel.end = panel.bottom + END
    return panel.written()
