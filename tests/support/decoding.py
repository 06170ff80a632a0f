"""Photos decoded in the test's own process, where the process that decodes is not the subject."""

from __future__ import annotations

import io
import json
import subprocess
from typing import IO, Any

from photocheck.photo import clean, load
from photocheck.uploads import worker

_taken: dict[tuple[object, ...], tuple[dict[str, object], bytes]] = {}
"""What was made of files that were taken, by task, content and the functions that made it."""


def _done_once(command: str, content: bytes) -> tuple[dict[str, object], bytes]:
    """The worker's answer; that to a file which it has taken is known, as nothing else decides."""
    key = (command, content, worker._done, clean.clean, load.decoded, load._decode)
    if key in _taken:
        return _taken[key]
    said, photo = worker._done(json.loads(command), io.BytesIO(content))
    if said["outcome"] == "taken":
        _taken[key] = said, photo
    return said, photo


class Here:
    """Stands in for `subprocess`: `Popen` does the worker's task at once, without limits.

    Starting an interpreter with OpenCV takes longer than any of the tests' photos.  What is said
    to the worker, what it answers and how the answer is read stay as they are.  The process, its
    limits and its end have tests of their own beside `photocheck.uploads`.
    """

    PIPE = subprocess.PIPE
    TimeoutExpired = subprocess.TimeoutExpired

    class Popen:
        """The one process that `photocheck.uploads.take` starts for a file."""

        returncode = 0

        def __init__(self, command: list[str], *, stdout: IO[bytes], **_: Any) -> None:
            self._task = command[-1]
            self._answer = stdout

        def __enter__(self) -> Here.Popen:
            return self

        def __exit__(self, *_: object) -> None:
            self._answer.flush()

        def communicate(self, content: bytes, _patience_s: float) -> None:
            said, photo = _done_once(self._task, content)
            self._answer.write(json.dumps(said).encode() + b"\n" + photo)

        def kill(self) -> None:
            """It has ended."""
