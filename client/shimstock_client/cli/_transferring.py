"""Commands about what goes out and what comes in as files: export, import-readings."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._places import write_output
from ._speaking import echo

if TYPE_CHECKING:
    from .. import ReadingsImport

LONG = 600.0
"""How long an export is waited for, unless --timeout says otherwise [s]."""


@click.command("export")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@at_bench
def export(bench: Bench, file: Path) -> None:
    """Write everything that the shop owns to FILE, a zip of open files; takes a manager's key.

    It holds the names of customers. Keys and secrets are not in it.
    """
    if bench.timeout is None:
        bench.timeout = LONG
    content = bench.client.transfers.export()
    write_output("FILE", file, content)
    bench.show({"file": str(file), "bytes": len(content)}, lambda: echo(f"written to {file}"))


@click.command("import-readings")
@click.argument("file", type=click.Path(exists=True, dir_okay=False, path_type=Path))
@click.option("--keep", is_flag=True, help="Keep them; without it the file is only looked through.")
@at_bench
def import_readings(bench: Bench, file: Path, *, keep: bool) -> None:
    """Look through a FILE (CSV) of readings from before this service, or keep them; takes a manager's key.

    With a problem in any row nothing is kept, and every problem is told by its row.

    \b
    shimstock import-readings old.csv
    shimstock import-readings old.csv --keep
    """
    try:
        text = file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise Stop(
            f"{file}: save it as UTF-8; it is no such text at byte {error.start}", Exit.USAGE
        ) from error
    found = bench.client.transfers.import_readings(text, dry_run=not keep)
    if found.problems:
        raise Stop("\n".join([*_lines(found), _counts(found), "nothing was kept"]), Exit.REFUSED, found.raw)

    def say() -> None:
        echo(_counts(found))
        echo("kept" if found.kept else "nothing stands against them; --keep keeps them")

    bench.show(found.raw, say)


def _lines(found: ReadingsImport) -> list[str]:
    return [
        f"row {one.row}{f', {one.column}' if one.column else ''}: {one.message}" for one in found.problems
    ]


def _counts(found: ReadingsImport) -> str:
    return f"{found.rows} rows, {found.readings} readings in {found.sheets} sheets"
