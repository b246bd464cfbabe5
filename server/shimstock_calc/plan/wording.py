"""A plan as text, as a technician reads it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from ..vocabulary import QUANTITIES
from .goals import Spot
from .model import Change, Note, Plan, ReadingWanted, Step
from .reading_steps import listed, named, numbered
from .words import Measure, MeasureKind, Writer, write_measure

WIDTH = 100


def plan_text(plan: Plan, write: Writer = write_measure) -> str:
    """Write a plan as lines of text.

    Parameters
    ----------
    plan : Plan
        The plan.
    write : callable
        Writes a measure in the reader's units; mm, cents and eighths of a turn by default.

    Returns
    -------
    str
        Steps, then what must be said besides.
    """
    lines = [line for step in plan.steps for line in step_lines(step, write)]
    if plan.complete:
        surely = all(each.verdict == "in spec" or each.accepted for each in plan.verdicts)
        lines.append("Everything is in spec: nothing left to do." if surely else "Nothing is left to do.")
    for note in plan.notes:
        lines += note_lines(note, write)
    return "\n".join(lines)


def step_lines(step: Step, write: Writer = write_measure) -> list[str]:
    """Write one step."""
    head = f"{step.number}  {step.what.text(write)}"
    if step.do_now:
        head = f"{head:<{WIDTH - 8}}  do now"
    lines = [head]
    if any(block.code == "refused" for block in step.blocked_by):
        return [
            *lines,
            *(f"   {block.text.text(write)}" for block in step.blocked_by if block.code == "refused"),
        ]
    for changes in _by_quantity(step.changes):
        lines.append("   " + _from_to(changes, step, write))
    if step.forecasts:
        lines.append("   will also bring " + _to(step.forecasts, write))
    if step.total_forecasts:
        lines.append("   in all " + _to((*step.total, *step.total_forecasts), write))
    if step.why:
        sure = f"; {step.confidence.text(write)}" if step.confidence else ""
        lines.append(f"   why: {step.why.text(write)}{sure}")
    if step.blocked_by:
        lines.append("   " + "; ".join(block.text.text(write) for block in step.blocked_by))
    if step.cautions:
        lines.append("   care: " + "; ".join(caution.text for caution in step.cautions))
    if step.readings_next and step.kind not in {"measure", "read-again", "final-readings", "settle"}:
        lines.append("   then: tune, read " + _readings(step.readings_next))
    elif step.kind in {"measure", "read-again"}:
        lines.append("   " + readings_text(step.readings_next))
    return lines


def note_lines(note: Note, write: Writer = write_measure) -> list[str]:
    """Write one note with its alternatives."""
    return [f"-  {note.text.text(write)}", *(f"   · {line.text(write)}" for line in note.alternatives)]


def readings_text(wanted: Iterable[ReadingWanted]) -> str:
    """Say where readings are taken; those that differ only in side, string or pickup go together."""
    groups: dict[ReadingWanted, list[ReadingWanted]] = {}
    for reading in wanted:
        alike = replace(reading, side=None, string=None, pickup=None, expected_now=None)
        groups.setdefault(alike, []).append(reading)
    return "; ".join(_group_text(alike, group) for alike, group in groups.items())


def _group_text(reading: ReadingWanted, group: list[ReadingWanted]) -> str:
    words = QUANTITIES[reading.quantity].name
    strings = [each.string for each in group if each.string is not None]
    if strings:
        words += f" of string{'s' if len(strings) > 1 else ''} {numbered(strings)}"
    pickups = list(dict.fromkeys(each.pickup for each in group if each.pickup))
    if pickups:
        words += f" of {listed(pickups)}"
    found = list(dict.fromkeys(each.side for each in group if each.side))
    if found:
        words += f", {' and '.join(found)} side"
    if reading.fret is not None:
        words += f", at fret {reading.fret}"
    if reading.held:
        words += f", held at {listed([str(fret) for fret in reading.held])}"
    if reading.method:
        words += f", with a {reading.method}"
    return f"{words} ({reading.why})" if reading.why else words


def _kind(quantity: str) -> MeasureKind:
    return quantity  # type: ignore[return-value]


def _by_quantity(changes: Iterable[Change]) -> list[list[Change]]:
    groups: dict[tuple[str, str | None, bool], list[Change]] = {}
    for change in changes:
        groups.setdefault((change.quantity, change.pickup, change.string is None), []).append(change)
    return list(groups.values())


def _values(changes: Sequence[Change], values: Sequence[float], write: Writer) -> str:
    """Several values with one unit at the end: 2.03 / 1.73 mm."""
    texts = [
        write(Measure(_kind(change.quantity), value)) for change, value in zip(changes, values, strict=True)
    ]
    units = {text.rpartition(" ")[2] for text in texts if " " in text}
    if len(units) == 1 and all(" " in text for text in texts):
        return " / ".join(text.rpartition(" ")[0] for text in texts) + f" {units.pop()}"
    return " / ".join(texts)


def _from_to(changes: list[Change], step: Step, write: Writer) -> str:
    first = changes[0]
    name = QUANTITIES[first.quantity].name + (f" ({first.pickup})" if first.pickup else "")
    strings = [change.string for change in changes if change.string is not None]
    if strings:
        name += f" of string{'s' if len(strings) > 1 else ''} {numbered(strings)}"
    before = _values(changes, [change.before for change in changes], write)
    after = _values(changes, [change.after for change in changes], write)
    limits = _limits(changes, write)
    total = next((move.total_turns for move in step.moves if move.total_turns), None)
    if total is not None and step.total:
        limits += f"; {write(Measure('turns', total))} in all"
    return f"{name} {before} → about {after}" + (f" (spec {limits})" if limits else "")


def _limits(changes: list[Change], write: Writer) -> str:
    texts = []
    for change in changes:
        low, high = change.lower, change.upper
        low_text = write(Measure(_kind(change.quantity), low)) if low is not None else ""
        high_text = write(Measure(_kind(change.quantity), high)) if high is not None else ""
        if low_text and high_text:
            low_text = low_text.rpartition(" ")[0] or low_text
        texts.append(
            f"{low_text} … {high_text}".strip(" …")
            if not (low_text and high_text)
            else f"{low_text} … {high_text}"
        )
    return " / ".join(dict.fromkeys(text for text in texts if text))


def _to(changes: Iterable[Change], write: Writer) -> str:
    return listed([_to_values(group, write) for group in _by_quantity(changes)])


def _to_values(group: list[Change], write: Writer) -> str:
    name = QUANTITIES[group[0].quantity].name
    return f"{name} to {_values(group, [change.after for change in group], write)}"


def _readings(wanted: Iterable[ReadingWanted]) -> str:
    return named([Spot(each.quantity) for each in wanted]) + " again"
