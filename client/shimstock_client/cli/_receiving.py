"""The command at the counter: receive."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._lines import read_air
from ._queue import show_job

if TYPE_CHECKING:
    from .._records import Instrument


ENDED = {"collected", "returned-unrepaired", "cancelled"}


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
@click.option("--no-queue", is_flag=True, help="Leave it received; it is not offered to the benches yet.")
@at_bench
def receive(bench: Bench, serial: str, no_queue: bool, **told: Any) -> None:
    """Check an instrument in by its serial number, and put the job into the queue.

    \b
    shimstock receive K-0117 --complaint "buzzes on the low E" --consent "the owner"
    """
    instrument = _instrument(bench, serial)
    _tell_open_jobs(bench, instrument)
    job = bench.client.jobs.create(**_wish(bench, instrument, told))
    if not no_queue:
        job = bench.client.jobs.move(job, "queued")
    show_job(bench, job, lead=f"Job {job.number} is {'received' if no_queue else 'in the queue'}. ")


def _instrument(bench: Bench, serial: str) -> Instrument:
    found = list(bench.client.instruments.list(serial=serial))
    if len(found) == 1:
        return found[0]
    if not found:
        raise Stop(
            f"no instrument has the serial number {serial!r}; add it first (POST /v1/instruments)",
            Exit.NOTHING,
        )
    raise Stop(f"{len(found)} instruments of different models have the serial number {serial!r}", Exit.USAGE)


def _tell_open_jobs(bench: Bench, instrument: Instrument) -> None:
    """Say when the same instrument is here already: two tickets of one instrument are mostly a slip."""
    for job in bench.client.jobs.list(instrument_id=instrument.id):
        if job.state not in ENDED:
            state = job.state.replace("-", " ")
            bench.tell(f"caution: job {job.number} of this instrument is still open ({state})")


def _wish(bench: Bench, instrument: Instrument, told: dict[str, Any]) -> dict[str, Any]:
    from ._work_sending import string_set_named

    wants: dict[str, Any] = {"restring": bool(told["new_strings"] or told["string_set"])}
    if told["string_set"]:
        wants["string_set_id"] = string_set_named(bench, told["string_set"])
    wish: dict[str, Any] = {"instrument_id": instrument.id, "wants": wants}
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
