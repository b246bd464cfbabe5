"""The forecast's chart as people see it: on a screen, on a phone, in mm and inches, fresh and overdue."""

from __future__ import annotations

from itertools import combinations, pairwise

import pytest

from tests.server.conftest import bench_client  # noqa: F401 - a fixture of the service's own tests
from tests.server.seasons.conftest import SeasonShop, bare, clock, shop  # noqa: F401 - fixtures

from . import measures
from .conftest import Browsers
from .fonts import FAMILIES
from .test_card import _crosses, _overlap

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)]

SCREEN, PHONE, SCROLLBAR = 760, 360, 20
GREYS = """document => {
  const light = fill => { const parts = (fill.match(/[\\d.]+/g) || []).map(Number);
    return parts.length < 3 ? null : 0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]; };
  return [...document.querySelectorAll("polygon")].map(each => light(getComputedStyle(each).fill));
}"""
"""How light each band is when the picture is printed in grey, of 255."""
SCRIPTS = {
    "drawn": measures.DRAWN_TEXTS,
    "contrasts": measures.CONTRASTS,
    "overflow": measures.OVERFLOW,
    "greys": GREYS,
}


def drawn(shop: SeasonShop, width: int, units: str) -> str:  # noqa: F811
    """Return a page with nothing but the chart."""
    answer = shop.bench.get(
        f"/v1/instruments/{shop.instrument}/forecast",
        headers={"Accept": "image/svg+xml"}, query_string={"units": units, "width": width},
    )  # fmt: skip
    assert answer.status_code == 200, answer.get_data(as_text=True)
    return (
        f"<!DOCTYPE html><meta charset=utf-8><style>body{{margin:0}}</style>{answer.get_data(as_text=True)}"
    )


def test_a_forecast_is_legible_wherever_it_is_looked_at(shop: SeasonShop, browsers: Browsers) -> None:  # noqa: F811
    shop.read_to_the_end(0.29)  # near its limit: the labels beside the panel would touch
    pages = {
        f"fresh-{units}-{width}": (drawn(shop, width, units), width + SCROLLBAR)
        for units in ("mm", "inch")
        for width in (SCREEN, PHONE)
    }
    shop.advance(days=200)
    pages["overdue"] = drawn(shop, PHONE, "mm"), PHONE + SCROLLBAR
    found = {
        f"{name}, {family} fonts": measured
        for family in FAMILIES
        for name, measured in browsers(family).measure(pages, SCRIPTS).items()
    }
    for name, measured in found.items():
        (drawing,) = measured["drawn"]
        frame, texts = drawing["frame"], drawing["texts"]
        assert len(texts) > 40, name
        assert min(text["size"] for text in texts) >= 12.0, name
        for text in texts:
            assert frame["left"] <= text["left"] <= text["right"] <= frame["right"], (name, text)
            assert frame["top"] <= text["top"] <= text["bottom"] <= frame["bottom"], (name, text)
        touching = [(a["text"], b["text"]) for a, b in combinations(texts, 2) if _overlap(a, b)]
        assert touching == [], name
        crossed = [
            text["text"]
            for text in texts
            for stroke in drawing["strokes"]
            if any(_crosses(start, end, text) for start, end in pairwise(stroke))
        ]
        assert crossed == [], name
        # WCAG 2.2, success criteria 1.4.3 (contrast) and 1.4.10 (no scrolling sideways)
        assert [each for each in measured["contrasts"] if each["ratio"] < 4.5] == [], name
        assert measured["overflow"]["scroll"] <= measured["overflow"]["width"], name
        wide, likely = measured["greys"][:2]
        assert 255.0 - wide > 20.0, name
        assert wide - likely > 20.0, name
    said = {text["text"] for text in found["overdue, wide fonts"]["drawn"][0]["texts"]}
    assert {"today, 30 April 2027", "final reading, 12 October 2026", "look again, 26 October 2026"} <= said
