"""what a job began with knows of its benches' offsets; nothing is taken off in jobs that were begun before"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

from shimstock_server.database.tables.base import Json

revision = "0012"
down_revision = "0011"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("job_priors", sa.Column("benches", Json, nullable=True))


def downgrade() -> None:
    op.drop_column("job_priors", "benches")
