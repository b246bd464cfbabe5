"""Migrations: up, down and up again, with rows; and what they make is what the tables say."""

from __future__ import annotations

import re
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.operations import Operations
from sqlalchemy import Connection, Enum, inspect, text

from shimstock_calc import vocabulary
from shimstock_server.app import create_app, open_database
from shimstock_server.config import Config
from shimstock_server.database import migrate
from shimstock_server.database.engine import WRITES, make_engine
from shimstock_server.database.migrations.columns import reword
from shimstock_server.database.session import Database
from shimstock_server.database.tables import Base
from shimstock_server.database.tables.jobs import AllowedMove
from tests.server.conftest import SECRET


def tables_of(url: str) -> set[str]:
    engine = make_engine(url)
    try:
        return set(inspect(engine).get_table_names())
    finally:
        engine.dispose()


def test_up_down_and_up_again(empty_database_url: str) -> None:
    url = empty_database_url
    assert migrate.current(url) is None
    migrate.upgrade(url)
    assert migrate.current(url) == migrate.head()
    assert tables_of(url) == {*Base.metadata.tables, "alembic_version"}
    migrate.downgrade(url, "base")
    assert tables_of(url) == {"alembic_version"}
    migrate.upgrade(url)
    migrate.upgrade(url)
    assert migrate.current(url) == migrate.head()


def test_the_migrations_make_what_the_tables_say(database: Database) -> None:
    with database.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def _constraints(url: str) -> dict[str, Any]:
    engine = make_engine(url)
    inspector = inspect(engine)
    found = {}
    for table in sorted(set(inspector.get_table_names()) - {"alembic_version"}):
        found[table] = {
            "checks": sorted(
                (str(c["name"]), " ".join(str(c["sqltext"]).split()))
                for c in inspector.get_check_constraints(table)
            ),
            "indexes": sorted(
                (str(i["name"]), tuple(i["column_names"]), bool(i["unique"]))
                for i in inspector.get_indexes(table)
            ),
            "foreign": sorted(
                (str(f["name"]), tuple(f["constrained_columns"]), f["referred_table"])
                for f in inspector.get_foreign_keys(table)
            ),
            "uniques": sorted(
                (str(u["name"]), tuple(u["column_names"])) for u in inspector.get_unique_constraints(table)
            ),
        }
    engine.dispose()
    return found


def test_every_constraint_is_the_same_and_has_a_name(empty_database_url: str) -> None:
    """Alembic compares neither checks nor names: make the tables both ways and look."""
    url = empty_database_url
    assert migrate.current(url) is None
    engine = make_engine(url)
    with engine.execution_options(**{WRITES: True}).begin() as connection:
        Base.metadata.create_all(connection)
    defined = _constraints(url)
    with engine.execution_options(**{WRITES: True}).begin() as connection:
        Base.metadata.drop_all(connection)
    engine.dispose()
    migrate.upgrade(url)
    assert _constraints(url) == defined
    for table in defined.values():
        for rows in table.values():
            assert all(row[0] not in ("", "None") for row in rows)


def test_a_failed_migration_leaves_everything_as_it_was(
    empty_database_url: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    url = empty_database_url
    import alembic.command

    upgrade = alembic.command.upgrade

    def fail(config: Any, revision: str) -> None:
        upgrade(config, revision)
        raise RuntimeError("the power went")

    monkeypatch.setattr(alembic.command, "upgrade", fail)
    with pytest.raises(RuntimeError):
        migrate.upgrade(url)
    assert tables_of(url) <= {"alembic_version"}
    assert migrate.current(url) is None


def test_two_operators_at_once(empty_database_url: str) -> None:
    with ThreadPoolExecutor(2) as threads:
        list(threads.map(migrate.upgrade, [empty_database_url] * 2))
    assert migrate.current(empty_database_url) == migrate.head()


def test_the_service_does_not_start_on_other_tables(empty_database_url: str) -> None:
    config = Config(secret=SECRET, database_url=empty_database_url)
    database = open_database(config)
    with pytest.raises(migrate.WrongRevision, match="run `shimstock-admin migrate`"):
        create_app(config, database=database)
    migrate.upgrade(empty_database_url)
    app = create_app(config, database=database)
    assert app.test_client().get("/readyz").status_code == 200
    with database.write() as session:
        session.execute(text("UPDATE alembic_version SET version_num = '9999'"))
    with pytest.raises(migrate.WrongRevision, match="at revision 9999"):
        create_app(config, database=database)
    assert app.test_client().get("/readyz").status_code == 503
    assert app.test_client().get("/livez").status_code == 200
    database.dispose()


def test_the_moves_in_the_database_are_those_of_the_code(database: Database) -> None:
    from shimstock_server.jobs.states import MOVES

    with database.read() as session:
        kept = {(row.from_state, row.to_state) for row in session.query(AllowedMove)}
    assert kept == {(start, to) for start, ends in MOVES.items() for to in ends}


def _words(sqltext: str) -> set[str]:
    return set(re.findall(r"'([^']+)'", sqltext))


def _check(connection: Connection, table: str, name: str) -> str:
    (found,) = [
        each["sqltext"]
        for each in inspect(connection).get_check_constraints(table)
        if each["name"] == f"ck_{table}_{name}"
    ]
    return str(found)


def test_the_last_migration_leaves_the_words_of_the_vocabulary(database: Database) -> None:
    """Released migrations keep their literal words: what they come to is what the trade says now."""
    told = {vocabulary.Quantity: vocabulary.QUANTITIES, vocabulary.Part: vocabulary.PARTS}
    columns = [
        (table.name, column)
        for table in Base.metadata.sorted_tables
        for column in table.columns
        if isinstance(column.type, Enum) and column.type.enum_class in told
    ]
    assert {column.type.enum_class for _, column in columns} == set(told)
    with database.engine.connect() as connection:
        for table, column in columns:
            assert _words(_check(connection, table, column.type.name)) == set(told[column.type.enum_class])


def test_a_column_of_words_gets_others_and_keeps_the_rest(empty_database_url: str) -> None:
    url = empty_database_url
    migrate.upgrade(url)
    before = _constraints(url)
    engine = make_engine(url)

    def say(choices: str) -> None:
        with (
            engine.execution_options(**{WRITES: True}).begin() as connection,
            Operations.context(MigrationContext.configure(connection)),
        ):
            reword("readings", "quantity", choices)

    words = " ".join(vocabulary.Quantity)
    say(f"{words} heel-gap")
    with engine.connect() as connection:
        assert _words(_check(connection, "readings", "quantity")) == {*vocabulary.QUANTITIES, "heel-gap"}
    say(words)
    assert _constraints(url) == before
    engine.dispose()
