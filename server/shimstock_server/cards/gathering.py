"""From a job's rows to what stands on its card."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta
from uuid import UUID
from zoneinfo import ZoneInfo

from sqlalchemy import select
from sqlalchemy.orm import Session

from shimstock_calc.plan import model as plan_model
from shimstock_server.bench import BeforeAndAfter, before_and_after, sheet_of
from shimstock_server.catalogue import strung
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.catalogue import StringSet, Tuning
from shimstock_server.database.tables.jobs import Job, JobMove, Quote
from shimstock_server.database.tables.owners import Instrument, Owner
from shimstock_server.database.words import JobState, Part
from shimstock_server.jobs import standing_consents
from shimstock_server.shop import settings

from .content import Air, CardContent, Geometry, InstrumentFacts, Line, Look, Offer, Refusal, Remark, Work

DONE_WITH = frozenset({JobState.READY, JobState.COLLECTED, JobState.RETURNED_UNREPAIRED, JobState.CANCELLED})
"""States in which the shop will not look again by itself."""


QUOTED = "quote: "
ABOUT_STRINGS = frozenset({"too-much-pull", "steel-on-nylon", "string-breaking"})
"""Notes about the strings that the owner asked for: what else would do is the owner's to choose."""


def for_the_owner(note: plan_model.Note) -> tuple[plan_model.Sentence, ...]:
    """What the owner could have done about a note of the plan; what is for the bench alone is left out."""
    if note.code in ABOUT_STRINGS:
        return note.alternatives
    if not note.quote:
        return ()
    quoted = [
        plan_model.Sentence(each.template.removeprefix(QUOTED), each.values)
        for each in note.alternatives
        if each.template.startswith(QUOTED)
    ]
    return tuple(quoted) or note.alternatives


def card_of(session: Session, job: Job) -> CardContent:
    """Gather what stands on the card of a job.

    Raises
    ------
    InstrumentUnknown
        When the job has no instrument yet.
    InstrumentIncomplete
        When the model lacks what a verdict needs.
    ShopNotSetUp
        Before a manager has set up the shop.
    """
    shop = settings(session)
    days = _Days(ZoneInfo(shop.zone))
    found = before_and_after(session, job)
    instrument = session.get_one(Instrument, job.instrument_id)
    owner = None if job.owner_id is None else session.get(Owner, job.owner_id)
    moves = list(session.scalars(select(JobMove).where(JobMove.job_id == job.id).order_by(JobMove.sequence)))
    works = tuple(_work(session, adjustment) for adjustment in found.adjustments)
    facts = _instrument(session, instrument, found, days)
    returned = job.state is JobState.RETURNED_UNREPAIRED and moves
    restrung = any(work.part == Part.STRINGS for work in works)
    settling = found.settled.state == "waiting" and job.state not in DONE_WITH
    last = found.last or found.standing
    return CardContent(
        job_id=str(job.id),
        number=job.number,
        state=job.state.value,
        shop=shop.name,
        shop_place=shop.place,
        owner=owner.name if owner is not None else None,
        instrument=facts,
        geometry=Geometry(
            scale_bass=found.source.instrument.scale_bass,
            scale_treble=found.source.instrument.scale_treble,
            frets=found.source.instrument.frets,
            body_joint_fret=found.source.instrument.body_joint_fret,
        ),
        lines=_lines(found, days),
        received_on=days.of(_moved(moves, JobState.RECEIVED) or job.created_at),
        read_before_on=days.of(found.received[-1].counts_at) if found.received else None,
        read_after_on=days.of(last[-1].counts_at) if last else None,
        ready_on=days.of(_moved(moves, JobState.READY)),
        final=found.final,
        works=works,
        refusals=tuple(
            Refusal(consent.covers.value, days.on(consent.given_at), consent.how, consent.note)
            for consent in standing_consents(session, job.id).values()
            if not consent.given
        ),
        offers=tuple(_offers(session, job)),
        remarks=tuple(
            Remark(note.code, note.text, for_the_owner(note))
            for note in found.notes
            if note.alternatives or note.quote
        ),
        offsets=tuple(note.text for note in found.notes if note.code == "bench-offset"),
        returned_because=moves[-1].reason if returned else None,
        room=_air(last),
        settling=settling,
        look_again_on=days.of(job.available_at) if job.state is JobState.SETTLING else None,
        strings_due_on=facts.strings_fitted_on + timedelta(days=shop.string_days)
        if restrung and facts.strings_fitted_on is not None
        else None,
    )


class _Days:
    """Days in the shop's zone."""

    def __init__(self, zone: ZoneInfo) -> None:
        self.zone = zone

    def on(self, instant: datetime) -> date:
        return instant.astimezone(self.zone).date()

    def of(self, instant: datetime | None) -> date | None:
        return None if instant is None else self.on(instant)


def _moved(moves: Sequence[JobMove], to: JobState) -> datetime | None:
    """When the job last moved to a state."""
    return next((move.created_at for move in reversed(moves) if move.to_state is to), None)


def _lines(found: BeforeAndAfter, days: _Days) -> tuple[Line, ...]:
    taken = {sheet.id: days.on(sheet.counts_at) for sheet in found.standing}
    return tuple(
        Line(
            quantity=after.quantity,
            target=after.target,
            lower=after.lower,
            upper=after.upper,
            side=after.side,
            string=after.string,
            pickup=after.pickup,
            fret=after.fret,
            held=after.held,
            source=after.source,
            before=_look(before, taken),
            after=_look(after, taken),
        )
        for before, after in found.items
    )


def _look(verdict: plan_model.Verdict, taken: dict[UUID, date]) -> Look:
    sheet = sheet_of(verdict)
    return Look(
        value=None if verdict.zero_or_less else verdict.as_read,
        uncertainty=verdict.uncertainty,
        probability=verdict.probability,
        verdict=verdict.verdict,
        zero_or_less=verdict.zero_or_less,
        accepted=verdict.accepted,
        stale=verdict.stale,
        reason=verdict.reason,
        read_on=None if sheet is None else taken.get(sheet),
        now=verdict.now,
        tomorrow=verdict.tomorrow,
    )


def _work(session: Session, adjustment: Adjustment) -> Work:
    string_set = tuning = None
    if adjustment.string_set_id is not None:
        string_set = session.get_one(StringSet, adjustment.string_set_id).name
    if adjustment.tuning_id is not None:
        tuning = session.get_one(Tuning, adjustment.tuning_id).name
    return Work(
        part=adjustment.part.value,
        side=adjustment.side.value if adjustment.side is not None else None,
        string=adjustment.string,
        pickup=adjustment.pickup,
        turns=adjustment.turns,
        amount=adjustment.amount,
        string_set=string_set,
        tuning=tuning,
        note=None if adjustment.part.term.measured or adjustment.part is Part.STRINGS else adjustment.note,
    )


def _instrument(
    session: Session, instrument: Instrument, found: BeforeAndAfter, days: _Days
) -> InstrumentFacts:
    """The instrument as it was at the card's readings: a later job may have strung it otherwise."""
    string_set, tuning = strung(session, instrument)
    last = found.last or found.standing
    if last and last[-1].string_set_id is not None:
        string_set = session.get_one(StringSet, last[-1].string_set_id)
    changes = [adjustment for adjustment in found.adjustments if adjustment.part is Part.STRINGS]
    if changes and changes[-1].string_set_id is not None:
        string_set = session.get_one(StringSet, changes[-1].string_set_id)
    tunings = [change.tuning_id for change in changes if change.tuning_id is not None]
    if tunings:
        tuning = session.get_one(Tuning, tunings[-1])
    fitted = days.on(changes[-1].counts_at) if changes else instrument.strings_fitted_on
    gauges = [string["gauge"] for string in string_set.strings] if string_set is not None else []
    model = instrument.model
    return InstrumentFacts(
        maker=model.maker,
        model=model.name,
        kind=model.kind.value,
        nickname=instrument.nickname,
        serial=instrument.serial,
        made_in=instrument.made_in,
        string_set=string_set.name if string_set is not None else None,
        thinnest=min(gauges, default=None),
        thickest=max(gauges, default=None),
        strings_fitted_on=fitted,
        tuning=tuning.name if tuning is not None else None,
        notes=tuple(tuning.notes) if tuning is not None else (),
        strings=model.strings,
        delicate_finish=model.delicate_finish,
    )


def _air(sheets: Sequence[ReadingSheet]) -> Air | None:
    """The room's air on the newest of these sheets that tells it."""
    for sheet in reversed(sheets):
        if sheet.room_temperature is not None and sheet.room_humidity is not None:
            return Air(sheet.room_temperature, sheet.room_humidity)
    return None


def _offers(session: Session, job: Job) -> list[Offer]:
    quotes = session.scalars(select(Quote).where(Quote.job_id == job.id).order_by(Quote.created_at, Quote.id))
    return [Offer(quote.work, quote.amount, quote.currency, quote.approved) for quote in quotes]


def reader_of(session: Session, job: Job) -> tuple[str, str]:
    """Units and language of the owner, else the shop's."""
    owner = None if job.owner_id is None else session.get(Owner, job.owner_id)
    if owner is not None:
        return owner.units.value, owner.language
    shop = settings(session)
    return shop.units.value, shop.language
