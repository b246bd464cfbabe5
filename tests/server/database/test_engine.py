"""Many writers at once lose nothing, readers see one state, and trouble has a name."""

from __future__ import annotations

import multiprocessing
import sqlite3
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest
import sqlalchemy.exc
from sqlalchemy import select, text
from sqlalchemy.dialects import sqlite

from shimstock_server.database.engine import LockTimeout, WriterLock, make_engine
from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import Instant
from shimstock_server.database.tables.jobs import JobNumber
from shimstock_server.database.tables.shop import Bench
from shimstock_server.web.problems import Conflict, DatabaseAway, DiskFull, PreconditionFailed
from tests.waiting import HANG, wait_until

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
SQLITE = pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
POSTGRESQL = pytest.mark.parametrize(
    "database_url", [pytest.param("postgresql", marks=pytest.mark.postgresql)], indirect=True
)


def count_up(database: Database, times: int) -> None:
    """Read, add one, write: what a careless transaction loses."""
    for _ in range(times):
        with database.write() as session:
            row = session.get_one(JobNumber, 1, with_for_update=True)
            row.last += 1


def count_up_in_a_process(url: str, times: int) -> None:
    database = Database(make_engine(url, write_wait=30.0), write_wait=30.0)
    count_up(database, times)
    database.dispose()


def test_threads_lose_nothing(database: Database) -> None:
    with ThreadPoolExecutor(4) as threads:
        list(threads.map(lambda _: count_up(database, 25), range(4)))
    with database.read() as session:
        assert session.get_one(JobNumber, 1).last == 100


def test_processes_lose_nothing(database: Database, database_url: str) -> None:
    spawn = multiprocessing.get_context("spawn")
    workers = [spawn.Process(target=count_up_in_a_process, args=(database_url, 40)) for _ in range(2)]
    for worker in workers:
        worker.start()
    count_up(database, 40)
    for worker in workers:
        worker.join(HANG)
        assert worker.exitcode == 0
    with database.read() as session:
        assert session.get_one(JobNumber, 1).last == 120


def test_a_reader_sees_one_state(database: Database) -> None:
    with database.read() as reader:
        assert reader.scalars(select(Bench)).all() == []
        with database.write({"now": NOW}) as writer:
            writer.add(Bench(name="meanwhile", skills=[]))
        assert reader.scalars(select(Bench)).all() == [], "the same picture to the end"
    with database.read() as reader:
        assert [bench.name for bench in reader.scalars(select(Bench))] == ["meanwhile"]


def test_a_reader_cannot_write(database: Database) -> None:
    with pytest.raises(sqlalchemy.exc.DBAPIError), database.read() as session:
        session.execute(text("UPDATE job_numbers SET last = 7"))
    with database.read() as session:
        assert session.get_one(JobNumber, 1).last == 0


def test_a_database_that_may_not_be_written_to_is_away(database: Database) -> None:
    lock = "PRAGMA query_only=ON" if database.is_sqlite else "SET TRANSACTION READ ONLY"
    with pytest.raises(DatabaseAway), database.write({"now": NOW}) as session:  # noqa: PT012
        session.connection().exec_driver_sql(lock)
        session.add(Bench(name="never", skills=[]))
        session.flush()
    with database.write({"now": NOW}) as session:
        session.add(Bench(name="later", skills=[]))


def test_an_error_undoes_everything(database: Database) -> None:
    with pytest.raises(RuntimeError), database.write({"now": NOW}) as session:  # noqa: PT012
        session.add(Bench(name="never", skills=[]))
        session.flush()
        raise RuntimeError
    with database.read() as session:
        assert session.scalars(select(Bench)).all() == []


def test_a_stale_row_is_a_failed_precondition(database: Database) -> None:
    with database.write({"now": NOW}) as session:
        bench = Bench(name="one", skills=[])
        session.add(bench)
        session.flush()
        identifier = bench.id
        session.expunge(bench)
    with database.write({"now": NOW}) as session:
        session.get_one(Bench, identifier).name = "two"
    with pytest.raises(PreconditionFailed), database.write({"now": NOW}) as session:  # noqa: PT012
        session.add(bench)
        bench.name = "three"
    with database.read() as session:
        assert session.get_one(Bench, identifier).name == "two"


def test_a_race_for_a_unique_name_is_a_conflict(database: Database) -> None:
    with database.write({"now": NOW}) as session:
        session.add(Bench(name="one", skills=[]))
    with pytest.raises(Conflict), database.write({"now": NOW}) as session:
        session.add(Bench(name="one", skills=[]))


@POSTGRESQL
def test_a_lost_connection_is_away_and_comes_back(database: Database) -> None:
    with pytest.raises(DatabaseAway), database.read() as session:  # noqa: PT012
        own = session.scalar(text("SELECT pg_backend_pid()"))
        with database.write() as other:
            other.execute(text(f"SELECT pg_terminate_backend({own})"))
        session.execute(text("SELECT 1"))
    with database.read() as session:
        assert session.scalar(text("SELECT 1")) == 1


def test_no_server_is_away() -> None:
    database = Database(make_engine("postgresql://nobody@127.0.0.1:9/none"))
    with pytest.raises(DatabaseAway) as away, database.read() as session:
        session.execute(text("SELECT 1"))
    assert int(away.value.headers["Retry-After"]) > 0


def test_a_missing_file_is_away_and_none_is_made(tmp_path: Path) -> None:
    database = Database(make_engine(f"sqlite:///{tmp_path / 'folder' / 'shop.db'}"))
    with pytest.raises(DatabaseAway), database.read() as session:
        session.execute(text("SELECT 1"))
    with pytest.raises(DatabaseAway), database.write():
        pass
    assert list(tmp_path.iterdir()) == []


@SQLITE
def test_a_file_that_was_moved_away_takes_nothing_more(database: Database, database_url: str) -> None:
    path = Path(database_url.removeprefix("sqlite:///"))
    count_up(database, 1)
    path.rename(path.with_suffix(".moved"))
    with pytest.raises(DatabaseAway):
        count_up(database, 1)
    path.with_suffix(".moved").rename(path)
    count_up(database, 1)
    with database.read() as session:
        assert session.get_one(JobNumber, 1).last == 2


@POSTGRESQL
def test_a_slow_statement_is_away(database_url: str) -> None:
    database = Database(make_engine(database_url, statement_timeout=0.1))
    with pytest.raises(DatabaseAway), database.read() as session:
        session.execute(text("SELECT pg_sleep(5)"))
    database.dispose()


@SQLITE
def test_a_writer_that_waits_too_long_is_away(database_url: str) -> None:
    database = Database(make_engine(database_url, write_wait=0.2), write_wait=0.2)
    inside, finish = threading.Event(), threading.Event()

    def hold() -> None:
        with database.write():
            inside.set()
            assert finish.wait(HANG)

    with ThreadPoolExecutor(1) as threads:
        holder = threads.submit(hold)
        assert inside.wait(HANG)
        with pytest.raises(DatabaseAway), database.write():
            pass
        finish.set()
        holder.result(HANG)
    with database.write():
        pass
    database.dispose()


@SQLITE
def test_a_full_disk_has_a_name(database: Database) -> None:
    with pytest.raises(DiskFull), database.write({"now": NOW}) as session:  # noqa: PT012
        pages = session.scalar(text("PRAGMA page_count"))
        session.execute(text(f"PRAGMA max_page_count = {pages}"))
        for n in range(500):
            session.add(Bench(name=f"bench {n} {'x' * 150}", skills=[]))
        session.flush()
    with database.read() as session:
        assert session.scalars(select(Bench)).all() == []


@SQLITE
def test_how_sqlite_is_set_up(database: Database) -> None:
    with database.read() as session:
        # https://www.sqlite.org/pragma.html: 2 is FULL.
        assert session.scalar(text("PRAGMA synchronous")) == 2
        assert session.scalar(text("PRAGMA journal_mode")) == "wal"
        assert session.scalar(text("PRAGMA foreign_keys")) == 1


def test_a_reference_to_nothing_is_refused(database: Database) -> None:
    with pytest.raises(Conflict), database.write() as session:
        session.execute(
            text("INSERT INTO technician_skills (technician_id, skill) VALUES (:id, 'setup')"),
            {"id": "01890a5dac96774bbcceb302099a8057"},
        )


def hold_the_lock(path: str, started: str, release: str) -> None:
    with WriterLock(Path(path), 5.0).held():
        Path(started).touch()
        wait_until(Path(release).exists)


def test_the_lock_is_handed_over_between_processes(tmp_path: Path) -> None:
    started, release = tmp_path / "started", tmp_path / "release"
    spawn = multiprocessing.get_context("spawn")
    holder = spawn.Process(target=hold_the_lock, args=(str(tmp_path / "lock"), str(started), str(release)))
    holder.start()
    wait_until(started.exists)
    lock = WriterLock(tmp_path / "lock", 0.1)
    with pytest.raises(LockTimeout), lock.held():
        pass
    patient = WriterLock(tmp_path / "lock", HANG)
    threading.Timer(0.2, release.touch).start()
    # Whoever gave up waiting must not have kept it.
    with patient.held(), pytest.raises(LockTimeout), lock.held():
        pass
    with lock.held():
        pass
    holder.join(HANG)


@SQLITE
def test_a_foreign_writer_is_waited_for(database: Database, database_url: str) -> None:
    """A backup or an admin's tool takes no part in our lock; SQLite's own waiting is the net."""
    foreign = sqlite3.connect(
        database_url.removeprefix("sqlite:///"), isolation_level=None, check_same_thread=False
    )
    with closing(foreign):
        foreign.execute("BEGIN IMMEDIATE")
        committing = threading.Timer(0.3, lambda: foreign.execute("COMMIT"))
        committing.start()
        count_up(database, 1)
        committing.join(HANG)


def test_instants_sort_as_text_in_every_year() -> None:
    kind, dialect = Instant(), sqlite.dialect()
    moments = [datetime(year, 1, 1, tzinfo=UTC) for year in (1, 999, 1900, 2026, 9999)]
    kept = [kind.process_bind_param(moment, dialect) for moment in moments]
    assert kept == sorted(kept)
    assert kept[3] == "2026-01-01T00:00:00.000000Z"
    assert [kind.process_result_value(text, dialect) for text in kept] == moments
    assert kind.process_result_value("1-01-01T00:00:00.000000Z", dialect) == moments[0]
