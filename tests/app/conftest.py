"""What the tests of the desk's pages share."""

from collections.abc import Iterator
from functools import cache

import pytest
from streamlit.components.v2 import manifest_scanner
from streamlit.testing.v1 import local_script_runner
from streamlit.testing.v1.local_script_runner import LocalScriptRunner

from tests.support.desk_pages import held

__all__ = ["held"]


@pytest.fixture(scope="session", autouse=True)
def _packages_are_looked_through_once() -> Iterator[None]:
    """Streamlit's tests look for components in every installed package at every run of a page."""
    with pytest.MonkeyPatch.context() as patch:
        once = cache(manifest_scanner.scan_component_manifests)
        patch.setattr(manifest_scanner, "scan_component_manifests", once)
        yield


@pytest.fixture(scope="session", autouse=True)
def _a_run_is_waited_for() -> Iterator[None]:
    """Streamlit's tests ask a thousand times a second whether the page's thread has ended."""
    ask = local_script_runner.require_widgets_deltas

    def wait_and_ask(runner: LocalScriptRunner, timeout: float = 3) -> None:
        if runner._script_thread is not None:
            runner._script_thread.join(timeout)
        ask(runner, timeout)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(local_script_runner, "require_widgets_deltas", wait_and_ask)
        yield
