"""Jobs: check-in, claims, moves, and what belongs to one job."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Generic, TypeVar
from uuid import UUID

from ._bench_records import Consent, Job, Move, PartUsed, Quote
from ._collection import Collection, Link, etag_of, id_of, read
from ._records import Stored, Technician
from ._wire import ABSENT, Absent

S = TypeVar("S", bound=Stored)


class Jobs(Collection[Job]):
    """Work orders."""

    def by_number(self, number: int) -> Job | None:
        """Find the job with this number on its ticket."""
        return next(self.list(number=number), None)

    def claim_next(self, *, idempotency_key: str | None = None) -> Job | None:
        """Take the next job that suits this bench; None when there is none."""
        answer = self._link.change("POST", "/jobs/claims", {}, idempotency_key=idempotency_key)
        return None if answer.content is None else read(Job, answer)

    def claim(
        self,
        job: Job | UUID | str,
        *,
        take_over: bool = False,
        reason: str | None = None,
        idempotency_key: str | None = None,
    ) -> Job:
        """Take a named job; a stale claim can be taken over, saying why."""
        body: dict[str, Any] = {"take_over": True, "reason": reason} if take_over else {}
        path = f"{self._one(job)}/claim"
        return read(Job, self._link.change("POST", path, body, idempotency_key=idempotency_key))

    def give_back(self, job: Job, *, claim: str | None = None, idempotency_key: str | None = None) -> Job:
        """Give a job back to the queue."""
        held = claim or _claim_of(job)
        path = f"{self._one(job)}/claim/{id_of(held)}"
        # a claim has no version of its own: the path names the one that ends
        answer = self._link.change("DELETE", path, idempotency_key=idempotency_key)
        return read(Job, answer) if answer.content is not None else self.get(job)

    def hand_over(
        self,
        job: Job,
        technician: Technician | UUID | str,
        *,
        note: str | None = None,
        bench: str | None = None,
        claim: str | None = None,
        idempotency_key: str | None = None,
    ) -> Job:
        """Pass a job on to another technician."""
        body = {
            "claim": claim or _claim_of(job),
            "technician_id": id_of(technician),
            "bench_id": bench if bench is not None else ABSENT,
            "note": note if note is not None else ABSENT,
        }
        path = f"{self._one(job)}/handover"
        return read(Job, self._link.change("POST", path, body, idempotency_key=idempotency_key))

    def move(
        self,
        job: Job,
        to: str,
        *,
        claim: str | None = None,
        available_at: datetime | Absent = ABSENT,
        waiting_for: str | Absent = ABSENT,
        reason: str | Absent = ABSENT,
        minutes: int | Absent = ABSENT,
        idempotency_key: str | None = None,
    ) -> Job:
        """Move a job to another state.

        The claim that the job was read with is named by itself; when the job changed meanwhile the move is
        refused.
        """
        held = claim or (job.claim.id if job.claim else None)
        body = {
            "to": to,
            "claim": held if held is not None else ABSENT,
            "available_at": available_at,
            "waiting_for": waiting_for,
            "reason": reason,
            "minutes": minutes,
        }
        path = self._one(job)
        etag = etag_of(self._link, path, job, Job)
        answer = self._link.change(
            "POST", f"{path}/moves", body, if_match=etag, idempotency_key=idempotency_key
        )
        return read(Job, answer)

    def moves(self, job: Job | UUID | str) -> Iterator[Move]:
        """Walk a job's moves, oldest first."""
        return self._link.walk(f"{self._one(job)}/moves", Move)


def _claim_of(job: Job) -> str:
    if job.claim is None:
        raise ValueError(f"claim: job {job.number or job.id} is not held by anybody; take it first")
    return job.claim.id


class OfJob(Generic[S]):
    """A list that belongs to one job."""

    def __init__(self, link: Link, name: str, record: type[S]) -> None:
        self._link = link
        self._name = name
        self._record = record

    def list(self, job: Job | UUID | str, **filters: Any) -> Iterator[S]:
        """Walk them."""
        return self._link.walk(self._path(job), self._record, **filters)

    def create(self, job: Job | UUID | str, *, idempotency_key: str | None = None, **fields: Any) -> S:
        """Add one."""
        answer = self._link.change("POST", self._path(job), fields, idempotency_key=idempotency_key)
        return read(self._record, answer)

    def _path(self, job: Job | UUID | str) -> str:
        return f"/jobs/{id_of(job)}/{self._name}"


class Consents(OfJob[Consent]):
    """What the owner said about steps that cannot be undone."""

    def __init__(self, link: Link) -> None:
        super().__init__(link, "consents", Consent)

    def withdraw(self, job: Job | UUID | str, consent: Consent | UUID | str, *, reason: str) -> Consent:
        """Note that the owner takes a consent back."""
        path = f"{self._path(job)}/{id_of(consent)}/withdrawal"
        return read(Consent, self._link.change("POST", path, {"reason": reason}))


class Quotes(OfJob[Quote]):
    """What a setup cannot cure, with a price."""

    def __init__(self, link: Link) -> None:
        super().__init__(link, "quotes", Quote)

    def answer(self, job: Job | UUID | str, quote: Quote, *, approved: bool, answered_how: str) -> Quote:
        """Note the owner's answer."""
        body: Mapping[str, Any] = {"approved": approved, "answered_how": answered_how}
        path = f"{self._path(job)}/{id_of(quote)}"
        etag = etag_of(self._link, path, quote, Quote)
        return read(Quote, self._link.change("PATCH", path, body, if_match=etag))


class PartsUsed(OfJob[PartUsed]):
    """Parts used on a job."""

    def __init__(self, link: Link) -> None:
        super().__init__(link, "parts", PartUsed)
