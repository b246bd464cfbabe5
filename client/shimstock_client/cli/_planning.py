"""Commands about what to do next: plan, consent."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .._trade import CONSENTS
from .._wire import to_wire
from ._bench import Bench, at_bench, on_job, on_job_or_number
from ._last_job import LastPlan, forget_plan, remember_plan
from ._speaking import ask, echo

if TYPE_CHECKING:
    from .. import Job, Recommendation

HOW = ("in-person", "phone", "e-mail", "written", "website")


@click.command("plan")
@on_job_or_number
@at_bench
def plan(bench: Bench, number: str | None) -> None:
    """Show what to do next, in which order, how far, and why.

    Computed from the readings; your eye and hand decide. Only the steps marked `do now` are to be done, in
    their order; the later ones are forecasts that new readings will correct.
    """
    job = bench.job(number)
    found = bench.client.recommendations.of_job(job)
    if job.claim is not None and job.claim.technician_id == bench.sign_in.technician:
        _remember(job, found)

    def say() -> None:
        from ._plan_layout import print_plan

        print_plan(bench.console, found, title=f"Plan for job {job.number}")

    bench.show(found.raw, say)


def _remember(job: Job, plan: Recommendation) -> None:
    """Keep the step to do now, so that it can be recorded while the service is out of reach."""
    from .. import as_planned

    step = plan.do_now
    if step is None or not step.changes_instrument:
        forget_plan()
        return
    bodies = [to_wire(dict(body)) for body in as_planned(step, job.wants)]
    remember_plan(LastPlan(job.id, plan.digest, step.what, bodies))


@click.command("consent")
@click.argument("covers", type=click.Choice(CONSENTS))
@click.argument("answer", type=click.Choice(["yes", "no", "back"]))
@click.option("--by", "given_by", help="Who said so; the owner when left out.")
@click.option("--how", type=click.Choice(HOW), help="How it was said.")
@click.option("--note", help="In the owner's words; with back: why.")
@on_job
@at_bench
def consent(
    bench: Bench,
    *,
    covers: str,
    answer: str,
    given_by: str | None,
    how: str | None,
    note: str | None,
    job: str | None,
) -> None:
    """Record the owner's answer about a step that cannot be undone.

    A no is a valid end and stands on the card. `back` takes an earlier yes back.

    \b
    shimstock consent nut-filing yes --how phone
    """
    found = bench.job(job)
    if answer == "back":
        kept = _withdraw(bench, found, covers, note)
        told = f"Taken back: {covers.replace('-', ' ')}."
    else:
        fields: dict[str, Any] = {
            "covers": covers,
            "given": answer == "yes",
            "given_by": given_by or _owner(bench, found.owner_id),
            "how": how or _ask_how(bench),
        }
        if note:
            fields["note"] = note
        kept = bench.client.consents.create(found, **fields).raw
        told = f"Recorded: {answer} to {covers.replace('-', ' ')}."
    bench.show(kept, lambda: echo(told))


def _owner(bench: Bench, owner_id: str | None) -> str:
    return (bench.client.owners.get(owner_id).name if owner_id else None) or "owner"


def _ask_how(bench: Bench) -> str:
    from ._exits import Exit, Stop

    if not bench.asks:
        raise Stop(f"--how is missing: {', '.join(HOW)}", Exit.USAGE)
    return str(ask("How was it said", type=click.Choice(HOW)))


def _withdraw(bench: Bench, job: Any, covers: str, why: str | None) -> dict[str, Any]:
    from ._exits import Exit, Stop

    if not why:
        raise Stop("--note is missing: why is it taken back?", Exit.USAGE)
    standing = [
        one
        for one in bench.client.consents.list(job)
        if one.covers == covers and one.given and one.withdrawn_at is None
    ]
    if not standing:
        raise Stop(f"no standing yes to {covers.replace('-', ' ')}", Exit.NOTHING)
    return bench.client.consents.withdraw(job, standing[-1], reason=why).raw
