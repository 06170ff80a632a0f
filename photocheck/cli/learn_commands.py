"""The shop's own ratios, learnt from what became of orders.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import json

import click

from photocheck.cli.case_options import json_option
from photocheck.cli.say import say, say_json
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.streams import source
from photocheck.errors import CaseError
from photocheck.speech import tr


@click.command()
@click.argument("orders", required=False)
@click.option("--ratios", metavar="FILE", default="ratios.json", show_default=True)
@click.option("--undo", is_flag=True, help="Go back to the version before the one in use.")
@click.option("--look", is_flag=True, help="Only show what would be learnt.")
@click.option(
    "--from-store",
    is_flag=True,
    help="Learn from the accepted orders of the store and what was heard of them.",
)
@click.option("--begin", is_flag=True, help="Write a ratios file in which nothing is learnt yet.")
@STORE_OPTION
@json_option
@click.pass_context
def learn(
    context: click.Context,
    /,
    orders: str | None,
    ratios: str,
    undo: bool,
    look: bool,
    from_store: bool,
    begin: bool,
    address: str | None,
    as_json: bool,
) -> None:
    """Learn the shop's own ratios tape over photo, and how exact its tapes are, from ORDERS.

    ORDERS is a file or a folder of outcomes: reports ("photocheck check --json") with what
    became of the order; "photocheck schema outcome" prints the format. Give all orders,
    not only new ones: those that fitted teach, those "accepted" of which nobody has heard
    yet count half. With --from-store instead of ORDERS the store's own orders are taken, with
    what staff and owners entered of them. What is learnt is kept in the ratios file only
    when orders left out of the learning are predicted better by it. "photocheck check --ratios
    FILE" uses them.
    """
    from photocheck import outcomes

    _refuse_mixed(context, begin=begin, from_store=from_store)
    if begin:
        from photocheck.orders.taught import begin_ratios

        begin_ratios(ratios)
        say(tr("{file}: nothing is learnt yet; the shipped ratios are in use.", file=ratios))
        return
    if undo:
        if orders is not None or look or from_store:
            raise CaseError(
                tr("--undo goes alone"), where="learn", do=tr("Give only --ratios with it")
            )
        current = outcomes.undo(ratios).current
        if as_json:
            say_json(json.dumps({"current": current}))
        else:
            say(
                tr("{file}: version shipped is in use again.", file=ratios)
                if current == "shipped"
                else tr("{file}: version {version} is in use again.", file=ratios, version=current)
            )
        return
    if from_store == (orders is not None):
        raise CaseError(
            tr("both ORDERS and --from-store are given")
            if from_store
            else tr("no orders are given"),
            where="learn",
            do=tr("Name a file or a folder of outcomes, or --from-store alone"),
        )
    if from_store:
        from photocheck.orders.store import open_store
        from photocheck.orders.taught import learn_from_store

        learning = learn_from_store(open_store(address, new=False), ratios, write=not look)
    else:
        assert orders is not None
        with source(orders, ".json") as path:
            learning = outcomes.learn_from(path, ratios, write=not look)
    if as_json:
        from dataclasses import asdict

        told = {
            "adopted": learning.adopted,
            "reason": learning.reason,
            "current": learning.ratios.current,
            "version": None if learning.version is None else asdict(learning.version),
            "left_out": [asdict(item) for item in learning.left_out],
        }
        say_json(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        from photocheck.shown.plain_learning import plain_learning

        say(plain_learning(learning))


def _refuse_mixed(context: click.Context, *, begin: bool, from_store: bool) -> None:
    """Refuse what would be passed over in silence."""
    given = {
        name
        for name in ("orders", "undo", "look", "from_store", "address")
        if context.get_parameter_source(name) is click.core.ParameterSource.COMMANDLINE
    }
    if begin and given:
        raise CaseError(
            tr("--begin goes alone"), where="learn", do=tr("Give only --ratios with it")
        )
    if "address" in given and not from_store:
        raise CaseError(
            tr("--store goes with --from-store"), where="learn", do=tr("Give both, or neither")
        )
