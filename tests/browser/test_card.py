"""The card as people see it: on a desk, on a phone, on paper."""

from __future__ import annotations

from itertools import combinations, pairwise
from typing import Any

import pytest

from shimstock_server.cards.page import page
from tests.server.cards.samples import ALL, ELECTRIC, speech

from . import measures
from .conftest import Browsers
from .fonts import FAMILIES

pytestmark = pytest.mark.browser

PHONE, DESK = 390, 1200
WIDTHS = (320, PHONE, 768, DESK)
PAPERS = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
"""Width and height [mm], ISO 216 and ANSI/ASME Y14.1."""
TO_SPARE, SIDE_MARGINS = 0.03, 26.0
"""Share of a paper's height that a card leaves free (judgement), and what is not printed on [mm]."""
SCRIPTS = {
    "overflow": measures.OVERFLOW,
    "drawn": measures.DRAWN_TEXTS,
    "contrasts": measures.CONTRASTS,
    "smallest": measures.SMALLEST,
    "edges": measures.RIGHT_EDGES,
    "out_of_cells": measures.OUT_OF_CELLS,
}
Found = dict[str, dict[str, Any]]


@pytest.fixture(scope="module", params=FAMILIES)
def found(request: pytest.FixtureRequest, browsers: Browsers) -> Found:
    """What a browser measured in every card at every width."""
    cards = {f"{name}-{units}": page(ALL[name], speech(units)) for name in ALL for units in ("mm", "inch")}
    pages = {f"{name}-{width}": (card, width) for name, card in cards.items() for width in WIDTHS}
    return browsers(request.param).measure(pages, SCRIPTS)


def test_nothing_sticks_out_sideways(found: Found) -> None:
    # WCAG 2.2, success criterion 1.4.10: no scrolling in two dimensions at 320 CSS px
    for shown, measured in found.items():
        overflow = measured["overflow"]
        assert overflow["scroll"] <= overflow["width"], shown
        assert overflow["sticking"] == [], shown


def test_no_figure_of_a_table_touches_the_next(found: Found) -> None:
    for shown, measured in found.items():
        assert measured["out_of_cells"] == [], shown


def test_no_label_of_the_picture_touches_another_or_a_line(found: Found) -> None:
    drawings = [(shown, drawing) for shown, measured in found.items() for drawing in measured["drawn"]]
    assert len(drawings) == 2 * len(found)
    for shown, drawing in drawings:
        frame, texts = drawing["frame"], drawing["texts"]
        assert len(texts) >= 10
        for text in texts:
            assert frame["left"] - 0.5 <= text["left"], (shown, text)
            assert text["right"] <= frame["right"] + 0.5, (shown, text)
            assert frame["top"] - 0.5 <= text["top"] <= text["bottom"] <= frame["bottom"] + 0.5, (shown, text)
        touching = [
            (one["text"], other["text"]) for one, other in combinations(texts, 2) if _overlap(one, other)
        ]
        assert touching == [], shown
        crossed = [
            text["text"]
            for text in texts
            for stroke in drawing["strokes"]
            if any(_crosses(start, end, text) for start, end in pairwise(stroke))
        ]
        assert crossed == [], shown


@pytest.mark.parametrize("width", [PHONE, DESK])
def test_labels_of_the_picture_are_large_enough_to_read(found: Found, width: int) -> None:
    sizes = [text["size"] for drawing in found[f"electric-mm-{width}"]["drawn"] for text in drawing["texts"]]
    assert min(sizes) >= 10.0


def _overlap(one: dict[str, Any], other: dict[str, Any], slack: float = 0.5) -> bool:
    wide = min(one["right"], other["right"]) - max(one["left"], other["left"])
    tall = min(one["bottom"], other["bottom"]) - max(one["top"], other["top"])
    # a text's box holds room above and below its letters: lines of one paragraph share it
    return bool(wide > slack and tall > 0.3 * min(one["size"], other["size"]))


def _crosses(start: list[float], end: list[float], text: dict[str, Any]) -> bool:
    """Whether a line runs through the letters of a text (the middle of its box)."""
    inset = 0.22 * (text["bottom"] - text["top"])
    low, high = (text["left"], text["top"] + inset), (text["right"], text["bottom"] - inset)
    enter, leave = 0.0, 1.0
    for axis in (0, 1):
        run = end[axis] - start[axis]
        if abs(run) < 1e-9:
            if not low[axis] < start[axis] < high[axis]:
                return False
            continue
        near, far = sorted(((low[axis] - start[axis]) / run, (high[axis] - start[axis]) / run))
        enter, leave = max(enter, near), min(leave, far)
    return enter < leave


def test_the_check_for_crossed_labels_finds_one() -> None:
    text = {"left": 10.0, "right": 50.0, "top": 10.0, "bottom": 20.0, "size": 10.0}
    assert _crosses([0.0, 15.0], [60.0, 15.0], text)
    assert _crosses([30.0, 0.0], [30.0, 40.0], text)
    assert not _crosses([0.0, 5.0], [60.0, 5.0], text)
    assert not _crosses([0.0, 15.0], [9.0, 15.0], text)


def test_every_text_stands_out_from_what_lies_behind_it(found: Found) -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1
    for shown, measured in found.items():
        assert len(measured["contrasts"]) > 40, shown
        assert [each for each in measured["contrasts"] if each["ratio"] < 4.5] == [], shown


def test_type_is_large_enough_to_read(found: Found) -> None:
    assert min(measured["smallest"] for measured in found.values()) >= 12.0


def test_figures_of_a_column_end_on_one_line(found: Found) -> None:
    measured = found[f"electric-mm-{DESK}"]["edges"]
    assert len(measured) == 2 * len(ELECTRIC.rows)
    for column in ("was", "is"):
        edges = [each["right"] for each in measured if each["column"] == column]
        assert max(edges) - min(edges) < 0.5


@pytest.mark.parametrize("family", FAMILIES)
def test_a_card_prints_on_one_page(browsers: Browsers, family: str) -> None:
    sizes = {
        paper: f"<style>@page {{ size: {width}mm {(1.0 - TO_SPARE) * height}mm; }}</style></head>"
        for paper, (width, height) in PAPERS.items()
    }
    cards = {
        f"{name}-{paper}": page(ALL[name], speech("inch")).replace("</head>", size)
        for name in ALL
        for paper, size in sizes.items()
    }
    assert browsers(family).printed_pages(cards) == dict.fromkeys(cards, 1)


@pytest.mark.parametrize("family", FAMILIES)
def test_no_figure_of_a_printed_table_touches_the_next(browsers: Browsers, family: str) -> None:
    sheets = {
        f"{name}-{units}-{paper}": (page(ALL[name], speech(units)), int((width - SIDE_MARGINS) / 25.4 * 96))
        for name in ALL
        for units in ("mm", "inch")
        for paper, (width, _) in PAPERS.items()
    }
    scripts = {"touching": measures.OUT_OF_CELLS, "print": "d => d.defaultView.matchMedia('print').matches"}
    for name, measured in browsers(family).measure(sheets, scripts, media="print").items():
        assert measured["touching"] == [], name
        assert measured["print"], name


def test_the_count_of_printed_pages_counts(browsers: Browsers) -> None:
    two = {"two": '<p>one</p><p style="break-before: page">two</p>'}
    assert browsers("wide").printed_pages(two) == {"two": 2}
