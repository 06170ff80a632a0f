"""Orders in a database: what `photocheck.orders.model.Store` promises."""

from __future__ import annotations

import re
import secrets
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cached_property
from hashlib import sha256
from typing import TYPE_CHECKING, Any, Final

from sqlalchemy import Connection, Engine, Table, delete, func, insert, select, text, update

from photocheck import __version__
from photocheck.orders.bounds import (
    LONGEST_BY,
    LONGEST_MESSAGE,
    LONGEST_REASON,
    MOST_CHECKS,
    MOST_DECISIONS,
    MOST_HEARD,
    refuse_long,
    refuse_more,
)
from photocheck.orders.draft import Draft
from photocheck.orders.heard import refuse_unmeant
from photocheck.orders.model import (
    CHOICES,
    DECISIONS,
    Check,
    Decision,
    Heard,
    Listed,
    Order,
    OrderError,
    OrderLine,
    Selection,
)
from photocheck.orders.store import kept_cuts, rows
from photocheck.orders.store.damage import damage_told, read_as
from photocheck.orders.store.engines import file_of, insert_into, reached, wipe
from photocheck.orders.store.listed import listed_part, relist, retold
from photocheck.orders.store.tables import (
    check_photos,
    checks,
    cuts,
    decisions,
    forgotten,
    orders,
    outcomes,
    passes,
    photos,
    ratios,
    readings,
)
from photocheck.orders.store.unfinished import sweep
from photocheck.report.file import report_to_dict
from photocheck.report.model import Report
from photocheck.speech import LANGUAGES, spoken, tr
from photocheck.uploads.quota import QUOTA

if TYPE_CHECKING:
    from photocheck.judge.ratios import Ratios

_AT_ONCE: Final = 200
"""Orders read at once where all are wanted: some 10 MB of reports (judgement)."""

_PHOTO_NAME: Final = re.compile(r"photo-[0-9]{1,9}(\.[a-z]{3,4})?")


@dataclass(frozen=True)
class KeptPhoto:
    """A photo of an order, without its bytes; `at` is when it came, UTC."""

    name: str
    sha256: str
    at: datetime


@dataclass(frozen=True)
class DatabaseStore:
    """The store; may be used by several threads, and beside other processes.

    Every writing method is one transaction, on the disk when the method returns.  A process
    that forks opens the store anew in the child.

    Attributes
    ----------
    engine : Engine
        Of a database whose tables are of the newest version.
    """

    engine: Engine

    @cached_property
    def _reader(self) -> Engine:
        if self.engine.dialect.name == "sqlite":
            return self.engine.execution_options(reading=True)
        return self.engine.execution_options(isolation_level="REPEATABLE READ")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A transaction that sees one state and changes nothing."""
        with reached(), self._reader.connect() as connection, damage_told(connection):
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """A transaction that is on the disk once it ends."""
        with reached(), self.engine.begin() as connection, damage_told(connection):
            yield connection

    @property
    def in_a_file(self) -> bool:
        """Whether it is a file on this machine, and not a database elsewhere."""
        return file_of(self.engine) is not None

    def prove_writing(self) -> None:
        """Write something that changes nothing, all the way to the disk.

        Raises
        ------
        StoreError
            When that cannot be done.
        """
        with self.writing() as connection:
            connection.execute(text("UPDATE alembic_version SET version_num = version_num"))

    def close(self) -> None:
        """Let go of the connections."""
        self.engine.dispose()

    def open(self, language: str = "en") -> str:
        """Begin an order and give its key: 256 random bits, so none ever comes twice."""
        with self.writing() as connection:
            return begun(connection, language)[1]

    def own_key(self, key: str) -> str:
        """The order's own key: the only one there is here."""
        with self.reading() as connection:
            return str(rows.head_of(connection, key)["key"])

    def order(self, key: str) -> Order:
        """One order with its history."""
        with self.reading() as connection:
            return rows.order_of(connection, rows.head_of(connection, key))

    def draft(self, key: str) -> Draft:
        """What the owner has filled in so far, without the order's history."""
        with self.reading() as connection:
            return rows.draft_of(rows.head_of(connection, key))

    def save_draft(self, key: str, draft: Draft) -> None:
        """Keep what the owner has filled in so far, in place of the last draft."""
        with self.writing() as connection:
            head = rows.head_of(connection, key, lock=True)
            kept = rows.draft_as_json(draft)
            touch(connection, head["id"], draft=kept, name=draft.title)

    def change_draft(self, key: str, edit: Callable[[Draft], Draft]) -> bool:
        """Keep the draft as `edit` gives it, whatever others keep at the same moment."""
        while True:
            with self.reading() as connection:
                before = rows.head_of(connection, key)
            # Outside of any transaction: nobody waits for it, and it may ask the store.
            draft = rows.draft_of(before)
            edited = edit(draft)
            if edited == draft:
                return False
            with self.writing() as connection:
                head = rows.head_of(connection, key, lock=True)
                if head["draft"] == before["draft"]:
                    kept = rows.draft_as_json(edited)
                    touch(connection, head["id"], draft=kept, name=edited.title)
                    return True

    def keep_photo(self, key: str, content: bytes) -> str:
        """Keep a photo's bytes; the same bytes again have the name they have already."""
        content = bytes(content)
        digest = sha256(content).hexdigest()
        with self.writing() as connection:
            head = rows.head_of(connection, key, lock=True)
            known = connection.execute(
                select(photos.c.name).where(
                    photos.c.order_id == head["id"], photos.c.sha256 == digest
                )
            ).scalar()
            if known is not None:
                return str(known)
            return add_photo(connection, head["id"], head["photos_given"] + 1, content, digest)

    def photo_bytes(self, key: str) -> tuple[int, ...]:
        """How many bytes each photo of an order has, oldest first; none of them is read."""
        with self.reading() as connection:
            return _bytes_of(connection, rows.head_of(connection, key)["id"])

    def photo(self, key: str, name: str) -> bytes:
        """A photo's bytes, only of this order."""
        with self.reading() as connection:
            head = rows.head_of(connection, key)
            content = None
            if _PHOTO_NAME.fullmatch(name):
                content = connection.execute(
                    select(photos.c.content).where(
                        photos.c.order_id == head["id"], photos.c.name == name
                    )
                ).scalar()
            if content is None:
                raise rows.no_photo(name)
            return bytes(content)

    def photos(self, key: str) -> tuple[KeptPhoto, ...]:
        """All photos of an order, also those that no check used."""
        with self.reading() as connection:
            head = rows.head_of(connection, key)
            found = connection.execute(
                select(photos.c.name, photos.c.sha256, photos.c.at)
                .where(photos.c.order_id == head["id"])
                .order_by(photos.c.id)
            ).all()
        return tuple(KeptPhoto(row.name, row.sha256, row.at) for row in found)

    def record_check(
        self,
        key: str,
        case: Draft,
        report: Report,
        *,
        by: str,
        ratios: Ratios | None = None,
    ) -> Check:
        """Append a check of `case`, with the learnt ratios it used, if it used any."""
        refuse_long(by, LONGEST_BY, what=tr("the name"))
        used = "" if report.ratios_version == "shipped" else report.ratios_version
        scores = [abs(span.score) for span in report.spans if span.score is not None]
        kept = {
            "at": _now(),
            "by": by,
            "program": report.version,
            "ratios": used,
            "language": spoken(),
            "case": rows.draft_as_json(case),
            "report": rows.as_json(report_to_dict(report)),
            "name": case.title,
            "verdict": report.verdict,
            "worst": max(scores, default=0.0),
            "headline": report.headline,
        }
        with self.writing() as connection:
            head = rows.head_of(connection, key, lock=True)
            refuse_more(_how_many(connection, checks, head["id"]), MOST_CHECKS)
            seen = rows.photos_of(connection, head["id"], case)
            number = connection.execute(
                insert(checks).values(order_id=head["id"], **kept).returning(checks.c.number)
            ).scalar_one()
            own = {"check_number": number, "order_id": head["id"]}
            _add(
                connection,
                check_photos,
                [
                    {**own, "position": position, "name": name, "sha256": digest}
                    for position, (name, digest) in enumerate(seen)
                ],
            )
            _add(
                connection,
                readings,
                [
                    {**own, "reading": name, "typed": it.typed, "unit": it.unit, "mm": it.mm}
                    for name, it in report.case.readings.items()
                ],
            )
            if ratios is not None and ratios.current == used:
                _keep_ratios(connection, ratios)
            touch(connection, head["id"])
            relist(connection, head["id"])
            row = connection.execute(select(checks).where(checks.c.number == number))
            return rows.check_of(row.mappings().one())

    def ratios(self, version: str) -> Ratios:
        """The learnt ratios that some check used."""
        from photocheck.judge.ratios import ratios_from_dict

        with self.reading() as connection:
            kept = connection.execute(select(ratios).where(ratios.c.version == version))
            row = kept.mappings().one_or_none()
        if row is None:
            raise OrderError(
                tr("the learnt ratios {version} are not kept here", version=version[:80]),
                do=tr("Check the order again"),
            )
        return read_as(row, ratios, "content", ratios_from_dict)

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
        """Append a decision on the latest check, if that is the one numbered `check`."""
        if choice not in DECISIONS:
            raise OrderError(
                tr("'{choice}' is not a decision", choice=choice[:60]),
                do=tr("Choose one of {choices}", choices=", ".join(CHOICES)),
            )
        refuse_long(by, LONGEST_BY, what=tr("the name"))
        refuse_long(reason, LONGEST_REASON, what=tr("the reason"))
        refuse_long(message, LONGEST_MESSAGE, what=tr("the message"))
        with self.writing() as connection:
            head = rows.head_of(connection, key, lock=True)
            refuse_more(_how_many(connection, decisions, head["id"]), MOST_DECISIONS)
            latest = connection.execute(
                select(checks.c.number, checks.c.ratios)
                .where(checks.c.order_id == head["id"])
                .order_by(checks.c.number.desc())
                .limit(1)
            ).one_or_none()
            if latest is None:
                raise OrderError(
                    tr("this order has not been checked yet"), do=tr("Check it before deciding")
                )
            if check is not None and check != latest.number:
                raise OrderError(
                    tr("this order has been checked again meanwhile"),
                    do=tr("Look at the new check, which is shown now, and decide again"),
                )
            number = connection.execute(
                insert(decisions)
                .values(
                    order_id=head["id"],
                    check_number=latest.number,
                    at=_now(),
                    by=by,
                    choice=choice,
                    reason=reason,
                    message=message,
                    program=__version__,
                    ratios=latest.ratios,
                )
                .returning(decisions.c.id)
            ).scalar_one()
            relist(connection, head["id"])
            row = connection.execute(select(decisions).where(decisions.c.id == number))
            return rows.decision_of(row.mappings().one())

    def hear(self, key: str, heard: Heard) -> Heard:
        """Append what was heard of an accepted order's harness."""
        refuse_long(heard.by, LONGEST_BY, what=tr("the name"))
        refuse_long(heard.words, LONGEST_REASON, what=tr("what was said"))
        now = _now()
        with self.writing() as connection:
            head = rows.head_of(connection, key, lock=True)
            refuse_more(_how_many(connection, outcomes, head["id"]), MOST_HEARD)
            refuse_unmeant(heard, opened=head["opened"], now=now)
            accepted = select(decisions.c.check_number).where(
                decisions.c.order_id == head["id"],
                decisions.c.check_number == heard.check,
                decisions.c.choice == "accepted",
            )
            if connection.execute(accepted.limit(1)).first() is None:
                raise OrderError(
                    tr("this order was not accepted as it is here"),
                    do=tr("Look at the order as it stands now, and tell it there"),
                )
            number = connection.execute(
                insert(outcomes)
                .values(
                    order_id=head["id"],
                    check_number=heard.check,
                    at=now,
                    day=heard.day,
                    by=heard.by,
                    from_owner=heard.from_owner,
                    result=heard.result,
                    felt=rows.as_json(dict(heard.felt)),
                    measured=rows.measured_as_json(heard),
                    words=heard.words,
                )
                .returning(outcomes.c.id)
            ).scalar_one()
            touch(connection, head["id"])
            row = connection.execute(select(outcomes).where(outcomes.c.id == number))
            return rows.heard_of(row.mappings().one())

    def note_cut(
        self, key: str, what: str, *, by: str, check: int, content: Mapping[str, Any] | None = None
    ) -> bool:
        """Append what is noted of a cut; False where the order stands so already."""
        with self.writing() as connection:
            return kept_cuts.note_cut(connection, key, what, by=by, check=check, content=content)

    def accepted(self) -> tuple[Order, ...]:
        """The orders that stand accepted, each with its last check and decision, and its cuts."""
        with self.reading() as connection:
            return kept_cuts.accepted(connection)

    def lines(self) -> tuple[OrderLine, ...]:
        """All orders as the desk lists them: those waiting first, and among them the worst."""
        return self.listed(Selection()).lines

    def listed(self, wanted: Selection, *, first: int = 0, most: int | None = None) -> Listed:
        """A part of the list: the wanted orders from the `first` on, from 0, `most` of them."""
        with self.reading() as connection:
            return listed_part(connection, wanted, first, most)

    def whole(self) -> Iterator[Order]:
        """Every order with its history, the first begun first, few of them in memory at once.

        Each is as it stood at one moment; they are not all of the same one, for a long look at
        all of them would keep others from writing.
        """
        with self.reading() as connection:
            found = connection.execute(select(orders.c.id).order_by(orders.c.id)).scalars().all()
        for start in range(0, len(found), _AT_ONCE):
            with self.reading() as connection:
                some = rows.orders_of(connection, found[start : start + _AT_ONCE])
            yield from some

    def retold(self, lines: Sequence[OrderLine]) -> tuple[OrderLine, ...]:
        """Some lines of the list, with their headlines in the language spoken now."""
        with self.reading() as connection:
            return retold(connection, lines)

    def stamp(self) -> str:
        """Another text whenever `lines` may have changed."""
        with self.reading() as connection:
            found = connection.execute(rows.stamp()).one()
        return " ".join(map(str, found))

    def last_written(self) -> datetime | None:
        """When anything was last done to any order or pass, UTC; None for an empty store."""
        newest = (
            select(func.max(orders.c.touched)),
            select(func.max(checks.c.at)),
            select(func.max(decisions.c.at)),
            select(func.max(cuts.c.at)),
            select(func.max(passes.c.at)),
            select(func.max(forgotten.c.at)),
        )
        with self.reading() as connection:
            found = [connection.execute(one).scalar() for one in newest]
        return max((at for at in found if at is not None), default=None)

    def latest(self, key: str) -> tuple[int, int]:
        """How many checks and decisions an order has."""
        with self.reading() as connection:
            found = connection.execute(rows.latest(key)).one_or_none()
        if found is None:
            raise rows.no_order()
        return found[0], found[1]

    def forget(self, key: str, *, only_if: Callable[[Connection, int], bool] | None = None) -> None:
        """Remove an order, its photos and its history, also from the database's own files.

        Copies made earlier still hold them; but an order that was forgotten does not come
        back when such a copy is restored here.

        Parameters
        ----------
        key : str
        only_if : function of a connection and the order's row, optional
            Whether it shall still go, asked in the transaction that removes it; `OrderError` when
            not.
        """
        with self.writing() as connection:
            # Nothing else of it is read: what is damaged can be forgotten too.
            order_id = rows.head_of(connection, key, lock=True, only=(orders.c.id,))["id"]
            if only_if is not None and not only_if(connection, order_id):
                raise OrderError(tr("this order has changed meanwhile"), do=tr("Look at it again"))
            connection.execute(delete(orders).where(orders.c.id == order_id))
            connection.execute(insert(forgotten).values(sha256=key_hash(key), at=_now()))
        wipe(self.engine)
        sweep(self.engine)

    def forgotten_of(self, keys: Collection[str]) -> tuple[str, ...]:
        """Which of some orders were forgotten."""
        by_hash = {key_hash(key): key for key in keys}
        wanted = select(forgotten.c.sha256).where(forgotten.c.sha256.in_(by_hash))
        with self.reading() as connection:
            return tuple(by_hash[found] for found in connection.execute(wanted).scalars())


def begun(connection: Connection, language: str) -> tuple[int, str]:
    """Begin an order inside a transaction; gives its row's id and its key."""
    key = "-"
    while key.startswith("-"):  # a command would take it for an option
        key = secrets.token_urlsafe(32)
    now = _now()
    new = insert(orders).values(
        key=key,
        opened=now,
        language=language if language in LANGUAGES else "en",
        draft="{}",
        name="",
        touched=now,
        photos_given=0,
    )
    order_id = connection.execute(new.returning(orders.c.id)).scalar_one()
    relist(connection, order_id)
    return order_id, key


def key_hash(key: str) -> str:
    """How a forgotten order is remembered."""
    return sha256(key.encode()).hexdigest()


def _now() -> datetime:
    return datetime.now(UTC)


def touch(connection: Connection, order_id: int, **values: Any) -> None:
    """Change an order's row inside a transaction, and note when."""
    changed = update(orders).where(orders.c.id == order_id).values(touched=_now(), **values)
    connection.execute(changed)
    if "draft" in values:
        relist(connection, order_id)


def _add(connection: Connection, table: Table, new: Sequence[Mapping[str, Any]]) -> None:
    if new:
        connection.execute(insert(table), new)


def insert_unless_there(connection: Connection, table: Table, key: str, **values: Any) -> bool:
    """Add a row inside a transaction unless one has its `key` already; whether it is new."""
    new = insert_into(connection, table).values(**values)
    new = new.on_conflict_do_nothing(index_elements=[key])
    return connection.execute(new.returning(table.c[key])).first() is not None


def _keep_ratios(connection: Connection, used: Ratios) -> None:
    from photocheck.judge.ratios import ratios_to_dict

    content = rows.as_json(ratios_to_dict(used))
    insert_unless_there(connection, ratios, "version", version=used.current, content=content)


def add_photo(
    connection: Connection, order_id: int, number: int, content: bytes, digest: str
) -> str:
    """Keep an order's `number`-th photo, from 1, inside a transaction; gives its name.

    Every photo comes in here, by whatever way, under the lock that its order's row is: so two
    that come at once see each other, and no order is ever beyond its quota.

    Raises
    ------
    PhotoError
        When the order can hold no more.
    """
    QUOTA.refuse_beyond(_bytes_of(connection, order_id), len(content))
    name = f"photo-{number}{_suffix(content)}"
    new = insert(photos).values(
        order_id=order_id, name=name, sha256=digest, at=_now(), content=content
    )
    connection.execute(new)
    touch(connection, order_id, photos_given=number)
    return name


def _how_many(connection: Connection, table: Table, order_id: int) -> int:
    of_order = select(func.count()).select_from(table).where(table.c.order_id == order_id)
    return int(connection.execute(of_order).scalar_one())


def _bytes_of(connection: Connection, order_id: int) -> tuple[int, ...]:
    # The length of a blob stands in its row's head: neither database reads the blob for it.
    sizes = select(func.length(photos.c.content)).where(photos.c.order_id == order_id)
    return tuple(connection.execute(sizes.order_by(photos.c.id)).scalars())


def _suffix(content: bytes) -> str:
    """What such a file is usually called, so that an export opens with a click."""
    if content.startswith(b"\xff\xd8\xff"):
        return ".jpg"
    if content.startswith(b"\x89PNG"):
        return ".png"
    if content[:4] == b"RIFF" and content[8:12] == b"WEBP":
        return ".webp"
    return ".heic" if content[4:8] == b"ftyp" else ""
