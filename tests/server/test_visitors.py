"""Several owners at once, over the wire: each gets an own answer, and nothing is lost or mixed up.

`python -m visitors` does the same with more of them, and measures how long they wait.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner, play_all
from tests.support.visitors.serving import served

VISITORS = 6


@pytest.mark.slow
def test_visitors_at_once_lose_nothing_and_see_only_their_own(tmp_path: Path) -> None:
    visitors = [told_by(number) for number in range(VISITORS)]
    with served(tmp_path) as app:
        owners = [Owner(app.address, told) for told in visitors]
        play_all(owners)
        assert app.log.read_text() == ""
    headlines = {owner.told.name: owner.headline for owner in owners}
    assert all(headlines.values())
    assert wrongs(app.store, visitors, headlines) == []
    # and what is wrong in the store would be found
    # nobody's order: other texts, other marks and photo
    told, other = visitors[0], told_by(VISITORS + 5)
    as_other = type(told)(told.name, told.locale, told.readings, other.draft, other.photo)
    found = " ".join(wrongs(app.store, [as_other], headlines))
    assert all(
        word in found for word in ("readings is", "dog is", "markings is", "photo is another")
    )
    assert wrongs(app.store, [told], {told.name: "another"}) != []
    assert wrongs(app.store, [told, other], headlines | {other.name: ""}) != []
