"""messages of jobs in the place of samples; all parts of what was learned; what a job began with"""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, datetime
from typing import Any
from uuid import NAMESPACE_URL, UUID, uuid5

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Instant, Json, new_id

revision = "0010"
down_revision = "0009"
branch_labels = None
depends_on = None

AT_ONCE = 500
NAMES = uuid5(NAMESPACE_URL, "shimstock:response-sample")


def upgrade() -> None:
    op.add_column("response_samples", sa.Column("precision", Json, nullable=True))
    op.add_column("response_samples", sa.Column("pull", Json, nullable=True))
    op.add_column("learned_responses", sa.Column("parts", Json, nullable=True))
    op.add_column("learned_responses", sa.Column("covariance", Json, nullable=True))
    op.create_table(
        "job_priors",
        sa.Column("job_id", sa.Uuid(), nullable=False),
        sa.Column("instrument_id", sa.Uuid(), nullable=False),
        sa.Column("learned", Json, nullable=False),
        sa.Column("kept_at", Instant(), nullable=False),
        sa.ForeignKeyConstraint(
            ["instrument_id"], ["instruments.id"], name=op.f("fk_job_priors_instrument_id")
        ),
        sa.ForeignKeyConstraint(["job_id"], ["jobs.id"], name=op.f("fk_job_priors_job_id")),
        sa.PrimaryKeyConstraint("job_id", name=op.f("pk_job_priors")),
    )
    _carry_reviews()
    _have_counted()


def _carry_reviews() -> None:
    """What was said of a sample is said of its job's message from now on; the newest note counts."""
    samples = sa.table(
        "response_samples",
        sa.column("id", sa.Uuid),
        sa.column("kind", sa.String),
        sa.column("job_id", sa.Uuid),
    )
    reviews = sa.table(
        "sample_reviews",
        sa.column("sample_id", sa.Uuid),
        sa.column("reviewed_at", Instant),
        sa.column("key_id", sa.Uuid),
        sa.column("technician_id", sa.Uuid),
        sa.column("leave_out", sa.Boolean),
        sa.column("note", sa.String),
    )
    db = op.get_bind()
    of_message: dict[UUID, list[Any]] = defaultdict(list)
    for row in db.execute(
        sa.select(reviews, samples.c.kind, samples.c.job_id)
        .join(samples, samples.c.id == reviews.c.sample_id)
        .order_by(reviews.c.reviewed_at)
    ).mappings():
        of_message[uuid5(NAMES, f"{row['kind']}/{row['job_id']}")].append(row)
    for message, rows in of_message.items():
        db.execute(sa.delete(reviews).where(reviews.c.sample_id.in_([row["sample_id"] for row in rows])))
        newest = {name: rows[-1][name] for name in reviews.columns.keys()}  # noqa: SIM118
        left_out = any(row["leave_out"] for row in rows)
        db.execute(sa.insert(reviews).values(newest | {"sample_id": message, "leave_out": left_out}))


def _have_counted() -> None:
    """Have the worker work out every job's message, a few jobs at a time."""
    db = op.get_bind()
    adjustments = sa.table("adjustments", sa.column("job_id", sa.Uuid))
    marks = sa.table(
        "learning_marks",
        sa.column("id", sa.Uuid),
        sa.column("job_id", sa.Uuid),
        sa.column("created_at", Instant),
    )
    now = datetime.now(UTC)
    jobs = db.execute(sa.select(adjustments.c.job_id).distinct()).scalars().all()
    for start in range(0, len(jobs), AT_ONCE):
        db.execute(
            sa.insert(marks),
            [{"id": new_id(), "job_id": job, "created_at": now} for job in jobs[start : start + AT_ONCE]],
        )


def downgrade() -> None:
    op.drop_table("job_priors")
    op.drop_column("learned_responses", "covariance")
    op.drop_column("learned_responses", "parts")
    op.drop_column("response_samples", "pull")
    op.drop_column("response_samples", "precision")
