"""Instruments as they come in; everything follows from the seed."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from shimstock_calc.plan.model import PlanInput
from tests import cases
from tests.calc.plan_inputs import plan_input

from .hidden import OCTAVE, ON_POSTS, TOP_OF_NUT, WHOLE, Hidden
from .neck import ALONG, make_neck
from .policy import SIDES
from .rod import Rod

KINDS = ("two-post", "individual-saddles", "fixed-saddle", "bass", "floating-tremolo")
CLEAR = 0.25
"""Least height of an open string over any fret on arrival [mm]."""

UNDER = {
    "neck pickup": (0.10, 0.30),
    "bridge pickup": (0.65, 0.85),
    "neck": (0.10, 0.30),
    "bridge": (0.65, 0.85),
    "pickup": (0.30, 0.80),
}
"""Where a pickup stands between the last fret and the saddle; judgement, from usual places of pickups [-]."""

EVERY_KIND = (*KINDS, "paired-saddles", "one-piece", "movable", "resting-tremolo", "locking-tremolo")


@dataclass(frozen=True)
class Scenario:
    """What differs from the ordinary population."""

    name: str = "ordinary"
    kinds: tuple[str, ...] = KINDS
    late: float | None = None
    """Late share of every change of relief; None = 0 to 0.5."""
    noise: float | None = None
    """Noise of every tool as a share of its stated repeatability; None = 0.5 to 1."""
    noise_known: bool = False
    """Whether earlier jobs have taught the bench how noisy its tools are."""
    restrings: float = 0.0
    """Share of owners who want new strings."""
    health: str | None = None
    """Health of every rod; None = 2 % dead, 1 % reversed."""


SCENARIOS = {
    each.name: each
    for each in (
        Scenario(),
        Scenario("no-creep", late=0.0),
        Scenario("half-late", late=0.5),
        Scenario("twice-the-noise", noise=2.0),
        Scenario("twice-the-noise-known", noise=2.0, noise_known=True),
        Scenario("noise-known", noise_known=True),
        Scenario("dead-rods", health="dead"),
        Scenario("reversed-rods", health="reversed"),
        Scenario("every-bridge", kinds=EVERY_KIND, restrings=0.15),
    )
}


def make_instrument(seed: int, scenario: Scenario, known: PlanInput | None = None) -> Hidden:
    """Make one instrument as it comes in: of a model that is known, else of any."""
    rng = np.random.default_rng([seed, 0])
    if known is not None:
        return _out_of_setup(rng, seed, scenario, known)
    kind = str(rng.choice(list(scenario.kinds)))
    is_bass, acoustic = kind == "bass", kind == "fixed-saddle"
    scale = float(rng.choice([863.6, 812.8]) if is_bass else rng.choice([628.65, 647.7, 645.2]))
    joint = 14 if acoustic else 16 if is_bass else int(rng.choice([16, 19, 22]))
    frets = 20 if acoustic or is_bass else max(int(rng.choice([21, 22, 24])), joint)
    held = (1, frets)
    rod = _rod(rng, scenario)
    case = _case(rng, kind, scale=scale, joint=joint, frets=frets)
    case["wanted"] = _wanted(rng, scenario, is_bass=is_bass)
    if rod.health == "reversed" and rng.random() < 0.5:
        case["instrument"]["rod"]["reversed"] = None
    hidden = _hidden(rng, seed, plan_input(case), rod, (joint, held))
    _set_up(rng, hidden)
    _bring_out(rng, hidden, kind)
    return hidden


def _out_of_setup(rng: np.random.Generator, seed: int, scenario: Scenario, known: PlanInput) -> Hidden:
    instrument = known.instrument
    kind = "bass" if instrument.kind == "bass" else instrument.bridge.kind
    joint = round(instrument.body_joint_fret)
    hidden = _hidden(rng, seed, known, _rod(rng, scenario), (joint, (1, instrument.frets)))
    _set_up(rng, hidden)
    _bring_out(rng, hidden, kind)
    return hidden


def _hidden(
    rng: np.random.Generator, seed: int, known: PlanInput, rod: Rod, bend: tuple[int, tuple[int, int]]
) -> Hidden:
    joint, held = bend
    numbers = [string.number for string in known.instrument.strings]
    pickups = known.instrument.pickups
    return Hidden(
        plan_input=known,
        neck=make_neck(rng, joint, held, 8),
        rod=rod,
        twist=float(rng.normal(0.0, 0.02)),
        slots=dict.fromkeys(numbers, 0.0),
        saddles=dict.fromkeys(numbers, 0.0),
        cents={},
        pickups={(pickup.name, side): float(rng.uniform(1.2, 3.2)) for pickup in pickups for side in SIDES},
        pickup_shares={
            pickup.name: float(
                np.random.default_rng([seed, 4, place]).uniform(*UNDER.get(pickup.name, UNDER["pickup"]))
            )
            for place, pickup in enumerate(pickups)
        },
        saddle_out={side: float(rng.uniform(5.0, 6.2)) for side in SIDES},
        # a beam estimate of 1.1e-3 mm/N, uncertain by a factor 2 either way
        compliance=1.1e-3 * float(np.clip(np.exp(rng.normal(0.0, 0.35)), 0.5, 2.0)),
        more_pull=82.0 if known.wanted.strings is not None else 0.0,
        cents_per_rise=float(rng.uniform(1.0, 4.0)),
    )


def _rod(rng: np.random.Generator, scenario: Scenario) -> Rod:
    health = str(rng.choice(["healthy", "dead", "reversed"], p=[0.97, 0.02, 0.01]))
    play = float(rng.uniform(0.0, 0.25))
    late = float(rng.uniform(0.0, 0.5))
    rod = Rod(
        health="healthy",
        response=-float(rng.triangular(0.15, 0.38, 0.80)),
        growth=float(rng.uniform(-0.3, 0.3)),
        back=float(rng.uniform(0.75, 1.0)),
        play=play,
        slack=float(rng.uniform(0.0, play)),
        late=late if scenario.late is None else scenario.late,
        time_constant=60.0 * math.exp(float(rng.uniform(math.log(0.5), math.log(12.0)))),
    )
    return replace(rod, health=scenario.health or health)  # type: ignore[arg-type]


def _case(rng: np.random.Generator, kind: str, *, scale: float, joint: int, frets: int) -> dict[str, Any]:
    is_bass, acoustic = kind == "bass", kind == "fixed-saddle"
    rod: dict[str, Any] = {"kind": str(rng.choice(["single-action", "dual-action"])), "reversed": False}
    if rod["kind"] == "dual-action":
        rod["free_play"] = 0.125
    consents: list[dict[str, Any]] = [{"given": True, "steps": []}]
    delicate = bool(rng.random() < 0.1)
    if delicate:
        consents.append({"given": True, "steps": ["nut-filing", "saddle-filing", "high-pull"]})
    if rng.random() < 0.03:
        consents.append({"given": False, "steps": ["nut-filing"]})
    held = [1, frets]
    strings = cases.BASS_45 if is_bass else cases.ACOUSTIC_12 if acoustic else cases.LIGHT_9
    pickups = [] if acoustic else cases.PICKUPS
    if is_bass:
        pickups = [{"name": "pickup", "screw": "body", "thread_pitch": 0.6}]
    return {
        "instrument": {
            "kind": "bass" if is_bass else "acoustic-steel" if acoustic else "electric",
            "strings": strings,
            "scale_bass": scale,
            "scale_treble": scale,
            "frets": frets,
            "body_joint_fret": joint,
            "radius_nut": 305.0,
            "radius_end": 305.0,
            "bridge": _bridge(rng, "individual-saddles" if is_bass else kind, is_bass=is_bass),
            "rod": rod,
            "pickups": pickups,
            "delicate": delicate,
        },
        "spec": _spec(held, is_bass=is_bass, acoustic=acoustic),
        "consents": consents,
        "findings": [{"code": "plate-level"}] if kind in {"floating-tremolo", "locking-tremolo"} else [],
    }


def _wanted(rng: np.random.Generator, scenario: Scenario, *, is_bass: bool) -> dict[str, Any]:
    wants, others = rng.random() < scenario.restrings, rng.random() < 0.5
    if not wants or is_bass:
        return {}
    heavier = {"strings": {"name": "10 to 46 thou", "strings": cases.LIGHT_10}}
    return {"restring": True, **(heavier if others else {})}


def _bridge(rng: np.random.Generator, kind: str, *, is_bass: bool) -> dict[str, Any]:
    bridge: dict[str, Any] = {"kind": kind, "string_spread": 57.0 if is_bass else 52.0}
    if kind == "fixed-saddle":
        return bridge | {"saddle_total_height": [16.0, 16.0]}
    if kind in ON_POSTS:
        bridge |= {"post_spacing": 74.0, "height_thread_pitch": float(rng.choice([1.25, 1.0, 0.8]))}
    else:
        bridge |= {
            "height_thread_pitch": float(rng.choice([0.5, 0.453571])),
            "screws_per_saddle": 1 if kind == "paired-saddles" else int(rng.choice([1, 2])),
        }
    if kind not in {"movable", "locking-tremolo"}:
        bridge |= {"intonation_screw_pitch": 0.5, "intonation_screw_head": str(rng.choice(["tail", "nut"]))}
    return bridge


def _spec(held: list[int], *, is_bass: bool, acoustic: bool) -> list[dict[str, Any]]:
    if not is_bass and not acoustic:
        return cases.electric_spec(held, 8)
    plain = cases.BASS_FINAL["spec"] if is_bass else cases.LOW_SADDLE["spec"]
    spec = [each | ({"held": held} if each["quantity"] == "relief" else {}) for each in plain]
    if is_bass:
        spec += [
            cases.item("pickup-height", 2.6, 2.1, 3.1),
            cases.item("intonation", 0.0, -4.0, 4.0, fret=OCTAVE),
        ]
    return spec


def _set_up(rng: np.random.Generator, hidden: Hidden) -> None:
    """Nut slots that suit the setup that is wanted, or stand too high; never too low to be set up."""
    goal = {(item.quantity, item.side): item for item in hidden.plan_input.spec}
    hidden.neck.strings_bend += hidden.spec_relief.target - hidden.relief()
    high = rng.random() < 0.25
    over = {side: float(rng.uniform(0.12, 0.40)) if high and rng.random() < 0.8 else 0.0 for side in SIDES}
    usual = {side: float(rng.normal(0.0, 0.025)) for side in SIDES}
    one_piece = hidden.plan_input.instrument.bridge.kind == "fixed-saddle"
    for number in hidden.numbers:
        part, inner = hidden.across(number), number not in {hidden.numbers[0], hidden.numbers[-1]}
        off_nut, off_saddle = rng.normal(0.0, 0.03), rng.normal(0.0, 0.02 if one_piece else 0.05)

        def between(bass: float, treble: float, part: float = part) -> float:
            return treble * (1 - part) + bass * part

        nut = between(goal["nut-action", "bass"].target, goal["nut-action", "treble"].target)
        nut += between(over["bass"] + usual["bass"], over["treble"] + usual["treble"])
        action = between(goal["action", "bass"].target, goal["action", "treble"].target)
        _string_over(hidden, number, nut + inner * float(off_nut), action + inner * float(off_saddle))


def _string_over(hidden: Hidden, number: int, nut: float, action: float) -> None:
    """Slot and saddle that give these heights: two equations of a straight line."""
    at_1, at_12 = nut + hidden.neck.top(TOP_OF_NUT), action + hidden.neck.top(OCTAVE)
    slope = (at_12 - at_1) / (ALONG[OCTAVE] - ALONG[TOP_OF_NUT])
    start = at_1 - slope * ALONG[TOP_OF_NUT]
    hidden.slots[number] = start - hidden.neck.top(0)
    hidden.saddles[number] = start + slope


def _bring_out(rng: np.random.Generator, hidden: Hidden, kind: str) -> None:
    """Bring relief, heights and intonation out, as instruments come in."""
    hidden.neck.strings_bend += float(rng.uniform(-0.1, 0.5))
    off, tilt = float(rng.uniform(0.2, 1.2)), float(rng.uniform(-0.2, 0.2))
    if kind != "fixed-saddle" and rng.random() < 0.1:
        off = -min(off, 0.5)
    goal = {(item.quantity, item.side): item for item in hidden.plan_input.spec}
    wants = {
        side: goal["action", side].target + off + sign * tilt / 2.0
        for side, sign in zip(SIDES, (1, -1), strict=True)
    }
    rise = {
        side: (wants[side] - hidden.height(hidden.outermost(side), OCTAVE)) / ALONG[OCTAVE] for side in wants
    }
    for number in hidden.numbers:
        part = hidden.across(number)
        hidden.saddles[number] += rise["bass"] * part + rise["treble"] * (1 - part)
    while _least_clearance(hidden) < CLEAR:
        for number in hidden.numbers:
            hidden.saddles[number] += 0.1
    _detune(rng, hidden, kind)


def _least_clearance(hidden: Hidden) -> float:
    frets = range(1, hidden.plan_input.instrument.frets + 1)
    return min(hidden.height(number, fret) for number in hidden.numbers for fret in frets)


def _detune(rng: np.random.Generator, hidden: Hidden, kind: str) -> None:
    """Intonation out by what the bridge can mend, once the heights are right."""
    slope, middle = float(rng.normal(0.0, 4.0)), float(rng.normal(0.0, 4.0))
    pairs = [float(each) for each in rng.normal(0.0, 6.0, len(hidden.numbers))]
    apart = [float(each) for each in rng.normal(0.0, 0.4, len(hidden.numbers))]
    for place, number in enumerate(hidden.numbers):
        if kind in WHOLE:
            hidden.cents[number] = middle + slope * (hidden.across(number) - 0.5) + apart[place]
        elif kind == "paired-saddles":
            hidden.cents[number] = pairs[place // 2] + apart[place]
        elif kind == "fixed-saddle":
            goal = 1.7 * float(np.clip(pairs[place] / 10.0, -1.0, 1.0))
            target = {(item.quantity, item.side): item for item in hidden.plan_input.spec}
            part = hidden.across(number)
            height = target["action", "bass"].target * part + target["action", "treble"].target * (1 - part)
            # a fixed saddle was cut for the height that is wanted
            hidden.cents[number] = goal + hidden.cents_per_rise * (hidden.height(number, OCTAVE) - height)
        else:
            hidden.cents[number] = pairs[place]
