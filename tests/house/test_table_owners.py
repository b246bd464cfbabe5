"""Any area reads any table; only its owner writes it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

SERVER = CHECKOUT / "server" / "shimstock_server"
TABLES = SERVER / "database" / "tables"

# Which packages of the service may write the tables of database/tables/<file>.py, besides database/ itself.
WRITERS = {
    "shop": {"shop"},
    "keys": {"keys", "web"},  # web/ notes a key's last use
    "catalogue": {"catalogue"},
    "owners": {"owners"},
    "jobs": {"jobs"},
    "bench": {"bench"},
    "seasons": {"seasons"},
    "operations": {"operations", "web", "webhooks"},  # idempotency keys; places of events in the feed
    "booking": {"booking"},
    "webhooks": {"webhooks"},
    "cards": {"cards"},
    "learning": {"learning", "reports"},
}
STATEMENTS = {"insert", "update", "delete", "bulk_insert_mappings", "bulk_update_mappings"}


def called(node: ast.Call) -> str:
    """Return the last part of what is called: `insert` of `sa.insert(…)`."""
    if isinstance(node.func, ast.Attribute):
        return node.func.attr
    return node.func.id if isinstance(node.func, ast.Name) else ""


@cache
def tables() -> dict[str, str]:
    """Return the file that each table class stands in."""
    return {
        node.name: path.stem
        for path in TABLES.glob("*.py")
        if path.stem not in {"__init__", "base"}
        for node in ast.parse(path.read_text()).body
        if isinstance(node, ast.ClassDef) and any(isinstance(part, ast.Assign) for part in node.body)
    }


def imported_from_tables(tree: ast.Module) -> dict[str, str]:
    """Return what each name stands for that comes from database/tables: a table, or a file of them."""
    return {
        alias.asname or alias.name: alias.name
        for node in ast.walk(tree)
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
        if "tables" in [*(node.module or "").split("."), alias.name]
    }


def table_meant(node: ast.expr, imported: dict[str, str], known: dict[str, str]) -> str | None:
    """Return the table that `Job`, `jobs.Job` or `Job.__table__` means, or None for anything else."""
    names: list[str] = []
    while isinstance(node, ast.Attribute):
        names.append(node.attr)
        node = node.value
    if isinstance(node, ast.Name) and node.id in imported:
        names.append(imported[node.id])
        meant = next(name for name in names if name != "__table__")
        return meant if meant in known else None
    return None


def writes(tree: ast.Module, known: dict[str, str]) -> Iterator[tuple[int, str]]:
    """Yield the line and the table of each row made and each statement that writes."""
    imported = imported_from_tables(tree)
    for node in ast.walk(tree):
        if isinstance(node, ast.Call):
            target = node.args[0] if called(node) in STATEMENTS and node.args else node.func
            table = table_meant(target, imported, known)
            if table is not None:
                yield node.lineno, table


def strangers(source: str, area: str, known: dict[str, str]) -> list[str]:
    """Return the writes of a module of `area` to tables that are not its own."""
    return [
        f"line {line} writes {table}, which belongs to {known[table]}"
        for line, table in writes(ast.parse(source), known)
        if area not in WRITERS[known[table]]
    ]


def modules() -> list[Path]:
    """Return the modules of the service, but for database/, which may write everything."""
    found = [path.relative_to(SERVER) for path in SERVER.rglob("*.py")]
    return sorted(path for path in found if path.parts[0] != "database")


def test_every_file_of_tables_has_an_owner() -> None:
    assert set(tables().values()) <= WRITERS.keys()


@pytest.mark.parametrize("path", modules(), ids=str)
def test_tables_are_written_by_their_owner_alone(path: Path) -> None:
    area = path.parts[0].removesuffix(".py")
    assert not strangers((SERVER / path).read_text(), area, tables())


@pytest.mark.parametrize(
    "statement",
    ["session.add(Job(number=1))", "insert(Job)", "sa.update(jobs.Job)", "delete(Job.__table__)"],
)
def test_a_stranger_is_found(statement: str) -> None:
    source = f"from ..database.tables import jobs\nfrom ..database.tables.jobs import Job\n{statement}\n"
    assert strangers(source, "bench", {"Job": "jobs"}) == ["line 3 writes Job, which belongs to jobs"]
    assert not strangers(source, "jobs", {"Job": "jobs"})
    assert not strangers("from .schemas import Job\nJob(number=1)\n", "bench", {"Job": "jobs"})
