"""An invented quantity and kind of bridge, added to a copy in one place each, are known everywhere."""

from __future__ import annotations

import filecmp
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from sqlalchemy import Enum, Table

from shimstock_server.database import migrate
from shimstock_server.database.tables import Base
from shimstock_server.database.words import Quantity
from tests.house.files import CHECKOUT

pytestmark = pytest.mark.long
QUANTITIES = "server/shimstock_calc/vocabulary/quantities.py"
BRIDGES = "server/shimstock_calc/vocabulary/bridges.py"
MOST = 4
"""Files that a new quantity touches, beside tests and a migration: one by hand, and what scripts write."""
WRITTEN_WHOLE = "client/shimstock_client/_contract"
"""A package that one script writes from the document."""

RECORD = """    QuantityTerm(
        "heel-gap",
        name="heel gap",
        title="Heel gap",
        explained="between the neck's heel and the body",
        short=("heel",),
        example="heel 0.4",
        place="neck",
        told_apart_by=_SIDE,
        outer_is_side=True,
        plausible=(0.0, 3.0),
        aims=(0.0, 3.0),
        width=3.0,
        coarsest=(0.05, 0.03),
        minutes=0.5,
        moved_by=frozenset({"neck-shim", "bridge-post"}),
    ),
"""
MIGRATION = '''"""a quantity more"""

from shimstock_server.database.migrations.columns import reword

revision = "added"
down_revision = "{head}"
branch_labels = None
depends_on = None

TABLES = {tables}


def upgrade() -> None:
    for table in TABLES:
        reword(table, "quantity", "{words}")


def downgrade() -> None:
    for table in TABLES:
        reword(table, "quantity", "{before}")
'''


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of what a quantity could touch."""
    folder = tmp_path / "copy"
    for name in ("server", "client", "openapi"):
        shutil.copytree(CHECKOUT / name, folder / name, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copy(CHECKOUT / "pyproject.toml", folder)
    return folder


def run(copy: Path, *words: str, cwd: Path | None = None) -> None:
    """Run Python with the copy's packages in the place of this checkout's."""
    settings = {name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")}
    settings["PYTHONPATH"] = os.pathsep.join(
        str(each) for each in (copy / "server", copy / "client", CHECKOUT)
    )
    ran = subprocess.run(
        [sys.executable, *words],
        cwd=cwd or copy, env=settings, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr


def checked(table: Table) -> set[str]:
    """Return the columns of a table that hold quantities."""
    return {
        column.name
        for column in table.columns
        if isinstance(column.type, Enum) and column.type.enum_class is Quantity
    }


def put(place: Path, *changes: tuple[str, str]) -> None:
    """Replace texts of a file, each of which stands there once."""
    text = place.read_text(encoding="utf-8")
    for before, after in changes:
        assert text.count(before) == 1, before
        text = text.replace(before, after)
    place.write_text(text, encoding="utf-8")


def write_what_is_made(copy: Path) -> None:
    """Write the document, and what the client takes from it and from the vocabulary."""
    run(copy, "-c", "from shimstock_server.operations.entry import main; main()", "openapi")
    for script in sorted((copy / "client").glob("generate*.py")):
        run(copy, str(script))


def add_quantity(copy: Path) -> None:
    """Do what the guide says under "A quantity"."""
    put(
        copy / QUANTITIES,
        ('    "saddle-out",\n]', '    "saddle-out",\n    "heel-gap",\n]'),
        ('    SADDLE_OUT = "saddle-out"\n', '    SADDLE_OUT = "saddle-out"\n    HEEL_GAP = "heel-gap"\n'),
        (")\n\nQUANTITIES: ", f"{RECORD})\n\nQUANTITIES: "),
    )
    words = " ".join(Quantity)
    tables = sorted(name for name, table in Base.metadata.tables.items() if "quantity" in checked(table))
    versions = copy / "server/shimstock_server/database/migrations/versions"
    (versions / "9999_added.py").write_text(
        MIGRATION.format(head=migrate.head(), tables=tables, words=f"{words} heel-gap", before=words),
        encoding="utf-8",
    )


def add_kind_of_bridge(copy: Path) -> None:
    """Do what the guide says under "A kind of bridge"."""
    record = '    BridgeTerm("rocker", "bridge-post", "rocker screw", frozenset({"spring-claw"})),\n'
    put(
        copy / BRIDGES,
        ('    "locking-tremolo",\n]', '    "locking-tremolo",\n    "rocker",\n]'),
        ('= "locking-tremolo"\n', '= "locking-tremolo"\n    ROCKER = "rocker"\n'),
        (")\n\nBRIDGES: ", f"{record})\n\nBRIDGES: "),
    )


def touched(copy: Path) -> set[str]:
    """Return the files of the copy that are not as in this checkout, migrations aside."""
    found = set()
    for path in (each for each in copy.rglob("*") if each.is_file()):
        name, before = path.relative_to(copy), CHECKOUT / path.relative_to(copy)
        if "__pycache__" in name.parts or "versions" in name.parts:
            continue
        if not before.exists() or not filecmp.cmp(path, before, shallow=False):
            found.add(WRITTEN_WHOLE if str(name).startswith(WRITTEN_WHOLE) else str(name))
    return found


def test_what_is_invented_is_known_everywhere(copy: Path) -> None:
    add_quantity(copy)
    write_what_is_made(copy)
    by_quantity = touched(copy)
    assert QUANTITIES in by_quantity
    assert len(by_quantity) <= MOST, by_quantity
    add_kind_of_bridge(copy)
    write_what_is_made(copy)
    assert touched(copy) == {*by_quantity, BRIDGES}
    run(
        copy,
        "-m",
        "pytest",
        "-q",
        "-n0",
        "-p",
        "no:cacheprovider",
        "tests/client/walk_with_added.py",
        cwd=CHECKOUT,
    )
