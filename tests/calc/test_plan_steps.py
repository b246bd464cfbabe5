"""Which steps the plan makes: bridge kinds, strings, break clearance, pickups, intonation."""

from __future__ import annotations

import pytest

from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.wording import plan_text
from shimstock_calc.restring import FittedString, NeckReadings, restring_forecast
from tests import cases
from tests.calc.plan_inputs import plan_input
from tests.calc.plan_made import (
    CASE,
    GOOD,
    HIGH,
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
    turned,
)

# ---------------------------------------------------------------- bridge kinds


def bridge(kind, **more):
    return {"bridge": {"kind": kind, "string_spread": 52.0, **more}}


def test_heights_of_sides_and_of_single_strings_are_told_apart():
    own = cases.read("action", 2.3, cases.DEPTH, string=3, fret=12)
    spec = [*CASE["spec"], {"quantity": "action", "string": 3, "target": 1.6, "lower": 1.35, "upper": 1.85,
                            "fret": 12}]  # fmt: skip
    made = plan([*HIGH, own], instrument=bridge("individual-saddles", height_thread_pitch=0.5), spec=spec)
    text = plan_text(made)
    assert "action 2.20 / 1.90 mm" in text
    assert "action of string 3 2.30 mm" in text


@pytest.mark.parametrize(
    "kind, more, noun, lower",
    [
        ("two-post", {"post_spacing": 74.0}, "post", "clockwise"),
        ("one-piece", {"post_spacing": 82.0}, "stud", "clockwise"),
        ("movable", {"post_spacing": 74.0}, "thumbwheel", "clockwise"),
        ("floating-tremolo", {"post_spacing": 74.0}, "pivot", "clockwise"),
        ("locking-tremolo", {"post_spacing": 74.0}, "pivot", "clockwise"),
        ("individual-saddles", {}, "saddle", "counter-clockwise"),
        ("resting-tremolo", {}, "saddle", "counter-clockwise"),
        ("paired-saddles", {}, "saddle", "counter-clockwise"),
    ],
)
def test_every_bridge_kind_lowers_high_action_the_right_way(kind, more, noun, lower):
    # clockwise lowers a post and raises a single saddle; common practice, no published source
    made = plan(HIGH, instrument=bridge(kind, height_thread_pitch=1.0, **more))
    step = found(made, "action")
    assert step.do_now
    assert noun in step.what.text().lower()
    assert {move.direction for move in turned(step)} == {"lower"}
    assert all(move.seen.startswith(lower) for move in turned(step))
    for change in step.changes:
        assert abs(change.after - change.target) <= 0.05


def test_a_left_hand_thread_turns_the_other_way():
    right = plan(HIGH, instrument=bridge("two-post", post_spacing=74.0, height_thread_pitch=1.25))
    left = plan(
        HIGH,
        instrument=bridge("two-post", post_spacing=74.0, height_thread_pitch=1.25, left_hand_thread=True),
    )
    assert {move.seen for move in turned(found(right, "action"))} == {"clockwise, seen from above"}
    assert {move.seen for move in turned(found(left, "action"))} == {"counter-clockwise, seen from above"}


def test_raising_posts_slackens_the_strings_and_lowering_does_not():
    low = plan([relief(0.20), *action(1.2, 1.0), *nut_action(0.45, 0.35)])
    assert "posts-slacken" in {caution.code for caution in found(low, "action").cautions}
    assert "posts-slacken" not in {caution.code for caution in found(plan(HIGH), "action").cautions}


def test_a_bridge_at_its_end_says_so_and_offers_a_shim():
    instrument = {
        **bridge("two-post", post_spacing=74.0, height_thread_pitch=1.25, height_left_down=0.3),
        "neck_joint": {"kind": "bolt-on", "pocket_length": 76.0},
    }
    made = plan(HIGH, instrument=instrument)
    assert all(abs(move.amount) <= 0.3 for move in found(made, "action").moves)
    note = next(each for each in made.notes if each.code == "action-unreachable")
    assert any("shim" in line.text() for line in note.alternatives)


def test_an_in_spec_side_is_left_alone():
    made = plan(
        [relief(0.20), *action(2.2, 1.5), *nut_action(0.45, 0.35)],
        instrument=bridge("individual-saddles", height_thread_pitch=0.5),
    )
    moves = {move.string: move for move in found(made, "action").moves}
    assert moves[1].turns == 0.0
    assert moves[6].turns < 0


def test_a_saddle_that_must_rise_keeps_half_of_it_in_its_slot():
    case = cases.acoustic(4.0, 4.0)
    instrument = {**case["instrument"], "bridge": {"kind": "fixed-saddle", "saddle_total_height": [9.0, 9.0]}}
    readings = [
        case["readings"][0],
        *cases.sides("action", 1.5, 1.2, cases.DEPTH, fret=12),
        *[each for each in case["readings"] if each["quantity"] in {"nut-action", "saddle-out"}],
    ]
    made = make_plan(plan_input(case, instrument=instrument, readings=readings))
    step = found(made, "action")
    assert [(move.direction, move.amount) for move in step.moves] == [("shim", 0.5), ("shim", 0.5)]
    assert not step.irreversible
    assert "saddle-half" in codes(made)


def test_an_undersaddle_pickup_keeps_the_saddle_flat():
    case = cases.acoustic(4.6, 4.2)
    instrument = {**case["instrument"], "bridge": {"kind": "fixed-saddle", "undersaddle_pickup": True}}
    made = make_plan(plan_input(case, instrument=instrument))
    assert "undersaddle" in {caution.code for caution in found(made, "action").cautions}


def test_a_saddle_is_not_filed_before_its_height_is_known():
    case = cases.acoustic(4.6, 4.2)
    readings = [each for each in case["readings"] if each["quantity"] != "saddle-out"]
    made = make_plan(plan_input(case, readings=readings))
    assert "action" not in kinds(made)
    assert [wanted.quantity for wanted in made.steps[0].readings_next] == ["saddle-out"] * 4


def test_nylon_keeps_less_of_the_saddle_out():
    case = cases.acoustic(3.2, 2.6)
    spec = [each for each in case["spec"] if each["quantity"] != "saddle-out"]
    nylon = [{**each, "material": "nylon"} for each in case["instrument"]["strings"]]
    instrument = {**case["instrument"], "built_for": "nylon", "strings": nylon}
    made = make_plan(plan_input(case, spec=spec, instrument=instrument))
    assert [move.amount for move in found(made, "action").moves] == pytest.approx([1.6, 1.1])


@pytest.mark.parametrize("code", ["bridge-lifting", "crack", "neck-joint-loose"])
def test_structure_is_repaired_before_anything_is_turned(code):
    made = plan(HIGH_NUT[:1] + HIGH[1:], consents=YES, findings=[{"code": code}])
    assert not any(step.changes_instrument for step in made.steps)
    assert any(note.code == code and note.quote for note in made.notes)


# ---------------------------------------------------------------- strings


def test_steel_strings_on_an_instrument_built_for_nylon_are_refused():
    made = plan(GOOD, instrument={"built_for": "nylon"})
    assert made.steps == ()
    assert "steel-on-nylon" in codes(made)


def restring(densities=None, factor=1.0, **instrument):
    strings = [{**each, "frequency": each["frequency"] * factor} for each in cases.LIGHT_10]
    wanted = {"restring": True, "strings": {"name": "the new set", "strings": strings}}
    return plan(GOOD, wanted=wanted, instrument={"strings": cases.LIGHT_9, **instrument})


def test_more_pull_than_the_model_allows_is_refused():
    made = restring(max_total_pull=400.0)
    assert "restring" not in kinds(made)
    assert "too-much-pull" in codes(made)


def test_a_string_beyond_its_strength_is_refused_and_near_it_noted():
    # plain steel .010 at 628.65 mm, E4: 0.50 of its strength (Shigley Table 10-4), growing as pitch squared
    assert "string-breaking" in codes(restring(factor=1.45))
    assert "restring" not in kinds(restring(factor=1.45))
    assert "string-near-breaking" in codes(restring(factor=1.30))
    assert "string-near-breaking" not in codes(restring())


@pytest.mark.parametrize(
    "change, numbers, why",
    [
        ({"core_diameter": None}, "strings 4 to 6", "core diameter is not known"),
        ({"material": "nylon"}, "strings 4 to 6", "strength of nylon"),
        ({"core_diameter": 0.4, "linear_density": None}, "strings 4 to 6", "linear density is not known"),
    ],
)
def test_a_margin_that_nobody_knows_is_told_with_what_would_make_it_known(change, numbers, why):
    strings = [{**each, **change} if each["wound"] else each for each in cases.LIGHT_10]
    made = plan(GOOD, wanted={"restring": True, "strings": {"name": "new", "strings": strings}})
    (note,) = [each for each in made.notes if each.code == "margin-unknown"]
    assert note.text.text().startswith(f"{numbers}: margin against breaking unknown")
    assert why in note.text.text()
    assert "margin-unknown" in {caution.code for caution in found(made, "restring").cautions}


def test_no_margin_is_called_unknown_where_every_core_is_known():
    strings = [{**each, "core_diameter": 0.4 if each["wound"] else None} for each in cases.LIGHT_10]
    made = plan(GOOD, wanted={"restring": True, "strings": {"name": "new", "strings": strings}})
    assert "margin-unknown" not in codes(made)
    assert "margin-unknown" not in {caution.code for caution in found(made, "restring").cautions}


def test_strings_that_are_on_it_already_are_held_to_the_limits_too():
    assert not {"too-much-pull", "string-breaking", "string-near-breaking"} & set(codes(plan(GOOD)))
    strings = [{**each, "frequency": each["frequency"] * 1.45} for each in cases.LIGHT_10]
    made = plan(GOOD, instrument={"strings": strings, "max_total_pull": 400.0})
    said = {note.code: note.text.text() for note in made.notes}
    assert said["too-much-pull"].startswith("the strings on it pull")
    assert said["too-much-pull"].endswith("this model allows 400 N: slacken them now")
    # as above: 0.50 of its strength, growing as pitch squared
    assert said["string-breaking"].startswith("do not tune up to pitch: string 1 would stand at 105")


def mystery(**instrument):
    strings = [{**each, "linear_density": None} if each["wound"] else each for each in cases.LIGHT_10]
    wanted = {"restring": True, "strings": {"name": "the mystery set", "strings": strings}}
    return plan(GOOD, wanted=wanted, instrument=instrument)


def test_strings_of_unknown_pull_are_not_said_to_pull_the_same():
    made = mystery(max_total_pull=500.0)
    (note,) = [each for each in made.notes if each.code == "pull-unknown"]
    assert "the pull of the mystery set is not known" in note.text.text()
    assert "500 N" in note.text.text()
    assert "the same pull" not in found(made, "restring").why.text()
    assert found(made, "restring").blocked_by == ()


def test_a_delicate_instrument_takes_strings_of_unknown_pull_only_on_a_consent():
    assert [block.code for block in found(mystery(delicate=True), "restring").blocked_by] == ["consent"]


def test_the_limit_holds_although_the_pull_of_the_old_strings_is_not_known():
    old = [{**each, "linear_density": None} if each["wound"] else each for each in cases.LIGHT_9]
    assert "too-much-pull" in codes(restring(max_total_pull=400.0, strings=old))


def test_a_delicate_instrument_takes_heavier_strings_only_on_a_consent_that_names_it():
    made = restring(delicate=True)
    assert [block.code for block in found(made, "restring").blocked_by] == ["consent"]


def test_the_plan_forecasts_new_strings_as_the_calculation_by_itself_does():
    # two ways through the module that share the beam estimate and the coupling, and nothing else
    def fitted(strings):
        return [
            FittedString(
                number=each["number"],
                frequency=each["frequency"],
                scale_length=647.7,
                kind="wound" if each["wound"] else "plain",
                gauge=each["gauge"],
                linear_density=each["linear_density"],
            )
            for each in strings
        ]

    neck = NeckReadings(647.7, 16, (1, 22), 9, 0.20, 1.8, 1.6, 0.45, 0.36)
    alone = restring_forecast(fitted(cases.LIGHT_9), fitted(cases.LIGHT_10), neck=neck)
    step = found(make_plan(plan_input(cases.FLOATING_TREMOLO)), "restring")
    after = {(change.quantity, change.side): change.after for change in (*step.changes, *step.forecasts)}
    assert after["relief", None] == pytest.approx(alone.relief.value, abs=1e-9)
    assert after["action", "bass"] == pytest.approx(alone.action_bass.value, abs=1e-9)
    assert after["nut-action", "treble"] == pytest.approx(alone.nut_action_treble.value, abs=1e-9)


def test_a_slot_too_narrow_for_the_new_string_is_said():
    made = restring(nut={"slot_widths": {"1": 0.26, "6": 1.30}})
    assert [note.text.text() for note in made.notes if note.code == "slot-too-narrow"] == [
        "nut slot 1 is 0.260 mm wide, too narrow for a string of 0.254 mm"
    ]


def test_a_change_of_strings_that_was_done_is_not_asked_for_again():
    made = plan(GOOD, wanted={"restring": True}, adjustments=[{"part": "strings", "order": 0}])
    assert "restring" not in kinds(made)


@pytest.mark.parametrize(
    "code, way",
    [("plate-tail-high", "in alike (clockwise"), ("plate-tail-low", "out alike (counter-clockwise")],
)
def test_a_plate_that_is_not_level_is_balanced_first(code, way):
    # clockwise = more spring pull, the tail goes down; common practice, no published source
    made = make_plan(plan_input(cases.FLOATING_TREMOLO, wanted={}, findings=[{"code": code, "order": 50}]))
    assert kinds(made)[0] == "balance"
    assert way in made.steps[0].what.text()
    assert "springs" in {caution.code for caution in made.steps[0].cautions}


# ---------------------------------------------------------------- break clearance, pickups, intonation


def test_a_string_that_touches_behind_the_saddle_raises_the_tailpiece():
    spec = [*CASE["spec"], cases.item("break-clearance", 1.0, 0.3, None)]
    made = plan([*GOOD, cases.read("break-clearance", 0.0, cases.DEPTH, side="treble")], spec=spec)
    step = found(made, "break-clearance")
    assert step.do_now
    assert "counter-clockwise" in step.what.text()


@pytest.mark.parametrize(
    "screw, height, seen",
    [
        ("ring", 3.2, "clockwise"),
        ("ring", 1.0, "counter-clockwise"),
        ("body", 3.2, "counter-clockwise"),
        ("body", 1.0, "clockwise"),
    ],
)
def test_a_pickup_goes_the_right_way_for_its_screw(screw, height, seen):
    # through a ring or guard clockwise raises, into the body it lowers; common practice, no published source
    instrument = {"pickups": [{**each, "screw": screw} for each in cases.PICKUPS]}
    made = plan([*GOOD, *pickup_height(height)], instrument=instrument)
    moves = found(made, "pickups").moves
    assert {move.direction for move in moves} == {"raise" if height > 2.0 else "lower"}
    assert all(move.seen.startswith(seen) for move in moves)
    assert {abs(move.turns) for move in moves} == {2.0 if height > 2.0 else 1.625}


def test_a_string_whose_saddle_was_moved_is_asked_for_once():
    readings = [*GOOD, *pickup_height(2.0), *intonation([0.5, 4.7, 0.5, 0.5, 0.5, 0.5])]
    moved = [{"part": "saddle-position", "string": 2, "turns": 2.0, "order": 99, "at": 60.0}]
    made = plan([{**each, "order": n} for n, each in enumerate(readings)], adjustments=moved)
    asked = [each.string for step in made.steps if step.do_now for each in step.readings_next]
    assert asked.count(2) == 1


def test_what_is_out_is_read_anew_after_the_height_and_what_is_in_at_the_end():
    made = plan([*HIGH, *pickup_height(2.0), *intonation([5.0] * 6)])
    assert kinds(made) == ["action", "measure", "final-readings"]
    assert made.steps[1].what.text() == "Measure intonation of strings 1 to 6 anew"
    assert "pickup-height" in {wanted.quantity for wanted in made.steps[-1].readings_next}


@pytest.mark.parametrize(
    "head, cents, direction, seen",
    [
        ("tail", 8.0, "away from the nut", "clockwise"),
        ("tail", -8.0, "toward the nut", "counter-clockwise"),
        ("nut", 8.0, "away from the nut", "counter-clockwise"),
        ("nut", -8.0, "toward the nut", "clockwise"),
    ],
)
def test_the_intonation_screw_turns_the_right_way_for_its_head(head, cents, direction, seen):
    # common practice, no published source
    instrument = {"bridge": {**cases.TWO_POST, "intonation_screw_head": head}}
    made = plan([*GOOD, *pickup_height(2.0), *intonation([cents] * 6)], instrument=instrument)
    moves = found(made, "intonation").moves
    assert {move.direction for move in moves} == {direction}
    assert all(move.seen.startswith(seen) for move in moves)


def test_a_fixed_saddle_is_quoted_for_compensation():
    case = cases.acoustic(4.6, 4.2)
    readings = [
        case["readings"][0],
        *cases.sides("action", 2.4, 1.9, cases.DEPTH, fret=12),
        *case["readings"][3:],
        *intonation([9.0] * 6),
    ]
    made = make_plan(plan_input(case, readings=readings))
    assert "intonation" not in kinds(made)
    assert "fixed-saddle-intonation" in codes(made)


def test_strings_that_share_a_saddle_go_to_the_middle_and_that_is_said():
    instrument = bridge("paired-saddles", height_thread_pitch=0.5, intonation_screw_pitch=0.5)
    made = plan(
        [*GOOD, *pickup_height(2.0), *intonation([12.0, 0.0, 0.0, 0.0, 0.0, 0.0])], instrument=instrument
    )
    assert {change.string for change in found(made, "intonation").changes} == {1, 2}
    assert "shared-saddle" in codes(made)


def test_a_shared_bridge_stays_where_its_move_would_cost_more_than_it_gives():
    instrument = bridge("one-piece", post_spacing=82.0, height_thread_pitch=1.0, intonation_screw_pitch=0.5)
    read = [*GOOD, *pickup_height(2.0)]
    # best line through these: 10.8 and -7.1 stay, and string 1 would leave its limits
    left = plan([*read, *intonation([0.0, 0.0, 12.0, 0.0, -8.0, 0.0])], instrument=instrument)
    assert "intonation" not in kinds(left)
    (note,) = [each for each in left.notes if each.code == "shared-saddle"]
    assert note.text.text().startswith("strings 3 and 5: sharing a saddle")
    assert "no move of it is worth" in note.text.text()
    moved = plan([*read, *intonation([12.0, 11.0, 12.0, 10.0, 12.0, 11.0])], instrument=instrument)
    assert {move.direction for move in found(moved, "intonation").moves} == {"away from the nut"}


def test_sharp_only_near_the_nut_points_to_the_nut():
    low = [cases.read("intonation", 9.0, cases.STROBE, string=3, fret=fret) for fret in (1, 2, 3)]
    made = plan([*GOOD, *pickup_height(2.0), *low, *intonation([0.0] * 6)])
    assert "nut-suspected" in codes(made)


def test_everything_in_spec_is_complete():
    made = plan([*GOOD, *pickup_height(2.0), *intonation([0.0] * 6)])
    assert made.complete
    assert made.finished
    assert made.steps == ()
    assert "nothing left to do" in plan_text(made)


def test_looking_over_comes_first_and_holds_nothing_up():
    made = plan(CASE["readings"], looked_over=False)
    assert kinds(made)[:2] == ["look-over", "relief"]
    assert made.steps[0].do_now
    assert made.steps[1].do_now


def test_words_of_people_with_braces_do_no_harm():
    instrument = {"pickups": [{"name": "{neck}", "screw": "ring", "thread_pitch": 0.6}]}
    readings = [*GOOD, cases.read("pickup-height", 4.0, cases.DIAL, side="bass", pickup="{neck}")]
    text = plan_text(
        plan(readings, instrument=instrument, findings=[{"code": "crack", "note": "{x} at the heel"}])
    )
    assert "{x} at the heel" in text
    assert "{neck}" in text
