"""Fret positions over HTTP."""

from __future__ import annotations

import pytest

from tests.server.calculations.conftest import Ask, mm, quantity


# pins fret-positions: 650 mm in equal temperament, 650·(1 - 2^(-n/12)) by hand
def test_frets_of_650_mm(ask: Ask) -> None:
    places = {
        each["fret"]: each["position"]["value"]
        for each in ask("fret-positions", scale_length=mm(650), frets=24)["positions"]
    }
    expected = {1: 36.481697, 5: 163.050200, 7: 216.177047, 12: 325.0, 24: 487.5}
    assert {fret: places[fret] for fret in expected} == pytest.approx(expected, abs=1e-6)


# pins fret-positions: the divisor 17.817154 of equal temperament, 1/(1 - 2^(-1/12))
def test_the_divisor_of_equal_temperament(ask: Ask) -> None:
    measured = [{"fret": fret, "position": mm(650 * (1 - 2 ** (-fret / 12)))} for fret in (1, 5, 7, 12, 19)]
    found = ask("fret-positions", measured=measured)
    assert found["rule"] == "equal-temperament"
    assert found["divisor"] == pytest.approx(17.817154, abs=1e-4)
    assert found["scale_length"]["value"] == pytest.approx(650, abs=1e-4)


# pins fret-positions: the rule of eighteen, 650·(1 - (17/18)^12) = 322.636 mm, common practice
def test_the_rule_of_eighteen(ask: Ask) -> None:
    found = ask("fret-positions", scale_length=mm(650), fret=12, rule="rule-of-eighteen")
    assert found["position"]["value"] == pytest.approx(322.636, abs=5e-4)
    measured = [{"fret": fret, "position": mm(650 * (1 - (17 / 18) ** fret))} for fret in (1, 5, 7, 12)]
    assert ask("fret-positions", measured=measured, scale_length=mm(650))["rule"] == "rule-of-eighteen"


def test_of_fret_position_and_scale_two_give_the_third(ask: Ask) -> None:
    assert ask("fret-positions", scale_length=mm(650), position=mm(325))["fret"] == pytest.approx(12)
    assert ask("fret-positions", fret=12, position=mm(323.85))["scale_length"] == mm(647.7)
    assert ask("fret-positions", fret=7, scale_length=mm(650))["position"]["value"] == pytest.approx(
        216.177047
    )


def test_a_multi_scale_board_is_square_at_its_square_fret(ask: Ask) -> None:
    found = ask(
        "fret-positions", scale_bass=mm(686), scale_treble=mm(648), strings=6, perpendicular_fret=7, frets=24
    )  # fmt: skip
    seventh = [string["frets"][6]["position"]["value"] for string in found["strings"]]
    assert max(seventh) - min(seventh) < 2e-6
    assert [each["string"] for each in found["strings"]] == [1, 2, 3, 4, 5, 6]
    assert found["strings"][0]["scale_length"] == mm(648)
    assert found["strings"][5]["nut"]["value"] < 0 < found["strings"][5]["saddle"]["value"] - 648


def test_inches_in_and_out(ask: Ask) -> None:
    # 25.5 in: the 12th fret at 12.75 in
    found = ask("fret-positions", "inch", scale_length=quantity(25.5, "in"), fret=12)
    assert found["position"] == quantity(12.75, "in")
    assert found["scale_length"] == quantity(25.5, "in")


def test_a_scale_that_no_instrument_has_is_noted_and_an_absurd_one_refused(ask: Ask, refuse: Ask) -> None:
    assert "1500 mm" in ask("fret-positions", scale_length=mm(1500), frets=1)["note"][0]
    assert (
        refuse("fret-positions", scale_length=mm(20), frets=1)["errors"][0]["pointer"]
        == "/scale_length/value"
    )
    assert refuse("fret-positions", fret=1, position=mm(1900))["errors"][0]["pointer"] == "/position"
    assert (
        refuse("fret-positions", scale_length=mm(650), position=mm(651))["errors"][0]["pointer"]
        == "/position"
    )
