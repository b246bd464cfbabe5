"""Commands about what adjustments have taught: learned, doubts, doubt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from ._airing import SHORT
from ._bench import Bench, at_bench
from ._exits import Exit, Stop
from ._speaking import echo

if TYPE_CHECKING:
    from .. import AdjustmentResponse, ResponseSample

WHAT = {
    "rod": "one turn of the rod",
    "compliance": "pull of the strings",
    "coupling": "action beyond what the geometry says, per mm of relief",
}


@click.command("learned")
@click.option("--all", "everything", is_flag=True, help="Also of each instrument.")
@at_bench
def learned(bench: Bench, everything: bool) -> None:
    """Show what the shop has learned of its adjustments, how surely, and from how many jobs.

    A plan uses an instrument's own figures, else its model's, else the shop's, else what is usual: those of
    the moment when the first reading of its job was taken. So it does with how much each tool scatters.
    """
    found = [
        one for one in bench.client.adjustment_responses.list() if everything or one.level != "instrument"
    ]
    noises = bench.client.reports.calibration().noises
    if not found and not noises:
        raise Stop(
            "nothing is learned yet: it takes a reading before an adjustment and one after it",
            Exit.NOTHING,
            {"items": []},
        )

    def say() -> None:
        models = {one.id: f"{one.maker} {one.name}".strip() for one in bench.client.instrument_models.list()}
        serials = _serials(bench) if everything else {}
        for one in sorted(found, key=lambda one: (one.kind, one.level != "shop", one.model_id or "")):
            echo(_line(one, models, serials))
        for noise in noises:
            echo(noise.words)
        left = sum(1 for _ in bench.client.adjustment_responses.samples(flagged=True, reviewed=False))
        if left:
            echo(f"{left} to look at: shimstock doubts")

    told = {"items": [one.raw for one in found], "noises": [one.raw for one in noises]}
    bench.show(told, say)


def _serials(bench: Bench) -> dict[str, str]:
    return {one.id: one.serial or "without serial" for one in bench.client.instruments.list()}


def _line(one: AdjustmentResponse, models: dict[str, str], serials: dict[str, str]) -> str:
    whose = "any other model" if one.level == "shop" else models.get(one.model_id or "", "a model")
    if one.instrument_id:
        whose = f"{whose}, {serials.get(one.instrument_id, 'an instrument')}"
    if one.mean is not None and one.sd is not None:
        told = f"{one.mean.value:.3g} ± {one.sd.value:.2g} {one.sd.unit}{_late(one)}"
    else:
        told = f"{one.mean_number:+.2f} ± {one.sd_number:.2f}"
        if one.nut_mean_number is not None:
            told += f", nut action {one.nut_mean_number:+.2f} ± {one.nut_sd_number:.2f}"
    count = f"{one.samples} job{'' if one.samples == 1 else 's'}"
    return f"{whose}: {WHAT.get(one.kind, one.kind)} {told} ({count})"


def _late(one: AdjustmentResponse) -> str:
    """How much of a turn's effect comes late, and how late."""
    if not one.late_share:
        return ""
    half = f", half of that within {one.half_time.value:.0f} min" if one.half_time is not None else ""
    return f", {100 * one.late_share:.0f} % of it late{half}"


@click.command("doubts")
@click.option("--all", "everything", is_flag=True, help="Also those that were looked at.")
@at_bench
def doubts(bench: Bench, everything: bool) -> None:
    """List jobs whose adjustments did what they do on no other instrument of the model."""
    found = list(
        bench.client.adjustment_responses.samples(flagged=True, reviewed=None if everything else False)
    )
    if not found:
        raise Stop("nothing to look at", Exit.NOTHING, {"items": []})

    def say() -> None:
        for one in found:
            echo(_doubt_line(bench, one))

    bench.show({"items": [one.raw for one in found]}, say)


def _doubt_line(bench: Bench, one: ResponseSample) -> str:
    from ._layout import local

    job = bench.client.jobs.get(one.job_id)
    used = "used" if one.used else "not used"
    seen = f"\n  looked at: {one.review_note or 'no note'}" if one.reviewed_at else ""
    return (
        f"{one.id[-SHORT:]}  job {job.number}, {local(one.at)}: {one.moved}, {one.before} → {one.after}\n"
        f"  {one.doubt} ({used}){seen}"
    )


@click.command("doubt")
@click.argument("which")
@click.option("--leave-out", is_flag=True, help="Learn nothing from it.")
@click.option("--note", "-n", help="What it was: a reversed rod, a reading of another instrument …")
@at_bench
def doubt(bench: Bench, which: str, *, leave_out: bool, note: str | None) -> None:
    """Say that you have looked at one of the doubts; WHICH is the end of its id.

    \b
    shimstock doubt 4f2a91c3 --note "the rod is reversed, noted on the instrument"
    shimstock doubt 4f2a91c3 --leave-out --note "typed on the wrong job"
    """
    if not note:
        raise Stop("--note is missing: say what it was", Exit.USAGE)
    found = [
        one
        for one in bench.client.adjustment_responses.samples(flagged=True)
        if one.id.endswith(which.lower())
    ]
    if len(found) != 1:
        raise Stop(
            f"{which!r} is {'more than one doubt' if found else 'no doubt'}: shimstock doubts", Exit.USAGE
        )
    kept: Any = bench.client.adjustment_responses.review(found[0], leave_out=leave_out, note=note)
    told = "Noted. It is used." if kept.used else "Noted. Nothing is learned from it."
    bench.show(kept.raw, lambda: echo(told))
