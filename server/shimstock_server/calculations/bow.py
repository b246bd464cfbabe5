"""The bow of a neck beside other questions: where it stands over its frets."""

from __future__ import annotations

from typing import Any

import numpy as np

from shimstock_calc import neck, scale
from shimstock_calc.errors import Contradiction, Missing
from shimstock_server.web.fields import Number

from .entry import Given
from .fields import Question, asked
from .neck import fret_field, held_field

_TOGETHER = ("body_joint_fret", "held", "fret")


class BowFields(Question):
    """Relief, with what it takes to know the neck's shape; without it the neck is straight."""

    relief = asked("relief", -2.0, 4.0, "Relief; a straight neck when left out")
    body_joint_fret = Number(8, 24, metadata={"description": "Fret at the body joint, beside relief."})
    held = held_field("Frets at which the string is held to read relief")
    fret = fret_field("Fret at which relief is read")


def curvature(given: Given, scale_length: float) -> float:
    """Return the curvature of the neck of a question [1/mm].

    Raises
    ------
    Missing
        When relief is given without what it takes to use it.
    Contradiction
        When the hold frets do not rise.
    """
    if "relief" not in given:
        return 0.0
    for name in _TOGETHER:
        if name not in given:
            raise Missing(f"{name.replace('_', ' ')} is needed beside relief", name)
    low, high = given["held"]
    if low >= high:
        raise Contradiction("the lower hold fret comes first", "held")
    return float(
        neck.curvature_from_relief(
            given["relief"], scale_length, given["body_joint_fret"], (low, high), given["fret"]
        )
    )


def board(given: Given, scale_length: float, frets: int) -> tuple[Any, Any, float]:
    """Return places and heights of the frets, and the height of the fret plane's end at the nut [mm]."""
    places = np.asarray(scale.fret_position(np.arange(1, frets + 1), scale_length))
    bent = curvature(given, scale_length)
    if bent == 0.0:
        return places, np.zeros(frets), 0.0
    joint = scale.fret_position(given["body_joint_fret"], scale_length)
    heights = np.asarray(neck.neck_height(places, bent, joint))
    return places, heights, float(neck.neck_height(0.0, bent, joint))


BLAME = {"hold_frets": "held", "reading_fret": "fret", "curvature": "relief"}
"""Parameters that the neck's shape blames, to the fields of a question."""
