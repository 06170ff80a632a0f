"""The orders of the store, one word each for all that is done to them.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from importlib import import_module
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Final

import click

from photocheck.cli.case_options import json_option
from photocheck.cli.report_lines import say_report
from photocheck.cli.say import COLOURS, columns, say, say_json
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.which_order import SHORT, key_of, named_by
from photocheck.orders.harmless import one_line
from photocheck.orders.model import CHOICES, STATES
from photocheck.speech import tr, tr_n
from photocheck.words import VERDICT_TITLES, VERDICTS

if TYPE_CHECKING:
    from photocheck.orders.model import OrderLine
    from photocheck.orders.store import DatabaseStore

_ELSEWHERE: Final[Mapping[str, tuple[str, str]]] = MappingProxyType(
    {
        "import": ("intake_commands", "import_orders"),
        "export": ("export_commands", "export"),
        "backup": ("store_commands", "backup"),
        "restore": ("store_commands", "restore"),
        "held": ("store_commands", "held"),
        "forget": ("store_commands", "forget"),
        "link": ("access_commands", "link"),
        "record": ("fit_commands", "record"),
    }
)
"""Commands that have stood by themselves for long, and do the same here."""

_NAME: Final = 36
"""Letters of an order's name in a list: what else is told of it stays on an ordinary line."""


class _OrderCommands(click.Group):
    """Those defined here, and those that are loaded when one of them is asked for."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted({*self.commands, *_ELSEWHERE})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _ELSEWHERE:
            return self.commands.get(cmd_name)
        module, name = _ELSEWHERE[cmd_name]
        command = getattr(import_module(f"photocheck.cli.{module}"), name)
        assert isinstance(command, click.Command)  # by `_ELSEWHERE`
        # Here, where all commands are asked for, lest modules go round in a circle.
        from photocheck.cli.main import spoken_by

        return spoken_by(command)


def _words(names: Iterable[str]) -> click.Choice[str]:
    return click.Choice([name.replace("_", "-") for name in names])


@click.group(cls=_OrderCommands)
def orders() -> None:
    """List, find, show and decide on the store's orders; bring them in and out.

    ORDER is the key, its beginning, the order's own number, or its name.
    """


@orders.command("list")
@click.option("--state", "states", multiple=True, type=_words(STATES), help="Only these; repeat.")
@click.option("--verdict", "verdicts", multiple=True, type=_words(VERDICTS), help="Likewise.")
@json_option
@STORE_OPTION
def list_orders(
    states: tuple[str, ...], verdicts: tuple[str, ...], as_json: bool, address: str | None
) -> None:
    """List the orders: those that wait first, and the worst of them before the others."""
    store = _opened(address)
    wanted, judged = _named(states), _named(verdicts)
    lines = [
        line
        for line in store.lines()
        if (not wanted or line.state in wanted) and (not judged or line.verdict in judged)
    ]
    _tell(store, lines, as_json=as_json)


@orders.command("find")
@click.argument("words", nargs=-1, required=True)
@json_option
@STORE_OPTION
def find_orders(words: tuple[str, ...], as_json: bool, address: str | None) -> None:
    """Find orders by number or name, or by words anywhere in them: notes and addresses too."""
    from photocheck.orders.model import Selection

    store = _opened(address)
    text = " ".join(words)
    found = named_by(store, store.lines(), text)
    if not found and text.strip():
        found = list(store.listed(Selection(text=text)).lines)
    _tell(store, found, as_json=as_json)


@orders.command("show")
@click.argument("order")
@json_option
@STORE_OPTION
def show_order(order: str, as_json: bool, address: str | None) -> None:
    """Show ORDER: its state, what it lacks, its latest check, and what was decided."""
    from photocheck.orders.export import orders_to_dict
    from photocheck.orders.gaps import gaps
    from photocheck.orders.listing import STATE_TITLES

    store = _opened(address)
    found = store.order(key_of(store, order))
    if as_json:
        whole = orders_to_dict([found])["orders"][0]
        say_json(json.dumps(whole, ensure_ascii=False, indent=2, allow_nan=False))
        return
    say(found.name or tr("an order without a name"), bold=True)
    say(f"{found.key}  {tr(STATE_TITLES[found.state])}  {_day(found.opened)}")
    if found.checks:
        say("")
        say_report(found.checks[-1].told)
    elif lacking := gaps(found.draft):
        say(tr("Still lacking") + "\n" + "\n".join(f"  - {gap.sentence}" for gap in lacking))
    for made in found.decisions:
        title = tr(STATE_TITLES[made.choice])
        said = tr("{day} {choice}, by {name}", day=_day(made.at), choice=title, name=made.by)
        say(f"\n{said}{f': {made.reason}' if made.reason else ''}")


@orders.command("decide")
@click.argument("order")
@click.argument("choice", type=_words(CHOICES))
@click.option(
    "--reason",
    default="",
    help="For the history; needed to refuse, or to accept all the same what does not agree.",
)
@click.option("--message", default="", help="What is said to the owner, for the history.")
@click.option("--by", default="staff", show_default=True, help="Who decides, for the history.")
@STORE_OPTION
def decide_order(
    order: str, choice: str, reason: str, message: str, by: str, address: str | None
) -> None:
    """Decide on the latest check of ORDER; nothing is sent."""
    from photocheck.orders.deciding import decide_on
    from photocheck.orders.listing import STATE_TITLES

    store = _opened(address)
    seen = store.order(key_of(store, order))
    decide_on(store, seen, choice.replace("-", "_"), by=by, reason=reason, message=message)
    title = tr(STATE_TITLES[choice.replace("-", "_")])
    say(f"{seen.key[:SHORT]} {seen.name}: {title}.")


def _opened(address: str | None) -> DatabaseStore:
    from photocheck.orders.store import open_store

    return open_store(address, new=False)


def _named(words: Iterable[str]) -> set[str]:
    return {word.replace("-", "_") for word in words}


def _day(at: Any) -> str:
    return f"{at:%Y-%m-%d}" if at else ""


def _tell(store: DatabaseStore, lines: list[OrderLine], *, as_json: bool) -> None:
    """One line for each, as wide as the terminal is; or all of them as JSON."""
    from photocheck.orders.listing import STATE_TITLES
    from photocheck.orders.store.numbers import numbers_of
    from photocheck.shown.plain import table

    numbers = numbers_of(store)
    if as_json:
        told = [
            {
                "order": line.key,
                "number": numbers.get(line.key),
                "name": line.name,
                "state": line.state,
                "verdict": line.verdict or None,
                "headline": line.headline,
                "checked": line.sent and f"{line.sent:%Y-%m-%dT%H:%M:%SZ}",
            }
            for line in lines
        ]
        say_json(json.dumps(told, ensure_ascii=False, indent=2))
        return
    rows = [
        (
            line.key[:SHORT],
            one_line(", ".join(filter(None, (numbers.get(line.key, ""), line.name))), _NAME) or "-",
            tr(STATE_TITLES[line.state]),
            tr(VERDICT_TITLES[line.verdict]) if line.verdict else "-",
            _day(line.sent) or "-",
        )
        for line in lines
    ]
    wide = columns()
    for line, text in zip(lines, table(rows).splitlines() if rows else (), strict=True):
        short = text if len(text) <= wide else f"{text[: wide - 1]}…"
        say(short, colour=COLOURS.get(line.verdict, "") if line.state == "waiting" else "")
    say(tr_n("{count} order", "{count} orders", len(lines)), err=True)
