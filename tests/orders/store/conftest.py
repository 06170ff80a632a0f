"""Here the migrations themselves are tested."""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from photocheck.orders.store import opening, schema


@pytest.fixture(autouse=True)
def _tables_are_migrated() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(opening, "schema", schema)
        yield
