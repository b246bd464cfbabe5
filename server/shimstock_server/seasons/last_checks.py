"""The last final check or recheck of instruments, and whether it still stands.

A final check reads what moved since it was read: where nothing did, the last readings of a job that is done
are the check.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from uuid import UUID

from sqlalchemy import or_, select
from sqlalchemy.orm import Session

from shimstock_calc.vocabulary import DISTURBS
from shimstock_server.bench import standing
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, counts_at, oldest_first, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import WENT_OUT, Part, Stage

ENDS = (Stage.FINAL, Stage.RECHECK)
"""Stages that leave an instrument to itself."""
HARMLESS = frozenset(
    part for part in Part if not DISTURBS[part.value] & {"relief", "action"} and part is not Part.INSTRUMENT
)
"""Work that moves neither relief nor action; what is done to the whole instrument may."""
ONE_CHECK = timedelta(days=3)
"""Sheets of a stage that belong together; an older one is another look at another moisture."""


@dataclass(frozen=True)
class LastCheck:
    """How an instrument was left.

    Attributes
    ----------
    job_id : UUID
        Whose sheets they are.
    sheets : tuple of ReadingSheet
        Of the check, the oldest first.
    lately : tuple of ReadingSheet
        Of the job, whatever their stage, as far back as a check reaches: with what the check repeats.
    of_job : tuple of ReadingSheet
        Every standing sheet of the job.
    done : tuple of Adjustment
        What was done on the job, the oldest first.
    basis : str
        Names the check: its stage, its job, and which one of this stage it is when it is not the first.
    """

    job_id: UUID
    sheets: tuple[ReadingSheet, ...]
    lately: tuple[ReadingSheet, ...]
    of_job: tuple[ReadingSheet, ...]
    done: tuple[Adjustment, ...]
    basis: str


def last_checks(session: Session, instrument_ids: Sequence[UUID]) -> dict[UUID, LastCheck]:
    """Return the last check of each instrument that has one since which nothing was done to it."""
    newest = _newest(session, instrument_ids)
    done = _done(session, list(newest))
    left = {
        instrument_id: (job_id, sheet_id)
        for instrument_id, (job_id, sheet_id, taken_at) in newest.items()
        if not any(act.counts_at > taken_at and act.part not in HARMLESS for act in done[instrument_id])
    }
    of_job = _sheets(session, [job_id for job_id, _ in left.values()])
    return {
        instrument_id: _check(
            of_job[job_id], sheet_id, [act for act in done[instrument_id] if act.job_id == job_id]
        )
        for instrument_id, (job_id, sheet_id) in left.items()
    }


def _newest(session: Session, ids: Sequence[UUID]) -> dict[UUID, tuple[UUID, UUID, datetime]]:
    """Return job, sheet and instant of each instrument's newest sheet that leaves it to itself."""
    rows = session.execute(
        select(
            Job.instrument_id, ReadingSheet.job_id, ReadingSheet.id, ReadingSheet.taken_at,
            ReadingSheet.received_at,
        )
        .join(Job, Job.id == ReadingSheet.job_id)
        .where(
            Job.instrument_id.in_(ids),
            or_(ReadingSheet.stage.in_(ENDS), Job.state.in_(WENT_OUT)),
            ReadingSheet.at_pitch,
            stands(ReadingSheet),
        )
    )  # fmt: skip
    found = {}
    in_order = sorted(rows, key=lambda row: (counts_at(row.taken_at, row.received_at), row.id))
    for instrument_id, job_id, sheet_id, taken_at, received_at in in_order:
        assert instrument_id is not None
        found[instrument_id] = job_id, sheet_id, counts_at(taken_at, received_at)
    return found


def _done(session: Session, ids: Sequence[UUID]) -> defaultdict[UUID, list[Adjustment]]:
    rows = session.execute(
        select(Job.instrument_id, Adjustment)
        .join(Job, Job.id == Adjustment.job_id)
        .where(Job.instrument_id.in_(ids), stands(Adjustment))
    )
    found: defaultdict[UUID, list[Adjustment]] = defaultdict(list)
    for instrument_id, adjustment in rows:
        assert instrument_id is not None
        found[instrument_id].append(adjustment)
    for each in found:
        found[each] = oldest_first(found[each])
    return found


def _sheets(session: Session, job_ids: Sequence[UUID]) -> dict[UUID, list[ReadingSheet]]:
    """Return the standing sheets of jobs, the oldest first."""
    rows = oldest_first(session.scalars(select(ReadingSheet).where(ReadingSheet.job_id.in_(job_ids))))
    found: defaultdict[UUID, list[ReadingSheet]] = defaultdict(list)
    for sheet in rows:
        found[sheet.job_id].append(sheet)
    return {job_id: standing(sheets) for job_id, sheets in found.items()}


def _check(of_job: Sequence[ReadingSheet], newest_id: UUID, done: Sequence[Adjustment]) -> LastCheck:
    newest = next(sheet for sheet in of_job if sheet.id == newest_id)
    until = [sheet for sheet in of_job if sheet.counts_at <= newest.counts_at]
    lately = [sheet for sheet in until if sheet.counts_at > newest.counts_at - ONE_CHECK]
    alike = [sheet for sheet in until if sheet.stage is newest.stage]
    sheets = [sheet for sheet in lately if sheet.stage is newest.stage]
    number = _checks(sheet.counts_at for sheet in alike if sheet.at_pitch)
    basis = f"{newest.stage.value}:{newest.job_id}" + (f":{number}" if number > 1 else "")
    return LastCheck(newest.job_id, tuple(sheets), tuple(lately), tuple(of_job), tuple(done), basis)


def _checks(times: Iterable[datetime]) -> int:
    """Return how many checks rising times belong to.

    >>> noon = datetime(2026, 10, 12, 12)
    >>> _checks([noon, noon + timedelta(hours=2), noon + timedelta(days=90)])
    2
    """
    return 1 + sum(later - earlier >= ONE_CHECK for earlier, later in pairwise(times))
