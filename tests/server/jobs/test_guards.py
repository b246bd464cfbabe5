"""What the database itself refuses, whoever speaks to it: states without moves, and moves without states."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from uuid import UUID, uuid4

import pytest
from sqlalchemy import event, text
from sqlalchemy.engine import Connection
from sqlalchemy.exc import IntegrityError

from shimstock_server.database.engine import WRITES
from shimstock_server.database.session import Database
from tests.server.clients import Client
from tests.server.workshop import Workshop

from .test_moves import claim_next, move


@dataclass
class Ledger:
    """Plain SQL on the tables of jobs, past the service."""

    database: Database

    def key(self, value: UUID | str) -> str:
        """An id as this database keeps it."""
        return UUID(str(value)).hex if self.database.is_sqlite else str(UUID(str(value)))

    def run(self, *statements: tuple[str, dict[str, object]]) -> None:
        """Run statements in one transaction."""
        writer = self.database.engine.execution_options(**{WRITES: True})
        with writer.begin() as connection:
            for statement, values in statements:
                connection.execute(text(statement), values)

    def refuses(self, *statements: tuple[str, dict[str, object]]) -> str:
        """Expect a refusal, at a statement or at the end of the transaction, and return its message."""
        with pytest.raises(IntegrityError) as refused:
            self.run(*statements)
        return str(refused.value.orig)

    def set_state(self, job: dict, state: str, move_id: UUID) -> tuple[str, dict[str, object]]:
        """Give a job a state and name the move."""
        return (
            "UPDATE jobs SET state = :state, move_id = :move WHERE id = :job",
            {"state": state, "move": self.key(move_id), "job": self.key(job["id"])},
        )

    def add_move(
        self, job: dict, move_id: UUID, sequence: int, before: str | None, after: str
    ) -> tuple[str, dict[str, object]]:
        """Write a move."""
        now = "2026-03-02T12:00:00.000000Z"
        return (
            "INSERT INTO job_moves (id, job_id, sequence, from_state, to_state, created_at)"
            " VALUES (:id, :job, :sequence, :before, :after, :now)",
            {"id": self.key(move_id), "job": self.key(job["id"]), "sequence": sequence, "before": before,
             "after": after, "now": now},
        )  # fmt: skip


@pytest.fixture
def ledger(database: Database) -> Ledger:
    """The tables, past the service."""
    return Ledger(database)


def test_a_state_and_its_move_go_together(workshop: Workshop, ledger: Ledger) -> None:
    job, made = workshop.job(), uuid4()
    ledger.run(ledger.set_state(job, "queued", made), ledger.add_move(job, made, 2, "received", "queued"))
    seen = workshop.manager.get(f"/v1/jobs/{job['id']}/moves").get_json()["items"]
    assert [each["to_state"] for each in seen] == ["received", "queued"]


def test_a_state_does_not_change_alone(workshop: Workshop, ledger: Ledger) -> None:
    job = workshop.job()
    alone = ("UPDATE jobs SET state = 'queued' WHERE id = :job", {"job": ledger.key(job["id"])})
    assert "a change of state brings a new one" in ledger.refuses(alone)
    nameless = (
        "UPDATE jobs SET state = 'queued', move_id = NULL WHERE id = :job", {"job": ledger.key(job["id"])}
    )  # fmt: skip
    assert "only with the move that brings it" in ledger.refuses(nameless)


def test_the_move_is_written_before_the_transaction_ends(workshop: Workshop, ledger: Ledger) -> None:
    job = workshop.job()
    assert "foreign key" in ledger.refuses(ledger.set_state(job, "queued", uuid4())).lower()
    assert workshop.manager.get(f"/v1/jobs/{job['id']}").get_json()["state"] == "received"


@pytest.mark.parametrize("to", ["ready", "collected", "settling", "booked"])
def test_no_state_is_skipped(workshop: Workshop, ledger: Ledger, to: str) -> None:
    job, made = workshop.job(), uuid4()
    refused = ledger.refuses(ledger.set_state(job, to, made), ledger.add_move(job, made, 2, "received", to))
    assert "not among the allowed moves" in refused


def test_an_earlier_move_brings_no_state_again(
    workshop: Workshop, bench_client: Client, ledger: Ledger
) -> None:
    workshop.queued_job()
    job = claim_next(bench_client)
    told = workshop.manager.get(f"/v1/jobs/{job['id']}/moves").get_json()["items"]
    queued = next(each for each in told if each["to_state"] == "queued")
    back = (
        "UPDATE jobs SET state = 'queued', claim_id = NULL, move_id = :move WHERE id = :job",
        {"move": ledger.key(queued["id"]), "job": ledger.key(job["id"])},
    )
    assert "made already" in ledger.refuses(back)


def test_a_move_is_not_written_without_its_state(workshop: Workshop, ledger: Ledger) -> None:
    job = workshop.job()
    refused = ledger.refuses(ledger.add_move(job, uuid4(), 2, "received", "queued"))
    assert "written together with the state" in refused


def test_a_move_brings_the_state_that_the_job_has(workshop: Workshop, ledger: Ledger) -> None:
    job, made = workshop.job(), uuid4()
    refused = ledger.refuses(
        ledger.set_state(job, "queued", made),
        ledger.add_move(job, made, 2, "received", "returned-unrepaired"),
    )
    assert "brings the state that the job has" in refused


@pytest.mark.parametrize(
    "sequence, before, says",
    [
        (3, "received", "begins where the one before it ended"),
        (2, "waiting", "begins where the one before it ended"),
        (2, None, "first move comes from nowhere"),
        (1, "received", "first move comes from nowhere"),
    ],
)
def test_moves_follow_without_a_gap(
    workshop: Workshop, ledger: Ledger, sequence: int, before: str | None, says: str
) -> None:
    job, made = workshop.job(), uuid4()
    refused = ledger.refuses(
        ledger.set_state(job, "queued", made), ledger.add_move(job, made, sequence, before, "queued")
    )
    assert says in refused or "first_has_no_before" in refused or "unique" in refused.lower()


def test_a_move_belongs_to_the_job_that_names_it(workshop: Workshop, ledger: Ledger) -> None:
    job, other, made = workshop.job(), workshop.job(), uuid4()
    refused = ledger.refuses(
        ledger.set_state(job, "queued", made), ledger.add_move(other, made, 2, "received", "queued")
    )
    assert "belongs to the job" in refused or "written together" in refused


def test_two_moves_in_one_transaction_are_both_written(workshop: Workshop, ledger: Ledger) -> None:
    job, first, second = workshop.job(), uuid4(), uuid4()
    hidden = ledger.refuses(
        ledger.set_state(job, "queued", first),
        ledger.set_state(job, "cancelled", second),
        ledger.add_move(job, second, 2, "received", "cancelled"),
        ledger.set_state(job, "cancelled", uuid4()),
    )
    assert "not among the allowed moves" in hidden
    gap = ledger.refuses(
        ledger.set_state(job, "queued", first),
        ledger.set_state(job, "cancelled", second),
        ledger.add_move(job, second, 3, "queued", "cancelled"),
    )
    assert "begins where the one before it ended" in gap


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE job_moves SET to_state = 'queued'",
        "UPDATE job_moves SET created_at = '2020-01-01T00:00:00.000000Z'",
        "UPDATE job_moves SET technician_id = NULL, sequence = 7",
        "UPDATE job_moves SET reason = 'another'",
        "DELETE FROM job_moves",
        "DELETE FROM jobs",
        "INSERT INTO allowed_moves (from_state, to_state) VALUES ('received', 'ready')",
        "UPDATE allowed_moves SET to_state = 'ready' WHERE from_state = 'received' AND to_state = 'waiting'",
        "DELETE FROM allowed_moves",
    ],
)
def test_what_was_moved_stays(workshop: Workshop, ledger: Ledger, statement: str) -> None:
    workshop.job()
    ledger.refuses((statement, {}))


def test_a_reason_can_be_blotted_out(workshop: Workshop, ledger: Ledger) -> None:
    job = move(workshop.manager, workshop.job(), "cancelled", reason="Robin fell ill").get_json()
    ledger.run(("UPDATE job_moves SET reason = NULL", {}))
    told = workshop.manager.get(f"/v1/jobs/{job['id']}/moves").get_json()["items"]
    assert [each["reason"] for each in told] == [None, None]


@pytest.mark.parametrize("named", [False, True])
def test_a_job_does_not_begin_in_the_middle(workshop: Workshop, ledger: Ledger, named: bool) -> None:
    job, made = workshop.job(), uuid4()
    copied = [name for name in columns(ledger) if name not in ("id", "number", "state", "move_id")]
    new = {"id": str(uuid4())}
    insert = (
        f"INSERT INTO jobs (id, number, state, move_id, {', '.join(copied)})"
        f" SELECT :new, 99, 'ready', :move, {', '.join(copied)} FROM jobs WHERE id = :job",
        {"new": ledger.key(new["id"]), "move": ledger.key(made) if named else None,
         "job": ledger.key(job["id"])},
    )  # fmt: skip
    refused = ledger.refuses(insert, ledger.add_move(new, made, 1, None, "ready"))
    assert ("begins booked or received" if named else "names the move") in refused


def columns(ledger: Ledger) -> Iterable[str]:
    """The columns of jobs."""
    from shimstock_server.database.tables.jobs import Job

    return [column.name for column in Job.__table__.columns]


def test_the_service_says_what_it_writes(
    workshop: Workshop, bench_client: Client, database: Database
) -> None:
    """Every change of a state that the service makes goes through, so the guards are no mere wall."""
    seen: list[str] = []

    def note(_c: Connection, _k: object, statement: str, *_rest: object) -> None:
        if statement.startswith("UPDATE jobs") and "state" in statement.split("WHERE", 1)[0]:
            seen.append(statement)

    listen: Callable[..., None] = event.listen
    listen(database.engine, "before_cursor_execute", note)
    workshop.queued_job()
    job = claim_next(bench_client)
    assert move(bench_client, job, "settling", claim=job["claim"]["id"]).status_code == 200
    assert len(seen) == 3
    assert all("move_id" in statement.split("WHERE", 1)[0] for statement in seen)
