"""How an instrument came in and how it stands: the verdicts of one job's first and last readings.

The last reading of a quantity is the newest one, whatever the stage of its sheet. It stands as long as
nothing has moved the quantity since.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from uuid import UUID

from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.build import make_plan
from shimstock_calc.plan.goals import SIDES, Goal, goals
from shimstock_calc.plan.readings import Sheet
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import WENT_OUT, JobState, Stage

from .recommendation import gather
from .sheets import sheets_of, standing
from .withdrawing import adjustments_of


@dataclass(frozen=True)
class BeforeAndAfter:
    """The verdicts at both ends of a job, item by item, and what they were made from."""

    source: plan_model.PlanInput
    items: tuple[tuple[plan_model.Verdict, plan_model.Verdict], ...]
    """Before and after of every item of the spec, in the trade's order."""
    notes: tuple[plan_model.Note, ...]
    """What the plan says besides; empty when readings of the whole job contradict each other."""
    settled: plan_model.Settling
    received: tuple[ReadingSheet, ...]
    """The sheets of the first as-received stage, oldest first."""
    last: tuple[ReadingSheet, ...]
    """The sheets that the readings after stand on, oldest first."""
    final: bool
    """Whether the work is done, and nothing was moved after it was last read."""
    standing: tuple[ReadingSheet, ...]
    """Every sheet that no correction has replaced, oldest first."""
    adjustments: tuple[Adjustment, ...]


def before_and_after(session: Session, job: Job) -> BeforeAndAfter:
    """Judge a job's first as-received readings and its last ones.

    Raises
    ------
    InstrumentUnknown
        When the job has no instrument yet.
    InstrumentIncomplete
        When the model lacks what a verdict needs; names the fields.
    Missing
        When no setup spec applies.
    """
    source = gather(session, job)
    sheets = standing(sheets_of(session, job.id))
    adjustments = adjustments_of(session, job.id)
    received = as_received(sheets, adjustments)
    wanted = goals(source)
    before = verdicts(replace(source, adjustments=()), wanted, received)
    after = verdicts(source, wanted, at_the_end(job, sheets))
    plan = _plan(source)
    if plan is not None:
        after = [believed(ended, said) for ended, said in zip(after, plan.verdicts, strict=True)]
    return BeforeAndAfter(
        source,
        tuple(zip(before, after, strict=True)),
        plan.notes if plan is not None else (),
        plan.settled if plan is not None else plan_model.Settling("not needed"),
        tuple(received),
        _stood_on(after, sheets),
        _is_checked(source, job, sheets) and _all_stand(after),
        tuple(sheets),
        tuple(adjustments),
    )


def as_received(sheets: list[ReadingSheet], adjustments: list[Adjustment]) -> list[ReadingSheet]:
    """The sheets of the first as-received stage: those taken before anything was done."""
    first_act = min((adjustment.counts_at for adjustment in adjustments), default=None)
    return [
        sheet
        for sheet in sheets
        if sheet.stage is Stage.AS_RECEIVED and (first_act is None or sheet.counts_at <= first_act)
    ]


def at_the_end(job: Job, sheets: list[ReadingSheet]) -> list[ReadingSheet]:
    """The sheets among which a job's last readings are; a recheck of what went out is not one of them."""
    if job.state in WENT_OUT or any(sheet.stage is Stage.FINAL for sheet in sheets):
        return [sheet for sheet in sheets if sheet.stage is not Stage.RECHECK] or sheets
    return sheets


def unread(session: Session, job: Job) -> list[plan_model.Verdict]:
    """The items of the spec that have no reading which still stands.

    Where the shop reads everything at the end, a reading of an earlier stage does not count.

    Raises
    ------
    InstrumentIncomplete
        When the model lacks what a verdict needs; names the fields.
    Missing
        When no setup spec applies.
    """
    source = gather(session, job)
    sheets = at_the_end(job, standing(sheets_of(session, job.id)))
    if source.settings.everything_at_the_end:
        sheets = [sheet for sheet in sheets if sheet.stage is Stage.FINAL]
    return [found for found in verdicts(source, goals(source), sheets) if not found.usable]


def _stood_on(after: Collection[plan_model.Verdict], sheets: list[ReadingSheet]) -> tuple[ReadingSheet, ...]:
    used = {sheet_of(verdict) for verdict in after}
    return tuple(sheet for sheet in sheets if sheet.id in used)


def _is_checked(source: plan_model.PlanInput, job: Job, sheets: Collection[ReadingSheet]) -> bool:
    """Whether the final check has begun; where everything is read at the end, by a sheet of stage final."""
    if any(sheet.stage is Stage.FINAL for sheet in sheets):
        return True
    return not source.settings.everything_at_the_end and job.state in WENT_OUT | {JobState.FINAL_CHECK}


def _all_stand(after: Collection[plan_model.Verdict]) -> bool:
    read = [verdict for verdict in after if verdict.reading is not None]
    return bool(read) and all(verdict.usable for verdict in read)


def verdicts(
    source: plan_model.PlanInput, wanted: Collection[Goal], sheets: Collection[ReadingSheet]
) -> list[plan_model.Verdict]:
    """Judge every goal from the readings of these sheets alone."""
    ids = {str(sheet.id) for sheet in sheets}
    kept = tuple(reading for reading in source.readings if reading.id.rpartition("/")[0] in ids)
    known = Sheet(replace(source, readings=kept))
    return [_verdict(known, goal) for goal in wanted]


def repeated(last: plan_model.Verdict, newest: plan_model.Verdict) -> plan_model.Verdict:
    """The verdict of the last readings, or of the newest one where the last ones left a quantity out."""
    return newest if last.reading is None else last


def believed(last: plan_model.Verdict, said: plan_model.Verdict) -> plan_model.Verdict:
    """The last reading itself, with what the whole job says of its quantity."""
    if last.reading != said.reading:
        return last
    last = replace(last, now=said.now, tomorrow=said.tomorrow)
    if not (last.usable and said.usable) or said.verdict is None:
        return last
    return replace(last, verdict=said.verdict, probability=said.probability)


def _verdict(known: Sheet, goal: Goal) -> plan_model.Verdict:
    """The verdict of a goal; a relief that was read without its side, or on one side alone, stands for it."""
    found = known.know(goal).verdict
    if found.reading is not None or goal.spot.quantity != "relief":
        return found
    elsewhere: tuple[plan_model.Side | None, ...] = SIDES if goal.spot.side is None else (None,)
    for side in elsewhere:
        other = known.know(replace(goal, spot=goal.spot._replace(side=side))).verdict
        if other.reading is not None:
            return replace(other, side=goal.spot.side)
    return found


def _plan(source: plan_model.PlanInput) -> plan_model.Plan | None:
    try:
        return make_plan(source)
    except CalculationError:
        return None  # the readings of both ends still stand on the card, each judged for itself


def sheet_of(verdict: plan_model.Verdict) -> UUID | None:
    """The sheet that a verdict's reading stands on."""
    return None if verdict.reading is None else UUID(verdict.reading.rpartition("/")[0])
