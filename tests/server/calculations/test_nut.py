"""Nut slots over HTTP."""

from __future__ import annotations

from typing import Any

import pytest

from tests.server.calculations.conftest import Ask, mm, quantity

SPEC: dict[str, Any] = {"target": mm(0.45), "lower": mm(0.35), "upper": mm(0.60)}


# pins nut-slots: filing stops at target + 2u, judgement
def test_filing_stops_at_target_plus_twice_the_uncertainty(ask: Ask) -> None:
    found = ask("nut-slots", nut_action=mm(0.70), **SPEC, uncertainty=mm(0.03))
    assert found["stop"] == mm(0.51)
    assert found["nut_action_change"]["value"] == pytest.approx(-0.19)
    assert found["slot_lowered"]["value"] == pytest.approx(0.19 / 0.944, abs=1e-3)
    assert "reading after every pass" in found["note"][0]


def test_the_tool_gives_the_uncertainty(ask: Ask) -> None:
    # JCGM 100:2008 F.2.2.1: the larger of 0.03 and 0.05/√12
    by_tool = ask("nut-slots", nut_action=mm(0.70), **SPEC, repeatability=mm(0.03), resolution=mm(0.05))
    assert by_tool["stop"] == mm(0.51)


def test_a_slot_below_its_lower_limit_is_never_filed(refuse: Ask) -> None:
    problem = refuse("nut-slots", nut_action=mm(0.30), **SPEC, uncertainty=mm(0.03))
    assert problem["reason"] == "refused"
    assert "fill it or replace the nut" in problem["detail"]
    assert problem["errors"][0]["pointer"] == "/nut_action"


def test_a_tool_too_coarse_is_refused_by_what_was_given(refuse: Ask) -> None:
    problem = refuse("nut-slots", nut_action=mm(0.70), **SPEC, resolution=mm(0.5))
    assert "too coarse" in problem["detail"]
    assert problem["errors"][0]["pointer"] == "/resolution"


# pins nut-slots: a slot lowered by s lowers nut action by 0.944·s and action by s/2, a straight string
def test_what_a_slot_does_and_the_way_back(ask: Ask) -> None:
    found = ask("nut-slots", slot_lowered=mm(0.2))
    assert found["nut_action_change"]["value"] == pytest.approx(-0.2 * 2 ** (-1 / 12), abs=1e-6)
    assert found["action_change"]["value"] == pytest.approx(-0.1)
    back = ask("nut-slots", nut_action_change=found["nut_action_change"])
    assert back["slot_lowered"]["value"] == pytest.approx(0.2, abs=1e-5)


# pins nut-slots: a slot 0.2 mm above 0.45 mm sharpens fret 1 by 0.61 c (.010) to 1.72 c (.017), computed by
#     hand from stretch E·A·Q/T
@pytest.mark.parametrize(("gauge", "note", "cents"), [(10, "E4", 0.61), (17, "G3", 1.72)])
def test_a_high_slot_sharpens_the_first_fret(ask: Ask, gauge: float, note: str, cents: float) -> None:
    string = {"gauge": quantity(gauge, "thou"), "scale_length": mm(647.7)}
    string["tension"] = ask("string-tension", note=note, **string)["tension"]
    found = ask("nut-slots", nut_action=mm(0.65), target=mm(0.45), **string)
    assert found["sharper_than_target"]["value"] == pytest.approx(cents, abs=0.01)
    back = ask("nut-slots", most_sharp=found["sharp"], **string)
    assert back["nut_action"]["value"] == pytest.approx(0.65, abs=1e-4)


def test_a_string_needs_room_in_its_slot(ask: Ask) -> None:
    assert ask("nut-slots", gauge=quantity(10, "thou"), slot_width=quantity(13, "thou"))["fits"] is True
    tight = ask("nut-slots", gauge=quantity(12, "thou"), slot_width=quantity(12, "thou"))
    assert tight["fits"] is False
    assert "too tight" in tight["note"][0]
