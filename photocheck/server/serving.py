"""The web app on this machine: ``photocheck serve``."""

from __future__ import annotations

import ipaddress
import os
import signal
import socket
import subprocess
import sys
import time
import tomllib
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from photocheck.errors import PhotocheckError, reason_of
from photocheck.orders.model import STORE_VARIABLE
from photocheck.server.shop import Shop, environment_of, shop_of
from photocheck.speech import tr

DESK_VARIABLE: Final = "PHOTOCHECK_DESK"
"""Environment variable: "open" when nobody has to sign in at the desk."""
INVITED_VARIABLE: Final = "PHOTOCHECK_INVITED_ONLY"
"""Environment variable: set when an order needs a link from the workshop."""
OIDC_VARIABLE: Final = "PHOTOCHECK_OIDC"
"""Environment variable with the file that names the shop's identity provider."""
KEEP_VARIABLE: Final = "PHOTOCHECK_KEEP_ALL"
"""Environment variable: set when no order goes by itself (`photocheck.orders.store.privacy`)."""

PORT: Final = 8501
ADDRESS: Final = "127.0.0.1"
THIS_MACHINE: Final = ("localhost", "127.0.0.1", "::1")
STARTS_WITHIN_S: Final = 60.0


class ServeError(PhotocheckError):
    """The app cannot be served as asked."""


def app_folder() -> Path:
    """Where the web app's package lies, wherever it is installed.

    Raises
    ------
    ServeError
        When it is not installed.
    """
    found = find_spec("photocheck_app")
    if found is None or found.origin is None or find_spec("streamlit") is None:
        raise ServeError(tr("the web app is not installed"), do=tr("Install photocheck again"))
    return Path(found.origin).parent


@dataclass(frozen=True)
class Doors:
    """Who may come in, and what is kept.

    Attributes
    ----------
    open_desk : bool
        Nobody has to sign in; for one person on their own machine.
    invited_only : bool
        An order needs a link from the workshop.
    oidc : str or None
        The file that names the shop's identity provider
        (`photocheck.server.access.provider.read_provider`).
    keep_all : bool
        No order goes by itself, however old.
    """

    open_desk: bool = False
    invited_only: bool = False
    oidc: str | None = None
    keep_all: bool = False

    def environment(self) -> dict[str, str]:
        """What tells the served app."""
        return {
            DESK_VARIABLE: "open" if self.open_desk else "",
            INVITED_VARIABLE: "yes" if self.invited_only else "",
            OIDC_VARIABLE: self.oidc or "",
            KEEP_VARIABLE: "yes" if self.keep_all else "",
        }


def is_this_machine(address: str) -> bool:
    """Whether only this machine reaches an address."""
    try:
        return address == "localhost" or ipaddress.ip_address(address).is_loopback
    except ValueError:
        return False


def refuse_open_desk(address: str, doors: Doors, *, anybody: bool) -> None:
    """Let no other machine come where everybody, or nobody, could be at the desk.

    Parameters
    ----------
    anybody : bool
        Whether somebody can sign in with a password.

    Raises
    ------
    ServeError
    """
    if is_this_machine(address):
        return
    if doors.open_desk:
        raise ServeError(
            tr("at {address} other machines could open the orders", address=address),
            where="--open-desk",
            do=tr("Leave it out, or use 127.0.0.1"),
        )
    if not anybody and doors.oidc is None:
        raise ServeError(
            tr(
                "other machines would reach the app at {address}, and nobody can sign in yet",
                address=address,
            ),
            where="--address",
            do=tr("Say who may: photocheck staff add NAME; or give --oidc FILE"),
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


def flags(address: str, port: int, folder: Path, *, only_here: bool = False) -> list[str]:
    """Every setting of the app as a flag, so that no file elsewhere can change them.

    Parameters
    ----------
    only_here : bool
        Whether pages opened under another name than this machine's own are refused: a page
        elsewhere could otherwise have its name lead here, and read an open desk.
    """
    config = tomllib.loads((folder / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    told = dict(_settings(config)) | {
        "server.address": address,
        "server.port": port,
        "server.headless": True,
        "server.fileWatcherType": "none",
        "logger.level": "warning",
        # Where a library for coloured tracebacks is there, they would go to standard output.
        "logger.enableRich": False,
    }
    hosts = [f"--server.allowedHosts={host}" for host in THIS_MACHINE] if only_here else []
    return [f"--{name}={_flag(value)}" for name, value in told.items()] + hosts


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
    shop: Shop | None = None,
    doors: Doors | None = None,
    on_ready: Callable[[str, bool], None] | None = None,
) -> int:
    """Serve the web app until it is ended with Ctrl-C; only from a process' main thread.

    Parameters
    ----------
    address, port
        Where to listen.
    store : str or None
        Address of the store, as `photocheck.orders.store.open_store` takes it.
    shop : Shop, optional
        The shop's own files; as the environment says when it is None.
    doors : Doors, optional
        Who may come in; the desk behind a password when it is None.
    on_ready : callable, optional
        Called with the page's address, and whether somebody can come to the desk, once it
        answers.

    Returns
    -------
    int
        The server's exit code; 0 after Ctrl-C or SIGTERM.

    Raises
    ------
    ServeError
        When it cannot be served as asked.
    PhotocheckError
        When the store cannot be opened, or a file of the shop cannot be used.
    """
    refuse_taken_port(address, port)
    from photocheck.orders.store import open_store
    from photocheck.server.access.door_secret import door_secret
    from photocheck.server.access.provider import read_provider
    from photocheck.server.access.staff import everybody

    doors = doors or Doors()

    # What is wrong with them is told here, not to the first visitor.
    shop = shop or shop_of()
    shop.check()
    door_secret()
    if doors.oidc is not None:
        read_provider(doors.oidc)
        if find_spec("authlib") is None:
            raise ServeError(
                tr("signing in through a provider needs a library that is not installed"),
                where="--oidc",
                do=tr("Install it: pip install 'photocheck[oidc]'"),
            )
    with closing(open_store(store)) as opened:
        anybody = bool(everybody(opened))
    refuse_open_desk(address, doors, anybody=anybody)
    folder = app_folder()
    # -P: what lies in the folder one happens to stand in is not what is installed.
    command = [sys.executable, "-P", "-m", "photocheck_app.start", "run", str(folder / "served.py")]
    environment = {**os.environ, **environment_of(shop), **doors.environment()}
    if store is not None:
        environment[STORE_VARIABLE] = store
    server = subprocess.Popen(
        [*command, *flags(address, port, folder, only_here=doors.open_desk)],
        env=environment,
        stdout=subprocess.DEVNULL,
    )
    page = f"http://{f'[{address}]' if ':' in address else address}:{port}"
    # A supervisor ends this process alone; the server must not outlive it.
    before = signal.signal(signal.SIGTERM, _as_ctrl_c)
    try:
        if _answers(page, server) and on_ready:
            on_ready(page, anybody or doors.open_desk or doors.oidc is not None)
        return server.wait()
    except KeyboardInterrupt:
        return 0
    finally:
        _end(server)
        signal.signal(signal.SIGTERM, before)


def _as_ctrl_c(*_: object) -> None:
    raise KeyboardInterrupt


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
