"""Alembic runs this: the migrations work on the connection that `schema.upgrade` gives."""

from alembic import context

context.configure(connection=context.config.attributes["connection"], transactional_ddl=True)
context.run_migrations()
