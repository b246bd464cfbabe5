"""Every word of the tables is a word of the plan, and the other way round."""

from __future__ import annotations

from typing import Any, get_args

import pytest

from shimstock_calc.plan import model as plan
from shimstock_server.catalogue.resolving import SOURCES
from shimstock_server.database import words
from shimstock_server.web.quantities import KINDS


@pytest.mark.parametrize(
    ("ours", "plans"),
    [
        (words.Kind, plan.Kind),
        (words.Side, plan.Side),
        (words.Quantity, plan.Quantity),
        (words.BridgeKind, plan.BridgeKind),
        (words.RodKind, plan.RodKind),
        (words.Part, plan.Part),
        (words.BuiltFor, plan.Instrument.__dataclass_fields__["built_for"].type),
    ],
    ids=lambda each: getattr(each, "__name__", ""),
)
def test_the_plan_knows_the_same_words(ours: Any, plans: Any) -> None:
    known = get_args(plans) if not isinstance(plans, str) else get_args(eval(plans, vars(plan)))
    assert {word.value for word in ours} == set(known)


def test_every_scope_of_a_spec_has_a_source_in_words() -> None:
    assert set(SOURCES) == set(words.SpecScope)
    assert SOURCES[words.SpecScope.SHOP] == plan.SpecItem("relief", 0.2).source


def test_every_quantity_of_a_spec_has_units() -> None:
    assert {str(quantity) for quantity in words.Quantity} <= set(KINDS)
