"""The list of checks that the service shows is true: each test is there, and each calculation has one."""

from __future__ import annotations

import json

import pytest

from shimstock_server.calculations.registry import CALCULATIONS
from tests.server.calculations import pins


def test_the_checks_that_are_shown_are_those_of_the_tests() -> None:
    kept = json.loads(pins.KEPT.read_text(encoding="utf-8"))
    assert kept == pins.collect(), "run: python -m tests.server.calculations.pins"


def test_every_calculation_is_pinned_and_no_other() -> None:
    assert set(pins.collect()) == {calculation.name for calculation in CALCULATIONS}


def test_a_pin_belongs_to_the_test_that_it_stands_at() -> None:
    source = (
        "# pins pitch: above\n@decorated\ndef test_one() -> None:\n    pass\n\n\n"
        "def test_two() -> None:\n    # pins cents: inside\n    pass\n"
    )
    assert list(pins.pins_of(source)) == [("pitch", "above", "test_one"), ("cents", "inside", "test_two")]


def test_a_pin_without_a_test_is_an_error() -> None:
    with pytest.raises(LookupError, match="line 1"):
        list(pins.pins_of("# pins pitch: nothing\n\nNUMBER = 1\n"))
