"""Killed at any moment, the store has lost nothing it acknowledged, and holds nothing torn."""

from __future__ import annotations

import json
import os
import random
import select
import signal
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from contextlib import closing
from hashlib import sha256
from pathlib import Path
from typing import Any

import pytest

from photocheck.orders.draft import Draft
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store.copies import back_up, check_copy, remove, side_copies
from tests.support.places import SUPPORT
from tests.support.store_orders import checked
from tests.support.store_writer import REPORT, text_of
from tests.support.waiting import until

KILLS = 200

pytestmark = [pytest.mark.slow, pytest.mark.every_journal]


class Writers:
    """The process that forks writers, and all that those have said."""

    def __init__(self, kind: str, address: str) -> None:
        script = SUPPORT / "store_writer.py"
        self.process = subprocess.Popen(
            [sys.executable, str(script), kind, address],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
        )
        self.address = address
        self.said: list[dict[str, Any]] = []
        self._rest = b""
        self._wait_for_ready()

    def start(self, **task: object) -> int:
        """Start one; gives its process id once it has opened the store."""
        assert self.process.stdin is not None
        line = json.dumps({"address": self.address, **task})
        self.process.stdin.write(line.encode() + b"\n")
        self.process.stdin.flush()
        return self._wait_for_ready()

    def _wait_for_ready(self) -> int:
        until = time.monotonic() + 60
        while time.monotonic() < until:
            for what in self.listen(0.002):
                if "ready" in what:
                    return int(what["ready"])
        raise AssertionError("no writer started")

    def wait_for(self, count: int) -> None:
        """Wait until so many more writes are acknowledged, on a busy machine too."""
        until = time.monotonic() + 60
        while count > 0 and time.monotonic() < until:
            count -= len(self.listen(0.002))

    def time_of(self, **task: object) -> float:
        """How long a task takes that is not disturbed, s."""
        pid = self.start(**task)
        begun = time.monotonic()
        self.wait_for(1)
        kill(pid)
        return time.monotonic() - begun

    def listen(self, seconds: float) -> list[dict[str, Any]]:
        """What is said within a time; reads on as long as somebody speaks."""
        assert self.process.stdout is not None
        handle = self.process.stdout.fileno()
        heard = b""
        until = time.monotonic() + seconds
        while select.select([handle], [], [], max(0.0, until - time.monotonic()))[0]:
            heard += os.read(handle, 65536)
            if time.monotonic() > until:
                break
        *lines, self._rest = (self._rest + heard).split(b"\n")
        new = [json.loads(line) for line in lines]
        assert not [what for what in new if "failed" in what], new
        self.said += new
        return new


@pytest.fixture
def writers(address: str, request: pytest.FixtureRequest) -> Iterator[Writers]:
    open_store(address).close()
    kind = request.node.callspec.params["address"]
    made = Writers(kind, address)
    yield made
    made.process.kill()
    made.process.wait()


def kill(pid: int) -> None:
    os.kill(pid, signal.SIGKILL)
    until(lambda: not Path(f"/proc/{pid}").exists(), "its end")


def test_nothing_acknowledged_is_lost_or_torn(
    writers: Writers, address: str, request: pytest.FixtureRequest
) -> None:
    seed = random.Random(str(request.node.name))
    keys = [""]
    kills = 0
    # A busy machine acknowledges little between two kills: then it takes more of them.
    while kills < KILLS or (fewest(writers.said) <= KILLS / 10 and kills < 5 * KILLS):
        pids = [
            writers.start(do="write", seed=kills + n, key=seed.choice(keys[-3:])) for n in range(2)
        ]
        for pid in pids:  # while one is killed the other writes on
            writers.wait_for(seed.choice([0, 0, 1, 2]))
            writers.listen(seed.uniform(0, 0.03))
            kill(pid)
            kills += 1
        writers.listen(0)
        keys += [what["key"] for what in writers.said if "key" in what][-1:]
        if kills % 20 == 0:
            look_through(writers.said[-200:], address)
    with closing(open_store(address)) as store:
        look_at_all(store)
    look_through(writers.said, address)
    print(f"{request.node.name}: {kills} kills; acknowledged and all there: {saved(writers.said)}")
    assert fewest(writers.said) > KILLS / 10


def saved(said: list[dict[str, Any]]) -> dict[str, int]:
    """How many writes of each kind were acknowledged."""
    return {
        step: sum(step in what for what in said) for step in ("draft", "photo", "check", "decision")
    }


def fewest(said: list[dict[str, Any]]) -> int:
    return min(saved(said).values())


def look_through(said: list[dict[str, Any]], address: str) -> None:
    """All that was acknowledged is there."""
    by_order: dict[str, list[dict[str, Any]]] = defaultdict(list)
    for what in said:
        if "key" in what:
            by_order[what["key"]].append(what)
    with closing(open_store(address)) as store:
        if store.engine.dialect.name == "sqlite":
            with store.reading() as connection:
                assert connection.exec_driver_sql("PRAGMA integrity_check").scalars().all() == [
                    "ok"
                ]
                assert connection.exec_driver_sql("PRAGMA foreign_key_check").all() == []
        for key, acknowledged in by_order.items():
            order = store.order(key)
            checks = {check.number: check for check in order.checks}
            drafts = [(what["seed"], what["draft"]) for what in acknowledged if "draft" in what]
            if drafts:
                # The newest may be another writer's, killed before it could say so.
                writer, number = order.draft.to_dict()["seed"], order.draft.to_dict()["number"]
                assert number >= max((n for seed, n in drafts if seed == writer), default=1)
            for what in acknowledged:
                if "photo" in what:
                    content = store.photo(key, what["photo"])
                    assert sha256(content).hexdigest() == what["sha256"]
                elif "check" in what:
                    assert len(checks[what["check"]].case.to_dict()["photos"]) == what["photos"]
                elif "decision" in what:
                    assert any(
                        (d.check, d.choice, d.reason)
                        == (what["decision"], what["choice"], what["reason"])
                        for d in order.decisions
                    )


def look_at_all(store: DatabaseStore) -> None:
    """What is there is whole, also what was never acknowledged."""
    with store.reading() as connection:
        for table, least in (("readings", 4), ("check_photos", 1)):
            counted = connection.exec_driver_sql(
                f"SELECT c.number, count(r.check_number) FROM checks c LEFT JOIN {table} r "
                "ON r.check_number = c.number GROUP BY c.number"
            )
            assert all(count >= least for _, count in counted)
    for line in store.lines():
        order = store.order(line.key)
        if order.draft != Draft():
            assert order.draft.to_dict() == text_of(
                order.draft.to_dict()["number"], order.draft.to_dict()["seed"]
            )
        for check in order.checks:
            assert check.report == REPORT
        for photo in store.photos(line.key):
            assert sha256(store.photo(line.key, photo.name)).hexdigest() == photo.sha256


def test_a_copy_is_whole_or_the_one_before(writers: Writers, address: str, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    with closing(open_store(address)) as store:
        fill(store)
        back_up(store, copy)
    rng = random.Random(5)
    usual = writers.time_of(do="backup", file=str(copy))
    for _ in range(10):
        pid = writers.start(do="backup", file=str(copy))
        writers.listen(rng.uniform(0, 2 * usual))
        kill(pid)
        assert check_copy(copy).orders == 8
    nothing_hidden(address, tmp_path)


def nothing_hidden(address: str, *folders: Path) -> None:
    """Opening the store once has removed all that the killed left half made."""
    open_store(address).close()
    for folder in folders:
        left = [file.name for file in folder.rglob("*") if file.is_file()]
        # an empty lock may stay for a minute
        left = [name for name in left if not name.endswith(".lock")]
        assert [name for name in left if name.endswith(".part") or ".unfinished-" in name] == []


def test_a_restore_is_done_or_not_at_all(
    writers: Writers, address: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    copy = tmp_path / "copy"
    with closing(open_store(address)) as store:
        fill(store)
        back_up(store, copy)
        before = {line.key for line in store.lines()}
        checked(store)
        usual = writers.time_of(do="restore", file=str(copy))
        rng = random.Random(6)
        outcomes = set()
        now = before
        for number in range(12):
            if now == before:
                new, _ = checked(store)
            pid = writers.start(do="restore", file=str(copy))
            acknowledged = number % 4 == 0
            if acknowledged:
                writers.wait_for(1)
            elif number % 4 > 1:
                writers.listen(rng.uniform(0, 2 * usual))
            kill(pid)
            now = {line.key for line in store.lines()}
            assert now == before if acknowledged else now in (before, before | {new})
            outcomes.add(now == before)
            look_at_photos(store)
            for path in side_copies(store):
                check_copy(path)
                remove(path)
        assert outcomes == {True, False}
    nothing_hidden(address, tmp_path)


def fill(store: DatabaseStore) -> None:
    for n in range(8):
        key, _ = checked(store, name=str(n))
        store.keep_photo(key, random.Random(n).randbytes(200_000))


def look_at_photos(store: DatabaseStore) -> None:
    for line in store.lines():
        for photo in store.photos(line.key):
            assert sha256(store.photo(line.key, photo.name)).hexdigest() == photo.sha256
