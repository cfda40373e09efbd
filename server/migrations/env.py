"""Entry of Alembic. The connection is handed over in `attributes`; no ini file is read."""

from alembic import context

from server.models import Base

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=Base.metadata,
    render_as_batch=True,
)
with context.begin_transaction():
    context.run_migrations()
