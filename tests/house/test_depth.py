"""The depths of the tests: the usual run repeats its examples, the deep one tries more and others."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from tests.depth import DEEP, amount


def drawn(profile: str) -> list[int]:
    """Return the examples of a property test under this profile."""
    numbers = []

    @settings(settings.get_profile(profile))
    @given(st.integers())
    def keep(number: int) -> None:
        numbers.append(number)

    keep()
    return numbers


def test_the_usual_run_repeats_its_examples() -> None:
    assert settings.default.derandomize is not DEEP
    assert drawn("usual") == drawn("usual")


def test_the_deep_run_tries_more() -> None:
    assert settings.default.max_examples == amount(100, deep=1000)
    assert len(drawn("deep")) > len(drawn("usual"))
