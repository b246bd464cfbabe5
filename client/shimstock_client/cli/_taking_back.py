"""What was recorded and not done so: the command that lists and takes it back, and what is told instead."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ._bench import Bench, at_bench, on_job
from ._exits import Exit, Stop
from ._speaking import echo
from ._typed_doing import describe_doing

if TYPE_CHECKING:
    from .. import Adjustment, Job

_SAID = ("part", "side", "string", "pickup", "turns", "amount")


@click.command("not-done")
@click.argument("which", required=False)
@click.option("--because", metavar="REASON", help="Why it was recorded and not done.")
@on_job
@at_bench
def not_done(bench: Bench, *, which: str | None, because: str | None, job: str | None) -> None:
    """Take back what was recorded and not done; by itself, list what was recorded on a job.

    WHICH is the last, or the end of its id. It stays on record with the reason, and counts no more. What was
    done otherwise than recorded is corrected with shimstock done --instead-of.

    \b
    shimstock not-done
    shimstock not-done last --because "recorded on the wrong job"
    """
    found = bench.job(job)
    if which is None:
        _list(bench, found)
        return
    if not because:
        raise Stop("--because is missing: why was it recorded and not done?", Exit.USAGE)
    wrong = _recorded(bench, found, which)
    kept = bench.client.adjustments.withdraw(found, wrong, reason=because)
    bench.show(kept.raw, lambda: echo(f"Taken back: {_described(kept)}."))


def instead_of(bench: Bench, job: Job, which: str, because: str) -> dict[str, Any]:
    """Return the fields of an adjustment that corrects another; it was done when that one says.

    Raises
    ------
    Stop
        When no adjustment of the job is meant, or it was taken back already.
    """
    wrong = _recorded(bench, job, which)
    return {
        "supersedes": wrong.id,
        "supersedes_reason": because,
        "done_at": wrong.done_at,
        "plan": wrong.plan,
    }


def _recorded(bench: Bench, job: Job, which: str) -> Adjustment:
    told = list(bench.client.adjustments.list(job))
    standing = [one for one in told if one.withdrawn is None]
    if which == "last" and standing:
        return standing[-1]
    found = [one for one in told if one.id.endswith(which)]
    if len(found) != 1:
        raise Stop(
            f"{which!r} is nothing that was recorded on job {job.number}, or more than one; shimstock "
            "not-done lists it, and last means the newest",
            Exit.USAGE,
        )
    return found[0]


def _list(bench: Bench, job: Job) -> None:
    told = list(bench.client.adjustments.list(job))
    if not told:
        raise Stop("nothing was recorded on this job yet", Exit.NOTHING, {"items": []})

    def say() -> None:
        from ._layout import local

        for one in told:
            back = f" (taken back: {one.withdrawn.reason})" if one.withdrawn else ""
            echo(f"{one.id[-6:]}  {local(one.done_at)}  {_described(one)}{back}")

    bench.show({"items": [one.raw for one in told]}, say)


def _described(adjustment: Adjustment) -> str:
    return describe_doing({name: getattr(adjustment, name) for name in _SAID})
