"""The process that decodes one stranger's photo and then ends.

As its argument: a `Decoding` in JSON; on standard input: the file.  On standard output: one line of
JSON, then the photo written anew.  Neither side ever unpickles what the other wrote, so that a
decoder taken over by a crafted file can only answer with bytes.
"""

from __future__ import annotations

import json
import os
import sys
import traceback
from dataclasses import asdict
from typing import BinaryIO, TypedDict

MOST_OPEN_FILES = 64
"""Enough for Python's imports (judgement)."""

NICENESS = 10
"""How far it stands back behind the server's own work, which somebody is waiting for; out of
POSIX's 0 to 19, of which Linux gives one at 10 a tenth of the time of one at 0 (judgement)."""


class Decoding(TypedDict):
    """What the process is told."""

    language: str
    memory_bytes: int
    cpu_s: int
    answer_bytes: int


def main() -> None:
    """Do the one task."""
    # A library that prints must not write into the answer.
    answer = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    task: Decoding = json.loads(sys.argv[1])
    confine(task)
    try:
        said, content = _done(task, sys.stdin.buffer)
    except MemoryError:
        said, content = {"outcome": "memory"}, b""
    with answer:
        answer.write(json.dumps(said).encode() + b"\n")
        answer.write(content)


def _done(task: Decoding, file: BinaryIO) -> tuple[dict[str, object], bytes]:
    from photocheck.errors import PhotoError
    from photocheck.photo.clean import clean
    from photocheck.speech import speaking

    with speaking(task["language"]):
        try:
            done = clean(file.read())
        except PhotoError as error:
            return {"outcome": "refused", "wrong": error.wrong, "do": error.do}, b""
        except (ImportError, MemoryError):
            raise  # not the file's fault
        except Exception:
            # A failure of the program, for the log; never for people, and never called the
            # photo's fault.
            traceback.print_exc()
            return {"outcome": "failed"}, b""
    camera = done.camera
    return {
        "outcome": "taken",
        "size_px": list(done.size_px),
        "camera": {
            "focal_35mm": camera.focal_35mm,
            "focal_source": camera.focal_source,
            "make": camera.make,
            "model": camera.model,
            "focal_spread": camera.focal_spread,
            "framing": asdict(camera.framing),
        },
    }, done.content


def confine(task: Decoding) -> None:
    """Take from this process, for good, what decoding does not need.

    Memory is limited on Linux, processor time, open files and the size of what is written on
    every POSIX system, and nothing on Windows, where only the caller's clock is left.  It also
    gives way to all that runs beside it.
    """
    try:
        import resource
    except ImportError:
        return
    os.nice(NICENESS)
    limits = {
        resource.RLIMIT_AS: task["memory_bytes"],
        resource.RLIMIT_FSIZE: task["answer_bytes"],
        resource.RLIMIT_NOFILE: MOST_OPEN_FILES,
        resource.RLIMIT_CORE: 0,
    }
    # A signal first, which tells why it ended; a second later the end without one.
    resource.setrlimit(resource.RLIMIT_CPU, (task["cpu_s"], task["cpu_s"] + 1))
    for which, most in limits.items():
        hard = resource.getrlimit(which)[1]
        most = most if hard == resource.RLIM_INFINITY else min(most, hard)
        try:
            resource.setrlimit(which, (most, most))
        except (OSError, ValueError):
            # macOS does not know a limit on memory.
            if sys.platform == "linux":
                raise


if __name__ == "__main__":
    main()
