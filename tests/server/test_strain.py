"""What asking costs while the thread that answers everybody comes late."""

from __future__ import annotations

from math import ceil, log

import pytest

from photocheck.server.pace import Bucket, Pace
from photocheck.server.strain import CHEAPER, DEARER, HERE_S, LATE_S, MOST, Strain
from photocheck.server.turns import Lines

ONE, OTHER, THIRD = "192.0.2.1", "192.0.2.2", "192.0.2.3"


class Moment:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def pressed(clock: Moment | None = None) -> Strain:
    """As hard as it can be, with two addresses here."""
    found = Strain(clock or Moment())
    for address in (ONE, OTHER):
        found.came(address)
    for _ in range(50):
        found.late(2 * LATE_S)
    return found


def test_coming_late_makes_all_dearer_and_coming_on_time_cheaper() -> None:
    found = pressed()
    assert found.price(ONE) == found.price(OTHER) == MOST
    # Compound growth, in closed form.
    for look in range(ceil(log(MOST) / -log(CHEAPER))):
        assert found.price(ONE) == pytest.approx(MOST * CHEAPER**look)
        found.late(LATE_S)
    assert found.price(ONE) == 1.0
    for look in range(ceil(log(MOST) / log(DEARER))):
        assert found.price(ONE) == pytest.approx(DEARER**look)
        found.late(1.001 * LATE_S)
    assert found.price(ONE) == MOST


def test_one_address_alone_costs_nobody_anything() -> None:
    clock = Moment()
    found = pressed(clock)
    clock.now = HERE_S - 1
    found.came(ONE)
    assert (found.price(ONE), found.price(OTHER)) == (MOST, MOST)
    clock.now = HERE_S  # the other has been away for that long
    assert (found.price(ONE), found.price(OTHER)) == (1.0, MOST)
    assert Strain(clock).price(ONE) == 1.0


def test_of_many_who_come_none_is_taken_for_alone() -> None:
    found = pressed()
    for address in (THIRD, ONE, THIRD, THIRD, ONE, ONE):
        found.came(address)
        assert [found.price(one) for one in (ONE, OTHER, THIRD)] == [MOST] * 3


def test_what_is_dearer_is_waited_for_longer_and_is_had_all_the_same() -> None:
    price = [1.0]
    bucket = Bucket(Pace(a_second=2, at_once=4), Moment(), lambda: price[0])
    assert bucket.wait_s(4) == 0
    price[0] = 3.0
    assert bucket.until_s(1) == 1.5
    assert bucket.until_s(3) == 2.0  # no more than there can be
    assert bucket.until_s(6) == 3.0  # what never was is not waited for longer
    assert [bucket.wait_s(1, most_s=2) for _ in range(2)] == [1.5, 3.0]
    assert bucket.wait_s(0.5) == 2.25


def test_each_address_has_its_own_price() -> None:
    lines = Lines(Pace(a_second=1, at_once=1), Moment(), price={ONE: 2.0, OTHER: 1.0}.__getitem__)
    for address, wait_s in ((ONE, 1.0), (OTHER, 0.5)):
        lines.of(address).wait_s(1)
        assert lines.of(address).until_s(0.5) == wait_s
