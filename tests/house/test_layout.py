"""Where things lie."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

from tests.house.files import CHECKOUT, read, texts, tracked

AT_THE_TOP = {
    "README.md", "DEVELOPERS.md", "pyproject.toml", "server", "client", "tests", "openapi", "deploy", "seed",
}  # fmt: skip
LONGEST = 600  # lines
FROZEN = "migrations/versions/"  # a migration that has run somewhere is not rearranged any more


def test_nothing_else_lies_at_the_top() -> None:
    found = {path.parts[0] for path in tracked() if not path.parts[0].startswith(".")}
    assert found <= AT_THE_TOP, f"not at the top level: {sorted(found - AT_THE_TOP)}"


def test_every_folder_of_tests_is_a_package() -> None:
    folders = {path.parent for path in tracked() if path.parts[0] == "tests" and path.suffix == ".py"}
    missing = [str(folder) for folder in folders if not (CHECKOUT / folder / "__init__.py").exists()]
    assert not missing, f"no __init__.py in {sorted(missing)}"


def test_no_file_is_long() -> None:
    lengths = {str(path): read(path).count("\n") for path in texts() if FROZEN not in str(path)}
    long = {path: length for path, length in lengths.items() if length > LONGEST}
    assert not long, f"longer than {LONGEST} lines, split the topic: {long}"


def test_the_sdk_stays_thin() -> None:
    # judgement: what is written by hand beside the command line can be read in an afternoon
    package = Path("client/shimstock_client")
    by_script = package / "_trade.py"
    written = [
        path for path in tracked() if path.parent == package and path.suffix == ".py" and path != by_script
    ]
    assert sum(lines_of_code(path) for path in written) <= 2000


def lines_of_code(path: Path) -> int:
    """Return how many lines of a module are neither blank, nor comment, nor docstring."""
    text = read(path)
    told: set[int] = set()
    for node in ast.walk(ast.parse(text)):
        body = getattr(node, "body", None)
        for each in body if isinstance(body, list) else ():
            if isinstance(each, ast.Expr) and isinstance(each.value, ast.Constant):
                told |= set(range(each.lineno, (each.end_lineno or each.lineno) + 1))
    lines = enumerate(text.splitlines(), 1)
    return sum(
        1 for number, line in lines if number not in told and line.strip(" #") and line.strip()[0] != "#"
    )


@pytest.mark.parametrize("path", [path for path in texts() if path.suffix == ".py"], ids=str)
def test_a_module_says_what_lives_there(path: Path) -> None:
    tree = ast.parse(read(path))
    assert not tree.body or ast.get_docstring(tree), f"{path} starts without a docstring"


@pytest.mark.parametrize("command", ["deploy/demo", "tests/run"])
def test_the_readme_names_the_two_commands(command: str) -> None:
    assert command in read(Path("README.md"))


@pytest.mark.parametrize("command", ["deploy/demo", "tests/run", ".ci/run"])
def test_the_commands_can_be_run(command: str) -> None:
    assert (CHECKOUT / command).stat().st_mode & 0o111 == 0o111
