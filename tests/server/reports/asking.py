"""Asking for a report, and finding the readings that it is about."""

from __future__ import annotations

from datetime import date
from typing import Any

import pandas as pd

from .conftest import Counted


def report(counted: Counted, model: Any, first: str, last: str) -> dict[str, Any]:
    answer = counted.manager.get(f"/v1/reports/instrument-models/{model}?first={first}&last={last}")
    assert answer.status_code == 200, answer.get_data(as_text=True)
    told: dict[str, Any] = answer.get_json()
    return told


def between(frame: pd.DataFrame, model: Any, first: str, last: str) -> pd.DataFrame:
    days = frame["day"]
    return frame[
        (frame["model_id"] == str(model).replace("-", ""))
        & (days >= date.fromisoformat(first))
        & (days <= date.fromisoformat(last))
    ]
