"""A PostgreSQL database for one test, or a whole server."""

from __future__ import annotations

import os
import re
import secrets
import signal
import subprocess
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from sqlalchemy import URL, create_engine, make_url

from tests.support.waiting import until

POSTGRESQL = "PHOTOCHECK_TEST_POSTGRESQL"


def _postgresql() -> str:
    """The address of the server for tests, which not every machine has; CI must have it."""
    server = os.environ.get(POSTGRESQL, "")
    if not server:
        if os.environ.get("CI"):
            pytest.fail(f"{POSTGRESQL} is not set")
        pytest.skip('no PostgreSQL; start one with: eval "$(bash .ci/postgresql start)"')
    return server


_spare: list[URL] = []
"""Empty databases of this process's, for its next tests: to make one takes longer than most."""


def new_database() -> Iterator[str]:
    """An empty database in the PostgreSQL for tests, nobody else's; never left out in CI."""
    server = make_url(_postgresql())
    if _spare:
        url = _spare.pop()
    else:
        url = server.set(database=f"test_{secrets.token_hex(8)}")
        _said_to(server, f"CREATE DATABASE {url.database}")
    yield url.render_as_string(hide_password=False)
    _said_to(
        url,
        # whoever is still there, as a killed process's connection may be
        "SELECT pg_terminate_backend(pid) FROM pg_stat_activity"
        " WHERE datname = current_database() AND pid <> pg_backend_pid()",
        "DROP SCHEMA public CASCADE",
        "CREATE SCHEMA public",
    )
    _spare.append(url)


def drop_databases() -> None:
    """None of this process's is left."""
    while _spare:
        _said_to(make_url(_postgresql()), f"DROP DATABASE {_spare.pop().database} WITH (FORCE)")


def _said_to(url: URL, *statements: str) -> None:
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        for statement in statements:
            connection.exec_driver_sql(statement)
    engine.dispose()


class OwnPostgresql:
    """A PostgreSQL server of one test's own, which it may end and start as it likes.

    Parameters
    ----------
    folder : Path
        Where it shall lie; not there yet.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self.address = ""

    def start(self) -> None:
        """Start it, and wait until it answers."""
        said = self._script("start")
        (self.address,) = re.findall(r"'(postgresql.*)'", said)

    def die(self) -> None:
        """End it as a crash does: nobody is told, and it recovers with the next start."""
        pid = int((self._folder / "data" / "postmaster.pid").read_text().split()[0])
        os.kill(pid, signal.SIGQUIT)
        until(lambda: not (self._folder / "data" / "postmaster.pid").exists(), "its end")

    def remove(self) -> None:
        """End it, and delete all of it."""
        self._script("stop")

    def _script(self, act: str) -> str:
        environment = os.environ | {"PHOTOCHECK_TEST_POSTGRESQL_FOLDER": str(self._folder)}
        script = Path(__file__).parents[2] / ".ci" / "postgresql"
        done = subprocess.run(
            ["bash", script, act],
            env=environment,
            stdout=subprocess.PIPE,
            text=True,
            check=True,
            timeout=120,
        )
        return done.stdout


@contextmanager
def own_postgresql() -> Iterator[OwnPostgresql]:
    """One that has started, where PostgreSQL is installed; never left out in CI."""
    _postgresql()
    # The folder holds its socket, whose name may have 107 bytes; and another user must reach it.
    server = OwnPostgresql(Path(tempfile.gettempdir()) / f"pg-{secrets.token_hex(6)}")
    try:
        server.start()
        yield server
    finally:
        server.remove()
