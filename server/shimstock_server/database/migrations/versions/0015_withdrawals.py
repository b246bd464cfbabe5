"""adjustments that were told and not done; what an instrument was strung with before a change of strings"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant, Json

revision = "0015"
down_revision = "0014"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.create_table(
        "withdrawals",
        sa.Column("adjustment_id", sa.Uuid(), nullable=False),
        sa.Column("replaced_by_id", sa.Uuid(), nullable=True),
        sa.Column("reason", sa.String(length=1000), nullable=False),
        sa.Column("withdrawn_at", Instant(), nullable=False),
        sa.Column("technician_id", sa.Uuid(), nullable=True),
        sa.Column("key_id", sa.Uuid(), nullable=False),
        sa.ForeignKeyConstraint(
            ["adjustment_id"], ["adjustments.id"], name=op.f("fk_withdrawals_adjustment_id")
        ),
        sa.ForeignKeyConstraint(
            ["replaced_by_id"], ["adjustments.id"], name=op.f("fk_withdrawals_replaced_by_id")
        ),
        sa.ForeignKeyConstraint(
            ["technician_id"], ["technicians.id"], name=op.f("fk_withdrawals_technician_id")
        ),
        sa.ForeignKeyConstraint(["key_id"], ["api_keys.id"], name=op.f("fk_withdrawals_key_id")),
        sa.PrimaryKeyConstraint("adjustment_id", name=op.f("pk_withdrawals")),
    )
    op.create_index("uq_withdrawals_replaced_by_id", "withdrawals", ["replaced_by_id"], unique=True)
    op.add_column("adjustments", sa.Column("fitted_before", Json, nullable=True))


def downgrade() -> None:
    op.drop_column("adjustments", "fitted_before")
    op.drop_index("uq_withdrawals_replaced_by_id", table_name="withdrawals")
    op.drop_table("withdrawals")
