"""What sync checks found between the clocks of two sensors is kept."""

import sqlalchemy as sa
from alembic import op

revision = "0004"
down_revision = "0003"
branch_labels = None
depends_on = None

COUNTED_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table of sync checks, empty: before, none was made."""
    op.create_table(
        "sync_checks",
        sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False),
        sa.Column("session_id", sa.String(12), nullable=False),
        sa.Column("pelvis_stream_id", sa.String(100), nullable=False),
        sa.Column("upper_back_stream_id", sa.String(100), nullable=False),
        *(
            sa.Column(name, sa.Float(53), nullable=False)
            for name in ("start_s", "end_s", "offset_s", "u_s", "correlation")
        ),
        sa.Column("applied", sa.Boolean(), nullable=True),
        sa.Column("applied_from_s", sa.Float(53), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_sync_checks"),
        *(
            sa.ForeignKeyConstraint([column], [target], name=f"fk_sync_checks_{column}")
            for column, target in (
                ("session_id", "sessions.id"),
                ("pelvis_stream_id", "streams.id"),
                ("upper_back_stream_id", "streams.id"),
            )
        ),
    )
    op.create_index("ix_sync_checks_session_id", "sync_checks", ["session_id"])


def downgrade() -> None:
    """Take the table away."""
    op.drop_table("sync_checks")
