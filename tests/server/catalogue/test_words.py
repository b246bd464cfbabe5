"""Every word of the tables is a word of the plan, and the other way round."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, get_args, get_type_hints

import pytest

from shimstock_calc.plan import model as plan
from shimstock_server.catalogue.resolving import SOURCES
from shimstock_server.catalogue.strings import STRING_MATERIALS
from shimstock_server.database import words
from shimstock_server.web.quantities import KINDS


def words_of(record: type[Any], field: str) -> Any:
    """The words that a field of the plan's records takes."""
    return get_type_hints(record)[field]


@pytest.mark.parametrize(
    ("ours", "plans"),
    [
        (words.Kind, plan.Kind),
        (words.Side, plan.Side),
        (words.Quantity, plan.Quantity),
        (words.BridgeKind, plan.BridgeKind),
        (words.RodKind, plan.RodKind),
        (words.Part, plan.Part),
        (words.BuiltFor, words_of(plan.Instrument, "built_for")),
        (words.FindingCode, words_of(plan.Finding, "code")),
        (words.Position, words_of(plan.Reading, "position")),
    ],
    ids=["kind", "side", "quantity", "bridge", "rod", "part", "built for", "finding", "position"],
)
def test_the_plan_knows_the_same_words(ours: type[StrEnum], plans: Any) -> None:
    assert {word.value for word in ours} == set(get_args(plans))


@pytest.mark.parametrize(
    ("sent", "record", "field"),
    [
        (STRING_MATERIALS, plan.InstrumentString, "material"),
        (("tail", "nut"), plan.Bridge, "intonation_screw_head"),
        (("bolt-on", "set", "through"), plan.NeckJoint, "kind"),
    ],
)
def test_what_a_request_may_say_is_what_the_plan_takes(sent: Any, record: type[Any], field: str) -> None:
    assert set(sent) == set(get_args(words_of(record, field)))


def test_every_scope_of_a_spec_has_a_source_in_words() -> None:
    assert set(SOURCES) == set(words.SpecScope)
    assert SOURCES[words.SpecScope.SHOP] == plan.SpecItem("relief", 0.2).source


def test_every_quantity_of_a_spec_has_units() -> None:
    assert {str(quantity) for quantity in words.Quantity} <= set(KINDS)
