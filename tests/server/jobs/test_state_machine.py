"""Any number of moves by several people, against a small model of what the shop's rules say.

The model is written from the published table of moves and the published order of the queue, not from the
code.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import pairwise
from typing import Any, ClassVar
from uuid import UUID, uuid4
from zoneinfo import ZoneInfo

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import (
    RuleBasedStateMachine,
    initialize,
    invariant,
    precondition,
    rule,
    run_state_machine_as_test,
)

from shimstock_server.clock import FixedClock
from tests.depth import amount
from tests.server.clients import Client
from tests.server.workshop import Workshop

pytestmark = pytest.mark.long

PLAIN_MOVES = {
    "booked": {"received", "cancelled"},
    "received": {"queued", "waiting", "returned-unrepaired", "cancelled"},
    "queued": {"waiting", "cancelled"},
    "on-bench": {"settling", "waiting", "final-check", "returned-unrepaired"},
    "settling": set(),
    "waiting": {"queued", "returned-unrepaired", "cancelled"},
    "final-check": {"ready", "on-bench"},
    "ready": {"collected"},
    "collected": set(),
    "returned-unrepaired": set(),
    "cancelled": set(),
}  # from -> to, without those made by claims
HELD = {"on-bench", "final-check"}
ZONE = ZoneInfo("Europe/Berlin")
ALLOWED = 2
PEOPLE = 3
SKILLS: tuple[set[str], ...] = ({"fretwork", "bass"}, {"fretwork"}, set())


WISHES = st.fixed_dictionaries(
    {
        "needs": st.sampled_from([set(), set(), {"fretwork"}, {"bass", "fretwork"}]),
        "priority": st.integers(4, 6),
        "days": st.sampled_from([None, -2, 0, 0, 1, 5]),
    }
)


@dataclass
class Ticket:
    """What the model knows of a job."""

    job: dict[str, Any]
    needs: set[str]
    priority: int
    promised: date | None
    state: str = "received"
    holder: int | None = None
    worked_on_by: int | None = None
    available_at: datetime | None = None
    acted_at: datetime | None = None
    queued: int | None = None
    number_of_moves: int = 1

    @property
    def id(self) -> str:
        """Its id."""
        return str(self.job["id"])


class Shop(RuleBasedStateMachine):
    """Three technicians, a manager, and whatever they come to do."""

    workshop: ClassVar[Workshop]
    manager: ClassVar[Client]
    benches: ClassVar[list[Client]]
    clock: ClassVar[FixedClock]

    def __init__(self) -> None:
        super().__init__()
        self.tickets: list[Ticket] = []
        self.tick = 0

    # what the model says

    @property
    def now(self) -> datetime:
        """The time."""
        return self.clock.now()

    @property
    def today(self) -> date:
        """The day in the shop."""
        return self.now.astimezone(ZONE).date()

    def opened(self) -> datetime:
        """When the shop last opened: at nine, but for Sundays."""
        day = self.today
        while True:
            opens = datetime(day.year, day.month, day.day, 9, tzinfo=ZONE)
            if day.isoweekday() != 7 and opens <= self.now:
                return opens
            day -= timedelta(days=1)

    def is_due(self, ticket: Ticket) -> bool:
        """Whether a settling job can be looked at again."""
        return (
            ticket.state == "settling" and ticket.available_at is not None and ticket.available_at <= self.now
        )

    def holds(self, person: int) -> int:
        """How many jobs somebody holds."""
        return sum(ticket.holder == person for ticket in self.tickets)

    def queue(self) -> list[Ticket]:
        """The queued jobs in their order."""

        def place(ticket: Ticket) -> tuple[Any, ...]:
            promised = ticket.promised or date.max
            urgent = promised <= self.today
            return (not urgent, promised if urgent else date.min, -ticket.priority, promised, ticket.queued)

        return sorted((ticket for ticket in self.tickets if ticket.state == "queued"), key=place)

    def offered(self, person: int) -> Ticket | None:
        """The job that is offered first."""
        due = sorted(
            (ticket for ticket in self.tickets if self.is_due(ticket)),
            key=lambda ticket: (ticket.worked_on_by != person, ticket.available_at, ticket.id),
        )
        fits = (ticket for ticket in [*due, *self.queue()] if ticket.needs <= SKILLS[person])
        return next(fits, None)

    def put_on_bench(self, ticket: Ticket, person: int, answer: Any) -> None:
        """Note that somebody took a job."""
        ticket.job, ticket.state, ticket.holder = answer.get_json(), "on-bench", person
        ticket.available_at, ticket.acted_at = None, self.now
        ticket.number_of_moves += 1
        assert ticket.job["claim"]["technician_id"] == str(self.benches[person].technician_id)

    def let_go(self, ticket: Ticket) -> None:
        """Note that a job left the bench."""
        ticket.worked_on_by, ticket.holder = ticket.holder, None

    # what people do

    @initialize(wishes=st.lists(WISHES, min_size=4, max_size=6))
    def monday(self, wishes: list[dict[str, Any]]) -> None:
        """Begin at nine of the next Monday, with a few jobs in the queue."""
        day = self.today + timedelta(days=8 - self.today.isoweekday())
        opens = datetime(day.year, day.month, day.day, 9, tzinfo=ZONE)
        self.clock.advance(opens - self.now)
        for wish in wishes:
            self.check_in_one(**wish, queued=True)

    @rule(wish=WISHES, queued=st.booleans())
    @precondition(lambda self: len(self.tickets) < 14)
    def check_in(self, wish: dict[str, Any], queued: bool) -> None:
        """Receive an instrument, and mostly put it into the queue."""
        self.check_in_one(**wish, queued=queued)

    def check_in_one(self, needs: set[str], priority: int, days: int | None, queued: bool) -> None:
        """Receive an instrument."""
        promised = None if days is None else self.today + timedelta(days=days)
        job = self.workshop.job(
            skills=sorted(needs), priority=priority, promised_on=promised.isoformat() if promised else None
        )
        ticket = Ticket(job, needs, priority, promised)
        self.tickets.append(ticket)
        if queued:
            self.ask_for_move(ticket, None, "queued")

    @rule(data=st.data(), person=st.sampled_from([None, *range(PEOPLE)]))
    @precondition(lambda self: self.tickets)
    def move(self, data: st.DataObject, person: int | None) -> None:
        """Ask for any move at all, with one's own claim or with one that never was."""
        ticket = data.draw(st.sampled_from(self.tickets))
        likely = sorted(PLAIN_MOVES[ticket.state]) or ["queued"]
        to = data.draw(st.sampled_from([*likely * 3, *PLAIN_MOVES]))
        if to == "booked":
            to = "received"
        self.ask_for_move(ticket, person, to)

    def ask_for_move(self, ticket: Ticket, person: int | None, to: str) -> None:
        """Ask for a move and compare what comes of it."""
        client = self.manager if person is None else self.benches[person]
        body: dict[str, Any] = {"to": to}
        if person is not None:
            mine = ticket.holder == person and ticket.job["claim"]
            body["claim"] = ticket.job["claim"]["id"] if mine else str(uuid4())
        if to in ("cancelled", "returned-unrepaired", "ready"):
            body["reason"] = "as the owner wishes"
        if to == "waiting":
            body["waiting_for"] = "parts"
        rests_until = self.now + timedelta(minutes=60)
        if to == "settling":
            body["available_at"] = rests_until.isoformat()
        answer = client.post(f"/v1/jobs/{ticket.id}/moves", json=body, etag=f'"{ticket.job["version"]}.mm"')
        code = answer.get_json().get("code")
        if to not in PLAIN_MOVES[ticket.state]:
            assert (answer.status_code, code) == (409, "move-not-allowed")
            return
        if ticket.state in HELD and person is not None and ticket.holder != person:
            assert (answer.status_code, code) == (409, "claim-ended")
            return
        assert answer.status_code == 200, answer.get_data(as_text=True)
        if ticket.state in HELD and to not in HELD:
            self.let_go(ticket)
        ticket.job, ticket.state = answer.get_json(), to
        ticket.available_at = rests_until if to == "settling" else None
        ticket.number_of_moves += 1
        if ticket.holder is not None and person is not None:
            ticket.acted_at = self.now
        if to == "queued" and ticket.queued is None:
            self.tick += 1
            ticket.queued = self.tick
            self.clock.advance(timedelta(seconds=1))

    @rule(person=st.integers(0, PEOPLE - 1))
    def take_next(self, person: int) -> None:
        """Take what is offered first."""
        answer = self.benches[person].post("/v1/jobs/claims", json={})
        if self.holds(person) >= ALLOWED:
            assert (answer.status_code, answer.get_json()["code"]) == (409, "too-many-claims")
            return
        expected = self.offered(person)
        if expected is None:
            assert answer.status_code == 204
            return
        assert answer.status_code == 200, answer.get_data(as_text=True)
        assert answer.get_json()["id"] == expected.id
        self.put_on_bench(expected, person, answer)

    @rule(data=st.data(), person=st.integers(0, PEOPLE - 1), take_over=st.booleans())
    @precondition(lambda self: self.tickets)
    def take_named(self, data: st.DataObject, person: int, take_over: bool) -> None:
        """Take a certain job, or try to."""
        ticket = data.draw(st.sampled_from(self.tickets))
        body = {"take_over": True, "reason": "left overnight"} if take_over else {}
        answer = self.benches[person].post(f"/v1/jobs/{ticket.id}/claim", json=body)
        refusal = self.refusal(ticket, person, take_over)
        if refusal is not None:
            assert (answer.status_code, answer.get_json()["code"]) == (409, refusal)
            return
        assert answer.status_code == 200, answer.get_data(as_text=True)
        if ticket.holder is None:
            self.put_on_bench(ticket, person, answer)
            return
        ticket.worked_on_by, ticket.holder, ticket.job = ticket.holder, person, answer.get_json()
        ticket.acted_at = self.now

    def refusal(self, ticket: Ticket, person: int, take_over: bool) -> str | None:
        """Why somebody does not get a certain job."""
        if ticket.holder is not None:
            stale = ticket.acted_at is not None and ticket.acted_at < self.opened()
            if not (take_over and stale):
                return "already-claimed"
        elif ticket.state == "settling":
            if not self.is_due(ticket) and ticket.worked_on_by != person:
                return "not-claimable"
        elif ticket.state not in ("queued", "ready"):
            return "not-claimable"
        if not ticket.needs <= SKILLS[person]:
            return "skill-missing"
        if ticket.holder != person and self.holds(person) >= ALLOWED:
            return "too-many-claims"
        return None

    @rule(data=st.data())
    @precondition(lambda self: any(ticket.holder is not None for ticket in self.tickets))
    def give_back(self, data: st.DataObject) -> None:
        """Put a job back into the queue."""
        ticket = data.draw(st.sampled_from([each for each in self.tickets if each.holder is not None]))
        assert ticket.holder is not None
        answer = self.benches[ticket.holder].delete(f"/v1/jobs/{ticket.id}/claim/{ticket.job['claim']['id']}")
        assert answer.status_code == 200, answer.get_data(as_text=True)
        ticket.number_of_moves += 2 if ticket.state == "final-check" else 1
        self.let_go(ticket)
        ticket.job, ticket.state = answer.get_json(), "queued"
        if ticket.queued is None:
            self.tick += 1
            ticket.queued = self.tick

    @rule(data=st.data(), to=st.integers(0, PEOPLE - 1))
    @precondition(lambda self: any(ticket.holder is not None for ticket in self.tickets))
    def hand_over(self, data: st.DataObject, to: int) -> None:
        """Pass a job on."""
        ticket = data.draw(st.sampled_from([each for each in self.tickets if each.holder is not None]))
        assert ticket.holder is not None
        answer = self.benches[ticket.holder].post(
            f"/v1/jobs/{ticket.id}/handover",
            json={"claim": ticket.job["claim"]["id"], "technician_id": str(self.benches[to].technician_id)},
        )
        if to == ticket.holder:
            assert answer.status_code == 422
        elif not ticket.needs <= SKILLS[to]:
            assert (answer.status_code, answer.get_json()["code"]) == (409, "skill-missing")
        elif self.holds(to) >= ALLOWED:
            assert (answer.status_code, answer.get_json()["code"]) == (409, "too-many-claims")
        else:
            assert answer.status_code == 200, answer.get_data(as_text=True)
            ticket.worked_on_by, ticket.holder, ticket.job = ticket.holder, to, answer.get_json()
            ticket.acted_at = self.now

    @rule(minutes=st.sampled_from([10, 59, 60, 60 * 21]))
    def time_passes(self, minutes: int) -> None:
        """Wait a little, or until tomorrow."""
        self.clock.advance(timedelta(minutes=minutes))

    # what must hold at any time

    @invariant()
    def the_board_is_the_model(self) -> None:
        """Every job stands on the board where the model has it, and the queue in its order."""
        board = self.manager.get("/v1/board").get_json()
        assert [entry["job_id"] for entry in board["queue"]] == [ticket.id for ticket in self.queue()]
        assert {entry["job_id"]: entry["due"] for entry in board["settling"]} == {
            ticket.id: self.is_due(ticket) for ticket in self.tickets if ticket.state == "settling"
        }
        held = [entry for bench in board["benches"] for entry in bench["jobs"]]
        assert {(entry["job_id"], entry["state"], entry["technician"], entry["stale"]) for entry in held} == {
            (ticket.id, ticket.state, f"Person {ticket.holder}", self.is_stale(ticket))
            for ticket in self.tickets
            if ticket.holder is not None
        }
        for state in ("waiting", "received"):
            assert {entry["job_id"] for entry in board[state]} == {
                ticket.id for ticket in self.tickets if ticket.state == state
            }
        assert board["counts"]["ready"] == sum(ticket.state == "ready" for ticket in self.tickets)

    def is_stale(self, ticket: Ticket) -> bool:
        """Whether a claim was left since the shop opened."""
        return ticket.acted_at is not None and ticket.acted_at < self.opened()

    def teardown(self) -> None:
        """Look through every job's moves, and clear the shop for the next run."""
        for ticket in self.tickets:
            told = self.manager.get(f"/v1/jobs/{ticket.id}/moves").get_json()["items"]
            assert [each["sequence"] for each in told] == list(range(1, ticket.number_of_moves + 1))
            assert told[-1]["to_state"] == ticket.state
            assert all(after["from_state"] == before["to_state"] for before, after in pairwise(told))
            self.clear(ticket)

    def clear(self, ticket: Ticket) -> None:
        """Bring a job to an end."""
        if ticket.state in ("settling", "ready"):
            owner = Client(self.manager.app, self.manager.token, technician_id=self.benches[0].technician_id)
            # A manager may take a job before it has settled; of the three this one can do everything.
            for other in self.tickets:
                if other.holder == 0:
                    self.clear(other)
            answer = owner.post(f"/v1/jobs/{ticket.id}/claim", json={})
            assert answer.status_code == 200, answer.get_data(as_text=True)
            ticket.job, ticket.state, ticket.holder = answer.get_json(), "on-bench", 0
        if ticket.state == "final-check":
            self.ask_for_move(ticket, None, "on-bench")
        if ticket.state in ("received", "queued", "waiting"):
            self.ask_for_move(ticket, None, "cancelled")
        elif ticket.state == "on-bench":
            self.ask_for_move(ticket, None, "returned-unrepaired")
            ticket.holder = None


def test_any_moves_by_several_people(
    workshop: Workshop, client: Client, bench_client: Client, clock: FixedClock
) -> None:
    shop = client.get("/v1/shop").get_json()
    limited = client.patch(
        "/v1/shop", json={"claims_per_technician": ALLOWED}, etag=f'"{shop["version"]}.mm"'
    )
    assert limited.status_code == 200
    people = [
        workshop.add(f"person {n}", "/v1/technicians", {"name": f"Person {n}", "skills": sorted(SKILLS[n])})
        for n in range(PEOPLE)
    ]
    machine: Callable[[], Shop] = type("Machine", (Shop,), {
        "workshop": workshop, "manager": client, "clock": clock,
        "benches": [Client(bench_client.app, bench_client.token, technician_id=UUID(person["id"]),
                           bench_id=bench_client.bench_id) for person in people],
    })  # fmt: skip
    run_state_machine_as_test(
        machine,
        settings=settings(
            max_examples=amount(6, deep=100),
            stateful_step_count=amount(40, deep=50),
            suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much],
        ),
    )
