"""The web app opened on this machine.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

from typing import Any

import click

from photocheck.cli.fit_commands import shop_options
from photocheck.cli.say import say
from photocheck.speech import tr


@click.command()
@click.option("--port", type=click.IntRange(1, 65535), default=8501, show_default=True)
@click.option(
    "--address",
    default="127.0.0.1",
    show_default=True,
    help="Where to listen; another than this machine's own only when staff can sign in.",
)
@click.option(
    "--store",
    metavar="ADDRESS",
    help="Where orders are kept: a file, or postgresql+psycopg://...; "
    "a file in your own data folder by default.",
)
@click.option("--open-desk", is_flag=True, help="No signing in; for you alone on this machine.")
@click.option("--invited-only", is_flag=True, help="Orders only by a link from the workshop.")
@click.option(
    "--oidc", metavar="FILE", help="Sign in through the shop's identity provider (OpenID Connect)."
)
@click.option(
    "--keep-all",
    is_flag=True,
    help="Delete nothing by itself: not orders never sent after 30 days, nor decided ones after "
    "two years.",
)
@shop_options
@click.pass_context
def serve(
    context: click.Context,
    /,
    port: int,
    address: str,
    store: str | None,
    open_desk: bool,
    invited_only: bool,
    oidc: str | None,
    keep_all: bool,
    **files: Any,
) -> None:
    """Open the web app on this machine, until Ctrl-C.

    The desk asks for a name and password; "photocheck staff add NAME" says who may come.
    The shop's own files are read again whenever they have changed.
    """
    from photocheck.server.access.addresses import DESK
    from photocheck.server.serving import Doors, is_this_machine
    from photocheck.server.serving import serve as serve_app
    from photocheck.server.shop import Shop

    def ready(page: str, anybody: bool) -> None:
        say(tr("photocheck is open at {page} (Ctrl-C ends it).", page=page))
        say(
            tr(
                "For owners: {owners}  The workshop's desk: {desk}",
                owners=f"{page}/",
                desk=page + DESK,
            )
        )
        if not anybody:
            say(tr("Nobody can sign in at the desk yet: photocheck staff add YOUR-NAME"))
        if not is_this_machine(address):
            say(
                tr("Passwords and photos travel unencrypted unless a proxy before it speaks HTTPS.")
            )

    code = serve_app(
        address=address,
        port=port,
        store=store,
        shop=Shop(**files),
        doors=Doors(open_desk, invited_only, oidc, keep_all),
        on_ready=ready,
    )
    context.exit(code)
