"""The operator's commands, from a bare database to a restored one."""

from __future__ import annotations

import builtins
import contextlib
import json
import secrets
import sqlite3
import subprocess
import sys
import threading
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import UUID

import pytest
from click.testing import CliRunner, Result
from sqlalchemy import text

from shimstock_server.app import open_database
from shimstock_server.config import Config
from shimstock_server.database import migrate
from shimstock_server.database.session import Database
from shimstock_server.database.tables.keys import ApiKey
from shimstock_server.database.tables.owners import Owner
from shimstock_server.database.tables.shop import Bench
from shimstock_server.database.tables.webhooks import WebhookEndpoint
from shimstock_server.operations import backup, entry
from shimstock_server.operations.admin import admin
from shimstock_server.owners import erase
from tests.waiting import HANG

SEED = Path(__file__).resolve().parents[3] / "seed"
SECRET = secrets.token_urlsafe(32)


class Operator:
    """Runs commands against one database."""

    def __init__(self, url: str) -> None:
        self.url = url
        self.environment = {"SHIMSTOCK_SECRET": SECRET, "SHIMSTOCK_DATABASE_URL": url}

    def run(self, *arguments: str) -> Result:
        return CliRunner().invoke(admin, arguments, env=self.environment)

    def does(self, *arguments: str) -> str:
        result = self.run(*arguments)
        assert result.exit_code == 0, result.output
        return result.output

    def fails(self, *arguments: str) -> str:
        result = self.run(*arguments)
        assert result.exit_code != 0
        assert "Traceback" not in result.output
        return result.output

    def database(self) -> Database:
        return open_database(Config(secret=SECRET, database_url=self.url))


@pytest.fixture
def bare(empty_database_url: str) -> Operator:
    """An operator with a database without tables."""
    return Operator(empty_database_url)


@pytest.fixture
def operator(database_url: str) -> Operator:
    """An operator with a migrated database."""
    return Operator(database_url)


def add_bench(operator: Operator, name: str) -> None:
    database = operator.database()
    with database.write({"secret": SECRET}) as session:
        session.add(Bench(name=name, skills=[]))
    database.dispose()


def benches(operator: Operator) -> list[str]:
    database = operator.database()
    with database.read() as session:
        found = sorted(bench.name for bench in session.query(Bench))
    database.dispose()
    return found


def test_migrate_there_and_back(bare: Operator) -> None:
    assert f"revision none -> {migrate.head()}" in bare.does("migrate")
    assert f"revision {migrate.head()} -> {migrate.head()}" in bare.does("migrate")
    assert "revision" in bare.does("migrate", "--to", "base")
    assert migrate.current(bare.url) is None


def set_revision(operator: Operator, revision: str) -> None:
    database = operator.database()
    with database.write({"secret": SECRET}) as session:
        session.execute(text("UPDATE alembic_version SET version_num = :revision"), {"revision": revision})
    database.dispose()


def test_tables_of_a_later_release_are_left_alone(operator: Operator) -> None:
    assert "there is no revision 9999; this release has 0001," in operator.fails("migrate", "--to", "9999")
    set_revision(operator, "9999")
    for command in (["migrate"], ["migrate", "--to", "base"], ["serve"], ["key", "list"]):
        assert "which this release does not know: install" in operator.fails(*command)
    assert migrate.current(operator.url) == "9999"


@pytest.mark.parametrize("bind", ["", "8000", ":8000", "127.0.0.1:99999", "127.0.0.1:web"])
def test_an_address_that_is_none_is_refused(bind: str) -> None:
    result = CliRunner().invoke(admin, ["serve", "--bind", bind], env={"SHIMSTOCK_SECRET": SECRET})
    assert result.exit_code == 2
    assert "must be HOST:PORT" in result.output


@pytest.mark.parametrize("command", [("serve",), ("key", "list"), ("worker",)])
def test_nothing_starts_on_other_tables(bare: Operator, command: tuple[str, ...]) -> None:
    assert "run `shimstock-admin migrate`" in bare.fails(*command)


def test_nothing_starts_without_a_secret() -> None:
    result = CliRunner().invoke(admin, ["serve"], env={"SHIMSTOCK_SECRET": None})
    assert result.exit_code == 1
    assert "SHIMSTOCK_SECRET is not set" in result.output


def test_keys_are_made_listed_and_revoked(operator: Operator) -> None:
    add_bench(operator, "Window bench")
    made = json.loads(operator.does("key", "create", "--name", "office", "--scope", "manager", "--json"))
    assert made["secret"].startswith("shim_")
    at_bench = operator.does("key", "create", "--name", "b", "--scope", "bench", "--bench", "Window bench")
    assert at_bench.startswith("shim_")
    operator.does("key", "create", "--name", "trial", "--scope", "booking", "--days", "3", "--units", "inch")
    assert operator.does("key", "list").count("(valid, never used)") == 3
    operator.does("key", "revoke", made["id"])
    listed = operator.does("key", "list")
    assert "revoked 2" in listed
    assert made["secret"].split("_", 2)[2] not in listed


def test_a_websites_key_is_replaced(operator: Operator) -> None:
    def create(*arguments: str) -> str:
        made = operator.does("key", "create", "--name", "website", "--scope", "booking", "--json", *arguments)
        return str(json.loads(made)["id"])

    former = create()
    follower, stranger = create("--replaces", former), create()
    database = operator.database()
    with database.read() as session:
        sites = [session.get_one(ApiKey, UUID(each)).site_id for each in (former, follower, stranger)]
    database.dispose()
    assert sites[0] == sites[1] != sites[2]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (("--name", "b", "--scope", "bench"), "bench_id is required"),
        (
            ("--name", "b", "--scope", "bench", "--bench", "Nowhere"),
            "there is no bench Nowhere; there are: none yet",
        ),
        (("--name", "b", "--scope", "owner"), "'owner' is not one of"),
        (
            ("--name", "b", "--scope", "booking", "--replaces", "01890a5d-ac96-774b-bcce-b302099a8057"),
            "replaces must be the id of a booking key",
        ),
    ],
)
def test_a_key_that_makes_no_sense_is_refused(
    operator: Operator, arguments: tuple[str, ...], message: str
) -> None:
    assert message in operator.fails("key", "create", *arguments)


def test_a_shop_is_filled_once(operator: Operator, tmp_path: Path) -> None:
    assert "added" in operator.does("seed", str(SEED))
    before = benches(operator)
    assert len(before) >= 2
    assert "nothing new" in operator.does("seed", str(SEED))
    assert benches(operator) == before
    assert "Error" in operator.fails("seed", str(tmp_path))


def test_an_unknown_key_cannot_be_revoked(operator: Operator) -> None:
    unknown = "01890a5d-ac96-774b-bcce-b302099a8057"
    assert f"there is no key {unknown}" in operator.fails("key", "revoke", unknown)


def test_a_backup_made_at_work_is_whole_and_can_be_put_back(operator: Operator, tmp_path: Path) -> None:
    for n in range(5):
        add_bench(operator, f"bench {n}")
    stop = threading.Event()
    database = operator.database()

    def work() -> None:
        n = 0
        while not stop.is_set():
            with database.write({"secret": SECRET}) as session:
                session.add(Bench(name=f"meanwhile {n}", skills=[]))
            n += 1

    worker = threading.Thread(target=work)
    worker.start()
    copy = tmp_path / "folder" / "monday.backup"
    try:
        operator.does("backup", str(copy))
    finally:
        stop.set()
        worker.join(HANG)
        database.dispose()
    assert copy.stat().st_mode & 0o077 == 0, "for its owner alone"
    add_bench(operator, "after the backup")
    operator.does("restore", str(copy))
    found = benches(operator)
    assert "after the backup" not in found
    assert [name for name in found if name.startswith("bench")] == [f"bench {n}" for n in range(5)]


def add_endpoint(operator: Operator) -> None:
    database = operator.database()
    with database.write({"secret": SECRET}) as session:
        session.add(WebhookEndpoint(url="https://shop.example/hear", types=[], salt=b"s" * 16))
    database.dispose()


def test_a_secret_is_changed_on_purpose(operator: Operator) -> None:
    assert "key" not in operator.does("key", "list")  # whoever is first leaves the fingerprint
    assert "belongs to this secret already" in operator.does("change-secret")
    add_endpoint(operator)
    operator.environment["SHIMSTOCK_SECRET"] = secrets.token_urlsafe(32)
    assert "run `shimstock-admin change-secret`" in operator.fails("key", "list")
    said = operator.does("change-secret")
    assert "webhook endpoints that sign with another secret now: 1." in said
    assert "/v1/webhook-endpoints/{id}/secret" in said
    operator.does("key", "list")


def test_a_copy_of_another_secret_needs_a_word(operator: Operator, tmp_path: Path) -> None:
    add_bench(operator, "kept")
    add_endpoint(operator)
    operator.does("key", "list")
    operator.does("backup", str(tmp_path / "copy"))
    operator.environment["SHIMSTOCK_SECRET"] = secrets.token_urlsafe(32)
    refused = operator.fails("restore", str(tmp_path / "copy"))
    assert "worked with, then restore again; if it is lost, add --change-secret" in refused
    said = operator.does("restore", str(tmp_path / "copy"), "--change-secret")
    assert "webhook endpoints that sign with another secret now: 1." in said
    assert benches(operator) == ["kept"]
    operator.does("key", "list")


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_damaged_database_is_replaced_and_kept_with_all_that_belongs_to_it(
    operator: Operator, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    add_bench(operator, "kept")
    operator.does("backup", str(tmp_path / "copy"))
    path = Path(operator.url.removeprefix("sqlite:///"))
    path.chmod(0o640)
    damaged = b"no database at all" * 4096
    path.write_bytes(damaged)
    settle = backup._settle

    def fail(file: Path, wait: float) -> str:
        if file == path:
            # SQLite throws a log away that holds nothing; one that it cannot read back stays.
            Path(f"{path}-wal").write_bytes(b"a log")
            raise sqlite3.DatabaseError("file is not a database")
        return settle(file, wait)

    monkeypatch.setattr(backup, "_settle", fail)
    operator.does("restore", str(tmp_path / "copy"))
    assert benches(operator) == ["kept"]
    kept = path.with_name(f"{path.name}.before-restore")
    assert kept.read_bytes() == damaged
    assert path.stat().st_mode & 0o777 == 0o640, "its group reads the new one as it did the former"
    assert Path(f"{kept}-wal").read_bytes() == b"a log"


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_a_database_that_another_program_has_open_is_not_replaced(operator: Operator, tmp_path: Path) -> None:
    add_bench(operator, "kept")
    operator.does("backup", str(tmp_path / "copy"))
    path = operator.url.removeprefix("sqlite:///")
    with contextlib.closing(sqlite3.connect(path)) as connection:
        connection.execute("SELECT * FROM benches").fetchall()
        assert f"another program has {path} open: end it first" in operator.fails(
            "restore", str(tmp_path / "copy")
        )
    assert [each.name for each in tmp_path.iterdir() if "restor" in each.name] == []
    operator.does("restore", str(tmp_path / "copy"))


def test_a_backup_goes_into_an_empty_place(operator: Operator, bare: Operator, tmp_path: Path) -> None:
    if operator.url.split(":")[0] == bare.url.split(":")[0]:
        add_bench(operator, "moved")
        operator.does("backup", str(tmp_path / "copy"))
        if bare.url.startswith("sqlite"):
            bare = Operator(f"sqlite:///{tmp_path / 'new' / 'shop.db'}")
        assert "is kept as" not in bare.does("restore", str(tmp_path / "copy"))
        assert benches(bare) == ["moved"]
    else:
        add_bench(operator, "moved")
        operator.does("backup", str(tmp_path / "copy"))
        assert "Error" in bare.fails("restore", str(tmp_path / "copy"))


def names_of_owners(operator: Operator) -> dict[str, str | None]:
    database = operator.database()
    with database.read() as session:
        found = {str(owner.id): owner.name for owner in session.query(Owner)}
    database.dispose()
    return found


def test_a_restore_brings_no_erased_owner_back(operator: Operator, tmp_path: Path) -> None:
    database, now = operator.database(), datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
    info = {"now": now, "secret": SECRET}
    with database.write(info) as session:
        gone, kept = Owner(name="Ilse Fenstropp"), Owner(name="Otto Drumgoolde")
        session.add_all([gone, kept])
        session.flush()
        ids = str(gone.id), str(kept.id)
    copy = tmp_path / "monday.backup"
    operator.does("backup", str(copy))
    with database.write(info) as session:
        erase(session, session.get_one(Owner, UUID(ids[0])), now=now)
    database.dispose()
    assert "erased again: 1" in operator.does("restore", str(copy))
    assert names_of_owners(operator) == {ids[0]: None, ids[1]: "Otto Drumgoolde"}
    assert [path.name for path in tmp_path.iterdir() if "erased" in path.name] == []
    # A restore that was stopped half-way left its list.
    rows = [{"owner_id": ids[1], "at": now.isoformat()}]
    (tmp_path / "monday.backup.erased").write_text(json.dumps(rows))
    assert "erased again: 2" in operator.does("restore", str(copy))
    assert set(names_of_owners(operator).values()) == {None}


def test_a_copy_of_an_older_release_is_brought_to_this_one(operator: Operator, tmp_path: Path) -> None:
    add_bench(operator, "kept")
    operator.does("migrate", "--to", "0002")
    operator.does("backup", str(tmp_path / "old"))
    operator.does("migrate")
    add_bench(operator, "after the upgrade")
    operator.does("restore", str(tmp_path / "old"))
    assert benches(operator) == ["kept"]
    assert migrate.current(operator.url) == migrate.head()
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith("old")] == ["old"]


def test_a_copy_of_a_later_release_is_refused(operator: Operator, tmp_path: Path) -> None:
    set_revision(operator, "9999")
    operator.does("backup", str(tmp_path / "later"))
    set_revision(operator, migrate.head())
    add_bench(operator, "kept")
    assert "the copy is at revision 9999" in operator.fails("restore", str(tmp_path / "later"))
    assert benches(operator) == ["kept"]


NOWHERE = ["postgresql://nobody@127.0.0.1:9/none", "sqlite:////proc/nowhere/shop.db"]


@pytest.mark.parametrize("url", NOWHERE)
@pytest.mark.parametrize(
    "command", [["migrate"], ["key", "list"], ["serve"], ["worker"], ["backup"], ["seed", str(SEED)]]
)
def test_a_database_that_is_away_is_told_in_a_sentence(url: str, command: list[str], tmp_path: Path) -> None:
    if command == ["backup"]:
        command = ["backup", str(tmp_path / "copy")]
    result = Operator(url).run(*command)
    assert result.exit_code == 1
    assert isinstance(result.exception, SystemExit), "no error comes through"
    assert result.output.startswith("Error: "), result.output


def test_what_is_no_backup_is_refused(operator: Operator, tmp_path: Path) -> None:
    add_bench(operator, "kept")
    nonsense = tmp_path / "nonsense"
    nonsense.write_bytes(b"nothing of the kind" * 1000)
    assert "Error" in operator.fails("restore", str(nonsense))
    assert "there is no file" in operator.fails("restore", str(tmp_path / "missing"))
    assert benches(operator) == ["kept"]


@pytest.mark.parametrize("database_url", ["sqlite"], indirect=True)
def test_another_sqlite_file_is_refused(operator: Operator, tmp_path: Path) -> None:
    other = tmp_path / "other.db"
    with sqlite3.connect(other) as connection:
        connection.execute("CREATE TABLE things (id INTEGER)")
    connection.close()
    assert "is no copy of a database of this service" in operator.fails("restore", str(other))


def test_a_backup_of_nothing_is_refused(tmp_path: Path) -> None:
    nobody = Operator(f"sqlite:///{tmp_path / 'missing.db'}")
    assert "there is no database" in nobody.fails("backup", str(tmp_path / "copy"))
    assert list(tmp_path.iterdir()) == []


def test_the_document_is_written_and_compared(tmp_path: Path) -> None:
    operator = Operator("sqlite:////dev/null")
    file = tmp_path / "openapi" / "shimstock.json"
    assert "run `shimstock-admin openapi`" in operator.fails("openapi", "--check", str(file))
    operator.does("openapi", str(file))
    operator.does("openapi", "--check", str(file))
    document = json.loads(file.read_text(encoding="utf-8"))
    assert document["openapi"].startswith("3.1")
    file.write_text("{}", encoding="utf-8")
    operator.fails("openapi", "--check", str(file))


def test_help_explains_every_setting() -> None:
    said = CliRunner().invoke(admin, ["--help"]).output
    for name in ("SHIMSTOCK_SECRET", "SHIMSTOCK_DATABASE_URL", "SHIMSTOCK_PROXIES"):
        assert name in said


def test_without_the_servers_libraries_one_sentence_says_what_to_install(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    real = builtins.__import__

    def without_sqlalchemy(name: str, *args: Any, **kwargs: Any) -> Any:
        if name == "sqlalchemy" or name.startswith("sqlalchemy."):
            raise ModuleNotFoundError("No module named 'sqlalchemy'", name="sqlalchemy")
        return real(name, *args, **kwargs)

    for module in [name for name in sys.modules if name.startswith("shimstock_server.operations.admin")]:
        monkeypatch.delitem(sys.modules, module)
    monkeypatch.setattr(builtins, "__import__", without_sqlalchemy)
    with pytest.raises(SystemExit) as left:
        entry.main()
    assert left.value.code == 1
    said = capsys.readouterr().err
    assert said.count("\n") == 1
    assert "pip install 'shimstock[server]'" in said


def test_the_command_is_installed() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from shimstock_server.operations.entry import main; main()", "--help"],
        capture_output=True,
        text=True,
        check=True,
    )
    assert "Look after the Shimstock service" in done.stdout
