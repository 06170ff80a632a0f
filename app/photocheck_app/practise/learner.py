"""What the learner's way keeps while its page is open; nothing of it is stored here."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import partial
from secrets import token_hex
from threading import Lock
from typing import Final
from weakref import WeakKeyDictionary, finalize

import streamlit as st

from photocheck.case.model import Reference
from photocheck.practice.lesson import Answer
from photocheck.practice.pattern import Attempt
from photocheck.server import bench
from photocheck.speech import tr
from photocheck.uploads import BusyError
from photocheck_app import framework
from photocheck_app.doors.sessions import address_of
from photocheck_app.marking import Placed

KINDS: Final = ("marker_sheet", "a4", "letter", "id_card")
"""What gives a scale here: found by itself, or from one tap inside."""
NOTHING: Final = "nothing"

MOST_BYTES: Final = 300_000_000
"""Of the photos all visitors practise with: those of sixty phones (judgement)."""

MOST_OF_ADDRESS: Final = 200_000_000
"""Of one address: those of a class of forty.  Whoever opens page after page leaves a third to
others (judgement)."""


@dataclass(eq=False)
class Own:
    """One visitor's own photo, written anew, and its two markings.

    ``at`` is "first", "second" or "result"; ``turn`` counts the rounds of marking.
    """

    content: bytes
    name: str
    sha256: str
    kind: str = "marker_sheet"
    place: str = "middle"
    at: str = "first"
    turn: int = 1
    first: Placed = field(default_factory=Placed)
    second: Placed = field(default_factory=Placed)

    def again(self) -> None:
        """Mark it twice once more."""
        self.at, self.turn = "first", self.turn + 1
        self.first, self.second = Placed(), Placed()

    @property
    def shape(self) -> str:
        """What of the reference is to be placed by hand."""
        return "near" if self.kind in KINDS and self.kind != "marker_sheet" else "none"

    @property
    def reference(self) -> Reference | None:
        """As a case has it; None when nothing of known size is in the photo."""
        if self.kind == NOTHING:
            return None
        near = self.first.reference[0] if self.first.reference else None
        return Reference(kind=self.kind, place=self.place, near=near)


@dataclass
class Learner:
    """One visitor's practice.

    Attributes
    ----------
    part, unit : str
        What is shown, and the unit it speaks in.
    attempts : list of Attempt
        In the order they were made.
    dog : str
        The practice dog at hand.
    tries : int
        How many times a dog was begun; a new one is a new surface.
    placed : Placed
        The marks on the dog at hand.
    answer : Answer or None
        Once it was shown.
    own : Own or None
        The photo of one's own at hand.
    session : str
        Tells this practice from one that an earlier page of the same tab began.
    """

    part: str = "dogs"
    unit: str = "cm"
    attempts: list[Attempt] = field(default_factory=list)
    dog: str = ""
    tries: int = 0
    placed: Placed = field(default_factory=Placed)
    answer: Answer | None = None
    own: Own | None = None
    session: str = field(default_factory=partial(token_hex, 8))

    def begin(self, dog: str) -> None:
        """Begin a dog anew."""
        self.dog, self.placed, self.answer = dog, Placed(), None
        self.tries += 1

    @property
    def stage(self) -> str:
        """Names what is to be seen; another one begins at the top of the page."""
        own = f"{self.own.turn} {self.own.at}" if self.own else ""
        return f"{self.tries} {self.answer is not None} {own}"


_everybodys: Final[WeakKeyDictionary[Own, str]] = WeakKeyDictionary()
"""Photos that some session holds, with whose address that is; each goes with its session."""
_lock: Final = Lock()


def keep_own(own: Own) -> Own:
    """Count a visitor's photo among those that are held, as long as its session holds it.

    With it goes all that was made of it.

    Raises
    ------
    BusyError
        When so many visitors practise with photos of their own that there is no room for it, at
        this visitor's address or at all.
    """
    whose = address_of(framework.session_id())
    with _lock:
        held = list(_everybodys.items())
        theirs = sum(len(other.content) for other, address in held if address == whose)
        of_all = sum(len(other.content) for other, _ in held)
        more = len(own.content)
        if of_all + more > MOST_BYTES or theirs + more > MOST_OF_ADDRESS:
            raise BusyError(
                tr("many people practise with photos of their own just now"),
                do=tr("Practise with the invented dogs meanwhile, or try again later"),
            )
        _everybodys[own] = whose
    finalize(own, bench.drop, own.sha256)
    return own


def learner() -> Learner:
    """This visitor's practice."""
    found: Learner = st.session_state.setdefault("practice", Learner())
    return found
