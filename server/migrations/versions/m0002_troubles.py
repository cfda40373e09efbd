"""What went wrong with the sensors is kept with the session."""

import sqlalchemy as sa
from alembic import op

revision = "0002"
down_revision = "0001"
branch_labels = None
depends_on = None

COUNTED_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def upgrade() -> None:
    """Make the table of troubles, empty: of earlier sessions nothing was written down."""
    op.create_table(
        "troubles",
        sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False),
        sa.Column("session_id", sa.String(12), nullable=False),
        sa.Column("segment", sa.String(20), nullable=True),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("start_s", sa.Float(53), nullable=False),
        sa.Column("end_s", sa.Float(53), nullable=True),
        sa.Column("lost", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_troubles"),
        sa.ForeignKeyConstraint(["session_id"], ["sessions.id"], name="fk_troubles_session_id"),
    )
    op.create_index("ix_troubles_session_id", "troubles", ["session_id"])


def downgrade() -> None:
    """Take the table away."""
    op.drop_table("troubles")
