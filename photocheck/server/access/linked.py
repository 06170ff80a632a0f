"""The store as an owner comes to it: every order by its link, and no other way in."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from photocheck.judge.ratios import Ratios
from photocheck.orders.draft import Draft
from photocheck.orders.model import (
    Check,
    Decision,
    Heard,
    Listed,
    Order,
    OrderError,
    OrderLine,
    Selection,
    Store,
)
from photocheck.orders.store.database import DatabaseStore
from photocheck.report.model import Report
from photocheck.server.access.passes import begin_with_link, order_of
from photocheck.speech import tr


@dataclass(frozen=True)
class LinkedStore(Store):
    """A `Store` whose keys are what links carry.

    Each call looks at the link anew, so that one taken back opens nothing from then on, whatever
    page is still open.  The order's own key never leaves it; the list of orders and decisions
    are the workshop's.
    """

    store: DatabaseStore

    def open(self, language: str = "en") -> str:
        """Begin an order and give its link."""
        return begin_with_link(self.store, by="owner", language=language)[1]

    def own_key(self, key: str) -> str:
        """As the store knows it: for what lies in the server's memory, never for a page."""
        return self._key(key)

    def order(self, key: str) -> Order:
        """The order of a link, known by that link."""
        return replace(self.store.order(self._key(key)), key=key)

    def draft(self, key: str) -> Draft:
        """As the store does."""
        return self.store.draft(self._key(key))

    def save_draft(self, key: str, draft: Draft) -> None:
        """As the store does."""
        self.store.save_draft(self._key(key), draft)

    def change_draft(self, key: str, edit: Callable[[Draft], Draft]) -> bool:
        """As the store does."""
        return self.store.change_draft(self._key(key), edit)

    def keep_photo(self, key: str, content: bytes) -> str:
        """As the store does."""
        return self.store.keep_photo(self._key(key), content)

    def photo_bytes(self, key: str) -> tuple[int, ...]:
        """As the store does."""
        return self.store.photo_bytes(self._key(key))

    def photo(self, key: str, name: str) -> bytes:
        """As the store does."""
        return self.store.photo(self._key(key), name)

    def record_check(
        self,
        key: str,
        case: Draft,
        report: Report,
        *,
        by: str,
        ratios: Ratios | None = None,
    ) -> Check:
        """As the store does, but always as the owner."""
        return self.store.record_check(self._key(key), case, report, by="owner", ratios=ratios)

    def ratios(self, version: str) -> Ratios:
        """As the store does."""
        return self.store.ratios(version)

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
        """Owners decide nothing.

        Raises
        ------
        OrderError
            Always.
        """
        raise OrderError(tr("only the workshop decides on an order"), do=tr("Wait for its answer"))

    def note_cut(
        self, key: str, what: str, *, by: str, check: int, content: Mapping[str, Any] | None = None
    ) -> bool:
        """Owners note nothing of cuts.

        Raises
        ------
        OrderError
            Always.
        """
        raise OrderError(tr("only the workshop decides on an order"), do=tr("Wait for its answer"))

    def accepted(self) -> tuple[Order, ...]:
        """Nothing: which orders there are is the workshop's."""
        return ()

    def hear(self, key: str, heard: Heard) -> Heard:
        """As the store does, but always as the owner."""
        return self.store.hear(self._key(key), replace(heard, by="owner", from_owner=True))

    def lines(self) -> tuple[OrderLine, ...]:
        """Nothing: which orders there are is the workshop's."""
        return ()

    def listed(self, wanted: Selection, *, first: int = 0, most: int | None = None) -> Listed:
        """Nothing, for the same reason."""
        return Listed((), 0, {})

    def stamp(self) -> str:
        """Nothing, for the same reason."""
        return ""

    def latest(self, key: str) -> tuple[int, int]:
        """As the store does."""
        return self.store.latest(self._key(key))

    def forget(self, key: str) -> None:
        """As the store does."""
        self.store.forget(self._key(key))

    def _key(self, link: str) -> str:
        return order_of(self.store, link)
