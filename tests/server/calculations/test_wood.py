"""Wood and moisture over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity


def percent(value: float) -> dict[str, Any]:
    return quantity(value, "percent")


# pins wood-moisture: USDA Wood Handbook, FPL-GTR-190 (2010), Table 4-2: every cell of
#     tests/reference/wood_emc_table_4_2.csv, within 0.06 % of moisture beyond its rounding
@pytest.mark.parametrize("fahrenheit", sorted({row["temp_F"] for row in load.table("wood_emc_table_4_2")}))
def test_every_cell_of_table_4_2(ask: Ask, fahrenheit: str) -> None:
    for row in load.rows("wood_emc_table_4_2", temp_F=fahrenheit):
        found = ask(
            "wood-moisture", temperature=quantity(float(fahrenheit), "degF"),
            relative_humidity=percent(float(row["rh_percent"])),
        )  # fmt: skip
        assert found["moisture"]["value"] == pytest.approx(float(row["emc_percent"]), abs=0.1)


# pins wood-moisture: how humid the room must be for a moisture, asked back
@pytest.mark.parametrize("humidity", [20.0, 47.0, 80.0])
def test_how_humid_the_room_must_be(ask: Ask, humidity: float) -> None:
    air = {"temperature": quantity(21, "degC")}
    there = ask("wood-moisture", **air, relative_humidity=percent(humidity))
    back = ask("wood-moisture", **air, moisture=there["moisture"])
    assert back["calculated"] == "relative_humidity"
    assert back["relative_humidity"]["value"] == pytest.approx(humidity, abs=1e-3)


def test_drier_air_means_less_moisture(ask: Ask, refuse: Ask) -> None:
    air = {"temperature": quantity(21, "degC")}
    dry, damp = (ask("wood-moisture", **air, relative_humidity=percent(each)) for each in (30, 60))
    assert dry["moisture"]["value"] < damp["moisture"]["value"]
    note = ask("wood-moisture", **air, relative_humidity=percent(99))["note"]
    assert note == ["Air above 95 % RH is answered as 95 %: the table ends there and water may condense."]
    assert refuse("wood-moisture", **air, moisture=percent(35))["errors"][0]["pointer"] == "/moisture"


BOARD: dict[str, Any] = {"width": mm(232), "moisture_before": percent(8)}


# pins wood-movement: Wood Handbook (2010), worked example of Eqs. (13-2) and (13-3): 232 mm of white fir from
#     8 to 11 % becomes 233.7 mm (C_T 0.00245 from memory, S_T 7.0)
@pytest.mark.parametrize(
    ("wood", "equation"),
    [
        ({"coefficient": 0.00245}, "13-2"),
        ({"shrinkage": percent(7.0)}, "13-3"),
        ({"species": "white fir"}, "13-2"),
    ],
)
def test_the_handbooks_floor_board(ask: Ask, wood: dict[str, Any], equation: str) -> None:
    found = ask("wood-movement", **BOARD, moisture_after=percent(11), **wood)
    assert found["width_after"]["value"] == pytest.approx(233.7, abs=0.05)
    assert found["equation"] == equation
    back = ask("wood-movement", **BOARD, width_after=found["width_after"], **wood)
    assert back["calculated"] == "moisture_after"
    assert back["moisture_after"]["value"] == pytest.approx(11, abs=1e-3)


# pins wood-movement: Wood Handbook (2010), Table 13-5: every coefficient of
#     tests/reference/wood_movement_table_13_5.csv, by name
@pytest.mark.parametrize("row", load.table("wood_movement_table_13_5"), ids=lambda row: row["species"])
def test_every_wood_of_table_13_5(ask: Ask, row: dict[str, str]) -> None:
    for direction, column in (("radial", "C_R"), ("tangential", "C_T")):
        if row[column]:
            body = BOARD | {"width": mm(1000)}
            found = ask(
                "wood-movement",
                **body,
                moisture_after=percent(9),
                species=row["species"],
                direction=direction,
            )
            assert found["change"]["value"] == pytest.approx(1000 * float(row[column]), abs=1e-4)


# pins wood-movement: Wood Handbook (2010), Table 4-3: shrinkage of a wood from green, 30 %, to ovendry
@pytest.mark.parametrize("row", load.table("wood_shrinkage_table_4_3")[::7], ids=lambda row: row["species"])
def test_green_to_ovendry_is_the_printed_shrinkage(ask: Ask, row: dict[str, str]) -> None:
    found = ask(
        "wood-movement", width=mm(1000), moisture_before=percent(30), moisture_after=percent(0),
        species=row["species"],
    )  # fmt: skip
    assert found["equation"] == "13-3"
    assert found["change"]["value"] == pytest.approx(-10 * float(row["tangential_pct"]), abs=1e-3)
    back = ask(
        "wood-movement", width=mm(1000), moisture_before=percent(30), width_after=found["width_after"],
        species=row["species"],
    )  # fmt: skip
    assert back["moisture_after"]["value"] == pytest.approx(0, abs=1e-3)


def test_drier_wood_is_narrower_and_most_across_the_flat(ask: Ask) -> None:
    drier = {**BOARD, "moisture_after": percent(6), "species": "Sitka spruce"}
    flat, quartered = (
        ask("wood-movement", **drier, direction=each)["change"]["value"] for each in ("tangential", "radial")
    )
    assert flat < quartered < 0


def test_a_coefficient_outside_its_range_is_noted(ask: Ask) -> None:
    found = ask("wood-movement", **BOARD, moisture_after=percent(20), coefficient=0.0025)
    assert "6 to 14 %" in found["note"][0]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"species": "sitka sprouce"}, "/species"),
        ({"species": "white fir", "coefficient": 0.002}, "/coefficient"),
        ({}, "/species"),
    ],
)
def test_a_wood_that_is_not_known_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    problem = refuse("wood-movement", **BOARD, moisture_after=percent(11), **change)
    assert problem["errors"][0]["pointer"] == pointer


def test_an_impossible_width_is_named(refuse: Ask) -> None:
    problem = refuse("wood-movement", **BOARD, width_after=mm(300), coefficient=0.0025)
    assert problem["errors"][0]["pointer"] == "/width_after"


def test_a_wood_spelt_wrong_is_answered_with_near_ones(refuse: Ask) -> None:
    problem = refuse("wood-movement", **BOARD, moisture_after=percent(11), species="sitka sprouce")
    assert "Sitka spruce" in problem["errors"][0]["message"]
