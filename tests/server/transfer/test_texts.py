"""Texts of an export: cleaned as a request's are."""

from __future__ import annotations

import time

import pytest

from shimstock_server.database.tables import Base
from shimstock_server.transfer.tables import from_json


def test_a_text_of_marks_is_refused_before_it_is_normalised() -> None:
    data = Base.metadata.tables["domain_events"].c.data
    began = time.process_time()
    # Unicode Standard Annex 15, section 13: at most 30 non-starters in a row
    with pytest.raises(ValueError, match="more than 30 combining marks in a row"):
        from_json(data, {"text": "a" + "\u0301\u0323" * 100_000})
    assert time.process_time() - began < 1.0
