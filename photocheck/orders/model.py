"""An order at the desk: what the owner gave, what was checked, what was decided.

`Store` is all that the app and the commands know of where orders are kept.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import TYPE_CHECKING, Any, Final, Protocol

from photocheck.errors import PhotocheckError
from photocheck.orders.draft import Draft
from photocheck.report.model import Report
from photocheck.report.retelling import in_language
from photocheck.speech import spoken
from photocheck.version import program

if TYPE_CHECKING:
    from photocheck.judge.ratios import Ratios

STORE_VARIABLE: Final = "PHOTOCHECK_STORE"
"""Environment variable with the store's address; unset for a file in the user's folder."""

CHOICES: Final = ("accepted", "asked_again", "refused")
"""What staff may decide about a checked order."""

SETTLED: Final = ("accepted", "refused")
"""After these, nothing more is asked of the owner."""

TAKEN_BACK: Final = "taken_back"
"""The decision that the last one does not hold: the order waits again."""

DECISIONS: Final = (*CHOICES, TAKEN_BACK)

STATES: Final = ("being_filled_in", "waiting", *CHOICES)
"""Where an order stands: not sent yet, sent and undecided, or as last decided."""


KEY_FORM: Final = re.compile(r"[A-Za-z0-9_-]{43}")
"""How every order's key is written: 256 random bits (RFC 4648, 5, without padding)."""


class OrderError(PhotocheckError):
    """The order is not there, or cannot take this step."""


class StoreError(PhotocheckError):
    """The place where orders are kept cannot be opened, read or written."""


class DamagedError(PhotocheckError):
    """The place where orders are kept holds what photocheck never put there."""


@dataclass(frozen=True)
class Check:
    """One run of the check, never changed afterwards.

    Attributes
    ----------
    number : int
        Counts the checks of the whole store.
    at : datetime
        UTC.
    by : str
        "owner" or the name staff gave.
    case : Draft
        What was checked, as it was told; each photo's file is a name under which the store
        keeps it.
    report : Report
    program : str
        Which photocheck made it, as `photocheck.version.program` calls it; only a version where
        it is older than 0.2.
    ratios : str
        Version of the shape ratios (empty for the shipped ones).
    language : str
        Of the report's sentences, a key of `photocheck.speech.LANGUAGES`.
    """

    number: int
    at: datetime
    by: str
    case: Draft
    report: Report
    program: str
    ratios: str
    language: str = "en"

    @property
    def told(self) -> Report:
        """The report for who speaks the language spoken now, where it was said in that; not to be
        kept."""
        return in_language(self.report, spoken())

    @property
    def by_this_program(self) -> bool:
        """Whether what computes today made it, so that it would come out the same today."""
        return self.program == program()


@dataclass(frozen=True)
class Decision:
    """What staff decided, never changed afterwards.

    Attributes
    ----------
    at : datetime
        UTC.
    by : str
    choice : str
        One of `DECISIONS`.
    reason : str
    message : str
        What was said to the owner; may be empty.
    check : int
        The number of the check it rests on.
    """

    at: datetime
    by: str
    choice: str
    reason: str
    message: str
    check: int


CUT_NOTES: Final = ("wished", "cut", "not_cut")
"""What may be noted of a cut: what was wished for when it was settled, that it was made, and that
this was noted by mistake."""


@dataclass(frozen=True)
class CutNote:
    """What was noted of the cut of an order, never changed afterwards; undone by another note.

    Attributes
    ----------
    at : datetime
        UTC.
    by : str
    what : str
        One of `CUT_NOTES`.
    check : int
        The number of the check that the cut rests on.
    content : mapping of name to JSON
        Of a wish the fields of `photocheck.fit.answer.Wish`; of a cut the lengths, mm, by their
        names, and ``size``, empty when it was made to measure.
    """

    at: datetime
    by: str
    what: str
    check: int
    content: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Remeasured:
    """A reading taken anew because the harness did not fit: as typed, its unit, and mm."""

    typed: str
    unit: str
    mm: float


@dataclass(frozen=True)
class Heard:
    """What was heard of a harness that was delivered, never changed afterwards.

    Several may be heard of one order: the last counts, and all are history.

    Attributes
    ----------
    at : datetime
        When it was entered, UTC.
    day : date
        When it was found so, as told.
    by : str
        Who entered it: "owner" or the name staff gave.
    from_owner : bool
        Whether the owner says it, at the desk's telephone or by the order's link.
    result : str
        One of `photocheck.orders.heard.RESULTS`.
    felt : mapping of measure to str
        "tight" or "loose" for each measure (`photocheck.fit.cut_lengths.MEASURES`) that was so.
    measured : mapping of reading to Remeasured
        What was measured again since.
    words : str
        In their own words; may be empty.
    check : int
        The number of the accepted check that was cut by.
    """

    at: datetime
    day: date
    by: str
    from_owner: bool
    result: str
    felt: Mapping[str, str] = field(default_factory=dict)
    measured: Mapping[str, Remeasured] = field(default_factory=dict)
    words: str = ""
    check: int = 0


@dataclass(frozen=True)
class Order:
    """One order with its whole history.

    Attributes
    ----------
    key : str
        Opaque and unguessable; never reused.
    opened : datetime
        UTC.
    language : str
        A key of `photocheck.speech.LANGUAGES`: the owner's.
    draft : Draft
        What the owner has filled in so far.
    checks : tuple of Check
        Oldest first.
    decisions : tuple of Decision
        Oldest first.
    cuts : tuple of CutNote
    heard : tuple of Heard
        Oldest first.
    """

    key: str
    opened: datetime
    language: str
    draft: Draft
    checks: tuple[Check, ...] = ()
    decisions: tuple[Decision, ...] = ()
    cuts: tuple[CutNote, ...] = ()
    heard: tuple[Heard, ...] = ()

    @property
    def name(self) -> str:
        """What the owner called the order, or the dog's name, or nothing."""
        return self.told.title

    @property
    def told(self) -> Draft:
        """What was told last: what the latest check rests on, before it the draft."""
        return self.checks[-1].case if self.checks else self.draft

    @property
    def decision(self) -> Decision | None:
        """The one that holds: the last, if it is on the latest check and not taken back."""
        last = self.decisions[-1] if self.decisions else None
        if last is None or last.choice == TAKEN_BACK or last.check != self.checks[-1].number:
            return None
        return last

    @property
    def state(self) -> str:
        """One of `STATES`; a check after the last decision makes the order wait again."""
        if not self.checks:
            return "being_filled_in"
        return self.decision.choice if self.decision else "waiting"

    @property
    def cut(self) -> CutNote | None:
        """That the last check's harness was cut, and to what; None where it was not."""
        made = [note for note in self.cuts if note.what != "wished"]
        last = made[-1] if made else None
        here = self.checks[-1].number if self.checks else 0
        return last if last and last.what == "cut" and last.check == here else None

    @property
    def wished(self) -> CutNote | None:
        """What the last check's harness is to fit besides the dog of today, where noted."""
        here = self.checks[-1].number if self.checks else 0
        found = [note for note in self.cuts if note.what == "wished" and note.check == here]
        return found[-1] if found else None


@dataclass(frozen=True)
class OrderLine:
    """An order as one line of the desk's list.

    Attributes
    ----------
    key, name : str
    sent : datetime or None
        When it was last checked, UTC.
    state : str
        One of `STATES`.
    verdict : str
        A key of `photocheck.words.VERDICTS`; empty before the first check.
    worst : float
        The largest score of its readings, in standard deviations; 0 before the first check.
    headline : str
    about : str
        The dog, who orders and the order's number, where the name does not say them.
    """

    key: str
    name: str
    sent: datetime | None
    state: str
    verdict: str
    worst: float
    headline: str
    about: str = ""


@dataclass(frozen=True)
class Selection:
    """Which orders of the list, and in which order.

    Attributes
    ----------
    state, verdict : str
        Empty for any.
    text : str
        Every word of it stands somewhere in the order: in its name or number, the dog's or the
        owner's name, e-mail, telephone, notes, or what the check says; small or capital letters
        alike.
    by : str
        A key of `photocheck.orders.listing.SORTS`.
    """

    state: str = ""
    verdict: str = ""
    text: str = ""
    by: str = ""

    @property
    def words(self) -> tuple[str, ...]:
        """What is looked for."""
        return tuple(self.text.casefold().split())


@dataclass(frozen=True)
class Listed:
    """A part of the list.

    Attributes
    ----------
    lines : tuple of OrderLine
    found : int
        How many orders are wanted altogether.
    of_state : mapping of state to int
        How many orders there are in each state, wanted or not.
    """

    lines: tuple[OrderLine, ...]
    found: int
    of_state: Mapping[str, int]


class Store(Protocol):
    """Where orders are kept.  Whatever a method acknowledges is kept for good.

    Every method that takes a key raises `OrderError` when there is no such order.
    """

    def open(self, language: str = "en") -> str:
        """Begin an order and give its key."""

    def own_key(self, key: str) -> str:
        """The order's own key, whatever key it is come to by."""

    def order(self, key: str) -> Order:
        """One order with its history."""

    def draft(self, key: str) -> Draft:
        """What the owner has filled in so far, without the order's history; cheap to ask for."""

    def save_draft(self, key: str, draft: Draft) -> None:
        """Keep what the owner has filled in so far, in place of the last draft."""

    def change_draft(self, key: str, edit: Callable[[Draft], Draft]) -> bool:
        """Keep the draft as `edit` gives it, whatever others keep at the same moment.

        Parameters
        ----------
        edit : function of a draft
            Called again with the newer one where another was kept meanwhile.

        Returns
        -------
        bool
            Whether that is another draft.
        """

    def keep_photo(self, key: str, content: bytes) -> str:
        """Keep a photo's bytes and give the name they have in this order.

        Raises
        ------
        PhotoError
            When the order can hold no more (`photocheck.uploads.QUOTA`); nothing is
            kept then, however many others keep photos at the same moment.
        """

    def photo_bytes(self, key: str) -> tuple[int, ...]:
        """How many bytes each photo of an order has, oldest first; none of them is read."""

    def photo(self, key: str, name: str) -> bytes:
        """A photo's bytes, only of this order; `OrderError` when it has no such photo."""

    def record_check(
        self,
        key: str,
        case: Draft,
        report: Report,
        *,
        by: str,
        ratios: Ratios | None = None,
    ) -> Check:
        """Append a check of `case`, with the learnt ratios it used, if it used any.

        Raises
        ------
        OrderError
            Also when the order does not hold a photo of the case.
        """

    def ratios(self, version: str) -> Ratios:
        """The learnt ratios that some check used; `OrderError` when they are not kept."""

    def decide(
        self,
        key: str,
        choice: str,
        *,
        by: str,
        reason: str,
        message: str = "",
        check: int | None = None,
    ) -> Decision:
        """Append a decision on the latest check.

        Parameters
        ----------
        check : int, optional
            The number of the check that was looked at; `OrderError` when there is a newer one.
        """

    def note_cut(
        self, key: str, what: str, *, by: str, check: int, content: Mapping[str, Any] | None = None
    ) -> bool:
        """Append what is noted of a cut.

        Parameters
        ----------
        what : str
            One of `CUT_NOTES`.
        check : int
            The number of the check that was looked at; `OrderError` when there is a newer one.
        content : mapping, optional
            As `CutNote` has it.

        Returns
        -------
        bool
            False, with nothing noted, where the order stands so already.
        """

    def accepted(self) -> tuple[Order, ...]:
        """The orders that stand accepted, the one decided first first.

        Each has its last check, its last decision and its cuts; not what came before.
        """

    def hear(self, key: str, heard: Heard) -> Heard:
        """Append what was heard of an accepted order's harness; gives it as it is kept.

        Raises
        ------
        OrderError
            When the order was not accepted on that check, or what is told cannot be meant
            (`photocheck.orders.heard.refuse_unmeant`).
        """

    def lines(self) -> tuple[OrderLine, ...]:
        """All orders as the desk lists them: those waiting first, and among them the worst."""

    def listed(self, wanted: Selection, *, first: int = 0, most: int | None = None) -> Listed:
        """A part of the list: the wanted orders from the `first` on, from 0, `most` of them."""

    def stamp(self) -> str:
        """Cheap to ask for; another text whenever `lines` may have changed."""

    def latest(self, key: str) -> tuple[int, int]:
        """How many checks and decisions an order has; cheap to ask for."""

    def forget(self, key: str) -> None:
        """Remove an order, its photos and its history completely."""
