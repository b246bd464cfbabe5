"""Everything that the shop owns goes out as open files and comes back the same."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pandas as pd
import pytest
from click.testing import CliRunner
from sqlalchemy import inspect

from shimstock_server.app import create_app, open_database
from shimstock_server.clock import FixedClock
from shimstock_server.config import Config
from shimstock_server.database.session import Database
from shimstock_server.database.words import Scope
from shimstock_server.keys import make_key
from shimstock_server.learning import rebuild, work_off_marks
from shimstock_server.operations.admin import admin
from shimstock_server.transfer.tables import LEFT_OUT, exported_tables
from tests.databases import PostgresqlDatabases, SqliteDatabases
from tests.server.clients import Client
from tests.server.conftest import SECRET, Staff
from tests.server.reports import direct
from tests.server.reports.simulated import Size, fill
from tests.server.workshop import Workshop, case_one_readings, set_up, sheet

PERIOD = "first=2024-01-01&last=2026-12-31"


Empty = Callable[[str], Config]


@pytest.fixture
def empty(
    request: pytest.FixtureRequest, sqlite_databases: SqliteDatabases, tmp_path: Path
) -> Iterator[Empty]:
    """Make other services: migrated, and nothing else; on `sqlite` or `postgresql`."""
    names: list[str] = []

    def make(kind: str) -> Config:
        if kind == "sqlite":
            folder = tmp_path / f"other-{len(list(tmp_path.iterdir()))}"
            folder.mkdir()
            url = sqlite_databases.migrated(folder)
        else:
            databases: PostgresqlDatabases = request.getfixturevalue("postgresql_databases")
            names.append(databases.migrated())
            url = databases.server.database(names[-1])
        return Config(secret=SECRET, database_url=url, rate_per_minute=0, pool_size=4)

    yield make
    for name in names:
        request.getfixturevalue("postgresql_databases").take_back(name)


@pytest.fixture
def empty_config(database_url: str, empty: Empty) -> Config:
    """Another service on the same kind of database."""
    return empty("sqlite" if database_url.startswith("sqlite") else "postgresql")


@pytest.fixture
def shop(client: Client, bench_client: Client, staff: Staff, database: Database) -> Workshop:
    """A shop with what the service itself and a simulation have written."""
    workshop = set_up(client)
    job = workshop.job(complaints="=cmd|'/C calc'!A0", wants={"playing_style": "Fingerstyle – señor"})
    bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=sheet(case_one_readings(workshop)))
    wrong = sheet(case_one_readings(workshop))
    bench_client.post(f"/v1/jobs/{job['id']}/reading-sheets", json=wrong)
    bench_client.post(
        f"/v1/jobs/{job['id']}/reading-sheets",
        json=sheet(case_one_readings(workshop), supersedes=wrong["id"], supersedes_reason="other tool"),
    )
    more_of_it(client, bench_client, workshop, job["id"])
    fill(database, workshop.ids, staff.key_ids["manager"], staff.technician_id, Size(models=2, instruments=6))
    return workshop


def more_of_it(client: Client, bench: Client, workshop: Workshop, job: str) -> None:
    """Rows in tables that readings leave empty."""
    ids = workshop.ids

    def post(path: str, body: dict[str, Any], by: Client = client) -> dict[str, Any]:
        answer = by.post(path, json=body)
        assert answer.status_code in (200, 201), (path, answer.get_data(as_text=True))
        told: dict[str, Any] = answer.get_json()
        return told

    post("/v1/webhook-endpoints", {"url": "https://example.com/hook", "types": ["job.moved"]})
    post(f"/v1/jobs/{job}/parts", {"name": "nut blank", "quantity": 1, "price": 12.5})
    post(f"/v1/jobs/{job}/quotes", {"work": "level the frets", "amount": 180.0})
    post("/v1/rooms", {"name": "Back room", "use": "shop"})
    post("/v1/hygrometers", {"name": "Brass one"})
    piece = {"name": "block", "bench_id": bench.get("/v1/benches").get_json()["items"][0]["id"],
             "quantity": "action", "repetitions": 2, "stated": {"value": 2.0, "unit": "mm"}}  # fmt: skip
    made = post("/v1/check-pieces", piece)
    values = [{"value": value, "unit": "mm"} for value in (2.0, 2.01)]
    post(f"/v1/check-pieces/{made['id']}/readings", {"values": values}, bench)
    post("/v1/calendars", {"name": "wall"})
    post(f"/v1/jobs/{job}/card-links", {})
    assert ids


def export(url: str, path: Path) -> dict[str, bytes]:
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": url}
    ran = CliRunner().invoke(admin, ["export", str(path)], env=settings)
    assert ran.exit_code == 0, ran.output
    archive = zipfile.ZipFile(path)
    return {name: archive.read(name) for name in archive.namelist()}


def import_(url: str, path: Path) -> Any:
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": url}
    return CliRunner().invoke(admin, ["import", str(path)], env=settings)


@pytest.mark.usefixtures("shop")
def test_an_export_in_an_empty_service_is_the_same_shop(
    client: Client,
    config: Config,
    empty_config: Config,
    clock: FixedClock,
    database: Database,
    tmp_path: Path,
) -> None:
    path = tmp_path / "shop.zip"
    sent = export(config.database_url, path)
    assert path.stat().st_mode & 0o077 == 0
    ran = import_(empty_config.database_url, path)
    assert ran.exit_code == 0, ran.output
    back = export(empty_config.database_url, tmp_path / "back.zip")
    assert sent.keys() == back.keys()
    assert_same(sent, back)
    manifest = json.loads(sent["manifest.json"])
    assert [told["table"] for told in manifest["tables"]] == [table.name for table in exported_tables()]
    for told in manifest["tables"]:
        lines = sent[told["file"]]
        assert told["sha256"] == hashlib.sha256(lines).hexdigest()
        assert told["rows"] == len(lines.splitlines())
    assert sum(told["rows"] for told in manifest["tables"]) > 500

    # the same answers come out, once the worker has counted
    other = open_database(empty_config)
    with other.write({"now": clock.now(), "secret": SECRET}) as session:
        _, token = make_key(session, name="new", scope=Scope.MANAGER, now=clock.now())
    rebuild(database, config, clock)  # the simulated jobs were written past the service
    assert work_off_marks(other, empty_config, clock) == 13
    app = create_app(empty_config, clock, database=other)
    copy = Client(app, token)
    models = [each["id"] for each in copy.get("/v1/instrument-models").get_json()["items"]]
    paths = [f"/v1/reports/instrument-models/{model}?{PERIOD}" for model in models]
    jobs = [each["id"] for each in copy.get("/v1/jobs?limit=3").get_json()["items"]]
    paths += [f"/v1/jobs/{job}/reading-sheets" for job in jobs] + [f"/v1/jobs/{job}" for job in jobs]
    for address in paths:
        assert copy.get(address).get_json() == client.get(address).get_json(), address
    assert Client(app, client.token).get("/v1/jobs").status_code == 401  # keys do not travel
    other.dispose()


def assert_same(sent: dict[str, bytes], back: dict[str, bytes]) -> None:
    """An endpoint comes switched off; everything else is the same to the last byte."""
    endpoints = "tables/webhook_endpoints.jsonl"
    for name in sent.keys() - {"manifest.json", endpoints}:
        assert sent[name] == back[name], name
    before, after = ([json.loads(line) for line in each[endpoints].splitlines()] for each in (sent, back))
    assert [row["active"] for row in before] == [True]
    assert after == [row | {"active": False, "disabled_reason": "switched-off"} for row in before]


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_shop_moves_between_databases(config: Config, empty: Empty, tmp_path: Path) -> None:
    first = export(config.database_url, tmp_path / "first.zip")
    larger, smaller = empty("postgresql"), empty("sqlite")
    assert import_(larger.database_url, tmp_path / "first.zip").exit_code == 0
    second = export(larger.database_url, tmp_path / "second.zip")
    assert_same(first, second)
    assert import_(smaller.database_url, tmp_path / "second.zip").exit_code == 0
    third = export(smaller.database_url, tmp_path / "third.zip")
    assert {name: third[name] for name in third if name != "manifest.json"} == {
        name: second[name] for name in second if name != "manifest.json"
    }


@pytest.mark.usefixtures("shop")
@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_dry_run_checks_everything_and_keeps_nothing(
    config: Config, empty_config: Config, tmp_path: Path
) -> None:
    path = tmp_path / "shop.zip"
    export(config.database_url, path)
    settings = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": empty_config.database_url}
    tried = CliRunner().invoke(admin, ["import", "--dry-run", str(path)], env=settings)
    assert tried.exit_code == 0, tried.output
    assert "can be imported; nothing was kept" in tried.output
    assert import_(empty_config.database_url, path).exit_code == 0


@pytest.mark.usefixtures("shop")
def test_readings_of_the_file_are_those_that_pandas_finds_in_the_tables(
    client: Client, config: Config, database: Database
) -> None:
    answer = client.get("/v1/exports")
    assert answer.mimetype == "application/zip"
    archive = zipfile.ZipFile(io.BytesIO(answer.data))
    frame = pd.read_csv(io.BytesIO(archive.read("readings.csv")))
    rows = direct.read(database, direct.READINGS)
    assert len(frame) == len(rows)
    assert sorted(frame["value"]) == sorted(rows["value"])  # to the last digit
    assert set(frame["unit"]) == {"mm", "cents"}
    assert (frame["corrected"] == "yes").sum() == 5


@pytest.mark.usefixtures("shop")
def test_no_secret_leaves_the_house_and_no_cell_is_a_formula(config: Config, tmp_path: Path) -> None:
    sent = export(config.database_url, tmp_path / "shop.zip")
    (key, *_) = [json.loads(line) for line in sent["tables/api_keys.jsonl"].splitlines()]
    assert "secret_hash" not in key
    secret = [
        column.name for table in exported_tables() for column in table.columns if column.info.get("secret")
    ]
    assert {"secret_hash", "salt", "token_hash"} <= set(secret)
    for line in sent["readings.csv"].decode().splitlines()[1:]:
        assert not line.startswith(("=", "+", "-", "@"))


@pytest.mark.usefixtures("client")
def test_every_table_of_the_database_is_exported_or_left_out_for_a_reason(
    config: Config, database: Database, tmp_path: Path
) -> None:
    """The tables are those of the migrated database, the files those in the archive."""
    with database.read() as session:
        there = set(inspect(session.connection()).get_table_names()) - {"alembic_version"}
    sent = export(config.database_url, tmp_path / "shop.zip")
    files = {
        name.removeprefix("tables/").removesuffix(".jsonl") for name in sent if name.startswith("tables/")
    }
    assert files | LEFT_OUT.keys() == there
    assert not files & LEFT_OUT.keys()
    assert all(reason for reason in LEFT_OUT.values())


def test_what_is_exported_needs_nothing_that_is_left_out() -> None:
    names = {table.name for table in exported_tables()}
    for table in exported_tables():
        for key in table.foreign_keys:
            assert key.column.table.name in names | {"allowed_moves"}, (
                f"{table.name} needs {key.column.table}"
            )
