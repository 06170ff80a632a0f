"""What the tests of the desk's pages share."""

from collections.abc import Iterator
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner

from tests.support.desk_pages import held

__all__ = ["held"]


@pytest.fixture(scope="session", autouse=True)
def _packages_are_looked_through_once() -> Iterator[None]:
    """Streamlit's tests look for components in every installed package at every run of a page."""
    with pytest.MonkeyPatch.context() as patch:
        once = cache(manifest_scanner.scan_component_manifests)
        patch.setattr(manifest_scanner, "scan_component_manifests", once)
        yield
