"""bookings, webhooks and owner pages; an event's place in the feed"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.migrations.columns import words
from shimstock_server.database.tables.base import Instant, Json

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "services",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("name", sa.String(length=200), nullable=False),
        sa.Column("description", sa.String(length=2000), nullable=True),
        sa.Column("kinds", Json, nullable=False),
        sa.Column("skills", Json, nullable=False),
        sa.Column("bench_minutes", sa.Integer(), nullable=False),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("price_from", sa.Boolean(), nullable=False),
        sa.Column("lead_days", sa.Integer(), nullable=False),
        sa.Column("notice_minutes", sa.Integer(), nullable=False),
        sa.Column("ahead_days", sa.Integer(), nullable=False),
        sa.Column("step_minutes", sa.Integer(), nullable=False),
        sa.Column("places", sa.Integer(), nullable=False),
        sa.Column("places_per_day", sa.Integer(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("bench_minutes > 0", name=op.f("ck_services_bench_minutes")),
        sa.CheckConstraint(
            "places > 0 AND (places_per_day IS NULL OR places_per_day > 0)", name=op.f("ck_services_places")
        ),
        sa.CheckConstraint("price IS NULL OR price >= 0", name=op.f("ck_services_price")),
        sa.CheckConstraint("step_minutes > 0", name=op.f("ck_services_step_minutes")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_services")),
        sa.UniqueConstraint("name", name=op.f("uq_services_name")),
    )
    op.create_table(
        "webhook_endpoints",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("url", sa.String(length=2000), nullable=False),
        sa.Column("description", sa.String(length=200), nullable=True),
        sa.Column("types", Json, nullable=False),
        sa.Column("site_id", sa.Uuid(), nullable=True),
        sa.Column("active", sa.Boolean(), nullable=False),
        sa.Column("disabled_reason", sa.String(length=40), nullable=True),
        sa.Column("salt", sa.LargeBinary(length=16), nullable=False),
        sa.Column("former_salt", sa.LargeBinary(length=16), nullable=True),
        sa.Column("former_until", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(former_salt IS NULL) = (former_until IS NULL)",
            name=op.f("ck_webhook_endpoints_former_secret_ends"),
        ),
        sa.CheckConstraint(
            "active OR disabled_reason IS NOT NULL", name=op.f("ck_webhook_endpoints_disabled_with_a_reason")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_endpoints")),
    )
    op.create_index("ix_webhook_endpoints_site_id", "webhook_endpoints", ["site_id"], unique=False)

    op.create_table(
        "bench_days",
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=False),
        sa.Column("used", sa.Integer(), nullable=False),
        sa.CheckConstraint("used >= 0", name=op.f("ck_bench_days_used")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_bench_days_technician_id")
        ),
        sa.PrimaryKeyConstraint("day", "technician_id", name=op.f("pk_bench_days")),
    )
    op.create_table(
        "webhook_deliveries",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("endpoint_id", sa.Uuid(), nullable=False),
        sa.Column("event_id", sa.Uuid(), nullable=False),
        sa.Column("object_type", sa.String(length=64), nullable=False),
        sa.Column("object_id", sa.Uuid(), nullable=False),
        sa.Column("sequence", sa.Integer(), nullable=False),
        sa.Column("state", words("state", "pending delivered parked"), nullable=False),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("due_at", Instant(), nullable=False),
        sa.Column("lease", sa.Uuid(), nullable=True),
        sa.Column("lease_until", Instant(), nullable=True),
        sa.Column("ended_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(state = 'pending') = (ended_at IS NULL)", name=op.f("ck_webhook_deliveries_ended_or_pending")
        ),
        sa.CheckConstraint(
            "(lease IS NULL) = (lease_until IS NULL)", name=op.f("ck_webhook_deliveries_leased_until")
        ),
        sa.ForeignKeyConstraint(
            ["endpoint_id"], ["webhook_endpoints.id"], name=op.f("fk_webhook_deliveries_endpoint_id")
        ),
        sa.ForeignKeyConstraint(
            ["event_id"], ["domain_events.id"], name=op.f("fk_webhook_deliveries_event_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_webhook_deliveries")),
        sa.UniqueConstraint(
            "endpoint_id", "event_id", name=op.f("uq_webhook_deliveries_endpoint_id_event_id")
        ),
    )
    op.create_index(
        "ix_webhook_deliveries_created_at", "webhook_deliveries", ["created_at", "id"], unique=False
    )
    op.create_index(
        "ix_webhook_deliveries_due",
        "webhook_deliveries",
        ["endpoint_id", "due_at"],
        unique=False,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    )
    op.create_index(
        "ix_webhook_deliveries_order",
        "webhook_deliveries",
        ["endpoint_id", "object_type", "object_id", "sequence"],
        unique=False,
        sqlite_where=sa.text("state = 'pending'"),
        postgresql_where=sa.text("state = 'pending'"),
    )

    op.create_table(
        "delivery_attempts",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("delivery_id", sa.Uuid(), nullable=False),
        sa.Column("status", sa.Integer(), nullable=True),
        sa.Column("error", sa.String(length=200), nullable=True),
        sa.Column("milliseconds", sa.Integer(), nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(
            ["delivery_id"], ["webhook_deliveries.id"], name=op.f("fk_delivery_attempts_delivery_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_delivery_attempts")),
    )
    op.create_index(
        "ix_delivery_attempts_delivery_id", "delivery_attempts", ["delivery_id", "id"], unique=False
    )

    op.create_table(
        "bookings",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("service_id", sa.Uuid(), nullable=False),
        sa.Column("site_id", sa.Uuid(), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column(
            "state", words("state", "held expired confirmed checked-in cancelled no-show"), nullable=False
        ),
        sa.Column("at", Instant(), nullable=False),
        sa.Column("wall", sa.String(length=16), nullable=False),
        sa.Column("zone", sa.String(length=64), nullable=False),
        sa.Column("day", sa.Date(), nullable=False),
        sa.Column("minutes", sa.Integer(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=False),
        sa.Column("hold_until", Instant(), nullable=True),
        sa.Column("price", sa.Double(), nullable=True),
        sa.Column("price_from", sa.Boolean(), nullable=False),
        sa.Column("currency", sa.String(length=3), nullable=False),
        sa.Column("promised_on", sa.Date(), nullable=False),
        sa.Column("owner_id", sa.Uuid(), nullable=True),
        sa.Column("job_id", sa.Uuid(), nullable=True),
        sa.Column("instrument", Json, nullable=False),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint(
            "(state = 'held') = (hold_until IS NOT NULL)", name=op.f("ck_bookings_held_until")
        ),
        sa.CheckConstraint(
            "state IN ('held', 'expired') OR job_id IS NOT NULL OR state = 'cancelled'",
            name=op.f("ck_bookings_with_its_job"),
        ),
        sa.CheckConstraint("minutes > 0", name=op.f("ck_bookings_minutes")),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_bookings_job_id")),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_bookings_key_id")),
        sa.ForeignKeyConstraint(["owner_id"], ["owners.id"], name=op.f("fk_bookings_owner_id")),
        sa.ForeignKeyConstraint(["service_id"], ["services.id"], name=op.f("fk_bookings_service_id")),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_bookings_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_bookings")),
    )
    op.create_index("ix_bookings_created_at", "bookings", ["created_at", "id"], unique=False)
    op.create_index(
        "ix_bookings_held",
        "bookings",
        ["day", "hold_until"],
        unique=False,
        sqlite_where=sa.text("state = 'held'"),
        postgresql_where=sa.text("state = 'held'"),
    )
    op.create_index("ix_bookings_owner_id", "bookings", ["owner_id"], unique=False)
    op.create_index("ix_bookings_site_id", "bookings", ["site_id", "created_at", "id"], unique=False)
    op.create_index(
        "uq_bookings_job_id",
        "bookings",
        ["job_id"],
        unique=True,
        sqlite_where=sa.text("job_id IS NOT NULL"),
        postgresql_where=sa.text("job_id IS NOT NULL"),
    )

    op.create_table(
        "card_links",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("token_hash", sa.LargeBinary(length=32), nullable=False),
        sa.Column("key_id", sa.Uuid(), nullable=True),
        sa.Column("expires_at", Instant(), nullable=False),
        sa.Column("revoked_at", Instant(), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_card_links_job_id")),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_card_links_key_id")),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_card_links")),
        sa.UniqueConstraint("token_hash", name=op.f("uq_card_links_token_hash")),
    )
    op.create_index("ix_card_links_job_id", "card_links", ["job_id"], unique=False)

    op.create_table(
        "booking_places",
        sa.Column("slot", sa.String(length=80), nullable=False),
        sa.Column("n", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("booking_id", sa.Uuid(), nullable=False),
        sa.CheckConstraint("n > 0", name=op.f("ck_booking_places_n")),
        sa.ForeignKeyConstraint(["booking_id"], ["bookings.id"], name=op.f("fk_booking_places_booking_id")),
        sa.PrimaryKeyConstraint("slot", "n", name=op.f("pk_booking_places")),
    )
    op.create_index("ix_booking_places_booking_id", "booking_places", ["booking_id"], unique=False)
    op.execute(f"ALTER TABLE api_keys ADD COLUMN site_id {'CHAR(32)' if _sqlite() else 'UUID'}")
    op.execute("UPDATE api_keys SET site_id = id WHERE scope = 'booking'")
    op.execute("ALTER TABLE domain_events ADD COLUMN position BIGINT")
    op.create_index("uq_domain_events_position", "domain_events", ["position"], unique=True)
    op.create_index(
        "ix_domain_events_new",
        "domain_events",
        ["sequence", "at", "id"],
        sqlite_where=sa.text("position IS NULL"),
        postgresql_where=sa.text("position IS NULL"),
    )


def downgrade() -> None:
    op.drop_index("ix_domain_events_new", "domain_events")
    op.drop_index("uq_domain_events_position", "domain_events")
    op.execute("ALTER TABLE domain_events DROP COLUMN position")
    op.execute("ALTER TABLE api_keys DROP COLUMN site_id")
    for table in (
        "booking_places",
        "card_links",
        "bookings",
        "delivery_attempts",
        "webhook_deliveries",
        "bench_days",
        "webhook_endpoints",
        "services",
    ):
        op.drop_table(table)


def _sqlite() -> bool:
    return bool(op.get_bind().dialect.name == "sqlite")
