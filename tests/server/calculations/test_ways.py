"""Which way a calculation is asked: the fields that are left out decide, and a misfit names them."""

from __future__ import annotations

from typing import Any

import pytest

from shimstock_server.calculations.answering import _refuse_absurd
from shimstock_server.calculations.entry import Way
from shimstock_server.web.problems import CannotCalculate
from tests.server.calculations.conftest import Ask, mm, quantity

HZ = quantity(196.0, "Hz")


def errors(problem: dict[str, Any]) -> dict[str, str]:
    """Return the messages of a problem by pointer."""
    return {each["pointer"]: each["message"] for each in problem["errors"]}


def test_all_of_them_leave_nothing_to_calculate(refuse: Ask) -> None:
    told = errors(refuse("cents", frequency=HZ, reference_frequency=HZ, cents=quantity(0, "cents")))
    assert set(told) == {"/frequency", "/reference_frequency", "/cents"}
    assert told["/cents"] == "leave it out to calculate cents"


def test_too_few_are_named(refuse: Ask) -> None:
    told = errors(refuse("string-tension", note="G3", scale_length=mm(650)))
    assert set(told) == {"/tension", "/linear_density"}
    assert "is needed, or give gauge instead, to calculate tension" in told["/linear_density"]
    assert "to calculate linear density" in told["/tension"]


def test_two_ways_of_saying_the_same_are_one_too_many(refuse: Ask) -> None:
    told = errors(refuse("string-tension", note="G3", frequency=HZ, scale_length=mm(650), gauge=mm(0.43)))
    assert told == {"/note": "leave it out beside frequency to calculate tension"}


def test_a_field_of_another_direction_is_refused(refuse: Ask) -> None:
    told = errors(
        refuse(
            "saddle-position",
            scale_length=mm(650),
            intonation=quantity(3, "cents"),
            turns=quantity(1, "turn"),
        )
    )
    assert set(told) <= {"/turns", "/thread_pitch"}
    assert told


@pytest.mark.parametrize(
    ("body", "pointer"),
    [
        ({"note": "H2"}, "/note"),
        ({"note": "G9", "frequency": quantity(9, "Hz")}, "/frequency"),
        ({"frequency": quantity(12990, "Hz"), "reference_pitch": quantity(380, "Hz")}, "/frequency"),
    ],
)
def test_what_cannot_be_calculated_points_at_its_field(
    refuse: Ask, body: dict[str, Any], pointer: str
) -> None:
    problem = refuse("pitch", **body)
    assert pointer in errors(problem)


def test_a_message_speaks_of_the_field_that_was_given(refuse: Ask) -> None:
    # the pull of a string that would break is blamed on its note when a note was given
    problem = refuse("string-tension", note="E5", gauge=mm(0.2286), scale_length=mm(647.7))
    assert problem["reason"] == "string-breaking"
    assert set(errors(problem)) == {"/note"}
    frequency = quantity(659.26, "Hz")
    problem = refuse("string-tension", frequency=frequency, gauge=mm(0.2286), scale_length=mm(647.7))
    assert set(errors(problem)) == {"/frequency"}


def test_what_leads_to_no_sensible_number_is_refused() -> None:
    # numbers that no calculation of today answers with; the net below all of them
    way = Way("length", ("tension", "gauge"), lambda given: given)
    given = {"tension": 1.0, "gauge": 1.0, "partials": 8}
    for absurd in (float("nan"), float("inf"), -2e9):
        with pytest.raises(CannotCalculate) as caught:
            _refuse_absurd(way, given, {"strings": [{"tension": absurd}]})
        assert [each["pointer"] for each in caught.value.errors or []] == ["/tension", "/gauge"]
    _refuse_absurd(way, given, {"strings": [{"tension": 1.0}], "note": ["text"], "count": 3})


@pytest.mark.parametrize(
    ("name", "body", "pointer"),
    [
        (
            "fret-positions",
            {
                "scale_bass": mm(686),
                "scale_treble": mm(648),
                "strings": 6,
                "perpendicular_fret": 7,
                "frets": 24,
                "rule": "rule-of-eighteen",
            },
            "/rule",
        ),
        (
            "string-tension",
            {"note": "E4", "gauge": mm(0.3), "scale_length": mm(650), "core": mm(0.2)},
            "/core",
        ),
        (
            "string-inharmonicity",
            {"gauge": mm(0.3), "tension": quantity(70, "N"), "scale_length": mm(650), "partials": 4},
            "/frequency",
        ),
        (
            "restring-forecast",
            {"relief_change": mm(0.1), "compliance_sd": quantity(1e-3, "mm/N")},
            "/compliance",
        ),
        (
            "saddle-position",
            {
                "scale_length": mm(650),
                "readings": [{"fret": 12, "intonation": quantity(3, "cents")}],
                "fret": 5,
            },
            "/fret",
        ),
        ("conformity", {"quantity": "relief", "lower": mm(0.1), "upper": mm(0.3), "repeats": 3}, "/repeats"),
    ],
)
def test_a_field_that_would_change_nothing_is_refused(
    refuse: Ask, name: str, body: dict[str, Any], pointer: str
) -> None:
    assert pointer in errors(refuse(name, **body))
