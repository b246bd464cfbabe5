"""Saddle position over HTTP."""

from __future__ import annotations

from typing import Any

import pytest
from scipy.optimize import minimize_scalar

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

CENTS, TURN = "cents", "turn"
SCREW: dict[str, Any] = {"thread_pitch": quantity(0.5, "mm/turn"), "scale_length": mm(647.7)}


# pins saddle-position: 650 mm, +1 c 0.375780 mm and +10 c 3.787352 mm, exact ratio of an ideal string
@pytest.mark.parametrize(("cents", "move"), [(1.0, 0.375780), (10.0, 3.787352)])
def test_saddle_moves_of_650_mm(ask: Ask, cents: float, move: float) -> None:
    found = ask("saddle-position", scale_length=mm(650), intonation=quantity(cents, CENTS))
    assert found["saddle_move"]["value"] == pytest.approx(move, abs=1e-6)
    assert found["direction"] == "away from the nut"
    assert found["intonation"] == [{"fret": 12, "intonation": quantity(0.0, CENTS)}]


# pins saddle-position: the whole of tests/reference/saddle_move.csv, exact ratio of an ideal string
@pytest.mark.parametrize("row", load.table("saddle_move"), ids=str)
def test_saddle_moves_match_the_table(ask: Ask, row: dict[str, str]) -> None:
    scale, cents = float(row["scale_mm"]), float(row["sharp_cents_at_12"])
    found = ask("saddle-position", scale_length=mm(scale), intonation=quantity(cents, CENTS))
    assert found["saddle_move"]["value"] == pytest.approx(float(row["dS_exact_retuned_mm"]), abs=1e-6)


# pins saddle-position: a sharp note moves the saddle away from the nut, a flat one toward it; common practice
@pytest.mark.parametrize("fret", [3, 5, 12, 19])
def test_sharp_is_away_from_the_nut(ask: Ask, fret: int) -> None:
    sharp = ask("saddle-position", scale_length=mm(650), intonation=quantity(4, CENTS), fret=fret)
    flat = ask("saddle-position", scale_length=mm(650), intonation=quantity(-4, CENTS), fret=fret)
    assert sharp["saddle_move"]["value"] > 0 > flat["saddle_move"]["value"]
    assert (sharp["direction"], flat["direction"]) == ("away from the nut", "toward the nut")


# pins saddle-position: +5.5 c is 4 1/8 turns of M3×0.5 away on 647.7 mm, +7 c 5 1/4 away, -6 c 4 1/2
#     toward; by hand
@pytest.mark.parametrize(
    ("cents", "move", "turns"), [(5.5, 2.07, 4.125), (7.0, 2.63, 5.25), (-6.0, -2.23, -4.5)]
)
def test_turns_of_the_screw(ask: Ask, cents: float, move: float, turns: float) -> None:
    found = ask("saddle-position", **SCREW, intonation=quantity(cents, CENTS))
    assert found["saddle_move"]["value"] == pytest.approx(move, abs=6e-3)
    assert found["turns"] == quantity(turns, TURN)
    clockwise = "clockwise, facing the screw's head from the tail"
    assert found["seen"] == (clockwise if cents > 0 else "counter-" + clockwise)
    other = ask("saddle-position", **SCREW, intonation=quantity(cents, CENTS), screw_head="nut")
    assert other["seen"].startswith("counter-clockwise" if cents > 0 else "clockwise")


# pins saddle-position: +14 c wants 5.30 mm; with 2.0 mm of travel 5.3 c are gained and 8.7 c stay, by hand
def test_travel_that_is_too_short_is_said_plainly(ask: Ask) -> None:
    found = ask("saddle-position", **SCREW, intonation=quantity(14, CENTS), travel_left=mm(2))
    assert found["saddle_move"] == mm(2.0)
    assert found["short"]["value"] == pytest.approx(3.30, abs=6e-3)
    assert found["intonation"][0]["intonation"]["value"] == pytest.approx(8.7, abs=0.05)
    assert "Never mistune other strings" in found["note"][0]


def test_a_move_or_turns_give_the_intonation(ask: Ask) -> None:
    by_move = ask(
        "saddle-position", scale_length=mm(647.7), intonation=quantity(14, CENTS), saddle_move=mm(2)
    )
    by_turns = ask("saddle-position", **SCREW, intonation=quantity(14, CENTS), turns=quantity(4, TURN))
    assert by_move["calculated"] == by_turns["calculated"] == "intonation"
    assert by_move["intonation"] == by_turns["intonation"]
    assert by_move["intonation"][0]["intonation"]["value"] == pytest.approx(8.7, abs=0.05)


# pins saddle-position: several frets by least squares, against scipy.optimize
def test_several_frets_agree_with_an_independent_optimiser(ask: Ask) -> None:
    readings = {5: 3.0, 12: 6.0, 17: 9.0}
    found = ask(
        "saddle-position", scale_length=mm(650),
        readings=[{"fret": fret, "intonation": quantity(cents, CENTS)} for fret, cents in readings.items()],
    )  # fmt: skip

    def misfit(move: float) -> float:
        import math

        total = 0.0
        for fret, cents in readings.items():
            fretted = 650 / 2 ** (fret / 12)
            left = cents + 1200 * (math.log2((650 + move) / 650) - math.log2((fretted + move) / fretted))
            total += left**2
        return total

    best = minimize_scalar(misfit, bounds=(-10, 10), method="bounded", options={"xatol": 1e-9})
    assert found["saddle_move"]["value"] == pytest.approx(best.x, abs=1e-4)
    assert found["rms"]["value"] == pytest.approx((best.fun / 3) ** 0.5, abs=1e-4)


def test_sharp_at_the_low_frets_only_is_the_nut(ask: Ask, refuse: Ask) -> None:
    readings = [
        {"fret": fret, "intonation": quantity(c, CENTS)} for fret, c in ((1, 6), (2, 5), (3, 4), (12, 0))
    ]
    found = ask("saddle-position", scale_length=mm(650), readings=readings, move_nut=True)
    assert found["nut_move"]["value"] < 0
    problem = refuse("saddle-position", scale_length=mm(650), readings=readings[:1], move_nut=True)
    assert problem["errors"][0]["pointer"] == "/readings"


def test_what_no_saddle_can_cure_is_refused(refuse: Ask) -> None:
    problem = refuse("saddle-position", scale_length=mm(650), intonation=quantity(100, CENTS), fret=1)
    assert problem["reason"] == "out-of-range"
    assert problem["errors"][0]["pointer"] == "/intonation"


def test_a_saddle_that_would_leave_the_instrument_is_refused(refuse: Ask) -> None:
    reading = {"fret": 1, "intonation": quantity(60, CENTS)}
    for body in (reading, {"readings": [reading]}):
        problem = refuse("saddle-position", scale_length=mm(650), **body)
        assert "no saddle can cure it" in problem["detail"]
        assert problem["errors"][0]["pointer"] in ("/intonation", "/readings")
