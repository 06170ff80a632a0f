"""What pages tell the browser of photos on their way; the browser's part is tested in a browser."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import FileUploader

from photocheck.case.samples import samples_folder
from photocheck.orders.filling import new_draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.server.access.passes import link_for
from photocheck.server.run import run_check
from photocheck.server.serving import STORE_VARIABLE
from photocheck_app import shared
from photocheck_app.doors import settings
from photocheck_app.owner import unsent
from tests.support.places import APP

pytestmark = pytest.mark.usefixtures("decoded_here", "checked_here")


@pytest.fixture(autouse=True)
def _empty(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    settings.close_stores()


def _opened(**query: str) -> AppTest:
    page = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
    page.query_params.update(query)
    page.run()
    assert not page.exception
    return page


def _told(page: AppTest) -> dict[str, str]:
    """What the one mark on a page says; nothing where there is none."""
    marks = [one.proto.body for one in page.get("html") if "pc-unsent" in one.proto.body]
    assert len(marks) <= 1
    return dict(re.findall(r'data-(\w+)="([^"]*)"', marks[0])) if marks else {}


def _order() -> str:
    key = shared.owners_store().open("en")
    shared.owners_store().save_draft(key, new_draft("cm"))
    return str(key)


def _sent() -> str:
    store, folder = shared.store(), samples_folder() / "flint"
    photo = ("side.jpg", (folder / "side.jpg").read_bytes())
    key = bring_in(store, ("case.json", (folder / "case.json").read_bytes()), [photo]).key
    run_check(store, key, by="owner")
    return str(link_for(store, key, by="test"))


def test_a_step_that_asks_for_a_photo_says_whose_it_is() -> None:
    key, other = _order(), _order()
    side, front = (_told(_opened(order=key, step=step)) for step in ("photo", "front"))
    assert (side["view"], front["view"]) == ("side", "front")
    assert side["order"] == front["order"]
    assert key not in side["order"]
    assert _told(_opened(order=other, step="photo"))["order"] != side["order"]
    assert "over" not in side
    assert _told(_opened(order=key, step="half_neck")) == {}


@pytest.mark.parametrize("content", [None, b"\xff\xd8 no picture"])
def test_what_was_taken_or_refused_need_not_come_again(content: bytes | None) -> None:
    page = _opened(order=_order(), step="photo")
    assert _told(page)["answered"] == ""
    (uploader,) = page.get("file_uploader")
    assert isinstance(uploader, FileUploader)
    photo = content or (samples_folder() / "flint" / "side.jpg").read_bytes()
    uploader.set_value([("side.jpg", photo, "image/jpeg")]).run()
    assert not page.exception
    assert len(_told(page)["answered"].split()) == 1


@pytest.mark.slow
def test_nothing_is_kept_of_an_order_that_was_sent_deleted_or_leads_nowhere() -> None:
    link = _sent()
    assert _told(_opened(order=link, step="result"))["over"] == "yes"
    assert _told(_opened(order="nothing"))["over"] == "yes"
    key = _order()
    mine = _told(_opened(order=key, step="photo"))["order"]
    page = _opened(order=key, step="half_neck")
    page.checkbox(key="sure").set_value(True).run()
    page.button(key="delete").click().run()
    assert not page.exception
    assert _told(page) == {"order": mine, "over": "yes"}


def test_so_many_answers_are_repeated() -> None:
    assert unsent._SHOWN_LAST == 24
