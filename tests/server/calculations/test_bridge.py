"""Bridge height over HTTP."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

TURN = "turn"
POSTS: dict[str, Any] = {
    "post_spacing": mm(74),
    "string_spread": mm(52),
    "thread_pitch": quantity(1.25, "mm/turn"),
}


# pins bridge-height: a rigid bridge on two posts, solved by numpy.linalg
def test_two_posts_solve_for_the_strings_between_them(ask: Ask) -> None:
    c = (74 - 52) / 2 / 74
    bass, treble = np.linalg.solve([[1 - c, c], [c, 1 - c]], [-0.166, 0.034])
    found = ask("bridge-height", action_change_bass=mm(-0.083), action_change_treble=mm(0.017), **POSTS)
    assert [screw["height"]["value"] for screw in found["screws"]] == pytest.approx([bass, treble], abs=1e-6)


# pins bridge-height: bass post -0.207 mm = -0.166 turn of M8×1.25: 1/8 down, action 1.783 / 1.483 -> 1.716
#     / 1.471, by hand
def test_a_two_post_bridge_after_the_rod(ask: Ask) -> None:
    found = ask(
        "bridge-height", action_change_bass=mm(1.7 - 1.7825), action_change_treble=mm(1.5 - 1.4825), **POSTS
    )
    bass, treble = found["screws"]
    assert bass["height"]["value"] == pytest.approx(-0.207, abs=1e-3)
    assert bass["exact_turns"]["value"] == pytest.approx(-0.166, abs=1e-3)
    assert bass["turns"] == quantity(-0.125, TURN)
    assert (bass["direction"], bass["seen"]) == ("lower", "clockwise, seen from above")
    assert treble["exact_turns"]["value"] == pytest.approx(0.062, abs=1e-3)
    assert (treble["turns"]["value"], treble["direction"], treble["seen"]) == (0.0, "leave", None)
    assert 1.7825 + found["action_change_bass"]["value"] == pytest.approx(1.716, abs=1e-3)
    assert 1.4825 + found["action_change_treble"]["value"] == pytest.approx(1.471, abs=1e-3)


def test_turns_the_other_way_round(ask: Ask) -> None:
    found = ask("bridge-height", turns_bass=quantity(-0.125, TURN), turns_treble=quantity(0, TURN), **POSTS)
    assert found["calculated"] == "action_change"
    assert found["action_change_bass"]["value"] == pytest.approx(-0.0665, abs=1e-4)
    assert found["action_change_treble"]["value"] == pytest.approx(-0.0116, abs=1e-4)


# pins bridge-height: post and thumbwheel clockwise lowers, a saddle's screw clockwise raises; common
#     practice, no published source
def test_which_way_a_screw_turns(ask: Ask) -> None:
    up: dict[str, Any] = {"action_change_bass": mm(0.5), "action_change_treble": mm(0.5)}
    posts = ask("bridge-height", **up, **POSTS)
    assert posts["screws"][0]["seen"] == "counter-clockwise, seen from above"
    assert "slacken the strings first" in posts["note"][0]
    left = ask("bridge-height", **up, **POSTS, left_hand_thread=True)
    assert left["screws"][0]["seen"] == "clockwise, seen from above"
    single = {"strings": 4, "string_spread": mm(57), "thread_pitch": quantity(0.5, "mm/turn")}
    assert ask("bridge-height", **up, **single)["screws"][0]["seen"] == "clockwise, seen from above"


# pins bridge-height: a bass of 241.3 mm radius and 19 mm spacing: inner strings 1.50 mm above the outer
#     line, by hand; M3×0.5 of ISO 261
def test_single_saddles_follow_the_radius(ask: Ask) -> None:
    pitch = float(load.rows("screw_threads", designation="M3")[0]["pitch_mm"])
    found = ask(
        "bridge-height", action_change_bass=mm(2.4 - 2.458), action_change_treble=mm(2.0 - 2.061), strings=4,
        string_spread=mm(57), radius=mm(241.3), thread_pitch=quantity(pitch, "mm/turn"),
    )  # fmt: skip
    assert [each["over_outer_line"]["value"] for each in found["screws"]] == pytest.approx(
        [0, 1.50, 1.50, 0], abs=5e-3
    )
    assert found["screws"][0]["height"]["value"] == pytest.approx(-0.122, abs=1e-3)
    assert found["screws"][3]["height"]["value"] == pytest.approx(-0.116, abs=1e-3)
    assert [each["turns"]["value"] for each in found["screws"]] == [-0.25] * 4
    assert 2.458 + found["action_change_bass"]["value"] == pytest.approx(2.395, abs=1e-3)


def test_a_compound_radius_is_a_cone_through_both_ends(ask: Ask, refuse: Ask) -> None:
    # a cone: 250 at the nut, 400 at 450 mm, so 450 at 600 mm; √(450² - 9.5²) - √(450² - 28.5²) by hand
    body: dict[str, Any] = {
        "action_change_bass": mm(0), "action_change_treble": mm(0), "strings": 4, "string_spread": mm(57),
        "thread_pitch": quantity(0.5, "mm/turn"), "radius_nut": mm(250), "board_length": mm(450),
        "scale_length": mm(600),
    }  # fmt: skip
    found = ask("bridge-height", **body, radius_body_end=mm(400))
    expected = (450**2 - 9.5**2) ** 0.5 - (450**2 - 28.5**2) ** 0.5
    assert found["screws"][1]["over_outer_line"]["value"] == pytest.approx(expected, abs=1e-5)
    assert refuse("bridge-height", **body)["errors"][0]["pointer"] == "/radius_body_end"


def test_single_saddles_the_other_way_round(ask: Ask) -> None:
    turned = [{"string": 2, "turns": quantity(-0.5, TURN)}]
    found = ask("bridge-height", saddle_turns=turned, thread_pitch=quantity(0.5, "mm/turn"))
    assert found["strings"] == [{"string": 2, "action_change": mm(-0.125)}]


# pins bridge-height: saddle 3.2 / 2.6 mm out, wanted off 1.6 / 1.4, least 2.0: 1.2 / 0.6 allowed; common
#     practice, no published source
def test_a_fixed_saddle_keeps_its_least_height(ask: Ask) -> None:
    wanted = {"action_change_bass": mm(-0.8), "action_change_treble": mm(-0.7)}
    found = ask("bridge-height", **wanted, saddle_out_bass=mm(3.2), saddle_out_treble=mm(2.6))
    bass, treble = found["saddle"]
    assert (bass["wanted"]["value"], treble["wanted"]["value"]) == pytest.approx((1.6, 1.4))
    assert (bass["allowed"]["value"], treble["allowed"]["value"]) == pytest.approx((1.2, 0.6))
    assert (bass["out_afterwards"]["value"], treble["out_afterwards"]["value"]) == (2.0, 2.0)
    assert found["action_change_bass"]["value"] == pytest.approx(-0.6)
    assert "cannot be put back" in found["note"][0]
    assert "0.40 mm stay undone" in found["note"][1]
    taken = {f"taken_off_{side['side']}": side["allowed"] for side in found["saddle"]}
    assert ask("bridge-height", **taken)["action_change_treble"]["value"] == pytest.approx(-0.3)


def test_springs_pull_as_much_harder_as_the_strings(ask: Ask) -> None:
    found = ask("bridge-height", old_pull=quantity(365, "N"), new_pull=quantity(447.3, "N"))
    assert found["springs_change"]["value"] == pytest.approx(22.5, abs=0.1)


def test_strings_outside_the_posts_are_named(refuse: Ask) -> None:
    problem = refuse(
        "bridge-height",
        action_change_bass=mm(0.1),
        action_change_treble=mm(0.1),
        **POSTS | {"string_spread": mm(80)},
    )
    assert problem["errors"][0]["pointer"] == "/string_spread"
