"""An owner's way in WebKit, by whose rules every browser of an iPhone plays."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from photocheck.case.samples import samples_folder
from photocheck.orders.store import open_store
from photocheck.server.access.passes import order_of
from photocheck.words import LANDMARKS
from tests.support.served_alone import BY_HAND, Alone, served_alone
from tests.support.webkit import Phone, webkit

pytestmark = pytest.mark.browser

SAMPLE = samples_folder() / "flint"
SIZE = (2000, 1500)
ASKED = {
    "half_neck": "Half neck",
    "front_length": "Front length",
    "rear_length": "Rear length",
    "full_length": "Full length",
}
PICTURE = """
const within = (root) => {
  for (const one of root.querySelectorAll('*')) {
    const found = one.matches('.photo image') ? one : one.shadowRoot && within(one.shadowRoot);
    if (found) return found;
  }
};
const picture = within(document);
const stage = picture?.closest('.stage[data-ready=yes]');
if (!stage) return null;
stage.scrollIntoView({ block: 'center' });
const { x, y, width, height } = picture.getBoundingClientRect();
return [x, y, width, height];
"""


@pytest.fixture
def served(tmp_path: Path) -> Iterator[Alone]:
    with served_alone(tmp_path, code=BY_HAND) as app:
        yield app


@pytest.fixture
def phone(tmp_path: Path) -> Iterator[Phone]:
    with webkit(tmp_path / "webkit.txt") as window:
        yield window


def test_the_quick_way_from_the_first_page_to_the_verdict(served: Alone, phone: Phone) -> None:
    data = json.loads((SAMPLE / "case.json").read_text(encoding="utf-8"))
    readings, marks = data["readings"], data["photos"][0]["markings"][0]["marks"]
    phone.open(served.address)
    phone.press(".cards a")
    phone.until(lambda: "order=" in phone.address(), "an order")
    phone.watch()
    for name, title in ASKED.items():
        # with the pad for numbers
        phone.type(f"input[aria-label^='{title} in cent'][inputmode=decimal]", readings[name])
        phone.press("button", "Next")
    phone.type(".st-key-take_photo input[type=file]", str(SAMPLE / "side.jpg"))
    phone.shows("Found, where it is outlined")
    phone.press("label", "in line with it")
    phone.shows("Mark your dog")
    for number, name in enumerate(LANDMARKS, start=1):
        x, y, wide, high = phone.at_rest(PICTURE)
        across, down = ((of + 0.5) / size for of, size in zip(marks[name], SIZE, strict=True))
        phone.press_at(x + across * wide, y + down * high)
        phone.shows("All placed" if number == len(LANDMARKS) else f"{number} of 4 placed")
    phone.press("button", "See the result")
    phone.shows("Measure again: rear length.")
    assert phone.wrongs() == []

    link = re.search(r"order=([\w.-]+)", phone.address())
    assert link is not None
    store = open_store(str(served.store))
    told = store.order(order_of(store, link[1])).draft.to_dict()
    store.close()
    assert {name: takes[0]["typed"] for name, takes in told["readings"].items()} == readings
    placed = told["photos"][0]["markings"][0]["marks"]
    assert placed.keys() == set(LANDMARKS)
    for name, xy in placed.items():
        # a press lies on a whole px of the window, which shows 2000 px on some 400
        assert xy == pytest.approx(marks[name], abs=6.0), name
