"""Alembic's entry: run the revisions on the engine that store.db hands over (there is no alembic.ini)."""

from alembic import context

from webapp.store.models import Base

with context.config.attributes["engine"].execution_options(writes=True).connect() as connection:
    context.configure(
        connection=connection,
        target_metadata=Base.metadata,
        render_as_batch=connection.dialect.name == "sqlite",
        compare_type=True,
    )
    with context.begin_transaction():
        context.run_migrations()
