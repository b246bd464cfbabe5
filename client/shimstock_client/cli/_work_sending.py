"""What was done on its way to the service: sent once however often, kept while nobody answers."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from .._ids import uuid7
from .._wire import to_wire
from ._bench import Bench
from ._exits import Exit, Stop
from ._last_job import forget_plan, recall_plan
from ._measures import Expected, NotUnderstood, read_measure
from ._speaking import ask_yes, echo
from ._typed_doing import describe_doing, read_doing
from ._unsent import CLOCK_AHEAD, UnsentWork, all_unsent, all_unsent_work, restating

if TYPE_CHECKING:
    from .. import Adjustment, Job, NotReachable, ShimstockError
    from ._last_job import LastJob

SET_BY_NAME = "string_set"
"""Field of a kept body: the set of strings as it was named, looked up when it is sent."""


def send_work(bench: Bench, work: UnsentWork) -> Sequence[Adjustment]:
    """Send what was just done; kept until the service has answered.

    Raises
    ------
    Stop
        When it did not answer.
    """
    from .. import NotReachable, ShimstockError

    work.keep()
    recorded: list[Adjustment] = []
    for body in work.bodies:
        try:
            recorded.append(bench.client.adjustments.send(work.job_id, body))
        except NotReachable as error:
            raise unanswered(error) from error
        except ShimstockError as error:
            if error.code == CLOCK_AHEAD:
                raise _told_ahead(work, error) from error
            work.remove()
            for left in work.bodies[len(recorded) :]:
                bench.tell(f"not recorded: {describe_doing(left)}")
            raise
    _recorded(work)
    return recorded


def unanswered(error: NotReachable) -> Stop:
    """Say that what was sent may have arrived."""
    return Stop(
        f"{error.detail}\nIt may be recorded or not. Do not type it again: shimstock send sends it "
        "as it is, and it is recorded once.",
        Exit.NOT_REACHABLE,
    )


def _recorded(work: UnsentWork) -> None:
    work.remove()
    forget_plan()


def refuse_unsent_work(job: Job) -> None:
    """Refuse to record more on a job while something done before is not sent, or may be recorded or not.

    Raises
    ------
    Stop
        Saying to send it first.
    """
    if any(work.job_id == job.id for work in kept_work()):
        raise Stop(
            "what was done before is not sent yet, or went unanswered; shimstock send first, so that it "
            "counts once and in its order",
            Exit.CONFLICT,
        )


def kept_work() -> list[UnsentWork]:
    """Return the work that is kept here, oldest first.

    Raises
    ------
    Stop
        When a file is damaged.
    """
    try:
        return list(all_unsent_work())
    except ValueError as error:
        raise Stop(str(error), Exit.USAGE) from error


# ---------------------------------------------------------------- out of reach


def keep_for_later(
    bench: Bench,
    error: NotReachable,
    named: str | None,
    what: Sequence[str],
    *,
    turns: str | None,
    minutes: int | None,
    more: dict[str, Any],
) -> None:
    """Keep what was done on the job last seen here until the service can be reached.

    Raises
    ------
    Stop
        Always: saying that it is kept, or why it cannot be.
    """
    last = bench.last_job(named)
    if last is None or last.claim is None:
        raise error
    bodies, digest = _told_out_of_reach(last, what, turns)
    common = {"claim": last.claim, "done_at": datetime.now(UTC), "plan": digest, **more}
    whole = [to_wire({"id": uuid7(), **body, **common}) for body in bodies]
    if minutes is not None:
        whole[0]["minutes"] = minutes
    _confirm(bench, whole)
    work = UnsentWork(last.id, last.number, whole)
    work.keep()
    forget_plan()
    told = "; ".join(describe_doing(body) for body in whole)
    raise Stop(
        f"{error.detail}\nkept for job {last.number}, not recorded yet: {told}\n"
        "shimstock send records it once the service can be reached; consents are looked at then."
        + (" Tune and read before the next turn." if "truss-rod" in {one["part"] for one in whole} else ""),
        Exit.NOT_REACHABLE,
    )


def _told_out_of_reach(
    last: LastJob, what: Sequence[str], turns: str | None
) -> tuple[Sequence[dict[str, Any]], str | None]:
    """Return what was done, in words or as the plan last shown here says, and that plan's digest."""
    if what:
        try:
            return [read_doing(what)], None
        except NotUnderstood as error:
            raise Stop(str(error), Exit.USAGE) from error
    plan = recall_plan(last.id)
    since = last.id in {*(work.job_id for work in kept_work()), *(sheet.job_id for sheet in all_unsent())}
    if plan is None or since or not plan.bodies:
        reason = "something was typed since the plan was shown" if since else "no plan was shown here"
        raise Stop(
            f"the service cannot be reached and {reason}: say what was done, "
            "e.g. shimstock done rod tighten 1/8",
            Exit.NOT_REACHABLE,
        )
    bodies = [dict(body) for body in plan.bodies]
    if turns is not None:
        if len(bodies) != 1 or not bodies[0].get("turns"):
            raise Stop("--turns fits a step that turns one part; name the part", Exit.USAGE)
        bodies[0]["turns"] = other_turns(turns, bodies[0]["turns"]["value"])
    return bodies, plan.digest


def _confirm(bench: Bench, bodies: Sequence[dict[str, Any]]) -> None:

    if not bench.asks:
        return
    for body in bodies:
        echo(f"   kept will be: {describe_doing(body)}")
    if not ask_yes("Is this what was done?"):
        raise Stop("nothing was kept; say what was done, e.g. shimstock done rod tighten 1/8", Exit.NOTHING)


# ---------------------------------------------------------------- sent later


def send_kept(bench: Bench, work: UnsentWork) -> Sequence[Adjustment]:
    """Send what is kept; it stays kept unless it is recorded.

    Raises
    ------
    Stop
        Saying what stands against it, and what can be done.
    """
    from .. import ClaimEnded, NotReachable, ShimstockError

    try:
        try:
            recorded = _send_all(bench, work)
        except ClaimEnded as error:
            _take_over_claim(bench, work, error)
            recorded = _send_all(bench, work)
    except NotReachable as error:
        raise unanswered(error) from error
    except ShimstockError as error:
        from ._app import exit_of

        if error.code == CLOCK_AHEAD:
            raise _told_ahead(work, error) from error
        raise Stop(f"{_not_recorded(work)}\n{error}\n{_way_out(work)}", exit_of(error)) from error
    _recorded(work)
    return recorded


def _send_all(bench: Bench, work: UnsentWork) -> list[Adjustment]:
    for body in work.bodies:
        named = body.pop(SET_BY_NAME, None)
        if named:
            body["string_set_id"] = string_set_named(bench, named)
    return [bench.client.adjustments.send(work.job_id, body) for body in work.bodies]


def _take_over_claim(bench: Bench, work: UnsentWork, error: ShimstockError) -> None:
    """Record it under the claim of now when the same technician holds the job again.

    Raises
    ------
    Stop
        When nobody or somebody else holds it.
    """
    job = bench.client.jobs.get(work.job_id)
    if job.claim is None or job.claim.technician_id != bench.me:
        holder = job.claim.technician if job.claim is not None else None
        who = f"{holder or 'somebody else'} holds it now" if job.claim is not None else "nobody holds it now"
        raise Stop(
            f"{_not_recorded(work)}\nyour claim has ended meanwhile and {who}: tell them what was done, or "
            f"take job {work.job_number} again and send.\n{_way_out(work)}",
            Exit.CONFLICT,
        ) from error
    done = {one.id for one in bench.client.adjustments.list(job)}
    work.bodies = [body if body["id"] in done else {**body, "claim": job.claim.id} for body in work.bodies]
    work.keep()


def _told_ahead(work: UnsentWork, error: ShimstockError) -> Stop:
    return Stop(f"{_not_recorded(work)}\n{error}\n{restating(work)}", Exit.REFUSED)


def _not_recorded(work: UnsentWork) -> str:
    return f"job {work.job_number}, not recorded: " + "; ".join(describe_doing(one) for one in work.bodies)


def _way_out(work: UnsentWork) -> str:
    return f"kept as {short_work(work)}; shimstock send {short_work(work)} --throw-away gives it up"


def short_work(work: UnsentWork) -> str:
    """Return the end of its id: short to type, and different for each."""
    return work.id[-6:]


# ---------------------------------------------------------------- what it takes


def other_turns(text: str, planned: float) -> dict[str, Any]:
    """Read how far it was turned instead, the planned way round unless a sign is written.

    Raises
    ------
    Stop
        When it cannot be read.
    """
    try:
        told = read_measure(text, Expected("turns", "turns", "turn"))
    except NotUnderstood as error:
        raise Stop(f"--turns: {error}", Exit.USAGE) from error
    signed = any(text.lstrip().startswith(sign) for sign in "+-−")
    value = told.value if signed or planned > 0 else -told.value
    return {"value": value, "unit": "turn"}


def string_set_named(bench: Bench, named: str) -> str:
    """Return the id of the set of strings with this name, or with this in its name."""
    wanted = named.strip().casefold()
    known = list(bench.client.string_sets.list(limit=500))
    found = [one for one in known if one.name.casefold() == wanted or one.id == named]
    found = found or [one for one in known if wanted in one.name.casefold()]
    if len(found) != 1:
        names = ", ".join(one.name for one in found or known)
        raise Stop(
            f"--set: {named!r} is {'no set' if not found else 'more than one set'}: {names}", Exit.USAGE
        )
    return found[0].id
