"""Moisture response over HTTP."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, quantity


def percent(value: float) -> dict[str, Any]:
    return quantity(value, "percent")


def days(value: float) -> dict[str, Any]:
    return quantity(value, "day")


# pins moisture-response: every part of tests/reference/moisture_response.csv: slab diffusion, J. Crank, The
#     Mathematics of Diffusion, and Wood Handbook Table 16-3
@pytest.mark.parametrize(
    "row", [row for row in load.table("moisture_response") if not row["part"].startswith("case")],
    ids=lambda row: f"{row['part']} {row['finish']}",
)  # fmt: skip
def test_time_constants_of_the_table(ask: Ask, row: dict[str, str]) -> None:
    open_grain = {"finish": "none"} if row["finish"] == "unfinished or oiled" else {}
    found = ask("moisture-response", part=row["part"], share=percent(50), **open_grain)["time_constant"]
    assert [found[end]["value"] for end in ("low", "likely", "high")] == [
        float(row[column]) for column in ("tau_days_low", "tau_days", "tau_days_high")
    ]


# pins moisture-response: a yearly swing through 14 days: gain 0.9722, 13.74 days late, first-order system
def test_a_yearly_swing(ask: Ask) -> None:
    found = ask("moisture-response", time_constant=days(14), swing=days(365.25))
    assert found["swings"][1]["gain"]["value"] == pytest.approx(97.22, abs=5e-3)
    assert found["swings"][1]["delay"]["value"] == pytest.approx(13.74, abs=5e-3)


# pins moisture-response: M = rest + (M - rest)·exp(-t/tau), by hand
def test_steady_air(ask: Ask) -> None:
    body = {"time_constant": days(2), "moisture": percent(6), "moisture_at_rest": percent(10)}
    found = ask("moisture-response", **body, after=quantity(48, "h"))
    assert found["moistures"][0]["likely"]["value"] == pytest.approx(10 - 4 * math.exp(-1), abs=1e-4)
    back = ask("moisture-response", **body, wanted_moisture=found["moistures"][0]["likely"])
    assert back["time"]["likely"]["value"] == pytest.approx(2, abs=1e-3)
    share = ask("moisture-response", time_constant=days(2), share=percent(100 * (1 - math.exp(-1))))
    assert share["time"]["likely"]["value"] == pytest.approx(2, abs=1e-4)


def test_through_many_airs(ask: Ask) -> None:
    air = {"relative_humidity": percent(40), "temperature": quantity(21, "degC")}
    whole = ask("moisture-response", part="neck", moisture=percent(11), steps=[{"lasting": days(20), **air}])
    parts = ask(
        "moisture-response", part="neck", moisture=percent(11), steps=[{"lasting": days(10), **air}] * 2
    )
    assert parts["moistures"][-1] == whole["moistures"][-1]
    rest = ask("wood-moisture", **air)["moisture"]["value"]
    row = whole["moistures"][0]
    assert rest < row["quickest"]["value"] < row["likely"]["value"] < row["slowest"]["value"] < 11


def test_a_tighter_finish_and_a_case_slow_it_down(ask: Ask) -> None:
    def likely(**change: Any) -> float:
        found = ask("moisture-response", part="neck", share=percent(90), **change)
        return float(found["time"]["likely"]["value"])

    assert likely(finish="none") < likely() < likely(finish="shellac")
    assert likely(in_case=True) > likely()
    three, two = (likely(finish="urethane varnish", coats=coats) for coats in (3, 2))
    assert three > two


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"part": "neck", "time_constant": days(3), "share": percent(50)}, "/time_constant"),
        ({"time_constant": days(3), "share": percent(50), "finish": "lacquer"}, "/finish"),
        ({"part": "neck", "coats": 2, "share": percent(50)}, "/finish"),
        ({"part": "neck", "share": percent(100)}, "/share/value"),
        (
            {"part": "neck", "moisture": percent(9), "moisture_at_rest": percent(6),
             "wanted_moisture": percent(5)},
            "/wanted_moisture",
        ),
        (
            {"part": "neck", "moisture": percent(9), "moisture_at_rest": percent(6),
             "wanted_moisture": percent(10)},
            "/wanted_moisture",
        ),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named(refuse: Ask, body: dict[str, Any], pointer: str) -> None:
    assert pointer in [each["pointer"] for each in refuse("moisture-response", **body)["errors"]]
