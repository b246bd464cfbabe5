"""Whether a job is read to the end before it becomes ready."""

from __future__ import annotations

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from shimstock_calc.errors import CalculationError
from shimstock_calc.plan import model as plan_model
from shimstock_calc.plan.wording import readings_text
from shimstock_server.catalogue import InstrumentIncomplete
from shimstock_server.database.tables.bench import Adjustment, ReadingSheet, stands
from shimstock_server.database.tables.jobs import Job
from shimstock_server.database.words import Stage
from shimstock_server.jobs import FinalReadingsNeeded, on_final_check

from .before_and_after import unread


@on_final_check
def refuse_unread(session: Session, job: Job) -> None:
    """Refuse to call a job ready while an item of its spec has no reading that still stands.

    Raises
    ------
    FinalReadingsNeeded
        With the items that have none.
    """
    try:
        left = unread(session, job)
    except (InstrumentIncomplete, CalculationError):
        # without geometry or spec nothing can be judged: a final sheet after the last work has to do
        if not _read_since_the_last_work(session, job):
            raise FinalReadingsNeeded from None
        return
    if left:
        wanted = [
            plan_model.ReadingWanted(each.quantity, each.side, each.string, each.pickup) for each in left
        ]
        raise FinalReadingsNeeded(
            f"No reading that still stands of: {readings_text(wanted)}. Read it, or give the reason why the "
            "job is ready without.",
            unread=[
                {
                    "quantity": each.quantity,
                    "side": each.side,
                    "string": each.string,
                    "pickup": each.pickup,
                }
                for each in left
            ],
        )


def _read_since_the_last_work(session: Session, job: Job) -> bool:
    last_done = session.scalar(
        select(func.max(Adjustment.done_at)).where(Adjustment.job_id == job.id, stands(Adjustment))
    )
    newest = session.scalar(
        select(func.max(ReadingSheet.taken_at))
        .where(ReadingSheet.job_id == job.id, ReadingSheet.stage == Stage.FINAL)
        .where(stands(ReadingSheet))
    )
    return newest is not None and (last_done is None or newest >= last_done)
