"""No file keeps its reader busy before it is looked at, and nobody alone holds all places."""

from __future__ import annotations

import subprocess
import sys
from functools import partial
from threading import Thread

import pytest

from photocheck.errors import PhotoError
from photocheck.photo.kind import MOST_FILL_BYTES, MOST_SCANS, MOST_SEGMENTS, kind_of
from photocheck.photo.load import _jpeg_is_whole
from photocheck.uploads.gate import BusyError, Gate, on_behalf_of
from photocheck.uploads.take import GATE, LIMITS, PLACES
from tests.support.waiting import until

SCAN = b"\xff\xda\x00\x02\x01\x02"
SEGMENT = b"\xff\xe1\x00\x02"
COSTLY = {
    "fill bytes alone": b"\xff\xd8" + b"\xff" * 1_000_000,
    "fill bytes before a scan": b"\xff\xd8" + b"\xff" * (MOST_FILL_BYTES + 2) + SCAN[1:],
    "segments": b"\xff\xd8" + SEGMENT * (MOST_SEGMENTS + 2) + SCAN,
    "scans": b"\xff\xd8" + SCAN * (MOST_SCANS + 1),
}


@pytest.mark.parametrize("content", COSTLY.values(), ids=COSTLY.keys())
def test_a_jpeg_built_to_cost_is_refused_unread(content: bytes) -> None:
    with pytest.raises(PhotoError, match="too many parts"):
        kind_of(content)


@pytest.mark.parametrize(
    "content",
    [
        b"\xff\xd8" + b"\xff" * 60 + SEGMENT[1:] + SCAN + b"\xff\xd9",
        b"\xff\xd8" + SEGMENT * 1000 + SCAN * MOST_SCANS + b"\xff\xd9",
    ],
)
def test_an_odd_but_honest_jpeg_is_let_through(content: bytes) -> None:
    assert kind_of(content) == "JPEG"
    assert _jpeg_is_whole(content)


def test_one_address_never_holds_all_places() -> None:
    gate = Gate(places=2, waiting=6, patience_s=0.0)
    with on_behalf_of("eve"), gate.place():
        with pytest.raises(BusyError), gate.place():
            pass
        with on_behalf_of("ada"), gate.place():
            pass
        with on_behalf_of(""), gate.place():  # the program's own work is nobody's
            pass
    with on_behalf_of("eve"), gate.place():
        pass
    assert not gate._inside


def test_the_decoding_process_has_its_limits() -> None:
    script = (
        "import os, resource as r\n"
        "from photocheck.uploads.worker import confine\n"
        "confine({'memory_bytes': 10**9, 'cpu_s': 7, 'answer_bytes': 5000, 'language': 'en'})\n"
        "for one in (r.RLIMIT_AS, r.RLIMIT_CPU, r.RLIMIT_FSIZE, r.RLIMIT_NOFILE, r.RLIMIT_CORE):\n"
        "    print(*r.getrlimit(one))\n"
        "print(os.nice(0))"
    )
    done = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True
    )
    *limits, niceness = done.stdout.splitlines()
    assert limits == [f"{10**9} {10**9}", "7 8", "5000 5000", "64 64", "0 0"]
    assert int(niceness) >= 10


def waiting(gate: Gate, number: int) -> bool:
    return len(gate._waiting) == number


def test_who_waits_comes_in_and_who_is_one_too_many_does_not() -> None:
    gate = Gate(places=1, waiting=3, patience_s=30.0)
    came: list[int] = []

    def come(number: int) -> None:
        with gate.place():
            came.append(number)

    threads = [Thread(target=come, args=(number,)) for number in range(3)]
    with gate.place():
        for number, thread in enumerate(threads, start=1):
            thread.start()
            until(partial(waiting, gate, number), "somebody who waits")
        with pytest.raises(BusyError), gate.place():
            pass
        assert came == []
    for thread in threads:
        thread.join(30)
    assert came == [0, 1, 2]
    impatient = Gate(places=1, waiting=1, patience_s=0.0)
    with impatient.place(), pytest.raises(BusyError), impatient.place():
        pass
    assert (impatient._free, impatient._here) == (1, 0)


def test_what_is_shipped_is_this() -> None:
    assert (PLACES, GATE._free, GATE._most, GATE._patience_s) == (2, 2, 62, 60.0)
    assert (GATE._most_of_one, GATE._most_waiting_of_one) == (1, 20)
    assert (LIMITS.memory_bytes, LIMITS.cpu_s, LIMITS.wall_s, LIMITS.heic) == (
        2_000_000_000,
        20,
        120.0,
        False,
    )
    assert (MOST_FILL_BYTES, MOST_SEGMENTS, MOST_SCANS) == (64, 2000, 100)


def test_who_leaves_one_of_several_places_still_has_the_others() -> None:
    gate = Gate(places=3, waiting=0, patience_s=0.0)
    with on_behalf_of("eve"), gate.place():
        for _ in range(2):
            with gate.place():
                assert gate._inside["eve"] == 2
                with pytest.raises(BusyError), gate.place():
                    pass
        assert gate._inside["eve"] == 1
    assert (gate._free, gate._here, gate._waiting) == (3, 0, [])
    with (
        gate.place(),  # nobody's may be all of them
        gate.place(),
        gate.place(),
        pytest.raises(BusyError),
        gate.place(),
    ):
        pass
    assert gate._free == 3


def test_whose_a_block_is_ends_with_it() -> None:
    gate = Gate(places=1, waiting=0, patience_s=0.0)
    with on_behalf_of("eve"):
        with on_behalf_of("ada"):
            pass
        with gate.place():
            assert dict(gate._inside) == {"eve": 1}
    with gate.place():
        assert dict(gate._inside) == {"": 1}
