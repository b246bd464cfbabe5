"""What must not stand in the logs."""

from __future__ import annotations

import json
import logging

import pytest
from sqlalchemy import text

from shimstock_server.database.session import Database
from shimstock_server.database.tables.base import new_id
from shimstock_server.operations.logs import set_up
from shimstock_server.web.problems import Conflict
from tests.server.conftest import NOON


def test_a_refused_row_is_not_told(database: Database, capsys: pytest.CaptureFixture[str]) -> None:
    """A constraint's error carries what was to be written, which may be a person's name."""
    root = logging.getLogger()
    handlers, level = root.handlers[:], root.level
    row = {
        "id": new_id().hex if database.is_sqlite else new_id(),
        "name": "Zoë Fenstropp",
        "searched": " zoe fenstropp",
        "note": "line one\nZoë again",
        "at": NOON.isoformat(),
    }
    statement = text(
        "INSERT INTO owners (id, name, search_name, note, units, language, created_at, updated_at, version)"
        " VALUES (:id, :name, :searched, :note, 'furlong', 'en', :at, :at, 1)"
    )
    try:
        set_up("INFO")
        with pytest.raises(Conflict), database.write() as session:
            session.execute(statement, row)
    finally:
        root.handlers[:] = handlers
        root.setLevel(level)
    lines = [json.loads(line) for line in capsys.readouterr().err.splitlines()]
    told = [line for line in lines if line["message"] == "a constraint refused a change"]
    assert len(told) == 1
    assert "units" in told[0]["constraint"]
    assert told[0]["at"].endswith("Z")
    assert "Traceback" in told[0]["exc_info"]
    for personal in ("Zoë", "zoe"):
        assert personal not in json.dumps(lines, ensure_ascii=False)
