"""A photo that is on its way while the page is loaded anew: sent again, unless somebody says no."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Any

import pytest
from playwright.sync_api import Page, Route, expect

from photocheck.case.samples import samples_folder
from tests.support.pages import Visitors, rests, until_on_page
from tests.support.served_alone import Alone, served_alone

pytestmark = pytest.mark.browser

UPLOADS = re.compile("/_stcore/upload_file/")
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
KEPT = """async () => {
  const base = await new Promise((done, failed) => {
    const asked = indexedDB.open('photocheck-unsent', 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore('photos', { keyPath: 'id' });
    asked.onsuccess = () => done(asked.result);
    asked.onerror = failed;
  });
  const asked = base.transaction('photos').objectStore('photos').getAll();
  await new Promise((done) => { asked.onsuccess = done; });
  base.close();
  return asked.result.map((one) => [one.name, one.file.size, one.at]);
}"""
AGED = """async () => {
  const base = await new Promise((done) => {
    const asked = indexedDB.open('photocheck-unsent', 1);
    asked.onsuccess = () => done(asked.result);
  });
  const way = base.transaction('photos', 'readwrite');
  const photos = way.objectStore('photos');
  const asked = photos.getAll();
  asked.onsuccess = () => asked.result.forEach((one) => photos.put({ ...one, at: one.at - 3.7e6 }));
  await new Promise((done) => { way.oncomplete = done; });
  base.close();
}"""
ENDED_AFTER_KEEPING = """
window.pageEnded = false;
const put = IDBObjectStore.prototype.put;
IDBObjectStore.prototype.put = function (...kept) {
  this.transaction.addEventListener('complete', () => { window.pageEnded = true; });
  return put.apply(this, kept);
};
const transaction = IDBDatabase.prototype.transaction;
IDBDatabase.prototype.transaction = function (stores, mode, ...more) {
  if (window.pageEnded && mode === 'readwrite') throw new Error('this page is no more');
  return transaction.call(this, stores, mode, ...more);
};
"""
WAS_ON_ITS_WAY = "A photo was on its way when this page was loaded anew."


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Alone]:
    with served_alone(tmp_path_factory.mktemp("unsent")) as app:
        yield app


EMPTIED = """async () => {
  const base = await new Promise((done) => {
    const asked = indexedDB.open('photocheck-unsent', 1);
    asked.onupgradeneeded = () => asked.result.createObjectStore('photos', { keyPath: 'id' });
    asked.onsuccess = () => done(asked.result);
  });
  const way = base.transaction('photos', 'readwrite');
  way.objectStore('photos').clear();
  await new Promise((done) => { way.oncomplete = done; });
  base.close();
}"""


@pytest.fixture
def asked(served: Alone, visitors: Visitors) -> Iterator[Page]:
    """A phone at the step that asks for the photo; its browser is others' as well."""
    page = visitors.come(**PHONE, locale="en").new_page()
    page.goto(f"{served.address}/?begin=quick")
    page.locator(".st-key-ways_on").wait_for(timeout=60_000)
    yield _at_photo(page)
    page.evaluate(EMPTIED)


def _at_photo(page: Page) -> Page:
    page.goto(re.sub("step=[^&]*", "step=photo", page.url))
    _field(page)
    return page


def _field(page: Page) -> Any:
    field = page.locator(".st-key-take_photo input[type=file]").first
    field.wait_for(state="attached", timeout=30_000)
    rests(page)
    return field


def _choose(page: Page, name: str = "flint") -> int:
    content = (samples_folder() / name / "side.jpg").read_bytes()
    field = _field(page)
    field.set_input_files({"name": f"{name}.jpg", "mimeType": "image/jpeg", "buffer": content})
    return len(content)


def _stays(route: Route) -> None:
    """As over a line that gives nothing."""


def _held_back(page: Page) -> None:
    page.route(UPLOADS, _stays)


def _under_way(page: Page, name: str = "flint") -> int:
    """A photo that was chosen, is kept by the browser, and does not arrive."""
    _held_back(page)
    size = _choose(page, name)
    page.get_by_text("The photo is being sent.").wait_for()
    ((kept, held, _),) = page.evaluate(KEPT)
    assert (kept, held) == (f"{name}.jpg", size)
    return size


def _kept_none(page: Page) -> None:
    until_on_page(page, lambda: not page.evaluate(KEPT), "the browser keeps none", patience_s=10)


def _none_is_sent(page: Page) -> None:
    """What a page would send by itself, it would have put into its field by now."""
    page.evaluate(KEPT)  # answered after what the page itself asked before
    rests(page)
    assert page.locator('[data-testid="stFileChip"]').count() == 0


def test_a_reload_in_the_middle_of_sending_loses_no_photo(asked: Page) -> None:
    _under_way(asked)
    asked.unroute(UPLOADS)
    with asked.expect_request(UPLOADS):
        asked.reload()
    expect(asked.get_by_text("Found, where it is outlined")).to_be_visible(timeout=60_000)
    _kept_none(asked)
    asked.reload()
    _field(asked)
    expect(asked.get_by_text("Take photo 1 out")).to_have_count(1)
    assert asked.get_by_text("Take photo 2 out").count() == 0


def test_it_is_said_while_it_is_sent_again_and_may_be_refused(asked: Page) -> None:
    _under_way(asked)
    asked.reload()
    sign = asked.get_by_role("status").filter(has_text=WAS_ON_ITS_WAY)
    expect(sign).to_be_visible(timeout=30_000)
    assert len(asked.evaluate(KEPT)) == 1
    no = sign.get_by_role("button", name="Do not send it")
    box = no.bounding_box()
    assert box
    assert box["height"] >= 44
    no.click()
    expect(sign).to_have_count(0)
    _kept_none(asked)
    asked.unroute(UPLOADS)
    asked.reload()
    _field(asked)
    _none_is_sent(asked)
    expect(asked.get_by_text("Found, where it is outlined")).to_have_count(0)


def test_a_second_reload_loses_it_no_more_than_the_first(asked: Page) -> None:
    size = _under_way(asked)
    for _ in range(2):
        asked.reload()
        expect(asked.get_by_text(WAS_ON_ITS_WAY)).to_be_visible(timeout=30_000)
        ((name, held, _),) = asked.evaluate(KEPT)
        assert (name, held) == ("flint.jpg", size)


def test_a_page_that_ends_while_it_keeps_one_leaves_it_once(asked: Page) -> None:
    """A reload between keeping it anew and letting go of the old would send it twice."""
    _under_way(asked)
    asked.add_init_script(ENDED_AFTER_KEEPING)
    asked.reload()
    expect(asked.get_by_text(WAS_ON_ITS_WAY)).to_be_visible(timeout=30_000)
    asked.wait_for_function("pageEnded", timeout=30_000)
    rests(asked)
    assert [name for name, _, _ in asked.evaluate(KEPT)] == ["flint.jpg"]
    asked.evaluate("() => { window.pageEnded = false; }")  # the fixture empties it


def test_what_arrived_or_is_no_photo_is_kept_no_longer(asked: Page) -> None:
    _choose(asked)
    expect(asked.get_by_text("Found, where it is outlined")).to_be_visible(timeout=60_000)
    _kept_none(asked)
    asked.get_by_text("Add another photo").click()
    bad = {"name": "x.jpg", "mimeType": "image/jpeg", "buffer": b"\xff\xd8 no picture" * 99}
    _field(asked).set_input_files(bad)
    expect(asked.get_by_role("alert").filter(has_text="x.jpg")).to_be_visible(timeout=30_000)
    _kept_none(asked)


def test_what_is_taken_out_of_the_field_is_kept_no_longer(asked: Page) -> None:
    _under_way(asked)
    asked.locator('[data-testid="stFileChip"] button').first.click()
    _kept_none(asked)


def test_after_an_hour_it_is_gone(asked: Page) -> None:
    _under_way(asked)
    asked.unroute(UPLOADS)
    address = asked.url
    asked.goto("about:blank")
    asked.goto(re.sub("step=[^&]*", "step=half_neck", address))
    asked.locator(".st-key-ways_on").wait_for(timeout=60_000)
    assert len(asked.evaluate(KEPT)) == 1
    asked.evaluate(AGED)
    asked.goto(address)
    _field(asked)
    _kept_none(asked)
    assert asked.locator('[data-testid="stFileChip"]').count() == 0


def test_another_order_neither_sends_nor_ends_it(asked: Page, served: Alone) -> None:
    _under_way(asked)
    address = asked.url
    asked.unroute(UPLOADS)
    asked.goto(f"{served.address}/?begin=quick")
    asked.locator(".st-key-ways_on").wait_for(timeout=60_000)
    _at_photo(asked)
    _none_is_sent(asked)
    assert len(asked.evaluate(KEPT)) == 1
    # one page sends it, and another with the same order does not meanwhile
    _held_back(asked)
    asked.goto(address)
    expect(asked.get_by_text(WAS_ON_ITS_WAY)).to_be_visible(timeout=30_000)
    other = asked.context.new_page()
    other.goto(address)
    _field(other)
    _none_is_sent(other)


def test_an_order_that_is_deleted_leaves_none(asked: Page) -> None:
    _under_way(asked)
    asked.unroute(UPLOADS)
    asked.goto(re.sub("step=[^&]*", "step=half_neck", asked.url))
    asked.get_by_role("button", name="Menu").click()
    asked.get_by_text("Delete my order and its photos for good").click()
    asked.locator(".st-key-delete button:not([disabled])").click()
    asked.get_by_role("heading", name="Do the tape and the photo agree?").wait_for()
    _kept_none(asked)


def test_a_browser_that_keeps_nothing_sends_as_ever(served: Alone, visitors: Visitors) -> None:
    context = visitors.come(**PHONE, locale="en")
    context.add_init_script(
        "Object.defineProperty(window, 'indexedDB', { get() { throw new Error('no'); } });"
    )
    page = context.new_page()
    page.goto(f"{served.address}/?begin=quick")
    page.locator(".st-key-ways_on").wait_for(timeout=60_000)
    _choose(_at_photo(page))
    expect(page.get_by_text("Found, where it is outlined")).to_be_visible(timeout=60_000)
