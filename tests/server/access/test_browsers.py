"""What tells browsers apart cannot be made up."""

from __future__ import annotations

from pathlib import Path

import pytest

from photocheck.server.access import browsers
from photocheck.server.access.browsers import known_apart, new_browser
from photocheck.server.access.door_secret import SECRET_VARIABLE


@pytest.fixture(autouse=True)
def _read_anew() -> None:
    browsers._signer.cache_clear()


def test_only_what_was_given_is_known() -> None:
    carried = new_browser()
    which = known_apart(carried)
    assert len(which) == 24
    assert known_apart(carried) == which
    for other in ("", "x", which, f"{which}.", f"{carried}x", f"x{carried}", carried * 9, "ä.b"):
        assert known_apart(other) == ""


def test_servers_with_one_secret_know_each_others(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    carried = new_browser()
    browsers._signer.cache_clear()
    assert known_apart(carried)
    monkeypatch.setenv(SECRET_VARIABLE, str(tmp_path / "another"))
    browsers._signer.cache_clear()
    assert known_apart(carried) == ""


def test_where_the_secret_cannot_be_read_this_server_knows_its_own(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").touch()
    monkeypatch.setenv(SECRET_VARIABLE, str(tmp_path / "file" / "secret"))
    browsers._signer.cache_clear()
    assert known_apart(new_browser())
    browsers._signer.cache_clear()
