"""Turns at what one address may ask for: whoever of those there had least is next."""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable

import pytest

from photocheck.server import turns
from photocheck.server.pace import Pace
from photocheck.server.turns import HALF_S, FullError, Had, Line, Lines
from tests.support.waiting import until_in_loop


class Now:
    def __init__(self) -> None:
        self.at = 0.0

    def __call__(self) -> float:
        return self.at


def _order(browsers: list[str], had: dict[str, int] | None = None) -> list[str]:
    """In which order those who come one after another are called."""
    called: list[str] = []
    now = Now()

    async def come(line: Line, browser: str) -> None:
        await line.turn(browser)
        called.append(browser)

    async def all_of_them() -> None:
        line = Line(Pace(a_second=1, at_once=100), now)
        for browser, amount in (had or {}).items():
            line._had.more(browser, amount)
        line.wait_s(100)  # nothing is left
        waiting = [asyncio.create_task(come(line, browser)) for browser in browsers]
        await until_in_loop(lambda: len(line) == len(browsers), "all wait")
        now.at = 100.0
        line._call()
        await asyncio.gather(*waiting)

    asyncio.run(asyncio.wait_for(all_of_them(), 60))
    return called


def test_who_had_least_of_late_is_next() -> None:
    assert _order(["a", "a", "a", "b"]) == ["a", "b", "a", "a"]
    assert _order(["a", "b", "c"], {"a": 9, "b": 3}) == ["c", "b", "a"]
    # of one that is known apart from nobody, all are one
    assert _order([*("",) * 30, "own"], {"": 50})[0] == "own"


def test_every_third_turn_goes_to_who_waited_longest() -> None:
    """However many come who had nothing."""
    newcomers = [str(number) for number in range(9)]
    called = _order(["old", *newcomers], {"old": 50})
    assert called == ["0", "1", "old", *newcomers[2:]]
    assert _order(["old", "old", *newcomers], {"old": 50})[2:6:3] == ["old", "old"]


def test_to_come_as_another_is_no_way_past_those_who_are_here() -> None:
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=1, at_once=9), now, newcomers=8)
        line.came("own")
        now.at = HALF_S
        line.came("own")  # it is no newcomer any more
        assert line._had.of("own") == 4
        called: list[str] = []

        async def come(browser: str) -> None:
            await line.turn(browser)
            called.append(browser)

        line.wait_s(9)
        waiting = [asyncio.create_task(come(one)) for one in ("another", "own")]
        await until_in_loop(lambda: len(line) == 2, "both wait")
        now.at += 9
        line._call()
        await asyncio.gather(*waiting)
        assert called == ["own", "another"]
        assert Lines(Pace(1, 1), now, newcomers=3).of("here")._had._newcomers == 3

    _run(work)


def test_kinds_of_turns_get_equal_shares() -> None:
    """Of what they take, not of how often they are taken; and who did not want any has no claim."""
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=1, at_once=100), now)
        called: list[str] = []

        async def come(kind: str, cost: float) -> None:
            await line.turn(f"{kind} {len(called)}", cost, kind=kind)
            called.append(kind)

        async def take(many: dict[str, int], cost: dict[str, float]) -> str:
            called.clear()
            line.wait_s(1000)
            kinds = [kind for kind, number in many.items() for _ in range(number)]
            waiting = [asyncio.create_task(come(kind, cost[kind])) for kind in kinds]
            await until_in_loop(lambda: len(line) == len(kinds), "all wait")
            now.at += 2000
            line._call()
            await asyncio.gather(*waiting)
            return "".join(called)

        assert await take({"a": 6, "b": 3}, {"a": 1, "b": 1}) == "abababaaa"
        assert await take({"a": 4, "b": 2}, {"a": 1, "b": 2}) == "baabaa"
        # "b" was not there for a while, and is not given it now.
        assert await take({"a": 9}, {"a": 1}) == "a" * 9
        assert await take({"a": 3, "b": 3}, {"a": 1, "b": 1}) == "bababa"
        # What turned out to be more is the kind's, too.
        line.owe("a 0", 2, kind="a")
        line.owe("a 0", 2, kind="never waited for")
        assert (await take({"a": 2, "b": 3}, {"a": 1, "b": 1})).startswith("bb")

    _run(work)


def test_nobody_of_a_kind_that_is_held_back_is_called_whatever_the_pace() -> None:
    back, called = {"heavy"}, list[str]()

    async def come(line: Line, kind: str) -> None:
        await line.turn("one", kind=kind)
        called.append(kind)

    async def all_of_them() -> None:
        line = Line(Pace(a_second=1000, at_once=1000), held_back=lambda: back)
        heavy = [asyncio.create_task(come(line, "heavy")) for _ in range(3)]
        await until_in_loop(lambda: len(line) == 3, "they wait")
        await asyncio.wait_for(come(line, "light"), 60)
        assert called == ["light"]
        with pytest.raises(FullError):
            await line.turn("one", kind="heavy", most_s=0.001)
        back.clear()
        await asyncio.wait_for(asyncio.gather(*heavy), 60)

    asyncio.run(all_of_them())
    assert called == ["light", *["heavy"] * 3]


def test_what_is_owed_is_waited_for() -> None:
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=2, at_once=1), now)
        line.owe("own", 4)
        assert line.until_s(1) == 2.0
        assert line._had.of("own") == 4
        assert not line.now("other")
        now.at = 2.0
        assert line.now("other")

    _run(work)


def test_among_equals_who_came_first_is_next() -> None:
    equals = [str(number) for number in range(50)]
    assert _order(equals) == equals


def _waiting(line: Line) -> list[str]:
    return [browser for kind in line._kinds.values() for browser in kind.waiting]


def _run(work: Callable[[], Awaitable[None]]) -> None:
    async def running() -> None:
        await asyncio.wait_for(work(), 60)

    asyncio.run(running())


def test_who_waits_too_long_takes_nothing_and_no_more_wait_than_may(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = Now()
    monkeypatch.setattr(turns, "MOST_WAITING", 3)

    async def work() -> None:
        line = Line(Pace(a_second=1, at_once=1), now)
        assert line.now("one")
        assert not line.now("one")
        with pytest.raises(FullError):
            await line.turn("one", most_s=0.01)
        assert len(line) == 0
        waiting = [asyncio.create_task(line.turn("many")) for _ in range(3)]
        await until_in_loop(lambda: len(line) == 3, "three wait")
        with pytest.raises(FullError):
            await line.turn("many")
        few = asyncio.create_task(line.turn("few"))  # who has less is let in all the same
        await until_in_loop(lambda: len(line) == 4, "four wait")
        assert not line.now("few")
        for task in (*waiting, few):
            task.cancel()
        await asyncio.gather(*waiting, few, return_exceptions=True)
        assert len(line) == 0
        now.at = 1.0
        await line.turn("one", most_s=0)

    _run(work)


def test_who_gives_up_at_the_moment_of_being_called_takes_nothing() -> None:
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=1, at_once=1), now)
        assert line.now("first")
        waiting = [asyncio.create_task(line.turn(one)) for one in ("gone", "next")]
        await until_in_loop(lambda: len(line) == 2, "both wait")
        now.at = 1.0
        waiting[0].cancel()
        line._call()  # before the one that gave up has run on
        done = await asyncio.gather(*waiting, return_exceptions=True)
        assert [type(one) for one in done] == [asyncio.CancelledError, type(None)]
        assert len(line) == 0

    _run(work)


def test_what_weighs_more_waits_longer_and_what_never_fits_all_the_same() -> None:
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=1000, at_once=2), now)
        await line.turn("one", 99)
        assert line.until_s(2) == 0.002
        assert line._had.of("one") == 2

    _run(work)


def test_what_is_long_past_counts_less() -> None:
    now = Now()
    had = Had(now)
    had.more("one", 8)
    now.at = HALF_S
    had.more("one", 1)
    assert (had.of("one"), had.of("other")) == (5.0, 0.0)


def test_each_address_has_an_own_one() -> None:
    now = Now()
    both = Lines(Pace(a_second=1, at_once=1), now)
    assert [both.of("one").wait_s() for _ in range(2)] == [0, 1]
    assert both.of("other").wait_s() == 0


def test_the_shipped_shares() -> None:
    assert (turns.HALF_S, turns.LONGEST_EVERY) == (20.0, 3)
    assert (turns.MOST_WAITING, turns.MOST_BROWSERS) == (600, 2_000)


def test_nothing_is_waited_for_once_all_have_given_up() -> None:
    """And as long as one waits, its turn still comes."""

    async def work() -> None:
        line = Line(Pace(a_second=50, at_once=1))
        assert line.now("first")
        one, two = (asyncio.create_task(line.turn(who)) for who in ("one", "two"))
        await until_in_loop(lambda: len(line) == 2, "both wait")
        one.cancel()
        await asyncio.gather(one, return_exceptions=True)
        assert line._timer is not None
        await two
        assert (line._timer, _waiting(line), len(line)) == (None, [], 0)
        three = asyncio.create_task(line.turn("three", most_s=1000.0))
        await until_in_loop(lambda: len(line) == 1, "it waits")
        timer = line._timer
        three.cancel()
        await asyncio.gather(three, return_exceptions=True)
        assert timer is not None
        assert timer.cancelled()
        assert (line._timer, _waiting(line), len(line)) == (None, [], 0)

    _run(work)


def test_who_is_told_to_wait_is_called_as_soon_as_there_is_enough_and_not_before() -> None:
    now = Now()

    async def work() -> None:
        line = Line(Pace(a_second=1, at_once=3), now)
        await line.turn("one", 2)
        heavy = asyncio.create_task(line.turn("heavy", 3))
        await until_in_loop(lambda: len(line) == 1, "it waits")
        light = asyncio.create_task(line.turn("light", 1))  # it would fit, and others are before it
        await until_in_loop(lambda: len(line) == 2, "both wait")
        line._call()
        assert (heavy.done(), light.done(), len(line)) == (False, False, 2)
        now.at = 1.999
        line._call()
        assert len(line) == 2
        now.at = 2.0
        line._call()
        assert len(line) == 1
        await heavy
        assert line._had.of("heavy") == 3
        now.at = 3.0
        line._call()
        await light

    _run(work)


def test_who_was_not_seen_for_longest_begins_anew(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(turns, "MOST_BROWSERS", 2)
    monkeypatch.setattr(turns, "MOST_VISITORS", 2)
    had = Had(Now())
    for who in ("one", "two", "three"):
        had.more(who, 4)
    assert [had.of(who) for who in ("one", "two", "three")] == [0.0, 4.0, 4.0]
    lines = Lines(Pace(a_second=1, at_once=1), Now())
    first = lines.of("one")
    assert lines.of("one") is first
    for who in ("two", "three"):
        lines.of(who)
    assert lines.of("one") is not first
