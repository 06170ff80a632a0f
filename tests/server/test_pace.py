"""Token buckets: what is asked faster than the pace has to wait, and nothing is forgotten."""

from __future__ import annotations

import pytest

from photocheck.server import pace
from photocheck.server.pace import Bucket, Pace


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_who_asks_too_fast_waits_his_turn() -> None:
    clock = Clock()
    bucket = Bucket(Pace(a_second=2, at_once=3), clock)
    assert [bucket.wait_s() for _ in range(6)] == [0, 0, 0, 0.5, 1.0, 1.5]
    clock.now = 1.5  # when the last one's turn has come
    assert bucket.wait_s() == 0.5
    clock.now = 100.0  # a rest gives back what may be asked at once, and no more
    assert [bucket.wait_s() for _ in range(4)] == [0, 0, 0, 0.5]


def test_who_would_wait_too_long_takes_nothing() -> None:
    clock = Clock()
    bucket = Bucket(Pace(a_second=1, at_once=1), clock)
    assert [bucket.wait_s(most_s=2) for _ in range(5)] == [0, 1, 2, 3, 3]
    clock.now = 1.0
    assert bucket.wait_s(most_s=2) == 2


def test_how_long_it_takes_can_be_asked_without_taking() -> None:
    bucket = Bucket(Pace(a_second=2, at_once=4), Clock())
    assert [bucket.until_s(4), bucket.until_s(6), bucket.wait_s(4), bucket.until_s(1)] == [
        0.0,
        1.0,
        0.0,
        0.5,
    ]
    assert bucket.most == 4


def test_what_weighs_more_waits_longer() -> None:
    bucket = Bucket(Pace(a_second=2, at_once=2), Clock())
    assert bucket.wait_s(6) == 2.0


@pytest.mark.parametrize(
    ("shipped", "a_second", "at_once"),
    [
        (pace.MESSAGES_OF_PAGE, 5, 60),
        (pace.WORK_OF_ADDRESS, 0.6, 1.5),
        (pace.PAGES_OF_ADDRESS, 200, 200),
        (pace.PROVIDER_OF_ADDRESS, 1, 4),
        (pace.REQUESTS_OF_ADDRESS, 50, 400),
    ],
)
def test_the_shipped_paces(shipped: Pace, a_second: float, at_once: float) -> None:
    assert shipped == Pace(a_second, at_once)
