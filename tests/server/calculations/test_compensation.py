"""Compensation over HTTP."""

from __future__ import annotations

import math
from typing import Any

import pytest

from tests.reference import load
from tests.server.calculations.conftest import Ask, mm, quantity

# The published guitar: 650 mm, nut 1 mm above the frets, saddle 4 mm above the nut.
GUITAR: dict[str, Any] = {"scale_length": mm(650), "slot_height": mm(1), "saddle_height": mm(5)}
NYLON: dict[str, Any] = {"stretch": 51.0, "stiffness": 0.00236}
STEEL: dict[str, Any] = {"core": mm(0.4318), "tension": quantity(76, "N")}


# pins compensation: M. B. Anderson & R. G. Beausoleil, J. Acoust. Soc. Am. 156(1), 683 (2024): every setback
#     of tests/reference/compensation.csv, within 0.011 mm
@pytest.mark.parametrize("row", load.table("compensation"), ids=lambda row: f"{row['set']} {row['string']}")
def test_published_setbacks(ask: Ask, row: dict[str, str]) -> None:
    found = ask("compensation", **GUITAR, stretch=float(row["kappa"]), stiffness=float(row["B0"]))
    assert found["saddle_setback"]["value"] == pytest.approx(float(row["dS_pub_mm"]), abs=0.011)
    assert found["nut_setback"]["value"] == pytest.approx(float(row["dN_pub_mm"]), abs=0.006)
    # the source counts the open string, which is in tune, as a thirteenth note
    rms = found["rms"]["value"] * math.sqrt(12 / 13)
    assert rms == pytest.approx(float(row["rms_pub_cents"]), abs=0.002)
    measured = ask("compensation", **GUITAR, stretch_coefficient=float(row["R"]), stiffness=float(row["B0"]))
    assert measured["stretch"] == pytest.approx(float(row["kappa"]), abs=0.11)


# pins compensation: the causes at every fret of the source's default guitar, to 0.001 cents
@pytest.mark.parametrize(
    "row", load.rows("intonation_default_guitar", case="uncomp_d0"), ids=lambda row: row["fret"]
)
def test_why_each_fret_is_sharp(ask: Ask, row: dict[str, str]) -> None:
    fret = int(row["fret"])
    found = ask("compensation", **GUITAR, stretch=51.0, core=mm(0.86), saddle_setback=mm(0))
    assert found["calculated"] == "intonation"
    note = found["frets"][fret - 1]
    for cause in ("length", "mass", "tension"):
        assert note[cause]["value"] == pytest.approx(float(row[f"{cause}_cents"]), abs=1e-3)


def test_setbacks_found_leave_what_they_say(ask: Ask) -> None:
    found = ask("compensation", **GUITAR, **NYLON)
    ends = {name: found[name] for name in ("saddle_setback", "nut_setback")}
    judged = ask("compensation", **GUITAR, **NYLON, **ends)
    assert judged["rms"]["value"] == pytest.approx(found["rms"]["value"], abs=1e-4)
    nudged = ends | {"saddle_setback": mm(ends["saddle_setback"]["value"] + 0.2)}
    assert ask("compensation", **GUITAR, **NYLON, **nudged)["rms"]["value"] > found["rms"]["value"]


def test_the_saddle_alone_when_the_nut_stays(ask: Ask) -> None:
    alone = ask("compensation", **GUITAR, **NYLON, move_nut=False)
    both = ask("compensation", **GUITAR, **NYLON)
    assert alone["nut_setback"]["value"] == 0.0
    assert alone["rms"]["value"] > both["rms"]["value"]
    # a saddle goes away from the nut, a nut toward the saddle; common practice, no published source
    assert alone["saddle_setback"]["value"] > 0 > both["nut_setback"]["value"]


# pins compensation: kappa = A·E/T of a plain steel .017 at 76 N, by hand
def test_a_steel_string_from_its_core(ask: Ask) -> None:
    found = ask("compensation", **GUITAR, **STEEL)
    kappa = math.pi / 4 * 0.4318**2 * 203400 / 76
    assert found["stretch"] == pytest.approx(kappa, rel=1e-9)
    assert found["stiffness"] == pytest.approx(math.sqrt(kappa) * 0.4318 / 2 / 1300, rel=1e-9)
    stated = ask("compensation", **GUITAR, **STEEL, modulus=quantity(203.4, "GPa"))
    assert stated["saddle_setback"] == found["saddle_setback"]
    hexagon = ask("compensation", **GUITAR, **STEEL, core_shape="hex")
    assert hexagon["stretch"] == pytest.approx(math.sqrt(3) / 2 * 0.4318**2 * 203400 / 76, rel=1e-9)


def test_a_string_pressed_harder_or_lifted_is_sharper(ask: Ask) -> None:
    def first(**change: Any) -> float:
        found = ask("compensation", **GUITAR | change, **NYLON, saddle_setback=mm(0))
        return float(found["frets"][0]["intonation"]["value"])

    assert first(slot_height=mm(1.3)) > first()
    assert first(pressing_distance=mm(10)) > first()


def test_the_two_actions_instead_of_the_heights(ask: Ask) -> None:
    place = {"scale_length": mm(650), "relief": mm(0.25), "body_joint_fret": 12, "held": [1, 19], "fret": 8}
    bowed = ask("compensation", **place, nut_action=mm(0.75), action=mm(3.6), **NYLON)
    heights = {name: bowed[name] for name in ("slot_height", "saddle_height")}
    assert heights["slot_height"]["value"] > 0
    again = ask("compensation", **place, **heights, **NYLON)
    assert again["saddle_setback"]["value"] == pytest.approx(bowed["saddle_setback"]["value"], abs=1e-4)
    straight = {"scale_length": mm(650), "nut_action": mm(0.75), "action": mm(3.6)}
    level = ask("compensation", **straight, **NYLON)
    # level, by hand: the line through 0.75 over fret 1 and 3.6 over fret 12
    slope = (3.6 - 0.75) / (325 - 36.481697)
    assert level["slot_height"]["value"] == pytest.approx(0.75 - slope * 36.481697, abs=1e-6)
    assert level["saddle_height"]["value"] == pytest.approx(3.6 + slope * 325, abs=1e-5)


@pytest.mark.parametrize(
    ("change", "pointer"),
    [
        ({"stretch": 51.0, "stretch_coefficient": 25.0, "stiffness": 0.002}, "/stretch_coefficient"),
        ({"tension": quantity(70, "N"), "stiffness": 0.002}, "/stiffness"),
        ({"stretch": 51.0}, "/stiffness"),
        ({**NYLON, "relief": mm(0.2)}, "/body_joint_fret"),
        ({**NYLON, "pressing_distance": mm(29)}, "/pressing_distance"),
        ({**STEEL, "tension": quantity(0.5, "N")}, "/tension"),
    ],
)
def test_what_is_missing_or_too_much_is_named(refuse: Ask, change: dict[str, Any], pointer: str) -> None:
    assert refuse("compensation", **GUITAR, **change)["errors"][0]["pointer"] == pointer


def test_a_saddle_below_the_frets_is_refused(refuse: Ask) -> None:
    body = {"scale_length": mm(650), "nut_action": mm(3.0), "action": mm(1.0), **NYLON}
    assert refuse("compensation", **body)["errors"][0]["pointer"] == "/action"
