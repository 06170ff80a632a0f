"""The tables of the store, and how times and free text are kept in them."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any, Final, TypeVar

from sqlalchemy import (
    Boolean,
    CheckConstraint,
    Column,
    Date,
    DateTime,
    Dialect,
    Float,
    ForeignKey,
    ForeignKeyConstraint,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)
from sqlalchemy.types import TypeDecorator

from photocheck.orders.harmless import whole

Kind = TypeVar("Kind")


class Utc(TypeDecorator[datetime]):
    """A moment, aware and in UTC on both databases; SQLite itself knows no time zones."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        """Refuse a moment without its zone, and turn it to UTC."""
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a moment without a time zone")
        return value.astimezone(UTC)

    def process_result_value(self, value: Any | None, dialect: Dialect) -> datetime | None:
        """Give SQLite's bare moments their zone."""
        if value is None:
            return None
        moment: datetime = value
        return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)


def _only(value: Any | None, kind: type[Kind]) -> Kind | None:
    """A value of that kind, or none."""
    if value is None or isinstance(value, kind):
        return value
    raise TypeError(f"{type(value).__name__} in place of {kind.__name__}")


class Letters(TypeDecorator[str]):
    """Text that nothing else is taken for when it is read: SQLite keeps anything anywhere."""

    impl = String
    cache_ok = True

    def process_result_value(self, value: Any | None, dialect: Dialect) -> str | None:
        """Refuse what is no text."""
        return _only(value, str)


class Number(TypeDecorator[int]):
    """The same of a whole number."""

    impl = Integer
    cache_ok = True

    def process_result_value(self, value: Any | None, dialect: Dialect) -> int | None:
        """Refuse what is no whole number."""
        return _only(value, int)


class LongLetters(Letters):
    """The same, of any length."""

    impl = Text
    cache_ok = True


class Words(LongLetters):
    """Text from people: what no database can hold (NUL, half a surrogate pair) is marked."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        """Put U+FFFD, Unicode's replacement character, in place of what cannot be kept."""
        return None if value is None else keepable(value)


def keepable(text: str) -> str:
    """The text with U+FFFD in place of NUL and lone surrogates."""
    return whole(text).replace("\0", "\ufffd")


metadata: Final = MetaData()


def _of_order(name: str = "order_id") -> Column[int]:
    return Column(name, Integer, ForeignKey("orders.id", ondelete="CASCADE"), nullable=False)


orders: Final = Table(
    "orders",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("key", Letters(43), nullable=False, unique=True),
    Column("opened", Utc, nullable=False),
    Column("language", Letters(20), nullable=False),
    Column("draft", LongLetters, nullable=False),
    Column("name", Words, nullable=False),
    Column("touched", Utc, nullable=False),
    Column("photos_given", Number, nullable=False),
    sqlite_autoincrement=True,
)
"""`draft` is JSON; `name` is the draft's; `touched` is when the owner last did anything."""

photos: Final = Table(
    "photos",
    metadata,
    Column("id", Integer, primary_key=True),
    _of_order(),
    Column("name", Letters(40), nullable=False),
    Column("sha256", Letters(64), nullable=False),
    Column("at", Utc, nullable=False),
    Column("content", LargeBinary, nullable=False),
    UniqueConstraint("order_id", "name"),
    UniqueConstraint("order_id", "sha256"),
    sqlite_autoincrement=True,
)

ratios: Final = Table(
    "ratios",
    metadata,
    Column("version", Letters(80), primary_key=True),
    Column("content", LongLetters, nullable=False),
)
"""The learnt ratios that checks were made with, so that those can be made again."""

checks: Final = Table(
    "checks",
    metadata,
    Column("number", Integer, primary_key=True),
    _of_order(),
    Column("at", Utc, nullable=False),
    Column("by", Words, nullable=False),
    Column("program", Letters(80), nullable=False),
    Column("ratios", Letters(80), nullable=False),
    Column("language", Letters(20), nullable=False),
    Column("case", LongLetters, nullable=False),
    Column("report", LongLetters, nullable=False),
    Column("name", Words, nullable=False),
    Column("verdict", Letters(40), nullable=False),
    Column("worst", Float, nullable=False),
    Column("headline", Words, nullable=False),
    UniqueConstraint("number", "order_id"),
    Index("checks_of_order", "order_id"),
    sqlite_autoincrement=True,
)
"""`case` and `report` are JSON; the last four columns repeat them for the list of orders."""

check_photos: Final = Table(
    "check_photos",
    metadata,
    Column("check_number", Integer, primary_key=True),
    Column("position", Integer, primary_key=True),
    _of_order(),
    Column("name", Letters(40), nullable=False),
    Column("sha256", Letters(64), nullable=False),
    ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    ),
    ForeignKeyConstraint(
        ["order_id", "name"], ["photos.order_id", "photos.name"], ondelete="CASCADE"
    ),
)
"""Which bytes a check saw."""

readings: Final = Table(
    "readings",
    metadata,
    Column("check_number", Integer, primary_key=True),
    Column("reading", Letters(40), primary_key=True),
    _of_order(),
    Column("typed", Words, nullable=False),
    Column("unit", Letters(8), nullable=False),
    Column("mm", Float, nullable=False),
    ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    ),
)
"""The readings a check judged: as typed, the unit they were read in, millimetres."""

decisions: Final = Table(
    "decisions",
    metadata,
    Column("id", Integer, primary_key=True),
    _of_order(),
    Column("check_number", Number, nullable=False),
    Column("at", Utc, nullable=False),
    Column("by", Words, nullable=False),
    Column("choice", Letters(40), nullable=False),
    Column("reason", Words, nullable=False),
    Column("message", Words, nullable=False),
    Column("program", Letters(80), nullable=False),
    Column("ratios", Letters(80), nullable=False),
    ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    ),
    Index("decisions_of_order", "order_id"),
    sqlite_autoincrement=True,
)

cuts: Final = Table(
    "cuts",
    metadata,
    Column("id", Integer, primary_key=True),
    _of_order(),
    Column("check_number", Number, nullable=False),
    Column("at", Utc, nullable=False),
    Column("by", Words, nullable=False),
    Column("what", Letters(20), nullable=False),
    Column("content", LongLetters, nullable=False),
    ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    ),
    Index("cuts_of_order", "order_id"),
    sqlite_autoincrement=True,
)
"""What was wished for when an order was accepted, that it was cut and to what lengths, and that
this was undone (`photocheck.orders.model.CutNote`); `content` is JSON."""

outcomes: Final = Table(
    "outcomes",
    metadata,
    Column("id", Integer, primary_key=True),
    _of_order(),
    Column("check_number", Number, nullable=False),
    Column("at", Utc, nullable=False),
    Column("day", Date, nullable=False),
    Column("by", Words, nullable=False),
    Column("from_owner", Boolean, nullable=False),
    Column("result", Letters(40), nullable=False),
    Column("felt", LongLetters, nullable=False),
    Column("measured", LongLetters, nullable=False),
    Column("words", Words, nullable=False),
    ForeignKeyConstraint(
        ["check_number", "order_id"], ["checks.number", "checks.order_id"], ondelete="CASCADE"
    ),
    Index("outcomes_of_order", "order_id"),
    sqlite_autoincrement=True,
)
"""What was heard of harnesses that were delivered (`photocheck.orders.model.Heard`); `felt` and
`measured` are JSON."""

forgotten: Final = Table(
    "forgotten",
    metadata,
    Column("sha256", Letters(64), primary_key=True),
    Column("at", Utc, nullable=False),
)
"""Hashes of the keys of forgotten orders, lest an older backup bring one back.

A key is 256 random bits, so its hash tells nothing of anybody.
"""

brought: Final = Table(
    "brought",
    metadata,
    Column("origin", Letters(64), primary_key=True),
    Column("content", Letters(64), nullable=False),
    Column("at", Utc, nullable=False),
    Column("order_id", Integer, ForeignKey("orders.id", ondelete="SET NULL")),
)
"""What was imported: SHA-256 of what a row of a table or a case file is known by, and of what it
said.  It outlasts its order, so that an order that was forgotten does not come back with the
next import of the same table."""

staff: Final = Table(
    "staff",
    metadata,
    Column("known_as", Letters(80), primary_key=True),
    Column("name", Words, nullable=False),
    Column("password", LongLetters, nullable=False),
    Column("at", Utc, nullable=False),
)
"""Who may come to the desk.  `known_as` is the name as it is compared, `password` what Argon2 makes
of it."""

passes: Final = Table(
    "passes",
    metadata,
    Column("sha256", Letters(64), primary_key=True),
    Column("purpose", Letters(20), nullable=False),
    Column("order_id", Integer, ForeignKey("orders.id", ondelete="CASCADE")),
    Column("known_as", Letters(80), ForeignKey("staff.known_as", ondelete="CASCADE")),
    Column("by", Words, nullable=False),
    Column("at", Utc, nullable=False),
    Column("expires", Utc, nullable=False),
    Column("ended", Utc),
    CheckConstraint("(order_id IS NULL) <> (known_as IS NULL)", name="passes_have_one_holder"),
    Index("passes_of_order", "order_id"),
)
"""Owners' links to one order each, and who is signed in at the desk: hashes of what they carry."""

secrets: Final = Table(
    "secrets",
    metadata,
    Column("name", Letters(40), primary_key=True),
    Column("value", Letters(80), nullable=False),
)
"""What links and cookies are signed with; in the store, for all its desks must agree on it."""

counts: Final = Table(
    "counts",
    metadata,
    Column("whose", Letters(64), primary_key=True),
    Column("times", LongLetters, nullable=False),
    Column("over", Utc, nullable=False),
    Index("counts_over", "over"),
)
"""How often somebody has guessed lately: `times` is JSON, seconds since 1970; `whose` names nobody
(`photocheck.server.access.rates`); after `over` the row tells nothing any more."""

looking: Final = Table(
    "looking",
    metadata,
    Column("page", Letters(64), primary_key=True),
    _of_order(),
    Column("by", Words, nullable=False),
    Column("at", Utc, nullable=False),
    Index("looking_at_order", "order_id"),
)
"""Which page of the desk shows an order, since when nobody has heard of it, and whose page that
is; it goes soon after the page has."""

listed: Final = Table(
    "listed",
    metadata,
    Column("order_id", Integer, ForeignKey("orders.id", ondelete="CASCADE"), primary_key=True),
    Column("opened", Utc, nullable=False),
    Column("state", Letters(20), nullable=False),
    Column("verdict", Letters(40), nullable=False),
    Column("worst", Float, nullable=False),
    Column("sent", Utc),
    Column("name", Words, nullable=False),
    Column("about", Words, nullable=False),
    Column("headline", Words, nullable=False),
    Column("name_key", Words, nullable=False),
    Column("number_key", Words, nullable=False),
    Column("sought", Words, nullable=False),
)
"""The desk's list, a row for each order, that repeats what orders, checks and decisions say
(`photocheck.orders.store.listed`)."""

clients: Final = Table(
    "clients",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("known_as", Letters(80), nullable=False, unique=True),
    Column("name", Words, nullable=False),
    Column("sees", Letters(10), nullable=False),
    Column("calls", Words, nullable=False),
    Column("at", Utc, nullable=False),
    sqlite_autoincrement=True,
)
"""Other programs that may come to the orders; `calls` is JSON: whom they may have called back."""

client_tokens: Final = Table(
    "client_tokens",
    metadata,
    Column("sha256", Letters(64), primary_key=True),
    Column("client_id", Integer, ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
    Column("at", Utc, nullable=False),
    Column("ended", Utc),
)
"""Hashes of what clients carry; one that has ended stays in the list."""

client_orders: Final = Table(
    "client_orders",
    metadata,
    Column("order_id", Integer, ForeignKey("orders.id", ondelete="CASCADE"), primary_key=True),
    Column("client_id", Integer, ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
    Column("number", Words, nullable=False),
    UniqueConstraint("client_id", "number"),
)
"""Which orders a client began, and by which number of its own it knows them."""

changes: Final = Table(
    "changes",
    metadata,
    Column("number", Integer, primary_key=True),
    _of_order(),
    Column("kind", Letters(20), nullable=False),
    Column("ref", Integer, nullable=False),
    Column("at", Utc, nullable=False),
    UniqueConstraint("kind", "ref"),
    sqlite_autoincrement=True,
)
"""What clients are told of, numbered in the order in which it is told (`kept_changes`)."""

subscriptions: Final = Table(
    "subscriptions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("client_id", Integer, ForeignKey("clients.id", ondelete="CASCADE"), nullable=False),
    Column("address", Words, nullable=False),
    Column("nonce", Letters(64), nullable=False),
    Column("secret_sha256", Letters(64), nullable=False),
    Column("after", Integer, nullable=False),
    Column("at", Utc, nullable=False),
    Column("ended", Utc),
    Column("why", Letters(20), nullable=False),
    sqlite_autoincrement=True,
)
"""Where a client wants to be told of changes after one.  What is signed with comes of `nonce` and
the secret of the doors, which lies in no store."""

deliveries: Final = Table(
    "deliveries",
    metadata,
    Column("id", Integer, primary_key=True),
    Column(
        "subscription_id",
        Integer,
        ForeignKey("subscriptions.id", ondelete="CASCADE"),
        nullable=False,
    ),
    Column(
        "change_number", Integer, ForeignKey("changes.number", ondelete="CASCADE"), nullable=False
    ),
    Column("tries", Integer, nullable=False),
    Column("due", Utc, nullable=False),
    Column("done", Utc),
    Column("said", Letters(80), nullable=False),
    UniqueConstraint("subscription_id", "change_number"),
    Index("deliveries_due", "done", "due"),
    sqlite_autoincrement=True,
)
"""What is still to be told, when it is tried next, and what was answered last."""

UNCHANGING: Final = (
    "photos",
    "checks",
    "check_photos",
    "readings",
    "decisions",
    "cuts",
    "outcomes",
)
"""Tables whose rows are never changed, and go only when their order has gone."""
