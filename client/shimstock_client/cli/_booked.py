"""What was booked on the website: who is expected, and a booked instrument at the counter."""

from __future__ import annotations

from datetime import date, datetime
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Booking, Instrument, Job


@click.command("expected")
@click.option("--all", "everything", is_flag=True, help="Also those of the days to come.")
@at_bench
def expected(bench: Bench, everything: bool) -> None:
    """List the booked instruments that are expected today, and those that did not come.

    \b
    shimstock expected
    shimstock receive K-0117          checks it in, when it was booked with this serial number
    shimstock receive K-0117 --booked 12 --model Kessim
    """
    last = None if everything else _today(bench)
    found = list(bench.client.bookings.list(state="confirmed", last=last))
    found.sort(key=lambda each: each.wall)
    if not found:
        raise Stop(
            "nobody is expected" if everything else "nobody is expected today", Exit.NOTHING, {"items": []}
        )

    def say() -> None:
        for each in found:
            echo(f"{in_words(bench, each)}{_owner(bench, each)}")

    bench.show({"items": [each.raw for each in found]}, say)


def in_words(bench: Bench, booking: Booking) -> str:
    """Write a booking in a line: job, drop-off, service, instrument as it was told."""
    number = booking.job.number if booking.job else "–"
    told = booking.instrument
    named = " ".join(part for part in (told.maker, told.model, told.serial) if part) if told else ""
    return f"job {number}: {_when(bench, booking)}, {booking.service}{', ' if named else ''}{named}"


def _when(bench: Bench, booking: Booking) -> str:
    time = booking.wall[-5:]
    if booking.day is None or booking.day == _today(bench):
        return f"today {time}"
    return f"{booking.day:%a} {booking.day.day} {booking.day:%b} {time}"


def _owner(bench: Bench, booking: Booking) -> str:
    name = bench.client.owners.get(booking.owner_id).name if booking.owner_id else None
    return f", {name}" if name else ""


def _today(bench: Bench) -> date:
    """Today where the shop is."""
    zone = ZoneInfo(bench.shop.zone) if bench.shop is not None else None
    return datetime.now(zone).date()


def find_booked(bench: Bench, serial: str, number: str | None) -> Booking | None:
    """Return the booking under which an instrument comes, or None when it was not booked.

    Raises
    ------
    Stop
        When the numbered job is no booking that is expected, or several bookings name this serial number.
    """
    wanted: dict[str, Any] = {"serial": serial}
    if number is not None:
        if not number.removeprefix("#").isdecimal():
            raise Stop(f"--booked: the number of a job was expected, not {number!r}", Exit.USAGE)
        wanted = {"number": int(number.removeprefix("#"))}
    found = list(bench.client.bookings.list(state="confirmed", **wanted))
    if number is not None and not found:
        raise Stop(
            f"job {number} is no booking that is expected; shimstock expected --all lists them", Exit.NOTHING
        )
    if len(found) > 1:
        lines = "; ".join(in_words(bench, each) for each in found)
        raise Stop(
            f"{len(found)} bookings name {serial!r}: say which with --booked NUMBER: {lines}", Exit.USAGE
        )
    return found[0] if found else None


def check_in(
    bench: Bench,
    booking: Booking,
    brought: tuple[str, Instrument | None, str | None],
    wish: dict[str, Any],
) -> Job:
    """Check a booked instrument in, and return its job.

    Parameters
    ----------
    brought : tuple of serial number, instrument or None, and name of a model or None
        What is brought: an instrument that the shop knows, or a new one of a model.
    wish : dict
        What was told at the counter beside what the website was told.
    """
    serial, known, model = brought
    fields: dict[str, Any] = {name: wish[name] for name in ("condition", "room", "consents") if name in wish}
    if known is not None:
        fields["instrument_id"] = known.id
    else:
        fields["new_instrument"] = {"model_id": _model_id(bench, model, serial), "serial": serial}
    arrived = bench.client.bookings.check_in(booking, **fields)
    job = bench.client.jobs.get(arrived.job.id if arrived.job else "")
    more: dict[str, Any] = {
        name: wish[name] for name in ("priority", "promised_on", "skills") if name in wish
    }
    if wish.get("complaints"):
        more["complaints"] = "\n".join(part for part in (job.complaints, wish["complaints"]) if part)
    if wish["wants"]["restring"]:
        more["wants"] = {**_sendable(job.wants), **wish["wants"]}
    return bench.client.jobs.update(job, **more) if more else job


def _sendable(wants: Any) -> dict[str, Any]:
    return {name: value for name, value in dict(wants or {}).items() if value is not None}


def _model_id(bench: Bench, named: str | None, serial: str) -> str:
    if named is None:
        raise Stop(
            f"no instrument has the serial number {serial!r}: name its model with --model, and it is added",
            Exit.NOTHING,
        )
    wanted = named.casefold()
    models = list(bench.client.instrument_models.list())
    found = [
        each for each in models if wanted in (each.name.casefold(), f"{each.maker} {each.name}".casefold())
    ]
    if len(found) != 1:
        names = ", ".join(sorted(f"{each.maker} {each.name}" for each in found or models))
        raise Stop(f"--model: {len(found)} models are called {named!r}; there are: {names}", Exit.USAGE)
    return found[0].id
