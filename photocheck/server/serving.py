"""The web app on this machine: ``photocheck serve``."""

from __future__ import annotations

import ipaddress
import os
import signal
import socket
import sys
import tomllib
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing
from dataclasses import dataclass
from importlib import import_module
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


def listening(address: str, port: int) -> socket.socket:
    """A socket that has the port, for a server to accept at.

    Parameters
    ----------
    port : int
        0 for any that is free.

    Raises
    ------
    ServeError
        When something else listens there.
    """
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    # The protocol is named, so that small answers leave at once: what is accepted inherits it, and
    # asyncio sets TCP_NODELAY on nothing else.
    listener = socket.socket(family, socket.SOCK_STREAM, socket.IPPROTO_TCP)
    try:
        if os.name == "posix":
            # A port that was just let go of is free.
            listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        if family == socket.AF_INET6:
            # Both kinds of address, at "::".
            listener.setsockopt(socket.IPPROTO_IPV6, socket.IPV6_V6ONLY, 0)
        listener.bind((address, port))
        listener.setblocking(False)
    except OSError as error:
        listener.close()
        raise ServeError(
            tr("port {port} cannot be used ({reason})", port=port, reason=reason_of(error)),
            where="--port",
            do=tr(
                "End what runs there, or choose another: photocheck serve --port {other}",
                other=port + 1 if port < 65535 else PORT,
            ),
        ) from error
    return listener


def refuse_taken_port(address: str, port: int) -> None:
    """Say so now when something else listens at the port.

    Raises
    ------
    ServeError
    """
    listening(address, port).close()


def settings(address: str, port: int, folder: Path, *, only_here: bool = False) -> dict[str, Any]:
    """Every setting of the app, so that no file elsewhere can change them.

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
    return told | ({"server.allowedHosts": list(THIS_MACHINE)} if only_here else {})


def _settings(config: Mapping[str, Any], prefix: str = "") -> Iterator[tuple[str, Any]]:
    for name, value in config.items():
        if isinstance(value, dict):
            yield from _settings(value, f"{prefix}{name}.")
        else:
            yield f"{prefix}{name}", value


def serve(
    *,
    address: str = ADDRESS,
    port: int = PORT,
    store: str | None = None,
    shop: Shop | None = None,
    doors: Doors | None = None,
    on_ready: Callable[[str, bool], None] | None = None,
) -> int:
    """Serve the web app until it is ended by Ctrl-C or SIGTERM; only from a process' main thread.

    The server is this very process: whatever ends it, however it ends, leaves nothing behind.  What
    is under way is finished first (`photocheck_app.start`).

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
        0 after Ctrl-C or SIGTERM; another when the server could not start.

    Raises
    ------
    ServeError
        When it cannot be served as asked.
    PhotocheckError
        When the store cannot be opened, or a file of the shop cannot be used.
    """
    # From the first moment on: as a container's first process it would not be ended otherwise.
    before = signal.signal(signal.SIGTERM, _as_ctrl_c)
    try:
        return _serve(address, port, store, shop, doors or Doors(), on_ready)
    except KeyboardInterrupt:
        return 0
    finally:
        signal.signal(signal.SIGTERM, before)


def _serve(
    address: str,
    port: int,
    store: str | None,
    shop: Shop | None,
    doors: Doors,
    on_ready: Callable[[str, bool], None] | None,
) -> int:
    refuse_taken_port(address, port)
    from photocheck.orders.store import open_store
    from photocheck.server.access.door_secret import door_secret
    from photocheck.server.access.provider import read_provider
    from photocheck.server.access.staff import everybody

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
    os.environ |= environment_of(shop) | doors.environment()
    if store is not None:
        os.environ[STORE_VARIABLE] = store
    leave_out_where_one_stands(folder.parent, Path(__file__).parents[2])
    page = f"http://{f'[{address}]' if ':' in address else address}:{port}"

    def ready() -> None:
        if on_ready:
            on_ready(page, anybody or doors.open_desk or doors.oidc is not None)

    # By name: nothing here knows the web app but where it begins.
    start = import_module(f"{folder.name}.start")
    told = settings(address, port, folder, only_here=doors.open_desk)
    return int(start.run(told, on_ready=ready))


def leave_out_where_one_stands(*needed: Path) -> None:
    """Look for no module in the folder one happens to stand in: it is not what is installed.

    Parameters
    ----------
    needed : Path
        Folders that hold what is served, wherever one stands.
    """
    here = Path.cwd()
    # `python -m` puts it first.
    if here not in needed and sys.path and sys.path[0] in ("", str(here)):
        del sys.path[0]


def _as_ctrl_c(*_: object) -> None:
    raise KeyboardInterrupt
