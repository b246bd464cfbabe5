"""The command at the counter: receive."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ._bench import ENDED, Bench, at_bench
from ._booked import check_in, find_booked
from ._exits import Exit, Stop
from ._lines import read_air
from ._queue import show_job

if TYPE_CHECKING:
    from .. import Instrument


@click.command("receive")
@click.argument("serial")
@click.option("--complaint", "-c", help="What the owner complains of, in the owner's words.")
@click.option("--condition", help="What you see at the counter: scratches, cracks, parts missing.")
@click.option("--promised", metavar="YYYY-MM-DD", help="The day on which it is promised.")
@click.option("--priority", type=click.IntRange(0, 9), help="9 goes first; 5 when left out.")
@click.option("--skill", "skills", multiple=True, help="A skill that it needs; once for each.")
@click.option("--new-strings", is_flag=True, help="The owner wants new strings.")
@click.option("--set", "string_set", metavar="NAME", help="With new strings: another set than the one on it.")
@click.option(
    "--consent", metavar="OWNER", help="A general consent to what cannot be undone, given by this person."
)
@click.option("--air", metavar="'21C 45%'", help="The room's temperature and relative humidity.")
@click.option("--booked", metavar="NUMBER", help="It was booked: the number of its job (shimstock expected).")
@click.option("--model", metavar="NAME", help="Of a booked instrument that was never here: it is added.")
@click.option(
    "--not-booked", is_flag=True, help="A job of its own, although a booking names this serial number."
)
@click.option("--no-queue", is_flag=True, help="Leave it received; it is not offered to the benches yet.")
@at_bench
def receive(bench: Bench, serial: str, booked: str | None, no_queue: bool, **told: Any) -> None:
    """Check an instrument in by its serial number, and put the job into the queue.

    One that was booked on the website comes under its booking: its job is there already.

    \b
    shimstock receive K-0117 --complaint "buzzes on the low E" --consent "the owner"
    shimstock receive K-0117 --booked 12 --model "Brackwater Kessim"
    """
    booking = None if told["not_booked"] else find_booked(bench, serial, booked)
    if booking is not None:
        job = check_in(bench, booking, (serial, _found(bench, serial), told["model"]), _wish(bench, told))
    else:
        instrument = _instrument(bench, serial)
        _tell_open_jobs(bench, instrument)
        job = bench.client.jobs.create(instrument_id=instrument.id, **_wish(bench, told))
    if not no_queue:
        job = bench.client.jobs.move(job, "queued")
    lead = f"Job {job.number} is {'received' if no_queue else 'in the queue'}"
    show_job(bench, job, lead=f"{lead}, as booked. " if booking is not None else f"{lead}. ")


def _instrument(bench: Bench, serial: str) -> Instrument:
    found = _found(bench, serial)
    if found is None:
        raise Stop(
            f"no instrument has the serial number {serial!r}; add it first (POST /v1/instruments)",
            Exit.NOTHING,
        )
    return found


def _found(bench: Bench, serial: str) -> Instrument | None:
    found = list(bench.client.instruments.list(serial=serial))
    if len(found) > 1:
        raise Stop(
            f"{len(found)} instruments of different models have the serial number {serial!r}", Exit.USAGE
        )
    return found[0] if found else None


def _tell_open_jobs(bench: Bench, instrument: Instrument) -> None:
    """Say when the same instrument is here already: two tickets of one instrument are mostly a slip."""
    for job in bench.client.jobs.list(instrument_id=instrument.id):
        if job.state not in ENDED:
            state = job.state.replace("-", " ")
            bench.tell(f"caution: job {job.number} of this instrument is still open ({state})")


def _wish(bench: Bench, told: dict[str, Any]) -> dict[str, Any]:
    from ._work_sending import string_set_named

    wants: dict[str, Any] = {"restring": bool(told["new_strings"] or told["string_set"])}
    if told["string_set"]:
        wants["string_set_id"] = string_set_named(bench, told["string_set"])
    wish: dict[str, Any] = {"wants": wants}
    for field, option in (
        ("complaints", "complaint"),
        ("condition", "condition"),
        ("promised_on", "promised"),
        ("priority", "priority"),
    ):
        if told[option] is not None:
            wish[field] = told[option]
    if told["skills"]:
        wish["skills"] = list(told["skills"])
    if told["air"]:
        wish["room"] = read_air(told["air"])
    if told["consent"]:
        wish["consents"] = [
            {"covers": "general", "given": True, "given_by": told["consent"], "how": "in-person"}
        ]
    return wish
