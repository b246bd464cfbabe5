"""Simulated instruments: a hidden truth that answers to what a technician does, read with noisy tools.

Nothing here is taken from the calculations under test but the records of the plan's input: the neck's bend,
the string over it, the posts and the saddles are worked out again from first principles. What the rod has
shown so far goes through the same learning that the shop uses.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from shimstock_calc.plan.model import (
    Adjustment,
    Finding,
    Move,
    Plan,
    PlanInput,
    Reading,
    ReadingWanted,
    Responses,
    RodResponse,
    Step,
)
from shimstock_calc.response import AdjustmentSample, adjustment_response
from tests import cases
from tests.calc.plan_inputs import plan_input

GUITAR_BRIDGES = (
    "two-post",
    "individual-saddles",
    "paired-saddles",
    "fixed-saddle",
    "one-piece",
    "movable",
    "resting-tremolo",
    "floating-tremolo",
    "locking-tremolo",
)
ON_POSTS = {"two-post", "one-piece", "movable", "floating-tremolo", "locking-tremolo"}
WHOLE = {"one-piece", "movable"}
SLOW_SHARE = 0.15
"""Part of a rod turn's effect that comes within the hour after it."""


def x(fret: float, scale: float) -> float:
    return scale * (1 - 2 ** (-fret / 12))


@dataclass
class Truth:
    """What nobody sees."""

    curvature: float
    slots: dict[int, float]
    saddles: dict[int, float]
    saddle_out: dict[str, float]
    pickups: dict[tuple[str, str], float]
    cents: dict[int, float]
    response: float
    reversed: bool
    stuck: bool
    free_play: float
    compliance: float
    bend_share: float
    pending: float = 0.0
    slack: float = 0.0
    rod_turned: float = 0.0


@dataclass
class Bench:
    """An instrument on a bench: its truth, its tools, and the job's readings and adjustments so far."""

    case: dict[str, Any]
    truth: Truth
    rng: np.random.Generator
    clock: float = 0.0
    order: int = 0
    readings: list[Reading] = field(default_factory=list)
    adjustments: list[Adjustment] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    log: list[str] = field(default_factory=list)
    samples: list[AdjustmentSample] = field(default_factory=list)
    response: RodResponse = field(default_factory=RodResponse)

    def __post_init__(self) -> None:
        self.base: PlanInput = plan_input(self.case)
        self.instrument = self.base.instrument
        self.scale = self.instrument.scale_bass
        self.numbers = [string.number for string in self.instrument.strings]
        relief = next(item for item in self.base.spec if item.quantity == "relief")
        self.held, self.relief_fret = relief.held, relief.fret or 8

    # -------------------------------------------------------- the truth, from first principles

    def bend(self, fret: float) -> float:
        joint = x(self.instrument.body_joint_fret, self.scale)
        return 0.5 * self.truth.curvature * max(joint - x(fret, self.scale), 0.0) ** 2

    def relief(self) -> float:
        (low, high), at = self.held, self.relief_fret
        xs = [x(fret, self.scale) for fret in (low, at, high)]
        ys = [self.bend(fret) for fret in (low, at, high)]
        return ys[0] + (ys[2] - ys[0]) * (xs[1] - xs[0]) / (xs[2] - xs[0]) - ys[1]

    def per_curvature(self) -> float:
        kept, self.truth.curvature = self.truth.curvature, 1.0
        found = self.relief()
        self.truth.curvature = kept
        return found

    def height(self, number: int, fret: int) -> float:
        start = self.bend(0) + self.truth.slots[number]
        along = x(fret, self.scale) / self.scale
        return start + (self.truth.saddles[number] - start) * along - self.bend(fret)

    def string_of(self, side: str | None) -> int:
        return self.numbers[-1] if side == "bass" else self.numbers[0]

    def across(self, number: int) -> float:
        return self.numbers.index(number) / (len(self.numbers) - 1)

    def value(self, wanted: ReadingWanted) -> float:
        number = wanted.string or self.string_of(wanted.side)
        if wanted.quantity == "relief":
            return self.relief()
        if wanted.quantity == "action":
            return self.height(number, 12)
        if wanted.quantity == "nut-action":
            return self.height(number, 1)
        if wanted.quantity == "intonation":
            return self.truth.cents[number]
        if wanted.quantity == "saddle-out":
            return self.truth.saddle_out[wanted.side or "bass"]
        if wanted.quantity == "pickup-height":
            return self.truth.pickups[wanted.pickup or "", wanted.side or "bass"]
        raise AssertionError(f"nobody asked how to read {wanted.quantity}")

    # -------------------------------------------------------- reading

    def tool(self, quantity: str, method: str | None) -> dict[str, Any]:
        if quantity == "intonation":
            return cases.STROBE
        if quantity == "relief" and method != "straightedge" and self.case["feelers"]:
            return cases.FEELERS
        return cases.DIAL if quantity == "relief" else cases.DEPTH

    def read(self, wanted: ReadingWanted) -> None:
        tool = self.tool(wanted.quantity, wanted.method)
        seen = self.value(wanted) + self.rng.normal(0.0, tool["repeatability"])
        step = tool["resolution"]
        seen = round(round(seen / step) * step, 6)
        touching = wanted.quantity == "relief" and wanted.method != "straightedge" and seen <= 0.0
        self.order += 1
        self.clock += 2.0
        self.readings.append(
            Reading(
                id=f"r{self.order:04}",
                quantity=wanted.quantity,
                value=None if touching else seen,
                zero_or_less=touching,
                order=self.order,
                at=self.clock,
                side=wanted.side,
                string=wanted.string,
                pickup=wanted.pickup,
                fret=wanted.fret,
                held=wanted.held,
                **tool,
            )
        )

    def learned(self) -> RodResponse:
        """What the shop's own statistics make of this instrument's rod turns so far."""
        samples = []
        for turn in self.adjustments:
            if turn.part != "truss-rod" or not turn.turns or self.case["reversed"]:
                continue
            reliefs = [each for each in self.readings if each.quantity == "relief" and each.value is not None]
            before = [each for each in reliefs if each.order < turn.order]
            after = [each for each in reliefs if each.order > turn.order]
            if before and after:
                old, new = before[-1], after[0]
                samples.append(
                    AdjustmentSample(
                        turn.turns,
                        old.value or 0.0,
                        new.value or 0.0,
                        old.repeatability or 0.03,
                        new.repeatability or 0.03,
                        instrument="this",
                        model="its model",
                    )
                )
        if len(samples) != len(self.samples):
            self.samples = samples
            belief = adjustment_response(samples).of("this", "its model")
            self.response = RodResponse(min(belief.mean, -0.1), belief.sd, belief.samples, belief.source)
        return self.response

    def input(self) -> PlanInput:
        rod = replace(self.instrument.rod, reversed=self.case.get("rod_known", self.instrument.rod.reversed))
        return replace(
            self.base,
            instrument=replace(self.instrument, rod=rod),
            readings=tuple(self.readings),
            adjustments=tuple(self.adjustments),
            findings=tuple(self.findings),
            responses=Responses(rod=self.learned()),
        )

    # -------------------------------------------------------- doing

    def done(self, part: str, **what: Any) -> None:
        self.order += 1
        self.clock += 5.0
        self.adjustments.append(
            Adjustment(id=f"a{self.order:04}", part=part, order=self.order, at=self.clock, **what)  # type: ignore[arg-type]
        )

    def follow(self, step: Step) -> None:
        """Do one step as it is written."""
        self.log.append(step.kind)
        if step.kind == "settle":
            self.settle()
        elif step.kind == "restring":
            self.restring()
        elif step.kind == "balance":
            self.done("spring-claw")
        else:
            for move in step.moves:
                if move.turns or move.amount:
                    self.move(move)

    def settle(self) -> None:
        for _ in range(2):
            self.clock += 62.0
            self.bend_by(self.truth.pending)
            self.truth.pending = 0.0
            for wanted in self.relief_wanted():
                self.read(wanted)

    def relief_wanted(self) -> list[ReadingWanted]:
        return [ReadingWanted("relief", fret=self.relief_fret, held=self.held)]

    def bend_by(self, relief: float) -> None:
        self.truth.curvature += relief / self.per_curvature()
        for number in self.numbers:
            # a real neck does not bend evenly: the string's height follows a little more or less
            self.truth.saddles[number] += 2 * self.truth.bend_share * relief
        self.disturb(0.15)

    def disturb(self, spread: float) -> None:
        for number in self.numbers:
            self.truth.cents[number] += self.rng.normal(0.0, spread)

    def restring(self) -> None:
        wanted = self.base.wanted.strings
        pull = self.case["more_pull"] if wanted else 0.0
        relief = self.truth.compliance * pull
        self.bend_by(0.85 * relief)
        self.truth.pending += 0.15 * relief
        self.instrument = replace(
            self.instrument, strings=wanted.strings if wanted else self.instrument.strings
        )
        self.disturb(
            0.4 if self.instrument.bridge.kind in WHOLE | {"paired-saddles", "fixed-saddle"} else 2.0
        )
        self.done("strings")

    def move(self, move: Move) -> None:
        getattr(self, "_" + move.part.replace("-", "_"))(move)

    def _truss_rod(self, move: Move) -> None:
        assert move.turns is not None
        # what the hand does is the turning sense that was said
        clockwise = move.seen.startswith("clockwise")
        turned = abs(move.turns) if clockwise != self.truth.reversed else -abs(move.turns)
        effective = turned
        if self.instrument.rod.kind == "dual-action" and self.truth.free_play:
            if self.truth.slack == 0.0 or (turned > 0) != (self.truth.slack > 0):
                effective = math.copysign(max(abs(turned) - self.truth.free_play, 0.0), turned)
            self.truth.slack = turned
        relief = 0.0 if self.truth.stuck else effective * self.truth.response
        self.truth.rod_turned += turned
        self.bend_by((1 - SLOW_SHARE) * relief)
        self.truth.pending += SLOW_SHARE * relief
        self.done("truss-rod", turns=move.turns)

    def _bridge_post(self, move: Move) -> None:
        assert move.turns is not None
        bridge = self.instrument.bridge
        rise = abs(move.turns) * (bridge.height_thread_pitch or 0.0)
        rise = -rise if move.seen.startswith("clockwise") else rise
        posts, spread = bridge.post_spacing or 0.0, bridge.string_spread or 0.0
        for number in self.numbers:
            place = (posts - spread) / 2 + spread * self.across(number)
            part = place / posts if move.side == "bass" else 1 - place / posts
            self.raise_string(number, rise * part)
        self.done("bridge-post", turns=move.turns, side=move.side)

    def raise_string(self, number: int, rise: float) -> None:
        self.truth.saddles[number] += rise
        self.truth.cents[number] += 2.0 * rise + self.rng.normal(0.0, 0.2)
        for (name, side), gap in self.truth.pickups.items():
            if number == self.string_of(side):
                self.truth.pickups[name, side] = gap + 0.7 * rise

    def _saddle_screw(self, move: Move) -> None:
        assert move.turns is not None
        assert move.string is not None
        rise = abs(move.turns) * (self.instrument.bridge.height_thread_pitch or 0.0)
        rise = rise if move.seen.startswith("clockwise") else -rise
        group = [move.string]
        if self.instrument.bridge.kind == "paired-saddles":
            group.append(move.string + 1)
        for number in group:
            self.raise_string(number, rise)
        self.done("saddle-screw", turns=move.turns)

    def _saddle(self, move: Move) -> None:
        assert move.amount is not None
        rise = -move.amount if move.direction == "file" else move.amount
        rise += self.rng.normal(0.0, 0.02)
        side = move.side or "bass"
        self.truth.saddle_out[side] += rise
        for number in self.numbers:
            part = self.across(number) if side == "bass" else 1 - self.across(number)
            self.raise_string(number, rise * part)
        self.done("saddle", amount=move.amount, side=move.side)

    def _nut_slot(self, move: Move) -> None:
        """File in passes, reading after each, until the reading has come down to the stop."""
        assert move.string is not None
        stop = self.case["stops"][move.string]
        wanted = ReadingWanted("nut-action", side="bass" if move.string == self.numbers[-1] else "treble")
        for _ in range(60):
            self.truth.slots[move.string] -= 0.015
            self.done("nut-slot", amount=0.015, string=move.string)
            self.read(wanted)
            if (self.readings[-1].value or 0.0) <= stop:
                return

    def _pickup_screw(self, move: Move) -> None:
        assert move.turns is not None
        pickup = next(each for each in self.instrument.pickups if each.name == move.pickup)
        up = move.seen.startswith("clockwise") == (pickup.screw == "ring")
        rise = abs(move.turns) * (pickup.thread_pitch or 0.0)
        key = (pickup.name, move.side or "bass")
        self.truth.pickups[key] -= rise if up else -rise
        self.done("pickup-screw", turns=move.turns, side=move.side, pickup=move.pickup)

    def _saddle_position(self, move: Move) -> None:
        bridge = self.instrument.bridge
        distance = abs(move.amount or 0.0)
        away = move.direction == "away from the nut"
        if move.turns is not None:
            distance = abs(move.turns) * (bridge.intonation_screw_pitch or 0.0)
            away = move.seen.startswith("clockwise") == (bridge.intonation_screw_head == "tail")
        by = distance if away else -distance
        for number in self.numbers:
            if move.side is not None:
                part = self.across(number) if move.side == "bass" else 1 - self.across(number)
            elif bridge.kind == "paired-saddles":
                part = float((number - 1) // 2 == ((move.string or 1) - 1) // 2)
            else:
                part = float(number == move.string)
            # an octave: r' = r (X + d) / (X + 2 d)
            moved = by * part
            self.truth.cents[number] += 1200 * math.log2((self.scale + moved) / (self.scale + 2 * moved))
        self.done("saddle-position", turns=move.turns, amount=move.amount, string=move.string)

    # -------------------------------------------------------- judging

    def in_spec(self, slack: float = 0.0) -> bool:
        """Whether the hidden truth lies inside every limit; `slack` widens them, in uncertainties."""
        widths = {"intonation": 1.0, "relief": 0.03}
        for verdict in self.plan.verdicts:
            found = self.value(
                ReadingWanted(
                    verdict.quantity, side=verdict.side, string=verdict.string, pickup=verdict.pickup
                )
            )
            extra = slack * widths.get(verdict.quantity, 0.03)
            if verdict.lower is not None and found < verdict.lower - extra:
                return False
            if verdict.upper is not None and found > verdict.upper + extra:
                return False
        return True

    plan: Plan = field(init=False)


def make_bench(seed: int) -> Bench:
    """Make one instrument; everything follows from the seed."""
    rng = np.random.default_rng(seed)
    is_bass = rng.random() < 0.2
    kind = (
        str(rng.choice(GUITAR_BRIDGES))
        if not is_bass
        else str(rng.choice(["individual-saddles", "one-piece"]))
    )
    acoustic = kind == "fixed-saddle"
    scale = float(rng.choice([863.6, 812.8]) if is_bass else rng.choice([628.65, 647.7, 645.2]))
    joint = 14 if acoustic else int(rng.choice([16, 19, 22]) if not is_bass else 16)
    frets = 20 if acoustic or is_bass else int(rng.choice([21, 22, 24]))
    case = _case(rng, kind, scale=scale, joint=joint, frets=frets, is_bass=is_bass)
    bench = Bench(case, _truth(rng, case), rng)
    _start(bench)
    return bench


def _case(
    rng: np.random.Generator, kind: str, *, scale: float, joint: int, frets: int, is_bass: bool
) -> dict[str, Any]:
    acoustic = kind == "fixed-saddle"
    bridge: dict[str, Any] = {"kind": kind, "string_spread": 57.0 if is_bass else 52.0}
    if kind in ON_POSTS:
        bridge |= {
            "post_spacing": 82.0 if is_bass else 74.0,
            "height_thread_pitch": float(rng.choice([1.25, 1.0, 0.8])),
        }
    elif not acoustic:
        bridge |= {
            "height_thread_pitch": float(rng.choice([0.5, 0.453571])),
            "screws_per_saddle": int(rng.choice([1, 2])),
        }
        if kind == "paired-saddles":
            bridge["screws_per_saddle"] = 1
    if not acoustic and kind not in {"movable", "locking-tremolo"}:
        bridge |= {"intonation_screw_pitch": 0.5, "intonation_screw_head": str(rng.choice(["tail", "nut"]))}
    if acoustic:
        bridge |= {"saddle_total_height": [16.0, 16.0], "undersaddle_pickup": bool(rng.random() < 0.3)}
    rod_kind = str(rng.choice(["single-action", "dual-action"]))
    unproven = rng.random() < 0.05
    rod: dict[str, Any] = {"kind": rod_kind, "reversed": None if unproven else False}
    if rod_kind == "dual-action":
        rod["free_play"] = 0.125
    spec = _spec(is_bass, acoustic, frets)
    delicate = bool(rng.random() < 0.1)
    consents: list[dict[str, Any]] = [{"given": True, "steps": []}]
    if delicate:
        consents.append({"given": True, "steps": ["nut-filing", "saddle-filing", "high-pull"]})
    if rng.random() < 0.05:
        consents.append({"given": False, "steps": ["nut-filing"]})
    strings = cases.BASS_45 if is_bass else cases.LIGHT_9
    wanted: dict[str, Any] = {}
    if not is_bass and rng.random() < 0.15:
        wanted = {"restring": True}
        if rng.random() < 0.5:
            wanted["strings"] = {"name": "10 to 46 thou", "strings": cases.LIGHT_10}
    pickups = (
        []
        if acoustic
        else cases.PICKUPS
        if not is_bass
        else [{"name": "pickup", "screw": "body", "thread_pitch": 0.6}]
    )
    instrument = {
        "kind": "bass" if is_bass else "acoustic-steel" if acoustic else "electric",
        "strings": strings,
        "scale_bass": scale,
        "scale_treble": scale,
        "frets": frets,
        "body_joint_fret": joint,
        "radius_nut": 305.0,
        "radius_end": 305.0,
        "bridge": bridge,
        "rod": rod,
        "pickups": pickups,
        "delicate": delicate,
    }
    return {
        "instrument": instrument,
        "spec": spec,
        "consents": consents,
        "wanted": wanted,
        "feelers": bool(rng.random() < 0.6),
        "reversed": bool(unproven and rng.random() < 0.4),
        "more_pull": 82.0,
    }


def _spec(is_bass: bool, acoustic: bool, frets: int) -> list[dict[str, Any]]:
    held = [1, frets]
    if is_bass:
        return [
            *[
                each | ({"held": held} if each["quantity"] == "relief" else {})
                for each in cases.BASS_FINAL["spec"]
            ],
            cases.item("pickup-height", 2.6, 2.1, 3.1),
            cases.item("intonation", 0.0, -4.0, 4.0, fret=12),
        ]
    if acoustic:
        return [
            *[
                each | ({"held": held} if each["quantity"] == "relief" else {})
                for each in cases.LOW_SADDLE["spec"]
            ]
        ]
    return cases.electric_spec(held, 8)


def _truth(rng: np.random.Generator, case: dict[str, Any]) -> Truth:
    numbers = [string["number"] for string in case["instrument"]["strings"]]
    pickups = {
        (pickup["name"], side): float(rng.uniform(1.2, 3.6))
        for pickup in case["instrument"]["pickups"]
        for side in ("bass", "treble")
    }
    return Truth(
        curvature=0.0,
        slots=dict.fromkeys(numbers, 0.0),
        saddles=dict.fromkeys(numbers, 0.0),
        saddle_out={"bass": float(rng.uniform(4.8, 6.0)), "treble": float(rng.uniform(4.6, 5.8))},
        pickups=pickups,
        cents={},
        response=float(-np.clip(rng.normal(0.40, 0.12), 0.18, 0.70)),
        reversed=case["reversed"],
        stuck=False,
        free_play=float(rng.uniform(0.0, 0.12))
        if case["instrument"]["rod"]["kind"] == "dual-action"
        else 0.0,
        compliance=1.1e-3 * float(np.exp(rng.normal(0.0, 0.35))),
        bend_share=float(rng.normal(0.0, 0.3)),
    )


def _start(bench: Bench) -> None:
    """Set the truth so that relief and heights come in somewhat out, as instruments do."""
    rng, truth = bench.rng, bench.truth
    single = bench.instrument.rod.kind == "single-action"
    relief = float(np.clip(rng.normal(0.30, 0.13), 0.05 if single else -0.20, 0.65))
    truth.curvature = relief / bench.per_curvature()
    goal = {(item.quantity, item.side): item for item in bench.base.spec}
    for number in bench.numbers:
        part = bench.across(number)

        def between(quantity: str, part: float = part) -> float:
            return goal[quantity, "treble"].target * (1 - part) + goal[quantity, "bass"].target * part

        action = between("action")
        nut = between("nut-action") + float(rng.choice([0.0, 0.35], p=[0.8, 0.2])) * float(
            rng.uniform(0.3, 1.0)
        )
        joint = bench.instrument.body_joint_fret
        assert joint
        _fit(bench, number, action, nut + 0.43 * max(relief - 0.2, 0.0) + float(rng.normal(0.0, 0.02)))
    tilt, lift = float(rng.normal(0.0, 0.4)), float(np.clip(rng.normal(0.5, 0.7), -0.7, 2.5))
    if bench.instrument.bridge.kind == "fixed-saddle":
        lift = abs(lift)
        tilt = min(abs(tilt), lift / 2)
    for number in bench.numbers:
        raised = lift + tilt * (bench.across(number) - 0.5)
        truth.saddles[number] = max(truth.saddles[number] + raised, 0.8)
    width = 1.0 if bench.instrument.bridge.kind == "fixed-saddle" else 6.0
    slope, middle = float(rng.normal(0.0, 4.0)), float(rng.normal(0.0, 4.0))
    for number in bench.numbers:
        if bench.instrument.bridge.kind in WHOLE:
            truth.cents[number] = middle + slope * (bench.across(number) - 0.5) + float(rng.normal(0.0, 0.4))
        elif bench.instrument.bridge.kind == "paired-saddles":
            pair = np.random.default_rng((number - 1) // 2 + 7 * int(abs(middle) * 1000))
            truth.cents[number] = float(pair.normal(0.0, width)) + float(rng.normal(0.0, 0.4))
        else:
            truth.cents[number] = float(rng.normal(0.0, width))


def _fit(bench: Bench, number: int, action: float, nut: float) -> None:
    """Slot and saddle that give these heights: two straight-line equations."""
    x_1, x_12 = x(1, bench.scale), x(12, bench.scale)
    line_1, line_12 = nut + bench.bend(1), action + bench.bend(12)
    slope = (line_12 - line_1) / (x_12 - x_1)
    start = line_1 - slope * x_1
    bench.truth.slots[number] = start - bench.bend(0)
    bench.truth.saddles[number] = start + slope * bench.scale
