"""The limits that are shipped, as literals: a slip in one of them is seen here."""

from __future__ import annotations

import math
from datetime import timedelta
from types import ModuleType
from typing import Any

import pytest

import photocheck.orders.store
import photocheck.server
import photocheck.server.access
import photocheck.server.hooks
import photocheck.uploads
from photocheck.orders.store import privacy
from photocheck.server import bench
from photocheck.server.access import staff
from photocheck.server.access.rates import RATES, Rates, TooOftenError
from photocheck.server.pace import Pace
from photocheck.uploads import take
from photocheck.uploads.quota import Quota
from photocheck.uploads.take import Limits
from tests.support.figures_held import figures_in

SHIPPED = {
    "failed sign in from address": (20, 600),
    "failed sign in as, from address": (10, 3600),
    "failed sign in as": (30, 3600),
    "failed sign in as, from known browser": (20, 3600),
    "unknown links from address": (60, 600),
    "unknown tokens from address": (30, 600),
    "orders of client": (2000, 3600),
    "photos of client": (4000, 3600),
    "megabytes of client": (30000, 3600),
    "checks of client": (4000, 3600),
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
    counts.count(what, "one", cost=most - 1)
    counts.refuse_beyond(what, "one")
    counts.count(what, "one")
    for act in (counts.count, counts.refuse_beyond):
        with pytest.raises(TooOftenError):
            act(what, "one")
        act(what, "another")


def test_every_rate_is_held_here() -> None:
    assert SHIPPED.keys() == RATES.keys()


# by package, as they stand in the modules; a new one needs its line here
FIGURES: dict[ModuleType, dict[str, dict[str, Any]]] = {
    photocheck.server.access: {
        "browsers": {"LONGEST": 120},
        "clients": {"_MOST_HOSTS": 20},
        "door_secret": {"_LEAST": 32, "_MOST": 4096},
        "known_browsers": {"REMEMBERED": timedelta(days=180), "_LONGEST": 200},
        "passes": {
            "LONGEST": {"order": timedelta(days=366), "desk": timedelta(days=1)},
            "LINK_DAYS": 60,
            "SHIFT": timedelta(hours=12),
            "SKEW": timedelta(minutes=5),
            "_LONGEST_TEXT": 200,
        },
        "rates": {"MEGABYTE": 1_000_000},
        "staff": {
            "LEAST": 12,
            "MOST": 200,
            "LEAST_SCORE": 3,
            "_LONGEST_NAME": 60,
            "_LONGEST_GIVEN": 2000,
        },
    },
    photocheck.orders.store: {
        "brought": {"_ASKED_AT_ONCE": 500},
        "database": {"_AT_ONCE": 200},
        "engines": {
            "BUSY_SECONDS": 30.0,
            "_KEEPALIVE": {"idle": 20, "interval": 10, "count": 3},
        },
        "kept_changes": {"_SLACK": 1000, "_LOCK": 7_468_614, "TOLD_DAYS": 30.0},
        "kept_counts": {"_OVER_AT_ONCE": 10},
        "kept_looks": {"GONE_AFTER_S": 30.0, "AGAIN_AFTER_S": 10.0, "_GONE_AT_ONCE": 10},
        "privacy": {
            "MOST_SHARE": 0.2,
            "FEWEST": 20,
            "LONGEST_PAUSE": timedelta(days=60),
            "SKEW": timedelta(minutes=5),
        },
        "schema": {"_LOCK": 7_468_613},  # two programs of two versions upgrade one after another
        "strange": {"MOST_PARTS": 500, "MOST_BYTES": 300_000_000},
        "unfinished": {"LOCK_OLD_S": 60.0, "OLD_S": 86400.0},
    },
    photocheck.uploads: {
        "gate": {"HEEDS_S": 0.5, "SOON_S": 0.5},
        "quota": {"QUOTA": Quota(photos=24, total_bytes=300_000_000)},
        "take": {
            "_HEADER_BYTES": 8192,
            "LIMITS": Limits(heic=False, memory_bytes=2_000_000_000, cpu_s=20, wall_s=120.0),
            "PLACES": 2,
        },
        "worker": {"MOST_OPEN_FILES": 64, "NICENESS": 10},
    },
    photocheck.server: {
        "bench": {
            "PHOTOS_BYTES": 400_000_000,
            "COPIES_BYTES": 200_000_000,
            "ORDER_BYTES": 250_000_000,
            "PLACE_BYTES": 900_000_000,
            "PLACES": 2,
            "FIRST": 0,
        },
        "pace": {
            "MOST_VISITORS": 20_000,
            "MESSAGES_OF_PAGE": Pace(a_second=5, at_once=60),
            "PIECES_OF_CONNECTION": Pace(a_second=20, at_once=200),
            "WORK_OF_ADDRESS": Pace(a_second=0.6, at_once=1.5),
            "PAGES_OF_ADDRESS": Pace(a_second=200, at_once=200),
            "PROVIDER_OF_ADDRESS": Pace(a_second=1.0, at_once=4.0),
            "REQUESTS_OF_ADDRESS": Pace(a_second=50, at_once=400),
        },
        "serving": {"PORT": 8501},
        "strain": {
            "CHEAPER": 0.98,
            "DEARER": 1.25,
            "EVERY_S": 0.05,
            "HERE_S": 10.0,
            "LATE_S": 0.02,
            "MOST": 4.0,
        },
        "turns": {
            "HALF_S": 20.0,
            "LONGEST_EVERY": 3,
            "LOOKS_S": 0.05,
            "MOST_BROWSERS": 2_000,
            "MOST_WAITING": 600,
        },
        "watch": {"EVERY_S": 1.0, "SILENT": 15, "WRITES_S": 1.0},
    },
    photocheck.server.hooks: {
        "calling": {"WITHIN_S": 10.0, "MOST_HEAD_BYTES": 100_000},
        "reach": {"_PORTS": {"https": 443, "http": 80}, "LOOK_UP_S": 5.0},  # RFC 9110, 4.2
        "telling": {
            "LEASE_S": 40.0,
            "WAITS_S": (2.0, 10.0, 60.0, 300.0, 1800.0, 7200.0, 21_600.0, 43_200.0, 86_400.0),
            "AT_ONCE": 16,
            "OF_ONE": 2,
            "EVERY_S": 2.0,
        },
    },
}


@pytest.mark.parametrize("package", FIGURES, ids=lambda package: package.__name__)
def test_every_figure_is_as_shipped(package: ModuleType) -> None:
    assert figures_in(package) == FIGURES[package]


def test_how_long_orders_are_kept() -> None:
    kept = privacy.Retention()
    assert (kept.drafts_days, kept.decided_days, kept.copies_days) == (30.0, 730.0, 30.0)


def test_passwords_are_hashed_as_rfc_9106_has_it() -> None:
    """Its section 4, the second recommended set."""
    hasher = staff._hasher()
    assert (hasher.time_cost, hasher.memory_cost, hasher.parallelism) == (3, 65536, 4)
    assert hasher.type.name == "ID"


def test_the_gates_let_in_as_many_as_shipped() -> None:
    for gate, told in ((take.GATE, "read"), (bench.GATE, "looked at")):
        assert (gate._free, gate._most, gate._patience_s) == (2, 82, 180.0)
        assert told in str(gate._busy())
    assert (take.GATE._most_of_one, take.GATE._most_waiting_of_one) == (1, 40)
    assert (bench.GATE._most_of_one, bench.GATE._most_waiting_of_one) == (2, 40)
    assert (bench.GATE._soon_s, take.GATE._soon_s) == (0.5, math.inf)
    assert bench.PHOTOS._held.maxsize == bench.PHOTOS_BYTES
    assert bench.COPIES._held.maxsize == bench.COPIES_BYTES


def test_no_password_is_looked_at_for_longer_than_it_helps(monkeypatch: pytest.MonkeyPatch) -> None:
    import zxcvbn

    looked_at: list[int] = []

    def noted(password: str, user_inputs: list[str]) -> dict[str, int]:
        looked_at.append(len(password))
        return {"score": len(looked_at)}

    monkeypatch.setattr(zxcvbn, "zxcvbn", noted)
    for length, strong in ((12, False), (72, False), (200, True), (200, True)):
        if strong:
            staff._refuse_weak("x" * length, "Ada")
        else:
            with pytest.raises(staff.StaffError):
                staff._refuse_weak("x" * length, "Ada")
    for length in (11, 201):
        with pytest.raises(staff.StaffError, match="12 to 200"):
            staff._refuse_weak("x" * length, "Ada")
    assert looked_at == [12, 72, 72, 72]
