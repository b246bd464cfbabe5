"""Relief and action over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.calculations.conftest import Ask, mm

# A neck of 628.65 mm with the body joint at fret 16, held at 1 and 22, read at 9.
PLACE: dict[str, Any] = {"scale_length": mm(628.65), "body_joint_fret": 16, "held": [1, 22], "fret": 9}


# pins relief-at-fret: constant curvature to the joint, by hand for 628.65 mm, joint 16, held 1-22: 0.845 /
#     0.981 / 1.000 / 0.993 / 0.855
@pytest.mark.parametrize(("fret", "share"), [(5, 0.845), (7, 0.981), (8, 1.000), (9, 0.993), (12, 0.855)])
def test_relief_at_each_fret_relative_to_the_largest(ask: Ask, fret: int, share: float) -> None:
    found = ask("relief-at-fret", **PLACE | {"fret": 8}, relief=mm(1.0), other_fret=fret)
    assert found["factor"] == pytest.approx(share, abs=6e-4)
    assert found["other_relief"]["value"] == pytest.approx(share, abs=6e-4)
    assert found["largest_fret"] == 8


# pins relief-at-fret: joint 14, held 1-14 read at 7, × 1.473 = held 1-20 read at 8, by hand
def test_held_1_to_14_becomes_held_1_to_20(ask: Ask) -> None:
    found = ask(
        "relief-at-fret", scale_length=mm(645.2), body_joint_fret=14, held=[1, 14], fret=7, relief=mm(0.16),
        other_held=[1, 20], other_fret=8, uncertainty=mm(0.02),
    )  # fmt: skip
    assert found["factor"] == pytest.approx(1.473, abs=5e-4)
    assert found["other_relief"]["value"] == pytest.approx(0.236, abs=5e-4)
    assert found["uncertainty"]["value"] == pytest.approx(0.0295, abs=1e-4)


def test_the_largest_relief_is_found_and_the_way_back(ask: Ask) -> None:
    # elementary geometry: fret 7 when held 1-17, 6 when held 1-14
    assert ask("relief-at-fret", **PLACE, relief=mm(0.2), other_held=[1, 17])["other_fret"] == 7
    assert ask("relief-at-fret", **PLACE, relief=mm(0.2), other_held=[1, 14])["other_fret"] == 6
    there = ask("relief-at-fret", **PLACE, relief=mm(0.2), other_fret=5)["other_relief"]
    back = ask("relief-at-fret", **PLACE, other_relief=there, other_fret=5)
    assert back["calculated"] == "relief"
    assert back["relief"]["value"] == pytest.approx(0.2, abs=1e-5)


# pins relief-at-fret: on its back a guitar's neck shows about 0.07 mm less relief, a bass's twice that;
#     computed, rough
def test_on_its_back_it_shows_less(ask: Ask) -> None:
    found = ask("relief-at-fret", **PLACE, relief=mm(0.2), other_fret=9, position="on-back")
    assert found["other_relief"]["value"] == pytest.approx(0.27, abs=0.01)
    assert "on its back the neck shows about 0.06 mm less" in found["note"][0]
    bass = PLACE | {"scale_length": mm(863.6)}
    longer = ask("relief-at-fret", **bass, relief=mm(0.2), other_fret=9, position="on-back")
    lacks = [each["other_relief"]["value"] - 0.2 for each in (found, longer)]
    assert lacks[1] / lacks[0] == pytest.approx((863.6 / 628.65) ** 3, rel=1e-3)
    back = ask(
        "relief-at-fret", **bass, other_relief=longer["other_relief"], other_fret=9, position="on-back"
    )
    assert back["relief"]["value"] == pytest.approx(0.2, abs=1e-5)


def test_what_gravity_takes_is_one_bend_at_any_hold_frets(ask: Ask) -> None:
    lying = {"relief": mm(0.0), "other_held": [1, 22], "other_fret": 9, "position": "on-back"}
    found = [
        ask("relief-at-fret", **PLACE | {"held": held, "fret": fret}, **lying)["other_relief"]["value"]
        for held, fret in (([1, 22], 9), ([1, 14], 7), ([2, 17], 8))
    ]
    assert found == pytest.approx([found[0]] * 3, abs=2e-6)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"fret": 23}, "/fret"),
        ({"held": [9, 9]}, "/held"),
        ({"held": [17, 22], "fret": 20}, "/held"),
        ({"other_held": [12, 13]}, "/other_held"),
        ({"other_fret": 23}, "/other_fret"),
        ({"body_joint_fret": 30}, "/body_joint_fret"),
    ],
)
def test_a_place_that_is_none_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    assert refuse("relief-at-fret", **PLACE | change, relief=mm(0.2))["errors"][0]["pointer"] == pointer


# pins action-forecast: d(action)/d(relief) 1.58 / 1.67 / 1.80 / 1.92 and nut 0.44 / 0.43 / 0.43 / 0.44 for
#     a joint at 14 / 16 / 19 / 22, by hand
@pytest.mark.parametrize(
    ("joint", "coupling", "nut"), [(14, 1.58, 0.44), (16, 1.67, 0.43), (19, 1.80, 0.43), (22, 1.92, 0.44)]
)
def test_how_far_action_follows_relief(ask: Ask, joint: int, coupling: float, nut: float) -> None:
    place = PLACE | {"body_joint_fret": joint}
    found = ask("action-forecast", **place, action=mm(2), nut_action=mm(0.5), relief_change=mm(0.1))
    assert found["coupling"] == pytest.approx(coupling, abs=6e-3)
    assert found["nut_coupling"] == pytest.approx(nut, abs=6e-3)
    assert found["action"]["value"] == pytest.approx(2 + 0.1 * coupling, abs=1e-3)


# pins action-forecast: joint 14, held 1 and 14, read at 7: 2.46, by hand
def test_it_depends_on_the_hold_points(ask: Ask) -> None:
    place = {"scale_length": mm(628.65), "body_joint_fret": 14, "held": [1, 14], "fret": 7}
    found = ask("action-forecast", **place, action=mm(2), nut_action=mm(0.5), relief_change=mm(0))
    assert found["coupling"] == pytest.approx(2.46, abs=6e-3)


# pins action-forecast: relief 0.45 -> 0.20 takes action 2.2 to 1.783 and nut action 0.50 to 0.392, by hand
def test_tightening_lowers_action_and_nut_action(ask: Ask) -> None:
    found = ask("action-forecast", **PLACE, action=mm(2.2), nut_action=mm(0.5), relief_change=mm(-0.25))
    assert found["action"]["value"] == pytest.approx(1.783, abs=1e-3)
    assert found["nut_action"]["value"] == pytest.approx(0.392, abs=1e-3)
    assert found["uncertainty"]["value"] == pytest.approx(0.3 * 0.25)
    assert "quarter turn" in found["note"][0]


# pins action-forecast: a slot lowered by s lowers nut action by 0.944·s and action by s/2; a saddle raised
#     by h raises them by 0.056·h and h/2
def test_slot_and_saddle(ask: Ask) -> None:
    now = {"action": mm(2.0), "nut_action": mm(0.6)}
    slot = ask("action-forecast", **PLACE, **now, slot_lowered=mm(0.2))
    assert slot["nut_action"]["value"] == pytest.approx(0.6 - 0.944 * 0.2, abs=1e-3)
    assert slot["action"]["value"] == pytest.approx(1.9)
    assert "cannot be undone" in slot["note"][0]
    saddle = ask("action-forecast", **PLACE, **now, saddle_raised=mm(0.4))
    assert saddle["nut_action"]["value"] == pytest.approx(0.6 + 0.056 * 0.4, abs=1e-3)
    assert saddle["action"]["value"] == pytest.approx(2.2)


def test_which_saddle_or_which_relief_gives_this_action(ask: Ask) -> None:
    now = {**PLACE, "action": mm(2.2), "nut_action": mm(0.5)}
    saddle = ask("action-forecast", **now, wanted_action=mm(1.7), relief_change=mm(-0.1))
    assert saddle["calculated"] == "saddle_raised"
    assert saddle["action"]["value"] == pytest.approx(1.7, abs=1e-5)
    assert saddle["saddle_raised"]["value"] == pytest.approx(2 * (-0.5 + 0.167), abs=1e-3)
    bend = ask("action-forecast", **now, wanted_action=mm(1.7), saddle_raised=mm(0))
    assert bend["calculated"] == "relief_change"
    assert bend["relief_change"]["value"] == pytest.approx(-0.5 / 1.67, abs=1e-3)


def test_readings_that_cannot_all_be_true_are_refused(refuse: Ask) -> None:
    problem = refuse(
        "action-forecast", **PLACE, action=mm(0.2), nut_action=mm(0.1), relief=mm(-1.0), relief_change=mm(0)
    )
    assert problem["reason"] == "contradiction"
    assert problem["errors"][0]["pointer"] in ("/relief", "/action", "/nut_action")


def test_inches(ask: Ask) -> None:
    found = ask(
        "action-forecast", "inch", **PLACE, action=mm(2.2), nut_action=mm(0.5), relief_change=mm(-0.25)
    )
    assert found["action"] == {"value": pytest.approx(1.782518 / 25.4 * 64, abs=1e-4), "unit": "in/64"}
    assert found["nut_action"]["unit"] == "thou"
