"""No file keeps its reader busy before it is looked at, and nobody alone holds all places."""

from __future__ import annotations

import io
import signal
import subprocess
import sys
from collections import Counter
from contextlib import ExitStack
from functools import partial
from threading import Event, Thread
from types import SimpleNamespace

import pytest

from photocheck.errors import DecodingFailedError, PhotoError
from photocheck.photo.kind import MOST_FILL_BYTES, MOST_SCANS, MOST_SEGMENTS, kind_of
from photocheck.photo.load import _jpeg_is_whole
from photocheck.server import bench
from photocheck.uploads import take
from photocheck.uploads.gate import BusyError, Gate, on_behalf_of
from photocheck.uploads.quota import Quota, take_for_order
from photocheck.uploads.take import GATE, LIMITS, PLACES, Limits
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


class GoneError(Exception):
    """Whoever it was for has gone."""


def test_who_waits_for_nobody_any_more_leaves_and_takes_nothing() -> None:
    gate = Gate(places=1, waiting=6, patience_s=60.0, heeds=True)
    left, here = list[str](), Event()

    def heed() -> None:
        if not here.is_set():
            raise GoneError

    def wait() -> None:
        with pytest.raises(GoneError), on_behalf_of("eve", heed), gate.place():
            left.append("came in")
        left.append("left")

    here.set()
    thread = Thread(target=wait)
    with gate.place():
        thread.start()
        until(partial(waiting, gate, 1), "it waits")
        here.clear()
        thread.join(60)
        assert left == ["left"]
        assert not gate._waiting
    assert (gate._free, gate._here, gate._inside) == (1, 0, Counter())
    with on_behalf_of("eve", heed), gate.place():  # who need not wait is not asked
        pass


def test_where_something_would_be_lost_nobody_is_told_to_leave() -> None:
    """A file that came is taken into the order, whether its page is still there or not."""
    gate = Gate(places=1, waiting=6, patience_s=60.0)

    def heed() -> None:
        raise GoneError

    came = Event()

    def wait() -> None:
        with on_behalf_of("eve", heed), gate.place():
            came.set()

    thread = Thread(target=wait)
    with gate.place():
        thread.start()
        until(partial(waiting, gate, 1), "it waits")
    thread.join(60)
    assert came.is_set()
    assert not GATE._heeds
    assert bench.GATE._heeds


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
    assert (PLACES, GATE._free, GATE._most, GATE._patience_s) == (2, 2, 82, 180.0)
    assert (GATE._most_of_one, GATE._most_waiting_of_one) == (1, 40)
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


def test_who_has_fewest_places_is_next_where_one_may_have_all() -> None:
    gate = Gate(places=2, waiting=6, patience_s=30.0, waiting_of_one=2, soon_done=True)
    came: list[str] = []

    def come(who: str, rank: int) -> None:
        with on_behalf_of(who), gate.place(rank):
            came.append(who)

    asked = [("eve", 0), ("eve", 0), ("ada", 1), ("", 1), ("bob", 0)]
    threads = [Thread(target=come, args=each) for each in asked]
    with on_behalf_of("eve"), gate.place():  # nobody else wants any
        with gate.place():
            for number, thread in enumerate(threads, start=1):
                thread.start()
                until(partial(waiting, gate, number), "somebody who waits")
            with pytest.raises(BusyError), gate.place():
                pass  # two of hers wait
        # One by one, through the place that has come free: hers are last, whatever their rank.
        for thread in threads:
            thread.join(30)
    assert came == ["bob", "ada", "", "eve", "eve"]
    assert (gate._free, gate._here, gate._waiting) == (2, 0, [])


def test_who_takes_long_in_all_places_keeps_nobody_else_out() -> None:
    gate = Gate(places=2, waiting=6, patience_s=30.0, soon_done=True, soon_s=0.05)
    came: list[str] = []

    def come(who: str) -> None:
        with on_behalf_of(who), gate.place():
            came.append(who)

    with on_behalf_of("eve"), gate.place(), gate.place():
        hers = Thread(target=come, args=("eve",))
        hers.start()
        until(partial(waiting, gate, 1), "one more of hers")
        for who in ("ada", "bob"):  # one after the other, and nobody has left
            thread = Thread(target=come, args=(who,))
            thread.start()
            thread.join(30)
            assert came[-1] == who
    hers.join(30)
    assert came == ["ada", "bob", "eve"]
    assert (gate._free, gate._here, gate._waiting) == (2, 0, [])


def comes_in(gate: Gate, holders: tuple[str, ...], who: str) -> bool:
    """Whether somebody finds a place at once beside those of holders."""
    with ExitStack() as stack:
        for holder in holders:
            with on_behalf_of(holder):
                stack.enter_context(gate.place())
        try:
            with on_behalf_of(who), gate.place():
                return True
        except BusyError:
            return False


def test_no_more_than_one_place_opens_and_only_beside_one_who_has_all() -> None:
    gate = Gate(places=2, waiting=6, patience_s=0.0, soon_done=True, soon_s=0.0)
    assert comes_in(gate, ("eve", "eve"), "ada")
    assert comes_in(gate, ("eve", "eve"), "")  # the program's own work
    assert not comes_in(gate, ("eve", "eve"), "eve")
    for who in ("ada", "bob", "eve", ""):
        assert not comes_in(gate, ("eve", "eve", "ada"), who)
    assert not comes_in(gate, ("eve", "ada"), "bob")
    assert not comes_in(gate, ("", ""), "bob")
    soon = Gate(places=2, waiting=6, patience_s=0.0, soon_done=True)
    assert not comes_in(soon, ("eve", "eve"), "bob")
    apart = Gate(places=1, waiting=6, patience_s=0.0, soon_s=0.0)
    assert not comes_in(apart, ("eve",), "bob")
    assert (gate._free, soon._free, apart._free) == (2, 2, 1)


def test_whose_a_block_is_ends_with_it() -> None:
    gate = Gate(places=1, waiting=0, patience_s=0.0)
    with on_behalf_of("eve"):
        with on_behalf_of("ada"):
            pass
        with gate.place():
            assert dict(gate._inside) == {"eve": 1}
    with gate.place():
        assert dict(gate._inside) == {"": 1}


@pytest.mark.parametrize(
    ("code", "said"),
    [
        (-signal.SIGXCPU, "takes too long"),
        (-signal.SIGKILL, "too much memory"),
        (-signal.SIGSEGV, "cannot be decoded"),
        (-1, "cannot be decoded"),
        (0, "just now"),
        (1, "just now"),
        (signal.SIGKILL, "just now"),
    ],
)
def test_how_a_process_ended_says_what_was_wrong(
    code: int, said: str, caplog: pytest.LogCaptureFixture
) -> None:
    grumbling = io.BytesIO(b"first" + b"x" * 9000)
    error = take._died(code, grumbling, "side.jpg")
    assert said in str(error)
    assert error.where == "side.jpg"
    own_limit = code in (-signal.SIGXCPU, -signal.SIGKILL)
    assert len(caplog.messages) == (0 if own_limit else 1)
    # a stranger's file may have had its say: its end alone
    assert all(len(line) < 2100 and "first" not in line for line in caplog.messages)


@pytest.mark.parametrize(
    ("answer", "said", "photo"),
    [
        (b'{"outcome": "taken"}\nphoto', {"outcome": "taken"}, b"photo"),
        (b'{"outcome": "taken"}', {"outcome": "taken"}, b""),
        (b"", {}, b""),
        (b"[1]\nphoto", {}, b""),
        (b"no json\nphoto", {}, b""),
        (b"\xff\nphoto", {}, b""),
        (b'{"a": "' + b"x" * 9000 + b'"}\nphoto', {}, b""),
    ],
)
def test_an_answer_is_a_line_and_a_photo_or_nothing(
    answer: bytes, said: dict[str, str], photo: bytes
) -> None:
    assert take._read(io.BytesIO(answer)) == (said, photo)


def test_an_answer_larger_than_any_is_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(take, "MAX_BYTES", 100)
    whole = b"{}\n".ljust(100 + 8192, b"x")
    assert take._read(io.BytesIO(whole))[1] == whole[3:]
    assert take._read(io.BytesIO(whole + b"x")) == ({}, b"")


def test_a_decoder_learns_where_its_modules_are_and_nothing_else(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(take.os, "environ", {"PATH": "/bin", "PHOTOCHECK_SECRET": "s", "HOME": "h"})
    monkeypatch.setattr(take.sys, "path", ["", "/a", "/b"])
    assert take._environment() == {
        "PATH": "/bin",
        "PYTHONPATH": "/a:/b",
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }


def test_which_kinds_are_taken_in() -> None:
    with_it, without = Limits(heic=True), Limits(heic=False)
    assert set(with_it.kinds) - set(without.kinds) == {"HEIF"}
    assert {"JPEG", "PNG", "WEBP"} <= set(without.kinds)
    assert set(without.suffixes) < set(with_it.suffixes)
    assert ".heic" in {suffix.lower() for suffix in with_it.suffixes} | {
        f".{suffix.lower()}" for suffix in with_it.suffixes
    }


def test_an_order_may_hold_so_much_to_the_byte() -> None:
    quota = Quota(photos=3, total_bytes=100)
    quota.refuse_beyond([40, 40], 20)
    quota.refuse_beyond([], 100)
    for held, more, said in (
        ([40, 40], 21, "MB together"),
        ([1, 1, 1], 0, "3 photos already"),
        ([1] * 4, 0, "4 photos already"),
    ):
        with pytest.raises(PhotoError, match=said) as told:
            quota.refuse_beyond(held, more, where="side.jpg")
        assert told.value.where == "side.jpg"


def test_an_order_that_is_full_has_nothing_decoded(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[bytes] = []

    def taken(content: bytes, **_: object) -> object:
        asked.append(content)
        return SimpleNamespace(content=b"x" * 11)

    monkeypatch.setattr("photocheck.uploads.quota.take_upload", taken)
    quota = Quota(photos=2, total_bytes=20)
    with pytest.raises(PhotoError, match="already"):
        take_for_order(b"a", [1, 1], quota=quota)
    with pytest.raises(PhotoError, match="together"):
        take_for_order(b"a", [21], quota=quota)
    assert asked == []
    assert take_for_order(b"a", [9], quota=quota).content == b"x" * 11
    with pytest.raises(PhotoError, match="together"):  # written anew it is larger
        take_for_order(b"a", [10], quota=quota)
    assert asked == [b"a"] * 2


def test_what_a_library_asks_for_in_vain_is_no_fault_of_the_photo(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def without_room(*_: object) -> object:
        raise OSError("too many open files")

    monkeypatch.setattr(take, "_ask", without_room)
    jpeg = b"\xff\xd8" + SCAN + b"\xff\xd9"
    gate = Gate(places=1, waiting=0, patience_s=0.0)
    with pytest.raises(DecodingFailedError, match="just now"):
        take.take_upload(jpeg, gate=gate)
    assert gate._free == 1
