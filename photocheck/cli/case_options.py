"""A case said by options: what the options are, and the case file that says the same."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import click

from photocheck.errors import CaseError
from photocheck.scale.catalogue import REFERENCES
from photocheck.speech import tr
from photocheck.words import FACT_TITLES, READING_TITLES, READINGS, TAG_SETS

_REFERENCE_HELP = "; ".join(f"{kind}: {item.title}" for kind, item in REFERENCES.items())

TOLERANCES_HELP = (
    "How large an error must be to have been seen where readings agree, in per cent: "
    "'half_neck=10; common=15' for example."
)

Command = Callable[..., Any]

json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON for programs.")


def reference_options(command: Command) -> Command:
    """The options on the reference object and the camera."""
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
        click.option(
            "--tags",
            type=click.Choice(TAG_SETS),
            help="Which set of printed tags the dog wears; usual. With unused, its tags are not "
            "looked for, as where one has slipped.",
        ),
    ]
    for option in reversed(options):
        command = option(command)
    return command


def reading_options(command: Command) -> Command:
    """One option for each tape reading."""
    for name in reversed(READINGS):
        command = click.option(
            "--" + name.replace("_", "-"),
            metavar="LENGTH",
            multiple=True,
            help=f"Tape reading, {READING_TITLES[name]}: 36.8 cm or '14 1/2 in' for example. "
            "Repeat when it was measured more than once.",
        )(command)
    return command


def case_dict(told: dict[str, Any]) -> dict[str, Any]:
    """The case file that says the same as the options.

    Raises
    ------
    CaseError
        One is missing, given twice or not as it is to be typed.
    """
    from photocheck.case.file import FORMAT

    kinds = ", ".join(REFERENCES)
    for name, do in (
        ("photo", tr("Name the photo file")),
        ("reference", tr("Say what in the photo has a known size: {kinds}", kinds=kinds)),
    ):
        if name not in told:
            raise CaseError(tr("--{name} is missing", name=name), where="options", do=do)
    dog = {key: told[key] for key in _DOG_OPTIONS if key in told}
    photo: dict[str, Any] = {}
    if "photo" in told:
        photo["file"] = told["photo"]
    photo["reference"] = reference_dict(told)
    marking: dict[str, Any] = {"marks": {}}
    for text in told.get("mark", ()):
        name, xy = _named_point("--mark", text)
        if name in marking["marks"]:
            raise CaseError(
                tr("the mark '{name}' is given twice", name=name),
                where="--mark",
                do=tr("Keep one"),
            )
        marking["marks"][name] = xy
    for text in told.get("bend", ()):
        name, xy = _named_point("--bend", text)
        marking.setdefault("bends", {}).setdefault(name, []).append(xy)
    if marking["marks"] or "bends" in marking:  # else the tags on the dog have to tell them
        photo["markings"] = [marking]
    if "tags" in told:
        photo["tags"] = told["tags"]
    if "focal_35mm" in told:
        photo["focal_35mm"] = told["focal_35mm"]
    data = {
        "format": FORMAT,
        "unit": told.get("unit", "cm"),
        "readings": {
            key: told[key][0] if len(told[key]) == 1 else list(told[key])
            for key in READINGS
            if key in told
        },
        "dog": dog,
        "photos": [photo],
    }
    if "name" in told:
        data["name"] = told["name"]
    if told.get("measured_at_tags"):
        data["measured_at_tags"] = True
    return data


_DOG_OPTIONS = ("weight", *FACT_TITLES, "coat", "coat_depth", "build", "breed", "age_months")
_REFERENCE_TEXTS = ("place", "offset", "offset_spread", "length", "diameter", "bar")


def reference_dict(told: dict[str, Any]) -> dict[str, Any]:
    """The part of a case file on the reference that says the same as the options."""
    reference = {key: told[key] for key in _REFERENCE_TEXTS if key in told}
    if "reference" in told:
        reference["kind"] = told["reference"]
    for key in ("corners", "ends", "outline"):
        if key in told:
            reference[key] = [list(point(f"--{key}", text)) for text in told[key].split()]
    if "near" in told:
        reference["near"] = list(point("--near", told["near"]))
    return reference


def _named_point(option: str, text: str) -> tuple[str, list[float]]:
    name, equals, xy = text.partition("=")
    if not equals:
        raise CaseError(
            tr("'{text}' does not say what it marks", text=text),
            where=option,
            do=tr("Write name=x,y"),
        )
    return name.strip().replace("-", "_"), list(point(option, xy))


def point(option: str, text: str) -> tuple[float, float]:
    """A point as it is typed behind an option, px.

    Raises
    ------
    CaseError
        It is not two numbers.
    """
    parts = text.split(",")
    try:
        x, y = (float(part) for part in parts)
    except ValueError as error:
        raise CaseError(
            tr("'{text}' is not a point", text=text),
            where=option,
            do=tr("Write x,y in pixels, 812,340.5 for example"),
        ) from error
    return x, y
