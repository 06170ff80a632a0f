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


def new_database() -> Iterator[str]:
    """A database of its own in the PostgreSQL for tests; never left out in CI."""
    server = _postgresql()
    name = f"test_{secrets.token_hex(8)}"
    engine = create_engine(make_url(server), isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    url: URL = make_url(server).set(database=name)
    yield url.render_as_string(hide_password=False)
    with engine.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE {name} WITH (FORCE)")
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
