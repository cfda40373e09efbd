"""A stream says what one of its gyro samples is: the rate of an instant, or a mean."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column, null: sensors of earlier sessions did not state it."""
    op.add_column("streams", sa.Column("rate_sample", sa.String(7), nullable=True))


def downgrade() -> None:
    """Take the column away."""
    op.drop_column("streams", "rate_sample")
