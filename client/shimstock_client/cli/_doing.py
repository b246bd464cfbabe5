"""The command that records what was done: the plan's step, or something else."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

import click

from .._ids import uuid7
from .._trade import DOINGS
from .._wire import to_wire
from ._bench import Bench, at_bench, on_job
from ._exits import Exit, Stop
from ._measures import NotUnderstood
from ._speaking import ask_yes, echo
from ._taking_back import instead_of
from ._typed_doing import describe_doing, read_doing
from ._unsent import UnsentWork
from ._work_sending import (
    SET_BY_NAME,
    keep_for_later,
    other_turns,
    refuse_unsent_work,
    send_work,
    string_set_named,
)

if TYPE_CHECKING:
    from .. import Adjustment, Job, Recommendation, Step


@dataclass(frozen=True)
class Doing:
    """What shall be recorded, and the plan that it followed."""

    bodies: Sequence[dict[str, Any]]
    plan: Recommendation | None = None
    step: Step | None = None


@click.command("done")
@click.argument("what", nargs=-1, metavar="[PART DIRECTION HOW-FAR]")
@click.option("--turns", metavar="1/8", help="The plan's step, but this far.")
@click.option("--own", is_flag=True, help="My own decision; no plan was followed.")
@click.option("--sure", is_flag=True, help="More than one turn of the rod at once, looked at twice.")
@click.option("--minutes", type=click.IntRange(0, 1440), help="Minutes that it took.")
@click.option("--note", help="What should be known of it.")
@click.option("--set", "string_set", metavar="NAME", help="With strings: the set that was put on.")
@click.option(
    "--instead-of",
    "wrong",
    metavar="WHICH",
    help="Corrects what was recorded: the last, or the end of its id. Say why with --because.",
)
@click.option("--because", metavar="REASON", help="Why that was wrong.")
@on_job
@at_bench
def done(
    bench: Bench,
    *,
    what: tuple[str, ...],
    turns: str | None,
    own: bool,
    sure: bool,
    minutes: int | None,
    note: str | None,
    string_set: str | None,
    wrong: str | None,
    because: str | None,
    job: str | None,
) -> None:
    """Record what you did; by itself, the step that the plan marks `do now`.

    With a keyboard it is asked once more. While the service cannot be reached it is kept; shimstock send
    records it then, in the order in which it was done. What was recorded and not done at all is taken back
    with shimstock not-done.

    \b
    shimstock done
    shimstock done --turns 1/8
    shimstock done rod tighten 1/4
    shimstock done post bass lower 1/8
    shimstock done saddle 3 away 4 1/8
    shimstock done nut 2 file 0.05mm
    shimstock done strings --set "light 10-46"
    shimstock done rod tighten 1/8 --instead-of last --because "mistyped"
    """
    from .. import NotReachable

    _check_correction(what, wrong, because)
    more: dict[str, Any] = {"confirmed": True} if sure else {}
    if note:
        more["note"] = note
    try:
        held = bench.job(job)
    except NotReachable as error:
        if wrong:
            raise
        if string_set:
            more[SET_BY_NAME] = string_set
        keep_for_later(bench, error, job, what, turns=turns, minutes=minutes, more=more)
        return
    if held.claim is None:
        raise Stop(f"job {held.number} is not on a bench: shimstock take {held.number}", Exit.CONFLICT)
    if held.claim.technician_id != bench.me:
        holder = bench.technicians.get(held.claim.technician_id or "")
        raise Stop(
            f"job {held.number} is on the bench of {holder.name if holder else 'somebody else'}, who records "
            "what was done to it",
            Exit.CONFLICT,
        )
    refuse_unsent_work(held)
    if wrong and because:
        more |= instead_of(bench, held, wrong, because)
    doing = _told(bench, held, what, own=own or wrong is not None) if what else _planned(bench, held, turns)
    if string_set:
        more["string_set_id"] = string_set_named(bench, string_set)
    _ask_once_more(bench, doing)
    recorded = record(bench, held, doing, minutes=minutes, **more)
    bench.show({"items": [one.raw for one in recorded]}, lambda: _say(bench, doing, recorded))


def _check_correction(what: Sequence[str], wrong: str | None, because: str | None) -> None:
    if bool(wrong) != bool(because):
        raise Stop("--instead-of and --because go together: what was wrong, and why", Exit.USAGE)
    if wrong and not what:
        raise Stop(
            "--instead-of: say what was done, e.g. rod tighten 1/8; when nothing was, shimstock not-done",
            Exit.USAGE,
        )


def _planned(bench: Bench, job: Job, turns: str | None) -> Doing:
    from .. import as_planned

    plan = bench.client.recommendations.of_job(job)
    step = plan.do_now
    if step is None:
        first = next(iter(plan.steps), None)
        told = f"first: {first.what}" if first else "nothing is left to do"
        raise Stop(f"the plan has no step to do now; {told}", Exit.NOTHING)
    bodies = [dict(body) for body in as_planned(step, job.wants)]
    if not bodies and step.changes_instrument:
        raise Stop(f"only you know how far: {step.what}; say it, e.g. {_example(step)}", Exit.USAGE)
    if not bodies:
        raise Stop(f"the step to do now changes nothing: {step.what}; shimstock read enters it", Exit.NOTHING)
    if turns is not None:
        if len(bodies) != 1 or "turns" not in bodies[0]:
            raise Stop(
                "--turns fits a step that turns one part; name the part, e.g. post bass lower 1/8", Exit.USAGE
            )
        bodies[0]["turns"] = other_turns(turns, bodies[0]["turns"].value)
    return Doing(bodies, plan, step)


def _example(step: Step) -> str:
    return f"shimstock done {DOINGS.get(step.part or '', DOINGS['truss-rod'])}"


def _told(bench: Bench, job: Job, what: Sequence[str], *, own: bool) -> Doing:
    try:
        body = read_doing(what)
    except NotUnderstood as error:
        raise Stop(str(error), Exit.USAGE) from error
    if own:
        return Doing([body])
    plan = _plan_or_none(bench, job)
    for step in plan.steps if plan else []:
        if step.do_now and _follows(step, body):
            return Doing([body], plan, step)
    return Doing([body])


def _follows(step: Step, body: dict[str, Any]) -> bool:
    if step.moves:
        return any(_same_way(move, body) for move in step.moves)
    return bool(step.part == body["part"])


def _same_way(move: Any, body: dict[str, Any]) -> bool:
    told = (body.get("turns") or body.get("amount") or {"value": 0})["value"]
    planned = move.turns or move.amount
    same_place = all(getattr(move, name) == body.get(name) for name in ("side", "string", "pickup"))
    return move.part == body["part"] and same_place and planned is not None and planned.value * told > 0


def _plan_or_none(bench: Bench, job: Job) -> Recommendation | None:
    from .. import Refused

    try:
        return bench.client.recommendations.of_job(job)
    except Refused as error:
        bench.tell(f"no plan: {error.detail}")
        return None


def _ask_once_more(bench: Bench, doing: Doing) -> None:
    if not bench.asks:
        return
    if doing.step is not None:
        from ._plan_layout import print_step

        print_step(bench.console, doing.step)
    for body in doing.bodies:
        echo(f"   recorded will be: {describe_doing(body)}")
    if not ask_yes("Is this what was done?"):
        raise Stop(
            "nothing was recorded; say what was done, e.g. shimstock done rod tighten 1/8", Exit.NOTHING
        )


def record(bench: Bench, job: Job, doing: Doing, *, minutes: int | None, **more: Any) -> Sequence[Adjustment]:
    """Record everything of one step; minutes count once.

    Raises
    ------
    Stop
        When the service did not answer: it may be recorded or not, so it is kept to be sent again as it is.
    """
    digest = doing.plan.digest if doing.plan is not None else None
    claim = job.claim.id if job.claim is not None else None
    common = {"claim": claim, "done_at": datetime.now(UTC), "plan": digest, **more}
    bodies = [to_wire({"id": uuid7(), **body, **common}) for body in doing.bodies]
    if minutes is not None:
        bodies[0]["minutes"] = minutes
    return send_work(bench, UnsentWork(job.id, job.number, bodies))


def _say(bench: Bench, doing: Doing, recorded: Sequence[Adjustment]) -> None:
    for one, body in zip(recorded, doing.bodies, strict=True):
        echo(f"Recorded: {describe_doing(body)}" + ("" if one.plan else " (own decision)") + ".")
        if one.large_turn:
            echo("More than a quarter turn of the rod at once: flagged. Tune and read before the next.")
    if doing.step is not None and doing.step.readings_next:
        from ._plan_layout import asked_line

        bench.console.print(f"Now tune, then read: {asked_line(doing.step.readings_next)}.")
