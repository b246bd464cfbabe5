"""Commands about what is kept here and not sent yet: unsent, send."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._prompting import list_sheet
from ._sheet_sending import send_sheet, short
from ._speaking import echo
from ._typed_doing import describe_doing
from ._unsent import UnsentSheet, UnsentWork, all_unsent
from ._work_sending import kept_work, send_kept, short_work

if TYPE_CHECKING:
    from .. import Adjustment, ReadingSheet

NOTHING: dict[str, Any] = {"items": []}


def _kept() -> list[UnsentWork | UnsentSheet]:
    """Return everything that is kept, in the order in which it was done and read."""
    try:
        return sorted([*kept_work(), *all_unsent()], key=lambda each: (each.when(), each.id))
    except ValueError as error:
        raise Stop(str(error), Exit.USAGE) from error


def _clock(instant: str) -> str:
    from ._layout import local

    return local(datetime.fromisoformat(instant))


@click.command("unsent")
@at_bench
def unsent(bench: Bench) -> None:
    """List what is kept here and not sent yet: readings, and what was done."""
    kept = _kept()
    if not kept:
        raise Stop("nothing is unsent", Exit.NOTHING, NOTHING)

    def say() -> None:
        for each in kept:
            if isinstance(each, UnsentWork):
                told = "; ".join(describe_doing(body) for body in each.bodies)
                echo(f"{short_work(each)}  job {each.job_number}, done at {_clock(each.when())}: {told}")
                continue
            count = len(each.readings)
            many = f"{count} reading{'' if count == 1 else 's'}"
            echo(f"{short(each)}  job {each.job_number}, begun {_clock(each.started_at)}, {many}")
            list_sheet(each)

    bench.show({"items": [_as_json(each) for each in kept]}, say)


def _as_json(each: UnsentWork | UnsentSheet) -> dict[str, Any]:
    if isinstance(each, UnsentWork):
        return {"job_id": each.job_id, "adjustments": each.bodies}
    return {"job_id": each.job_id, "sheet": each.body()}


@click.command("send")
@click.argument("which", nargs=-1, metavar="[WHICH]...")
@click.option("--throw-away", is_flag=True, help="Throw away what is named instead.")
@click.option(
    "--at", metavar="WHEN", help='When it was read or done: now, or "2026-03-02 09:30" as clocks here.'
)
@at_bench
def send(bench: Bench, which: tuple[str, ...], throw_away: bool, at: str | None) -> None:
    """Send what is not sent yet: everything, or what is named by the end of its number.

    It is sent in the order in which it was done and read. Everything keeps its id, so however often it is
    sent it is stored once. What is refused stays kept, and so does what came after it on the same job.
    """
    kept = _kept()
    chosen = [_named(kept, text) for text in which] or kept
    if throw_away:
        _throw_away(bench, chosen, named=bool(which))
        return
    if not chosen:
        raise Stop("nothing is unsent", Exit.NOTHING, NOTHING)
    if at is not None:
        _restate(chosen, at, named=bool(which))
    for each in chosen:
        if isinstance(each, UnsentSheet) and each.at_pitch is None:
            raise Stop(
                f"sheet {short(each)}: at pitch or not? shimstock read --resume {short(each)}", Exit.USAGE
            )
    recorded, sent, refused = _send_in_order(bench, chosen)
    say = partial(_say_sent, recorded, sent)
    answer = {"items": [one.raw for one in (*recorded, *sent)]}
    if refused:
        if not bench.as_json:
            say()
        told = "\n".join(stop.message for stop in refused)
        raise Stop(told, refused[0].code, {**answer, "refused": [stop.message for stop in refused]})
    bench.show(answer, say)


def _say_sent(recorded: Sequence[Adjustment], sent: Sequence[ReadingSheet]) -> None:
    if recorded:
        echo(f"Recorded: {len(recorded)} adjustment{'' if len(recorded) == 1 else 's'}.")
    if any(one.plan and not one.plan_kept for one in recorded):
        echo("The plan had changed meanwhile; shimstock plan shows what to do next.")
    if sent:
        echo(f"Taken: {len(sent)} sheet{'' if len(sent) == 1 else 's'}.")
    for text in dict.fromkeys(one.text for sheet in sent for one in sheet.drifts):
        echo(text)


def _send_in_order(
    bench: Bench, chosen: Sequence[UnsentWork | UnsentSheet]
) -> tuple[list[Adjustment], list[ReadingSheet], list[Stop]]:
    """Send one after the other; what stands against one holds up what came after it on the same job."""
    recorded: list[Adjustment] = []
    sent: list[ReadingSheet] = []
    refused: dict[str, Stop] = {}
    for each in chosen:
        if each.job_id in refused:
            continue
        try:
            if isinstance(each, UnsentWork):
                recorded += send_kept(bench, each)
            else:
                sent.append(send_sheet(bench, each))
        except Stop as stop:
            refused[each.job_id] = stop
            if stop.code is Exit.NOT_REACHABLE:
                break
    return recorded, sent, list(refused.values())


def _named(kept: Sequence[UnsentWork | UnsentSheet], text: str) -> UnsentWork | UnsentSheet:
    found = [each for each in kept if each.id.startswith(text) or each.id.endswith(text)]
    if len(found) != 1:
        raise Stop(
            f"nothing unsent is called {text!r}, or more than one; shimstock unsent lists it", Exit.USAGE
        )
    return found[0]


def _restate(chosen: Sequence[UnsentWork | UnsentSheet], at: str, *, named: bool) -> None:
    if not named:
        raise Stop("--at: name what was read or done then; shimstock unsent lists it", Exit.USAGE)
    try:
        instant = datetime.now(UTC) if at == "now" else datetime.fromisoformat(at).astimezone(UTC)
    except (ValueError, OverflowError) as error:
        told = f'--at: {at!r} is no time; write now, or a day and a time such as "2026-03-02 09:30"'
        raise Stop(told, Exit.USAGE) from error
    for each in chosen:
        each.restate(instant.isoformat(timespec="milliseconds").replace("+00:00", "Z"))


def _throw_away(bench: Bench, chosen: Sequence[UnsentWork | UnsentSheet], *, named: bool) -> None:
    if not named:
        raise Stop("--throw-away: name what; shimstock unsent lists it", Exit.USAGE)
    for each in chosen:
        each.remove()
    bench.show({"thrown_away": [each.id for each in chosen]}, lambda: echo("thrown away"))
