"""One case checked, or only its reference looked at: ``check`` and ``locate``.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from photocheck.cli.case_options import (
    TOLERANCES_HELP,
    case_dict,
    json_option,
    point,
    reading_options,
    reference_dict,
    reference_options,
)
from photocheck.cli.exits import FAILED
from photocheck.cli.progress import progress
from photocheck.cli.report_lines import say_report
from photocheck.cli.say import columns, say, say_json
from photocheck.cli.streams import STREAM, folder_of, json_given, source, target
from photocheck.errors import CaseError, ScaleError
from photocheck.photo.kind import MAX_BYTES
from photocheck.speech import tr
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    BUILDS,
    COATS,
    EXIT_CODES,
    FACT_PATHS,
    LANDMARK_HINTS,
    PLACE_TITLES,
    TAGS_UNUSED,
    UNITS,
    VERDICT_TITLES,
)

if TYPE_CHECKING:
    from photocheck.case.model import Case
    from photocheck.photo.photo import Photo
    from photocheck.report.model import Report

_EXITS = ", ".join(
    f"{code} {VERDICT_TITLES.get(word, 'the input cannot be used')}"
    for word, code in EXIT_CODES.items()
)
_MARK_HELP = "; ".join(f"{name}: {LANDMARK_HINTS[name]}" for name in ALL_LANDMARKS)
_PLACE_HELP = "; ".join(f"{name}: {title}" for name, title in PLACE_TITLES.items())


@click.command(epilog=f"Exit codes: {_EXITS}; {FAILED} a failure of the program itself.")
@click.argument("casefile", required=False)
@click.option("--photo", metavar="FILE", help="The side photo: JPEG, PNG, WebP or HEIC.")
@reference_options
@click.option("--place", metavar="PLACE", help=f"Where the reference stood. {_PLACE_HELP}.")
@click.option("--offset", metavar="LENGTH", help="Its distance from the dog's middle plane.")
@click.option("--offset-spread", metavar="LENGTH", help="How far off that may be.")
@click.option("--mark", multiple=True, metavar="NAME=X,Y", help=f"Repeat. {_MARK_HELP}.")
@click.option(
    "--bend",
    multiple=True,
    metavar="SPAN=X,Y",
    help=f"A point the tape passes; repeat, in order. Spans: {', '.join(BENDABLE_SPANS)}.",
)
@reading_options
@click.option("--unit", type=click.Choice(UNITS), help="For bare numbers and the answer.")
@click.option("--weight", metavar="WEIGHT", help="28 kg or '62 lb' for example.")
@click.option("--girth", metavar="LENGTH", help="Around the chest behind the elbows.")
@click.option("--neck-width", metavar="LENGTH", help=f"Measured {FACT_PATHS['neck_width']}.")
@click.option("--chest-width", metavar="LENGTH", help=f"Measured {FACT_PATHS['chest_width']}.")
@click.option("--height", metavar="LENGTH", help=f"Measured {FACT_PATHS['height']}.")
@click.option("--coat", type=click.Choice(COATS), help="Length of the coat.")
@click.option("--coat-depth", metavar="LENGTH", help="How deep the coat stands off the skin.")
@click.option("--build", type=click.Choice(BUILDS), help="How broad the trunk is.")
@click.option("--breed", help="In words.")
@click.option("--age-months", type=float, help="The dog's age in months.")
@click.option(
    "--measured-at-tags",
    is_flag=True,
    default=None,
    help="The dog wore the tags while it was measured, and the tape was held at their tips.",
)
@click.option("--name", help="What to call the case.")
@click.option(
    "--false-alarms",
    type=float,
    default=0.02,
    show_default=True,
    help="Share of good orders that may be stopped by mistake.",
)
@click.option("--tolerances", metavar="LIST", default="", help=TOLERANCES_HELP)
@click.option(
    "--ratios",
    metavar="FILE",
    help='Use what the shop has learnt, a file that "photocheck learn" wrote.',
)
@click.option("--picture", metavar="OUT", help="Write the annotated photo, .jpg or .png.")
@json_option
@click.pass_context
def check(
    context: click.Context,
    /,
    casefile: str | None,
    as_json: bool,
    picture: str | None,
    false_alarms: float,
    tolerances: str,
    ratios: str | None,
    **given: Any,
) -> None:
    """Check the readings of one case, from CASEFILE or from the options.

    Points are pixels of the upright photo at full resolution.
    """
    from photocheck.case.file import case_from_dict, read_case
    from photocheck.schemas.reading import CASE_FILE

    told = {name: value for name, value in given.items() if value not in (None, ())}
    if casefile is not None and told:
        raise CaseError(
            tr(
                "both a case file and --{option} are given",
                option=next(iter(told)).replace("_", "-"),
            ),
            where="check",
            do=tr("Give one or the other"),
        )
    if casefile == STREAM:
        data = json_given(casefile, what=CASE_FILE)
        case = case_from_dict(data, folder_of(casefile), where=casefile)
    elif casefile is not None:
        case = read_case(casefile)
    elif told:
        sent = told.get("photo") == STREAM
        case = case_from_dict(case_dict(told), where="options", check_files=not sent)
    else:
        raise CaseError(
            tr("nothing to check is given"),
            where="check",
            do=tr(
                "Name a case file, or give --photo, --reference, readings, and --mark for each "
                "landmark where no tags are on the dog"
            ),
        )
    report = _check(case, false_alarms, tolerances, picture, ratios)
    # A picture that is printed has standard output to itself.
    aside = picture == STREAM
    if as_json:
        from photocheck.report.file import report_text

        say_json(report_text(report), err=aside)
    else:
        say_report(report, err=aside)
        if ratios is not None:
            used = tr("Ratios tape over photo: version {version}.", version=report.ratios_version)
            say("\n" + used, err=aside)
    context.exit(EXIT_CODES[report.verdict])


def _check(
    case: Case, false_alarms: float, tolerances: str, picture: str | None, ratios: str | None
) -> Report:
    if picture is not None:
        _refuse_picture(picture, len(case.photos))
    from photocheck.checking import check as check_case
    from photocheck.judge.tolerances import read_tolerances
    from photocheck.photo.load import load_photo

    learnt = None
    if ratios is not None:
        from photocheck.judge.ratios import read_ratios

        learnt = read_ratios(ratios)
    photos: dict[str, Photo] = {}
    for entry in case.photos:
        if entry.path == STREAM:
            content = sys.stdin.buffer.read(MAX_BYTES + 1)
            photos[STREAM] = load_photo(content, focal_35mm=entry.focal_35mm, name=STREAM)
        elif picture is not None:
            photos[entry.path] = load_photo(entry.path, focal_35mm=entry.focal_35mm)
    with progress(len(case.photos), tr("photo")) as done:
        report = check_case(
            case,
            false_alarms=false_alarms,
            tolerated=read_tolerances(tolerances, where="--tolerances"),
            photos=photos,
            on_photo=lambda _: done(),
            ratios=learnt,
        )
    if picture is not None:
        from datetime import UTC, datetime

        from photocheck.shown.picture import annotate
        from photocheck.shown.picture_file import write_picture

        for index, entry in enumerate(case.photos):
            today = datetime.now(UTC).astimezone().date().isoformat()
            rgb = annotate(photos[entry.path].rgb, report, index, told=(today,))
            with target(picture, ".jpg") as path:
                write_picture(_numbered(path, index), rgb)
    return report


def _refuse_picture(picture: str, photos: int) -> None:
    """A wrong name is told before the work, not after."""
    from photocheck.shown.picture_file import picture_kind

    if picture != STREAM:
        picture_kind(picture)
    elif photos > 1:
        raise CaseError(
            tr("only one picture can be printed"),
            where="--picture",
            do=tr("Name a file: the others are called like it, with a number"),
        )


def _numbered(picture: str, index: int) -> Path:
    """out.jpg for the first photo, out-2.jpg for the second."""
    path = Path(picture)
    return path if index == 0 else path.with_stem(f"{path.stem}-{index + 1}")


@click.command()
@click.argument("photo")
@reference_options
@click.option("--unit", type=click.Choice(UNITS), default="cm", help="For bare numbers.")
@click.option("--picture", metavar="OUT", help="Write the photo with what was seen.")
@json_option
def locate(photo: str, as_json: bool, picture: str | None, unit: str, **given: Any) -> None:
    """Show what is seen of the reference in PHOTO, and from where it was taken.

    Without --reference, the marker sheet is looked for, and with --near every kind of
    card and sheet that may lie there (a disc or ball with --diameter).  Tags on the dog are
    listed with where their tips are.
    """
    from photocheck.case.file import reference_from_dict
    from photocheck.case.lengths import parse_length
    from photocheck.locating import locate as locate_reference
    from photocheck.photo.load import load_photo
    from photocheck.scale.tags import find_tags
    from photocheck.scale.tags_seen import NO_TAGS, tag_to_dict

    if picture is not None:
        _refuse_picture(picture, 1)
    told = {name: value for name, value in given.items() if value is not None}
    worn_set = told.pop("tags", "")
    with source(photo) as file:
        loaded = load_photo(file, focal_35mm=told.pop("focal_35mm", None), name=photo)
    reference = near = diameter = None
    if set(told) <= {"near", "diameter"}:
        near = point("--near", told["near"]) if "near" in told else None
        if "diameter" in told:
            diameter, _ = parse_length(told["diameter"], unit, field="--diameter")
    else:
        reference = reference_from_dict(reference_dict(told), unit, where="options")
    unused = worn_set == TAGS_UNUSED
    tags = NO_TAGS if unused else find_tags(loaded.rgb, small=worn_set == "small")
    try:
        found = locate_reference(loaded, reference, near=near, diameter_mm=diameter)
    except ScaleError:
        if told or not tags.tags:
            raise
        found = ()
    aside = picture == STREAM
    if picture is not None:
        from photocheck.shown.picture import draw_located
        from photocheck.shown.picture_file import write_picture

        with target(picture, ".jpg") as path:
            write_picture(path, draw_located(loaded.rgb, found[0]) if found else loaded.rgb)
    if as_json:
        from dataclasses import asdict

        seen = [asdict(item) for item in found]
        worn = {"tags": [tag_to_dict(tag) for tag in tags.tags], "tag_remarks": tags.remarks}
        told_json = json.dumps({"photo": photo, "seen": seen, **worn}, ensure_ascii=False, indent=2)
        say_json(told_json, err=aside)
    else:
        from photocheck.shown.plain import plain_located, plain_tags, wrapped_to

        with wrapped_to(columns()):
            parts = [*map(plain_located, found), plain_tags(tags)]
            text = "\n\n".join(part for part in parts if part)
        say(text, err=aside)
