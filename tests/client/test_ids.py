"""Ids made by a client."""

from __future__ import annotations

import time
from concurrent.futures import ThreadPoolExecutor
from uuid import RFC_4122, UUID

import pytest

from shimstock_client import uuid7
from shimstock_client._ids import assemble


def test_the_parts_lie_where_the_standard_puts_them() -> None:
    # RFC 9562, appendix A.6 "Example of a UUIDv7 Value"
    made = assemble(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F)
    assert made == UUID("017f22e2-79b0-7cc3-98c4-dc0c0c07398f")


def test_an_id_tells_its_version_variant_and_time() -> None:
    before = time.time_ns() // 1_000_000
    made = uuid7()
    after = time.time_ns() // 1_000_000
    assert (made.version, made.variant) == (7, RFC_4122)
    assert before <= made.int >> 80 <= after + 1


def test_ids_rise_even_when_the_clock_stands_still(monkeypatch: pytest.MonkeyPatch) -> None:
    now = time.time_ns()
    monkeypatch.setattr(time, "time_ns", lambda: now)
    made = [uuid7() for _ in range(5000)]
    assert made == sorted(made)
    assert len(set(made)) == 5000


def test_ids_rise_when_the_clock_goes_back(monkeypatch: pytest.MonkeyPatch) -> None:
    first = uuid7()
    earlier = time.time_ns() - 3_600_000_000_000
    monkeypatch.setattr(time, "time_ns", lambda: earlier)
    assert uuid7() > first


def test_threads_never_make_the_same_id() -> None:
    with ThreadPoolExecutor(8) as pool:
        made = list(pool.map(lambda _: uuid7(), range(4000)))
    assert len(set(made)) == 4000
