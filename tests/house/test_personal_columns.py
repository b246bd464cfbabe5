"""What somebody types about an owner is known as personal: hashed in the trail, taken out by an erasure."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Iterator
from typing import Any

import pytest
from sqlalchemy import JSON, Column, Enum, LargeBinary, String

from shimstock_server.database import tables
from shimstock_server.database.tables.base import Base

LONG = 100
"""Shorter columns hold codes, units, hashes and wall times."""

SHOPS_OWN_WORDS = {
    "the shop, its people and what it owns": (
        "benches.name", "check_pieces.name", "check_pieces.note", "climates.name",
        "climates.place", "climates.source", "closures.reason", "hygrometers.name", "hygrometers.note",
        "services.description", "services.name", "shop.contact", "shop.name",
        "shop.place", "studies.name", "studies.note", "technicians.name", "tools.name",
    ),
    "the catalogue": (
        "instrument_models.maker", "instrument_models.name", "instrument_models.notes", "string_sets.name",
        "tunings.name", "setup_specs.reason", "setup_spec_items.pickup",
    ),
    "the instrument": (
        "instruments.serial", "instruments.notes", "jobs.condition", "reading_sheets.note",
        "reading_sheets.supersedes_reason", "withdrawals.reason",
        "readings.note", "readings.pickup", "readings.tool_name",
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
        "api_keys.name", "delivery_attempts.answer", "idempotency_keys.key", "idempotency_keys.path",
        "webhook_endpoints.description", "webhook_endpoints.url",
    ),
    "taken out answer by answer (`web/idempotency.py`)": ("idempotency_keys.body",),
}  # fmt: skip
"""Texts that are about these and no owner; `table.column` each."""

NO_OWNERS_WORDS = {
    "quantities as typed, with their units": (
        "adjustments.typed", "check_readings.readings", "check_readings.typed", "instrument_models.typed",
        "instruments.typed", "jobs.room", "reading_sheets.room_typed", "room_readings.typed",
        "setup_spec_items.typed", "tools.repeatability_typed", "tools.resolution_typed",
    ),
    "words of closed lists, ids and codes": (
        "benches.skills", "calendars.kinds", "job_moves.readings_asked", "jobs.spec_ids", "services.kinds",
        "services.skills", "string_sets.kinds", "studies.pieces", "studies.readers", "studies.reading_order",
        "technicians.shifts", "tools.quantities", "webhook_endpoints.types", "idempotency_keys.headers",
        "shop.prices", "adjustments.fitted_before",
    ),
    "the catalogue and the instrument": (
        "instrument_models.bridge", "instrument_models.courses", "instrument_models.neck_joint",
        "instrument_models.nut", "instrument_models.parts", "instrument_models.pickups",
        "instrument_models.truss_rod", "instruments.bridge", "instruments.parts", "instruments.truss_rod",
        "reading_sheets.findings", "string_sets.strings", "tunings.notes",
    ),
    "the shop's services, by name": ("jobs.services",),
    "air and wood": (
        "climates.details", "climates.given", "climates.temperature", "climates.vapour_pressure",
        "rooms.profile", "season_settings.home_profile", "season_settings.shop_profile",
        "watched_quantities.neck_tau", "watched_quantities.top_tau",
    ),
    "worked out by the service": (
        "job_priors.benches", "job_priors.learned", "job_priors.noise", "report_jobs.took",
        "learned_responses.covariance", "learned_responses.parts", "reminders.reason",
        "report_run_parts.content", "report_runs.wish", "response_samples.adjustments",
        "response_samples.precision", "response_samples.pull", "shown_plans.plan",
    ),
    "hashes of what is personal (`database/history.py`)": ("audit_events.before", "audit_events.after"),
    "ids, states and versions": ("domain_events.data",),
}  # fmt: skip
"""Columns of JSON in which no owner's words stand."""


def columns() -> Iterator[Column[Any]]:
    """Every column of every table."""
    for module in pkgutil.iter_modules(tables.__path__):
        importlib.import_module(f"{tables.__name__}.{module.name}")
    for table in Base.metadata.sorted_tables:
        yield from table.columns


def is_text(column: Column[Any]) -> bool:
    """Whether a text of some length goes into a column."""
    if not isinstance(column.type, String) or isinstance(column.type, (Enum, LargeBinary)):
        return False
    return column.type.length is None or column.type.length >= LONG


@pytest.mark.parametrize(
    ("holds_words", "harmless"),
    [
        (is_text, SHOPS_OWN_WORDS),
        (lambda column: isinstance(column.type, JSON), NO_OWNERS_WORDS),
    ],
    ids=["text", "JSON"],
)
def test_every_column_of_words_is_personal_or_known_not_to_be(
    holds_words: Callable[[Column[Any]], bool], harmless: dict[str, tuple[str, ...]]
) -> None:
    known = [name for names in harmless.values() for name in names]
    found = {str(column): column for column in columns() if holds_words(column)}
    unknown = [
        name
        for name, column in found.items()
        if not (column.info.get("personal") or column.info.get("secret") or name in known)
    ]
    assert unknown == [], "say info={'personal': True} and take it out at an erasure, or list it here"
    personal = {name for name, column in found.items() if column.info.get("personal")}
    assert set(known) & personal == set()
    assert sorted(known) == sorted(set(found) & set(known)), "listed twice, or gone"
