"""Alembic's scripts: one module for each version of the tables."""
