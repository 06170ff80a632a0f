"""A card or sheet that was found by itself: shown for a yes, and nothing without one."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import FileUploader

from photocheck.case.samples import samples_folder
from photocheck.orders import taking
from photocheck.orders.filling import new_draft
from photocheck.orders.taking import Sighted
from photocheck.server.serving import STORE_VARIABLE
from photocheck_app import shared
from photocheck_app.doors import settings
from photocheck_app.owner import pointing, sizes
from tests.support.places import APP

pytestmark = pytest.mark.usefixtures("decoded_here")

CARD = Sighted(
    ("id_card", "a4"),
    ((982.4, 791.9), (1058.2, 789.7), (1059.7, 837.2), (984.9, 838.8)),
    (900, 700, 1150, 920),
)
"""Where the sample's card lies, by its case."""
ELSEWHERE = Sighted(
    ("letter",),
    ((200.0, 300.0), (400.0, 300.0), (400.0, 455.0), (200.0, 455.0)),
    (0, 100, 700, 700),
)

_ROUND = [(900.0 + 60.0 * x, 700.0 + 60.0 * y) for x, y in ((1, 0), (0, 1), (-1, 0), (0, -1))]
BALL = Sighted(("ball", "disc"), tuple(_ROUND), (700, 600, 1100, 800))

Sent = Callable[[Sequence[Sighted]], AppTest]


@pytest.fixture
def sent(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Sent:
    """An order at the step of its photo, which shows a sample's card; what is found is given."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    settings.close_stores()
    pointing._sighted.clear()

    def went(found: Sequence[Sighted]) -> AppTest:
        monkeypatch.setattr(taking, "things_sighted", lambda photo, land="": tuple(found))
        store = shared.owners_store()
        key = store.open("en")
        store.save_draft(key, new_draft("cm"))
        page = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
        page.query_params["order"], page.query_params["step"] = key, "photo"
        page.run()
        (uploader,) = page.get("file_uploader")
        assert isinstance(uploader, FileUploader)
        content = (samples_folder() / "nettle" / "side.jpg").read_bytes()
        uploader.set_value([("side.jpg", content, "image/jpeg")]).run()
        assert not page.exception
        return page

    return went


def _photo_in(page: AppTest) -> dict[str, Any]:
    value = page.query_params["order"]
    draft = shared.owners_store().draft(value[0] if isinstance(value, list) else value)
    (photo,) = draft.to_dict()["photos"]
    assert isinstance(photo, dict)
    return photo


def _said(page: AppTest) -> str:
    return " ".join(one.value for one in page.markdown)


@pytest.mark.slow
def test_one_yes_takes_what_was_found(sent):
    page = sent([CARD])
    photo = _photo_in(page)
    assert "reference" not in photo or "kind" not in photo["reference"]
    assert "Bank or identity card, where it is outlined: right?" in _said(page)
    page.button(key=f"right/1/id_card/{photo['file']}").click().run()
    assert not page.exception
    told = _photo_in(page)["reference"]
    assert told["kind"] == "id_card"
    x, y = told["near"]
    assert (x, y) == pytest.approx((1021.3, 814.4), abs=1.0)
    assert "Found, where it is outlined: bank or identity card." in _said(page)


@pytest.mark.slow
def test_it_may_be_another_kind(sent):
    page = sent([CARD])
    file = _photo_in(page)["file"]
    page.button(key=f"right/1/a4/{file}").click().run()
    assert _photo_in(page)["reference"]["kind"] == "a4"


@pytest.mark.slow
def test_a_no_leads_to_the_tap_and_outlasts_a_reload(sent):
    page = sent([CARD])
    file = _photo_in(page)["file"]
    page.button(key=f"not_right/{file}").click().run()
    assert not page.exception
    assert "kind" not in _photo_in(page).get("reference", {})
    assert _photo_in(page)["declined"] == ["thing"]
    assert any("Tap once inside" in one.value for one in page.info)
    again = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
    again.query_params.update(page.query_params)
    again.run()
    assert not again.exception
    assert any("Tap once inside" in one.value for one in again.info)
    assert "right?" not in _said(again)


@pytest.mark.slow
def test_several_are_a_choice(sent):
    page = sent([CARD, ELSEWHERE])
    file = _photo_in(page)["file"]
    assert "Which of these is it?" in _said(page)
    page.button(key=f"right/2/letter/{file}").click().run()
    assert _photo_in(page)["reference"]["kind"] == "letter"


@pytest.mark.slow
def test_nothing_found_asks_for_the_tap_as_ever(sent):
    page = sent([])
    assert any("Tap once inside" in one.value for one in page.info)


@pytest.mark.slow
def test_a_press_of_next_while_a_photo_comes_loses_none(sent):
    """The browser sends the file and the press at once; the next screen has no uploader."""
    page = sent([CARD])
    value = page.query_params["order"]
    key = value[0] if isinstance(value, list) else value
    (uploader,) = page.get("file_uploader")
    assert isinstance(uploader, FileUploader)
    content = (samples_folder() / "moss" / "side.jpg").read_bytes()
    uploader.set_value([("more.jpg", content, "image/jpeg")])
    page.button(key="next").click().run()
    assert not page.exception
    assert page.query_params["step"] in ("photo", ["photo"])
    assert len(shared.owners_store().draft(key).photos) == 2


@pytest.mark.slow
def test_a_ball_is_confirmed_and_named_by_one_tap_each(sent, monkeypatch):
    monkeypatch.setattr(sizes, "land", lambda: "DE")
    page = sent([BALL])
    file = _photo_in(page)["file"]
    assert "Ball of known diameter, where it is outlined: right?" in _said(page)
    page.button(key=f"right/1/ball/{file}").click().run()
    assert not page.exception
    assert _photo_in(page)["reference"]["kind"] == "ball"
    (which,) = [one for one in page.radio if one.label.startswith("Which one is it?")]
    assert which.options == [
        *("tennis ball: 67 mm", "football, size 5: 219.63 mm", "another one, measured"),
    ]
    assert not [one for one in page.text_input if "across" in one.label]
    which.set_value("67 mm").run()
    assert not page.exception
    assert _photo_in(page)["reference"]["diameter"] == "67 mm"


@pytest.mark.slow
def test_another_ball_is_measured(sent):
    page = sent([BALL])
    file = _photo_in(page)["file"]
    page.button(key=f"right/1/disc/{file}").click().run()
    (which,) = [one for one in page.radio if one.label.startswith("Which one is it?")]
    assert "2 euro: 25.75 mm" in which.options
    which.set_value("25.75 mm").run()
    assert _photo_in(page)["reference"]["diameter"] == "25.75 mm"
    (which,) = [one for one in page.radio if one.label.startswith("Which one is it?")]
    which.set_value("other").run()
    assert not page.exception
    assert "diameter" not in _photo_in(page)["reference"]
    (size,) = [one for one in page.text_input if "across" in one.label]
    size.set_value("21.5").run()
    assert _photo_in(page)["reference"]["diameter"] == "21.5"
    assert any("21.5 cm" in one.value for one in page.caption)
