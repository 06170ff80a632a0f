"""Which photocheck this is: the one place for its version."""

from __future__ import annotations

from typing import Final

__version__: Final = "0.2.0"
"""Semantic versioning (https://semver.org): what changed is told in DEVELOPERS.md, "Changes"."""
