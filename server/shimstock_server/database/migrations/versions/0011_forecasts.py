"""what readings were expected to show, how much tools scatter, and the noise factors that a job began with

A job that has readings already stays with the factor 1: its plans were made with it.
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant, Json

revision = "0011"
down_revision = "0010"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("job_priors", sa.Column("noise", Json, nullable=True))
    op.create_table(
        "reading_forecasts",
        sa.Column("sheet_id", sa.Uuid(), nullable=False),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        sa.Column("expected", sa.Double(), nullable=False),
        sa.Column("spread", sa.Double(), nullable=False),
        sa.Column("level", sa.Double(), nullable=False),
        sa.Column("own", sa.Double(), nullable=False),
        sa.Column("noise", sa.Double(), nullable=False),
        sa.Column("doubtful", sa.Boolean(), nullable=False),
        sa.CheckConstraint(
            "spread > 0 AND level >= 0 AND own >= 0 AND noise > 0", name=op.f("ck_reading_forecasts_spreads")
        ),
        sa.ForeignKeyConstraint(
            ["sheet_id", "number"],
            ["readings.sheet_id", "readings.number"],
            name=op.f("fk_reading_forecasts_sheet_id_number"),
        ),
        sa.PrimaryKeyConstraint("sheet_id", "number", name=op.f("pk_reading_forecasts")),
    )
    op.create_table(
        "tool_noises",
        sa.Column("bench_id", sa.Uuid(), nullable=False),
        sa.Column("tool_id", sa.Uuid(), nullable=False),
        sa.Column("factor", sa.Double(), nullable=False),
        sa.Column("readings", sa.Integer(), nullable=False),
        sa.Column("learned_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name=op.f("fk_tool_noises_bench_id")),
        sa.ForeignKeyConstraint(["tool_id"], ["tools.id"], name=op.f("fk_tool_noises_tool_id")),
        sa.PrimaryKeyConstraint("bench_id", "tool_id", name=op.f("pk_tool_noises")),
    )


def downgrade() -> None:
    op.drop_table("tool_noises")
    op.drop_table("reading_forecasts")
    op.drop_column("job_priors", "noise")
