"""The way of a sheet to the service: kept until it is taken, and what is said when it is not."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from ._bench import Bench
from ._exits import Exit, Stop
from ._last_job import forget_plan
from ._typed import describe
from ._unsent import CLOCK_AHEAD, UnsentSheet, restating

if TYPE_CHECKING:
    from .. import InvalidFields, Job, ReadingSheet


def short(sheet: UnsentSheet) -> str:
    """Return the end of a sheet's id: short to type, and different for each."""
    return sheet.id[-6:]


def stage_of(bench: Bench, job: Job) -> str:
    """Return the stage that a sheet taken now belongs to."""
    if job.state == "final-check":
        return "final"
    if any(sheet.readings for sheet in bench.client.reading_sheets.list(job)):
        return "in-progress"
    return "recheck" if job.follows_id else "as-received"


def send_sheet(bench: Bench, sheet: UnsentSheet, *, fresh: bool = False) -> ReadingSheet:
    """Send a sheet; until the service has taken it, it stays kept.

    Raises
    ------
    Stop
        When it was not taken; the message says why, and that it is kept.
    """
    from .. import InvalidFields, NotReachable, ShimstockError

    sheet.keep()
    try:
        if sheet.stage is None:
            sheet.stage = stage_of(bench, bench.named_job(sheet.job_id))
        body = with_tools(bench, sheet)
        sent = bench.client.reading_sheets.send(sheet.job_id, body)
    except NotReachable as error:
        raise Stop(f"{error.detail}\n{_kept(sheet)}", Exit.NOT_REACHABLE) from error
    except InvalidFields as error:
        if error.code == CLOCK_AHEAD:
            raise Stop(f"{explain(error, sheet)}\n{restating(sheet)}", Exit.REFUSED) from error
        if fresh and not sheet.findings and len(_wrong(error)) == len(sheet.readings):
            sheet.remove()  # nothing of it was right, and it has just been typed: there is nothing to keep
            raise Stop(f"{explain(error, sheet)}\ntype it again", Exit.REFUSED) from error
        raise Stop(f"{explain(error, sheet)}\n{_kept_to_mend(error, sheet)}", Exit.REFUSED) from error
    except ShimstockError as error:
        from ._app import exit_of

        raise Stop(f"{error}\n{_kept(sheet)}", exit_of(error)) from error
    sheet.remove()
    forget_plan()
    return sent


def _kept(sheet: UnsentSheet) -> str:
    return f"kept as sheet {short(sheet)}; send it again with: shimstock send {short(sheet)}"


def _wrong(error: InvalidFields) -> list[int]:
    """Return the numbers of the readings that were refused, from 1."""
    places = (re.match(r"/readings/(\d+)", one.pointer) for one in error.errors)
    return sorted({int(place[1]) + 1 for place in places if place})


def _kept_to_mend(error: InvalidFields, sheet: UnsentSheet) -> str:
    """Sent again as it stands it would be refused again: say how it is put right."""
    wrong = _wrong(error)
    drop = "".join(f" --drop {number}" for number in wrong[:4])
    name = short(sheet)
    return (
        f"kept as sheet {name}; put it right: shimstock read --resume {name}{drop} and the right readings "
        f"(or shimstock send {name} --throw-away)"
    )


def with_tools(bench: Bench, sheet: UnsentSheet) -> dict[str, Any]:
    """Return a sheet as it travels, tools by id.

    Raises
    ------
    Stop
        When a tool's name is not known.
    """
    body = sheet.body()
    named = any("tool" in reading for reading in sheet.readings)
    if not (sheet.tools or named):
        return body
    from ._signing import find_tool

    known = [tool for tool in bench.client.tools.list(limit=500) if tool.active]
    read = {str(reading["quantity"]) for reading in sheet.readings}
    usual = [find_tool(known, name, read) for name in reversed(sheet.tools)]
    readings = []
    for reading in sheet.readings:
        plain = {name: value for name, value in reading.items() if name != "tool"}
        if "tool" in reading:
            plain["tool_id"] = find_tool(known, reading["tool"], {reading["quantity"]}).id
        elif "tool_id" not in reading:
            fitting = next((tool for tool in usual if reading["quantity"] in tool.quantities), None)
            if fitting is not None:
                plain["tool_id"] = fitting.id
        readings.append(plain)
    return {**body, "readings": readings}


def explain(error: InvalidFields, sheet: UnsentSheet) -> str:
    """Say which readings cannot be taken, by what was typed instead of by pointers."""
    bad = {one.pointer.split("/")[2] for one in error.errors if one.pointer.startswith("/readings/")}
    lines = [
        f"{len(bad)} of {len(sheet.readings)} readings cannot be taken; nothing was stored."
        if bad
        else "the sheet cannot be taken as it stands; nothing was stored"
    ]
    for one in error.errors:
        place = re.match(r"/readings/(\d+)", one.pointer)
        number = int(place[1]) if place else len(sheet.readings)
        if number < len(sheet.readings):
            lines.append(f"  {number + 1}  {describe(sheet.readings[number])}\n     {one.message}")
        else:
            lines.append(f"  {one.pointer.strip('/').replace('_', ' ')}: {one.message}")
    if any("or confirm " in one.message for one in error.errors):
        lines.append("(the word sure behind a reading confirms it: action bass 7 sure)")
    if error.request_id:
        lines.append(f"({error.code}, request {error.request_id})")
    return "\n".join(lines)
