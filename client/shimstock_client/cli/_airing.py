"""Commands about rooms and reminders: room, room-log, reminders, reminder."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._lines import read_air
from ._measures import NotUnderstood

if TYPE_CHECKING:
    from .. import Reminder, Room

_LATER = re.compile(r"(\d{1,3})\s*(h|d|w|hours?|days?|weeks?)?")
_HOURS = {"h": 1, "d": 24, "w": 168}
SHORT = 8
"""Characters of an id that tell it from the others of a shop: the last ones, which are random."""


def _room_named(bench: Bench, name: str | None) -> Room:
    rooms = list(bench.client.rooms.list())
    if name is None:
        if len(rooms) == 1:
            return rooms[0]
        told = ", ".join(one.name for one in rooms) or "none yet"
        raise Stop(f"which room? {told}", Exit.USAGE if rooms else Exit.NOTHING)
    wanted = name.strip().casefold()
    found = [one for one in rooms if one.name.casefold() == wanted] or [
        one for one in rooms if one.name.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        told = ", ".join(one.name for one in found or rooms) or "none yet"
        raise Stop(f"{name!r} names {'more than one room' if found else 'no room'}: {told}", Exit.USAGE)
    return found[0]


@click.command("room")
@click.argument("name", required=False)
@at_bench
def room(bench: Bench, name: str | None) -> None:
    """Show a room's air, and whether frets and action can be judged in it.

    \b
    shimstock room
    shimstock room "back room"
    """
    found = _room_named(bench, name)
    now = bench.client.rooms.air(found)

    def say() -> None:
        from ._layout import local

        if now.newest is None or now.newest.temperature is None:
            click.echo(f"{found.name}: nothing was read here in the last two days.")
            return
        newest = now.newest
        click.echo(
            f"{found.name}: {newest.temperature}, {newest.relative_humidity} at {local(newest.taken_at)}"
        )
        for one in now.warnings:
            click.echo(f"  {one.text}")
        if now.fit_for_verdicts:
            click.echo("  fit for a verdict on frets and action")

    bench.show(now.raw, say)


@click.command("room-log")
@click.argument("name", required=False)
@click.argument("air", required=False)
@click.option("--file", "-f", "file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A hygrometer's log (CSV).")  # fmt: skip
@click.option("--with", "hygrometer", metavar="NAME", help="Which hygrometer it is of.")
@click.option("--zone", metavar="ZONE", help="Of times in the file without an offset.")
@click.option("--shift", type=int, metavar="MINUTES", help="Added to the file's times: its clock was wrong.")
@at_bench
def room_log(bench: Bench, name: str | None, air: str | None, **how: Any) -> None:
    """Write down a room's air, or send a hygrometer's log.

    \b
    shimstock room-log "back room" "21C 45%"
    shimstock room-log "back room" --file october.csv --with "brass one"
    """
    file: Path | None = how["file"]
    if (air is None) == (file is None):
        raise Stop("give the room's air, such as '21C 45%', or a file with --file", Exit.USAGE)
    found = _room_named(bench, name)
    meter = None if how["hygrometer"] is None else _hygrometer_named(bench, how["hygrometer"])
    if file is not None:
        text = file.read_text(encoding="utf-8-sig", errors="replace")
        kept = bench.client.room_log.send_file(
            found, text, hygrometer=meter, zone=how["zone"], shift_minutes=how["shift"]
        )
        bench.show(kept.raw, lambda: click.echo(_told(kept.raw)))
        return
    try:
        values = read_air(air or "")
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    reading = bench.client.room_log.post(found, hygrometer=meter, **values)

    def say() -> None:
        corrected = reading.relative_humidity
        shown = reading.shown
        told = f"{found.name}: {reading.temperature}, {corrected}"
        click.echo(told if corrected == shown else f"{told} (the hygrometer shows {shown})")

    bench.show(reading.raw, say)


def _hygrometer_named(bench: Bench, name: str) -> str:
    wanted = name.strip().casefold()
    found = [one for one in bench.client.hygrometers.list() if one.name.casefold().startswith(wanted)]
    if len(found) != 1:
        names = ", ".join(one.name for one in bench.client.hygrometers.list()) or "none yet"
        raise Stop(f"which hygrometer? {names}", Exit.USAGE)
    return found[0].id


def _told(kept: dict[str, Any]) -> str:
    parts = [f"{kept['stored']} of {kept['sent']} readings stored"]
    if kept["known"]:
        parts.append(f"{len(kept['known'])} were there already")
    if kept["reordered"]:
        parts.append(f"{kept['reordered']} were out of order")
    for gap in kept["gaps"][:5]:
        parts.append(f"nothing for {gap['hours']:g} h from {gap['begins']}")
    return "; ".join(parts) + "."


@click.command("reminders")
@click.option("--all", "everything", is_flag=True, help="Also those that are not due yet.")
@click.option("--kind", type=click.Choice(["settle-hour", "settle-day", "seasonal", "strings"]))
@at_bench
def reminders(bench: Bench, everything: bool, kind: str | None) -> None:
    """List what wants to be looked at again, the first due first."""
    found = list(bench.client.reminders.list(due=None if everything else True, kind=kind))
    if not found:
        raise Stop(
            "no reminder is due" if not everything else "no reminder is open", Exit.NOTHING, {"items": []}
        )

    def say() -> None:
        for one in found:
            click.echo(_line(one))

    bench.show({"items": [one.raw for one in found]}, say)


def _line(one: Reminder) -> str:
    from ._layout import day, local

    when = day(one.due_on) if one.all_day else local(one.due_at)
    state = "" if one.state == "open" else f", {one.state}"
    due = "due " if one.due else "from "
    what = f"{one.instrument}: {one.kind.replace('-', ' ')}"
    return f"{one.id[-SHORT:]}  {what}, {due}{when}{state}\n  {one.sentence}"


@click.command("reminder")
@click.argument("which")
@click.option("--seen", is_flag=True, help="Somebody has seen it.")
@click.option("--later", metavar="7d", help="Put it off: hours (h), days (d) or weeks (w).")
@click.option("--done", "is_done", is_flag=True, help="New strings are on. A recheck is done by its sheet.")
@click.option("--drop", is_flag=True, help="It is not wanted; say why with --note.")
@click.option("--note", "-n", help="What others should know.")
@at_bench
def reminder(bench: Bench, which: str, note: str | None, **answers: Any) -> None:
    """Show a reminder with its history, or answer it; WHICH is the end of its id.

    \b
    shimstock reminder 4f2a91c3
    shimstock reminder 4f2a91c3 --later 2w
    shimstock reminder 4f2a91c3 --drop --note "sold"
    """
    given = [name for name, value in answers.items() if value]
    if len(given) > 1:
        raise Stop("one answer at a time: --seen, --later, --done or --drop", Exit.USAGE)
    if given == ["drop"] and not note:
        raise Stop("--note is missing: say why it is not wanted", Exit.USAGE)
    one = _answered(bench, _the_reminder(bench, which), given, answers["later"], note)

    def say() -> None:
        from ._layout import local

        click.echo(_line(one))
        for event in bench.client.reminders.history(one):
            said = f": {event.note}" if event.note else ""
            click.echo(f"  {local(event.at)}  {event.what}{said}")

    bench.show(one.raw, say)


def _answered(bench: Bench, one: Reminder, given: list[str], later: str | None, note: str | None) -> Reminder:
    client = bench.client.reminders
    if given == ["seen"]:
        return client.acknowledge(one, note=note)
    if given == ["later"]:
        return client.snooze(one, until=datetime.now(UTC) + _duration(later or ""), note=note)
    if given == ["is_done"]:
        return client.done(one, note=note)
    return client.cancel(one, note=note or "") if given == ["drop"] else one


def _the_reminder(bench: Bench, which: str) -> Reminder:
    found = [one for one in bench.client.reminders.list() if one.id.endswith(which.lower())]
    if not found:
        raise Stop(f"no open reminder's id ends in {which}", Exit.REFUSED)
    if len(found) > 1:
        raise Stop(f"{len(found)} reminders' ids end in {which}: type more of it", Exit.USAGE)
    return bench.client.reminders.get(found[0])


def _duration(text: str) -> timedelta:
    match = _LATER.fullmatch(text.strip().lower())
    if match is None or not int(match[1]):
        raise Stop(f"later: 8h, 7d or 2w was expected, not {text!r}", Exit.USAGE)
    return timedelta(hours=int(match[1]) * _HOURS[(match[2] or "d")[0]])
