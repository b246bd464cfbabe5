"""climates, rooms and their air, where instruments live, what was learned of them, reminders"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.migrations.columns import words
from shimstock_server.database.tables.base import Instant, Json

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "climates",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("place", sa.String(length=200), nullable=True),
        sa.Column("source", sa.String(length=1000), nullable=False),
        sa.Column("origin", words("origin", "entered csv epw"), nullable=False),
        sa.Column("temperature", Json, nullable=False),
        sa.Column("vapour_pressure", Json, nullable=False),
        sa.Column("given", Json, nullable=False),
        sa.Column("details", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_climates")),
        sa.UniqueConstraint("name", name=op.f("uq_climates_name")),
    )
    op.create_index("ix_climates_place", "climates", ["place"], unique=False)
    op.create_table(
        "learned_sensitivities",
        sa.Column("moves", words("moves", "relief saddle-height"), nullable=False),
        sa.Column("level", sa.String(length=20), nullable=False),
        sa.Column("subject", sa.String(length=36), nullable=False),
        sa.Column("mean", sa.Double(), nullable=False),
        sa.Column("sd", sa.Double(), nullable=False),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("learned_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "level IN ('shop', 'model', 'instrument')", name=op.f("ck_learned_sensitivities_level")
        ),
        sa.PrimaryKeyConstraint("moves", "level", "subject", name=op.f("pk_learned_sensitivities")),
        info={"audited": False},
    )
    op.create_table(
        "season_marks",
        sa.Column("what", sa.String(length=80), nullable=False),
        sa.Column("marked_at", Instant(), nullable=False),
        sa.Column("turn", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("what", name=op.f("pk_season_marks")),
        info={"audited": False},
    )
    op.create_table(
        "calendars",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("token_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("kinds", Json, nullable=False),
        sa.Column("owner_id", sa.Uuid(), nullable=True),
        sa.Column("revoked_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["owner_id"], ["owners.id"], name=op.f("fk_calendars_owner_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_calendars")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_calendars_token_hash")),
    )
    op.create_index("ix_calendars_owner_id", "calendars", ["owner_id"], unique=False)
    op.create_table(
        "rooms",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("use", words("use", "shop home"), nullable=False),
        sa.Column("climate_id", sa.Uuid(), nullable=True),
        sa.Column("profile", Json, nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["climate_id"], ["climates.id"], name=op.f("fk_rooms_climate_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_rooms")),
        sa.UniqueConstraint("name", name=op.f("uq_rooms_name")),
    )
    op.create_table(
        "season_settings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("singleton", sa.Integer(), nullable=False),
        sa.Column("climate_id", sa.Uuid(), nullable=True),
        sa.Column("shop_profile", Json, nullable=False),
        sa.Column("home_profile", Json, nullable=False),
        sa.Column("earliest_days", sa.Integer(), nullable=False),
        sa.Column("moisture_limit", sa.Double(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("singleton = 1", name=op.f("ck_season_settings_one_row")),
        sa.ForeignKeyConstraint(["climate_id"], ["climates.id"], name=op.f("fk_season_settings_climate_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_season_settings")),
        sa.UniqueConstraint("singleton", name=op.f("uq_season_settings_singleton")),
    )
    op.create_table(
        "hygrometers",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("room_id", sa.Uuid(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["rooms.id"], name=op.f("fk_hygrometers_room_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hygrometers")),
        sa.UniqueConstraint("name", name=op.f("uq_hygrometers_name")),
    )
    op.create_index("ix_hygrometers_room_id", "hygrometers", ["room_id"], unique=False)
    op.create_table(
        "room_alerts",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("room_id", sa.Uuid(), nullable=False),
        sa.Column("code", sa.String(length=40), nullable=False),
        sa.Column("since", Instant(), nullable=False),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("meaning", sa.String(length=1000), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["room_id"], ["rooms.id"], name=op.f("fk_room_alerts_room_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room_alerts")),
        info={"audited": False},
    )
    op.create_index(
        "uq_room_alerts_lasting",
        "room_alerts",
        ["room_id", "code"],
        unique=True,
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.create_table(
        "hygrometer_checks",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("hygrometer_id", sa.Uuid(), nullable=False),
        sa.Column("checked_at", Instant(), nullable=False),
        sa.Column("temperature", sa.Double(), nullable=False),
        sa.Column("low_salt", sa.String(length=20), nullable=False),
        sa.Column("low_reading", sa.Double(), nullable=False),
        sa.Column("high_salt", sa.String(length=20), nullable=False),
        sa.Column("high_reading", sa.Double(), nullable=False),
        sa.Column("gain", sa.Double(), nullable=False),
        sa.Column("offset", sa.Double(), nullable=False),
        sa.Column("uncertainty", sa.Double(), nullable=False),
        sa.Column("meaning", sa.String(length=1000), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(
            ["hygrometer_id"], ["hygrometers.id"], name=op.f("fk_hygrometer_checks_hygrometer_id")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_hygrometer_checks_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_hygrometer_checks")),
    )
    op.create_index(
        "ix_hygrometer_checks_hygrometer", "hygrometer_checks", ["hygrometer_id", "checked_at"], unique=False
    )
    op.create_table(
        "keepings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("instrument_id", sa.Uuid(), nullable=False),
        sa.Column("room_id", sa.Uuid(), nullable=True),
        sa.Column("climate_id", sa.Uuid(), nullable=True),
        sa.Column("hours_per_week", sa.Double(), nullable=True),
        sa.Column("reminders", sa.Boolean(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "hours_per_week IS NULL OR hours_per_week BETWEEN 0 AND 168",
            name=op.f("ck_keepings_hours_per_week"),
        ),
        sa.ForeignKeyConstraint(["climate_id"], ["climates.id"], name=op.f("fk_keepings_climate_id")),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_keepings_instrument_id")
        ),
        sa.ForeignKeyConstraint(["room_id"], ["rooms.id"], name=op.f("fk_keepings_room_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_keepings")),
        sa.UniqueConstraint("instrument_id", name=op.f("uq_keepings_instrument_id")),
    )
    op.create_index("ix_keepings_room_id", "keepings", ["room_id"], unique=False)
    op.create_table(
        "room_readings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("room_id", sa.Uuid(), nullable=False),
        sa.Column("hygrometer_id", sa.Uuid(), nullable=True),
        sa.Column("device", sa.String(length=36), nullable=False),
        sa.Column("taken_at", Instant(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("temperature", sa.Double(), nullable=False),
        sa.Column("shown", sa.Double(), nullable=False),
        sa.Column("relative_humidity", sa.Double(), nullable=False),
        sa.Column("uncertainty", sa.Double(), nullable=False),
        sa.Column("check_id", sa.Uuid(), nullable=True),
        sa.Column("typed", Json, nullable=False),
        sa.Column("confirmed", sa.Boolean(), nullable=False),
        sa.Column("clock_confirmed", sa.Boolean(), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.ForeignKeyConstraint(
            ["check_id"], ["hygrometer_checks.id"], name=op.f("fk_room_readings_check_id")
        ),
        sa.ForeignKeyConstraint(
            ["hygrometer_id"], ["hygrometers.id"], name=op.f("fk_room_readings_hygrometer_id")
        ),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_room_readings_key_id")),
        sa.ForeignKeyConstraint(["room_id"], ["rooms.id"], name=op.f("fk_room_readings_room_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_room_readings_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_room_readings")),
        sa.UniqueConstraint(
            "room_id", "device", "taken_at", name=op.f("uq_room_readings_room_id_device_taken_at")
        ),
        info={"audited": False},
    )
    op.create_index("ix_room_readings_room_day", "room_readings", ["room_id", "day"], unique=False)
    op.create_table(
        "reminders",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("kind", words("kind", "settle-hour settle-day seasonal strings"), nullable=False),
        sa.Column("state", words("state", "open acknowledged snoozed done cancelled"), nullable=False),
        sa.Column("instrument_id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=True),
        sa.Column("basis", sa.String(length=80), nullable=False),
        sa.Column("due_at", Instant(), nullable=False),
        sa.Column("all_day", sa.Boolean(), nullable=False),
        sa.Column("reason", Json, nullable=False),
        sa.Column("told_due_at", Instant(), nullable=True),
        sa.Column("snoozed_until", Instant(), nullable=True),
        sa.Column("closed_at", Instant(), nullable=True),
        sa.Column("sheet_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(state = 'snoozed') = (snoozed_until IS NOT NULL)", name=op.f("ck_reminders_snoozed_until_when")
        ),
        sa.CheckConstraint(
            "(state IN ('done', 'cancelled')) = (closed_at IS NOT NULL)",
            name=op.f("ck_reminders_closed_with_its_state"),
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_reminders_instrument_id")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_reminders_job_id")),
        sa.ForeignKeyConstraint(["sheet_id"], ["reading_sheets.id"], name=op.f("fk_reminders_sheet_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reminders")),
        info={"audited": False},
    )
    op.create_index("ix_reminders_closed_at", "reminders", ["closed_at"], unique=False)
    op.create_index(
        "ix_reminders_due",
        "reminders",
        ["due_at", "id"],
        unique=False,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_index(
        "uq_reminders_open",
        "reminders",
        ["instrument_id", "kind"],
        unique=True,
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.create_table(
        "watched_quantities",
        sa.Column("instrument_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("sheet_id", sa.Uuid(), nullable=False),
        sa.Column("basis", sa.String(length=80), nullable=False),
        sa.Column("read_on", sa.Date(), nullable=False),
        sa.Column(
            "quantity",
            words(
                "quantity",
                "relief action nut-action pickup-height intonation break-clearance twist saddle-out",
            ),
            nullable=False,
        ),
        sa.Column("side", words("side", "bass treble"), nullable=True),
        sa.Column("string", sa.Integer(), nullable=True),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("uncertainty", sa.Double(), nullable=False),
        sa.Column("lower", sa.Double(), nullable=True),
        sa.Column("upper", sa.Double(), nullable=True),
        sa.Column("relief_factor", sa.Double(), nullable=False),
        sa.Column("neck_tau", Json, nullable=False),
        sa.Column("top_tau", Json, nullable=True),
        sa.Column("saddle_factor", sa.Double(), nullable=False),
        sa.Column("place", sa.String(length=2000), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_watched_quantities_instrument_id")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_watched_quantities_job_id")),
        sa.ForeignKeyConstraint(
            ["model_id"], ["instrument_models.id"], name=op.f("fk_watched_quantities_model_id")
        ),
        sa.ForeignKeyConstraint(
            ["sheet_id"], ["reading_sheets.id"], name=op.f("fk_watched_quantities_sheet_id")
        ),
        sa.PrimaryKeyConstraint("instrument_id", "number", name=op.f("pk_watched_quantities")),
        info={"audited": False},
    )
    op.create_index("ix_watched_quantities_model_id", "watched_quantities", ["model_id"], unique=False)
    op.create_table(
        "reminder_events",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("reminder_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column(
            "what", words("what", "made moved due acknowledged snoozed done cancelled"), nullable=False
        ),
        sa.Column("due_at", Instant(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_reminder_events_key_id")),
        sa.ForeignKeyConstraint(
            ["reminder_id"], ["reminders.id"], name=op.f("fk_reminder_events_reminder_id")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_reminder_events_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reminder_events")),
        sa.UniqueConstraint("reminder_id", "sequence", name=op.f("uq_reminder_events_reminder_id_sequence")),
        info={"audited": False},
    )


def downgrade() -> None:
    op.drop_table("reminder_events")
    op.drop_index("ix_watched_quantities_model_id", table_name="watched_quantities")
    op.drop_table("watched_quantities")
    op.drop_index(
        "uq_reminders_open",
        table_name="reminders",
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.drop_index(
        "ix_reminders_due",
        table_name="reminders",
        sqlite_where=sa.text("closed_at IS NULL"),
        postgresql_where=sa.text("closed_at IS NULL"),
    )
    op.drop_index("ix_reminders_closed_at", table_name="reminders")
    op.drop_table("reminders")
    op.drop_index("ix_room_readings_room_day", table_name="room_readings")
    op.drop_table("room_readings")
    op.drop_index("ix_keepings_room_id", table_name="keepings")
    op.drop_table("keepings")
    op.drop_index("ix_hygrometer_checks_hygrometer", table_name="hygrometer_checks")
    op.drop_table("hygrometer_checks")
    op.drop_index(
        "uq_room_alerts_lasting",
        table_name="room_alerts",
        sqlite_where=sa.text("ended_at IS NULL"),
        postgresql_where=sa.text("ended_at IS NULL"),
    )
    op.drop_table("room_alerts")
    op.drop_index("ix_hygrometers_room_id", table_name="hygrometers")
    op.drop_table("hygrometers")
    op.drop_table("season_settings")
    op.drop_table("rooms")
    op.drop_index("ix_calendars_owner_id", table_name="calendars")
    op.drop_table("calendars")
    op.drop_table("season_marks")
    op.drop_table("learned_sensitivities")
    op.drop_index("ix_climates_place", table_name="climates")
    op.drop_table("climates")
