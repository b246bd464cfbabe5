"""The command line's way to the terminal: one module, which lets nothing through that could steer it."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.house.files import read, tracked

COMMAND_LINE = Path("client/shimstock_client/cli")
WAY = COMMAND_LINE / "_speaking.py"
TABLES = COMMAND_LINE / "_tables.py"
CLICK = {
    "echo", "secho", "prompt", "confirm", "progressbar", "pause", "clear", "echo_via_pager", "edit", "style",
    "get_text_stream", "get_binary_stream",
}  # fmt: skip
"""What of click writes to the terminal."""
STREAMS = {"stdout", "stderr", "__stdout__", "__stderr__"}
RICH = {"rich.console", "rich.text", "rich.prompt", "rich.progress", "rich.live", "rich.markdown", "rich"}
"""What of rich prints, or makes text that only `_tables` makes visible."""


def ways_past(code: str) -> Iterator[str]:
    """Walk what a module does to reach the terminal by itself."""
    for node in ast.walk(ast.parse(code)):
        match node:
            case ast.Call(func=ast.Name(id="print" | "input" as name)):
                yield name
            case ast.Attribute(value=ast.Name(id="click"), attr=name) if name in CLICK:
                yield f"click.{name}"
            case ast.Attribute(value=ast.Name(id="sys"), attr=name) if name in STREAMS:
                yield f"sys.{name}"
            case ast.Attribute(value=ast.Name(id="os"), attr="write"):
                yield "os.write"
            case ast.Call(func=ast.Attribute(attr="show", value=ast.Name(id="error")), args=[]):
                yield "error.show"
            case ast.Attribute(value=ast.Name(id="traceback"), attr=name) if name.startswith("print"):
                yield f"traceback.{name}"
            case ast.ImportFrom(module="click" | "sys" | "click.termui" as module, names=names):
                yield from (f"{module}.{one.name}" for one in names if one.name in CLICK | STREAMS)
            case ast.ImportFrom(module=str() as module) if module in RICH:
                yield module
            case ast.Import(names=names):
                yield from (one.name for one in names if one.name in RICH | {"getpass"})


@pytest.mark.parametrize(
    "path",
    [path for path in tracked() if path.is_relative_to(COMMAND_LINE) and path not in {WAY, TABLES}],
    ids=str,
)
def test_a_module_speaks_through_the_one_way(path: Path) -> None:
    assert path.suffix != ".py" or list(ways_past(read(path))) == []


@pytest.mark.parametrize(
    "code",
    [
        "print(name)", "click.echo(name)", "from click import secho", "import click\nclick.prompt(name)",
        "sys.stdout.write(name)", "from sys import stderr", "from rich.console import Console",
        "from rich import print", "import rich.text", "os.write(1, name)", "error.show()",
        "traceback.print_exc()",
    ],
)  # fmt: skip
def test_every_way_past_it_is_noticed(code: str) -> None:
    assert list(ways_past(code))
