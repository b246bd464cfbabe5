"""Counts add up: however readings are cut into parts, and in whatever order the parts are merged."""

from __future__ import annotations

import random
from datetime import UTC, date, datetime
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from shimstock_server.database.words import Quantity, Side, Stage
from shimstock_server.learning import Cells, merge_cells
from shimstock_server.learning.counting import count_cells, first_day, month_of, start_of
from shimstock_server.learning.rows import Row
from tests.depth import amount

BERLIN = ZoneInfo("Europe/Berlin")
WORDS = ("in spec", "too close to call", "out of spec", None)


def row(number: int, value: float, stage: Stage, day: int, touching: bool) -> Row:
    return Row(
        UUID(int=number), UUID(int=1), (), UUID(int=1000 + number), stage,
        datetime(2026, 1 + day // 28, 1 + day % 28, 12, tzinfo=UTC), 21.0, 45.0,
        Quantity.RELIEF, Side.BASS, None, None, 9, 1, 22, None, value, touching, 0.05, 0.03,
        stage is Stage.FINAL,
    )  # fmt: skip


readings = st.lists(
    st.tuples(
        st.floats(-1.5, 2.5, allow_nan=False), st.sampled_from(Stage), st.integers(0, 300), st.booleans(),
        st.sampled_from(WORDS),
    ),
    min_size=1,
    max_size=40,
)  # fmt: skip


def count(rows: list[Row], words: list[str | None], back: dict[UUID, bool]) -> Cells:
    return count_cells(rows, words, strings=6, zone=BERLIN, came_back=back)


@settings(max_examples=amount(60, deep=1000))
@given(readings, st.integers(1, 6), st.randoms(use_true_random=False))
def test_parts_merge_in_any_order_to_the_whole(
    found: list[tuple[float, Stage, int, bool, str | None]], parts: int, order: random.Random
) -> None:
    rows = [row(n, value, stage, day, zero) for n, (value, stage, day, zero, _) in enumerate(found)]
    words = [word for *_, word in found]
    back = {row.job_id: row.job_id.int % 3 == 0 for row in rows}
    whole = count(rows, words, back)
    cut: list[tuple[list[Row], list[str | None]]] = [([], []) for _ in range(parts)]
    for each, word in zip(rows, words, strict=True):
        some = cut[order.randrange(parts)]
        some[0].append(each)
        some[1].append(word)
    counted = [count(*each, back) for each in cut]
    order.shuffle(counted)
    merged = merge_cells(counted)
    assert merged.keys() == whole.keys()
    for key, cell in whole.items():
        other = merged[key]
        assert dict(other.bins) == dict(cell.bins)
        names = ("touching", "in_spec", "too_close", "out_of_spec", "lowest", "highest")
        assert [getattr(other, name) for name in names] == [getattr(cell, name) for name in names]
        assert other.moments.count == cell.moments.count
        assert other.moments.mean == pytest.approx(cell.moments.mean, rel=1e-9, abs=1e-12)
        assert other.moments.squares == pytest.approx(cell.moments.squares, rel=1e-9, abs=1e-12)


def test_a_month_begins_at_midnight_of_the_shop() -> None:
    # the clocks of Berlin go forward on 29 March 2026
    march, april = (start_of(first_day(month_of(date(2026, n, 5))), BERLIN) for n in (3, 4))
    assert march.astimezone(UTC).isoformat() == "2026-02-28T23:00:00+00:00"
    assert april.astimezone(UTC).isoformat() == "2026-03-31T22:00:00+00:00"
