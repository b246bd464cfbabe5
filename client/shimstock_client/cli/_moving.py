"""Commands that move the job on: settle, wait, final-check, rework, ready, move, card."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench, on_job, on_job_or_number
from ._exits import Exit, Stop
from ._places import write_output
from ._speaking import echo

if TYPE_CHECKING:
    from .. import Job, JobState

DEFAULT_SETTLE = 120
"""Minutes, when neither plan nor shop says how long."""
STATES = (
    "received", "queued", "settling", "waiting", "final-check", "on-bench", "ready", "collected",
    "returned-unrepaired", "cancelled",
)  # fmt: skip
_MINUTES = click.option("--minutes", type=click.IntRange(0, 1440), help="Minutes worked since you took it.")
_SPAN = re.compile(
    r"(?:(\d+)\s*d(?:ays?)?)?\s*(?:(\d+)\s*h(?:ours?)?)?\s*(?:(\d+)\s*(?:m|min|minutes?)?)?", re.IGNORECASE
)


@click.command("settle")
@click.option(
    "--for", "span", metavar="90min", help="How long it rests, e.g. 90min, 2h, 1d; else as the plan says."
)
@_MINUTES
@on_job
@at_bench
def settle(bench: Bench, span: str | None, minutes: int | None, job: str | None) -> None:
    """Let the neck settle: the job leaves the bench and comes back when it is due.

    The bench is free for another job. When the time is over anybody can take it, you first.
    """
    held = bench.job(job)
    now = datetime.now(UTC)
    until = now + timedelta(minutes=_span(span)) if span else _proposed(bench, held, now)
    moved = _move(bench, held, "settling", available_at=until, minutes=minutes)
    _say_moved(bench, moved)


def _span(text: str) -> int:
    match = _SPAN.fullmatch(text.strip())
    parts = [int(part or 0) for part in match.groups()] if match else [0, 0, 0]
    total = parts[0] * 1440 + parts[1] * 60 + parts[2]
    if total < 1:
        raise Stop(f"--for: a time such as 90min, 2h or 1d was expected, not {text!r}", Exit.USAGE)
    return total


def _proposed(bench: Bench, job: Job, now: datetime) -> datetime:
    """Until when the plan lets the neck rest, or the shop where the plan does not say."""
    from .. import Refused

    try:
        until = bench.client.recommendations.of_job(job).rest_until
    except Refused:
        until = None
    if until is not None:
        return max(until, now + timedelta(minutes=1))
    shop = bench.shop
    return now + timedelta(minutes=(shop.settle_first_minutes if shop else None) or DEFAULT_SETTLE)


@click.command("wait")
@click.argument("what", type=click.Choice(["consent", "parts", "owner"]))
@click.option("--reason", "-r", help="What exactly it waits for.")
@_MINUTES
@on_job
@at_bench
def wait(bench: Bench, what: str, reason: str | None, minutes: int | None, job: str | None) -> None:
    """Let the job wait for a consent, for parts, or for the owner."""
    moved = _move(bench, bench.job(job), "waiting", waiting_for=what, reason=reason, minutes=minutes)
    _say_moved(bench, moved)


@click.command("final-check")
@_MINUTES
@on_job
@at_bench
def final_check(bench: Bench, minutes: int | None, job: str | None) -> None:
    """Begin the final check: what has moved since it was read is read once more.

    A shop that wants everything read once more says so with shimstock prices --everything.
    """
    moved = _move(bench, bench.job(job), "final-check", minutes=minutes)

    def say() -> None:
        from ._layout import state_of
        from ._plan_layout import asked_line
        from ._reading import asked_by_plan

        echo(f"Job {moved.number}: {state_of(moved)}.")
        asked = asked_by_plan(bench, moved)
        bench.console.print(
            f"Tune, then read: {asked_line(asked)}."
            if asked
            else "Nothing more is asked for: shimstock ready."
        )

    bench.show(moved.raw, say)


@click.command("rework")
@click.option("--reason", "-r", help="What the final check showed.")
@on_job
@at_bench
def rework(bench: Bench, reason: str | None, job: str | None) -> None:
    """Go back from the final check to the work."""
    _say_moved(bench, _move(bench, bench.job(job), "on-bench", reason=reason))


@click.command("ready")
@click.option("--reason", "-r", help="Why it is ready although not every reading still stands.")
@click.option(
    "--page", type=click.Path(dir_okay=False), help="Also write the card as a page (HTML) to this file."
)
@_MINUTES
@on_job
@at_bench
def ready(bench: Bench, reason: str | None, page: str | None, minutes: int | None, job: str | None) -> None:
    """Say that the job is ready for its owner, and show the card."""
    moved = _move(bench, bench.job(job), "ready", reason=reason, minutes=minutes)
    _show_card(bench, moved, page)


@click.command("move")
@click.argument("number")
@click.argument("to", type=click.Choice(STATES))
@click.option("--reason", "-r", help="Why.")
@at_bench
def move(bench: Bench, number: str, to: JobState, reason: str | None) -> None:
    """Move a job at the counter: received, queued, collected, cancelled …

    \b
    shimstock move 17 queued
    shimstock move 17 collected
    """
    needs = {"settling": "settle", "waiting": "wait"}.get(to)
    if needs:
        raise Stop(f"use shimstock {needs} --job {number}", Exit.USAGE)
    job = bench.named_job(number)
    if to == "queued" and job.state == "on-bench":
        raise Stop(
            f"job {job.number} is on a bench; shimstock give-back --job {job.number} puts it back",
            Exit.CONFLICT,
        )
    _say_moved(bench, _move(bench, job, to, reason=reason))


@click.command("card")
@on_job_or_number
@click.option(
    "--page", type=click.Path(dir_okay=False), help="Also write it as a page (HTML) that prints well."
)
@at_bench
def card(bench: Bench, number: str | None, page: str | None) -> None:
    """Show before and after of a job."""
    _show_card(bench, bench.job(number), page)


def _show_card(bench: Bench, job: Job, page: str | None) -> None:
    found = bench.client.cards.get(job)
    if page is not None:
        write_output("--page", page, bench.client.cards.page(job))

    def say() -> None:
        from ._layout import print_card, state_of

        bench.console.print(f"Job {job.number}: {state_of(job)}")
        print_card(bench.console, found)
        if page is not None:
            echo(f"written to {page}")

    bench.show(found.raw, say)


def _move(bench: Bench, job: Job, to: JobState, **fields: Any) -> Job:
    from .. import Conflict

    told = {name: value for name, value in fields.items() if value is not None}
    try:
        return bench.client.jobs.move(job, to, **told)
    except Conflict as error:
        allowed = error.extra.get("allowed_moves")
        if isinstance(allowed, list) and allowed:
            names = ", ".join(str(one.get("to")) for one in allowed if isinstance(one, dict))
            raise Stop(f"{error.detail} From here it can go to: {names}.", Exit.CONFLICT) from error
        raise


def _say_moved(bench: Bench, job: Job) -> None:
    def say() -> None:
        from ._layout import state_of

        echo(f"Job {job.number}: {state_of(job)}.")

    bench.show(job.raw, say)
