"""Which readings the plan uses, how it converts them, and what it asks for."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from shimstock_calc.errors import CalculationError, Contradiction, Missing, OutOfRange
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.model import Plan, Verdict
from tests import cases
from tests.calc.plan_inputs import plan_input

CASE = cases.TWO_POST_ELECTRIC


def relief(value, **more):
    return cases.read("relief", value, cases.FEELERS, held=[1, 22], fret=9, method="string", **more)


def action(bass, treble, **more):
    return cases.sides("action", bass, treble, cases.DEPTH, **{"fret": 12, **more})


def nut_action(bass, treble, **more):
    return cases.sides("nut-action", bass, treble, cases.DEPTH, **more)


def good(**more):
    return [relief(0.20, **more), *action(1.7, 1.5, **more), *nut_action(0.45, 0.35, **more)]


def numbered(readings):
    """Readings taken before adjustment number 100."""
    return [{**each, "order": place} for place, each in enumerate(readings)]


def plan(readings, **changes) -> Plan:
    return make_plan(plan_input(CASE, readings=readings, **changes))


def verdict(made: Plan, quantity: str, side: str | None = None) -> Verdict:
    return next(each for each in made.verdicts if (each.quantity, each.side) == (quantity, side))


def asked(made: Plan) -> list[str]:
    """Quantities that the first measuring step asks for."""
    first = next(each for each in made.steps if each.kind in {"measure", "read-again"})
    return sorted({wanted.quantity for wanted in first.readings_next})


def test_nothing_read_yet_asks_for_the_three_that_fix_the_geometry():
    made = plan([])
    assert asked(made) == ["action", "nut-action", "relief"]
    assert made.steps[0].do_now
    assert not any(step.changes_instrument for step in made.steps)


def test_the_newest_reading_counts_whatever_the_order_of_arrival():
    readings = [{**relief(0.45), "order": 5}, {**relief(0.20), "order": 9}, {**relief(0.60), "order": 2}]
    # 0.60 and 0.45 do not fit 0.20: something has moved, and the newest counts
    assert verdict(plan(readings), "relief").value == pytest.approx(0.20, abs=0.005)


@pytest.mark.parametrize(
    "part, stale",
    [
        ("truss-rod", {"relief", "action", "nut-action"}),
        ("bridge-post", {"action", "nut-action"}),
        ("nut-slot", {"action", "nut-action"}),
        ("saddle-position", set()),
        ("pickup-screw", set()),
        ("tuners", set()),
        ("strings", {"relief", "action", "nut-action"}),
    ],
)
def test_an_adjustment_makes_what_it_moves_stale(part, stale):
    adjustments = [{"part": part, "order": 100, "turns": 0.25}]
    made = plan(numbered(good()), adjustments=adjustments)
    found = {each.quantity for each in made.verdicts if each.stale}
    assert found == stale
    if stale:
        # what an adjustment moved by a known amount is forecast and read once more at the end
        kind = "measure" if part == "strings" else "final-readings"
        step = next(step for step in made.steps if step.kind == kind)
        assert stale <= {wanted.quantity for wanted in step.readings_next}


def test_filing_one_slot_leaves_the_other_side_fresh():
    made = plan(numbered(good()), adjustments=[{"part": "nut-slot", "order": 100, "string": 6}])
    assert verdict(made, "nut-action", "bass").stale
    assert not verdict(made, "nut-action", "treble").stale


def test_a_reading_off_pitch_is_kept_but_no_plan_is_built_on_it():
    made = plan([relief(0.60, at_pitch=False), *action(2.2, 1.9), *nut_action(0.5, 0.4)])
    found = verdict(made, "relief")
    assert (found.value, found.usable, found.verdict) == (0.60, False, None)
    assert [step.kind for step in made.steps[:2]] == ["tune", "measure"]
    assert not any(step.changes_instrument for step in made.steps)


@pytest.mark.parametrize(
    "more, care",
    [
        ({"humidity": 34.0}, "recover-air"),
        ({"humidity": 61.0}, "recover-air"),
        ({"acclimatised": False}, "recover"),
    ],
)
def test_no_verdict_on_relief_and_action_in_bad_air(more, care):
    made = plan(good(**more))
    assert {each.quantity for each in made.verdicts if each.usable} == set()
    first = made.steps[0]
    assert "recover" in first.what.text()
    assert [caution.code for caution in first.cautions] == [care]


@pytest.mark.parametrize("humidity", [35.0, 47.0, 60.0])
def test_ordinary_air_is_no_hindrance(humidity):
    assert verdict(plan(good(humidity=humidity)), "relief").verdict == "in spec"


def test_a_reading_off_pitch_does_not_hide_an_older_one_at_pitch():
    made = plan([*good(), relief(0.60, at_pitch=False)])
    assert verdict(made, "relief").value == pytest.approx(0.20)


def test_of_two_readings_on_one_sheet_the_later_one_counts():
    pair = [{**relief(0.45), "order": 7, "id": "sheet/9"}, {**relief(0.20), "order": 7, "id": "sheet/10"}]
    assert verdict(plan([*pair, *good()[1:]]), "relief").reading == "sheet/10"


def test_action_with_a_capo_is_converted_with_the_nut_action():
    # 0.530 of the nut action, elementary geometry
    made = plan([relief(0.20), *action(1.46, 1.3, capo=1), *nut_action(0.45, 0.35)])
    assert verdict(made, "action", "bass").value == pytest.approx(1.46 + 0.530 * 0.45, abs=1e-3)


def test_a_reading_on_the_back_is_taken_to_playing_position():
    # what gravity takes, about 0.07 mm, computed, rough; action follows with the coupling, 1.67 here
    made = plan(
        [relief(0.13, position="on-back"), *action(1.7, 1.5, position="on-back"), *nut_action(0.45, 0.35)]
    )
    found = verdict(made, "relief")
    assert found.value == pytest.approx(0.20, abs=0.01)
    lacks = found.value - 0.13
    assert verdict(made, "action", "bass").value == pytest.approx(1.7 + lacks * 1.67, abs=1e-3)
    assert found.uncertainty == pytest.approx(math.hypot(0.03, 0.4 * lacks), rel=0.05)


def test_the_gap_held_at_fret_3_is_converted_to_nut_action():
    # on a straight neck 0.647 of the slot; relief 0.2 adds what the curve between nut and fret 3 shows
    made = plan([relief(0.20), *action(1.7, 1.5), *nut_action(0.16, 0.10, held=[3])])
    found = verdict(made, "nut-action", "bass")
    assert found.value == pytest.approx(0.16 / 0.647 + 0.2 * 0.37 + 0.056 * 2.2, abs=0.05)
    # the slot moves by 1/0.647 of the gap, the string over fret 1 by 1 - x_1/x_12 of that
    assert found.uncertainty == pytest.approx(0.03 * 0.888 / 0.647, rel=1e-3)


def test_action_read_at_another_fret_is_converted():
    made = plan([relief(0.20), *action(1.8, 1.6, fret=14), *nut_action(0.45, 0.35)])
    found = verdict(made, "action", "bass")
    assert found.usable
    assert found.value is not None
    assert 1.5 < found.value < 1.8


def test_relief_without_hold_frets_cannot_be_used():
    made = plan([cases.read("relief", 0.2, cases.FEELERS), *action(1.7, 1.5), *nut_action(0.45, 0.35)])
    assert not verdict(made, "relief").usable
    assert "hold frets" in verdict(made, "relief").reason.text()


def test_no_tool_named_is_taken_as_the_coarsest_and_says_so():
    bare = {"resolution": None, "repeatability": None, "tool": None}
    made = plan([relief(0.20), *[{**each, **bare} for each in action(1.7, 1.5)], *nut_action(0.45, 0.35)])
    found = verdict(made, "action", "bass")
    assert found.uncertainty == pytest.approx(0.5 / 12**0.5, abs=1e-3)  # rectangular, JCGM 100 F.2.2.1
    assert "coarsest" in found.reason.text()


def test_resolution_alone_is_a_rectangular_error():
    # share of [y - d/2, y + d/2] inside the limits: 1.85 ± 0.25 against 1.95: 0.7
    only = {"resolution": 0.5, "repeatability": None}
    made = plan([relief(0.20), *[{**each, **only} for each in action(1.85, 1.5)], *nut_action(0.45, 0.35)])
    assert verdict(made, "action", "bass").probability == pytest.approx(0.70)


def test_in_spec_bands_of_feelers_and_half_divisions():
    # JCGM 106:2012 7.3 with P >= 0.95: relief 0.150 to 0.250, action 1.59 to 1.81
    def word(value):
        return verdict(plan([relief(value), *action(1.7, 1.5), *nut_action(0.45, 0.35)]), "relief").verdict

    assert [word(each) for each in (0.149, 0.151, 0.249, 0.251)] == [
        "too close to call",
        "in spec",
        "in spec",
        "too close to call",
    ]


def test_too_close_to_call_is_read_again_before_the_rod_is_turned():
    made = plan([relief(0.28), *action(2.2, 1.9), *nut_action(0.45, 0.35)])
    first = made.steps[0]
    assert (first.kind, first.do_now) == ("read-again", True)
    assert not any(step.do_now for step in made.steps if step.changes_instrument)


def test_what_was_read_twice_is_averaged_and_then_acted_on():
    # u² = (s² + δ²/12)/n, JCGM 100:2008 4.2.3 and F.2.2.1
    made = plan([relief(0.28), relief(0.30), *action(2.2, 1.9), *nut_action(0.45, 0.35)])
    found = verdict(made, "relief")
    assert found.value == pytest.approx(0.29)
    assert found.uncertainty == pytest.approx(((0.03**2 + 0.05**2 / 12) / 2) ** 0.5, abs=1e-6)
    assert made.steps[0].kind == "relief"
    assert made.steps[0].do_now


def test_an_accepted_reading_is_left_alone():
    made = plan([relief(0.28, accepted=True), *action(1.7, 1.5), *nut_action(0.45, 0.35)])
    assert not any(step.changes_instrument for step in made.steps)


def test_a_reading_on_an_outermost_string_is_one_of_that_side():
    readings = [
        relief(0.20),
        cases.read("action", 1.7, cases.DEPTH, string=6, fret=12),
        cases.read("action", 1.5, cases.DEPTH, string=1, fret=12),
        *nut_action(0.45, 0.35),
    ]
    made = plan(readings)
    assert verdict(made, "action", "bass").value == 1.7
    assert verdict(made, "action", "treble").value == 1.5


def test_an_inner_string_is_held_to_limits_between_the_sides():
    made = plan([*good(), cases.read("action", 1.9, cases.DEPTH, string=4, fret=12)])
    found = next(each for each in made.verdicts if each.quantity == "action" and each.string == 4)
    assert found.target == pytest.approx(1.5 + 0.2 * 3 / 5)


def test_relief_read_on_both_sides_shows_twist():
    spec = [*CASE["spec"], cases.item("twist", 0.0, -0.10, 0.10)]
    made = plan([relief(0.30, side="bass"), relief(0.12, side="treble"), *good()[1:]], spec=spec)
    found = verdict(made, "twist")
    assert found.value == pytest.approx(0.18)
    assert found.uncertainty == pytest.approx(0.03 * 2**0.5, abs=1e-6)


@pytest.mark.parametrize(
    "readings, kind, field",
    [
        ([cases.read("intonation", 1.0, cases.STROBE, string=7, fret=12)], OutOfRange, "string"),
        ([cases.read("action", 1.0, cases.DEPTH, side="bass", fret=30)], OutOfRange, "fret"),
        ([cases.read("relief", 0.2, cases.FEELERS, held=[5, 22], fret=3)], OutOfRange, "reading_fret"),
        ([relief(None)], Contradiction, "value"),
        ([relief(0.1, zero_or_less=True)], Contradiction, "value"),
    ],
)
def test_impossible_readings_are_refused_by_name(readings, kind, field):
    with pytest.raises(kind) as error:
        plan(readings)
    assert error.value.field == field


@pytest.mark.parametrize(
    "readings, blamed",
    [
        ([relief(1.5), *action(0.5, 0.5), *nut_action(0.1, 0.1)], "relief"),
        ([relief(0.2), *action(2.5, 2.5), *nut_action(0.0, 0.0)], "nut-action"),
        ([relief(-1.2), *action(0.5, 0.5), *nut_action(0.1, 0.1)], "relief"),
        ([relief(0.2), *action(0.7, 1.5), *nut_action(0.8, 0.35)], "action"),
    ],
)
def test_readings_that_cannot_all_be_true_are_read_again_before_any_step(readings, blamed):
    made = plan(readings)
    first = made.steps[0]
    assert first.kind == "read-again"
    assert first.readings_next[0].quantity == blamed
    assert " do not fit: " in first.why.text()
    assert not any(step.do_now and step.changes_instrument for step in made.steps)
    # necks bend otherwise than the model says: what was read twice alike is believed
    assert not any(" do not fit: " in str(step.why) for step in plan([*readings, *readings]).steps)


@pytest.mark.parametrize(
    "changes, field",
    [
        ({"strings": []}, "strings"),
        ({"scale_bass": 100.0}, "scale_length"),
        ({"frets": 5}, "frets"),
        ({"body_joint_fret": 3}, "body_joint_fret"),
        ({"radius_end": None}, "radius"),
        (
            {"bridge": {"kind": "two-post", "post_spacing": 74.0, "string_spread": 52.0}},
            "bridge.height_thread_pitch",
        ),
        (
            {"bridge": {"kind": "two-post", "string_spread": 52.0, "height_thread_pitch": 1.25}},
            "bridge.post_spacing",
        ),
        (
            {"bridge": {"kind": "movable", "post_spacing": 74.0, "height_thread_pitch": 1.0}},
            "bridge.string_spread",
        ),
        ({"bridge": {"kind": "individual-saddles", "string_spread": 52.0}}, "bridge.height_thread_pitch"),
    ],
)
def test_an_instrument_without_what_the_plan_needs_says_which_field(changes, field):
    with pytest.raises(CalculationError) as error:
        plan(
            [relief(0.20), *action(2.2, 1.9), *nut_action(0.45, 0.35)],
            instrument={**CASE["instrument"], **changes},
        )
    assert error.value.field == field


def test_a_spec_out_of_order_is_refused_by_name():
    with pytest.raises(Contradiction) as error:
        plan(good(), spec=[cases.item("relief", 0.2, 0.3, 0.1, held=[1, 22], fret=9)])
    assert error.value.field == "spec.relief"


def test_no_spec_is_refused():
    with pytest.raises(Missing):
        plan(good(), spec=[])


@given(st.floats(0.35, 0.9), st.sampled_from(["single-action", "dual-action"]), st.booleans())
def test_too_much_relief_tightens_whichever_way_that_turns(value, kind, is_reversed):
    instrument = {**CASE["instrument"], "rod": {"kind": kind, "reversed": is_reversed}}
    made = plan([relief(value), *action(2.2, 1.9)], instrument=instrument, spec=CASE["spec"][:3])
    (move,) = next(step for step in made.steps if step.kind == "relief").moves
    assert move.direction == "tighten"
    assert 0 < move.turns <= 0.25
    assert move.seen.startswith("counter-clockwise" if is_reversed else "clockwise")


@given(st.floats(0.31, 0.6), st.floats(0.01, 0.3))
def test_more_relief_never_wants_less_rod(value, more):
    def total(at):
        made = plan([relief(at), *action(2.4, 2.1)], spec=CASE["spec"][:3])
        return next(step for step in made.steps if step.kind == "relief").moves[0].total_turns

    assert total(value + more) >= total(value)


@given(st.floats(2.05, 3.0), st.floats(1.85, 2.7))
def test_high_action_lowers_and_what_is_forecast_comes_closer_to_target(bass, treble):
    made = plan([relief(0.20), *action(bass, treble), *nut_action(0.45, 0.40)])
    step = next(each for each in made.steps if each.kind == "action")
    assert all(move.turns <= 0 for move in step.moves)
    for change in step.changes:
        assert abs(change.after - change.target) < abs(change.before - change.target)
        assert (
            abs(change.after - change.target) <= 1.25 / 16 / 2 + 0.01
        )  # half of an eighth turn, halved at the 12th
