"""What a run says of tests that could not run for want of a program."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from tests.house.files import CHECKOUT

TESTS = """
import pytest

@pytest.fixture(scope="module")
def server():
    pytest.skip("no PostgreSQL found")

def test_one(server): pass
def test_another(server): pass

@pytest.mark.skipif(True, reason="no nginx found")
def test_the_proxy(): pass

def test_what_needs_nothing(): pass

@pytest.mark.skip(reason="on Mondays alone")
def test_something_else(): pass
"""


def run(folder: Path, ci: str) -> tuple[int, str]:
    """Return the status of a run of these tests, and what it said."""
    (folder / "test_some.py").write_text(TESTS)
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-p", "tests.missing", "--rootdir", folder],
        cwd=folder, env=os.environ | {"CI": ci, "PYTHONPATH": str(CHECKOUT)},
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout


def test_the_end_of_a_run_counts_what_was_not_proven(tmp_path: Path) -> None:
    status, said = run(tmp_path, ci="")
    assert status == 0
    assert "not proven: 2 tests without PostgreSQL, 1 tests without nginx" in said.splitlines()
    assert "no PostgreSQL found: install PostgreSQL or name a server in SHIMSTOCK_TEST_POSTGRESQL" in said
    assert "no nginx found: install nginx" in said


def test_on_a_machine_that_watches_the_project_it_is_a_failure(tmp_path: Path) -> None:
    status, said = run(tmp_path, ci="true")
    assert status == 1
    assert "1 passed, 1 skipped, 3 errors" in said
    assert "no nginx found: install nginx" in said
    assert "not proven" not in said
