"""Runs of pages: a few of one address at a time, and none cut off at the end."""

from __future__ import annotations

import threading
from functools import partial
from time import thread_time

import pytest

from photocheck.server.pace import Pace
from photocheck.server.turns import Lines
from photocheck_app.doors import open_pages, running
from photocheck_app.doors.crowd import CROWD
from photocheck_app.doors.open_pages import Asking
from photocheck_app.doors.running import Runs
from tests.support.waiting import until


def _begin(
    runs: Runs, who: str, going: list[str], end: threading.Event, browser: str = ""
) -> threading.Thread:
    def run() -> None:
        with runs.one(who, browser):
            going.append(browser or who)
            end.wait(60)
        going.remove(browser or who)

    thread = threading.Thread(target=run)
    thread.start()
    return thread


def _waits(runs: Runs, number: int) -> bool:
    return len(runs._waiting.get("one", ())) == number


def _has(found: list[float], number: int) -> bool:
    return len(found) == number


def test_one_address_runs_a_few_pages_at_a_time_and_another_does_not_wait(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    runs, going, end = Runs(), list[str](), threading.Event()
    threads = [_begin(runs, "flood", going, end) for _ in range(10)]
    until(lambda: len(going) >= running.AT_ONCE, "the first to run")
    threads.append(_begin(runs, "honest", going, end))
    until(lambda: "honest" in going, "another address' page runs at once")
    assert going.count("flood") == running.AT_ONCE == 4
    assert not runs.wait_until_done(0.01)
    end.set()
    for thread in threads:
        thread.join(60)
    assert going == []
    assert runs.wait_until_done(0)


def test_of_one_address_the_browser_that_ran_least_is_next(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, "AT_ONCE", 1)
    runs, going, ends = Runs(), list[str](), [threading.Event() for _ in range(3)]
    runs._had_of("one").more("flood", 0.1)
    threads = [_begin(runs, "one", going, ends[0], "flood")]
    until(lambda: going == ["flood"], "the first to run")
    threads.append(_begin(runs, "one", going, ends[1], "flood"))
    until(lambda: len(runs._waiting["one"]) == 1, "the next waits")
    threads.append(_begin(runs, "one", going, ends[2], "own"))
    until(lambda: len(runs._waiting["one"]) == 2, "another waits")
    ends[0].set()
    until(lambda: going == ["own"], "the other runs first")
    for end in ends:
        end.set()
    for thread in threads:
        thread.join(60)
    assert runs.wait_until_done(0)


def test_every_third_of_one_address_is_who_waited_longest(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, "AT_ONCE", 1)
    names = ["first", "old", *"abcd"]
    runs, going = Runs(), list[str]()
    ends = {name: threading.Event() for name in names}
    runs._had_of("one").more("old", 9)
    threads = []
    for number, name in enumerate(names):
        threads.append(_begin(runs, "one", going, ends[name], name))
        until(lambda: going == ["first"], "the first runs")
        until(partial(_waits, runs, number), "the next waits")
    ran = []
    for _ in names:
        until(lambda: len(going) == 1 and going[0] not in ran, "one runs")
        ran.append(going[0])
        ends[going[0]].set()
    for thread in threads:
        thread.join(60)
    assert ran == ["first", "a", "old", "b", "c", "d"]


def test_one_looks_for_all_who_wait_whether_a_run_has_become_a_long_one(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The rest sleep until woken: a crowd that looks all the time takes what it waits for."""
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "AT_ONCE", 1)
    runs, going, end = Runs(), list[str](), threading.Event()
    slept: list[float] = []

    class Watched(threading.Event):
        def wait(self, timeout: float | None = None) -> bool:
            assert timeout is not None
            slept.append(timeout)
            return super().wait(timeout)

    threads = [_begin(runs, "one", going, end)]
    until(lambda: going, "the first to run")
    monkeypatch.setattr(running, "Event", Watched)
    monkeypatch.setattr(running, "MOMENT_S", 500.0)
    for number in range(1, 6):
        threads.append(_begin(runs, "one", going, end))
        until(partial(_has, slept, number), "it sleeps")
    assert [round(one, -2) for one in sorted(slept)] == [500, *[1000] * 4]
    end.set()
    for thread in threads:
        thread.join(60)
    assert runs.wait_until_done(0)


def test_of_an_address_that_owes_few_run_also_where_each_takes_long(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Those that others keep from ending seem to wait for something else, and ever more came in."""
    monkeypatch.setattr(running, "MOMENT_S", 0.001)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    owing = {"flood"}
    monkeypatch.setattr(running, "owes", lambda who, _: who in owing)
    runs, going, end = Runs(), list[str](), threading.Event()
    threads = [_begin(runs, "flood", going, end) for _ in range(running.AT_ALL + 5)]
    until(lambda: len(going) == running.AT_ALL, "as many as may")
    threads.append(_begin(runs, "honest", going, end))
    until(lambda: "honest" in going, "another address' page runs at once")
    assert going.count("flood") == running.AT_ALL == 8
    owing.clear()
    until(lambda: going.count("flood") == running.AT_ALL + 5, "nothing is owed, and all run")
    end.set()
    for thread in threads:
        thread.join(60)
    assert runs.wait_until_done(0)


def test_what_runs_have_had_that_have_not_ended_is_owed_too(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    now = [0.0]
    lines = Lines(Pace(a_second=0.6, at_once=1.5), lambda: now[0])
    monkeypatch.setattr(open_pages, "WORK", lines)
    assert not open_pages.owes("one", 1.5)
    assert open_pages.owes("one", 1.51)
    lines.of("one").owe("own", 2.0)
    assert open_pages.owes("one", 0.0)
    assert not open_pages.owes("other", 0.0)
    now[0] = 1.0
    assert not open_pages.owes("one", 0.05)


@pytest.mark.skipif("sys.platform != 'linux'", reason="elsewhere a thread's time may not be told")
def test_a_run_knows_what_it_has_had_of_a_processor(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "RUN_MOST_S", 1000.0)
    ticket = running._Waiting("own")
    ticket.begin()
    before = thread_time()
    # Both clocks are this thread's own, whatever else the machine does.
    while thread_time() - before < 0.05:
        sum(range(1000))
    assert ticket.took_s() >= 0.05
    waiting = running._Waiting("other")
    waiting.begin()
    threading.Event().wait(0.1)
    assert waiting.took_s() < 0.1
    monkeypatch.setattr(running, "RUN_MOST_S", 0.01)
    assert ticket.took_s() == 0.01


def test_what_a_run_took_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of a processor: what it waited for is nobody's burden."""
    told: list[tuple[Asking, float, bool]] = []
    took = [0.0]

    def ran(who: Asking, took_s: float, *, first: bool) -> None:
        told.append((who, took_s, first))

    monkeypatch.setattr(running, "ran", ran)
    monkeypatch.setattr(running, "thread_time", lambda: took[0])
    runs = Runs()
    for seconds, first in ((0.1, True), (99.0, False)):
        with runs.one("one", "own", first=first):
            took[0] += seconds
    who = Asking("one", "own")
    assert told == [(who, pytest.approx(0.1), True), (who, running.MOMENT_S, False)]


def test_who_waits_for_a_turn_has_not_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, "AT_ONCE", 0)
    runs, end = Runs(), threading.Event()
    thread = _begin(runs, "one", [], end)
    until(lambda: len(runs._waiting["one"]) == 1, "it waits")
    assert not runs.wait_until_done(0)
    monkeypatch.setattr(running, "AT_ONCE", 1)
    with runs.one("other"):
        pass
    end.set()
    with runs.one("one"):
        pass
    thread.join(60)
    assert runs.wait_until_done(0)


class GoneError(Exception):
    """Its page was left, or asked anew."""


def test_a_run_that_is_wanted_no_more_waits_no_more(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whoever presses again and again has one run that waits, not one for each time."""
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, "OWING", running.AT_ONCE)
    runs, going, end, ended = Runs(), list[str](), threading.Event(), list[int]()
    gone = [threading.Event() for _ in range(9)]

    def wait(number: int) -> None:
        def heed() -> None:
            if gone[number].is_set():
                raise GoneError

        try:
            with runs.one("one", heed=heed):
                going.append(str(number))
        except GoneError:
            ended.append(number)

    first = [_begin(runs, "one", going, end) for _ in range(running.AT_ONCE)]
    until(lambda: len(going) == running.AT_ONCE, "all places are taken")
    threads = [threading.Thread(target=wait, args=(number,)) for number in range(9)]
    for number, thread in enumerate(threads, 1):
        thread.start()
        until(partial(_waits, runs, number), "it waits")
    assert CROWD.of("one") == 9
    for each in gone[:8]:
        each.set()
    until(lambda: len(ended) == 8, "eight are gone")
    assert CROWD.of("one") == 1
    assert not runs.wait_until_done(0)
    end.set()
    for thread in [*first, *threads]:
        thread.join(60)
    assert going == ["8"]
    assert CROWD.of("one") == 0
    assert runs.wait_until_done(0)


def test_a_run_that_ends_as_it_is_let_run_leaves_its_place(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "AT_ONCE", 0)
    runs = Runs()

    def heed() -> None:
        # between having looked and having been told to end, somebody left
        monkeypatch.setattr(running, "AT_ONCE", 1)
        with runs._changed:
            runs._let_in("one")
        raise GoneError

    with pytest.raises(GoneError), runs.one("one", heed=heed):
        pass
    assert runs.wait_until_done(0)
    with runs.one("one"):
        assert runs._busy("one") == 1


def test_who_owes_runs_one_page_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    """Each that runs beside others has the loop that answers everybody wait for it."""
    owing = [True]
    monkeypatch.setattr(running, "owes", lambda who, running_s: owing[0])
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    runs, going, end = Runs(), list[str](), threading.Event()
    threads = [_begin(runs, "one", going, end) for _ in range(3)]
    until(lambda: len(going) == 1, "one runs")
    until(partial(_waits, runs, 2), "two wait")
    owing[0] = False
    threads.append(_begin(runs, "one", going, end))
    until(lambda: len(going) == 4, "all run")
    end.set()
    for thread in threads:
        thread.join(60)


@pytest.mark.parametrize("name", ["MOMENT_S", "PATIENCE_S"])
def test_nobody_waits_for_runs_that_take_long(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(running, "MOMENT_S", 1000.0)
    monkeypatch.setattr(running, "PATIENCE_S", 1000.0)
    monkeypatch.setattr(running, name, 0.001)
    runs, going, end = Runs(), list[str](), threading.Event()
    threads = [_begin(runs, "one", going, end) for _ in range(3 * running.AT_ONCE)]
    until(lambda: len(going) == len(threads), "all run")
    end.set()
    for thread in threads:
        thread.join(60)


def test_a_run_that_breaks_off_has_ended() -> None:
    runs = Runs()
    with pytest.raises(KeyError), runs.one("one"):
        raise KeyError
    assert runs.wait_until_done(0)


def test_the_shipped_limits_of_runs() -> None:
    assert (running.AT_ONCE, running.OWING) == (4, 1)
    assert (running.MOMENT_S, running.PATIENCE_S) == (0.25, 30.0)
