"""Exit codes that are not verdicts; those are in `photocheck.words`."""

from __future__ import annotations

from typing import Final

FAILED: Final = 1
"""The program itself failed."""
NOT_WANTED: Final = 3
"""Somebody was asked and said no; nothing was changed."""
PARTLY: Final = 13
"""Some orders could not be taken in or checked, and the rest was."""
INTERRUPTED: Final = 130
"""128 + SIGINT, as shells have it (POSIX, "Exit Status for Commands")."""
