"""First tables: golfers, sessions, streams, batches, marks, calibrations, swings."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None
branch_labels = None
depends_on = None

COUNTED_KEY = sa.BigInteger().with_variant(sa.Integer(), "sqlite")


def _float(name: str, *, nullable: bool = False) -> sa.Column[float]:
    return sa.Column(name, sa.Float(53), nullable=nullable)


def _text(name: str, length: int, *, nullable: bool = False) -> sa.Column[str]:
    return sa.Column(name, sa.String(length), nullable=nullable)


def _moment(name: str, *, nullable: bool = False) -> sa.Column[object]:
    return sa.Column(name, sa.DateTime(timezone=True), nullable=nullable)


def _reference(table: str, column: str, target: str) -> sa.ForeignKeyConstraint:
    return sa.ForeignKeyConstraint([column], [target], name=f"fk_{table}_{column}")


def upgrade() -> None:
    """Make every table."""
    _people_and_sessions()
    _raw()
    _marks_and_calibrations()
    _swings()


def _people_and_sessions() -> None:
    op.create_table(
        "golfers",
        _text("id", 12),
        _text("name", 200),
        _text("handedness", 5),
        sa.Column("birth_year", sa.Integer(), nullable=True),
        _float("height_m", nullable=True),
        _float("mass_kg", nullable=True),
        _text("sex", 6, nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
        _moment("created_at"),
        sa.PrimaryKeyConstraint("id", name="pk_golfers"),
    )
    op.create_table(
        "sessions",
        _text("id", 12),
        _text("golfer_id", 12, nullable=True),
        _text("title", 200),
        _moment("started_at"),
        _moment("ended_at", nullable=True),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_sessions"),
        _reference("sessions", "golfer_id", "golfers.id"),
    )
    op.create_index("ix_sessions_golfer_id", "sessions", ["golfer_id"])
    op.create_index("ix_sessions_started_at", "sessions", ["started_at"])


def _raw() -> None:
    op.create_table(
        "streams",
        _text("id", 100),
        _text("session_id", 12),
        _text("segment", 20),
        _text("sensor", 200),
        _float("rate_hz"),
        _float("gyro_range_dps", nullable=True),
        _float("accel_range_g", nullable=True),
        _float("tick_s", nullable=True),
        _moment("declared_at"),
        sa.PrimaryKeyConstraint("id", name="pk_streams"),
        _reference("streams", "session_id", "sessions.id"),
    )
    op.create_index("ix_streams_session_id", "streams", ["session_id"])
    op.create_table(
        "batches",
        sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False),
        _text("session_id", 12),
        _text("stream_id", 100),
        sa.Column("sequence", sa.BigInteger(), nullable=False),
        *(_float(name) for name in ("start_s", "end_s")),
        sa.Column("samples", sa.Integer(), nullable=False),
        sa.Column("first_tick", sa.BigInteger(), nullable=False),
        *(_float(name) for name in ("ticks_per_sample", "received_s", "time_u_s")),
        sa.Column("lost_before", sa.Integer(), nullable=False),
        *(
            sa.Column(name, sa.LargeBinary(), nullable=False)
            for name in ("time_s", "gyro", "accel")
        ),
        sa.PrimaryKeyConstraint("id", name="pk_batches"),
        sa.UniqueConstraint("stream_id", "sequence", name="uq_batches_stream_id_sequence"),
        _reference("batches", "session_id", "sessions.id"),
        _reference("batches", "stream_id", "streams.id"),
    )
    op.create_index("ix_batches_session_id_id", "batches", ["session_id", "id"])
    op.create_index("ix_batches_session_id_start_s", "batches", ["session_id", "start_s"])


def _marks_and_calibrations() -> None:
    op.create_table(
        "marks",
        sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False),
        _text("session_id", 12),
        _text("kind", 20),
        _float("start_s"),
        _float("end_s"),
        sa.PrimaryKeyConstraint("id", name="pk_marks"),
        sa.UniqueConstraint(
            "session_id", "kind", "start_s", "end_s", name="uq_marks_session_id_kind_start_s_end_s"
        ),
        _reference("marks", "session_id", "sessions.id"),
    )
    op.create_index("ix_marks_session_id", "marks", ["session_id"])
    op.create_table(
        "calibrations",
        sa.Column("id", COUNTED_KEY, autoincrement=True, nullable=False),
        _text("session_id", 12),
        sa.Column("stand_mark_id", COUNTED_KEY, nullable=True),
        sa.Column("bow_mark_id", COUNTED_KEY, nullable=True),
        _float("from_s"),
        sa.Column("calibrated", sa.Boolean(), nullable=False),
        sa.Column("mountings", sa.JSON(), nullable=False),
        sa.Column("flags", sa.JSON(), nullable=False),
        sa.Column("analysis_version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_calibrations"),
        sa.UniqueConstraint(
            "stand_mark_id", "bow_mark_id", name="uq_calibrations_stand_mark_id_bow_mark_id"
        ),
        _reference("calibrations", "session_id", "sessions.id"),
        _reference("calibrations", "stand_mark_id", "marks.id"),
        _reference("calibrations", "bow_mark_id", "marks.id"),
    )
    op.create_index("ix_calibrations_session_id", "calibrations", ["session_id"])


def _swings() -> None:
    op.create_table(
        "swings",
        _text("session_id", 12),
        sa.Column("number", sa.Integer(), autoincrement=False, nullable=False),
        *(_float(name) for name in ("window_start_s", "window_end_s")),
        *(
            sa.Column(name, sa.JSON(), nullable=False)
            for name in ("events", "metrics", "uncertainty", "flags")
        ),
        sa.Column("usable", sa.Boolean(), nullable=False),
        sa.Column("analysis_version", sa.Integer(), nullable=False),
        sa.PrimaryKeyConstraint("session_id", "number", name="pk_swings"),
        _reference("swings", "session_id", "sessions.id"),
    )


def downgrade() -> None:
    """Take every table away, with all that is in it."""
    for table in ("swings", "calibrations", "marks", "batches", "streams", "sessions", "golfers"):
        op.drop_table(table)
