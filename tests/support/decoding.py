"""Photos decoded in the test's own process, where the process that decodes is not the subject."""

from __future__ import annotations

import io
import json
import subprocess
from typing import IO, Any

from photocheck.uploads import worker


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
            self._task: worker.Decoding = json.loads(command[-1])
            self._answer = stdout

        def __enter__(self) -> Here.Popen:
            return self

        def __exit__(self, *_: object) -> None:
            self._answer.flush()

        def communicate(self, content: bytes, _patience_s: float) -> None:
            said, photo = worker._done(self._task, io.BytesIO(content))
            self._answer.write(json.dumps(said).encode() + b"\n" + photo)

        def kill(self) -> None:
            """It has ended."""
