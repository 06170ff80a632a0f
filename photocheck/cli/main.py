"""The command line: it only talks to people.  No arithmetic here.

Heavy modules are imported inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from photocheck import __version__
from photocheck.cli import (
    access_commands,
    export_commands,
    fit_commands,
    intake_commands,
    store_commands,
)
from photocheck.errors import CaseError, PhotocheckError
from photocheck.scale.catalogue import REFERENCES
from photocheck.words import (
    ALL_LANDMARKS,
    BENDABLE_SPANS,
    BUILDS,
    COATS,
    EXIT_CODES,
    LANDMARK_HINTS,
    LANDMARKS,
    PLACE_TITLES,
    READING_TITLES,
    READINGS,
    UNITS,
    VERDICT_TITLES,
)

if TYPE_CHECKING:
    from photocheck.case.model import Case
    from photocheck.photo.photo import Photo
    from photocheck.report.model import Report

FAILED = 1
INTERRUPTED = 130
"""128 + SIGINT, as shells have it (POSIX, "Exit Status for Commands")."""

_EXITS = ", ".join(
    f"{code} {VERDICT_TITLES.get(word, 'the input cannot be used')}"
    for word, code in EXIT_CODES.items()
)
_MARK_HELP = "; ".join(f"{name}: {LANDMARK_HINTS[name]}" for name in ALL_LANDMARKS)
_PLACE_HELP = "; ".join(f"{name}: {title}" for name, title in PLACE_TITLES.items())
_REFERENCE_HELP = "; ".join(f"{kind}: {item.title}" for kind, item in REFERENCES.items())

Command = Callable[..., Any]


@click.group(context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96})
@click.version_option(__version__, prog_name="photocheck")
@click.option("--debug", is_flag=True, help="Show the traceback of a failure of the program.")
def commands(debug: bool) -> None:  # debug is dealt with in `run`
    """Check tape readings for a made-to-measure dog harness against a side photo.

    The photo needs something of known size in it: the printed marker sheet, a card, a
    sheet of paper, a ruler, a disc or a ball.
    """


def _reference_options(command: Command) -> Command:
    options = [
        click.option(
            "--reference",
            metavar="KIND",
            help=f"What has a known size. {_REFERENCE_HELP}.",
        ),
        click.option("--corners", metavar="POINTS", help='Four corners, "x,y x,y x,y x,y", px.'),
        click.option("--near", metavar="X,Y", help="A rough point inside the reference, px."),
        click.option("--ends", metavar="POINTS", help='For two_points: "x,y x,y", px.'),
        click.option("--length", metavar="LENGTH", help="For two_points: their distance."),
        click.option("--diameter", metavar="LENGTH", help="For disc and ball."),
        click.option("--outline", metavar="POINTS", help="For disc and ball: five points or more."),
        click.option("--bar", metavar="LENGTH", help="What the sheet's proof bar measures."),
        click.option("--focal-35mm", type=float, help="Focal length in 35 mm terms, mm."),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def _reading_options(command: Command) -> Command:
    for name in reversed(READINGS):
        command = click.option(
            "--" + name.replace("_", "-"),
            metavar="LENGTH",
            help=f"Tape reading, {READING_TITLES[name]}: 36.8 cm or '14 1/2 in' for example.",
        )(command)
    return command


_json = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")


@commands.command(epilog=f"Exit codes: {_EXITS}; {FAILED} a failure of the program itself.")
@click.argument("casefile", required=False)
@click.option("--photo", metavar="FILE", help="The side photo: JPEG, PNG, WebP or HEIC.")
@_reference_options
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
@_reading_options
@click.option("--unit", type=click.Choice(UNITS), help="For bare numbers and the answer.")
@click.option("--weight", metavar="WEIGHT", help="28 kg or '62 lb' for example.")
@click.option("--girth", metavar="LENGTH", help="Around the chest behind the elbows.")
@click.option("--coat", type=click.Choice(COATS), help="Length of the coat.")
@click.option("--coat-depth", metavar="LENGTH", help="How deep the coat stands off the skin.")
@click.option("--build", type=click.Choice(BUILDS), help="How broad the trunk is.")
@click.option("--breed", help="In words.")
@click.option("--age-months", type=float, help="The dog's age in months.")
@click.option("--name", help="What to call the case.")
@click.option(
    "--false-alarms",
    type=float,
    default=0.02,
    show_default=True,
    help="Share of good orders that may be stopped by mistake.",
)
@click.option(
    "--ratios",
    metavar="FILE",
    help='Use what the shop has learnt, a file that "photocheck learn" wrote.',
)
@click.option("--picture", metavar="OUT", help="Write the annotated photo, .jpg or .png.")
@_json
@click.pass_context
def check(
    context: click.Context,
    /,
    casefile: str | None,
    as_json: bool,
    picture: str | None,
    false_alarms: float,
    ratios: str | None,
    **given: Any,
) -> None:
    """Check the readings of one case, from CASEFILE or from the options.

    Points are pixels of the upright photo at full resolution.
    """
    from photocheck.case.file import case_from_dict, read_case

    told = {name: value for name, value in given.items() if value not in (None, ())}
    if casefile is not None and told:
        raise CaseError(
            f"both a case file and --{next(iter(told)).replace('_', '-')} are given",
            where="check",
            do="Give one or the other",
        )
    if casefile is not None:
        case = read_case(casefile)
    elif told:
        case = case_from_dict(_case_dict(told), where="options")
    else:
        raise CaseError(
            "nothing to check is given",
            where="check",
            do="Name a case file, or give --photo, --reference, four times --mark and readings",
        )
    report = _check(case, false_alarms, picture, ratios)
    if as_json:
        from photocheck.report.file import report_text

        click.echo(report_text(report))
    else:
        from photocheck.shown.plain import plain_report

        click.echo(plain_report(report))
        if ratios is not None:
            click.echo(f"\nRatios tape over photo: version {report.ratios_version}.")
    context.exit(EXIT_CODES[report.verdict])


def _check(case: Case, false_alarms: float, picture: str | None, ratios: str | None) -> Report:
    if picture is not None:
        from photocheck.shown.picture_file import picture_kind

        picture_kind(picture)  # a wrong name is told before the work, not after
    from photocheck.checking import check as check_case
    from photocheck.judge.ratios import read_ratios
    from photocheck.photo.load import load_photo

    learnt = None if ratios is None else read_ratios(ratios)
    photos: dict[str, Photo] = {}
    if picture is not None:
        for entry in case.photos:
            photos[entry.path] = load_photo(entry.path, focal_35mm=entry.focal_35mm)
    with _progress(len(case.photos)) as on_photo:
        report = check_case(
            case,
            false_alarms=false_alarms,
            photos=photos,
            on_photo=on_photo,
            ratios=learnt,
        )
    if picture is not None:
        from photocheck.shown.picture import annotate
        from photocheck.shown.picture_file import write_picture

        for index, entry in enumerate(case.photos):
            rgb = annotate(photos[entry.path].rgb, report, index)
            write_picture(_numbered(picture, index), rgb)
    return report


@contextmanager
def _progress(photos: int) -> Iterator[Callable[[int], None]]:
    """What to call after each photo, where somebody watches; else nothing is loaded for it."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from tqdm import tqdm

    with tqdm(total=photos, unit="photo", delay=1.0, leave=False, file=sys.stderr) as bar:
        yield lambda _: bar.update() and None


def _numbered(picture: str, index: int) -> Path:
    """out.jpg for the first photo, out-2.jpg for the second."""
    path = Path(picture)
    return path if index == 0 else path.with_stem(f"{path.stem}-{index + 1}")


@commands.command()
@click.argument("photo")
@_reference_options
@click.option("--unit", type=click.Choice(UNITS), default="cm", help="For bare numbers.")
@click.option("--picture", metavar="OUT", help="Write the photo with what was seen.")
@_json
def locate(photo: str, as_json: bool, picture: str | None, unit: str, **given: Any) -> None:
    """Show what is seen of the reference in PHOTO, and from where it was taken.

    Without --reference, the marker sheet is looked for, and with --near every kind of
    card and sheet that may lie there (a disc or ball with --diameter).
    """
    from photocheck.case.file import reference_from_dict
    from photocheck.case.lengths import parse_length
    from photocheck.locating import locate as locate_reference
    from photocheck.photo.load import load_photo
    from photocheck.shown.picture_file import picture_kind

    if picture is not None:
        picture_kind(picture)
    told = {name: value for name, value in given.items() if value is not None}
    loaded = load_photo(photo, focal_35mm=told.pop("focal_35mm", None))
    reference = near = diameter = None
    if set(told) <= {"near", "diameter"}:
        near = _point("--near", told["near"]) if "near" in told else None
        if "diameter" in told:
            diameter, _ = parse_length(told["diameter"], unit, field="--diameter")
    else:
        reference = reference_from_dict(_reference_dict(told), unit, where="options")
    found = locate_reference(loaded, reference, near=near, diameter_mm=diameter)
    if picture is not None:
        from photocheck.shown.picture import draw_located
        from photocheck.shown.picture_file import write_picture

        write_picture(picture, draw_located(loaded.rgb, found[0]))
    if as_json:
        from dataclasses import asdict

        seen = [asdict(item) for item in found]
        click.echo(json.dumps({"photo": photo, "seen": seen}, ensure_ascii=False, indent=2))
    else:
        from photocheck.shown.plain import plain_located

        click.echo("\n\n".join(plain_located(item) for item in found))


@commands.command()
@click.option("--paper", type=click.Choice(["a4", "letter"]), required=True)
@click.option("-o", "--out", metavar="FILE", help="Where to write it; marker-sheet-PAPER.pdf.")
def sheet(paper: str, out: str | None) -> None:
    """Write the marker sheet as a PDF to print at true size."""
    from photocheck.scale.sheet import draw_sheet_pdf

    target = out or f"marker-sheet-{paper}.pdf"
    draw_sheet_pdf(target, paper)
    click.echo(f"{target}: print it at 100 % and measure the proof bar with a ruler.")


@commands.command()
@click.argument("orders", required=False)
@click.option("--ratios", metavar="FILE", default="ratios.json", show_default=True)
@click.option("--undo", is_flag=True, help="Go back to the version before the one in use.")
@click.option("--look", is_flag=True, help="Only show what would be learnt.")
@_json
def learn(orders: str | None, ratios: str, undo: bool, look: bool, as_json: bool) -> None:
    """Learn the shop's own ratios tape over photo from ORDERS that fitted.

    ORDERS is a file or a folder of outcomes: reports ("photocheck check --json") with what
    became of the order; "photocheck schema outcome" prints the format. Give all orders,
    not only new ones. The new ratios are kept in the ratios file only when orders left
    out of the learning are predicted better by them. "photocheck check --ratios FILE"
    uses them.
    """
    from photocheck import outcomes

    if undo:
        if orders is not None or look:
            raise CaseError("--undo goes alone", where="learn", do="Give only --ratios with it")
        current = outcomes.undo(ratios).current
        said = {"current": current}
        click.echo(json.dumps(said) if as_json else f"{ratios}: version {current} is in use again.")
        return
    if orders is None:
        raise CaseError(
            "no orders are given", where="learn", do="Name a file or a folder of outcomes"
        )
    learning = outcomes.learn_from(orders, ratios, write=not look)
    if as_json:
        from dataclasses import asdict

        told = {
            "adopted": learning.adopted,
            "reason": learning.reason,
            "current": learning.ratios.current,
            "version": None if learning.version is None else asdict(learning.version),
            "left_out": [asdict(item) for item in learning.left_out],
        }
        click.echo(json.dumps(told, ensure_ascii=False, indent=2))
    else:
        from photocheck.shown.plain_learning import plain_learning

        click.echo(plain_learning(learning))


@commands.command()
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
@fit_commands.shop_options
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
    from photocheck.server.serving import Doors, is_this_machine
    from photocheck.server.serving import serve as serve_app
    from photocheck.server.shop import Shop

    def ready(page: str, anybody: bool) -> None:
        click.echo(f"photocheck is open at {page} (Ctrl-C ends it).")
        if not anybody:
            click.echo("Nobody can sign in at the desk yet: photocheck staff add YOUR-NAME")
        if not is_this_machine(address):
            click.echo(
                "Passwords and photos travel unencrypted unless a proxy before it speaks HTTPS."
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


@commands.command()
@click.argument(
    "which", type=click.Choice(["case", "report", "outcome", "ratios", "orders"]), default="case"
)
def schema(which: str) -> None:
    """Print the JSON Schema of cases, reports, outcomes, learnt ratios or exported orders."""
    from photocheck.schemas.published import schema_text

    click.echo(schema_text(which), nl=False)


access_commands.add_to(commands)
store_commands.add_to(commands)
export_commands.add_to(commands)
fit_commands.add_to(commands)
intake_commands.add_to(commands)


# --- options to the case format --------------------------------------------


def _case_dict(told: dict[str, Any]) -> dict[str, Any]:
    """The case file that says the same as the options."""
    from photocheck.case.file import FORMAT

    for name, do in (
        ("photo", "Name the photo file"),
        ("reference", f"Say what in the photo has a known size: {', '.join(REFERENCES)}"),
        ("mark", f"Give it for each of {', '.join(LANDMARKS)}"),
    ):
        if name not in told:
            raise CaseError(f"--{name} is missing", where="options", do=do)
    dog = {key: told[key] for key in _DOG_OPTIONS if key in told}
    photo: dict[str, Any] = {}
    if "photo" in told:
        photo["file"] = told["photo"]
    photo["reference"] = _reference_dict(told)
    marking: dict[str, Any] = {"marks": {}}
    for text in told.get("mark", ()):
        name, xy = _named_point("--mark", text)
        if name in marking["marks"]:
            raise CaseError(f"the mark '{name}' is given twice", where="--mark", do="Keep one")
        marking["marks"][name] = xy
    for text in told.get("bend", ()):
        name, xy = _named_point("--bend", text)
        marking.setdefault("bends", {}).setdefault(name, []).append(xy)
    photo["markings"] = [marking]
    if "focal_35mm" in told:
        photo["focal_35mm"] = told["focal_35mm"]
    data = {
        "format": FORMAT,
        "unit": told.get("unit", "cm"),
        "readings": {key: told[key] for key in READINGS if key in told},
        "dog": dog,
        "photos": [photo],
    }
    if "name" in told:
        data["name"] = told["name"]
    return data


_DOG_OPTIONS = ("weight", "girth", "coat", "coat_depth", "build", "breed", "age_months")
_REFERENCE_TEXTS = ("place", "offset", "offset_spread", "length", "diameter", "bar")


def _reference_dict(told: dict[str, Any]) -> dict[str, Any]:
    reference = {key: told[key] for key in _REFERENCE_TEXTS if key in told}
    if "reference" in told:
        reference["kind"] = told["reference"]
    for key in ("corners", "ends", "outline"):
        if key in told:
            reference[key] = [list(_point(f"--{key}", text)) for text in told[key].split()]
    if "near" in told:
        reference["near"] = list(_point("--near", told["near"]))
    return reference


def _named_point(option: str, text: str) -> tuple[str, list[float]]:
    name, equals, xy = text.partition("=")
    if not equals:
        raise CaseError(f"'{text}' does not say what it marks", where=option, do="Write name=x,y")
    return name.strip().replace("-", "_"), list(_point(option, xy))


def _point(option: str, text: str) -> tuple[float, float]:
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError as error:
        raise CaseError(
            f"'{text}' is not a point",
            where=option,
            do="Write x,y in pixels, 812,340.5 for example",
        ) from error
    return x, y


# --- the way out -----------------------------------------------------------


def main(arguments: list[str] | None = None) -> None:
    """Run the command line and leave with its exit code; never a traceback unasked."""
    sys.exit(run(sys.argv[1:] if arguments is None else arguments))


def run(arguments: list[str]) -> int:
    """Run the command line.

    Parameters
    ----------
    arguments : list of str
        Without the program's name.

    Returns
    -------
    int
        Exit code; messages have gone to stdout and stderr.
    """
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            # A terminal that lacks a letter shows it escaped instead of failing.
            stream.reconfigure(errors="backslashreplace")
    debug = "--debug" in arguments  # wherever it stands
    arguments = [argument for argument in arguments if argument != "--debug"]
    try:
        code = commands.main(arguments, prog_name="photocheck", standalone_mode=False)
    except click.ClickException as error:
        error.show()
        return EXIT_CODES["bad_input"]
    except (KeyboardInterrupt, click.Abort):
        click.echo("photocheck: interrupted", err=True)
        return INTERRUPTED
    except PhotocheckError as error:
        click.echo(f"photocheck: {error}", err=True)
        return EXIT_CODES["bad_input"]
    except BrokenPipeError:
        # The reader (head, less) has gone; that is its right.
        sys.stderr.close()
        return FAILED
    except Exception as error:
        if debug:
            raise
        click.echo(f"photocheck: {_failure(error)}", err=True)
        return FAILED
    return code if isinstance(code, int) else 0


def _failure(error: Exception) -> str:
    if isinstance(error, ImportError) and ".so" in str(error):
        library = str(error).partition(":")[0]
        return (
            f"OpenCV cannot start, because the system library {library} is missing. "
            "Install it with: apt-get install libgl1 libglib2.0-0"
        )
    if isinstance(error, MemoryError):
        return "there is not enough memory for this photo. Save a smaller copy of it."
    said = " ".join(str(error).split())[:200]
    return (
        f"this should not have happened ({type(error).__name__}: {said}). Please report it; "
        "the same command with --debug shows more."
    )


if __name__ == "__main__":
    main()
