"""Whatever comes in: a plan that keeps its promises, or a refusal that names the field."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from shimstock_calc.errors import CalculationError
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.model import Plan
from shimstock_calc.plan.wording import plan_text
from tests import cases
from tests.calc.plan_inputs import plan_input
from tests.depth import amount

BRIDGES = [
    {"kind": "two-post", "post_spacing": 74.0, "height_thread_pitch": 1.25, "intonation_screw_pitch": 0.5},
    {"kind": "one-piece", "post_spacing": 82.0, "height_thread_pitch": 1.25, "height_left_down": 0.5},
    {"kind": "individual-saddles", "height_thread_pitch": 0.5, "screws_per_saddle": 2},
    {"kind": "paired-saddles", "height_thread_pitch": 0.5, "intonation_screw_pitch": 0.7},
    {"kind": "fixed-saddle", "saddle_total_height": [9.0, 8.0], "undersaddle_pickup": True},
    {"kind": "movable", "post_spacing": 72.0, "height_thread_pitch": 0.7},
    {
        "kind": "resting-tremolo",
        "height_thread_pitch": 0.5,
        "travel_away": {"2": 0.4},
        "intonation_screw_pitch": 0.5,
    },
    {"kind": "floating-tremolo", "post_spacing": 74.0, "height_thread_pitch": 1.0, "left_hand_thread": True},
    {"kind": "locking-tremolo", "post_spacing": 74.0},
]
FINDINGS = [
    "frets-worn", "fret-high", "crack", "bridge-lifting", "belly", "rod-stiff", "nut-cracked",
    "neck-angle-low", "plate-tail-low", "string-damaged",
]  # fmt: skip
PARTS = [
    "truss-rod",
    "strings",
    "bridge-post",
    "saddle",
    "nut-slot",
    "spring-claw",
    "pickup-screw",
    "frets",
    "tuners",
]
SIDES = st.sampled_from([None, "bass", "treble"])


@st.composite
def readings(draw: st.DrawFn) -> dict[str, Any]:
    quantity = draw(
        st.sampled_from(
            ["relief", "action", "nut-action", "pickup-height", "intonation", "break-clearance", "saddle-out"]
        )
    )
    spans = {
        "relief": (-0.5, 1.0),
        "action": (0.8, 4.0),
        "nut-action": (0.1, 1.2),
        "intonation": (-40.0, 40.0),
    }
    low, high = spans.get(quantity, (0.3, 6.0))
    touching = quantity == "relief" and draw(st.integers(0, 9)) == 0
    reading: dict[str, Any] = {
        "quantity": quantity,
        "value": None if touching else draw(st.floats(low, high)),
        "zero_or_less": touching,
        "order": draw(st.integers(0, 40)),
        "at": draw(st.floats(0, 400)),
        "at_pitch": draw(st.integers(0, 9)) != 0,
        "accepted": draw(st.integers(0, 9)) == 0,
        "position": draw(st.sampled_from(["playing", "playing", "on-back"])),
        "capo": draw(st.sampled_from([None, None, None, 1, 2])),
        "humidity": draw(st.sampled_from([None, 45.0, 45.0, 20.0])),
        **draw(st.sampled_from([cases.FEELERS, cases.DIAL, {}, {"resolution": 0.1}])),
    }
    if quantity == "relief":
        reading |= {
            "side": draw(SIDES),
            **draw(st.sampled_from([{"held": [1, 22], "fret": 9}, {"held": [1, 16], "fret": 7}, {}])),
        }
    elif quantity == "intonation":
        reading |= {"string": draw(st.integers(1, 6)), "fret": draw(st.sampled_from([12, 12, 1, 3]))}
    elif quantity == "pickup-height":
        reading |= {"side": draw(st.sampled_from(["bass", "treble"])), "pickup": "neck pickup"}
    else:
        side = draw(st.sampled_from(["bass", "treble"]))
        reading |= draw(
            st.sampled_from([{"side": side}, {"side": side}, {"string": draw(st.integers(1, 6))}])
        )
        if quantity == "action":
            reading["fret"] = draw(st.sampled_from([12, 12, 14]))
        if quantity == "nut-action":
            reading["held"] = draw(st.sampled_from([[], [], [3]]))
    return reading


@st.composite
def whole_sheet(draw: st.DrawFn) -> list[dict[str, Any]]:
    """Everything read once more after all that was done, most of it usable."""
    tool = draw(st.sampled_from([cases.FEELERS, cases.DIAL]))
    bass, treble = draw(st.floats(1.2, 3.2)), draw(st.floats(1.0, 3.0))
    high, low = draw(st.floats(0.2, 1.0)), draw(st.floats(0.2, 1.0))
    relief = draw(st.one_of(st.floats(-0.15, 0.7), st.sampled_from([0.2, 0.2, 0.28])))
    core = [
        *[
            cases.read("relief", relief, tool, held=[1, 22], fret=9, at=at)
            for at in draw(st.sampled_from([(500.0,), (500.0, 600.0)]))
        ],
        *cases.sides("action", bass, treble, cases.DEPTH, fret=12),
        *cases.sides("nut-action", high, low, cases.DEPTH),
        *cases.sides("saddle-out", draw(st.floats(1.0, 4.5)), draw(st.floats(1.0, 4.5)), cases.DEPTH),
        cases.read("break-clearance", draw(st.sampled_from([0.0, 1.0])), cases.DEPTH),
    ]
    late = [
        *[
            cases.read(
                "pickup-height", draw(st.floats(0.8, 4.0)), cases.DIAL, side=side, pickup=pickup["name"]
            )
            for pickup in cases.PICKUPS
            for side in ("bass", "treble")
        ],
        *[
            cases.read("intonation", draw(st.floats(-25.0, 25.0)), cases.STROBE, string=number, fret=12)
            for number in range(1, 7)
        ],
    ]
    kept = core + (late if draw(st.booleans()) else [])
    return [{"order": 50 + place, "at": 600.0, **each} for place, each in enumerate(kept)]


@st.composite
def any_input(draw: st.DrawFn) -> dict[str, Any]:
    rod = draw(
        st.sampled_from(
            [
                {"kind": "none"},
                {"kind": "single-action"},
                {"kind": "single-action", "turns_left_loosen": 0.0, "turns_left_tighten": 0.3},
                {"kind": "dual-action", "reversed": True, "free_play": 0.25},
                {"kind": "dual-action", "reversed": None},
            ]
        )
    )
    bridge = {"string_spread": 52.0, **draw(st.sampled_from(BRIDGES))}
    adjustments = draw(
        st.lists(
            st.fixed_dictionaries(
                {
                    "part": st.sampled_from(PARTS),
                    "turns": st.sampled_from([None, 0.125, -0.25, 0.25]),
                    "order": st.integers(0, 40),
                    "at": st.floats(0, 300),
                    "side": SIDES,
                    "string": st.sampled_from([None, 1, 4, 6]),
                }
            ),
            max_size=4,
        )
    )
    consents = draw(
        st.lists(
            st.fixed_dictionaries(
                {"given": st.booleans(), "steps": st.sampled_from([[], ["nut-filing"], ["saddle-filing"]])}
            ),
            max_size=3,
        )
    )
    return {
        "instrument": cases.electric(
            628.65,
            22,
            bridge,
            rod,
            delicate=draw(st.booleans()),
            left_handed=draw(st.booleans()),
            scale_treble=draw(st.sampled_from([628.65, 610.0])),
        ),
        "spec": [
            *cases.electric_spec([1, 22], 9),
            cases.item("twist", 0.0, -0.1, 0.1),
            cases.item("break-clearance", 1.0, 0.3, None),
            cases.item("saddle-out", 3.0, 2.0, None),
        ],
        "readings": draw(st.lists(readings(), max_size=12))
        + draw(st.one_of(st.just([]), whole_sheet(), whole_sheet())),
        "adjustments": adjustments,
        "consents": consents,
        "findings": [
            {"code": code, "order": n, "fret": 7}
            for n, code in enumerate(draw(st.lists(st.sampled_from(FINDINGS), max_size=2)))
        ],
        "wanted": draw(
            st.sampled_from(
                [
                    {},
                    {},
                    {"restring": True},
                    {"restring": True, "strings": {"name": "10", "strings": cases.LIGHT_10}},
                ]
            )
        ),
        "looked_over": draw(st.booleans()),
    }


def numbers(value: Any) -> list[float]:
    """Every float in a record."""
    if isinstance(value, float):
        return [value]
    if is_dataclass(value):
        return [number for each in fields(value) for number in numbers(getattr(value, each.name))]
    if isinstance(value, tuple):
        return [number for each in value for number in numbers(each)]
    return []


def check(case: dict[str, Any], plan: Plan) -> None:
    changing = [step for step in plan.steps if step.do_now and step.changes_instrument]
    assert len(changing) <= 1 or not any(stands_alone(step) for step in changing)
    assert all(math.isfinite(number) for number in numbers(plan))
    assert [step.number for step in plan.steps] == list(range(1, len(plan.steps) + 1))
    text = plan_text(plan)
    assert "nan" not in text
    assert "{" not in text
    asked = [
        {(each.quantity, each.side, each.string, each.pickup) for each in step.readings_next}
        for step in plan.steps
        if step.do_now and not step.changes_instrument
    ]
    assert sum(map(len, asked)) == len(set().union(*asked))  # nothing is asked for by two steps
    for step in changing:
        assert not step.blocked_by
        check_step(case, plan, step)
    if plan.complete:
        assert all(each.usable and (each.verdict == "in spec" or each.accepted) for each in plan.verdicts)


def stands_alone(step: Any) -> bool:
    """Whether a step is read before anything else is done: the rod, new strings, the claw, what files."""
    return step.part in {"truss-rod", "strings", "spring-claw"} or step.irreversible


def check_step(case: dict[str, Any], plan: Plan, step: Any) -> None:
    reliefs = [each for each in plan.verdicts if each.quantity == "relief"]
    if step.kind == "relief":
        assert all(each.usable and not each.zero_or_less for each in reliefs)
        assert all(0 < abs(move.turns) <= 0.25 for move in step.moves)
    if step.kind in {"nut", "action"}:
        assert all(each.usable and not each.zero_or_less for each in reliefs)
        assert plan.settled.state != "waiting"
    if step.irreversible:
        answers = [each["given"] for each in case["consents"] if step.consent_step in each["steps"]]
        general = [each["given"] for each in case["consents"] if not each["steps"]]
        assert answers[-1] if answers else general[-1] and step.needs_consent == "general"
        assert not case["instrument"]["delicate"] or step.needs_consent == "named"


@settings(
    max_examples=amount(200, deep=10_000),
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
@given(any_input())
def test_a_plan_keeps_its_promises_or_a_refusal_names_the_field(case):
    given_input = plan_input(
        case, readings=[{**each, "id": f"s/{n}"} for n, each in enumerate(case["readings"])]
    )
    try:
        plan = make_plan(given_input)
    except CalculationError as refusal:
        field = refusal.field
    else:
        check(case, plan)
        assert make_plan(given_input) == plan
        return
    assert field
