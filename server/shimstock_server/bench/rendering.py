"""A plan as it is answered: the same records, with every sentence written in the reader's units."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from shimstock_calc.belief.surprise import weigh
from shimstock_calc.belief.written import write_down
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.wording import plan_text
from shimstock_calc.plan.words import Measure, Sentence, Writer, write_measure
from shimstock_calc.vocabulary import QUANTITIES
from shimstock_server.catalogue import KIND_OF_VALUE
from shimstock_server.database.words import Quantity
from shimstock_server.web.quantities import write

from .recommendation import Recommendation

SPOKEN: dict[str, str] = {
    **{word: term.kind_of_value for word, term in QUANTITIES.items() if term.unit == "mm"},
    "height": "thickness",
    "distance": "distance",
    "radius": "radius",
    "gauge": "gauge",
    "pull": "tension",
    "frequency": "pitch",
}
"""Measures whose unit depends on the reader, and the kind of quantity that each is told as."""


def writer(units: str) -> Writer:
    """How a sentence's measures are written for somebody who thinks in `mm` or in `inch`."""

    def speak(measure: Measure) -> str:
        kind = SPOKEN.get(measure.kind)
        return write_measure(measure) if kind is None else write(kind, measure.value, units)

    return speak


def render(recommendation: Recommendation, units: str) -> dict[str, Any]:
    """A plan as its schema dumps it."""
    speak = writer(units)
    plan, source = recommendation.plan, recommendation.source
    return {
        "digest": recommendation.digest,
        "verdicts": [_verdict(verdict, speak) for verdict in plan.verdicts],
        "steps": [_step(step, speak) for step in plan.steps],
        "notes": [
            {
                "code": note.code,
                "text": note.text.text(speak),
                "alternatives": [each.text(speak) for each in note.alternatives],
                "quote": note.quote,
            }
            for note in plan.notes
        ],
        "settling": {
            "state": plan.settled.state,
            "reason": _text(plan.settled.reason, speak),
        },
        "settle_for": plan.settle_for,
        "rest_until": recommendation.at(plan.rest_until),
        "read_after_rest": [_wanted(reading) for reading in plan.read_after_rest],
        "not_asked": [asdict(each) | {"probability": each.chance} for each in plan.not_asked],
        "surprises": [show_surprise(each, speak) for each in plan.surprises],
        "complete": plan.complete,
        "finished": plan.finished,
        "rod_doubt": plan.rod_doubt,
        "inputs": {
            "readings": list(plan.readings_used),
            "adjustments": [adjustment.id for adjustment in source.adjustments],
            "consents": [consent.id for consent in source.consents],
            "spec": [_spec_item(item) for item in source.spec],
            "rod_response": {
                "mean": source.responses.rod.mean,
                "sd": source.responses.rod.sd,
                "samples": source.responses.rod.samples,
                "source": source.responses.rod.source,
            },
            "coupling_sd": source.responses.coupling_sd,
            "restring_wanted": source.wanted.restring,
        },
        "text": plan_text(plan, speak),
    }


def _text(sentence: Sentence | None, speak: Writer) -> str | None:
    return None if sentence is None else sentence.text(speak)


def _kind(quantity: str) -> str:
    return KIND_OF_VALUE[Quantity(quantity)]


def _verdict(verdict: plan_model.Verdict, speak: Writer) -> dict[str, Any]:
    return asdict(verdict) | {
        "kind": _kind(verdict.quantity),
        "reading": _reading_id(verdict.reading),
        "reason": _text(verdict.reason, speak),
        "now": _believed(verdict.now, verdict.quantity),
        "tomorrow": _believed(verdict.tomorrow, verdict.quantity),
    }


def show_surprise(found: plan_model.SurprisingReading, speak: Writer) -> dict[str, Any]:
    """A reading that does not fit, as its schema dumps it."""
    kind, other = _kind(found.quantity), found.other
    return asdict(found) | {
        "kind": kind,
        "reading": _reading_id(found.reading),
        "expected": _shown(found.expected, found.spread, kind),
        "other": None
        if other is None
        else asdict(other) | {"kind": _kind(other.quantity), "reading": _reading_id(other.reading)},
        "slips": [
            {"code": slip.code, "reading": _reading_id(slip.reading), "probability": slip.chance}
            for slip in found.slips
        ],
        "meant": None
        if found.meant is None
        else asdict(found.meant) | {"kind": kind, "text": found.meant.text.text(speak)},
        "set_aside": _reading_id(found.aside),
        "text": found.text.text(speak),
    }


def _shown(value: float | None, spread: float | None, kind: str) -> dict[str, Any] | None:
    return None if value is None else {"kind": kind, "value": value, "uncertainty": spread}


def _believed(believed: plan_model.Believed | None, quantity: str) -> dict[str, Any] | None:
    if believed is None:
        return None
    return {
        "kind": _kind(quantity),
        "value": believed.value,
        "uncertainty": believed.spread,
        "probability": believed.chance,
    }


def _reading_id(identifier: str | None) -> dict[str, Any] | None:
    if identifier is None:
        return None
    sheet, _, number = identifier.rpartition("/")
    return {"sheet_id": sheet or None, "number": int(number) if number.isdecimal() else None}


def _step(step: plan_model.Step, speak: Writer) -> dict[str, Any]:
    return {
        "number": step.number,
        "kind": step.kind,
        "part": step.part,
        "what": step.what.text(speak),
        "moves": [_move(move) for move in step.moves],
        "changes": [_change(change) for change in step.changes],
        "total": [_change(change) for change in step.total],
        "forecasts": [_change(change) for change in step.forecasts],
        "total_forecasts": [_change(change) for change in step.total_forecasts],
        "probability": step.probability,
        "confidence": _text(step.confidence, speak),
        "why": _text(step.why, speak),
        "cautions": [asdict(caution) for caution in step.cautions],
        "readings_next": [_wanted(reading) for reading in step.readings_next],
        "irreversible": step.irreversible,
        "needs_consent": step.needs_consent,
        "consent_step": step.consent_step,
        "blocked_by": [{"code": block.code, "text": block.text.text(speak)} for block in step.blocked_by],
        "do_now": step.do_now,
        "changes_instrument": step.changes_instrument,
        "worth": None if step.worth is None else asdict(step.worth),
    }


def _wanted(reading: plan_model.ReadingWanted) -> dict[str, Any]:
    now = reading.expected_now
    return asdict(reading) | {
        "expected_now": None if now is None else _shown(now.value, now.spread, _kind(reading.quantity))
    }


def show_state(recommendation: Recommendation) -> dict[str, Any]:
    """All that is believed of the instrument, as its schema dumps it."""
    state = write_down(weigh(recommendation.source).belief)
    return {
        "time": recommendation.at(state.time),
        "numbers": [asdict(each) | {"uncertainty": each.spread} for each in state.numbers],
        "correlations": state.correlations,
    }


def _change(change: plan_model.Change) -> dict[str, Any]:
    return asdict(change) | {"kind": _kind(change.quantity)}


def _move(move: plan_model.Move) -> dict[str, Any]:
    return asdict(move) | {
        "amount_kind": "distance" if move.part == "saddle-position" else "thickness",
        "wanted_kind": "turns"
        if move.turns is not None
        else "distance"
        if move.part == "saddle-position"
        else "thickness",
    }


def _spec_item(item: plan_model.SpecItem) -> dict[str, Any]:
    return asdict(item) | {"kind": _kind(item.quantity)}
