"""Alembic migrations, shipped with the package; `server.store.database` runs them at start."""
