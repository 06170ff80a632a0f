"""Runs of pages: a few of one address at a time, and none cut off at the end."""

from __future__ import annotations

import threading

import pytest

from photocheck_app.doors import running
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
    assert (running.AT_ONCE, running.MOMENT_S, running.PATIENCE_S) == (4, 0.25, 30.0)
