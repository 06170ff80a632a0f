"""Writers to be killed: a process that forks one for every line it reads.

Each writer says what it saved right after the store has acknowledged it, one line per write.
Python and the store are loaded once, so that a kill costs milliseconds.
"""

from __future__ import annotations

import json
import os
import random
import signal
import sys
from hashlib import sha256
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2]))

from photocheck.errors import PhotoError
from photocheck.orders.draft import Draft
from photocheck.orders.model import CHOICES
from photocheck.orders.store import DatabaseStore, copies, engines, open_store
from tests.support.store_orders import case_of, checked, report_of

REPORT = report_of()


def text_of(number: int, seed: int) -> dict[str, object]:
    """A draft that can be seen to be whole."""
    filler = random.Random(number).randbytes(number * 37 % 9000).hex()
    return {
        "number": number,
        "seed": seed,
        "filler": [filler[at : at + 1000] for at in range(0, len(filler), 1000)],
        "sha256": sha256(filler.encode()).hexdigest(),
    }


def say(**what: object) -> None:
    os.write(1, json.dumps(what).encode() + b"\n")  # short enough to be written in one piece


def write(store: DatabaseStore, seed: int, key: str) -> None:
    rng = random.Random(seed)
    files = [photo.name for photo in store.photos(key)] if key else []
    number = 0
    while True:
        if not key or rng.random() < 0.05:
            key = store.open()
            say(key=key)
            files, number = [], 0
        step = rng.choice(["draft", "photo", "check", "decide"])
        if step == "draft":
            number += 1
            store.save_draft(key, Draft.from_dict(text_of(number, seed)))
            say(key=key, draft=number, seed=seed)
        elif step == "photo" or not files:
            content = rng.randbytes(rng.choice([100, 5_000, 300_000]))
            try:
                files.append(store.keep_photo(key, content))
            except PhotoError:
                key = ""  # full, perhaps by another writer's photos: on to the next order
                continue
            say(key=key, photo=files[-1], sha256=sha256(content).hexdigest())
        elif step == "check":
            check = store.record_check(key, case_of(*files), REPORT, by=str(seed))
            say(key=key, check=check.number, photos=len(files))
        elif store.order(key).checks:
            choice = rng.choice(CHOICES)
            reason = rng.randbytes(20).hex()
            decision = store.decide(key, choice, by=str(seed), reason=reason)
            say(key=key, decision=decision.check, choice=choice, reason=reason)


def forget(store: DatabaseStore) -> None:
    """All that there is, in the order in which it lies there."""
    for line in store.lines():
        store.forget(line.key)
        say(forgot=line.key)


def child(task: dict[str, str]) -> None:
    if task["do"] == "upgrade":
        say(ready=os.getpid())
        open_store(task["address"]).close()
        say(done=1)
        signal.pause()
    store = open_store(task["address"])
    say(ready=os.getpid())
    if task["do"] == "forget":
        forget(store)
        say(done=1)
        signal.pause()
    if task["do"] == "write":
        write(store, int(task["seed"]), task["key"])
    while task["do"] == "backup":
        copies.back_up(store, task["file"])
        say(done=1)
    store.close()
    while task["do"] == "restore":
        copies.restore(task["address"], task["file"])
        say(done=1)


def main() -> None:
    if sys.argv[1] in ("sqlite", "sqlite_wal"):
        engines.wal_is_safe = lambda: sys.argv[1] == "sqlite_wal"  # type: ignore[assignment,misc]
    # Loads and prepares all that is done once; a child gets no connection of its parent.
    store = open_store(sys.argv[2])
    store.forget(checked(store)[0])
    store.close()
    say(ready=os.getpid())
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # the killed need no burial
    for line in sys.stdin:
        if os.fork() == 0:
            try:
                child(json.loads(line))
            except BaseException as error:
                say(failed=repr(error))
            finally:
                os._exit(1)


if __name__ == "__main__":
    main()
