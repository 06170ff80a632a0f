"""A PostgreSQL database for one test."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator

import pytest
from sqlalchemy import URL, create_engine, make_url

POSTGRESQL = "PHOTOCHECK_TEST_POSTGRESQL"


def new_database() -> Iterator[str]:
    """A database of its own in the PostgreSQL for tests; never left out in CI."""
    server = os.environ.get(POSTGRESQL)
    if not server:
        if os.environ.get("CI"):
            pytest.fail(f"{POSTGRESQL} is not set")
        pytest.skip('no PostgreSQL; start one with: eval "$(bash .ci/postgresql start)"')
    name = f"test_{secrets.token_hex(8)}"
    engine = create_engine(make_url(server), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    url: URL = make_url(server).set(database=name)
    yield url.render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
    engine.dispose()
