"""Alembic's entry: run the revisions on the engine that store.db hands over (there is no alembic.ini)."""

from alembic import context

from webapp.store.models import Base

TURN = 7_245_227  # any number that nothing else in this database locks

with context.config.attributes["engine"].execution_options(writes=True).connect() as connection:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
    )
    with context.begin_transaction():
        if connection.dialect.name == "postgresql":  # hosts that start at once take turns; SQLite's transaction does that
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({TURN})")
        context.run_migrations()
