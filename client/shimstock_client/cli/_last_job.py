"""The job last seen on this bench, so that readings can be typed while the service cannot be reached."""

from __future__ import annotations

from dataclasses import asdict, dataclass

from ._places import last_job_file, read_json, write_private


@dataclass(frozen=True)
class LastJob:
    """A job as it was last seen here."""

    url: str
    technician: str
    id: str
    number: int | None
    units: str


def remember(job: LastJob) -> None:
    """Keep it, unless it is kept already."""
    if recall() != job:
        write_private(last_job_file(), asdict(job))


def forget() -> None:
    """No job is on this bench any more."""
    last_job_file().unlink(missing_ok=True)


def recall() -> LastJob | None:
    """Return the job last seen here; None when there is none, or its file is of no use."""
    try:
        content = read_json(last_job_file())
        return LastJob(**content) if content else None
    except (ValueError, TypeError):
        return None
