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
PAPERS = {"A4": "210mm 297mm", "Letter": "8.5in 11in"}
PAGES = {
    f"{name}-{units}-{width}": (page(ALL[name], speech(units)), width)
    for name in ALL
    for units in ("mm", "inch")
    for width in WIDTHS
}
SCRIPTS = {
    "overflow": measures.OVERFLOW,
    "drawn": measures.DRAWN_TEXTS,
    "contrasts": measures.CONTRASTS,
    "smallest": measures.SMALLEST,
    "edges": measures.RIGHT_EDGES,
}
Found = dict[str, dict[str, Any]]


@pytest.fixture(scope="module", params=FAMILIES)
def found(request: pytest.FixtureRequest, browsers: Browsers) -> Found:
    """What a browser measured in every card at every width."""
    return browsers(request.param).measure(PAGES, SCRIPTS)


@pytest.mark.parametrize("shown", PAGES)
def test_nothing_sticks_out_sideways(found: Found, shown: str) -> None:
    # WCAG 2.2, success criterion 1.4.10: no scrolling in two dimensions at 320 CSS px
    measured = found[shown]["overflow"]
    assert measured["scroll"] <= measured["width"]
    assert measured["sticking"] == []


@pytest.mark.parametrize("shown", PAGES)
def test_no_label_of_the_picture_touches_another_or_a_line(found: Found, shown: str) -> None:
    drawings = found[shown]["drawn"]
    assert len(drawings) == 2
    for drawing in drawings:
        frame, texts = drawing["frame"], drawing["texts"]
        assert len(texts) >= 10
        for text in texts:
            assert frame["left"] - 0.5 <= text["left"] <= text["right"] <= frame["right"] + 0.5, text
            assert frame["top"] - 0.5 <= text["top"] <= text["bottom"] <= frame["bottom"] + 0.5, text
        touching = [
            (one["text"], other["text"]) for one, other in combinations(texts, 2) if _overlap(one, other)
        ]
        assert touching == []
        crossed = [
            text["text"]
            for text in texts
            for stroke in drawing["strokes"]
            if any(_crosses(start, end, text) for start, end in pairwise(stroke))
        ]
        assert crossed == []


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


@pytest.mark.parametrize("shown", PAGES)
def test_every_text_stands_out_from_what_lies_behind_it(found: Found, shown: str) -> None:
    # WCAG 2.2, success criterion 1.4.3: 4.5 to 1
    measured = found[shown]["contrasts"]
    assert len(measured) > 40
    assert [each for each in measured if each["ratio"] < 4.5] == []


@pytest.mark.parametrize("shown", PAGES)
def test_type_is_large_enough_to_read(found: Found, shown: str) -> None:
    assert found[shown]["smallest"] >= 12.0


def test_figures_of_a_column_end_on_one_line(found: Found) -> None:
    measured = found[f"electric-mm-{DESK}"]["edges"]
    assert len(measured) == 2 * len(ELECTRIC.rows)
    for column in ("was", "is"):
        edges = [each["right"] for each in measured if each["column"] == column]
        assert max(edges) - min(edges) < 0.5


@pytest.mark.parametrize("family", FAMILIES)
@pytest.mark.parametrize("paper", PAPERS)
@pytest.mark.parametrize("name", ALL)
def test_a_card_prints_on_one_page(browsers: Browsers, family: str, name: str, paper: str) -> None:
    size = f"<style>@page {{ size: {PAPERS[paper]}; }}</style></head>"
    printed = page(ALL[name], speech("inch")).replace("</head>", size)
    assert browsers(family).printed_pages(printed) == 1


def test_the_count_of_printed_pages_counts(browsers: Browsers) -> None:
    assert browsers("wide").printed_pages('<p>one</p><p style="break-before: page">two</p>') == 2
