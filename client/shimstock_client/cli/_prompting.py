"""Readings typed one by one: the plan's readings asked for in turn, anything else taken as it comes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from ._correcting import corrects, put_in_place
from ._lines import HELP, take_line
from ._measures import NotUnderstood, Units
from ._speaking import ask_line, ask_yes, echo
from ._typed import describe, expected_of
from ._unsent import UnsentSheet

if TYPE_CHECKING:
    from .. import ReadingWanted

Ending = Literal["send", "keep", "throw away"]
_MORE = {"supersedes_reason": "instead of an earlier sheet"}
_SHOWN_UNITS = {"in/64": "64ths of an inch"}


def ask_readings(sheet: UnsentSheet, asked: Sequence[ReadingWanted], units: Units) -> Ending:
    """Ask for readings until the technician says how to end; the sheet is kept after every line.

    Parameters
    ----------
    sheet : UnsentSheet
        Filled in [-].
    asked : sequence of ReadingWanted
        What the plan wants read, in its order [-].
    units : "mm" or "inch"
        Of bare numbers [-].

    Returns
    -------
    "send", "keep" or "throw away"
        What shall happen to the sheet [-].
    """
    echo("One reading a line; ? for help, send at the end. What you type is kept as you go.")
    waiting = list(asked)
    while True:
        wanted = waiting[0] if waiting else None
        line = ask_line(_question(wanted, units), " > ")
        if line.lower() in {"send", "keep", "throw away"}:
            ending: Ending = line.lower()  # type: ignore[assignment]
            if ending != "send" or _complete(sheet):
                return ending
            continue
        if not line:
            if wanted is None and not sheet.is_empty and ask_yes("Send the sheet now?"):
                return "send"
            del waiting[:1]
            continue
        if _told(sheet, line):
            continue
        count = len(sheet.readings)
        try:
            echo(f"   {take_line(sheet, line, units, wanted)}")
            if corrects(sheet) and len(sheet.readings) > count:
                put_in_place(sheet)
        except NotUnderstood as error:
            echo(f"   not taken: {error}")
            continue
        sheet.touch()
        if len(sheet.readings) > count:
            _tick_off(waiting, sheet.readings[-1])


def _question(wanted: ReadingWanted | None, units: Units) -> str:
    if wanted is None:
        return "reading"
    from ._plan_layout import where

    expected = expected_of(wanted.quantity, units)
    unit = _SHOWN_UNITS.get(expected.unit, expected.unit)
    again = {"stale": "again: something changed since", "not usable": "again: the last one cannot be used"}
    why = f", {again.get(wanted.why, wanted.why)}" if wanted.why and wanted.why != "missing" else ""
    why += ", with the finest tool" if wanted.finest else ""
    return f"{where(wanted, frets=True)}{why} [{unit}]"


def _told(sheet: UnsentSheet, line: str) -> bool:
    if line in {"?", "help"}:
        echo(HELP)
        return True
    if line.lower() == "list":
        list_sheet(sheet)
        return True
    return False


def list_sheet(sheet: UnsentSheet) -> None:
    """Print what stands on a sheet, numbered."""
    if sheet.is_empty:
        echo("   nothing yet")
    for number, reading in enumerate(sheet.readings, 1):
        echo(f"{number:4}  {describe(reading)}")
    for finding in sheet.findings:
        echo("      found: " + ", ".join(str(value) for value in finding.values()))
    for name, value in sheet.more.items():
        if name in {"looked_over", "acclimatised"}:
            echo(f"      {'' if value else 'not '}{name.replace('_', ' ')}")
        elif name in {"note", "position", "supersedes_reason"}:
            echo(f"      {_MORE.get(name, name)}: {value}")


def _complete(sheet: UnsentSheet) -> bool:
    if sheet.is_empty:
        echo("   nothing to send yet")
        return False
    return True


def _tick_off(waiting: list[ReadingWanted], reading: dict[str, object]) -> None:
    def answers(wanted: ReadingWanted) -> bool:
        return all(
            reading.get(name) == getattr(wanted, name) for name in ("quantity", "side", "string")
        ) and (wanted.fret is None or reading.get("fret") in (None, wanted.fret))

    found = next((wanted for wanted in waiting if answers(wanted)), None)
    if found is not None:
        waiting.remove(found)
