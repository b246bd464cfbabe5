"""The picture of how forecasts stand: what was stated against what was seen; legible in grey."""

from __future__ import annotations

from typing import Any
from xml.etree import ElementTree as ET

from shimstock_server.web.svg import element, label, line, written

from .axes import BELOW, DASHES, END, INK, SOFT, TEXT, Panel, Scale

TALL = 150.0
LEFT = 46.0
"""Room for `100 %` in wide fonts."""
BESIDE = 4.0
"""How far doubtful readings stand beside the others."""
ENDS = 0.42, 1.0
"""Stated shares that the scale below reaches from and to."""

Share = dict[str, Any]


def shares_panel(group: dict[str, Any]) -> str:
    """Draw what was stated against what was seen, with the bounds of the true share."""
    small = f"{_count(group['shares'])} readings"
    if group["doubtful"]:
        small += f" · {_count(group['doubtful'])} doubtful"
    panel = Panel(group["name"], small, TALL, f"{group['name']}. {_says(group)}.", left=LEFT)
    across, up = Scale(*ENDS, panel.left, panel.right), panel.upward(0.0, 100.0, most=6, sign=" %")
    line(panel.canvas, (across(ENDS[0]), up(100.0 * ENDS[0])), (across(1.0), up(100.0)),
         stroke=SOFT, stroke_dasharray=DASHES)  # fmt: skip
    beside = BESIDE if group["shares"] and group["doubtful"] else 0.0
    for share in group["doubtful"]:
        _point(panel.canvas, across(share["stated"]) + beside, share, up, full=False)
    for share in group["shares"]:
        _point(panel.canvas, across(share["stated"]) - beside, share, up, full=True)
    line(panel.canvas, (panel.left, panel.bottom), (panel.right, panel.bottom), stroke=SOFT)
    for share in group["shares"] or group["doubtful"]:
        x = across(share["stated"])
        line(panel.canvas, (x, panel.bottom), (x, panel.bottom + 4.0), stroke=SOFT)
        text = f"{100.0 * share['stated']:.0f} %"
        label(panel.canvas, (x, panel.bottom + BELOW), text, size=TEXT, anchor="middle", fill=SOFT)
    panel.end = panel.bottom + END
    return panel.written()


def _point(parent: ET.Element, x: float, share: Share, up: Scale, *, full: bool) -> None:
    ink = INK if full else SOFT
    line(parent, (x, up(100.0 * share["lower"])), (x, up(100.0 * share["upper"])), stroke=ink,
         stroke_width=1.75 if full else 1.25)  # fmt: skip
    element(parent, "circle", cx=x, cy=up(100.0 * share["seen"]), r=3.5, fill=INK if full else "#ffffff",
            stroke=ink, stroke_width=1.25)  # fmt: skip


def _count(shares: list[Share]) -> int:
    return shares[0]["of"] if shares else 0


def _says(group: dict[str, Any]) -> str:
    told = [
        f"{100.0 * share['stated']:.0f} % stated, {100.0 * share['seen']:.0f} % seen"
        for share in group["shares"]
    ]
    return "; ".join(told or ["doubtful readings alone"]) + f", of {_count(group['shares'])} readings"


def legend() -> list[tuple[str, str]]:
    """The marks of the picture, each an SVG beside its word."""
    found = []
    words = {True: "readings, with the bounds of the true share", False: "doubtful readings"}
    for full, word in words.items():
        root = element(None, "svg", viewBox="0 0 26 14", aria_hidden="true")
        _point(root, 13.0, {"lower": 0.0, "upper": 1.0, "seen": 0.5}, Scale(0.0, 100.0, 13.0, 1.0), full=full)
        found.append((written(root), word))
    root = element(None, "svg", viewBox="0 0 26 14", aria_hidden="true")
    line(root, (2.0, 12.0), (24.0, 2.0), stroke=SOFT, stroke_dasharray=DASHES)
    return [*found, (written(root), "seen as stated")]
