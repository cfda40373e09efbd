"""A calibration says of how many stands and bows it was made."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"
branch_labels = None
depends_on = None


def upgrade() -> None:
    """Add the column; before, a calibration was made of one."""
    op.add_column(
        "calibrations", sa.Column("repeats", sa.Integer(), nullable=False, server_default="1")
    )


def downgrade() -> None:
    """Take the column away."""
    op.drop_column("calibrations", "repeats")
