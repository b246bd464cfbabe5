"""The work at a bench: reading sheets, adjustments, the plan, the card, what settles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Unpack
from uuid import UUID

from ._collection import Link, Withdrawing, id_of, read
from ._contract import (
    Adjustment,
    Card,
    Job,
    PartMove,
    Reading,
    ReadingSheet,
    Recommendation,
    SettlingJob,
    Step,
    Wants,
)
from ._contract.lists import bench as lists
from ._ids import uuid7
from ._quantity import Quantity
from ._trade import FILED, SIMPLY_DONE, UNTIL_SEEN
from ._wire import to_wire
from ._writes import CallOptions, WriteOptions, apart, under

if TYPE_CHECKING:
    from ._contract import (
        AdjustmentFields,
        AdjustmentPart,
        JobsReadingsFilters,
        NewReading,
        PlanFields,
        ReadingIn,
        SheetFields,
    )


class ReadingSheets(lists.JobReadingSheets):
    """Readings taken at one bench, by one technician, at one time; all or nothing."""

    def post(
        self,
        job: Job | UUID | str,
        readings: Sequence[NewReading | ReadingIn],
        **fields: Unpack[SheetFields],
    ) -> ReadingSheet:
        """Send a sheet.

        Parameters
        ----------
        job : Job, UUID or str
            The job or its id [-].
        readings : sequence of NewReading or mapping
            What the tools show [-].
        **fields
            `stage`: as-received, in-progress, final or recheck; `at_pitch`: every string within 5 cents of
            its pitch while the readings were taken. `findings`: what the look over found. `id`: sent again
            under the same id, a sheet is stored once; made here when left out. `taken_at`: on the bench's
            clock; now when left out. Further: position, acclimatised, looked_over, room, note … [-].
        """
        told, call = apart(fields)
        own = {"id": str(told.get("id") or uuid7()), "taken_at": told.get("taken_at") or datetime.now(UTC)}
        return self.send(job, to_wire({"findings": [], **told, **own, "readings": [*readings]}), **call)

    def send(
        self, job: Job | UUID | str, sheet: Mapping[str, Any], **call: Unpack[WriteOptions]
    ) -> ReadingSheet:
        """Send a whole sheet as it travels, with its id: the same answer however often it is sent.

        Raises
        ------
        ValueError
            When it has no id.
        """
        key = sheet.get("id")
        if not key:
            raise ValueError(
                "id: a sheet carries an id of its own, so that it is stored once; uuid7() makes one"
            )
        return self._create(job, sheet, **under(str(key), call))

    def get(
        self, job: Job | UUID | str, sheet: ReadingSheet | UUID | str, **call: Unpack[CallOptions]
    ) -> ReadingSheet:
        """Read one sheet."""
        return read(ReadingSheet, self._link.ask(f"{self._of(job)}/{id_of(sheet)}", **call))

    def readings(self, job: Job | UUID | str, **filters: Unpack[JobsReadingsFilters]) -> Iterator[Reading]:
        """Walk the readings that stand, of all sheets of a job."""
        return self._link.walk(f"/jobs/{id_of(job)}/readings", Reading, **filters)


class Adjustments(lists.JobAdjustments, Withdrawing[Adjustment]):
    """What was done to the instrument."""

    def record(
        self, job: Job, part: AdjustmentPart, *, claim: str | None = None, **fields: Unpack[AdjustmentFields]
    ) -> Adjustment:
        """Record what was done.

        Parameters
        ----------
        job : Job
            As it was taken: its claim is named [-].
        part : str
            What was turned, filed, shimmed or moved [-].
        claim : str or None
            Instead of the job's own [-].
        **fields
            `turns`: positive = tighten, raise, away from the nut. `amount`: positive = up, away from the nut;
            filing: what was taken off. `plan`: digest of the plan that was followed; None = the technician's
            own decision. `id`: sent again under the same id, it is stored once; made here when left out.
            `done_at`: on the bench's clock; now when left out. `supersedes`: one that was recorded wrongly
            and counts no more, with `supersedes_reason`. Further: side, string, pickup, string_set_id,
            tuning_id, minutes, confirmed, note [-].
        """
        told, call = apart(fields)
        body = {
            "plan": None,
            **told,
            "id": str(told.get("id") or uuid7()),
            "claim": claim or (job.claim.id if job.claim else None),
            "done_at": told.get("done_at") or datetime.now(UTC),
            "part": part,
        }
        return self.send(job, to_wire(body), **call)

    def send(
        self, job: Job | UUID | str, adjustment: Mapping[str, Any], **call: Unpack[WriteOptions]
    ) -> Adjustment:
        """Send a whole adjustment as it travels, with its id.

        Raises
        ------
        ValueError
            When it has no id.
        """
        key = adjustment.get("id")
        if not key:
            raise ValueError("id: an adjustment carries an id of its own, so that it is stored once")
        return self._create(job, adjustment, **under(str(key), call))

    def follow(
        self, job: Job, plan: Recommendation, step: Step, *, done_at: datetime | None = None, **more: Any
    ) -> Sequence[Adjustment]:
        """Tell that a step was done as the plan said: one adjustment for each part that it moves."""
        bodies = as_planned(step, job.wants)
        return [self.record(job, plan=plan.digest, done_at=done_at, **body, **more) for body in bodies]


def as_planned(step: Step, wants: Wants | Mapping[str, Any] | None = None) -> Sequence[dict[str, Any]]:
    """Return the fields of each adjustment that a step asks for.

    Parameters
    ----------
    step : Step
        Of a plan [-].
    wants : mapping or None
        What the player wants, of the job: the set and the tuning that a change of strings puts on [-].

    Returns
    -------
    sequence of dict
        Empty when nothing is changed, or when only the technician knows how far [-].

    >>> from shimstock_client import PartMove, Quantity, Step
    >>> as_planned(Step(moves=[PartMove(part="truss-rod", turns=Quantity(0.25, "turn"))]))
    [{'part': 'truss-rod', 'turns': Quantity(value=0.25, unit='turn')}]
    """
    bodies = [_as_told(move) for move in step.moves if not _is_left(move)]
    if not bodies and step.changes_instrument and step.part in SIMPLY_DONE | UNTIL_SEEN:
        bodies.append({"part": step.part})
    for body in bodies:
        if body["part"] == "strings":
            body |= {
                name: (wants or {})[name]
                for name in ("string_set_id", "tuning_id")
                if (wants or {}).get(name)
            }
    return bodies


def _is_left(move: PartMove) -> bool:
    return move.turns is not None and move.turns.value == 0.0


def _as_told(move: PartMove) -> dict[str, Any]:
    body: dict[str, Any] = {"part": move.part}
    if move.turns is not None:
        body["turns"] = move.turns
    elif move.amount is not None:
        # the plan gives what is filed or shimmed without a sign; what is added underneath counts below zero
        added = move.part in FILED and move.direction != "file"
        body["amount"] = Quantity(-abs(move.amount.value), move.amount.unit) if added else move.amount
    places = ("string",) if move.string is not None else ("side",)
    for name in (*places, "pickup"):
        if getattr(move, name) is not None:
            body[name] = getattr(move, name)
    return body


class Recommendations:
    """The plan."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def of_job(
        self, job: Job | UUID | str, *, state: bool = False, **call: Unpack[CallOptions]
    ) -> Recommendation:
        """Read the plan of a job from its newest readings; with `state`, the numbers that it reckons with."""
        asked: dict[str, Any] = {**call, **({"with": "state"} if state else {})}
        return read(Recommendation, self._link.ask(f"/jobs/{id_of(job)}/recommendation", **asked))

    def work_out(self, **inputs: Unpack[PlanFields]) -> Recommendation:
        """Work a plan out from the body alone; nothing is stored.

        Parameters
        ----------
        **inputs
            `instrument` and `readings`; `sheets`, `adjustments` and `tools` for a whole job that another
            system keeps; `spec`, `wants`, `consents`, `rod_response`, `coupling_sd`, `neck_compliance`,
            `settings` [-].
        """
        body, call = apart(inputs)
        return read(Recommendation, self._link.change("POST", "/recommendations", body, **call))


class Cards:
    """Before and after of a job."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> Card:
        """Read the card."""
        return read(Card, self._link.ask(f"/jobs/{id_of(job)}/card", **call))

    def page(self, job: Job | UUID | str, **call: Unpack[CallOptions]) -> str:
        """Read the card as a page that prints well (HTML)."""
        return str(self._link.ask(f"/jobs/{id_of(job)}/card", accept="text/html", **call).content)


class Settling:
    """Jobs that rest."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, *, due: bool = False, **call: Unpack[CallOptions]) -> Iterator[SettlingJob]:
        """Walk the settling jobs; with `due`, those that can be looked at again now."""
        return self._link.walk("/settling", SettlingJob, due=True if due else None, **call)
