"""No file keeps its reader busy before it is looked at, and nobody alone holds all places."""

from __future__ import annotations

import pytest

from photocheck.errors import PhotoError
from photocheck.photo.kind import MOST_FILL_BYTES, MOST_SCANS, MOST_SEGMENTS, kind_of
from photocheck.photo.load import _jpeg_is_whole
from photocheck.uploads.gate import BusyError, Gate, on_behalf_of
from photocheck.uploads.take import GATE, LIMITS, PLACES

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


def test_what_is_shipped_is_this() -> None:
    assert (PLACES, GATE._free, GATE._most, GATE._patience_s) == (2, 2, 32, 60.0)
    assert (GATE._most_of_one, GATE._most_waiting_of_one) == (1, 10)
    assert (LIMITS.memory_bytes, LIMITS.cpu_s, LIMITS.wall_s, LIMITS.heic) == (
        2_000_000_000,
        20,
        120.0,
        False,
    )
    assert (MOST_FILL_BYTES, MOST_SEGMENTS, MOST_SCANS) == (64, 2000, 100)
