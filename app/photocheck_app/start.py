"""What ``photocheck serve`` runs: the server, once all is loaded that one would wait for."""

from __future__ import annotations

import gc
import sys
from importlib import import_module

SLOW = (
    "pandas",
    "photocheck.checking",
    "photocheck.shown.picture",
    "photocheck.orders.store",
    "photocheck.report.file",
)
"""Modules that take long to load.  Not the pages: their parts want the server running."""


def main() -> None:
    """Load, then serve; the arguments are those of ``streamlit``."""
    for name in SLOW:
        import_module(name)
    from photocheck_app.framework import command_line

    # What was loaded stays: the collector need not look through it again and again.
    gc.collect()
    gc.freeze()
    sys.exit(command_line()(prog_name="streamlit"))


if __name__ == "__main__":
    main()
