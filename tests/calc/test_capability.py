"""Capability against a spec, and the spec that final readings suggest."""

from __future__ import annotations

import math

import numpy as np
import pytest

from shimstock_calc.capability import capability, suggested_spec
from shimstock_calc.errors import Contradiction, Missing
from shimstock_calc.summary import Bins, Moments


def test_the_handbooks_example() -> None:
    # NIST/SEMATECH e-Handbook 6.1.6, limits 8 and 20, mean 16, s 2: Cpk 0.6667 (from memory)
    found = capability(Moments(50, 16.0, 49 * 4.0), 8.0, 20.0)
    assert found is not None
    assert found.index == pytest.approx(0.6667, abs=5e-5)


def test_the_interval_is_bissells() -> None:
    # A. F. Bissell, Applied Statistics 39, 331 (1990), Eq. for the normal approximation
    found = capability(Moments(50, 16.0, 49 * 4.0), 8.0, 20.0)
    assert found is not None
    half = 1.959964 * math.sqrt(1 / 450 + (2 / 3) ** 2 / 98)
    assert found.lower == pytest.approx(2 / 3 - half, abs=1e-6)
    assert found.upper == pytest.approx(2 / 3 + half, abs=1e-6)


def test_the_interval_holds_the_true_index_as_often_as_it_says() -> None:
    random = np.random.default_rng(20260302)
    true = 1.0  # limits at ± 3 standard deviations
    held = 0
    for _ in range(2000):
        found = capability(Moments.of(random.normal(0.0, 1.0, 100)), -3.0, 3.0)
        assert found is not None
        held += found.lower <= true <= found.upper
    assert held / 2000 == pytest.approx(0.95, abs=0.02)


@pytest.mark.parametrize(
    ("lower", "upper", "index"), [(None, 20.0, 2 / 3), (8.0, None, 4 / 3), (17.0, 20.0, -1 / 6)]
)
def test_the_nearer_limit_decides(lower: float | None, upper: float | None, index: float) -> None:
    found = capability(Moments(50, 16.0, 49 * 4.0), lower, upper)
    assert found is not None
    assert found.index == pytest.approx(index)


def test_nothing_is_told_of_readings_that_do_not_vary_or_limits_that_contradict() -> None:
    assert capability(Moments(1, 0.2, 0.0), 0.1, 0.3) is None
    assert capability(Moments(5, 0.2, 0.0), 0.1, 0.3) is None
    with pytest.raises(Missing):
        capability(Moments(5, 0.2, 1.0), None, None)
    with pytest.raises(Contradiction):
        capability(Moments(5, 0.2, 1.0), 0.3, 0.1)


def test_a_suggested_spec_is_median_and_the_middle_80_percent() -> None:
    readings = np.round(np.linspace(0.10, 0.30, 201), 3)
    found = suggested_spec(Bins.of(readings, 0.01))
    assert found is not None
    exact = np.quantile(readings, [0.1, 0.5, 0.9])
    assert (found.lower, found.target, found.upper) == pytest.approx(tuple(exact), abs=0.01)
    assert found.count == 201
    assert suggested_spec(Bins.of(readings[:9], 0.01)) is None
