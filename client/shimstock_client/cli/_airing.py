"""Commands about rooms and reminders: room, room-log, salt-check, reminders, reminder."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._lines import read_air
from ._measures import Expected, NotUnderstood, read_measure
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Climate, Hygrometer, LogOutcome, Reminder, Room

    Named = TypeVar("Named", Room, Climate)

_LATER = re.compile(r"(\d{1,3})\s*(h|d|w|hours?|days?|weeks?)?")
_HOURS = {"h": 1, "d": 24, "w": 168}
GAPS_TOLD = 5
SHORT = 8
"""Characters of an id that tell it from the others of a shop: the last ones, which are random."""


def room_named(bench: Bench, name: str | None) -> Room:
    """Return a room by its name or how it begins; the only one without a name."""
    rooms = list(bench.client.rooms.list())
    if name is None:
        if len(rooms) == 1:
            return rooms[0]
        told = ", ".join(one.name for one in rooms) or "none yet"
        raise Stop(f"which room? {told}", Exit.USAGE if rooms else Exit.NOTHING)
    return one_named(rooms, name, "room")


def one_named(known: list[Named], name: str, what: str) -> Named:
    """Return the one of this name, else the only one whose name begins so."""
    wanted = name.strip().casefold()
    found = [one for one in known if one.name.casefold() == wanted] or [
        one for one in known if one.name.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        told = ", ".join(one.name for one in found or known) or "none yet"
        raise Stop(f"{name!r} names {f'more than one {what}' if found else f'no {what}'}: {told}", Exit.USAGE)
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
    found = room_named(bench, name)
    now = bench.client.rooms.air(found)

    def say() -> None:
        from ._layout import local

        if now.newest is None or now.newest.temperature is None:
            echo(f"{found.name}: nothing was read here in the last two days.")
            return
        newest = now.newest
        echo(f"{found.name}: {newest.temperature}, {newest.relative_humidity} at {local(newest.taken_at)}")
        for one in now.warnings:
            echo(f"  {one.text}")
        if now.fit_for_verdicts:
            echo("  fit for a verdict on frets and action")

    bench.show(now.raw, say)


@click.command("room-log")
@click.argument("name", required=False)
@click.argument("air", required=False)
@click.option("--file", "-f", "file", type=click.Path(exists=True, dir_okay=False, path_type=Path),
              help="A hygrometer's log (CSV).")  # fmt: skip
@click.option("--with", "hygrometer", metavar="NAME", help="Which hygrometer it is of.")
@click.option("--zone", metavar="ZONE", help="Of times in the file without an offset.")
@click.option("--shift", type=int, metavar="MINUTES", help="Added to the file's times: its clock was wrong.")
@click.option("--sure", is_flag=True, help="Unusual air was looked at, and it was so.")
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
    found = room_named(bench, name)
    meter = None if how["hygrometer"] is None else _hygrometer_named(bench, how["hygrometer"])
    if file is not None:
        kept = bench.client.room_log.send_file(
            found, text_of(file), hygrometer=meter, zone=how["zone"], shift_minutes=how["shift"],
            confirmed=how["sure"],
        )  # fmt: skip
        bench.show(kept.raw, lambda: echo(_told(kept)))
        return
    if how["zone"] is not None or how["shift"] is not None:
        raise Stop("--zone and --shift go with --file", Exit.USAGE)
    try:
        values = read_air(air or "")
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    reading = bench.client.room_log.post(found, hygrometer=meter, confirmed=how["sure"], **values)

    def say() -> None:
        corrected = reading.relative_humidity
        shown = reading.shown
        told = f"{found.name}: {reading.temperature}, {corrected}"
        echo(told if corrected == shown else f"{told} (the hygrometer shows {shown})")

    bench.show(reading.raw, say)


def text_of(file: Path) -> str:
    """Read a file that is sent as it is.

    Raises
    ------
    Stop
        When it is no UTF-8: nothing is guessed or replaced.
    """
    try:
        return file.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise Stop(
            f"{file}: save it as UTF-8; it is no such text at byte {error.start}", Exit.USAGE
        ) from error


def _hygrometer_named(bench: Bench, name: str) -> Hygrometer:
    wanted = name.strip().casefold()
    known = list(bench.client.hygrometers.list())
    found = [one for one in known if one.name.casefold() == wanted] or [
        one for one in known if one.name.casefold().startswith(wanted)
    ]
    if len(found) != 1:
        told = ", ".join(one.name for one in found or known) or "none yet"
        raise Stop(f"which hygrometer? {told}", Exit.USAGE)
    return found[0]


def _told(kept: LogOutcome) -> str:
    from ._layout import local

    span = f", {local(kept.first)} to {local(kept.last)}" if kept.sent else ""
    parts = [f"{kept.stored} of {kept.sent} readings stored{span}"]
    if kept.raw["known"]:
        parts.append(f"{len(kept.raw['known'])} were there already")
    if kept.reordered:
        parts.append(f"{kept.reordered} were out of order")
    parts += [f"nothing for {gap.hours:g} h from {local(gap.begins)}" for gap in kept.gaps[:GAPS_TOLD]]
    if len(kept.gaps) > GAPS_TOLD:
        parts.append(f"and {len(kept.gaps) - GAPS_TOLD} more gaps")
    return "; ".join(parts) + "."


@click.command("salt-check")
@click.argument("hygrometer")
@click.argument("low", required=False)
@click.argument("high", required=False)
@click.option("--at", "warm", metavar="21C", help="How warm the jars were.")
@click.option("--salts", metavar="MgCl2,NaCl", help="Other salts than these two, the drier first.")
@at_bench
def salt_check(bench: Bench, hygrometer: str, low: str | None, high: str | None, **how: str | None) -> None:
    """Enter what a hygrometer showed over two saturated salts, at rest; it is corrected from now on.

    LOW is what it showed over magnesium chloride, HIGH over table salt, each after a day in a closed jar.
    Without them: its checks so far.

    \b
    shimstock salt-check "brass one" 36% 77% --at 21C
    shimstock salt-check "brass one"
    """
    meter = _hygrometer_named(bench, hygrometer)
    if low is None:
        _show_checks(bench, meter)
        return
    if high is None or how["warm"] is None:
        raise Stop("give both readings and --at: 36% 77% --at 21C", Exit.USAGE)
    try:
        readings = [read_measure(text, Expected("humidity", "humidity", "percent")) for text in (low, high)]
        warm = read_measure(how["warm"], Expected("temperature", "temperature", "degC"))
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    salts: dict[str, Any] = _salts(how["salts"])
    kept = bench.client.hygrometers.check(
        meter, low_reading=readings[0], high_reading=readings[1], temperature=warm, **salts
    )
    bench.show(kept.raw, lambda: echo(f"{meter.name}: {kept.meaning}"))


def _show_checks(bench: Bench, meter: Hygrometer) -> None:
    found = list(bench.client.hygrometers.checks(meter))
    if not found:
        raise Stop(f"{meter.name} was never checked", Exit.NOTHING, {"items": []})

    def say() -> None:
        from ._layout import local

        for one in found:
            echo(f"{meter.name}, {local(one.checked_at)}: {one.meaning}")

    bench.show({"items": [one.raw for one in found]}, say)


def _salts(text: str | None) -> dict[str, str]:
    if text is None:
        return {}
    names = [name.strip() for name in text.split(",")]
    if len(names) != 2:
        raise Stop("--salts: two were expected, the drier first: MgCl2,NaCl", Exit.USAGE)
    return {"low_salt": names[0], "high_salt": names[1]}


@click.command("reminders")
@click.argument("instrument", required=False)
@click.option("--all", "everything", is_flag=True, help="Also those that are not due yet.")
@click.option("--closed", is_flag=True, help="Those that are done or cancelled instead.")
@click.option("--kind", type=click.Choice(["settle-hour", "settle-day", "seasonal", "strings"]))
@at_bench
def reminders(
    bench: Bench, instrument: str | None, kind: str | None, *, everything: bool, closed: bool
) -> None:
    """List what wants to be looked at again, the first due first; of INSTRUMENT, by its serial number.

    \b
    shimstock reminders
    shimstock reminders H-0448 --all
    """
    if everything and closed:
        raise Stop("--all or --closed: those that are open, or those that are not", Exit.USAGE)
    wish: dict[str, Any] = {"kind": kind}
    if instrument is not None:
        wish["instrument_id"] = bench.instrument(instrument).id
    wish["closed" if closed else "due"] = None if everything else True
    found = list(bench.client.reminders.list(**wish))
    if not found:
        state = "closed" if closed else "open" if everything else "due"
        raise Stop(f"no reminder is {state}", Exit.NOTHING, {"items": []})

    def say() -> None:
        for one in found:
            echo(_line(one))

    bench.show({"items": [one.raw for one in found]}, say)


def _line(one: Reminder) -> str:
    from ._layout import day, local

    when = day(one.due_on) if one.all_day else local(one.due_at)
    state = "" if one.state == "open" else f", {one.state}"
    if one.snoozed_until is not None:
        state += f" until {local(one.snoozed_until)}"
    due = "due " if one.due else "from "
    serial = f", serial {one.serial}" if one.serial else ""
    what = f"{one.instrument}{serial}: {one.kind.replace('-', ' ')}"
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
    """Show a reminder with its history, or answer it; WHICH is how it is listed, or the beginning of that.

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

        echo(_line(one))
        echo(f"  owner: {_owner_line(bench, one)}")
        for event in bench.client.reminders.history(one):
            said = f": {event.note}" if event.note else ""
            echo(f"  {local(event.at)}  {event.what}{said}")

    bench.show(one.raw, say)


def _owner_line(bench: Bench, one: Reminder) -> str:
    """Write whom to call."""
    if not one.owner_id:
        return "–"
    owner = bench.client.owners.get(one.owner_id)
    return ", ".join(part for part in (owner.name, owner.phone, owner.email) if part)


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
    client = bench.client.reminders
    found: list[Reminder] = []
    for closed in (None, True):
        found = found or [one for one in client.list(closed=closed) if _is_meant(one.id, which.lower())]
    if not found:
        raise Stop(f"no reminder is listed as {which}", Exit.REFUSED)
    if len(found) > 1:
        raise Stop(f"{len(found)} reminders are listed as {which}: type more of it", Exit.USAGE)
    return client.get(found[0])


def _is_meant(identifier: str, typed: str) -> bool:
    """Whether an id ends in what was typed, or begins so where it is listed short."""
    return bool(typed) and (identifier.endswith(typed) or identifier[-SHORT:].startswith(typed))


def _duration(text: str) -> timedelta:
    match = _LATER.fullmatch(text.strip().lower())
    if match is None or not int(match[1]):
        raise Stop(f"later: 8h, 7d or 2w was expected, not {text!r}", Exit.USAGE)
    return timedelta(hours=int(match[1]) * _HOURS[(match[2] or "d")[0]])
