"""One stranger's file in, a photo written anew out; the decoding happens elsewhere."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import tempfile
from dataclasses import dataclass
from hashlib import sha256
from typing import IO, Any, Final

from photocheck.errors import DecodingFailedError, PhotoError
from photocheck.photo.kind import ANOTHER, KINDS, MAX_BYTES, SUFFIXES_OF, kind_of
from photocheck.photo.photo import CameraFacts
from photocheck.photo.whole import framing_from
from photocheck.speech import later, spoken, tr
from photocheck.uploads.gate import Gate
from photocheck.uploads.worker import Decoding

_log = logging.getLogger(__name__)

_WORKER = "photocheck.uploads.worker"
_HEADER_BYTES = 8192
_SMALLER = later("Save a smaller copy as JPEG, 4000 pixels wide for example")
_PASSED_ON = ("PATH", "LD_LIBRARY_PATH", "DYLD_LIBRARY_PATH", "SYSTEMROOT", "TEMP", "TMPDIR")


@dataclass(frozen=True)
class Limits:
    """What is taken in, and what reading one file may cost.

    Attributes
    ----------
    heic : bool
        Whether HEIC is taken in.  Its decoder is the largest and the least tried of the four.
    memory_bytes : int
        Address space of the process that decodes; the hungriest, a WebP picture of the most
        pixels, was measured at 1.6 GB (Linux only).
    cpu_s : int
        Its processor time, seconds (not on Windows); the slowest was measured at 4 s.
    wall_s : float
        Its time by the clock, seconds; much longer, for a busy machine is nobody's fault.
    """

    heic: bool = False
    memory_bytes: int = 2_000_000_000
    cpu_s: int = 20
    wall_s: float = 120.0

    @property
    def kinds(self) -> tuple[str, ...]:
        """Those of `photocheck.photo.kind.KINDS` that are taken in."""
        return KINDS if self.heic else tuple(kind for kind in KINDS if kind != "HEIF")

    @property
    def suffixes(self) -> tuple[str, ...]:
        """What the names of such files usually end in.

        A phone that keeps HEIC hands over a JPEG where a page asks for no HEIC (common
        practice, no source).
        """
        return tuple(suffix for kind in self.kinds for suffix in SUFFIXES_OF[kind])


LIMITS: Final = Limits()

PLACES: Final = 2
"""Photos decoded at once, whatever the number of visitors; each takes `Limits.memory_bytes` at
the very most."""

GATE: Final = Gate(places=PLACES, waiting=80, patience_s=180.0, waiting_of_one=40)
"""One for the whole server.  Those who wait hold only their own file.  Fifty at once, each at home,
find room, and so does a class of forty at one address, beside as many others (with room for twenty
of one, a class of fifty was sent away in part; measured).  While they wait two places serve them
all, at four seconds each: who was let wait is not sent away because the machine is slow."""


@dataclass(frozen=True)
class Upload:
    """A photo as it may be kept and shown.

    Attributes
    ----------
    content : bytes
        A JPEG file, upright, written anew from the pixels (`photocheck.photo.clean.Clean`).
    camera : CameraFacts
        What `photocheck.photo.load.load_photo` says of `content`, as of the original.
    sha256 : str
        Of `content`; the only name it has.
    size_px : (int, int)
        Width and height.
    """

    content: bytes
    camera: CameraFacts
    sha256: str
    size_px: tuple[int, int]


def take_upload(
    content: bytes, *, limits: Limits = LIMITS, where: str = "photo", gate: Gate = GATE
) -> Upload:
    """Take in a stranger's file.

    It is told by its content what it is; its size in bytes is looked at before anything is
    done with it, its size in pixels before it is decoded.  It is decoded by a process that
    serves this one file, knows none of this process's memory, environment or open files, and
    ends, or is ended, within `limits`.

    Parameters
    ----------
    content : bytes
    limits : Limits
    where : str
        What to call the photo in messages.
    gate : Gate
        Shared by all calls whose cost shall be bounded together.

    Raises
    ------
    PhotoError
        When it is no photo that is taken in, or cannot be decoded within the limits.
    DecodingFailedError
        When the program failed; why is in the log.
    BusyError
        When too many photos are being read.
    """
    kind_of(content, kinds=limits.kinds, where=where)
    with gate.place():
        try:
            return _ask(content, limits, where)
        except OSError as error:
            # The system has no room for another file, or for another process.
            _log.warning("no photo can be read: %s", error)
            raise _not_just_now(where) from error


def _ask(content: bytes, limits: Limits, where: str) -> Upload:
    with tempfile.TemporaryFile() as answer, tempfile.TemporaryFile() as grumbling:
        try:
            code = read_apart(
                _WORKER,
                content,
                limits,
                answer=answer,
                answer_bytes=MAX_BYTES + _HEADER_BYTES,
                grumbling=grumbling,
            )
        except subprocess.TimeoutExpired as error:
            raise _too_long(where) from error
        said, photo = _read(answer)
        outcome = said.get("outcome")
        if outcome == "refused":
            raise PhotoError(str(said.get("wrong")), where=where, do=str(said.get("do")))
        if outcome == "memory":
            raise _too_hungry(where)
        if outcome == "failed":
            _note(code, grumbling)
            raise decoding_failed(where)
        try:
            return _upload(said, photo)
        except (KeyError, TypeError, ValueError, PhotoError) as error:
            raise _died(code, grumbling, where) from error


def read_apart(
    worker: str,
    content: bytes,
    limits: Limits,
    *more: str,
    answer: IO[bytes],
    answer_bytes: int,
    grumbling: IO[bytes] | int,
) -> int:
    """Have a process of its own, with limits and without secrets, read one stranger's file.

    Parameters
    ----------
    worker : str
        The module that is run; its first argument is a `photocheck.uploads.worker.Decoding`.
    content : bytes
        On its standard input.
    limits : Limits
    more : str
        Its further arguments.
    answer : file
        What it writes on its standard output; a file, for the system bounds a file's size as it
        bounds no pipe's.
    answer_bytes : int
        Of that, at most.
    grumbling : file, or one of `subprocess`'s
        What it writes on its standard error.

    Returns
    -------
    int
        How it ended, as `subprocess.Popen.returncode` says.

    Raises
    ------
    subprocess.TimeoutExpired
        When it took longer than `limits.wall_s`.
    OSError
        When there is no room for it.
    """
    task = Decoding(
        language=spoken(),
        memory_bytes=limits.memory_bytes,
        cpu_s=limits.cpu_s,
        answer_bytes=answer_bytes,
    )
    with subprocess.Popen(
        [sys.executable, "-P", "-m", worker, json.dumps(task), *more],
        stdin=subprocess.PIPE,
        stdout=answer,
        stderr=grumbling,
        env=_environment(),
    ) as process:
        try:
            process.communicate(content, limits.wall_s)
        finally:
            process.kill()
    return process.returncode


def _read(answer: IO[bytes]) -> tuple[dict[str, Any], bytes]:
    """The answer's line and the photo behind it; both empty when it is none."""
    if answer.seek(0, os.SEEK_END) > MAX_BYTES + _HEADER_BYTES:
        return {}, b""
    answer.seek(0)
    try:
        said = json.loads(answer.readline(_HEADER_BYTES))
    except ValueError:
        return {}, b""
    return (said, answer.read()) if isinstance(said, dict) else ({}, b"")


def _upload(said: dict[str, Any], photo: bytes) -> Upload:
    # Whoever answers has read a stranger's file: nothing it says is taken on trust.
    kind_of(photo, kinds=("JPEG",))
    camera = said["camera"]
    framing = framing_from(camera["framing"])
    if framing is None:
        raise ValueError("no framing")
    facts = CameraFacts(
        focal_35mm=_maybe_float(camera["focal_35mm"]),
        focal_source=str(camera["focal_source"]),
        make=str(camera["make"]),
        model=str(camera["model"]),
        focal_spread=_maybe_float(camera["focal_spread"]),
        framing=framing,
    )
    width, height = (int(side) for side in said["size_px"])
    return Upload(photo, facts, sha256(photo).hexdigest(), (width, height))


def _maybe_float(value: Any) -> float | None:
    return None if value is None else float(value)


def _died(code: int, grumbling: IO[bytes], where: str) -> PhotoError:
    """What to say when no answer came, or none that can be used."""
    if code == -getattr(signal, "SIGXCPU", 0):
        return _too_long(where)
    if code == -getattr(signal, "SIGKILL", 0):
        # Not by this module, which kills only whom it has waited for too long: by the
        # system, when its memory ran out.
        return _too_hungry(where)
    _note(code, grumbling)
    if code < 0:
        # A signal: what a damaged file does to a decoder written in C.
        return _undecodable(where)
    return _not_just_now(where)


def _not_just_now(where: str) -> DecodingFailedError:
    return DecodingFailedError(
        tr("photos cannot be read here just now"), where=where, do=tr("Tell the workshop")
    )


def _note(code: int, grumbling: IO[bytes]) -> None:
    # Quoted, and its end alone: a stranger's file may have had its say in it.
    grumbling.seek(0)
    _log.warning("reading a photo ended with %d: %r", code, grumbling.read(_HEADER_BYTES)[-2000:])


def decoding_failed(where: str) -> DecodingFailedError:
    """What is said of a failure of the program; the photo and its owner are not to blame."""
    return DecodingFailedError(
        tr("the program failed while it read this photo; the photo is not to blame"),
        where=where,
        do=tr("Try again later, and report it if it happens again"),
    )


def _undecodable(where: str) -> PhotoError:
    return PhotoError(tr("the picture cannot be decoded"), where=where, do=tr(ANOTHER))


def _too_long(where: str) -> PhotoError:
    return PhotoError(tr("the picture takes too long to decode"), where=where, do=tr(_SMALLER))


def _too_hungry(where: str) -> PhotoError:
    return PhotoError(
        tr("the picture takes too much memory to decode"), where=where, do=tr(_SMALLER)
    )


def _environment() -> dict[str, str]:
    """Nothing of this process's environment that could hold a secret."""
    passed = {name: os.environ[name] for name in _PASSED_ON if name in os.environ}
    return passed | {
        "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        # Each thread of these would reserve memory that is then missing for the picture.
        "OPENBLAS_NUM_THREADS": "1",
        "OMP_NUM_THREADS": "1",
    }
