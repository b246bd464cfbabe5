"""what readings and adjustments of closed jobs took, and what was learned of it"""

from __future__ import annotations

from datetime import UTC, datetime

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant, Json, new_id

revision = "0013"
down_revision = "0012"
branch_labels = None
depends_on = None

AT_ONCE = 500


def upgrade() -> None:
    op.add_column("report_jobs", sa.Column("took", Json, nullable=True))
    op.create_table(
        "learned_minutes",
        sa.Column("kind", sa.String(length=20), nullable=False),
        sa.Column("name", sa.String(length=40), nullable=False),
        sa.Column("minutes", sa.Double(), nullable=False),
        sa.Column("count", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("kind", "name", name=op.f("pk_learned_minutes")),
    )
    _have_counted()


def _have_counted() -> None:
    """Have the worker work out what every closed job took, a few jobs at a time."""
    db = op.get_bind()
    closed = sa.table("report_jobs", sa.column("job_id", sa.Uuid))
    marks = sa.table(
        "learning_marks",
        sa.column("id", sa.Uuid),
        sa.column("job_id", sa.Uuid),
        sa.column("created_at", Instant),
    )
    now = datetime.now(UTC)
    jobs = db.execute(sa.select(closed.c.job_id)).scalars().all()
    for start in range(0, len(jobs), AT_ONCE):
        some = jobs[start : start + AT_ONCE]
        db.execute(sa.insert(marks), [{"id": new_id(), "job_id": job, "created_at": now} for job in some])


def downgrade() -> None:
    op.drop_table("learned_minutes")
    op.drop_column("report_jobs", "took")
