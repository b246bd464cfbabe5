"""The work at a bench: reading sheets, adjustments, the plan, the card, what settles."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any
from uuid import UUID

from ._bench_records import Adjustment, Card, Job, NewFinding, NewReading, Reading, ReadingSheet, SettlingJob
from ._collection import Link, id_of, read
from ._ids import uuid7
from ._jobs import OfJob
from ._plan_records import PartMove, Recommendation, Step
from ._quantity import Quantity
from ._trade import FILED, SIMPLY_DONE, UNTIL_SEEN
from ._wire import to_wire


class ReadingSheets(OfJob[ReadingSheet]):
    """Readings taken at one bench, by one technician, at one time; all or nothing."""

    def __init__(self, link: Link) -> None:
        super().__init__(link, "reading-sheets", ReadingSheet)

    def post(
        self,
        job: Job | UUID | str,
        readings: Sequence[NewReading | Mapping[str, Any]],
        *,
        stage: str,
        at_pitch: bool,
        findings: Sequence[NewFinding | Mapping[str, Any]] = (),
        id: UUID | str | None = None,  # noqa: A002
        taken_at: datetime | None = None,
        **more: Any,
    ) -> ReadingSheet:
        """Send a sheet.

        Parameters
        ----------
        job : Job, UUID or str
            The job or its id [-].
        readings : sequence of NewReading or mapping
            What the tools show [-].
        stage : str
            as-received, in-progress, final or recheck [-].
        at_pitch : bool
            Every string within 5 cents of its pitch while the readings were taken [-].
        findings : sequence of NewFinding or mapping
            What the look over found [-].
        id : UUID, str or None
            Sent again under the same id, a sheet is stored once; made here when left out [-].
        taken_at : datetime with a zone, or None
            On the bench's clock; now when left out [-].
        **more
            Further fields of a sheet: position, acclimatised, looked_over, room, note … [-].
        """
        body = {
            "id": str(id or uuid7()),
            "stage": stage,
            "taken_at": taken_at or datetime.now(UTC),
            "at_pitch": at_pitch,
            "readings": list(readings),
            "findings": list(findings),
            **more,
        }
        return self.send(job, to_wire(body))

    def send(self, job: Job | UUID | str, sheet: Mapping[str, Any]) -> ReadingSheet:
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
        return read(ReadingSheet, self._link.change("POST", self._path(job), sheet, idempotency_key=str(key)))

    def get(self, job: Job | UUID | str, sheet: ReadingSheet | UUID | str) -> ReadingSheet:
        """Read one sheet."""
        return read(ReadingSheet, self._link.ask(f"{self._path(job)}/{id_of(sheet)}"))

    def readings(
        self, job: Job | UUID | str, *, quantity: str | None = None, newest: bool | None = None
    ) -> Iterator[Reading]:
        """Walk the readings that stand, of all sheets of a job."""
        return self._link.walk(f"/jobs/{id_of(job)}/readings", Reading, quantity=quantity, newest=newest)


class Adjustments(OfJob[Adjustment]):
    """What was done to the instrument."""

    def __init__(self, link: Link) -> None:
        super().__init__(link, "adjustments", Adjustment)

    def record(
        self,
        job: Job,
        part: str,
        *,
        turns: Quantity | None = None,
        amount: Quantity | None = None,
        claim: str | None = None,
        plan: str | None = None,
        id: UUID | str | None = None,  # noqa: A002
        done_at: datetime | None = None,
        **more: Any,
    ) -> Adjustment:
        """Tell what was done.

        Parameters
        ----------
        job : Job
            As it was taken: its claim is named [-].
        part : str
            What was turned, filed, shimmed or moved [-].
        turns : Quantity or None
            Positive = tighten, raise, away from the nut [turn].
        amount : Quantity or None
            Positive = up, away from the nut; filing: what was taken off [mm …].
        claim : str or None
            Instead of the job's own [-].
        plan : str or None
            Digest of the plan that was followed; None = the technician's own decision [-].
        id : UUID, str or None
            Sent again under the same id, it is stored once; made here when left out [-].
        done_at : datetime with a zone, or None
            On the bench's clock; now when left out [-].
        **more
            Further fields: side, string, pickup, string_set_id, tuning_id, minutes, confirmed, note [-].
        """
        body = {
            "id": str(id or uuid7()),
            "claim": claim or (job.claim.id if job.claim else None),
            "done_at": done_at or datetime.now(UTC),
            "part": part,
            "plan": plan,
            **more,
        }
        if turns is not None:
            body["turns"] = turns
        if amount is not None:
            body["amount"] = amount
        return self.send(job, to_wire(body))

    def send(self, job: Job | UUID | str, adjustment: Mapping[str, Any]) -> Adjustment:
        """Send a whole adjustment as it travels, with its id.

        Raises
        ------
        ValueError
            When it has no id.
        """
        key = adjustment.get("id")
        if not key:
            raise ValueError("id: an adjustment carries an id of its own, so that it is stored once")
        return read(
            Adjustment, self._link.change("POST", self._path(job), adjustment, idempotency_key=str(key))
        )

    def follow(
        self, job: Job, plan: Recommendation, step: Step, *, done_at: datetime | None = None, **more: Any
    ) -> Sequence[Adjustment]:
        """Tell that a step was done as the plan said: one adjustment for each part that it moves."""
        bodies = as_planned(step, job.wants)
        return [self.record(job, plan=plan.digest, done_at=done_at, **body, **more) for body in bodies]


def as_planned(step: Step, wants: Mapping[str, Any] | None = None) -> Sequence[dict[str, Any]]:
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

    def of_job(self, job: Job | UUID | str, *, state: bool = False) -> Recommendation:
        """Read the plan of a job from its newest readings; with `state`, the numbers that it reckons with."""
        more = {"with": "state"} if state else {}
        return read(Recommendation, self._link.ask(f"/jobs/{id_of(job)}/recommendation", **more))

    def work_out(self, **inputs: Any) -> Recommendation:
        """Work a plan out from the body alone; nothing is stored.

        Parameters
        ----------
        **inputs
            `instrument` and `readings`; `sheets`, `adjustments` and `tools` for a whole job that another
            system keeps; `spec`, `wants`, `consents`, `rod_response`, `coupling_sd`, `neck_compliance`,
            `settings` [-].
        """
        return read(Recommendation, self._link.change("POST", "/recommendations", inputs))


class Cards:
    """Before and after of a job."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def get(self, job: Job | UUID | str) -> Card:
        """Read the card."""
        return read(Card, self._link.ask(f"/jobs/{id_of(job)}/card"))

    def page(self, job: Job | UUID | str) -> str:
        """Read the card as a page that prints well (HTML)."""
        return str(self._link.ask(f"/jobs/{id_of(job)}/card", accept="text/html").content)


class Settling:
    """Jobs that rest."""

    def __init__(self, link: Link) -> None:
        self._link = link

    def list(self, *, due: bool = False) -> Iterator[SettlingJob]:
        """Walk the settling jobs; with `due`, those that can be looked at again now."""
        return self._link.walk("/settling", SettlingJob, due=True if due else None)
