"""Seasonal drift over HTTP."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from shimstock_calc.air import dew_point
from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity


def percent(value: float) -> dict[str, Any]:
    return quantity(value, "percent")


def celsius(value: float) -> dict[str, Any]:
    return quantity(value, "degC")


def months(place: str, humidity: str = "dew_point") -> list[dict[str, Any]]:
    """Return the normals of a place whose name begins so."""
    rows = [row for row in load.table("climate_monthly") if row["dataset"].startswith(place)]
    assert len(rows) == 12
    wet = {"dew_point": ("Td_mean_C", celsius), "relative_humidity": ("RH_mean_percent", percent)}
    column, as_sent = wet[humidity]
    return [
        {"temperature": celsius(float(row["T_mean_C"])), humidity: as_sent(float(row[column]))}
        for row in rows
    ]


RELIEF: dict[str, Any] = {
    "quantity": "relief", "value": mm(0.2), "uncertainty": mm(0.03), "lower": mm(0.1), "upper": mm(0.3),
}  # fmt: skip
AUTUMN: dict[str, Any] = {"day_of_year": 258, "quantities": [RELIEF]}
STEADY: list[dict[str, Any]] = [
    {"day_of_year": day, "temperature": celsius(21), "relative_humidity": percent(45)}
    for day in range(1, 366, 2)
]


# pins seasonal-drift: NREL TMY3 monthly means (US government open data): indoor humidity of a place with 2
#     g/m3 of vapour at 21 degC, column RHin_at_21C_plus_2g_m3, in the months below 0 degC
def test_the_room_of_a_northern_winter(ask: Ask) -> None:
    room = {"heating_set_point": celsius(21), "moisture_excess": quantity(2, "g/m3")}
    rows = [row for row in load.table("climate_monthly") if row["dataset"].startswith("Chicago")]
    normals = [
        {"temperature": celsius(float(row["T_mean_C"])),
         "dew_point": celsius(float(dew_point(float(row["pv_mean_Pa_AE_water"]))))}
        for row in rows
    ]  # fmt: skip
    found = ask("seasonal-drift", months=normals, **AUTUMN, **room)["room"]
    cold = [n for n, row in enumerate(rows) if float(row["T_mean_C"]) < -3]
    assert len(cold) == 2
    for n in cold:
        expected = float(rows[n]["RHin_at_21C_plus_2g_m3"])
        assert found[n]["relative_humidity"]["value"] == pytest.approx(expected, abs=0.7)
    driest = min(range(12), key=lambda n: found[n]["moisture"]["value"])
    assert driest in (11, 0, 1)


# pins seasonal-drift: the first day from day 14 on which moisture has moved by 2 % or 25 % are out of spec;
#     judgement
def test_when_to_look_again_and_why(ask: Ask) -> None:
    found = ask("seasonal-drift", months=months("Chicago"), **AUTUMN, every=1)
    drift = found["quantities"][0]
    day = int(found["recheck_after"]["value"])
    assert drift["cause"] in ("spec", "moisture")
    assert found["recheck_day_of_year"] == (258 - 1 + day) % 365 + 1
    out = [each["probability_out"]["value"] for each in drift["curve"]]
    moved = [abs(each["moisture_change"]["value"]) for each in drift["curve"]]
    due = [n for n in range(14, 366) if out[n] >= 25 or moved[n] > 2]
    assert due[0] == day
    assert "given off" in found["reason"]
    assert f"{drift['expected']['value']:.2f}" in found["reason"]
    assert "not even which way" in found["note"][0]


def test_reasons_in_the_readers_units(ask: Ask) -> None:
    found = ask("seasonal-drift", "inch", months=months("Chicago"), **AUTUMN)
    assert "thou" in found["reason"]
    assert found["quantities"][0]["expected"]["unit"] == "thou"
    assert f"{found['quantities'][0]['expected']['value']:.2f}" in found["reason"]


def test_a_room_that_never_changes_needs_no_recheck(ask: Ask) -> None:
    found = ask("seasonal-drift", log=STEADY, **AUTUMN)
    assert found["recheck_after"] is None
    assert found["quantities"][0]["cause"] == "none"
    assert [month["relative_humidity"]["value"] for month in found["room"]] == pytest.approx(
        [45] * 12, abs=0.01
    )
    curve = found["quantities"][0]["curve"]
    assert [point["day"] for point in curve] == list(range(0, 366, 14))


def test_the_log_replaces_the_months_that_it_covers(ask: Ask, refuse: Ask) -> None:
    winter = [each for each in STEADY if each["day_of_year"] <= 59]
    mixed = ask("seasonal-drift", months=months("Chicago"), log=winter, **AUTUMN)["room"]
    normal = ask("seasonal-drift", months=months("Chicago"), **AUTUMN)["room"]
    assert mixed[0]["relative_humidity"]["value"] == pytest.approx(45, abs=1.5)
    assert mixed[6]["relative_humidity"]["value"] == pytest.approx(
        normal[6]["relative_humidity"]["value"], abs=1
    )
    problem = refuse("seasonal-drift", log=winter, **AUTUMN)
    assert problem["errors"][0]["pointer"] == "/log"
    assert "month 3, 4, 5" in problem["errors"][0]["message"]


def test_a_humidifier_puts_it_off(ask: Ask) -> None:
    kept = ask(
        "seasonal-drift", months=months("Chicago"), **AUTUMN, humidifier=percent(42), dehumidifier=percent(48)
    )
    bare = ask("seasonal-drift", months=months("Chicago"), **AUTUMN)
    assert bare["recheck_after"] is not None
    assert kept["recheck_after"] is None or kept["recheck_after"]["value"] > bare["recheck_after"]["value"]


# pins seasonal-drift: drier: a neck that answers +0.03 mm per % loses relief, a top's saddle sinks
def test_drier_wood_moves_the_way_that_was_learned(ask: Ask) -> None:
    saddle = {**RELIEF, "quantity": "saddle-height", "value": mm(3), "lower": mm(2), "upper": mm(4)}
    action = {**RELIEF, "quantity": "action", "side": "bass", "value": mm(2.4), "lower": mm(2.1),
              "upper": mm(2.7)}  # fmt: skip
    found = ask(
        "seasonal-drift", months=months("Chicago"), day_of_year=258, quantities=[RELIEF, saddle, action],
        acoustic=True, coupling=1.58, relief_by_moisture=mm(0.03), relief_by_moisture_sd=mm(0.01),
        every=120, days=120,
    )  # fmt: skip
    relief, saddle, action = (
        each["curve"][1]["expected"]["value"] - each["curve"][0]["expected"]["value"]
        for each in found["quantities"]
    )
    assert relief < 0 > saddle
    # action follows relief by the coupling and the saddle by half
    assert action == pytest.approx(1.58 * relief + 0.5 * saddle, abs=1e-3)


# pins seasonal-drift: a weighted straight line, numpy.polyfit
def test_how_strongly_a_quantity_answers(ask: Ask) -> None:
    moisture, relief = [6.0, 7.5, 8.0, 10.0], [0.20, 0.24, 0.27, 0.33]
    found = ask(
        "seasonal-drift", quantity="relief", moistures=[percent(each) for each in moisture],
        values=[mm(each) for each in relief], uncertainty=mm(0.02),
    )  # fmt: skip
    slope, cov = np.polyfit(moisture, relief, 1), 0.02**2 / (4 * np.var(moisture))
    assert found["calculated"] == "sensitivity"
    assert found["sensitivity"]["value"] == pytest.approx(slope[0], abs=1e-5)
    assert found["sensitivity_sd"]["value"] == pytest.approx(cov**0.5, abs=1e-5)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"quantities": [{**RELIEF, "quantity": "action"}]}, "/coupling"),
        ({"quantities": [{**RELIEF, "quantity": "saddle-height"}]}, "/quantities/0/quantity"),
        ({"quantities": [{**RELIEF, "lower": mm(0.4)}]}, "/quantities/0/lower"),
        ({"relief_by_moisture_sd": mm(0.01)}, "/relief_by_moisture"),
        ({"months": [*months("Chicago")[:11], {"temperature": celsius(0)}]}, "/months/11/relative_humidity"),
        (
            {"months": [{"temperature": celsius(0), "dew_point": celsius(5)}, *months("Chicago")[1:]]},
            "/months/0/dew_point",
        ),
        ({"months": months("Chicago")[:11]}, "/months"),
    ],
)
def test_what_does_not_fit_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    body = {"months": months("Chicago"), **AUTUMN} | change
    assert refuse("seasonal-drift", **body)["errors"][0]["pointer"] == pointer
