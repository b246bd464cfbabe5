# ruff: noqa: E501, PLR0915 - one statement a table, in the order of their references
"""The first tables: shop, catalogue, owners, jobs, bench, and what every area stands on."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.migrations.columns import words
from shimstock_server.database.tables.base import Instant, Json

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None


# A job's moves as they are in this release; a later release that adds one does so in its own migration.
MOVES = {
    "booked": ("received", "cancelled"),
    "received": ("queued", "waiting", "returned-unrepaired", "cancelled"),
    "queued": ("on-bench", "waiting", "cancelled"),
    "on-bench": ("settling", "waiting", "final-check", "queued", "returned-unrepaired"),
    "settling": ("on-bench",),
    "waiting": ("queued", "returned-unrepaired", "cancelled"),
    "final-check": ("ready", "on-bench"),
    "ready": ("collected", "on-bench"),
}


def upgrade() -> None:
    op.create_table(
        "allowed_moves",
        sa.Column(
            "from_state",
            words(
                "from_state",
                "booked received queued on-bench settling waiting final-check ready collected returned-unrepaired cancelled",
            ),
            nullable=False,
        ),
        sa.Column(
            "to_state",
            words(
                "to_state",
                "booked received queued on-bench settling waiting final-check ready collected returned-unrepaired cancelled",
            ),
            nullable=False,
        ),
        sa.PrimaryKeyConstraint("from_state", "to_state", name=op.f("pk_allowed_moves")),
        info={"audited": False},
    )
    op.create_table(
        "audit_events",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("request_id", sa.String(length=64), nullable=True),
        sa.Column("object_type", sa.String(length=64), nullable=False),
        sa.Column("object_id", sa.String(length=80), nullable=False),
        sa.Column("version", sa.Integer(), nullable=True),
        sa.Column("action", sa.String(length=20), nullable=False),
        sa.Column("before", Json, nullable=True),
        sa.Column("after", Json, nullable=True),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_audit_events")),
        info={"audited": False},
    )
    with op.batch_alter_table("audit_events", schema=None) as batch_op:
        batch_op.create_index("ix_audit_events_object", ["object_type", "object_id"], unique=False)

    op.create_table(
        "benches",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("skills", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_benches")),
        sa.UniqueConstraint("name", name=op.f("uq_benches_name")),
    )
    op.create_table(
        "closures",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("reason", sa.String(length=200), nullable=True),
        sa.Column("opens", sa.String(length=5), nullable=True),
        sa.Column("closes", sa.String(length=5), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("(opens IS NULL) = (closes IS NULL)", name=op.f("ck_closures_hours_in_pairs")),
        sa.CheckConstraint("opens IS NULL OR opens < closes", name=op.f("ck_closures_opens_before_closes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_closures")),
        sa.UniqueConstraint("day", name=op.f("uq_closures_day")),
    )
    op.create_table(
        "domain_events",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("type", sa.String(length=64), nullable=False),
        sa.Column("object_type", sa.String(length=64), nullable=False),
        sa.Column("object_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("data", Json, nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_domain_events")),
        sa.UniqueConstraint(
            "object_type",
            "object_id",
            "sequence",
            name=op.f("uq_domain_events_object_type_object_id_sequence"),
        ),
        info={"audited": False},
    )
    with op.batch_alter_table("domain_events", schema=None) as batch_op:
        batch_op.create_index("ix_domain_events_at", ["at"], unique=False)

    op.create_table(
        "job_numbers",
        sa.Column("id", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("last", sa.Integer(), nullable=False),
        sa.CheckConstraint("id = 1", name=op.f("ck_job_numbers_one_row")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_numbers")),
        info={"audited": False},
    )
    op.create_table(
        "owners",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=True),
        sa.Column("email", sa.String(length=320), nullable=True),
        sa.Column("phone", sa.String(length=60), nullable=True),
        sa.Column("note", sa.String(length=4000), nullable=True),
        sa.Column("units", words("units", "mm inch"), nullable=False),
        sa.Column("language", sa.String(length=35), nullable=False),
        sa.Column("erased_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_owners")),
    )
    op.create_table(
        "shop",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("singleton", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("place", sa.String(length=200), nullable=True),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("units", words("units", "mm inch"), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("language", sa.String(length=35), nullable=False),
        sa.Column("settle_first_minutes", sa.Integer(), nullable=False),
        sa.Column("claims_per_technician", sa.Integer(), nullable=False),
        sa.Column("recheck_probability", sa.Double(), nullable=False),
        sa.Column("string_hours", sa.Double(), nullable=False),
        sa.Column("string_days", sa.Integer(), nullable=False),
        sa.Column("shop_rate", sa.Double(), nullable=True),
        sa.Column("humidity_low", sa.Double(), nullable=False),
        sa.Column("humidity_high", sa.Double(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("singleton = 1", name=op.f("ck_shop_one_shop")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_shop")),
        sa.UniqueConstraint("singleton", name=op.f("uq_shop_singleton")),
    )
    op.create_table(
        "string_sets",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("built_for", words("built_for", "steel nylon"), nullable=False),
        sa.Column("kinds", Json, nullable=False),
        sa.Column("strings", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_string_sets")),
        sa.UniqueConstraint("name", name=op.f("uq_string_sets_name")),
    )
    op.create_table(
        "technicians",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("shifts", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_technicians")),
        sa.UniqueConstraint("name", name=op.f("uq_technicians_name")),
    )
    op.create_table(
        "tunings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("notes", Json, nullable=False),
        sa.Column("reference_pitch", sa.Double(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("reference_pitch BETWEEN 380 AND 480", name=op.f("ck_tunings_reference")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tunings")),
        sa.UniqueConstraint("name", name=op.f("uq_tunings_name")),
    )
    op.create_table(
        "api_keys",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("scope", words("scope", "bench booking manager"), nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=True),
        sa.Column("lookup", sa.String(length=32), nullable=False),
        sa.Column("secret_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("units", words("units", "mm inch"), nullable=False),
        sa.Column("expires_at", Instant(), nullable=True),
        sa.Column("revoked_at", Instant(), nullable=True),
        sa.Column("last_used_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(scope = 'bench') = (bench_id IS NOT NULL)", name=op.f("ck_api_keys_bench_keys_carry_a_bench")
        ),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_api_keys_bench_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_api_keys")),
        sa.UniqueConstraint("lookup", name=op.f("uq_api_keys_lookup")),
    )
    op.create_table(
        "instrument_models",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("maker", sa.String(length=200), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("kind", words("kind", "electric acoustic-steel classical-nylon bass"), nullable=False),
        sa.Column("built_for", words("built_for", "steel nylon"), nullable=False),
        sa.Column("strings", sa.Integer(), nullable=False),
        sa.Column("courses", Json, nullable=True),
        sa.Column("scale_bass", sa.Double(), nullable=False),
        sa.Column("scale_treble", sa.Double(), nullable=False),
        sa.Column("perpendicular_fret", sa.Double(), nullable=True),
        sa.Column("frets", sa.Integer(), nullable=False),
        sa.Column("body_joint_fret", sa.Double(), nullable=True),
        sa.Column("radius_nut", sa.Double(), nullable=True),
        sa.Column("radius_body_end", sa.Double(), nullable=True),
        sa.Column("bridge", Json, nullable=False),
        sa.Column("truss_rod", Json, nullable=False),
        sa.Column("nut", Json, nullable=True),
        sa.Column("pickups", Json, nullable=False),
        sa.Column("neck_joint", Json, nullable=True),
        sa.Column("parts", Json, nullable=False),
        sa.Column("greatest_pull", sa.Double(), nullable=True),
        sa.Column("named_consents", sa.Boolean(), nullable=False),
        sa.Column("delicate_finish", sa.Boolean(), nullable=False),
        sa.Column("string_set_id", sa.Uuid(), nullable=True),
        sa.Column("tuning_id", sa.Uuid(), nullable=True),
        sa.Column("typed", Json, nullable=False),
        sa.Column("notes", sa.String(length=4000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("frets BETWEEN 12 AND 36", name=op.f("ck_instrument_models_frets")),
        sa.CheckConstraint("scale_bass > 0 AND scale_treble > 0", name=op.f("ck_instrument_models_scale")),
        sa.CheckConstraint("strings BETWEEN 3 AND 14", name=op.f("ck_instrument_models_strings")),
        sa.ForeignKeyConstraint(
            ["string_set_id"], ["string_sets.id"], name=op.f("fk_instrument_models_string_set_id")
        ),
        sa.ForeignKeyConstraint(["tuning_id"], ["tunings.id"], name=op.f("fk_instrument_models_tuning_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instrument_models")),
        sa.UniqueConstraint("maker", "name", name=op.f("uq_instrument_models_maker_name")),
    )
    op.create_table(
        "opening_hours",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("shop_id", sa.Uuid(), nullable=False),
        sa.Column("weekday", sa.Integer(), nullable=False),
        sa.Column("opens", sa.String(length=5), nullable=False),
        sa.Column("closes", sa.String(length=5), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("opens < closes", name=op.f("ck_opening_hours_opens_before_closes")),
        sa.CheckConstraint("weekday BETWEEN 1 AND 7", name=op.f("ck_opening_hours_weekday")),
        sa.ForeignKeyConstraint(["shop_id"], ["shop.id"], name=op.f("fk_opening_hours_shop_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_opening_hours")),
        sa.UniqueConstraint(
            "shop_id", "weekday", "opens", name=op.f("uq_opening_hours_shop_id_weekday_opens")
        ),
    )
    op.create_table(
        "technician_skills",
        sa.Column("technician_id", sa.Uuid(), nullable=False),
        sa.Column(
            "skill",
            words("skill", "setup acoustic nylon bass fretwork nut-and-saddle tremolo electronics"),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_technician_skills_technician_id")
        ),
        sa.PrimaryKeyConstraint("technician_id", "skill", name=op.f("pk_technician_skills")),
    )
    op.create_table(
        "tools",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("quantities", Json, nullable=False),
        sa.Column("unit", sa.String(length=10), nullable=False),
        sa.Column("resolution", sa.Double(), nullable=False),
        sa.Column("resolution_typed", Json, nullable=False),
        sa.Column("repeatability", sa.Double(), nullable=True),
        sa.Column("repeatability_typed", Json, nullable=True),
        sa.Column("bench_id", sa.Uuid(), nullable=True),
        sa.Column("checked_at", Instant(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("unit IN ('mm', 'cents', 'percent')", name=op.f("ck_tools_unit")),
        sa.CheckConstraint("repeatability IS NULL OR repeatability > 0", name=op.f("ck_tools_repeatability")),
        sa.CheckConstraint("resolution > 0", name=op.f("ck_tools_resolution")),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_tools_bench_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_tools")),
        sa.UniqueConstraint("name", name=op.f("uq_tools_name")),
    )
    with op.batch_alter_table("tools", schema=None) as batch_op:
        batch_op.create_index(
            "ix_tools_bench_id", ["bench_id"], unique=False, sqlite_where=sa.text("bench_id IS NOT NULL")
        )

    op.create_table(
        "idempotency_keys",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("api_key_id", sa.Uuid(), nullable=False),
        sa.Column("method", sa.String(length=10), nullable=False),
        sa.Column("path", sa.String(length=500), nullable=False),
        sa.Column("key", sa.String(length=200), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("headers", Json, nullable=True),
        sa.Column("body", sa.Text(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["api_key_id"], ["api_keys.id"], name=op.f("fk_idempotency_keys_api_key_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_idempotency_keys")),
        sa.UniqueConstraint(
            "api_key_id", "method", "path", "key", name=op.f("uq_idempotency_keys_api_key_id_method_path_key")
        ),
        info={"audited": False},
    )
    with op.batch_alter_table("idempotency_keys", schema=None) as batch_op:
        batch_op.create_index("ix_idempotency_keys_created_at", ["created_at"], unique=False)

    op.create_table(
        "instruments",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("model_id", sa.Uuid(), nullable=False),
        sa.Column("owner_id", sa.Uuid(), nullable=False),
        sa.Column("serial", sa.String(length=100), nullable=True),
        sa.Column("nickname", sa.String(length=200), nullable=True),
        sa.Column("made_in", sa.Integer(), nullable=True),
        sa.Column("handedness", words("handedness", "right left"), nullable=False),
        sa.Column("string_set_id", sa.Uuid(), nullable=True),
        sa.Column("tuning_id", sa.Uuid(), nullable=True),
        sa.Column("strings_fitted_on", sa.Date(), nullable=True),
        sa.Column("named_consents", sa.Boolean(), nullable=False),
        sa.Column("truss_rod", Json, nullable=False),
        sa.Column("bridge", Json, nullable=False),
        sa.Column("parts", Json, nullable=False),
        sa.Column("home", Json, nullable=True),
        sa.Column("notes", sa.String(length=4000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["model_id"], ["instrument_models.id"], name=op.f("fk_instruments_model_id")),
        sa.ForeignKeyConstraint(["owner_id"], ["owners.id"], name=op.f("fk_instruments_owner_id")),
        sa.ForeignKeyConstraint(
            ["string_set_id"], ["string_sets.id"], name=op.f("fk_instruments_string_set_id")
        ),
        sa.ForeignKeyConstraint(["tuning_id"], ["tunings.id"], name=op.f("fk_instruments_tuning_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_instruments")),
    )
    with op.batch_alter_table("instruments", schema=None) as batch_op:
        batch_op.create_index("ix_instruments_owner_id", ["owner_id"], unique=False)
        batch_op.create_index(
            "uq_instruments_serial",
            ["model_id", "serial"],
            unique=True,
            sqlite_where=sa.text("serial IS NOT NULL"),
            postgresql_where=sa.text("serial IS NOT NULL"),
        )

    op.create_table(
        "jobs",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("instrument_id", sa.Uuid(), nullable=True),
        sa.Column("owner_id", sa.Uuid(), nullable=True),
        sa.Column("follows_id", sa.Uuid(), nullable=True),
        sa.Column(
            "state",
            words(
                "state",
                "booked received queued on-bench settling waiting final-check ready collected returned-unrepaired cancelled",
            ),
            nullable=False,
        ),
        sa.Column("waiting_for", words("waiting_for", "consent parts owner"), nullable=True),
        sa.Column("available_at", Instant(), nullable=True),
        sa.Column("priority", sa.Integer(), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=False),
        sa.Column("queued_at", Instant(), nullable=True),
        sa.Column("claim_id", sa.Uuid(), nullable=True),
        sa.Column("last_technician_id", sa.Uuid(), nullable=True),
        sa.Column("complaints", sa.String(length=4000), nullable=True),
        sa.Column("condition", sa.String(length=4000), nullable=True),
        sa.Column("wants", Json, nullable=False),
        sa.Column("room", Json, nullable=True),
        sa.Column("services", Json, nullable=False),
        sa.Column("estimated_minutes", sa.Integer(), nullable=True),
        sa.Column("worked_minutes", sa.Integer(), nullable=False),
        sa.Column("spec_ids", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(state = 'waiting') = (waiting_for IS NOT NULL)", name=op.f("ck_jobs_waiting_for_something")
        ),
        sa.CheckConstraint(
            "(state IN ('on-bench', 'final-check')) = (claim_id IS NOT NULL)",
            name=op.f("ck_jobs_worked_on_under_a_claim"),
        ),
        sa.CheckConstraint(
            "state <> 'settling' OR available_at IS NOT NULL", name=op.f("ck_jobs_settling_until")
        ),
        sa.CheckConstraint(
            "state IN ('booked', 'cancelled') OR instrument_id IS NOT NULL",
            name=op.f("ck_jobs_received_with_instrument"),
        ),
        sa.CheckConstraint("priority BETWEEN 0 AND 9", name=op.f("ck_jobs_priority")),
        sa.ForeignKeyConstraint(["follows_id"], ["jobs.id"], name=op.f("fk_jobs_follows_id")),
        sa.ForeignKeyConstraint(["instrument_id"], ["instruments.id"], name=op.f("fk_jobs_instrument_id")),
        sa.ForeignKeyConstraint(
            ["last_technician_id"], ["technicians.id"], name=op.f("fk_jobs_last_technician_id")
        ),
        sa.ForeignKeyConstraint(["owner_id"], ["owners.id"], name=op.f("fk_jobs_owner_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_jobs")),
        sa.UniqueConstraint("number", name=op.f("uq_jobs_number")),
    )
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.create_index(
            "ix_jobs_claimable",
            [sa.literal_column("priority DESC"), "promised_on", "queued_at", "id"],
            unique=False,
            sqlite_where=sa.text("state IN ('queued', 'settling')"),
            postgresql_where=sa.text("state IN ('queued', 'settling')"),
        )
        batch_op.create_index("ix_jobs_instrument_id", ["instrument_id"], unique=False)
        batch_op.create_index("ix_jobs_owner_id", ["owner_id"], unique=False)
        batch_op.create_index("ix_jobs_state", ["state", "id"], unique=False)

    op.create_table(
        "claims",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=True),
        sa.Column("last_act_at", Instant(), nullable=False),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("end_reason", sa.String(length=40), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(ended_at IS NULL) = (end_reason IS NULL)", name=op.f("ck_claims_ends_with_a_reason")
        ),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_claims_bench_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_claims_job_id")),
        sa.ForeignKeyConstraint(["technician_id"], ["technicians.id"], name=op.f("fk_claims_technician_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_claims")),
    )
    with op.batch_alter_table("claims", schema=None) as batch_op:
        batch_op.create_index(
            "ix_claims_open_by_technician",
            ["technician_id"],
            unique=False,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )
        batch_op.create_index(
            "uq_claims_open",
            ["job_id"],
            unique=True,
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )

    op.create_table(
        "consents",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column(
            "covers", words("covers", "general nut-filing saddle-filing fret-work high-pull"), nullable=False
        ),
        sa.Column("given", sa.Boolean(), nullable=False),
        sa.Column("given_by", sa.String(length=200), nullable=False),
        sa.Column("how", sa.String(length=40), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.Column("given_at", Instant(), nullable=False),
        sa.Column("withdrawn_at", Instant(), nullable=True),
        sa.Column("withdrawn_reason", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_consents_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_consents")),
    )
    with op.batch_alter_table("consents", schema=None) as batch_op:
        batch_op.create_index("ix_consents_job_id", ["job_id"], unique=False)

    op.create_table(
        "job_parts",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("quantity", sa.Double(), nullable=False),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("string_set_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint("quantity > 0", name=op.f("ck_job_parts_quantity")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_parts_job_id")),
        sa.ForeignKeyConstraint(
            ["string_set_id"], ["string_sets.id"], name=op.f("fk_job_parts_string_set_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_parts")),
    )
    with op.batch_alter_table("job_parts", schema=None) as batch_op:
        batch_op.create_index("ix_job_parts_job_id", ["job_id"], unique=False)

    op.create_table(
        "job_skills",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column(
            "skill",
            words("skill", "setup acoustic nylon bass fretwork nut-and-saddle tremolo electronics"),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_skills_job_id")),
        sa.PrimaryKeyConstraint("job_id", "skill", name=op.f("pk_job_skills")),
    )
    op.create_table(
        "quotes",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("work", sa.String(length=2000), nullable=False),
        sa.Column("amount", sa.Double(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("approved", sa.Boolean(), nullable=True),
        sa.Column("answered_at", Instant(), nullable=True),
        sa.Column("answered_how", sa.String(length=40), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(answered_at IS NULL) = (approved IS NULL)", name=op.f("ck_quotes_answered_whole")
        ),
        sa.CheckConstraint("amount >= 0", name=op.f("ck_quotes_amount")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_quotes_job_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_quotes")),
    )
    with op.batch_alter_table("quotes", schema=None) as batch_op:
        batch_op.create_index("ix_quotes_job_id", ["job_id"], unique=False)

    op.create_table(
        "reading_sheets",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("stage", words("stage", "as-received in-progress final recheck"), nullable=False),
        sa.Column("taken_at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column("outside_claim", sa.Boolean(), nullable=False),
        sa.Column("clock_ahead_confirmed", sa.Boolean(), nullable=False),
        sa.Column("position", words("position", "playing on-back"), nullable=False),
        sa.Column("at_pitch", sa.Boolean(), nullable=False),
        sa.Column("acclimatised", sa.Boolean(), nullable=False),
        sa.Column("room_temperature", sa.Double(), nullable=True),
        sa.Column("room_humidity", sa.Double(), nullable=True),
        sa.Column("room_typed", Json, nullable=True),
        sa.Column("string_set_id", sa.Uuid(), nullable=True),
        sa.Column("findings", Json, nullable=False),
        sa.Column("note", sa.String(length=4000), nullable=True),
        sa.Column("supersedes_id", sa.Uuid(), nullable=True),
        sa.Column("supersedes_reason", sa.String(length=1000), nullable=True),
        sa.CheckConstraint(
            "(supersedes_id IS NULL) = (supersedes_reason IS NULL)",
            name=op.f("ck_reading_sheets_a_correction_says_why"),
        ),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_reading_sheets_bench_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_reading_sheets_job_id")),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_reading_sheets_key_id")),
        sa.ForeignKeyConstraint(
            ["string_set_id"], ["string_sets.id"], name=op.f("fk_reading_sheets_string_set_id")
        ),
        sa.ForeignKeyConstraint(
            ["supersedes_id"], ["reading_sheets.id"], name=op.f("fk_reading_sheets_supersedes_id")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_reading_sheets_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_reading_sheets")),
    )
    with op.batch_alter_table("reading_sheets", schema=None) as batch_op:
        batch_op.create_index("ix_reading_sheets_job", ["job_id", "taken_at", "id"], unique=False)
        batch_op.create_index(
            "uq_reading_sheets_supersedes",
            ["supersedes_id"],
            unique=True,
            sqlite_where=sa.text("supersedes_id IS NOT NULL"),
            postgresql_where=sa.text("supersedes_id IS NOT NULL"),
        )

    op.create_table(
        "setup_specs",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("scope", words("scope", "shop model instrument job"), nullable=False),
        sa.Column("kind", words("kind", "electric acoustic-steel classical-nylon bass"), nullable=True),
        sa.Column("model_id", sa.Uuid(), nullable=True),
        sa.Column("instrument_id", sa.Uuid(), nullable=True),
        sa.Column("job_id", sa.Uuid(), nullable=True),
        sa.Column("place", sa.String(length=80), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("current", sa.Boolean(), nullable=False),
        sa.Column("reason", sa.String(length=1000), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(CASE WHEN kind IS NOT NULL THEN 1 ELSE 0 END) + (CASE WHEN model_id IS NOT NULL THEN 1 ELSE 0 END) + (CASE WHEN instrument_id IS NOT NULL THEN 1 ELSE 0 END) + (CASE WHEN job_id IS NOT NULL THEN 1 ELSE 0 END) = 1",
            name=op.f("ck_setup_specs_one_place"),
        ),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_setup_specs_instrument_id")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_setup_specs_job_id")),
        sa.ForeignKeyConstraint(["model_id"], ["instrument_models.id"], name=op.f("fk_setup_specs_model_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_setup_specs")),
        sa.UniqueConstraint("place", "number", name=op.f("uq_setup_specs_place_number")),
    )
    with op.batch_alter_table("setup_specs", schema=None) as batch_op:
        batch_op.create_index(
            "uq_setup_specs_current",
            ["place"],
            unique=True,
            sqlite_where=sa.text("current"),
            postgresql_where=sa.text("current"),
        )

    op.create_table(
        "shown_plans",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("digest", sa.String(length=64), nullable=False),
        sa.Column("stored_at", Instant(), nullable=False),
        sa.Column("plan", Json, nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_shown_plans_job_id")),
        sa.PrimaryKeyConstraint("job_id", "digest", name=op.f("pk_shown_plans")),
        info={"audited": False},
    )
    op.create_table(
        "adjustments",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("fingerprint", sa.String(length=64), nullable=False),
        sa.Column("claim_id", sa.Uuid(), nullable=False),
        sa.Column("done_at", Instant(), nullable=False),
        sa.Column("received_at", Instant(), nullable=False),
        sa.Column("bench_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.Column(
            "part",
            words(
                "part",
                "truss-rod strings bridge-post saddle-screw saddle saddle-position nut-slot spring-claw neck-shim pickup-screw frets tuners instrument",
            ),
            nullable=False,
        ),
        sa.Column("side", words("side", "bass treble"), nullable=True),
        sa.Column("string", sa.Integer(), nullable=True),
        sa.Column("pickup", sa.String(length=100), nullable=True),
        sa.Column("turns", sa.Double(), nullable=True),
        sa.Column("amount", sa.Double(), nullable=True),
        sa.Column("typed", Json, nullable=False),
        sa.Column("large_turn", sa.Boolean(), nullable=False),
        sa.Column("confirmed", sa.Boolean(), nullable=False),
        sa.Column("outside_plan", sa.Boolean(), nullable=False),
        sa.Column("string_set_id", sa.Uuid(), nullable=True),
        sa.Column("tuning_id", sa.Uuid(), nullable=True),
        sa.Column("minutes", sa.Integer(), nullable=True),
        sa.Column("consent_id", sa.Uuid(), nullable=True),
        sa.Column("plan_digest", sa.String(length=64), nullable=True),
        sa.Column("note", sa.String(length=4000), nullable=True),
        sa.CheckConstraint("side IS NULL OR string IS NULL", name=op.f("ck_adjustments_side_or_string")),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_adjustments_bench_id")),
        sa.ForeignKeyConstraint(["claim_id"], ["claims.id"], name=op.f("fk_adjustments_claim_id")),
        sa.ForeignKeyConstraint(["consent_id"], ["consents.id"], name=op.f("fk_adjustments_consent_id")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_adjustments_job_id")),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_adjustments_key_id")),
        sa.ForeignKeyConstraint(
            ["string_set_id"], ["string_sets.id"], name=op.f("fk_adjustments_string_set_id")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_adjustments_technician_id")
        ),
        sa.ForeignKeyConstraint(["tuning_id"], ["tunings.id"], name=op.f("fk_adjustments_tuning_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_adjustments")),
    )
    with op.batch_alter_table("adjustments", schema=None) as batch_op:
        batch_op.create_index("ix_adjustments_job", ["job_id", "done_at", "id"], unique=False)

    op.create_table(
        "job_moves",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column(
            "from_state",
            words(
                "from_state",
                "booked received queued on-bench settling waiting final-check ready collected returned-unrepaired cancelled",
            ),
            nullable=True,
        ),
        sa.Column(
            "to_state",
            words(
                "to_state",
                "booked received queued on-bench settling waiting final-check ready collected returned-unrepaired cancelled",
            ),
            nullable=False,
        ),
        sa.Column("waiting_for", words("waiting_for", "consent parts owner"), nullable=True),
        sa.Column("available_at", Instant(), nullable=True),
        sa.Column("reason", sa.String(length=1000), nullable=True),
        sa.Column("claim_id", sa.Uuid(), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "from_state IS NOT NULL OR sequence = 1", name=op.f("ck_job_moves_first_has_no_before")
        ),
        sa.ForeignKeyConstraint(["claim_id"], ["claims.id"], name=op.f("fk_job_moves_claim_id")),
        sa.ForeignKeyConstraint(
            ["from_state", "to_state"],
            ["allowed_moves.from_state", "allowed_moves.to_state"],
            name=op.f("fk_job_moves_from_state_to_state"),
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_moves_job_id")),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_job_moves_key_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_job_moves_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_job_moves")),
        sa.UniqueConstraint("job_id", "sequence", name=op.f("uq_job_moves_job_id_sequence")),
    )
    op.create_table(
        "readings",
        sa.Column("sheet_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
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
        sa.Column("pickup", sa.String(length=100), nullable=True),
        sa.Column("fret", sa.Integer(), nullable=True),
        sa.Column("hold_low", sa.Integer(), nullable=True),
        sa.Column("hold_high", sa.Integer(), nullable=True),
        sa.Column("capo", sa.Integer(), nullable=True),
        sa.Column("method", words("method", "string straightedge open-string tuner"), nullable=True),
        sa.Column("value", sa.Double(), nullable=False),
        sa.Column("typed_value", sa.Double(), nullable=False),
        sa.Column("typed_unit", sa.String(length=10), nullable=False),
        sa.Column("zero_or_less", sa.Boolean(), nullable=False),
        sa.Column("tool_id", sa.Uuid(), nullable=True),
        sa.Column("tool_name", sa.String(length=200), nullable=True),
        sa.Column("resolution", sa.Double(), nullable=True),
        sa.Column("repeatability", sa.Double(), nullable=True),
        sa.Column("confirmed", sa.Boolean(), nullable=False),
        sa.Column("accepted", sa.Boolean(), nullable=False),
        sa.Column("note", sa.String(length=1000), nullable=True),
        sa.CheckConstraint("side IS NULL OR string IS NULL", name=op.f("ck_readings_side_or_string")),
        sa.ForeignKeyConstraint(["sheet_id"], ["reading_sheets.id"], name=op.f("fk_readings_sheet_id")),
        sa.ForeignKeyConstraint(["tool_id"], ["tools.id"], name=op.f("fk_readings_tool_id")),
        sa.PrimaryKeyConstraint("sheet_id", "number", name=op.f("pk_readings")),
    )
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.create_index("ix_readings_quantity", ["quantity", "sheet_id"], unique=False)

    op.create_table(
        "setup_spec_items",
        sa.Column("spec_id", sa.Uuid(), nullable=False),
        sa.Column("position", sa.Integer(), nullable=False),
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
        sa.Column("pickup", sa.String(length=100), nullable=True),
        sa.Column("target", sa.Double(), nullable=False),
        sa.Column("lower", sa.Double(), nullable=True),
        sa.Column("upper", sa.Double(), nullable=True),
        sa.Column("hold_low", sa.Integer(), nullable=True),
        sa.Column("hold_high", sa.Integer(), nullable=True),
        sa.Column("reading_fret", sa.Integer(), nullable=True),
        sa.Column("typed", Json, nullable=False),
        sa.CheckConstraint(
            "lower IS NULL OR target >= lower", name=op.f("ck_setup_spec_items_target_above_lower")
        ),
        sa.CheckConstraint(
            "lower IS NULL OR upper IS NULL OR lower <= upper",
            name=op.f("ck_setup_spec_items_lower_below_upper"),
        ),
        sa.CheckConstraint("side IS NULL OR string IS NULL", name=op.f("ck_setup_spec_items_side_or_string")),
        sa.CheckConstraint(
            "upper IS NULL OR target <= upper", name=op.f("ck_setup_spec_items_target_below_upper")
        ),
        sa.ForeignKeyConstraint(["spec_id"], ["setup_specs.id"], name=op.f("fk_setup_spec_items_spec_id")),
        sa.PrimaryKeyConstraint("spec_id", "position", name=op.f("pk_setup_spec_items")),
    )
    op.bulk_insert(
        sa.table("allowed_moves", sa.column("from_state", sa.String), sa.column("to_state", sa.String)),
        [{"from_state": start, "to_state": to} for start, ends in MOVES.items() for to in ends],
    )
    op.bulk_insert(
        sa.table("job_numbers", sa.column("id", sa.Integer), sa.column("last", sa.Integer)),
        [{"id": 1, "last": 0}],
    )


def downgrade() -> None:
    op.drop_table("setup_spec_items")
    with op.batch_alter_table("readings", schema=None) as batch_op:
        batch_op.drop_index("ix_readings_quantity")

    op.drop_table("readings")
    op.drop_table("job_moves")
    with op.batch_alter_table("adjustments", schema=None) as batch_op:
        batch_op.drop_index("ix_adjustments_job")

    op.drop_table("adjustments")
    op.drop_table("shown_plans")
    with op.batch_alter_table("setup_specs", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_setup_specs_current", sqlite_where=sa.text("current"), postgresql_where=sa.text("current")
        )

    op.drop_table("setup_specs")
    with op.batch_alter_table("reading_sheets", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_reading_sheets_supersedes",
            sqlite_where=sa.text("supersedes_id IS NOT NULL"),
            postgresql_where=sa.text("supersedes_id IS NOT NULL"),
        )
        batch_op.drop_index("ix_reading_sheets_job")

    op.drop_table("reading_sheets")
    with op.batch_alter_table("quotes", schema=None) as batch_op:
        batch_op.drop_index("ix_quotes_job_id")

    op.drop_table("quotes")
    op.drop_table("job_skills")
    with op.batch_alter_table("job_parts", schema=None) as batch_op:
        batch_op.drop_index("ix_job_parts_job_id")

    op.drop_table("job_parts")
    with op.batch_alter_table("consents", schema=None) as batch_op:
        batch_op.drop_index("ix_consents_job_id")

    op.drop_table("consents")
    with op.batch_alter_table("claims", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_claims_open",
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )
        batch_op.drop_index(
            "ix_claims_open_by_technician",
            sqlite_where=sa.text("ended_at IS NULL"),
            postgresql_where=sa.text("ended_at IS NULL"),
        )

    op.drop_table("claims")
    with op.batch_alter_table("jobs", schema=None) as batch_op:
        batch_op.drop_index("ix_jobs_state")
        batch_op.drop_index("ix_jobs_owner_id")
        batch_op.drop_index("ix_jobs_instrument_id")
        batch_op.drop_index(
            "ix_jobs_claimable",
            sqlite_where=sa.text("state IN ('queued', 'settling')"),
            postgresql_where=sa.text("state IN ('queued', 'settling')"),
        )

    op.drop_table("jobs")
    with op.batch_alter_table("instruments", schema=None) as batch_op:
        batch_op.drop_index(
            "uq_instruments_serial",
            sqlite_where=sa.text("serial IS NOT NULL"),
            postgresql_where=sa.text("serial IS NOT NULL"),
        )
        batch_op.drop_index("ix_instruments_owner_id")

    op.drop_table("instruments")
    with op.batch_alter_table("idempotency_keys", schema=None) as batch_op:
        batch_op.drop_index("ix_idempotency_keys_created_at")

    op.drop_table("idempotency_keys")
    with op.batch_alter_table("tools", schema=None) as batch_op:
        batch_op.drop_index("ix_tools_bench_id", sqlite_where=sa.text("bench_id IS NOT NULL"))

    op.drop_table("tools")
    op.drop_table("technician_skills")
    op.drop_table("opening_hours")
    op.drop_table("instrument_models")
    op.drop_table("api_keys")
    op.drop_table("tunings")
    op.drop_table("technicians")
    op.drop_table("string_sets")
    op.drop_table("shop")
    op.drop_table("owners")
    op.drop_table("job_numbers")
    with op.batch_alter_table("domain_events", schema=None) as batch_op:
        batch_op.drop_index("ix_domain_events_at")

    op.drop_table("domain_events")
    op.drop_table("closures")
    op.drop_table("benches")
    with op.batch_alter_table("audit_events", schema=None) as batch_op:
        batch_op.drop_index("ix_audit_events_object")

    op.drop_table("audit_events")
    op.drop_table("allowed_moves")
