"""Reports as a manager sees them: on a desk and on a phone, in mm and inches, printed in grey."""

from __future__ import annotations

import re
from datetime import timedelta
from itertools import combinations, pairwise
from typing import Any
from uuid import uuid4

import pytest

from tests.server.clients import Client
from tests.server.conftest import bench_client  # noqa: F401 - a fixture
from tests.server.learning.test_studies import begin, read_all
from tests.server.reports.conftest import Counted, counted  # noqa: F401 - a fixture
from tests.server.workshop import mm, sheet, two_post_electric

from . import measures
from .conftest import Browsers
from .fonts import FAMILIES
from .test_card import _crosses, _overlap

pytestmark = [pytest.mark.browser, pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)]

DESK, PHONE = 1200, 360
SCRIPTS = {
    "drawn": measures.DRAWN_TEXTS,
    "contrasts": measures.CONTRASTS,
    "smallest": measures.SMALLEST,
    "outside": """document => {
      const wide = document.documentElement.clientWidth;
      const cut = [...document.querySelectorAll("body *")].filter(each => !each.closest(".table")
        && each.getClientRects().length && each.getBoundingClientRect().right > wide + 0.5);
      const hidden = [...document.querySelectorAll(".table")].filter(each =>
        each.scrollWidth > each.clientWidth + 1 && each.tabIndex !== 0);
      return {scroll: document.documentElement.scrollWidth, wide, hidden: hidden.length,
              cut: cut.map(each => each.tagName + ": " + each.textContent.trim().slice(0, 40)),
              asked: document.defaultView.performance.getEntriesByType("resource").map(each => each.name)};
    }""",
    "greys": """document => {
      const light = color => { const parts = (color.match(/[\\d.]+/g) || []).map(Number);
        return parts.length < 3 ? [] : [0.2126 * parts[0] + 0.7152 * parts[1] + 0.0722 * parts[2]]; };
      const lights = [...document.querySelectorAll("rect")]
        .flatMap(each => light(getComputedStyle(each).fill));
      return [...new Set([255, ...lights.map(Math.round)])].sort((a, b) => a - b);
    }""",
}
"""What sticks out, what was asked for from elsewhere, and how light areas are in grey, of 255."""


def shown(counted: Counted, path: str) -> str:  # noqa: F811
    """Return a page."""
    answer = counted.manager.get(path, headers={"Accept": "text/html"})
    assert answer.status_code == 200, answer.get_data(as_text=True)
    text: str = answer.get_data(as_text=True)
    assert re.findall(r"(?:src|href)=|url\(|@import|<script", text) == []
    return text


def benches_compared(counted: Counted) -> None:  # noqa: F811
    """A study of three benches, and a check piece that begins to drift."""
    manager = counted.manager
    bench = manager.get("/v1/benches").get_json()["items"][0]["id"]
    others = [
        manager.post("/v1/benches", json={"name": name}).get_json()["id"]
        for name in ("Second bench, below the window to the yard", "Third")
    ]
    study = begin(manager, [bench, *others], 3)
    read_all(
        manager, study,
        {(p, r): [0.20 + 0.05 * p + 0.02 * r + 0.01 * t for t in (0, 1)] for p in range(3) for r in range(3)},
    )  # fmt: skip
    assert manager.post(f"/v1/studies/{study['id']}/end", json={}).status_code == 200
    body = {
        "name": "block 1.00",
        "bench_id": bench,
        "quantity": "relief",
        "stated": mm(1.0),
        "repetitions": 2,
    }
    piece = manager.post("/v1/check-pieces", json=body).get_json()
    for day in range(12):
        at = counted.clock.now() - timedelta(days=12 - day)
        high = 0.3 if day > 9 else 0.01 * (day % 3)
        checked = manager.post(
            f"/v1/check-pieces/{piece['id']}/readings",
            json={"values": [mm(1.0 + high), mm(1.01 + high)], "taken_at": at.isoformat()},
        )
        assert checked.status_code == 201, checked.get_data(as_text=True)


def forecasts_tried(counted: Counted, bench: Client) -> None:  # noqa: F811
    """Jobs whose relief is read, the rod turned, and relief read twice: one model of a long name."""
    ids, shop = counted.workshop.ids, counted.workshop
    name = "Plover of the long and winding northern shore"
    shop.add("long", "/v1/instrument-models", two_post_electric(name)
             | {"string_set_id": ids["strings"], "tuning_id": ids["tuning"]})  # fmt: skip
    start = counted.clock.now() - timedelta(days=1)
    for number in range(8):
        model = ids["long" if number % 2 else "model"]
        made = shop.add("read", "/v1/instruments", {"model_id": model, "owner_id": ids["owner"]})
        job = shop.add("job", "/v1/jobs", {"instrument_id": made["id"]})
        moved = counted.manager.post(
            f"/v1/jobs/{job['id']}/moves", json={"to": "queued"}, etag=f'"{job["version"]}.mm"'
        )
        assert moved.status_code == 200, moved.get_data(as_text=True)
        claim = bench.post(f"/v1/jobs/{job['id']}/claim", json={}).get_json()["claim"]
        for minutes, relief in ((0, 0.45), (10, 0.35 + 0.05 * (number % 3)), (12, 0.40)):
            taken_at = (start + timedelta(minutes=minutes)).isoformat()
            reading = {
                "quantity": "relief",
                "value": mm(relief),
                "confirmed": True,
                "tool_id": ids["feelers"],
            }
            answer = bench.post(
                f"/v1/jobs/{job['id']}/reading-sheets", json=sheet([reading], taken_at=taken_at)
            )
            assert answer.status_code == 201, answer.get_data(as_text=True)
            if not minutes:
                turn = {"id": str(uuid4()), "claim": claim["id"], "part": "truss-rod",
                        "turns": {"value": 0.25, "unit": "turn"},
                        "done_at": (start + timedelta(minutes=5)).isoformat()}  # fmt: skip
                answer = bench.post(f"/v1/jobs/{job['id']}/adjustments", json=turn)
                assert answer.status_code == 201, answer.get_data(as_text=True)
        assert bench.delete(f"/v1/jobs/{job['id']}/claim/{claim['id']}").status_code in (200, 204)


def test_reports_are_legible_wherever_they_are_looked_at(
    counted: Counted,  # noqa: F811
    bench_client: Client,  # noqa: F811
    browsers: Browsers,
) -> None:
    benches_compared(counted)
    forecasts_tried(counted, bench_client)
    period = "first=2024-01-01&last=2025-12-31"
    addresses = {
        "model": f"/v1/reports/instrument-models/{counted.models[0]}?{period}",
        "model-inch": f"/v1/reports/instrument-models/{counted.models[0]}?{period}&units=inch",
        "ranking": f"/v1/reports/instrument-models?{period}",
        "benches": "/v1/reports/bench-agreement?units=mm",
        "benches-inch": "/v1/reports/bench-agreement?units=inch",
        "forecasts": "/v1/reports/calibration",
    }
    texts = {name: shown(counted, path) for name, path in addresses.items()}
    pages = {f"{name}-{width}": (text, width) for name, text in texts.items() for width in (DESK, PHONE)}
    found = {
        f"{name}, {family} fonts": measured
        for family in FAMILIES
        for name, measured in browsers(family).measure(pages, SCRIPTS).items()
    }
    for name, measured in found.items():
        outside = measured["outside"]
        # WCAG 2.2, success criteria 1.4.10 (tables may scroll by themselves, with the keyboard too: 2.1.1)
        assert outside["scroll"] <= outside["wide"], name
        assert outside["cut"] == [], name
        assert outside["hidden"] == 0, name
        assert outside["asked"] == [], name
        assert measured["smallest"] >= 12.0, name
        # WCAG 2.2, success criterion 1.4.3
        assert [each for each in measured["contrasts"] if each["ratio"] < 4.5] == [], name
        drawings = [drawing for drawing in measured["drawn"] if drawing["frame"]["right"] > 0]
        assert (
            len(drawings) == {"model": 21, "ranking": 0, "benches": 4, "forecasts": 6}[name.split("-")[0]]
        ), name
        for drawing in drawings:
            check(name, drawing)
        lights = measured["greys"]
        assert len(lights) == {"model": 3, "ranking": 2, "benches": 2, "forecasts": 1}[name.split("-")[0]], (
            name
        )
        assert all(darker + 20.0 < lighter for darker, lighter in pairwise(lights)), (name, lights)


def check(name: str, drawing: dict[str, Any]) -> None:
    """Hold a drawing against what can be read."""
    frame, texts = drawing["frame"], drawing["texts"]
    assert len(texts) >= 5, name
    for text in texts:
        assert text["size"] >= 10.0, (name, text)
        assert frame["left"] - 0.5 <= text["left"] <= text["right"] <= frame["right"] + 0.5, (name, text)
        assert frame["top"] - 0.5 <= text["top"] <= text["bottom"] <= frame["bottom"] + 0.5, (name, text)
    touching = [(one["text"], other["text"]) for one, other in combinations(texts, 2) if _overlap(one, other)]
    assert touching == [], name
    crossed = [
        text["text"]
        for text in texts
        if not text["halo"]
        for stroke in drawing["strokes"]
        if any(_crosses(start, end, text) for start, end in pairwise(stroke))
    ]
    assert crossed == [], name
