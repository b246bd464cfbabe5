"""A plan from a request alone: nothing is stored."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_server.catalogue import (
    plan_instrument_from_body,
    plan_other_sets,
    plan_string_set,
    spec_from_body,
)
from shimstock_server.database.tables.bench import ReadingSheet
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ConsentKind, Stage
from shimstock_server.learning import learned_responses

from .reading import Frame, read_readings
from .recommendation import STEPS, Recommendation, Timeline, make, plan_finding, plan_reading

NOWHERE = UUID(int=0)
"""The id of the sheet that stands in the request."""


def plan_from_body(
    session: Session, body: dict[str, Any], *, bench_id: UUID | None, now: datetime
) -> Recommendation:
    """The plan for the instrument, spec and readings of a request, as the bench that asks would read them.

    Raises
    ------
    InvalidFields
        When something is missing, or cannot be true of the instrument.
    """
    sent = body["instrument"]
    instrument = plan_instrument_from_body(session, sent)
    spec = spec_from_body(
        session,
        body["spec"],
        instrument,
        model_id=sent.get("model_id"),
        instrument_id=sent.get("instrument_id"),
    )
    readings = read_readings(session, Frame.of_plan(instrument), spec, body, bench_id=bench_id)
    room = body["room"]
    sheet = ReadingSheet(
        id=NOWHERE,
        stage=Stage.AS_RECEIVED,
        taken_at=now,
        received_at=now,
        position=body["position"],
        at_pitch=body["at_pitch"],
        acclimatised=body["acclimatised"],
        room_humidity=room["relative_humidity"].value if room else None,
        findings=[dict(finding, code=finding["code"].value) for finding in body["findings"]],
    )
    timeline = Timeline([sheet], [])
    source = plan_model.PlanInput(
        instrument=instrument,
        spec=spec,
        readings=tuple(plan_reading(reading, sheet, timeline) for reading in readings),
        findings=tuple(plan_finding(finding, sheet, timeline) for finding in sheet.findings),
        looked_over=body["looked_over"],
        wanted=_wanted(session, body["wants"], instrument),
        other_sets=_other_sets(session, sent),
        consents=tuple(
            plan_model.Consent(id=covers.value, given=given, steps=STEPS[covers])
            for covers, given in _said(body["consents"])
        ),
    )
    return make(replace(source, responses=_responses(session, body, source)))


def _said(consents: list[dict[str, Any]]) -> list[tuple[ConsentKind, bool]]:
    newest = {consent["covers"]: consent["given"] for consent in consents}
    return [(covers, newest[covers]) for covers in ConsentKind if covers in newest]


def _wanted(session: Session, wants: dict[str, Any], instrument: plan_model.Instrument) -> plan_model.Wanted:
    if wants.get("string_set_id") is None or wants.get("tuning_id") is None:
        return plan_model.Wanted(restring=bool(wants.get("restring")))
    courses: dict[int, list[int]] = {}
    for string in instrument.strings:
        if string.course is not None:
            courses.setdefault(string.course, []).append(string.number)
    strings = plan_string_set(
        session, wants["string_set_id"], wants["tuning_id"], list(courses.values()) or None
    )
    return plan_model.Wanted(restring=True, strings=strings)


def _other_sets(session: Session, sent: dict[str, Any]) -> tuple[plan_model.StringSet, ...]:
    """The shop's other sets, where the request is about an instrument of its own."""
    if sent.get("instrument_id") is None:
        return ()
    return plan_other_sets(session, session.get_one(Instrument, sent["instrument_id"]))


def _responses(session: Session, body: dict[str, Any], source: plan_model.PlanInput) -> plan_model.Responses:
    """What was learned of the instrument or model that is named, and the rod as the request says."""
    sent, rod = body["instrument"], body["rod_response"]
    instrument_id = sent.get("instrument_id")
    model_id = sent.get("model_id")
    if instrument_id is not None:
        model_id = session.get_one(Instrument, instrument_id).model_id
    responses = learned_responses(session, model_id, instrument_id, source)
    if rod is None:
        return responses
    return replace(
        responses,
        rod=plan_model.RodResponse(
            mean=rod["mean"].value, sd=rod["sd"].value, samples=0, source="given in the request"
        ),
    )
