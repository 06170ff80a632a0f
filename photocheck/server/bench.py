"""Where a server works on orders' photos: few at a time, and what was made is held a while.

One photo may have 240 MB once it is decoded, and visitors are many.  So whatever needs pixels
is done here, on one of `PLACES`; the pages get what is left of it: copies for the screen,
pictures, reports.  The server's memory is then bounded by `PHOTOS_BYTES`, `COPIES_BYTES` and
`PLACE_BYTES` for each place and the one that may open beside them (`photocheck.uploads.gate.Gate`),
however many visitors there are.
"""

from __future__ import annotations

import logging
from collections.abc import Callable, Hashable, Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from typing import Final, TypeVar

from photocheck.case.model import PhotoEntry, Point
from photocheck.errors import PhotocheckError, PhotoError
from photocheck.orders import taking
from photocheck.orders import worn_tags as finding
from photocheck.orders.draft import Draft, DraftPhoto, ReferenceTold
from photocheck.orders.model import Store
from photocheck.orders.store import DatabaseStore
from photocheck.orders.taking import FirstLook, Sighted, first_look
from photocheck.orders.worn_tags import FoundTags
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo
from photocheck.propose.network import shared
from photocheck.propose.proposal import Proposal
from photocheck.propose.proposing import propose
from photocheck.report.model import Report
from photocheck.server.memory import Memory
from photocheck.shown.display import DISPLAY_SIDE, SHARP_SIDE, Shown, display_copies
from photocheck.shown.display import shown as shown_of
from photocheck.speech import later
from photocheck.uploads.gate import Gate
from photocheck.uploads.take import decoding_failed

_log = logging.getLogger(__name__)

T = TypeVar("T")

PHOTOS_BYTES: Final = 400_000_000
"""Of decoded photos that are held: eleven at 12 MP, or one of the largest (judgement)."""

COPIES_BYTES: Final = 200_000_000
"""Of copies for the screen and drawn pictures that are held: those of a hundred photos or so, each
with some 2 MB (judgement)."""

ORDER_BYTES: Final = 250_000_000
"""Of decoded photos that the check of one order holds where nothing is held beside it, on the
command line or another machine: one of the largest, or seven at 12 MP (judgement)."""

PLACES: Final = 2
"""Photos worked on at once."""

PLACE_BYTES: Final = 900_000_000
"""The most that work on one photo takes, the photo itself included; measured for one of 80
million pixels with a card in it (tests/test_bench_flood.py)."""

GATE: Final = Gate(
    places=PLACES,
    waiting=80,
    patience_s=180.0,
    full=later("many photos are being looked at just now; nothing of yours is lost"),
    waiting_of_one=40,
    soon_done=True,
    heeds=True,
)
"""One for the whole server; those who wait hold no photo, and nothing that came is lost with one
whose page has gone.  As many, for as long, as for
`take.GATE`: of one address forty, for a class may press the same button at the same moment."""


FIRST: Final = 0
"""Rank of what somebody waits for with empty hands, a check above all; pictures come after."""


def _photo_bytes(photo: Photo) -> int:
    return photo.rgb.nbytes


def _copy_bytes(made: Shown | bytes) -> int:
    return len(made) if isinstance(made, bytes) else made.bytes


PHOTOS: Final[Memory[Photo]] = Memory(PHOTOS_BYTES, _photo_bytes)
COPIES: Final[Memory[Shown | bytes]] = Memory(COPIES_BYTES, _copy_bytes)


@contextmanager
def at_work() -> Iterator[None]:
    """A place for whatever works on photos without the functions of this module.

    Raises
    ------
    BusyError
        When too many wait already, or no place came free in time.
    """
    with GATE.place(FIRST):
        yield


@dataclass(frozen=True)
class PhotosOf(Mapping[str, Photo]):
    """The photos of one order by the names the store gave them, decoded when asked for.

    Attributes
    ----------
    store : Store
    key : str
    entries : mapping of name to PhotoEntry
    memory : Memory of Photo
        Where those lie that need not be decoded again.
    """

    store: Store
    key: str
    entries: Mapping[str, PhotoEntry]
    memory: Memory[Photo]

    def __getitem__(self, name: str) -> Photo:
        focal = self.entries[name].focal_35mm
        return _photo(self.store, self.key, name, focal, self.memory)

    def __iter__(self) -> Iterator[str]:
        return iter(self.entries)

    def __len__(self) -> int:
        return len(self.entries)


def photos_of(
    store: Store, key: str, entries: Sequence[PhotoEntry], memory: Memory[Photo] | None = None
) -> PhotosOf:
    """The photos of one order; with a memory of their own unless one is given."""
    memory = Memory(ORDER_BYTES, _photo_bytes) if memory is None else memory
    return PhotosOf(store, key, {entry.path: entry for entry in entries}, memory)


def _photo(
    store: Store, key: str, name: str, focal_35mm: float | None, memory: Memory[Photo]
) -> Photo:
    return memory.get(
        store.own_key(key),
        (name, focal_35mm),
        lambda: decoded(store.photo(key, name), name=name, focal_35mm=focal_35mm),
    )


def decoded(content: bytes, *, name: str, focal_35mm: float | None = None) -> Photo:
    """`load_photo`, in which whatever goes wrong is told in a sentence.

    Raises
    ------
    PhotoError
        As `load_photo`.
    DecodingFailedError
        When the program failed; why is in the log.
    """
    try:
        return load_photo(content, focal_35mm=focal_35mm, name=name)
    except PhotocheckError:
        raise
    except Exception as error:
        _log.exception("reading a photo failed")
        raise decoding_failed(name) from error


def _copies(order: str, what: Hashable, make: Callable[[], T], kind: type[T]) -> T:
    """What is held, without waiting for a place; else made in one."""
    held = COPIES.known(order, what)
    if held is None:

        def made() -> Shown | bytes:
            with GATE.place():
                new = make()
            assert isinstance(new, (Shown, bytes))
            return new

        held = COPIES.get(order, what, made)
    assert isinstance(held, kind)
    return held


def shown(
    store: Store, key: str, name: str, sides: Sequence[int] = (DISPLAY_SIDE, SHARP_SIDE)
) -> Shown:
    """A photo of an order, ready for the screen; only who has the order's key comes to it.

    Parameters
    ----------
    sides : sequence of int
        As for `photocheck.shown.display.display_copies`.

    Raises
    ------
    OrderError
        When the order has no such photo.
    PhotoError
        When it cannot be decoded.
    BusyError
        When too many photos are worked on; nothing is lost.
    """

    def make() -> Shown:
        return shown_of(_photo(store, key, name, None, PHOTOS).rgb, sides)

    return _copies(store.own_key(key), ("shown", name, tuple(sides)), make, Shown)


def shown_part(
    store: Store, key: str, name: str, frame: tuple[int, int, int, int], sides: Sequence[int]
) -> Shown:
    """A part of a photo of an order, ready for the screen.

    Parameters
    ----------
    frame : (int, int, int, int)
        Left, top, right, bottom, px; the right and bottom ones excluded.
    sides : sequence of int
        As for `shown`.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    left, top, right, bottom = frame

    def make() -> Shown:
        return shown_of(_photo(store, key, name, None, PHOTOS).rgb[top:bottom, left:right], sides)

    return _copies(store.own_key(key), ("part", name, frame, tuple(sides)), make, Shown)


def shown_photo(owner: str, name: str, content: bytes) -> Shown:
    """A photo that no store holds, ready for the screen.

    Parameters
    ----------
    owner : str
        Whom `drop` shall name; nobody else comes to it.
    name : str
        What to call it in messages.
    content : bytes
        Of a photo written anew.

    Raises
    ------
    PhotoError, BusyError
        As for `shown`.
    """
    return _copies(owner, "shown", lambda: shown_of(held(owner, name, content).rgb), Shown)


def held(owner: str, name: str, content: bytes) -> Photo:
    """A photo that no store holds, decoded; for use `at_work`, and let go of there.

    Parameters
    ----------
    owner, name, content
        As for `shown_photo`.

    Raises
    ------
    PhotoError
        When it cannot be decoded.
    """
    return PHOTOS.get(owner, "decoded", lambda: decoded(content, name=name))


def look(
    store: Store, key: str, name: str, reference: ReferenceTold, unit: str, view: str = "side"
) -> FirstLook:
    """`photocheck.orders.taking.first_look` at a photo of an order.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    with GATE.place():
        return first_look(_photo(store, key, name, None, PHOTOS), reference, unit, view)


def tags_found(store: Store, key: str, name: str, view: str = "side") -> FoundTags:
    """`photocheck.orders.worn_tags.tags_found` in a photo of an order.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    with GATE.place():
        return finding.tags_found(_photo(store, key, name, None, PHOTOS), view)


def tags_in(content: bytes, view: str) -> FoundTags:
    """The tags of a photo that no store holds yet, written anew.

    Raises
    ------
    PhotoError, BusyError
        As for `shown`.
    """
    with GATE.place():
        return finding.tags_found(decoded(content, name=""), view)


def told_by_tags(store: Store, key: str, draft: Draft) -> Draft:
    """A draft of an order in which tags have marked the photos that nobody has.

    A photo that cannot be read stays as it is: its check says why.

    Raises
    ------
    OrderError, BusyError
        As for `shown`.
    """

    def find(photo: DraftPhoto) -> FoundTags:
        with suppress(PhotoError):
            return tags_found(store, key, photo.file, photo.view or "side")
        return FoundTags()

    return finding.told_by_tags(draft, find)


def proposed(store: Store, key: str, name: str) -> Proposal:
    """`photocheck.propose.propose` for a photo of an order.

    Raises
    ------
    WeightsError
        Before anything is decoded, when nothing can be proposed at all.
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    network = shared()
    with GATE.place():
        return propose(_photo(store, key, name, None, PHOTOS), network)


def kinds_seen(store: Store, key: str, name: str, near: Point, land: str = "") -> tuple[str, ...]:
    """`photocheck.orders.taking.kinds_seen` of a photo of an order.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    with GATE.place():
        return taking.kinds_seen(_photo(store, key, name, None, PHOTOS), near, land)


def things_sighted(store: Store, key: str, name: str, land: str = "") -> tuple[Sighted, ...]:
    """`photocheck.orders.taking.things_sighted` in a photo of an order.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    with GATE.place():
        return taking.things_sighted(_photo(store, key, name, None, PHOTOS), land)


def picture(
    store: Store,
    key: str,
    check: Hashable,
    report: Report,
    index: int,
    *,
    bare: bool = False,
    told: tuple[str, ...] = (),
) -> bytes:
    """A photo of an order with a report drawn on it, as JPEG.

    Parameters
    ----------
    check : hashable
        What tells this report from another of the order, its language included; with which
        ratios it was made is told from itself.
    report : Report
    index : int
        Which of the report's photos.
    bare : bool
        Leave out the verdict above and the lengths below it.
    told : tuple of str
        What else is said of the order above it: its number, the day.

    Raises
    ------
    OrderError, PhotoError, BusyError
        As for `shown`.
    """
    from photocheck.shown.picture import annotate

    entry = report.case.photos[index]

    def make() -> bytes:
        rgb = _photo(store, key, entry.path, entry.focal_35mm, PHOTOS).rgb
        return display_copies(annotate(rgb, report, index, bare=bare, told=told))[-1].jpeg

    what = ("picture", check, report.ratios_version, index, bare, told)
    return _copies(store.own_key(key), what, make, bytes)


def forget(store: Store, key: str) -> None:
    """Remove an order from the store, and all that was made of its photos from this memory.

    Raises
    ------
    OrderError
        When there is no such order.
    """
    own = store.own_key(key)
    store.forget(key)
    drop(own)


def drop(own_key: str | None = None) -> None:
    """Let go of everything made from the photos of an order that is forgotten.

    Parameters
    ----------
    own_key : str, optional
        The order's own (`photocheck.orders.model.Store.own_key`); everything without it.
    """
    PHOTOS.drop(own_key)
    COPIES.drop(own_key)


def drop_forgotten(store: DatabaseStore) -> None:
    """Let go of what was made for orders that were forgotten since, be it by another server."""
    for key in store.forgotten_of(PHOTOS.orders | COPIES.orders):
        drop(key)
