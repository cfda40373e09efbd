"""Scale checks: sets of whole turns, the factors of a sensor, and the streams they hold for."""

import sqlalchemy as sa
from alembic import op

revision = "0005"
down_revision = "0004"
branch_labels = None
depends_on = None

COUNTED_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _key() -> sa.Column[int]:
    return sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False)


def _reference(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_{table}_{column}")


def upgrade() -> None:
    """Make the tables, empty, and the column of addresses, null: before, none was stated."""
    op.add_column("streams", sa.Column("address", sa.String(200), nullable=True))
    op.create_table(
        "scale_sets",
        _key(),
        sa.Column("stream_id", sa.String(100), nullable=False),
        sa.Column("start_s", sa.Float(53), nullable=False),
        sa.Column("end_s", sa.Float(53), nullable=False),
        sa.Column("turns", sa.Integer(), nullable=False),
        sa.Column("axis", sa.String(1), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_scale_sets"),
        _reference("scale_sets", "stream_id", "streams.id"),
    )
    op.create_index("ix_scale_sets_stream_id", "scale_sets", ["stream_id"])
    op.create_table(
        "scale_factors",
        _key(),
        sa.Column("sensor", sa.String(200), nullable=False),
        sa.Column("factors", sa.JSON(), nullable=False),
        sa.Column("u", sa.JSON(), nullable=False),
        sa.Column("found_at", sa.DateTime(timezone=True), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_scale_factors"),
    )
    op.create_index("ix_scale_factors_sensor", "scale_factors", ["sensor"])
    op.create_table(
        "stream_scales",
        _key(),
        sa.Column("stream_id", sa.String(100), nullable=False),
        sa.Column("scale_id", COUNTED_KEY, nullable=False),
        sa.Column("from_s", sa.Float(53), nullable=True),
        sa.PrimaryKeyConstraint("id", name="pk_stream_scales"),
        _reference("stream_scales", "stream_id", "streams.id"),
        _reference("stream_scales", "scale_id", "scale_factors.id"),
    )
    op.create_index("ix_stream_scales_stream_id", "stream_scales", ["stream_id"])


def downgrade() -> None:
    """Take tables and column away."""
    for table in ("stream_scales", "scale_factors", "scale_sets"):
        op.drop_table(table)
    op.drop_column("streams", "address")
