"""What a run of a page does around the page."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any, cast

import pytest

from photocheck.uploads.gate import Gate
from photocheck_app import main
from photocheck_app.doors.paths import PRACTISE, WORKSHOP


@pytest.mark.parametrize(
    ("path", "whose"), [("", "203.0.113.7"), (PRACTISE, "203.0.113.7"), (WORKSHOP, "")]
)
def test_what_a_page_waits_for_is_its_address_own_and_staffs_is_nobodys(
    monkeypatch: pytest.MonkeyPatch, path: str, whose: str
) -> None:
    """Checks and pictures as well as photos: one address never keeps the others from them."""
    gate = Gate(places=1, waiting=0, patience_s=0.0)
    held: list[dict[str, int]] = []

    def run() -> None:
        with gate.place():
            held.append(dict(gate._inside))

    monkeypatch.setattr(main, "here", lambda: "203.0.113.7")
    page = cast(Any, SimpleNamespace(url_path=path, run=run))
    main._run(page, None)
    assert held == [{whose: 1}]
    with gate.place():
        assert dict(gate._inside) == {"": 1}
