"""Jobs: check-in, claims, moves, and what belongs to one job."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any, Unpack
from uuid import UUID

from ._collection import Withdrawing, etag_of, id_of, read
from ._contract import Consent, ConsentHow, Job, JobState, Move, Quote, Technician, WaitingFor
from ._contract.lists import jobs as lists
from ._wire import ABSENT, Absent
from ._writes import CallOptions, WriteOptions


class Jobs(lists.Jobs):
    """Work orders."""

    def by_number(self, number: int) -> Job | None:
        """Return the job with this number on its ticket; None when there is none."""
        return next(self.list(number=number), None)

    def claim_next(self, **call: Unpack[WriteOptions]) -> Job | None:
        """Take the next job that suits this bench; None when there is none."""
        answer = self._link.change("POST", "/jobs/claims", {}, **call)
        return None if answer.content is None else read(Job, answer)

    def claim(
        self,
        job: Job | UUID | str,
        *,
        take_over: bool = False,
        reason: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> Job:
        """Take a named job; a stale claim can be taken over, saying why."""
        body: dict[str, Any] = {"take_over": True, "reason": reason} if take_over else {}
        path = f"{self._one(job)}/claim"
        return read(Job, self._link.change("POST", path, body, **call))

    def give_back(self, job: Job, *, claim: str | None = None, **call: Unpack[WriteOptions]) -> Job:
        """Give a job back to the queue."""
        held = claim or _claim_of(job)
        path = f"{self._one(job)}/claim/{id_of(held)}"
        # a claim has no version of its own: the path names the one that ends
        answer = self._link.change("DELETE", path, **call)
        return read(Job, answer) if answer.content is not None else self.get(job)

    def hand_over(
        self,
        job: Job,
        technician: Technician | UUID | str,
        *,
        note: str | None = None,
        bench: str | None = None,
        claim: str | None = None,
        **call: Unpack[WriteOptions],
    ) -> Job:
        """Pass a job on to another technician."""
        body = {
            "claim": claim or _claim_of(job),
            "technician_id": id_of(technician),
            "bench_id": bench if bench is not None else ABSENT,
            "note": note if note is not None else ABSENT,
        }
        path = f"{self._one(job)}/handover"
        return read(Job, self._link.change("POST", path, body, **call))

    def move(
        self,
        job: Job,
        to: JobState,
        *,
        claim: str | None = None,
        available_at: datetime | Absent = ABSENT,
        waiting_for: WaitingFor | Absent = ABSENT,
        reason: str | Absent = ABSENT,
        minutes: int | Absent = ABSENT,
        **call: Unpack[WriteOptions],
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
        return self._edit("POST", job, "/moves", body, **call)

    def moves(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Iterator[Move]:
        """Walk a job's moves, oldest first."""
        return self._link.walk(f"{self._one(job)}/moves", Move, **call)


def _claim_of(job: Job) -> str:
    if job.claim is None:
        raise ValueError(f"claim: job {job.number or job.id} is not held by anybody; take it first")
    return job.claim.id


class Consents(lists.JobConsents, Withdrawing[Consent]):
    """What the owner said about steps that cannot be undone."""


class Quotes(lists.JobQuotes):
    """What a setup cannot cure, with a price."""

    def answer(
        self,
        job: Job | UUID | str,
        quote: Quote,
        *,
        approved: bool,
        answered_how: ConsentHow,
        **call: Unpack[WriteOptions],
    ) -> Quote:
        """Note the owner's answer."""
        body: Mapping[str, Any] = {"approved": approved, "answered_how": answered_how}
        path = f"{self._of(job)}/{id_of(quote)}"
        etag = etag_of(self._link, path, quote, Quote)
        return read(Quote, self._link.change("PATCH", path, body, if_match=etag, **call))
