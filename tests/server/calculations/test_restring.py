"""A restring's forecast over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.calculations.conftest import Ask, mm, quantity

NOTES = ["E4", "B3", "G3", "D3", "A2", "E2"]
# plain gauges, then (gauge, core) of the wound ones, thousandths of an inch: an ordinary layout, invented
LIGHT = [9, 11, 16, (24, 13), (32, 14), (42, 15)]
REGULAR = [10, 13, 17, (26, 13.5), (36, 14.5), (46, 16)]
NECK: dict[str, Any] = {"scale_length": mm(647.7), "body_joint_fret": 16, "held": [1, 22], "fret": 9}


def strings(layout: list[Any], notes: list[str] = NOTES) -> list[dict[str, Any]]:
    """Return a set as it stands in a request."""
    made = []
    for number, (size, note) in enumerate(zip(layout, notes, strict=True), start=1):
        gauge, core = size if isinstance(size, tuple) else (size, None)
        string: dict[str, Any] = {"number": number, "note": note, "gauge": quantity(gauge, "thou")}
        if core is not None:
            string |= {
                "wound": True,
                "core": quantity(core, "thou"),
                "core_shape": "hex",
                "wrap_material": "nickel",
            }
        made.append(string)
    return made


def alone(pull: float) -> list[dict[str, Any]]:
    """Return a set of one string that pulls so hard at 100 Hz on 647.7 mm [N]."""
    mass = pull * 1e3 / (2 * 0.6477 * 100) ** 2
    return [{"number": 1, "frequency": quantity(100, "Hz"), "linear_density": quantity(mass, "g/m")}]


# pins restring-forecast: +82.3 N on 647.7 mm, joint 16, held 1-22 read at 9: relief 0.20 -> 0.297, action
#     1.96 / 1.76, springs +22.5 %; beam by hand
def test_a_floating_tremolo_with_a_heavier_set(ask: Ask) -> None:
    neck = NECK | {"relief": mm(0.2), "action_bass": mm(1.8), "action_treble": mm(1.6)}
    found = ask("restring-forecast", old=alone(365), new=alone(447.3), scale_length=mm(647.7), neck=neck)
    assert found["pull_change"]["value"] == pytest.approx(82.3, abs=0.01)
    assert found["pull_share"]["value"] == pytest.approx(22.5, abs=0.1)
    assert found["relief"]["value"]["value"] == pytest.approx(0.297, abs=1e-3)
    assert found["relief"]["low"]["value"] == pytest.approx(0.2 + 0.097 / 2, abs=1e-3)
    assert found["relief"]["high"]["value"] == pytest.approx(0.2 + 0.097 * 2, abs=2e-3)
    assert found["action_bass"]["value"]["value"] == pytest.approx(1.96, abs=5e-3)
    assert found["action_treble"]["value"]["value"] == pytest.approx(1.76, abs=5e-3)


# pins restring-forecast: an electric set pulls 345 to 400 N light, 430 to 485 N regular, common practice
def test_sets_pull_what_a_technician_expects(ask: Ask) -> None:
    found = ask("restring-forecast", old=strings(LIGHT), new=strings(REGULAR), scale_length=mm(647.7))
    assert 345 < found["old_total"]["value"] < 400
    assert 430 < found["new_total"]["value"] < 485
    assert found["relief_change"]["value"]["value"] > 0
    assert found["intonation_again"]
    assert found["relief"] is None
    back = ask("restring-forecast", old=strings(REGULAR), new=strings(LIGHT), scale_length=mm(647.7))
    assert back["relief_change"]["value"]["value"] < 0


# pins restring-forecast: raising relief by 0.20 mm takes about +178 N of pull on 647.7 mm held 1-21, beam
#     by hand
def test_how_much_pull_a_change_of_relief_takes(ask: Ask) -> None:
    neck = NECK | {"held": [1, 21], "fret": 8}
    found = ask("restring-forecast", relief_change=mm(0.2), neck=neck)
    assert found["calculated"] == "pull_change"
    assert found["pull_change"]["value"] == pytest.approx(178, abs=1.5)
    assert "factor 2" in found["note"][0]


def test_a_learned_compliance_takes_the_place_of_the_estimate(ask: Ask) -> None:
    found = ask("restring-forecast", relief_change=mm(0.2), compliance=quantity(0.002, "mm/N"))
    assert found["pull_change"]["value"] == pytest.approx(100)
    assert found["note"] == []


def test_how_high_a_set_may_be_tuned(ask: Ask, refuse: Ask) -> None:
    found = ask("restring-forecast", new=strings(REGULAR), scale_length=mm(647.7))
    assert found["bounded_by"] == "string 1"
    shift = found["tuning_shift"]["value"]
    top = found["highest"][0]["frequency"]["value"]
    assert top == pytest.approx(329.6276 * 2 ** (shift / 1200), rel=1e-6)
    assert found["highest"][0]["nearest_note"] == "G4"


def test_a_set_that_would_break_is_refused_by_the_string(refuse: Ask) -> None:
    new = strings(REGULAR, ["B4", *NOTES[1:]])
    problem = refuse("restring-forecast", old=strings(LIGHT), new=new, scale_length=mm(647.7))
    assert problem["reason"] == "string-breaking"
    assert "string 1 at B4" in problem["detail"]
    assert problem["errors"][0]["pointer"] == "/new"


def test_steel_on_an_instrument_built_for_nylon_is_refused(refuse: Ask) -> None:
    problem = refuse(
        "restring-forecast", old=strings(LIGHT), new=strings(LIGHT), scale_length=mm(650), built_for="nylon"
    )
    assert problem["reason"] == "refused"
    assert "nylon" in problem["detail"]
    assert problem["errors"][0]["pointer"] == "/new"
    alone = refuse("restring-forecast", new=strings(LIGHT), scale_length=mm(650), built_for="nylon")
    assert alone["reason"] == "refused"


def test_more_pull_than_the_instrument_allows_is_refused(refuse: Ask) -> None:
    problem = refuse(
        "restring-forecast",
        old=strings(LIGHT),
        new=strings(REGULAR),
        scale_length=mm(647.7),
        greatest_pull=quantity(400, "N"),
    )
    assert problem["reason"] == "refused"
    assert "400 N" in problem["detail"]


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"note": "H3"}, "/new/2/note"),
        ({"core": mm(0.2), "wound": True}, "/new/2/linear_density"),
        ({"core": mm(0.9), "wound": True, "wrap_material": "nickel"}, "/new/2/core"),
        ({"frequency": quantity(196, "Hz")}, "/new/2/frequency"),
    ],
)
def test_what_is_wrong_with_a_string_is_said_of_that_string(
    refuse: Ask, change: dict[str, Any], pointer: str
) -> None:
    new = strings(REGULAR)
    new[2] |= change
    problem = refuse("restring-forecast", old=strings(LIGHT), new=new, scale_length=mm(647.7))
    assert problem["errors"][0]["pointer"] == pointer


def test_a_slot_is_judged_by_its_width(ask: Ask) -> None:
    new = strings(REGULAR)
    new[0]["slot_width"], new[1]["slot_width"] = quantity(10, "thou"), quantity(16, "thou")
    found = ask("restring-forecast", old=strings(LIGHT), new=new, scale_length=mm(647.7))
    assert [each["slot"] for each in found["strings"][:2]] == ["too tight", "wide enough"]
    assert any("needs the owner's consent" in note for note in found["note"])
