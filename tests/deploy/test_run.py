"""The one test command: what it runs, its last line and its exit code, with the checks themselves played."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT

PASSED = "databases: SQLite and PostgreSQL 15.20\n======= 810 passed, 3 skipped in 75.20s (0:01:15) ======="
SPEED = "======= 2 passed, 813 deselected in 1.02s ======="
NO_TEST = "======= 813 deselected in 0.40s ======="
LACKING = (
    "databases: SQLite only\nnot proven: 40 tests without PostgreSQL, 2 without nginx\n"
    + PASSED.splitlines()[-1]
)
BROKEN = "======= 1 failed, 809 passed, 2 errors in 75.20s (0:01:15) ======="
SIDE_BY_SIDE = "-n 2 --dist loadfile --no-loadscope-reorder"


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
            self.write(self.programs / name, f'echo "{name} $*" >>{folder}/called; echo "{name} looked"')
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
                *coverage_by_area*) echo "shimstock_server.jobs 97 %";;
                *"-m speed"*) echo "{speed[0]}"; exit {speed[1]};;
                *) echo "{first[0]}"; exit {first[1]};;
            esac"""
        self.write(self.programs / "python", branch)

    def run(self, *arguments: str, **settings: str) -> tuple[int, str]:
        """Return the exit code and the last line."""
        environment = {name: os.environ[name] for name in os.environ if not name.startswith("SHIMSTOCK_")}
        done = subprocess.run(
            [self.folder / "tests" / "run", *arguments],
            capture_output=True, text=True, check=False, env=environment | settings,
        )  # fmt: skip
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
        r"Shimstock: lint, types, import rules and 810 tests passed, 3 skipped"
        r" \(SQLite and PostgreSQL 15\.20\) in 0 min \d+ s",
        line,
    )
    assert PASSED.splitlines()[-1] in checkout.output.splitlines()
    assert sorted(checkout.called()) == [
        "lint-imports ",
        "mypy ",
        f"python -m pytest {SIDE_BY_SIDE}",
        "ruff check --quiet .",
        "ruff format --check --quiet .",
    ]


def test_what_the_checks_say_follows_what_the_tests_say(checkout: Checkout) -> None:
    checkout.run()
    lines = checkout.output.splitlines()
    assert lines[lines.index("── tests") + 1 : -1] == [
        *PASSED.splitlines(),
        "── lint", "ruff looked", "── format", "ruff looked", "── types", "mypy looked",
        "── import rules", "lint-imports looked",
    ]  # fmt: skip


def test_the_checks_run_beside_the_tests(checkout: Checkout) -> None:
    # Each waits until the other has begun, two minutes at the most.
    for program, other in (("mypy", "python"), ("python", "mypy")):
        meet = f"""
            touch {checkout.folder}/began-{program}
            for n in $(seq 1200); do
                if [ -e {checkout.folder}/began-{other} ]; then echo "{PASSED}"; exit 0; fi
                sleep 0.1
            done
            exit 1"""
        checkout.write(checkout.programs / program, meet)
    assert checkout.run()[0] == 0


def test_the_deep_run_tries_more_and_measures(checkout: Checkout) -> None:
    checkout.write(
        checkout.programs / "mypy", f'echo "deep: $SHIMSTOCK_TEST_DEEP" >>{checkout.folder}/called'
    )
    status, line = checkout.run("--deep", SHIMSTOCK_TEST_SEED="77")
    assert status == 0
    assert "812 tests passed" in line
    assert "The same examples again: SHIMSTOCK_TEST_SEED=77 tests/run --deep" in checkout.output
    assert "shimstock_server.jobs 97 %" in checkout.output
    called = checkout.called()
    assert "deep: 1" in called
    assert [each for each in called if each.startswith("python")] == [
        f"python -m pytest {SIDE_BY_SIDE} -m not speed --hypothesis-seed=77 --cov --cov-report=",
        "python -m pytest -n 0 -m speed",
        "python -m tests.coverage_by_area",
    ]


def test_no_speed_test_is_right(checkout: Checkout) -> None:
    checkout.pytest((PASSED, 0), (NO_TEST, 5))
    status, line = checkout.run("--deep")
    assert status == 0
    assert "810 tests passed" in line


def test_what_was_not_proven_is_in_the_last_line(checkout: Checkout) -> None:
    checkout.pytest((LACKING, 0), (SPEED, 0))
    status, line = checkout.run()
    assert status == 0
    assert "(SQLite only), NOT PROVEN: 40 tests without PostgreSQL, 2 without nginx, in 0 min" in line


def test_failing_tests_fail_the_run(checkout: Checkout) -> None:
    checkout.pytest((BROKEN, 1), (SPEED, 0))
    status, line = checkout.run()
    assert status == 1
    assert line.startswith("Shimstock: FAILED: tests; 809 tests passed, 1 failed, 2 errors")


@pytest.mark.parametrize(
    "program, name", [("ruff", "lint, format"), ("mypy", "types"), ("lint-imports", "import rules")]
)
def test_a_failing_check_fails_the_run_and_the_rest_still_runs(
    checkout: Checkout, program: str, name: str
) -> None:
    checkout.write(checkout.programs / program, "exit 1")
    status, line = checkout.run()
    assert status == 1
    assert line.startswith(f"Shimstock: FAILED: {name}; 810 tests passed")


def test_a_run_without_tests_fails(checkout: Checkout) -> None:
    checkout.pytest((NO_TEST, 5), (NO_TEST, 5))
    assert checkout.run()[0] == 1


def test_no_environment_is_said(checkout: Checkout) -> None:
    checkout.write(checkout.folder / "deploy" / "environment.sh", "exit 69")
    assert checkout.run() == (69, "Shimstock: FAILED: no environment for the tests")


def test_arguments_go_to_pytest_alone(checkout: Checkout) -> None:
    checkout.run("tests/calc", "-k", "neck")
    checkout.run("--deep", "tests/speed")
    assert checkout.called() == ["python -m pytest tests/calc -k neck", "python -m pytest tests/speed"]
