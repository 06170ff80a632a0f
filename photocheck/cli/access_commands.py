"""Commands on who comes to what: staff at the desk, other programs, owners' links.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from photocheck.cli.say import say, sure
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.which_order import key_of
from photocheck.speech import tr, tr_n

if TYPE_CHECKING:
    from photocheck.orders.store import DatabaseStore

PASSWORD_VARIABLE = "PHOTOCHECK_PASSWORD"
"""Environment variable with the password to set, for scripts."""


@click.group()
def staff() -> None:
    """Say who may sign in at the workshop's desk."""


@staff.command("add")
@click.argument("name")
@STORE_OPTION
def add(name: str, address: str | None) -> None:
    """Let NAME sign in, with a password that is asked for.

    The history of orders shows the name. In scripts the password comes from the environment
    variable PHOTOCHECK_PASSWORD.
    """
    from photocheck.server.access import staff as people

    people.add(_store(address, new=True), name, _password())
    say(tr("{name} can sign in at the desk.", name=name))


@staff.command("password")
@click.argument("name")
@STORE_OPTION
def password(name: str, address: str | None) -> None:
    """Give NAME another password; wherever NAME is signed in, that ends."""
    from photocheck.server.access import staff as people

    people.set_password(_store(address), name, _password())
    say(tr("{name} has a new password, and signs in with it from now on.", name=name))


@staff.command("remove")
@click.argument("name")
@STORE_OPTION
def remove(name: str, address: str | None) -> None:
    """Let NAME in no more, from this moment on. The history keeps the name."""
    from photocheck.server.access import staff as people

    people.remove(_store(address), name)
    say(tr("{name} can no longer sign in.", name=name))


@staff.command("list")
@STORE_OPTION
def everybody(address: str | None) -> None:
    """List who may sign in, and since when."""
    from photocheck.server.access import staff as people

    for name, since in people.everybody(_store(address)):
        say(f"{since:%Y-%m-%d}  {name}")


@click.group()
def client() -> None:
    """Say which other programs may come to the orders, at /api/v1 of "photocheck serve"."""


_calls = click.option(
    "--calls",
    "hosts",
    multiple=True,
    metavar="HOST",
    help="A host at which it may be told of changes, hooks.example or 127.0.0.1:9000; repeat.",
)
_private = click.option(
    "--private", is_flag=True, help="With --calls: also where a host lies in a private network."
)


@client.command("add")
@click.argument("name")
@click.option("--own-orders", is_flag=True, help="It sees only orders that it began itself.")
@_calls
@_private
@STORE_OPTION
def add_client(
    name: str, own_orders: bool, hosts: tuple[str, ...], private: bool, address: str | None
) -> None:
    """Let a program called NAME come in, and print its token.

    The token is shown once and cannot be looked up later. The history of orders shows the name.
    """
    from photocheck.server.access import clients

    calls = clients.calls_to(hosts, private=private)
    token = clients.make_client(_store(address, new=True), name, own_orders=own_orders, calls=calls)
    say(token)
    _say_once(hosts)


@client.command("token")
@click.argument("name")
@_calls
@_private
@STORE_OPTION
def another_token(name: str, hosts: tuple[str, ...], private: bool, address: str | None) -> None:
    """Print another token for NAME; those it had open nothing from this moment on.

    With --calls, the hosts named now take the place of those named before.
    """
    from photocheck.server.access import clients

    calls = clients.calls_to(hosts, private=private) if hosts or private else None
    token = clients.renew_client(_store(address), name, calls=calls)
    say(token)
    _say_once(hosts)


@client.command("remove")
@click.argument("name")
@STORE_OPTION
def remove_client(name: str, address: str | None) -> None:
    """Let NAME in no more, from this moment on, and tell it nothing more.

    Its orders stay, and the history keeps the name.
    """
    from photocheck.server.access import clients

    clients.end_client(_store(address), name)
    say(tr("{name} can no longer come in.", name=name))


@client.command("list")
@STORE_OPTION
def every_client(address: str | None) -> None:
    """List the programs that were let in, what they see, and whom they have called."""
    from photocheck.orders.store.kept_changes import subscriptions_of
    from photocheck.orders.store.kept_clients import SHOP
    from photocheck.orders.store.kept_clients import every_client as everyone

    store = _store(address)
    subscribed = subscriptions_of(store)
    for one in everyone(store):
        sees = tr("sees all orders") if one.sees == SHOP else tr("sees its own orders")
        calls = tr("may have called {hosts}", hosts=", ".join(one.calls.hosts) or "-")
        state = "" if one.open else f"  ({tr('removed')})"
        say(f"{one.at:%Y-%m-%d}  {one.name}  {sees}  {calls}{state}")
        for place in (each for each in subscribed if each.client == one.id and not each.ended):
            waiting = tr_n("{count} change waits", "{count} changes wait", place.waiting)
            say(f"            {place.address}  {waiting}  {place.said}".rstrip())


def _say_once(hosts: tuple[str, ...]) -> None:
    say(tr("This token is shown once: keep it where only that program can read it."), err=True)
    if hosts:
        said = tr("What it is told is sent by the server itself, over https, to the hosts named.")
        say(said, err=True)


@click.command()
@click.argument("key")
@click.option(
    "--page",
    metavar="ADDRESS",
    default="http://127.0.0.1:8501",
    show_default=True,
    help="Where owners open the app.",
)
@click.option("--days", type=click.FloatRange(0, min_open=True), help="How long it lasts; 60.")
@click.option("--end", is_flag=True, help="Take back all links of the order instead.")
@click.option("--by", default="staff", show_default=True, help="Who makes it, for the history.")
@STORE_OPTION
def link(key: str, page: str, days: float | None, end: bool, by: str, address: str | None) -> None:
    """Make a link with which the owner of the order KEY sees that order, and no other.

    It is shown once and cannot be looked up later; make another when it is lost.
    """
    from photocheck.server.access import passes
    from photocheck.server.access.addresses import address_of_link

    store = _store(address)
    key = key_of(store, key)
    if end:
        ended = passes.end_links(store, key)
        say(tr_n("{count} link taken back.", "{count} links taken back.", ended))
        return
    made = passes.link_for(store, key, by=by, days=passes.LINK_DAYS if days is None else days)
    say(address_of_link(page, made))


@click.command()
@click.option("--links", is_flag=True, help="End all owners' links as well.")
@STORE_OPTION
@click.option("--yes", is_flag=True, help="Do not ask.")
def rotate(links: bool, address: str | None, yes: bool) -> None:
    """Put another secret in the place of the doors' own, and end whoever is signed in.

    For when somebody may have read it, or a colleague with access to the machine has left.
    The secret lies in a file outside the orders and their copies; the environment variable
    PHOTOCHECK_SECRET names another one. Several servers need the same file.
    """
    from photocheck.server.access import door_secret, passes

    store = _store(address)
    if not yes:
        question = (
            tr("End all owners' links and whoever is signed in?")
            if links
            else tr("End whoever is signed in?")
        )
        sure(question)
    file = door_secret.rotate()
    ended = passes.end_all(store, links=links)
    say(tr("{file} holds another secret.", file=file))
    say(
        tr_n("{count} pass opens nothing any more.", "{count} passes open nothing any more.", ended)
    )
    say(tr("With --oidc, start photocheck serve anew: until then nobody comes in by it."))


def _store(address: str | None, *, new: bool = False) -> DatabaseStore:
    from photocheck.orders.store import open_store

    return open_store(address, new=new)


def _password() -> str:
    given = os.environ.get(PASSWORD_VARIABLE)
    if given is not None:
        return given
    return str(click.prompt(tr("Password"), hide_input=True, confirmation_prompt=True))
