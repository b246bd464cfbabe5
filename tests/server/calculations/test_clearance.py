"""String clearance over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

PLACE: dict[str, Any] = {
    "scale_length": mm(647.7), "frets": 22, "relief": mm(0.2), "body_joint_fret": 16, "held": [1, 22],
    "fret": 9,
}  # fmt: skip
STRING: dict[str, Any] = {"nut_action": mm(0.4), "action": mm(1.6), "tension": quantity(72.5, "N")}
PICK = {"pluck_distance": mm(130), "force": quantity(0.6, "N")}


# pins string-clearance: the envelope of an ideal plucked string, every row of
#     tests/reference/pluck_envelope.csv that lies over a fret: Fletcher & Rossing, The Physics of Musical
#     Instruments, ch. 2 (from memory)
@pytest.mark.parametrize(
    ("direction", "column"),
    [
        ("toward", "max_disp_toward_pluck_over_a"),
        ("away", "max_disp_away_over_a"),
        ("either", "max_abs_over_a"),
    ],
)
def test_how_far_the_string_swings(ask: Ask, direction: str, column: str) -> None:
    # frets of 650 mm lie at 1 - 2^(-n/12) from the nut: fret 12 is half way, 24 three quarters
    for row in load.table("pluck_envelope"):
        fret = {0.5: 12, 0.25: 24}.get(round(float(row["x_over_L"]), 6))
        if fret is None or float(row[column]) < 0.1:  # another fret would be tighter
            continue
        body: dict[str, Any] = {
            "scale_length": mm(650), "frets": 24, "strings": [{"nut_action": mm(0), "action": mm(0)}],
            "pluck_distance": mm(650 * float(row["pluck_p_over_L"])), "amplitude": mm(1),
            "direction": direction, "action_fret": 2,
        }  # fmt: skip
        # only that fret is high enough to be the tightest place of the open string
        found = ask("string-clearance", **body, off_frets=[{"fret": fret, "height": mm(0.9)}])
        margin = found["strings"][0]["positions"][0]["margin"]["value"]
        assert margin == pytest.approx(-0.9 - float(row[column]), abs=2e-5)


# pins string-clearance: amplitude F·p·(1-p)·l/T: 1 N at 130 mm of 650 mm and 72.5 N draws 1.434 mm, by hand
def test_how_far_a_force_draws_it(ask: Ask) -> None:
    body: dict[str, Any] = {
        "scale_length": mm(650), "strings": [{**STRING, "nut_action": mm(1), "action": mm(5)}],
        "pluck_distance": mm(130),
    }  # fmt: skip
    pressed = ask("string-clearance", **body, force=quantity(1, "N"))
    drawn = ask("string-clearance", **body, amplitude=mm(130 / 650 * 520 / 650 * 650 / 72.5))
    assert drawn["strings"][0]["positions"][0] == pressed["strings"][0]["positions"][0]


def test_the_free_force_just_touches(ask: Ask) -> None:
    found = ask("string-clearance", **PLACE, strings=[STRING], **PICK)
    at_5 = found["strings"][0]["positions"][5]
    hardest = ask("string-clearance", **PLACE, strings=[STRING], **PICK | {"force": at_5["free_force"]})
    assert hardest["strings"][0]["positions"][5]["margin"]["value"] == pytest.approx(0, abs=1e-4)
    assert found["tightest"][0]["margin"] == min(
        (each["margin"] for each in found["tightest"]), key=lambda margin: margin["value"]
    )


def test_gaps_at_rest_when_no_pluck_is_named(ask: Ask) -> None:
    # the open string lies nearest to the first fret: its margin is the nut action
    found = ask("string-clearance", **PLACE, strings=[STRING, {**STRING, "nut_action": mm(0.5)}])
    first, second = (each["positions"][0]["margin"]["value"] for each in found["strings"])
    assert (first, second) == pytest.approx((0.4, 0.5), abs=1e-6)


def test_without_a_pull_there_is_no_force(ask: Ask) -> None:
    string = {name: value for name, value in STRING.items() if name != "tension"}
    found = ask("string-clearance", **PLACE, strings=[string], amplitude=mm(0.5))
    assert found["strings"][0]["positions"][3]["free_force"] is None
    assert found["strings"][0]["positions"][3]["free_amplitude"]["value"] > 0


# pins string-clearance: the action found for a margin leaves that margin, asked back
@pytest.mark.parametrize("known", [True, False])
def test_the_action_for_a_margin(ask: Ask, known: bool) -> None:
    string = {name: value for name, value in STRING.items() if known or name != "action"}
    asked = ask("string-clearance", **PLACE, strings=[string], **PICK, margin=mm(0.05))
    assert asked["calculated"] == "action"
    action = asked["actions"][0]["action"]
    if known:  # its slot stays, so its nut action moves a little: the map with the new saddle says so
        line = ask("action-forecast", scale_length=mm(647.7), body_joint_fret=16, held=[1, 22], fret=9,
                   action=mm(1.6), nut_action=mm(0.4), wanted_action=action, relief_change=mm(0))  # fmt: skip
        string = {**string, "nut_action": line["nut_action"]}
    found = ask("string-clearance", **PLACE, strings=[{**string, "action": action}], **PICK)
    least = min(each["margin"]["value"] for each in found["strings"][0]["positions"][1:]
                if each["margin"] is not None)  # fmt: skip
    assert least == pytest.approx(0.05, abs=1e-4)


def test_a_harder_player_needs_more_action(ask: Ask) -> None:
    def action(force: float) -> float:
        pick = PICK | {"force": quantity(force, "N")}
        found = ask("string-clearance", **PLACE, strings=[STRING], **pick, margin=mm(0))
        return float(found["actions"][0]["action"]["value"])

    assert action(1.0) > action(0.5)


def test_a_high_fret_is_touched_first(ask: Ask) -> None:
    off = [{"fret": 10, "height": mm(0.15)}]
    found = ask("string-clearance", **PLACE, strings=[STRING], **PICK, off_frets=off)
    assert found["tightest"][0]["fret"] == 10
    assert found["strings"][0]["positions"][9]["touches"] == 10


# pins string-clearance: where to look when it buzzes; common practice, no published source
@pytest.mark.parametrize(
    ("body", "codes"),
    [
        ({"buzzes_at": [0]}, ["nut-slot"]),
        ({"buzzes_at": [2, 3, 4]}, ["too-straight"]),
        ({"buzzes_at": [7]}, ["high-fret"]),
        ({"buzzes_at": [14, 15]}, ["high-end"]),
        ({"heard_at": "end"}, ["breaking-point"]),
        ({"heard_at": "elsewhere"}, ["hardware"]),
    ],
)
def test_where_to_look_when_it_buzzes(ask: Ask, body: dict[str, Any], codes: list[str]) -> None:
    found = ask("string-clearance", **body)
    assert [cause["code"] for cause in found["causes"]] == codes


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"strings": [{"nut_action": mm(0.4)}]}, "/strings/0/action"),
        ({"strings": [STRING, {"nut_action": mm(0.4), "action": mm(2)}]}, "/strings/1/tension"),
        ({"off_frets": [{"fret": 23, "height": mm(0.1)}]}, "/off_frets/0/fret"),
        ({"action_fret": 23}, "/action_fret"),
        ({"pluck_distance": mm(700)}, "/pluck_distance"),
        ({"amplitude": mm(1)}, "/force"),
        ({"held": [22, 1]}, "/held"),
    ],
)
def test_what_does_not_fit_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    body = {**PLACE, "strings": [STRING], **PICK} | change
    assert pointer in [each["pointer"] for each in refuse("string-clearance", **body)["errors"]]
