"""what a webhook endpoint answered"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0014"
down_revision = "0013"
branch_labels = None
depends_on = None


def upgrade() -> None:
    op.add_column("delivery_attempts", sa.Column("answer", sa.String(200), nullable=True))


def downgrade() -> None:
    op.drop_column("delivery_attempts", "answer")
