"""Sentences beside an answer: what lies beyond the range that a formula was made for."""

from __future__ import annotations

from shimstock_server.web.context import current
from shimstock_server.web.quantities import write


def say(kind: str, value: float) -> str:
    """Return a quantity as it stands in a sentence, in the reader's units."""
    return write(kind, value, current.units)


def beyond(name: str, kind: str, value: float | None, *, low: float, high: float, why: str) -> list[str]:
    """Return a sentence when a value lies outside a range, and nothing otherwise.

    Parameters
    ----------
    name : str
        The quantity in words.
    kind : str
        Its kind, of `KINDS`.
    value : float or None
        In the unit that is kept.
    low, high : float
        The range.
    why : str
        What the range is.
    """
    if value is None or low <= value <= high:
        return []
    return [f"{name} {say(kind, value)} lies outside {say(kind, low)} to {say(kind, high)}, {why}."]


def scale_note(scale_length: float | None) -> list[str]:
    """Return a sentence when a scale length is none of a usual fretted instrument."""
    return beyond(
        "A scale length of", "scale-length", scale_length, low=300.0, high=920.0,
        why="the range of usual fretted instruments",
    )  # fmt: skip
