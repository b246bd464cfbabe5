"""who found a reading's repeatability; readings of studies and checks under an id of the client's"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"
branch_labels = None
depends_on = None


def upgrade() -> None:
    # what was kept before has none of it
    op.add_column("readings", sa.Column("repeatability_source", sa.String(length=300), nullable=True))
    op.add_column("study_readings", sa.Column("id", sa.Uuid(), nullable=True))
    op.add_column("study_readings", sa.Column("fingerprint", sa.String(length=64), nullable=True))
    op.add_column("study_readings", sa.Column("confirmed", sa.Boolean(), nullable=True))
    op.create_index("uq_study_readings_id", "study_readings", ["id"], unique=True)
    op.add_column("check_readings", sa.Column("fingerprint", sa.String(length=64), nullable=True))
    op.add_column("check_readings", sa.Column("confirmed", sa.Boolean(), nullable=True))


def downgrade() -> None:
    op.drop_column("check_readings", "confirmed")
    op.drop_column("check_readings", "fingerprint")
    op.drop_index("uq_study_readings_id", table_name="study_readings")
    op.drop_column("study_readings", "confirmed")
    op.drop_column("study_readings", "fingerprint")
    op.drop_column("study_readings", "id")
    op.drop_column("readings", "repeatability_source")
