"""What follows a check, on the command line: what to cut, what to write, what to keep."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from photocheck.cli.case_options import TOLERANCES_HELP
from photocheck.cli.say import say, say_json
from photocheck.cli.store_commands import STORE_OPTION
from photocheck.cli.streams import STREAM, folder_of, json_given, target, tell
from photocheck.cli.which_order import key_of
from photocheck.errors import CaseError
from photocheck.photo.kind import reads_heic
from photocheck.server.shop import (
    COLOUR_VARIABLE,
    HEIC_VARIABLE,
    NAME_VARIABLE,
    RATIOS_VARIABLE,
    REACH_VARIABLE,
    SHELF_VARIABLE,
    TEMPLATES_VARIABLE,
    TOLERANCES_VARIABLE,
)
from photocheck.speech import LANGUAGES, spoken, tr
from photocheck.words import EXIT_CODES

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from typing import Any

    from photocheck.fit.shelf import Size
    from photocheck.report.model import Report

_ratios = click.option(
    "--ratios", metavar="FILE", help="Check with what the shop has learnt; for a case file."
)
_language = click.option(
    "--language",
    type=click.Choice(list(LANGUAGES)),
    help="Of what is written; without it that of the command line.",
)


def shop_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """The options that are the fields of `photocheck.server.shop.Shop`."""
    for option in reversed(
        (
            click.option(
                "--shelf",
                metavar="FILE",
                default="",
                envvar=SHELF_VARIABLE,
                help="The shop's sizes; see the command shelf.",
            ),
            click.option(
                "--ratios",
                metavar="FILE",
                default="",
                envvar=RATIOS_VARIABLE,
                help="Check with what the shop has learnt.",
            ),
            click.option(
                "--templates",
                metavar="FOLDER",
                default="",
                envvar=TEMPLATES_VARIABLE,
                help="The shop's own messages; see the command templates.",
            ),
            click.option(
                "--heic/--no-heic",
                default=reads_heic,
                envvar=HEIC_VARIABLE,
                help="Take HEIC photos too, as iPhones write them; where they can be read, yes.",
            ),
            click.option(
                "--tolerances",
                metavar="LIST",
                default="",
                envvar=TOLERANCES_VARIABLE,
                help=TOLERANCES_HELP,
            ),
            click.option(
                "--name",
                metavar="TEXT",
                default="",
                envvar=NAME_VARIABLE,
                help="What the workshop calls itself, above its owners' pages.",
            ),
            click.option(
                "--reach",
                metavar="TEXT",
                default="",
                envvar=REACH_VARIABLE,
                help="How owners reach it: a telephone number or an address.",
            ),
            click.option(
                "--colour",
                metavar="#RRGGBB",
                default="",
                envvar=COLOUR_VARIABLE,
                help="The workshop's own colour, beside its name.",
            ),
        )
    ):
        command = option(command)
    return command


@click.command(
    epilog="Exit codes: 0 there is something to cut; 2 the input cannot be used; 10, 11, 12 and 14 "
    "as for check when the readings must be right first; 12 too when growth or a change of "
    "weight cannot be foreseen."
)
@click.argument("case")
@click.option("--shelf", metavar="FILE", help="The shop's sizes; see the command shelf.")
@click.option("--later-weight", metavar="WEIGHT", help="What the dog is expected to weigh later.")
@click.option(
    "--growth",
    type=click.Choice(["as-is", "for-growth"]),
    default="as-is",
    show_default=True,
    help="How to fit a puppy.",
)
@click.option(
    "--adult-weight",
    metavar="WEIGHT",
    help='What the puppy is expected to weigh when grown: "25 kg", or "22-28 kg".',
)
@click.option(
    "--adult-from",
    type=click.Choice(["owner", "breeder", "vet", "breed"]),
    default="owner",
    show_default=True,
    help="Who expects it; breed: its published range.",
)
@click.option("--adult-named", metavar="TEXT", default="", help="Where that range is published.")
@_ratios
@_language
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")
@click.pass_context
def fit(
    context: click.Context,
    /,
    case: str,
    shelf: str | None,
    later_weight: str | None,
    growth: str,
    adult_weight: str | None,
    adult_from: str,
    adult_named: str,
    ratios: str | None,
    language: str | None,
    as_json: bool,
) -> None:
    """Say what to cut for CASE, or which size of the shelf fits.

    CASE is a case file or a report ("photocheck check --json"). Nothing is given out unless
    tape and photo agree. With --growth for-growth a puppy is looked ahead to besides, date by
    date and with wide limits; what is cut stays for the dog of today.
    """
    from photocheck.case.lengths import parse_weight
    from photocheck.fit.answer import Wish
    from photocheck.fit.answer import fit as settle
    from photocheck.fit.growth import adult_weight as read_adult
    from photocheck.fit.shelf import read_shelf
    from photocheck.shown.plain_fit import plain_fit
    from photocheck.speech import speaking

    with speaking(language or spoken()):
        sizes = read_shelf(shelf) if shelf else ()
        later = parse_weight(later_weight, field="--later-weight") if later_weight else None
        report = _report(case, ratios)
        adult = (
            read_adult(adult_weight, adult_from, adult_named, field="--adult-weight")
            if adult_weight
            else None
        )
        answer = settle(report, sizes, Wish(later, growth.replace("-", "_"), adult))
        if as_json:
            import json
            from dataclasses import asdict

            say_json(json.dumps(asdict(answer), ensure_ascii=False, indent=2))
        else:
            say(plain_fit(answer))
    if answer.outcome == "measure_first":
        unread = report.verdict == "agrees"
        context.exit(EXIT_CODES["measure_again" if unread else report.verdict])
    context.exit(EXIT_CODES["cannot_tell"] if answer.outcome == "not_foreseen" else 0)


@click.command()
@click.argument("case")
@click.option(
    "--choice",
    type=click.Choice(["accepted", "asked-again", "retake", "refused"]),
    help="What it is about; without it, what the verdict calls for.",
)
@click.option("--reason", default="", help="To add, in the owner's language.")
@click.option("--templates", metavar="FOLDER", help="The shop's own; see the command templates.")
@click.option("--shelf", metavar="FILE", help="The shop's sizes, for an order that is accepted.")
@_ratios
@_language
def message(
    case: str,
    choice: str | None,
    reason: str,
    templates: str | None,
    shelf: str | None,
    ratios: str | None,
    language: str | None,
) -> None:
    """Draft a message to the owner of CASE, to be read before it is sent.

    CASE is a case file or a report ("photocheck check --json"). Nothing is sent.
    """
    from photocheck.fit.answer import fit as settle
    from photocheck.fit.shelf import read_shelf
    from photocheck.orders.messages.drafting import draft_message
    from photocheck.speech import speaking

    with speaking(language or spoken()):
        sizes = read_shelf(shelf) if shelf else ()
        report = _report(case, ratios)
        meant = choice or ("accepted" if report.verdict == "agrees" else "asked_again")
        say(
            draft_message(
                report,
                meant.replace("-", "_"),
                language=spoken(),
                reason=reason,
                templates=templates,
                answer=settle(report, sizes) if meant == "accepted" else None,
            )
        )


@click.command()
@click.argument("case")
@click.option(
    "-o",
    "--out",
    metavar="FILE",
    required=True,
    help="Where to write it: .pdf to print and sign, else one page of HTML.",
)
@click.option("--shelf", metavar="FILE", help="Add which of these sizes fits.")
@click.option("--by", help="Who checked; for a case file or a report.")
@click.option(
    "--shop",
    metavar="TEXT",
    default="",
    envvar=NAME_VARIABLE,
    help="What the workshop calls itself, above a PDF.",
)
@click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Of a PDF.",
)
@_ratios
@_language
@STORE_OPTION
def record(
    case: str,
    out: str,
    shelf: str | None,
    by: str | None,
    shop: str,
    paper: str,
    ratios: str | None,
    language: str | None,
    address: str | None,
) -> None:
    """Write the record of CASE: one page with picture, lengths, verdict and doubt.

    CASE is a case file or a report ("photocheck check --json"), which must find its photos
    where they were; or an order of the store, by its key, number or name, whose latest check and
    decision are recorded.
    """
    from photocheck.files import replacing
    from photocheck.fit.shelf import read_shelf
    from photocheck.speech import speaking

    look = (shop, paper) if out.lower().endswith(".pdf") else None
    with speaking(language or spoken()):
        sizes = read_shelf(shelf) if shelf else ()
        if _is_order(case):
            given = {"--by": by, "--ratios": ratios}
            for option in (name for name, value in given.items() if value is not None):
                raise CaseError(
                    tr("{option} is for a case file, and this is an order's key", option=option),
                    where="record",
                    do=tr("Leave it out: the order says by whom and how it was checked"),
                )
            content = _record_of_order(case, address, sizes, look)
        else:
            content = _record_of_file(case, by or "", ratios, sizes, look)
    pdf = look is not None
    with (
        target(out, ".pdf" if pdf else ".html", binary=pdf) as path,
        replacing(path, private=True) as file,
    ):
        file.write(content)
    if pdf:
        tell(tr("{file}: print it, or keep it as it is.", file=out), out)
    else:
        tell(tr("{file}: print it from a browser, or keep it as it is.", file=out), out)


def _is_order(case: str) -> bool:
    """Whether an order of the store is meant, and no file: that would be there, or end like one."""
    from pathlib import Path

    path = Path(case)
    return case != STREAM and not path.exists() and path.suffix != ".json" and path.name == case


def _record_of_order(
    key: str, address: str | None, sizes: Sequence[Size], look: tuple[str, str] | None
) -> bytes:
    """An order's record; `look` is the shop's name and the paper of a PDF."""
    from photocheck.orders.store import open_store
    from photocheck.shown.cutting_list import wish_of
    from photocheck.shown.outgoing import record_file, record_pdf_file

    store = open_store(address, new=False)
    key = key_of(store, key)
    wish = wish_of(store.order(key))
    if look is not None:
        return record_pdf_file(store, key, sizes, wish, shop=look[0], paper=look[1])
    return record_file(store, key, sizes, wish)


def _record_of_file(
    case: str,
    by: str,
    ratios: str | None,
    sizes: Sequence[Size],
    look: tuple[str, str] | None,
) -> bytes:
    from datetime import UTC, datetime

    from photocheck.fit.answer import fit as settle
    from photocheck.orders.draft import Draft
    from photocheck.orders.model import Check
    from photocheck.shown.record import record_html
    from photocheck.shown.record_facts import checked_pictures
    from photocheck.shown.record_pdf import record_pdf

    report = _report(case, ratios)
    check = Check(
        0, datetime.now(UTC), by, Draft(), report, report.version, report.ratios_version, spoken()
    )
    pictures, answer = checked_pictures(report, str), settle(report, sizes)
    if look is not None:
        return record_pdf(check, pictures, fit=answer, shop=look[0], paper=look[1])
    return record_html(check, pictures, fit=answer).encode()


@click.command()
@click.argument("out", metavar="FILE")
def shelf(out: str) -> None:
    """Write an invented table of sizes to FILE, to be changed into the shop's own."""
    from photocheck.fit.shelf import demo_table

    with target(out, ".csv", binary=False) as path:
        _write_new(path, demo_table())
    tell(tr("{file}: these sizes are invented; put your own in their place.", file=out), out)


@click.command()
@click.argument("folder")
def templates(folder: str) -> None:
    """Write the templates of all messages to FOLDER, to be changed into the shop's own.

    Remove those that shall stay as shipped. "photocheck message --templates FOLDER" uses
    them.
    """
    from pathlib import Path

    from photocheck.orders.messages.drafting import shipped_templates

    for language in LANGUAGES:
        for name, text in shipped_templates(language).items():
            _write_new(str(Path(folder) / language / name), text)
    say(tr("{folder}: begin with closing.txt, which signs every message.", folder=folder))


def _report(path: str, ratios: str | None) -> Report:
    """The report in a file, or the one its case gives when it is checked."""
    from photocheck.case.file import case_from_dict
    from photocheck.report.file import FORMAT, report_from_dict

    data = json_given(path, what=tr("case file or report"))
    if isinstance(data, dict) and data.get("format") == FORMAT:
        return report_from_dict(data, where=path)
    from photocheck.checking import check
    from photocheck.judge.ratios import read_ratios

    learnt = None if ratios is None else read_ratios(ratios)
    return check(case_from_dict(data, folder_of(path), where=path), ratios=learnt)


def _write_new(path: str, text: str) -> None:
    """Write a text file, never over one that somebody may have changed."""
    from pathlib import Path

    from photocheck.errors import PhotocheckError
    from photocheck.files import replacing

    goal = Path(path)
    if goal.exists():
        raise PhotocheckError(
            tr("this file is already there"), where=path, do=tr("Choose another name")
        )
    try:
        goal.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PhotocheckError(tr("the folder cannot be made"), where=str(goal.parent)) from error
    with replacing(goal) as file:
        file.write(text.encode())
