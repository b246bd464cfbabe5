"""The trail: who changed what, when, from what to what."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from uuid import UUID

import pytest
from sqlalchemy import select

from shimstock_server.database import history
from shimstock_server.database.session import Database
from shimstock_server.database.tables import Base
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.operations import AuditEvent, DomainEvent
from shimstock_server.database.tables.owners import Owner
from shimstock_server.database.tables.shop import Bench
from shimstock_server.web.problems import Conflict
from tests.server.clients import Client
from tests.server.conftest import SECRET

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
KEY = UUID("01890a5d-ac96-774b-bcce-b302099a8057")
TECHNICIAN = UUID("01890a5d-ac96-774b-bcce-b302099a8058")


@dataclass
class Somebody:
    key_id: UUID = KEY
    technician_id: UUID = TECHNICIAN


INFO = {"actor": Somebody(), "now": NOW, "request_id": "request-1", "secret": SECRET}


def trail(database: Database, table: str) -> list[AuditEvent]:
    with database.read() as session:
        events = session.scalars(
            select(AuditEvent).where(AuditEvent.object_type == table).order_by(AuditEvent.id)
        )
        return list(events)


def test_every_change_leaves_a_line(database: Database) -> None:
    with database.write(INFO) as session:
        bench = Bench(name="one", skills=["bass"])
        session.add(bench)
        session.flush()
        identifier = bench.id
    with database.write(INFO | {"now": NOW + timedelta(hours=1)}) as session:
        bench = session.get_one(Bench, identifier)
        bench.name, bench.active = "two", True
    with database.write(INFO) as session:
        session.delete(session.get_one(Bench, identifier))
    created, changed, deleted = trail(database, "benches")
    assert (created.action, created.version, created.before) == ("created", 1, None)
    assert created.after == {"id": str(identifier), "name": "one", "skills": ["bass"], "active": True}
    assert (changed.action, changed.version) == ("changed", 2)
    assert (changed.before, changed.after) == ({"name": "one"}, {"name": "two"}), "what stayed is not told"
    assert changed.at == NOW + timedelta(hours=1)
    assert (deleted.action, deleted.after) == ("deleted", None)
    assert deleted.before == {"id": str(identifier), "name": "two", "skills": ["bass"], "active": True}
    for line in (created, changed, deleted):
        assert (line.object_id, line.key_id, line.technician_id, line.request_id) == (
            str(identifier),
            KEY,
            TECHNICIAN,
            "request-1",
        )


def test_what_is_undone_leaves_no_line(database: Database) -> None:
    with pytest.raises(RuntimeError), database.write(INFO) as session:  # noqa: PT012
        session.add(Bench(name="one", skills=[]))
        session.flush()
        raise RuntimeError
    assert trail(database, "benches") == []


def test_instants_come_from_the_one_clock(database: Database) -> None:
    with database.write(INFO) as session:
        bench = Bench(name="one", skills=[])
        session.add(bench)
        session.flush()
        assert (bench.created_at, bench.updated_at) == (NOW, NOW)
        identifier = bench.id
    with database.write(INFO | {"now": NOW + timedelta(days=1)}) as session:
        session.get_one(Bench, identifier).name = "two"
    with database.read() as session:
        bench = session.get_one(Bench, identifier)
        assert (bench.created_at, bench.updated_at) == (NOW, NOW + timedelta(days=1))


def test_personal_data_leaves_a_hash(database: Database) -> None:
    personal = {column.name for column in Owner.__table__.columns if column.info.get("personal")}
    assert "name" in personal
    with database.write(INFO) as session:
        owner = Owner(name="Nobody Inparticular", email="nobody@example.org")
        session.add(owner)
        session.flush()
        expected = history.keyed_hash(session, "Nobody Inparticular")
    (line,) = trail(database, "owners")
    assert line.after is not None
    assert line.after["name"] == expected
    assert len(expected) == 16
    assert "Nobody" not in str(line.after)
    assert "example.org" not in str(line.after)


def test_the_hash_needs_the_secret(database: Database) -> None:
    with database.read({"secret": SECRET}) as one, database.read({"secret": SECRET[::-1]}) as other:
        assert history.keyed_hash(one, "name") != history.keyed_hash(other, "name")
    with pytest.raises(RuntimeError, match="secret"), database.write({"now": NOW}) as session:
        session.add(Owner(name="Nobody Inparticular"))


def test_a_secret_leaves_no_trace(client: Client, database: Database) -> None:
    made = client.post("/v1/keys", json={"name": "Office", "scope": "manager"}).get_json()
    line = next(line for line in trail(database, "api_keys") if line.object_id == made["id"])
    assert line.after is not None
    assert line.after["secret_hash"] == "…"
    assert line.key_id == client.key_id


def test_a_statement_past_the_objects_is_recorded_by_hand(database: Database) -> None:
    with database.write(INFO) as session:
        history.record(
            session, "benches", KEY, "changed", version=3, before={"name": "a"}, after={"name": "b"}
        )
    (line,) = trail(database, "benches")
    assert (line.object_id, line.version, line.before, line.after) == (
        str(KEY),
        3,
        {"name": "a"},
        {"name": "b"},
    )


def test_events_are_numbered_by_object(database: Database) -> None:
    with database.write(INFO) as session:
        one, two = Bench(name="one", skills=[]), Bench(name="two", skills=[])
        session.add_all([one, two])
        history.emit(session, "bench.opened", one)
        history.emit(session, "bench.opened", two, reason="new")
        one.name = "three"
        history.emit(session, "bench.renamed", one)
        ids = one.id, two.id
    with database.read() as session:
        told = [
            (event.type, event.object_id, event.sequence, event.data)
            for event in session.scalars(select(DomainEvent).order_by(DomainEvent.id))
        ]
    assert told == [
        ("bench.opened", ids[0], 1, {"version": 1}),
        ("bench.opened", ids[1], 1, {"version": 1, "reason": "new"}),
        ("bench.renamed", ids[0], 2, {"version": 2}),
    ]


def test_an_event_of_an_undone_change_is_undone(database: Database) -> None:
    with pytest.raises(Conflict), database.write(INFO) as session:  # noqa: PT012
        bench = Bench(name="one", skills=[])
        session.add(bench)
        history.emit(session, "bench.opened", bench)
        raise Conflict()
    with database.read() as session:
        assert session.scalars(select(DomainEvent)).all() == []


def test_keys_are_audited_and_idempotency_rows_are_not() -> None:
    assert ApiKey.__table__.info.get("audited", True)
    assert not Base.metadata.tables["idempotency_keys"].info["audited"]
    assert not Base.metadata.tables["audit_events"].info["audited"]
