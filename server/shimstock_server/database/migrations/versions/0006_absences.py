"""technicians' absences; why a booking was cancelled, in its owner's words; how owners reach the shop"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "absences",
        sa.Column("id", sa.Uuid(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=False),
        sa.Column("first", sa.Date(), nullable=False),
        sa.Column("last", sa.Date(), nullable=False),
        sa.Column("starts", sa.String(length=5), nullable=True),
        sa.Column("ends", sa.String(length=5), nullable=True),
        sa.Column("created_at", Instant(), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("updated_at", Instant(), nullable=False),
        sa.CheckConstraint("first <= last", name=op.f("ck_absences_first_before_last")),
        sa.CheckConstraint("(starts IS NULL) = (ends IS NULL)", name=op.f("ck_absences_hours_in_pairs")),
        sa.CheckConstraint(
            "starts IS NULL OR (first = last AND starts < ends)", name=op.f("ck_absences_hours_of_one_day")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_absences_technician_id")
        ),
        sa.PrimaryKeyConstraint("id", name=op.f("pk_absences")),
    )
    op.create_index("ix_absences_technician_id", "absences", ["technician_id", "last"], unique=False)
    op.create_index("ix_absences_last", "absences", ["last"], unique=False)
    op.add_column("bookings", sa.Column("cancel_reason", sa.String(length=500), nullable=True))
    op.add_column("shop", sa.Column("contact", sa.String(length=500), nullable=True))


def downgrade() -> None:
    op.drop_column("shop", "contact")
    op.drop_column("bookings", "cancel_reason")
    op.drop_index("ix_absences_last", table_name="absences")
    op.drop_index("ix_absences_technician_id", table_name="absences")
    op.drop_table("absences")
