"""A stream says what one of its gyro samples is, and what holds its sensor to the body."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the columns, null: nobody stated it of earlier sessions."""
    op.add_column("streams", sa.Column("rate_sample", sa.String(7), nullable=True))
    op.add_column("streams", sa.Column("fixing", sa.String(8), nullable=True))


def downgrade() -> None:
    """Take the columns away."""
    op.drop_column("streams", "fixing")
    op.drop_column("streams", "rate_sample")
