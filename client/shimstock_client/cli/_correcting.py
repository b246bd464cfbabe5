"""Sheets that were sent: the command that lists a job's, and the correction of one that was wrong."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from .._wire import to_wire
from ._bench import Bench, at_bench, on_job_or_number
from ._exits import Exit, Stop
from ._speaking import echo
from ._typed import describe
from ._unsent import UnsentSheet

if TYPE_CHECKING:
    from .. import Job, Reading, ReadingSheet

_PLACE = ("quantity", "side", "string", "pickup")
_AS_TYPED = (
    *_PLACE, "fret", "held", "capo", "method", "zero_or_less", "tool_id", "confirmed", "accepted", "note",
)  # fmt: skip
_CONDITIONS = ("position", "acclimatised", "looked_over", "note")


@click.command("sheets")
@on_job_or_number
@at_bench
def sheets(bench: Bench, number: str | None) -> None:
    """List the readings that were taken on a job, sheet by sheet.

    \b
    shimstock sheets
    shimstock read --instead-of last "relief 0.34" --because "mistyped"
    """
    found = list(bench.client.reading_sheets.list(bench.job(number)))
    if not found:
        raise Stop("nothing was read on this job yet", Exit.NOTHING, {"items": []})

    def say() -> None:
        for sheet in found:
            _print_sheet(bench, sheet)

    bench.show({"items": [sheet.raw for sheet in found]}, say)


def _print_sheet(bench: Bench, sheet: ReadingSheet) -> None:
    from ._layout import local

    person = bench.technicians.get(sheet.technician_id or "")
    parts = [
        sheet.stage.replace("-", " "),
        local(sheet.taken_at),
        *([person.name] if person else []),
        *([] if sheet.at_pitch else ["off pitch"]),
        *([f"corrected by {sheet.superseded_by[-6:]}"] if sheet.superseded_by else []),
        *([f"instead of {sheet.supersedes[-6:]}: {sheet.supersedes_reason}"] if sheet.supersedes else []),
    ]
    echo(f"{sheet.id[-6:]}  {', '.join(parts)}")
    for number, reading in enumerate(sheet.readings, 1):
        echo(f"{number:4}  {describe(as_typed(reading))}")
    for finding in sheet.findings:
        echo("      found: " + ", ".join(str(value) for value in finding.values() if value is not None))


def as_typed(reading: Reading) -> dict[str, Any]:
    """Return a reading that was taken as it would travel again."""
    told = {name: getattr(reading, name) for name in _AS_TYPED}
    plain: dict[str, Any] = to_wire({name: value for name, value in told.items() if value not in (None, [])})
    plain = {name: value for name, value in plain.items() if value is not False}
    if reading.typed is not None:
        plain["value"] = reading.typed.wire()
    return plain


def begin_correction(bench: Bench, job: Job, sheet: UnsentSheet, wrong: str, because: str) -> None:
    """Fill a sheet with what the wrong one says; it counts from the time when that one was read.

    Raises
    ------
    Stop
        When no sheet of the job is meant, or it has been corrected already.
    """
    before = _wrong_sheet(bench, job, wrong)
    sheet.stage, sheet.at_pitch = before.stage, before.at_pitch
    sheet.readings = [as_typed(reading) for reading in before.readings]
    sheet.findings = [
        {name: value for name, value in finding.items() if value is not None} for finding in before.findings
    ]
    conditions = {name: getattr(before, name) for name in _CONDITIONS}
    if before.room is not None:
        air = before.room
        conditions["room"] = {"temperature": air.temperature, "relative_humidity": air.relative_humidity}
    said = {name: value for name, value in conditions.items() if value not in (None, "")}
    more = {"taken_at": before.taken_at, "supersedes": before.id, "supersedes_reason": because}
    sheet.more = to_wire({**said, **more})


def _wrong_sheet(bench: Bench, job: Job, wrong: str) -> ReadingSheet:
    taken = list(bench.client.reading_sheets.list(job))
    standing = [sheet for sheet in taken if sheet.superseded_by is None]
    if wrong == "last" and standing:
        return max(standing, key=lambda sheet: (sheet.received_at or sheet.taken_at, sheet.id))
    found = [sheet for sheet in taken if sheet.id.startswith(wrong) or sheet.id.endswith(wrong)]
    if len(found) != 1:
        raise Stop(
            f"--instead-of: {wrong!r} is no sheet of job {job.number}, or more than one; shimstock sheets "
            "lists them, and last means the newest",
            Exit.USAGE,
        )
    if found[0].superseded_by:
        raise Stop(
            f"--instead-of: that sheet is corrected already, by {found[0].superseded_by[-6:]}", Exit.CONFLICT
        )
    return found[0]


def corrects(sheet: UnsentSheet) -> bool:
    """Whether a sheet stands in for one that was sent."""
    return "supersedes" in sheet.more


def put_in_place(sheet: UnsentSheet) -> None:
    """Put a corrected sheet's last reading in the place of the one that it corrects; else it is added.

    Raises
    ------
    Stop
        When it could be one of several.
    """
    *readings, new = sheet.readings
    same = [one for one in readings if _same_place(one, new)]
    if len(same) > 1:
        raise Stop(f"{describe(new)}: which one? Say at which fret, or leave one out with --drop", Exit.USAGE)
    if not same:
        return
    (wrong,) = same
    if "tool" not in new and not sheet.tools and "tool_id" in wrong:
        new["tool_id"] = wrong["tool_id"]
    sheet.readings = [new if one is wrong else one for one in readings]


def _same_place(one: dict[str, Any], new: dict[str, Any]) -> bool:
    named = [name for name in ("fret", "held", "capo") if name in new]
    return all(one.get(name) == new.get(name) for name in (*_PLACE, *named))
