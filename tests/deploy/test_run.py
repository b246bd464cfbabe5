"""The one test command: what it runs, its last line and its exit code, with the checks themselves played."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

PASSED = "databases: SQLite and PostgreSQL 15.20\n======= 810 passed, 3 skipped in 75.20s (0:01:15) ======="
SPEED = "======= 2 passed, 813 deselected in 1.02s ======="
NO_SPEED = "======= 813 deselected in 0.40s ======="
BROKEN = "======= 1 failed, 809 passed, 2 errors in 75.20s (0:01:15) ======="


class Checkout:
    """A folder with the real command, and checks that answer what they are told to."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.programs = folder / "environment" / "bin"
        self.programs.mkdir(parents=True)
        for name in ("tests", "deploy"):
            (folder / name).mkdir()
        shutil.copy(CHECKOUT / "tests" / "run", folder / "tests" / "run")
        self.write(folder / "deploy" / "environment.sh", f"echo {folder}/environment")
        for name in ("ruff", "mypy", "lint-imports"):
            self.write(self.programs / name, f'echo "{name} $*" >>{folder}/called')
        self.pytest((PASSED, 0), (SPEED, 0))

    def write(self, path: Path, body: str) -> None:
        """Write a program."""
        path.write_text(f"#!/bin/sh\n{body}\n")
        path.chmod(0o755)

    def pytest(self, first: tuple[str, int], speed: tuple[str, int]) -> None:
        """Have pytest print and return this, for all tests but the speed tests, and for those."""
        branch = f"""
            echo "python $*" >>{self.folder}/called
            case "$*" in
                *"-m speed"*) echo "{speed[0]}"; exit {speed[1]};;
                *) echo "{first[0]}"; exit {first[1]};;
            esac"""
        self.write(self.programs / "python", branch)

    def run(self, *arguments: str) -> tuple[int, str]:
        """Return the exit code and the last line."""
        done = subprocess.run(
            [self.folder / "tests" / "run", *arguments], capture_output=True, text=True, check=False
        )
        self.output = done.stdout
        return done.returncode, done.stdout.splitlines()[-1]

    def called(self) -> list[str]:
        """Return what has been run."""
        return (self.folder / "called").read_text().splitlines()


@pytest.fixture
def checkout(tmp_path: Path) -> Checkout:
    """Return a checkout where everything passes."""
    return Checkout(tmp_path)


def test_the_last_line_says_what_passed(checkout: Checkout) -> None:
    status, line = checkout.run()
    assert status == 0
    assert re.fullmatch(
        r"Shimstock: lint, types, import rules and 812 tests passed, 3 skipped"
        r" \(SQLite and PostgreSQL 15\.20\) in 0 min \d+ s",
        line,
    )
    assert PASSED.splitlines()[-1] in checkout.output.splitlines()
    assert checkout.called() == [
        "ruff check --quiet .",
        "ruff format --check --quiet .",
        "mypy ",
        "lint-imports ",
        "python -m pytest -n 2 --dist loadgroup -m not speed",
        "python -m pytest -n 0 -m speed",
    ]


def test_no_speed_test_is_right(checkout: Checkout) -> None:
    checkout.pytest((PASSED, 0), (NO_SPEED, 5))
    status, line = checkout.run()
    assert status == 0
    assert "810 tests passed" in line


def test_failing_tests_fail_the_run(checkout: Checkout) -> None:
    checkout.pytest((BROKEN, 1), (SPEED, 0))
    status, line = checkout.run()
    assert status == 1
    assert line.startswith("Shimstock: FAILED: tests; 811 tests passed, 1 failed, 2 errors")


@pytest.mark.parametrize(
    "program, name", [("ruff", "lint, format"), ("mypy", "types"), ("lint-imports", "import rules")]
)
def test_a_failing_check_fails_the_run_and_the_rest_still_runs(
    checkout: Checkout, program: str, name: str
) -> None:
    checkout.write(checkout.programs / program, "exit 1")
    status, line = checkout.run()
    assert status == 1
    assert line.startswith(f"Shimstock: FAILED: {name}; 812 tests passed")


def test_a_run_without_tests_fails(checkout: Checkout) -> None:
    checkout.pytest((NO_SPEED, 5), (NO_SPEED, 5))
    assert checkout.run()[0] == 1


def test_no_environment_is_said(checkout: Checkout) -> None:
    checkout.write(checkout.folder / "deploy" / "environment.sh", "exit 69")
    assert checkout.run() == (69, "Shimstock: FAILED: no environment for the tests")


def test_arguments_go_to_pytest_alone(checkout: Checkout) -> None:
    checkout.run("tests/calc", "-k", "neck")
    assert checkout.called() == ["python -m pytest tests/calc -k neck"]
