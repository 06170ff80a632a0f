"""The limits that are shipped, as literals: a slip in one of them is seen here."""

from __future__ import annotations

from datetime import timedelta

import pytest

from photocheck.orders.store import engines, privacy
from photocheck.server.access import known_browsers, passes, staff
from photocheck.server.access.rates import MEGABYTE, RATES, Rates, TooOftenError
from photocheck.uploads.quota import QUOTA

SHIPPED = {
    "failed sign in from address": (20, 600),
    "failed sign in as, from address": (10, 3600),
    "failed sign in as": (30, 3600),
    "failed sign in as, from known browser": (20, 3600),
    "unknown links from address": (60, 600),
    "begin from address": (120, 3600),
    "photos of link": (60, 3600),
    "photos from address": (300, 3600),
    "megabytes from address": (3000, 3600),
    "photos of staff": (4000, 3600),
    "megabytes of staff": (30000, 3600),
    "checks of link": (120, 3600),
    "checks from address": (600, 3600),
}


@pytest.mark.parametrize("what", SHIPPED)
def test_a_rate_is_as_shipped_and_is_reached(what: str) -> None:
    item = RATES[what]
    assert (item.amount, item.get_expiry()) == SHIPPED[what]
    counts, most = Rates(), SHIPPED[what][0]
    for _ in range(most):
        counts.refuse_beyond(what, "one")
        counts.count(what, "one")
    for act in (counts.count, counts.refuse_beyond):
        with pytest.raises(TooOftenError):
            act(what, "one")
        act(what, "another")


def test_no_rate_of_these_doors_is_gone() -> None:
    assert SHIPPED.keys() <= RATES.keys()


def test_how_long_passes_and_copies_last() -> None:
    assert {"order": timedelta(days=366), "desk": timedelta(days=1)} == passes.LONGEST
    assert (
        60,
        timedelta(hours=12),
        timedelta(minutes=5),
    ) == (passes.LINK_DAYS, passes.SHIFT, passes.SKEW)
    assert timedelta(days=180) == known_browsers.REMEMBERED
    kept = privacy.Retention()
    assert (kept.drafts_days, kept.decided_days, kept.copies_days) == (30.0, 730.0, 30.0)


def test_passwords_quotas_and_waiting() -> None:
    hasher = staff._hasher()
    # RFC 9106, 4, the second recommended set
    assert (hasher.time_cost, hasher.memory_cost, hasher.parallelism) == (3, 65536, 4)
    assert hasher.type.name == "ID"
    assert (staff.LEAST, staff.MOST, staff.LEAST_SCORE) == (12, 200, 3)
    assert (QUOTA.photos, QUOTA.total_bytes) == (24, 300_000_000)
    assert (engines.BUSY_SECONDS, MEGABYTE) == (30.0, 1_000_000)
