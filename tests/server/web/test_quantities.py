"""Quantities: every unit of the contract, against the published definitions."""

from __future__ import annotations

import math
from typing import Any

import pytest
from flask import Flask, g
from hypothesis import given
from hypothesis import strategies as st
from marshmallow import ValidationError

from shimstock_server.web.quantities import KINDS, Quantity, QuantityIn, QuantityOut, TypedOut, to_unit, write
from shimstock_server.web.units import Unit, convert, decimals

SAME_DIMENSION = [(a, b) for kind in KINDS.values() for a in kind.accepted for b in kind.accepted if a < b]


@pytest.mark.parametrize(
    ("value", "start", "to", "expected"),
    [
        # NIST Special Publication 811 (2008), appendix B.8: 1 in = 25.4 mm, 1 mil = 0.0254 mm, both exact.
        (1, Unit.INCH, Unit.MM, 25.4),
        (1, Unit.THOU, Unit.MM, 0.0254),
        (6, Unit.SIXTYFOURTH, Unit.MM, 2.38125),
        (25.5, Unit.INCH, Unit.MM, 647.7),
        # ... 1 lbf = 4.448 222 N (4.448 221 615 260 5 N, the exact product of lb and standard gravity).
        (1, Unit.POUND_FORCE, Unit.NEWTON, 4.4482216152605),
        # ... t/°C = (t/°F - 32)/1.8.
        (32, Unit.FAHRENHEIT, Unit.CELSIUS, 0.0),
        (212, Unit.FAHRENHEIT, Unit.CELSIUS, 100.0),
        (-40, Unit.FAHRENHEIT, Unit.CELSIUS, -40.0),
        # SI prefixes (SI Brochure, 9th edition, table 7) and units accepted for use with the SI (table 8).
        (1, Unit.GIGAPASCAL, Unit.MEGAPASCAL, 1000.0),
        (1, Unit.MEGAPASCAL, Unit.PASCAL, 1e6),
        (1.2, Unit.KILOGRAM_PER_CUBIC_METRE, Unit.GRAM_PER_CUBIC_METRE, 1200.0),
        (1, Unit.DAY, Unit.MINUTE, 1440.0),
        (1, Unit.HOUR, Unit.MINUTE, 60.0),
    ],
)
def test_published_factors(value: float, start: Unit, to: Unit, expected: float) -> None:
    assert convert(value, start, to) == expected


@pytest.mark.parametrize(("start", "to"), sorted(set(SAME_DIMENSION)))
@given(value=st.floats(-1e6, 1e6))
def test_there_and_back(start: Unit, to: Unit, value: float) -> None:
    assert math.isclose(convert(convert(value, start, to), to, start), value, rel_tol=1e-12, abs_tol=1e-9)


def test_every_unit_belongs_to_a_kind_and_every_kind_takes_what_it_tells() -> None:
    assert {unit for kind in KINDS.values() for unit in kind.accepted} == set(Unit)
    for kind in KINDS.values():
        assert {kind.unit, kind.metric, kind.inch} <= set(kind.accepted)


@pytest.mark.parametrize(
    ("kind", "unit", "message"),
    [
        ("relief", "cents", "relief is a length: use mm, in, thou or in/64, not cents"),
        ("relief", "turn", "relief is a length: use mm, in, thou or in/64, not turn"),
        ("intonation", "percent", "intonation is a difference of pitch: use cents, not percent"),
        ("turns", "percent", "turns is a number of turns: use turn, not percent"),
        ("temperature", "Pa", "temperature is a temperature: use degC or degF, not Pa"),
        ("linear-density", "kg/m3", "linear density is a mass per length: use g/m, not kg/m3"),
        ("pitch", "cents", "pitch is a frequency: use Hz, not cents"),
        ("relief", "9**9**9", "must be one of mm, in, thou, in/64"),
        ("relief", 5, "must be one of mm, in, thou, in/64"),
    ],
)
def test_a_wrong_dimension_says_what_fits(kind: str, unit: Any, message: str) -> None:
    with pytest.raises(ValidationError) as refused:
        QuantityIn(kind).deserialize({"value": 1, "unit": unit})
    assert refused.value.messages == {"unit": [message]}


@pytest.mark.parametrize(
    ("given", "messages"),
    [
        (1.7, ['must be an object such as {"value": 1.7, "unit": "mm"}']),
        ({}, {"value": ["is required"], "unit": ["is required: use mm, in, thou or in/64"]}),
        ({"value": "1", "unit": "mm"}, {"value": ["must be a number"]}),
        ({"value": 1e12, "unit": "mm"}, {"value": ["must be from -1e+09 to 1e+09"]}),
        ({"value": 1, "unit": "mm", "confirmed": True}, {"confirmed": ["is not a field here"]}),
        ({"value": 7, "unit": "mm"}, {"value": ["must be from -2 mm to 5 mm"]}),
        ({"value": 300, "unit": "thou"}, {"value": ["must be from -78.7402 thou to 196.85 thou"]}),
    ],
)
def test_a_bad_quantity_says_what_is_wrong(given: Any, messages: Any) -> None:
    with pytest.raises(ValidationError) as refused:
        QuantityIn("relief", min=-2, max=5).deserialize(given)
    assert refused.value.messages == messages


def test_what_was_typed_is_kept() -> None:
    read = QuantityIn("action").deserialize({"value": 6, "unit": "in/64"})
    assert read == Quantity(value=2.38125, typed_value=6.0, typed_unit=Unit.SIXTYFOURTH)


def test_a_bound_may_be_reached_in_any_unit() -> None:
    assert QuantityIn("relief", max=2.54).deserialize({"value": 100, "unit": "thou"}).value == 2.54


@pytest.mark.parametrize(
    ("kind", "value", "metric", "inch"),
    [
        ("relief", 0.2, (0.2, "mm"), (7.9, "thou")),
        ("action", 1.7, (1.7, "mm"), (4.28, "in/64")),
        ("nut-action", 0.45, (0.45, "mm"), (17.7, "thou")),
        ("scale-length", 647.7, (647.7, "mm"), (25.5, "in")),
        ("radius", 241.3, (241.3, "mm"), (9.5, "in")),
        ("gauge", 0.2286, (0.229, "mm"), (9.0, "thou")),
        ("tension", 365.0, (365.0, "N"), (82.06, "lbf")),
        ("temperature", 20.0, (20.0, "degC"), (68.0, "degF")),
        ("intonation", -0.001, (0.0, "cents"), (0.0, "cents")),
        ("modulus", 200_000.0, (200.0, "GPa"), (200.0, "GPa")),
    ],
)
def test_values_are_told_in_the_readers_units(
    kind: str, value: float, metric: tuple[float, str], inch: tuple[float, str]
) -> None:
    assert to_unit(kind, value) == {"value": metric[0], "unit": metric[1]}
    assert to_unit(kind, value, "inch") == {"value": inch[0], "unit": inch[1]}
    assert math.copysign(1, to_unit(kind, value)["value"]) == 1.0 or value <= -0.01


@pytest.mark.parametrize("kind", sorted(KINDS))
@pytest.mark.parametrize("units", ["mm", "inch"])
def test_a_rounded_answer_is_finer_than_any_tool(kind: str, units: str) -> None:
    told = KINDS[kind].out(units)
    step = 10.0 ** -decimals(told)
    lengths = KINDS[kind].unit is Unit.MM
    # The finest tool of a bench, a dial indicator, shows 0.01 mm: common practice, no published source.
    assert not lengths or convert(step, told, Unit.MM) <= 0.01


def test_out_fields(app_context: Flask) -> None:
    row = {"quantity": "action", "value": 1.5875, "typed_value": 4.0, "typed_unit": "in/64", "nothing": None}
    g.units = "inch"
    assert QuantityOut(kind_from="quantity").serialize("value", row) == {"value": 4.0, "unit": "in/64"}
    assert QuantityOut("relief").serialize("nothing", row) is None
    assert TypedOut().serialize("typed", row) == {"value": 4.0, "unit": "in/64"}
    assert TypedOut("nothing", "typed_unit").serialize("typed", row) is None


@pytest.fixture
def app_context() -> Any:
    """A bare context: these fields need to know the units alone."""
    app = Flask("quantities")
    with app.app_context():
        yield app


@pytest.mark.parametrize(
    ("kind", "value", "units", "written"),
    [
        ("relief", 0.2, "mm", "0.20 mm"),
        ("relief", 0.35, "inch", "13.8 thou"),
        ("relief", -0.001, "mm", "0.00 mm"),
        ("action", 2.18281, "inch", "5.5/64 in"),
        ("action", 3.175, "inch", "8/64 in"),
        ("scale-length", 647.7, "mm", "647.7 mm"),
        ("scale-length", 647.7, "inch", "25.5 in"),
        ("gauge", 0.2286, "inch", "9 thou"),
        ("turns", 0.25, "mm", "1/4 turn"),
        ("turns", -1.125, "mm", "-1 1/8 turns"),
        ("turns", 1.0, "mm", "1 turn"),
        ("turns", 2.0, "mm", "2 turns"),
        ("turns", 0.166, "mm", "0.17 turn"),
        ("turns", 0.0, "mm", "0.00 turn"),
        ("intonation", 5.5, "mm", "5.5 cents"),
        ("relative-humidity", 47.4, "mm", "47 %"),
        ("temperature", 21.1, "inch", "70 °F"),
        ("tension", 365.2, "mm", "365 N"),
        ("period", 1.0, "mm", "1 day"),
        ("period", 3.0, "mm", "3 days"),
        ("pitch", 329.628, "mm", "329.63 Hz"),
    ],
)
def test_sentences(kind: str, value: float, units: str, written: str) -> None:
    assert write(kind, value, units) == written
