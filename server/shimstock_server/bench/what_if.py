"""A plan from a request alone: nothing is stored."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_server.catalogue import (
    KIND_OF_VALUE,
    plan_instrument_from_body,
    plan_other_sets,
    plan_string_set,
    spec_from_body,
)
from shimstock_server.database.tables.base import new_id
from shimstock_server.database.tables.bench import Adjustment, Reading, ReadingSheet
from shimstock_server.database.tables.owners import Instrument
from shimstock_server.database.words import ConsentKind, Part, Stage
from shimstock_server.learning import BenchTools, learned_responses, present_tools
from shimstock_server.shop import (
    ShopNotSetUp,
    learned_minutes,
    merge_prices,
    plan_settings,
    prices_of,
    settings,
    told_in,
)
from shimstock_server.web.problems import InvalidFields
from shimstock_server.web.quantities import KINDS

from .adjustments import adjustment_errors
from .reading import DescribedTool, Frame, read_readings
from .recommendation import (
    STEPS,
    Recommendation,
    Timeline,
    make,
    plan_adjustment,
    plan_finding,
    plan_reading,
)

NOWHERE = UUID(int=0)
"""The id of the sheet that stands in the request itself."""

GIVEN = "given in the request"
OFFSET = ("offset", "offset_uncertainty", "reproducibility")
"""What a request may say of a tool's offset: how large, how sure, and how benches differ beyond it."""
OF_SHEET = ("position", "at_pitch", "acclimatised")


def plan_from_body(
    session: Session, body: dict[str, Any], *, bench_id: UUID | None, now: datetime
) -> Recommendation:
    """The plan for the instrument, spec, readings and adjustments of a request, as a job's would be made.

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
    history = _History(session, instrument, spec, body, bench_id=bench_id, now=now)
    restrung = any(adjustment.part is Part.STRINGS for adjustment in history.adjustments)
    timeline = Timeline(history.sheets, history.adjustments)
    source = plan_model.PlanInput(
        instrument=instrument,
        spec=spec,
        readings=tuple(
            plan_reading(reading, sheet, timeline, history.bench_tools)
            for sheet in history.sheets
            for reading in history.readings[sheet.id]
        ),
        adjustments=tuple(plan_adjustment(adjustment, timeline) for adjustment in history.adjustments),
        findings=tuple(
            plan_finding(finding, sheet, timeline) for sheet in history.sheets for finding in sheet.findings
        ),
        looked_over=body["looked_over"],
        wanted=plan_model.Wanted() if restrung else _wanted(session, body["wants"], instrument),
        other_sets=_other_sets(session, sent),
        consents=tuple(
            plan_model.Consent(id=covers.value, given=given, steps=STEPS[covers])
            for covers, given in _said(body["consents"])
        ),
        settings=_settings(session, body["settings"]),
    )
    return make(replace(source, responses=_responses(session, body, source)), timeline.began)


def _offset(tool: dict[str, Any]) -> plan_model.BenchOffset | None:
    """What a request says of a tool's offset; None where it says nothing."""
    if all(tool[name] is None for name in OFFSET):
        return None
    mean, sd, reproducibility = (0.0 if tool[name] is None else tool[name].value for name in OFFSET)
    return plan_model.BenchOffset(tool["bench"] or "this bench", mean, sd, reproducibility, GIVEN)


class _History:
    """What was read and done, as rows that are not kept; one answer names every bad field."""

    def __init__(
        self,
        session: Session,
        instrument: plan_model.Instrument,
        spec: tuple[plan_model.SpecItem, ...],
        body: dict[str, Any],
        *,
        bench_id: UUID | None,
        now: datetime,
    ) -> None:
        self.session, self.spec, self.bench_id = session, spec, bench_id
        self.frame = Frame.of_plan(instrument)
        self.errors: list[dict[str, str]] = []
        self.readings: dict[UUID, list[Reading]] = {}
        self.tools = self._tools(body["tools"])
        known = BenchTools() if bench_id is None else present_tools(session)
        said = {tool.id: tool.offset for tool in self.tools.values() if tool.offset is not None}
        self.bench_tools = known.beside(bench_id or NOWHERE, said)
        sheets = [self._sheet(wish, n, UUID(int=n + 1)) for n, wish in enumerate(body["sheets"])]
        if body["readings"] or body["findings"] or not sheets:
            sheets.append(self._sheet({**body, "taken_at": body["taken_at"] or now}, None, NOWHERE))
        acts = [self._adjustment(wish, n) for n, wish in enumerate(body["adjustments"])]
        self._check_ids("sheets", [sheet.id for sheet in sheets])
        self._check_ids("adjustments", [act.id for act in acts])
        if self.errors:
            raise InvalidFields(errors=self.errors)
        self.sheets = sorted(sheets, key=lambda sheet: (sheet.counts_at, str(sheet.id)))
        self.adjustments = sorted(acts, key=lambda act: (act.counts_at, str(act.id)))

    def _tools(self, sent: list[dict[str, Any]]) -> dict[str, DescribedTool]:
        found: dict[str, DescribedTool] = {}
        for n, each in enumerate(sent):
            unit = told_in(each["resolution"])
            repeats = each["repeatability"]
            for name in ("repeatability", *OFFSET):
                if each[name] is not None and told_in(each[name]) != unit:
                    self._wrong(f"/tools/{n}/{name}/unit", f"must be of the resolution's kind: {unit}")
            if each["name"] in found:
                self._wrong(f"/tools/{n}/name", "is there twice")
            found[each["name"]] = DescribedTool(
                id=new_id(),
                name=each["name"],
                quantities=tuple(
                    quantity.value for quantity, kind in KIND_OF_VALUE.items() if KINDS[kind].unit == unit
                ),
                resolution=each["resolution"].value,
                repeatability=None if repeats is None else repeats.value,
                offset=_offset(each),
            )
        return found

    def _sheet(self, wish: dict[str, Any], number: int | None, usual_id: UUID) -> ReadingSheet:
        at = "" if number is None else f"/sheets/{number}"
        room = wish["room"]
        sheet = ReadingSheet(
            id=wish.get("id") or usual_id,
            bench_id=self.bench_id or NOWHERE,
            stage=Stage.AS_RECEIVED,
            taken_at=wish["taken_at"],
            received_at=wish["taken_at"],
            **{name: wish[name] for name in OF_SHEET},
            room_humidity=room["relative_humidity"].value if room else None,
            findings=[dict(finding, code=finding["code"].value) for finding in wish["findings"]],
        )
        try:
            readings = read_readings(
                self.session, self.frame, self.spec, wish, bench_id=self.bench_id, tools=self.tools
            )
        except InvalidFields as problem:
            readings = []
            for error in problem.errors or []:
                self._wrong(at + error["pointer"], error["message"])
        self.readings[sheet.id] = readings
        return sheet

    def _adjustment(self, wish: dict[str, Any], number: int) -> Adjustment:
        for pointer, message in adjustment_errors(self.frame, wish).items():
            self._wrong(f"/adjustments/{number}{pointer}", message)
        turns, amount = wish["turns"], wish["amount"]
        return Adjustment(
            id=wish["id"] or UUID(int=number + 1),
            done_at=wish["done_at"],
            received_at=wish["done_at"],
            part=wish["part"],
            side=wish["side"],
            string=wish["string"],
            pickup=wish["pickup"],
            turns=None if turns is None else turns.value,
            amount=None if amount is None else amount.value,
        )

    def _check_ids(self, where: str, ids: list[UUID]) -> None:
        for n, each in enumerate(ids):
            if each in ids[:n]:
                self._wrong(f"/{where}/{n}/id", "is there twice")

    def _wrong(self, pointer: str, message: str) -> None:
        self.errors.append({"pointer": pointer, "message": message})


def _settings(session: Session, sent: dict[str, Any]) -> plan_model.Settings:
    """The shop's settings, or the usual ones before it is set up, and what the request says instead."""
    try:
        shop = settings(session)
        found, stored = plan_settings(shop), shop.prices
    except ShopNotSetUp:
        found, stored = plan_model.Settings(), {}
    if "settle_first_minutes" in sent:
        found = replace(found, settle_minutes=float(sent["settle_first_minutes"]))
    for name in ("humidity_low", "humidity_high"):
        if name in sent:
            found = replace(found, **{name: sent[name].value})
    if found.humidity_low >= found.humidity_high:
        message = f"must lie below the upper limit, {found.humidity_high:g} percent"
        raise InvalidFields.at("/settings/humidity_low", message)
    if "everything_at_the_end" in sent:
        found = replace(found, everything_at_the_end=sent["everything_at_the_end"])
    return replace(
        found, prices=prices_of(merge_prices(stored, sent.get("prices", {})), learned_minutes(session))
    )


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
    if rod is not None:
        given = plan_model.RodResponse(rod["mean"].value, rod["sd"].value, source=GIVEN)
        responses = replace(responses, rod=given)
    if body["coupling_sd"] is not None:
        responses = replace(responses, coupling_sd=body["coupling_sd"])
    if body["neck_compliance"] is not None:
        compliance = body["neck_compliance"].value
        responses = replace(responses, neck_compliance=compliance, neck_compliance_source=GIVEN)
    return responses
