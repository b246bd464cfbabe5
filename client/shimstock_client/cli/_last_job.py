"""The job and the plan last seen on this bench, for the time when the service cannot be reached."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Any

from ._places import last_job_file, last_plan_file, read_kept, write_private


@dataclass(frozen=True)
class LastJob:
    """A job as it was last seen here."""

    url: str
    technician: str
    id: str
    number: int | None
    units: str
    claim: str | None = None
    """Under which it is held."""


def remember(job: LastJob) -> None:
    """Keep it, unless it is kept already."""
    if recall() != job:
        write_private(last_job_file(), asdict(job))


def forget() -> None:
    """No job is on this bench any more."""
    last_job_file().unlink(missing_ok=True)
    forget_plan()


def recall() -> LastJob | None:
    """Return the job last seen here; None when there is none, or its file is of no use."""
    try:
        return read_kept(last_job_file(), LastJob)
    except ValueError:
        return None


@dataclass(frozen=True)
class LastPlan:
    """The step to do now of the plan that was last shown here."""

    job_id: str
    digest: str
    what: str
    bodies: list[dict[str, Any]]
    """What is recorded when it is done as planned; empty when only the technician knows how far."""


def remember_plan(plan: LastPlan) -> None:
    """Keep it in the place of the one before."""
    write_private(last_plan_file(), asdict(plan))


def forget_plan() -> None:
    """Something was done or read since: what was planned counts no longer."""
    last_plan_file().unlink(missing_ok=True)


def recall_plan(job_id: str) -> LastPlan | None:
    """Return the plan last shown for a job; None when there is none, or its file is of no use."""
    try:
        plan = read_kept(last_plan_file(), LastPlan)
    except ValueError:
        return None
    return plan if plan is not None and plan.job_id == job_id else None
