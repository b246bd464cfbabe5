"""What somebody types about an owner is known as personal: hashed in the trail, taken out by an erasure."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Iterator

from sqlalchemy import Column, Enum, LargeBinary, String

from shimstock_server.database import tables
from shimstock_server.database.tables.base import Base

LONG = 100
"""Shorter columns hold codes, units, hashes and wall times."""

SHOPS_OWN_WORDS = {
    "the shop, its people and what it owns": (
        "benches.name", "check_pieces.name", "check_pieces.note", "climates.name",
        "climates.place", "climates.source", "closures.reason", "hygrometers.name", "hygrometers.note",
        "rooms.name", "rooms.note", "services.description", "services.name", "shop.contact", "shop.name",
        "shop.place", "studies.name", "studies.note", "technicians.name", "tools.name",
    ),
    "the catalogue": (
        "instrument_models.maker", "instrument_models.name", "instrument_models.notes", "string_sets.name",
        "tunings.name", "setup_specs.reason", "setup_spec_items.pickup",
    ),
    "the instrument": (
        "instruments.serial", "instruments.notes", "jobs.condition", "reading_sheets.note",
        "reading_sheets.supersedes_reason", "readings.note", "readings.pickup", "readings.tool_name",
        "readings.repeatability_source", "adjustments.note", "adjustments.pickup", "room_readings.note",
    ),
    "the work": (
        "claims.note", "job_moves.reason", "job_parts.name", "quotes.work", "reminder_events.note",
        "sample_reviews.note", "check_readings.note",
    ),
    "written by the service itself": (
        "delivery_attempts.error", "hygrometer_checks.meaning", "report_cells.place", "report_runs.error",
        "response_samples.doubt", "room_alerts.meaning", "watched_quantities.place",
    ),
    "an integrator's": (
        "api_keys.name", "idempotency_keys.key", "idempotency_keys.path", "webhook_endpoints.description",
        "webhook_endpoints.url",
    ),
    "taken out answer by answer (`web/idempotency.py`)": ("idempotency_keys.body",),
}  # fmt: skip
"""Texts that are about these and no owner; `table.column` each."""


def texts() -> Iterator[Column[str]]:
    """Every column that a text of some length goes into."""
    for module in pkgutil.iter_modules(tables.__path__):
        importlib.import_module(f"{tables.__name__}.{module.name}")
    for table in Base.metadata.sorted_tables:
        for column in table.columns:
            is_text = isinstance(column.type, String) and not isinstance(column.type, (Enum, LargeBinary))
            if is_text and (column.type.length is None or column.type.length >= LONG):
                yield column


def test_every_text_is_personal_or_known_not_to_be() -> None:
    own = {name for names in SHOPS_OWN_WORDS.values() for name in names}
    found = {str(column): column for column in texts()}
    unknown = [
        name
        for name, column in found.items()
        if not (column.info.get("personal") or column.info.get("secret") or name in own)
    ]
    assert unknown == [], "say info={'personal': True} and take it out at an erasure, or list it here"
    personal = {name for name, column in found.items() if column.info.get("personal")}
    assert own & personal == set()
