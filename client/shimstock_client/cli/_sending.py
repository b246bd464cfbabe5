"""Commands about what is kept here and not sent yet: unsent, send."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import click

from ._bench import Bench, at_bench
from ._doing import send_work
from ._exits import Exit, Stop
from ._prompting import list_sheet
from ._reading import find_sheet, send_sheet, short
from ._typed_doing import describe_doing
from ._unsent import UnsentSheet, UnsentWork, all_unsent, all_unsent_work

NOTHING: dict[str, Any] = {"items": []}


def _kept() -> tuple[list[UnsentWork], list[UnsentSheet]]:
    try:
        return list(all_unsent_work()), list(all_unsent())
    except ValueError as error:
        raise Stop(str(error), Exit.USAGE) from error


def _clock(instant: str) -> str:
    from ._layout import local

    return local(datetime.fromisoformat(instant))


@click.command("unsent")
@at_bench
def unsent(bench: Bench) -> None:
    """List what is kept here and not sent yet: sheets, and work whose recording went unanswered."""
    work, sheets = _kept()
    if not (work or sheets):
        raise Stop("nothing is unsent", Exit.NOTHING, NOTHING)

    def say() -> None:
        for each in work:
            for body in each.bodies:
                click.echo(
                    f"job {each.job_number}, done at {_clock(body['done_at'])}: {describe_doing(body)}"
                )
        for sheet in sheets:
            count = len(sheet.readings)
            begun = _clock(sheet.started_at)
            many = f"{count} reading{'' if count == 1 else 's'}"
            click.echo(f"{short(sheet)}  job {sheet.job_number}, begun {begun}, {many}")
            list_sheet(sheet)

    items: list[dict[str, Any]] = [{"job_id": each.job_id, "adjustments": each.bodies} for each in work]
    items += [{"job_id": sheet.job_id, "sheet": sheet.body()} for sheet in sheets]
    bench.show({"items": items}, say)


@click.command("send")
@click.argument("sheets", nargs=-1, metavar="[SHEET]...")
@click.option("--throw-away", is_flag=True, help="Throw the named sheets away instead.")
@at_bench
def send(bench: Bench, sheets: tuple[str, ...], throw_away: bool) -> None:
    """Send what is not sent yet: everything, or the sheets that are named.

    Everything keeps its id, so however often it is sent it is stored once.
    """
    work, kept = _kept()
    chosen = [find_sheet(text) for text in sheets] or kept
    if throw_away:
        _throw_away(bench, chosen, named=bool(sheets))
        return
    if sheets:
        work = []
    if not (work or chosen):
        raise Stop("nothing is unsent", Exit.NOTHING, NOTHING)
    for sheet in chosen:
        if sheet.at_pitch is None:
            raise Stop(
                f"sheet {short(sheet)}: at pitch or not? shimstock read --resume {short(sheet)}", Exit.USAGE
            )
    recorded = [one for each in work for one in send_work(bench, each)]
    sent = [send_sheet(bench, sheet) for sheet in chosen]

    def say() -> None:
        if recorded:
            click.echo(f"Recorded: {len(recorded)} adjustment{'' if len(recorded) == 1 else 's'}.")
        if sent:
            click.echo(f"Taken: {len(sent)} sheet{'' if len(sent) == 1 else 's'}.")

    bench.show({"items": [one.raw for one in (*recorded, *sent)]}, say)


def _throw_away(bench: Bench, chosen: list[UnsentSheet], *, named: bool) -> None:
    if not named:
        raise Stop("--throw-away: name the sheets", Exit.USAGE)
    for sheet in chosen:
        sheet.remove()
    bench.show({"thrown_away": [sheet.id for sheet in chosen]}, lambda: click.echo("thrown away"))
