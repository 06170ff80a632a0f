"""The shop's learnt ratios as a file: every version, which one is in use, the way back.

The format is published in ``ratios.schema.json``.
"""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from photocheck.body.shape import SHIPPED, Learnt, TapeRatios
from photocheck.case.model import DogFacts
from photocheck.errors import CaseError
from photocheck.files import replacing
from photocheck.judge.evidence import group_of
from photocheck.judge.held_out import Gain
from photocheck.judge.repeats import USUAL, TapeHabits
from photocheck.schemas.complaints import complaint, path_in_words
from photocheck.schemas.reading import read_json
from photocheck.speech import tr

if TYPE_CHECKING:
    from cattrs import Converter

FORMAT: Final = "photocheck-ratios/1"


@dataclass(frozen=True)
class WayRatio:
    """One way of the tape for one group.

    Attributes
    ----------
    shift : float
        ln(tape / what the shipped ratios expect), median.
    shift_spread : float
        Standard deviation of that median.
    spread_factor : float
        Spread of the next dog's ratio over the shipped spread.
    """

    shift: float
    shift_spread: float
    spread_factor: float


@dataclass(frozen=True)
class GroupRatios:
    """The ways for one group or build, and how many orders taught them."""

    orders: int
    ways: Mapping[str, WayRatio]


@dataclass(frozen=True)
class HeldOut(Gain):
    """How well orders were predicted that had been left out of the learning.

    Attributes
    ----------
    rmse_shipped, rmse_learnt : mapping of reading to float
        Of ln(tape) - ln(photo), tape noise included; both have to say that the error falls.
    """

    rmse_shipped: Mapping[str, float]
    rmse_learnt: Mapping[str, float]


@dataclass(frozen=True)
class Version:
    """One set of learnt ratios.

    Attributes
    ----------
    version : str
        Number and hash of the content.
    number : int
    parent : str
        The version in use before; "shipped" for none.
    orders, left_out : int
        How many taught, and how many fitted orders were left out as outlying.
    between_dogs : mapping of way to float
        Standard deviation of ln(ratio) between dogs of a group, for usual proportions.
    between_groups : mapping of way to float
    others : mapping of way to WayRatio
        For a group never seen.
    groups : mapping of group to GroupRatios
    check : HeldOut
    learnt_from : tuple of str
        Keys of the orders.
    builds : mapping of build to GroupRatios
        For a group never seen whose dogs are of that build; in files of before 0.3 none.
    between_builds : mapping of way to float
    tape : TapeHabits or None
        How the shop's owners measure; None where that is as shipped.
    tape_check : Gain or None
        What speaks for the tape's; None where too few orders tell of it.
    tape_at_tags : TapeHabits or None
        How they measure where the tape is held at tags, learnt from such orders alone; None where
        that is as shipped.
    """

    version: str
    number: int
    parent: str
    orders: int
    left_out: int
    between_dogs: Mapping[str, float]
    between_groups: Mapping[str, float]
    others: Mapping[str, WayRatio]
    groups: Mapping[str, GroupRatios]
    check: HeldOut
    learnt_from: tuple[str, ...]
    builds: Mapping[str, GroupRatios] = field(default_factory=dict)
    between_builds: Mapping[str, float] = field(default_factory=dict)
    tape: TapeHabits | None = None
    tape_check: Gain | None = None
    tape_at_tags: TapeHabits | None = None

    def for_group(self, group: str, build: str = "unknown") -> TapeRatios:
        """The ratios as the trunk takes them: the group's, else its build's, else any other's."""
        ways = self.others
        if found := self.groups.get(group) or self.builds.get(build):
            ways = found.ways
        taken = {way: Learnt(item.shift, item.spread_factor) for way, item in ways.items()}
        return TapeRatios(self.version, taken)

    @property
    def content_hash(self) -> str:
        """Twelve hexadecimal digits over everything but the name."""
        body = _converter().unstructure(replace(self, version=""))
        text = json.dumps(body, sort_keys=True, ensure_ascii=True)
        return hashlib.sha256(text.encode()).hexdigest()[:12]

    def named(self) -> Version:
        """The same under its own name: its number and the hash of its content."""
        return replace(self, version=f"{self.number}-{self.content_hash}")


@dataclass(frozen=True)
class Ratios:
    """All versions of a shop, oldest first, and which one is in use."""

    current: str = SHIPPED.version
    versions: tuple[Version, ...] = ()

    @property
    def in_use(self) -> Version | None:
        """None when the shipped ratios are in use."""
        return self.find(self.current)

    def find(self, version: str) -> Version | None:
        """A version by its name."""
        return next((item for item in self.versions if item.version == version), None)

    def for_dog(self, dog: DogFacts) -> TapeRatios:
        """What is in use for a dog: its group's ratios, else those of any other dog."""
        found = self.in_use
        return SHIPPED if found is None else found.for_group(group_of(dog), dog.build)

    @property
    def habits(self) -> TapeHabits:
        """How the shop's owners measure, as far as learnt."""
        return self.tape or USUAL

    @property
    def habits_at_tags(self) -> TapeHabits:
        """The same where the tape is held at tags."""
        found = self.in_use
        return (found and found.tape_at_tags) or USUAL

    @property
    def tape(self) -> TapeHabits | None:
        """The same; None where nothing was learnt of it."""
        found = self.in_use
        return None if found is None else found.tape

    def adding(self, version: Version) -> Ratios:
        """With a new version in use."""
        return Ratios(version.version, (*self.versions, version))

    def undone(self) -> Ratios:
        """With the parent of the version in use; the versions all stay on file.

        Raises
        ------
        CaseError
            When the shipped ratios are in use already.
        """
        found = self.in_use
        if found is None:
            raise CaseError(
                tr("the shipped ratios are in use, there is nothing to undo"),
                where="learn",
                do=tr("Nothing needs to be done"),
            )
        return replace(self, current=found.parent)


# --- the file ------------------------------------------------------------------


@cache
def _converter() -> Converter:
    from cattrs import Converter
    from cattrs.gen import make_dict_unstructure_fn

    converter = Converter(forbid_extra_keys=True)
    # what was added since a version was learnt must not change its content, nor its name
    converter.register_unstructure_hook(
        Version, make_dict_unstructure_fn(Version, converter, _cattrs_omit_if_default=True)
    )
    return converter


def ratios_to_dict(ratios: Ratios) -> dict[str, Any]:
    """As plain JSON."""
    body = json.loads(json.dumps(_converter().unstructure(ratios)))
    return {"format": FORMAT, **body}


def ratios_from_dict(data: Any, *, where: str = "ratios") -> Ratios:
    """What `ratios_to_dict` wrote.

    Raises
    ------
    CaseError
        When it is not such a file, or was changed since it was written.
    """
    found = data.get("format") if isinstance(data, dict) else None
    if found != FORMAT:
        raise CaseError(
            tr("the format is {format!r}", format=found) if found else tr("no format is given"),
            where=where,
            do=tr(
                'Give a file that "photocheck learn" wrote, with "format": "{format}"',
                format=FORMAT,
            ),
        )
    again = tr("Take the file as photocheck wrote it, from a copy, or learn afresh")
    error = complaint(data, "ratios")
    if error is not None:
        place = path_in_words(error.absolute_path)
        raise CaseError(
            tr("this is not as the published ratios schema has it"),
            where=f"{where}, {place}" if place else where,
            do=again,
        ) from error
    from cattrs.errors import BaseValidationError

    body = {name: value for name, value in data.items() if name != "format"}
    try:
        json.dumps(body, ensure_ascii=False).encode()
        ratios = _converter().structure(body, Ratios)
    except UnicodeEncodeError as error:
        raise CaseError(
            tr("a text holds a character that cannot be written down"), where=where, do=again
        ) from error
    except BaseValidationError as error:
        # The schema lets whole numbers through that no float can hold.
        raise CaseError(tr("a number is far too large"), where=where, do=again) from error
    known = [SHIPPED.version]
    for version in ratios.versions:
        if version.named().version != version.version:
            raise CaseError(
                tr("version {version} was changed after it was learnt", version=version.version),
                where=where,
                do=again,
            )
        if version.parent not in known:
            raise CaseError(
                tr(
                    "version {version} comes from {parent}, which is not in the file",
                    version=version.version,
                    parent=version.parent,
                ),
                where=where,
                do=again,
            )
        known.append(version.version)
    if ratios.current not in known:
        raise CaseError(
            tr("version {version} is in use but not in the file", version=ratios.current),
            where=where,
            do=again,
        )
    return ratios


def read_ratios(path: str | os.PathLike[str]) -> Ratios:
    """Read a ratios file.

    Raises
    ------
    CaseError
    """
    return ratios_from_dict(read_json(path, what="ratios file"), where=os.fspath(path))


def write_ratios(path: str | os.PathLike[str], ratios: Ratios) -> None:
    """Write a ratios file, whole or not at all.

    Raises
    ------
    PhotocheckError
        When it cannot be written.
    """
    text = json.dumps(ratios_to_dict(ratios), ensure_ascii=False, indent=1, sort_keys=True)
    with replacing(Path(path)) as file:
        file.write(text.encode() + b"\n")
