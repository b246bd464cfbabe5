"""What a technician could misread, overstep or be left alone with; common practice, no published source."""

from __future__ import annotations

import pytest

from shimstock_calc.plan.wording import plan_text
from tests import cases
from tests.calc.plan_made import (
    GOOD,
    HIGH_NUT,
    YES,
    action,
    codes,
    found,
    intonation,
    kinds,
    nut_action,
    pickup_height,
    plan,
    relief,
)

HEAVIER = {"restring": True, "strings": {"name": "12 to 53 thou", "strings": cases.ACOUSTIC_12}}
LIGHT = {"strings": cases.LIGHT_9}
NO_PULL = [{"given": False, "steps": ["high-pull"]}]
READ = [*GOOD, *pickup_height(2.0), *intonation([0.0] * 6)]
COARSE = {"tool": "steel rule", "resolution": 0.1, "repeatability": 0.09}
BACK_BOW = cases.read("relief", -0.10, cases.DIAL, held=[1, 22], fret=9, method="straightedge")


def bridge(kind, **more):
    return {"bridge": {**cases.TWO_POST, "kind": kind, **more}}


def care(step):
    return {caution.code for caution in step.cautions}


# ---------------------------------------------------------------- strings that do not go on


@pytest.mark.parametrize("delicate", [True, False])
def test_strings_the_owner_refused_change_nothing_after_them(delicate):
    made = plan(READ, instrument={**LIGHT, "delicate": delicate}, wanted=HEAVIER, consents=NO_PULL)
    assert kinds(made) == ["restring"]
    assert [block.code for block in made.steps[0].blocked_by] == ["refused"]
    assert made.finished
    assert not any(change for step in made.steps[1:] for change in step.changes)


def test_what_is_out_is_still_set_with_the_old_strings_after_a_no():
    high = [relief(0.45), *READ[1:]]
    made = plan(high, instrument={**LIGHT, "delicate": True}, wanted=HEAVIER, consents=NO_PULL)
    rod = found(made, "relief")
    assert rod.do_now
    assert rod.changes[0].before == 0.45


def test_readings_are_asked_for_when_the_wanted_strings_are_refused():
    stale = [{**each, "at_pitch": False} for each in READ]
    made = plan(stale, instrument={**LIGHT, "max_total_pull": 500.0}, wanted=HEAVIER)
    assert "too-much-pull" in codes(made)
    assert {"relief", "action"} <= {
        wanted.quantity
        for step in made.steps
        if step.kind == "measure" and step.do_now
        for wanted in step.readings_next
    }


def test_steel_wanted_on_an_instrument_built_for_nylon_is_refused_and_the_setup_goes_on():
    nylon = [{**each, "material": "nylon"} for each in cases.LIGHT_9]
    made = plan(
        [relief(0.45), *READ[1:]],
        instrument={"built_for": "nylon", "strings": nylon},
        wanted={"restring": True, "strings": {"name": "steel", "strings": cases.LIGHT_9}},
    )
    assert "steel-on-nylon" in codes(made)
    assert "restring" not in kinds(made)
    assert found(made, "relief").do_now


def test_an_instrument_built_for_nylon_that_carries_steel_is_never_called_done():
    made = plan(READ, instrument={"built_for": "nylon"})
    assert not made.complete
    assert "slacken them now" in plan_text(made)
    assert "nothing left to do" not in plan_text(made)


@pytest.mark.parametrize("code", ["crack", "bridge-lifting", "neck-joint-loose"])
def test_no_new_strings_and_nothing_else_offered_before_a_structural_repair(code):
    made = plan([relief(0.45), *READ[1:]], wanted={"restring": True}, findings=[{"code": code}])
    assert made.steps == ()
    assert "repair-first" in codes(made)
    assert not {"relief-unreachable", "relief-first"} & codes(made)
    assert "lighter set" not in plan_text(made)


# ---------------------------------------------------------------- tremolos and bridges held by the strings


@pytest.mark.parametrize("kind", ["floating-tremolo", "locking-tremolo"])
def test_the_plate_is_looked_at_after_new_strings_before_anything_is_read(kind):
    before = [{**each, "order": place} for place, each in enumerate(READ)]
    strings = [{"part": "strings", "order": 90}]
    made = plan(before, instrument=bridge(kind), wanted={"restring": True}, adjustments=strings)
    assert kinds(made)[:2] == ["balance", "measure"]
    assert made.steps[0].do_now
    assert not made.steps[0].changes_instrument
    restrung = plan(READ, instrument=bridge(kind), wanted={"restring": True})
    assert restrung.steps[0].readings_next == ()


@pytest.mark.parametrize(
    "kind, wanted", [("movable", "movable"), ("floating-tremolo", "springs"), ("two-post", None)]
)
def test_raising_against_the_strings_says_what_else_holds_the_bridge(kind, wanted):
    low = plan([relief(0.20), *action(1.2, 1.0), *nut_action(0.45, 0.35)], instrument=bridge(kind))
    assert {"posts-slacken", *([wanted] if wanted else [])} <= care(found(low, "action"))
    assert ("movable" in care(found(low, "action"))) == (kind == "movable")
    high = plan([relief(0.20), *action(2.2, 1.9), *nut_action(0.45, 0.35)], instrument=bridge(kind))
    assert not {"posts-slacken", "movable", "springs"} & care(found(high, "action"))


def test_saddles_of_two_strings_are_never_written_as_a_half():
    made = plan(
        [relief(0.20), *action(2.2, 1.9), *nut_action(0.45, 0.35)],
        instrument=bridge("paired-saddles", height_thread_pitch=0.5, screws_per_saddle=1),
    )
    text = found(made, "action").what.text()
    assert "1/2:" not in text
    assert "of strings 1 and 2" in text


# ---------------------------------------------------------------- relief that cannot be had


def test_no_rod_no_work_on_the_rod_and_a_way_on():
    made = plan([relief(0.45), *READ[1:]], instrument={"rod": {"kind": "none"}})
    text = plan_text(made)
    assert "work on the rod" not in text
    assert "accept its reading with a note" in text
    accepted = plan(
        [relief(0.45, accepted=True), *action(2.2, 1.9), *nut_action(0.45, 0.35)],
        instrument={"rod": {"kind": "none"}},
    )
    assert found(accepted, "action").do_now


def test_an_old_finish_is_never_heated():
    loose = {"rod": {"kind": "single-action", "turns_left_loosen": 0.0}}
    assert "heat treatment" in plan_text(plan([BACK_BOW, *READ[1:]], instrument=loose))
    old = plan([BACK_BOW, *READ[1:]], instrument={**loose, "delicate_finish": True})
    assert "heat treatment" not in plan_text(old)


@pytest.mark.parametrize(
    "reading, code",
    [
        (BACK_BOW, "relief-zero-or-less"),
        ({**BACK_BOW, "value": 0.0}, "relief-zero-or-less"),
    ],
)
def test_nothing_is_filed_on_a_relief_of_nothing(reading, code):
    def filing(accepted):
        # read twice, so that it is not asked for again
        made = plan([{**reading, "accepted": accepted}] * 2 + HIGH_NUT[1:], consents=YES)
        return next((step for step in made.steps if step.kind == "nut"), None)

    assert filing(False) is None or not filing(False).do_now
    assert code in {block.code for block in filing(True).blocked_by}


def test_nothing_is_filed_while_relief_is_worth_another_reading():
    made = plan([relief(0.29), *HIGH_NUT[1:]], consents=YES)
    assert kinds(made)[0] == "read-again"
    assert "relief-too-close" in {block.code for block in found(made, "nut").blocked_by}
    assert found(plan([relief(0.29, accepted=True), *HIGH_NUT[1:]], consents=YES), "nut").do_now


# ---------------------------------------------------------------- what was found


def test_a_slot_found_too_low_is_not_filed():
    made = plan(HIGH_NUT, consents=YES, findings=[{"code": "nut-slot-low", "string": 6}])
    assert [move.string for move in found(made, "nut").moves] == [1]
    assert "a nut slot is too low (string 6)" in plan_text(made)


def test_a_damaged_string_is_said_until_the_strings_are_changed():
    seen = [{"code": "string-damaged", "string": 3, "order": 1}]
    assert "a string is damaged and may break: mind your eyes (string 3)" in plan_text(
        plan(READ, findings=seen)
    )
    changed = plan(READ, findings=seen, adjustments=[{"part": "strings", "order": 90}])
    assert "string-damaged" not in codes(changed)


@pytest.mark.parametrize("humidity, told", [(28.0, "no verdict on the frets yet"), (45.0, "dress the fret")])
def test_no_verdict_on_frets_in_dry_air(humidity, told):
    read = [{**each, "humidity": humidity} for each in READ]
    assert told in plan_text(plan(read, findings=[{"code": "fret-ends-sharp"}]))


def test_a_loose_fret_is_marked_and_quoted_not_worked_on_without_a_yes():
    step = found(plan(READ, findings=[{"code": "fret-loose", "fret": 7}]), "fret-check")
    assert not step.changes_instrument
    assert "seat what" not in step.what.text()


# ---------------------------------------------------------------- saddles, pickups, words


def test_a_saddle_comes_out_with_slack_strings_and_within_its_limits():
    spec = [each for each in cases.electric_spec([1, 22], 9) if each["quantity"] != "pickup-height"]
    out = cases.sides("saddle-out", 4.0, 4.0, cases.DEPTH)
    for heights in ((2.2, 1.9), (1.2, 1.0)):
        made = plan(
            [relief(0.20), *action(*heights), *nut_action(0.45, 0.35), *out],
            instrument={"bridge": {"kind": "fixed-saddle", "string_spread": 54.0}, "pickups": []},
            spec=spec,
            consents=YES,
        )
        assert {"saddle-slacken", "saddle-limits"} <= care(found(made, "action"))


def test_a_saddle_at_its_least_height_gives_nothing_not_a_zero():
    case = cases.acoustic(2.0, 2.0)
    text = plan_text(plan(case["readings"], instrument=case["instrument"], spec=case["spec"]))
    assert "nothing may come off" in text
    assert "0.00 mm may" not in text


def test_a_pickup_without_screws_is_said_and_not_forgotten():
    made = plan(
        [*GOOD, *pickup_height(3.0), *intonation([0.0] * 6)],
        instrument={
            "pickups": [{"name": "neck pickup", "screw": None}, {"name": "bridge pickup", "screw": None}]
        },
    )
    assert [note.code for note in made.notes].count("pickup-fixed") == 2


def test_pickup_sides_that_move_alike_are_said_once():
    step = found(plan([*GOOD, *pickup_height(3.0), *intonation([0.0] * 6)]), "pickups")
    assert step.what.text().count("raise") == 2
    assert "bass and treble side: raise 1 5/8 turns (clockwise, seen from above)" in step.what.text()


def test_a_string_number_never_stands_beside_the_number_that_belongs_to_it():
    step = found(plan([*GOOD, *pickup_height(2.0), *intonation([5, -5, 8, 0, 0, 0])]), "intonation")
    assert "string 1: 1.82 mm away from the nut (3 5/8 turns clockwise)" in step.what.text()


def test_strings_in_a_row_are_named_in_short():
    text = plan_text(plan([*GOOD, *pickup_height(2.0)]))
    assert "Measure intonation of strings 1 to 6" in text


def test_twist_is_asked_for_by_what_it_is():
    spec = [*cases.electric_spec([1, 22], 9), cases.item("twist", 0.0, -0.1, 0.1)]
    step = next(each for each in plan(READ, spec=spec).steps if "twist" in each.what.text())
    assert step.why is not None
    assert "bass side minus relief on the treble side" in step.why.text()
