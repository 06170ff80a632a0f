"""The web app on this machine: ``photocheck serve``."""

from __future__ import annotations

import ipaddress
import os
import socket
import subprocess
import sys
import time
import tomllib
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from pathlib import Path
from typing import Any, Final

from photocheck.desk.orders import STORE_VARIABLE
from photocheck.errors import PhotocheckError, reason_of
from photocheck.speech import tr

PORT: Final = 8501
ADDRESS: Final = "127.0.0.1"
STARTS_WITHIN_S: Final = 60.0


class ServeError(PhotocheckError):
    """The app cannot be served as asked."""


def app_folder() -> Path:
    """The web app: under the package in a wheel, beside it in a checkout.

    Raises
    ------
    ServeError
        When it is in neither place.
    """
    package = Path(__file__).parent
    for folder in (package / "app", package.parent / "app"):
        if (folder / "main.py").is_file():
            return folder
    raise ServeError(tr("the web app is not here"), do=tr("Install photocheck again"))


def refuse_open_address(address: str) -> None:
    """Let only this machine in: nobody has to log in yet to see the workshop's desk.

    Raises
    ------
    ServeError
    """
    try:
        alone = address == "localhost" or ipaddress.ip_address(address).is_loopback
    except ValueError:
        alone = False
    if not alone:
        raise ServeError(
            tr(
                "at {address} other machines could open the orders, and nobody has to log in yet",
                address=address,
            ),
            where="--address",
            do=tr("Use 127.0.0.1, and reach it from elsewhere through an SSH tunnel"),
        )


def refuse_taken_port(address: str, port: int) -> None:
    """Say so now when something else listens at the port.

    Raises
    ------
    ServeError
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            # As the server does: a port that was just let go of is free.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((address, port))
        except OSError as error:
            raise ServeError(
                tr(
                    "port {port} cannot be used ({reason})",
                    port=port,
                    reason=reason_of(error),
                ),
                where="--port",
                do=tr(
                    "End what runs there, or choose another: photocheck serve --port {other}",
                    other=port + 1 if port < 65535 else PORT,
                ),
            ) from error


def flags(address: str, port: int, folder: Path) -> list[str]:
    """Every setting of the app as a flag, so that no file elsewhere can change them."""
    config = tomllib.loads((folder / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    told = dict(_settings(config)) | {
        "server.address": address,
        "server.port": port,
        "server.headless": True,
        "server.fileWatcherType": "none",
        "logger.level": "warning",
    }
    return [f"--{name}={_flag(value)}" for name, value in told.items()]


def _settings(config: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in config.items():
        if isinstance(value, dict):
            yield from _settings(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", value


def _flag(value: Any) -> str:
    return str(value).lower() if isinstance(value, bool) else str(value)


def serve(
    *,
    address: str = ADDRESS,
    port: int = PORT,
    store: str | None = None,
    on_ready: Callable[[str], None] | None = None,
) -> int:
    """Serve the web app until it is ended with Ctrl-C.

    Parameters
    ----------
    address, port
        Where to listen.
    store : str or None
        Address of the store, as `photocheck.desk.store.open_store` takes it.
    on_ready : callable, optional
        Called with the page's address once it answers.

    Returns
    -------
    int
        The server's exit code; 0 after Ctrl-C.

    Raises
    ------
    ServeError
        When it cannot be served as asked.
    PhotocheckError
        When the store cannot be opened.
    """
    refuse_open_address(address)
    refuse_taken_port(address, port)
    from photocheck.desk.store import open_store

    open_store(store).close()  # what is wrong with it is told here, not to the first visitor
    folder = app_folder()
    command = [sys.executable, "-m", "photocheck.app.start", "run", str(folder / "main.py")]
    environment = dict(os.environ)
    if store is not None:
        environment[STORE_VARIABLE] = store
    server = subprocess.Popen(
        [*command, *flags(address, port, folder)], env=environment, stdout=subprocess.DEVNULL
    )
    page = f"http://{f'[{address}]' if ':' in address else address}:{port}"
    try:
        if _answers(page, server) and on_ready:
            on_ready(page)
        return server.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        _end(server)


def _answers(page: str, server: subprocess.Popen[bytes]) -> bool:
    until = time.monotonic() + STARTS_WITHIN_S
    # Never through a proxy: the page is on this machine.
    opener = urllib.request.build_opener(urllib.request.ProxyHandler({}))
    while time.monotonic() < until and server.poll() is None:
        try:
            with opener.open(f"{page}/_stcore/health", timeout=2):
                return True
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    return False


def _end(server: subprocess.Popen[bytes]) -> None:
    """Ctrl-C reached the server as well; whatever else happened, it must not stay behind."""
    if server.poll() is not None:
        return
    try:
        server.wait(timeout=1)
    except subprocess.TimeoutExpired:
        server.terminate()
        try:
            server.wait(timeout=5)
        except subprocess.TimeoutExpired:
            server.kill()
            server.wait()
