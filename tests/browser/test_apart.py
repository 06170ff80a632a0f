"""Kept apart in a real browser, with `photocheck serve`: staff sign in, owners see one order each.

Two owners try everything that could lead from one's order to the other's.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from urllib.parse import quote, urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, FilePayload, Page, Request, expect
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.sync.client import connect
from websockets.typing import Subprotocol

from photocheck.case.samples import samples_folder
from photocheck.orders.draft import Draft
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access import staff
from photocheck.server.access.passes import LINK_DAYS, link_for, links_of, order_of
from photocheck.server.run import run_check
from tests.support.command_line import line_of
from tests.support.pages import SAID, free_port, rests
from tests.support.typed_takes import only_typed

pytestmark = pytest.mark.browser

PASSWORD = "four brown ropes drying"
PHONE: dict[str, Any] = {"viewport": {"width": 390, "height": 844}, "locale": "en-GB"}
DESK: dict[str, Any] = {"viewport": {"width": 1366, "height": 768}, "locale": "en-GB"}
STEPS = ("half_neck", "readings", "dog", "photo", "marks", "result")


@dataclass(frozen=True)
class Served:
    """The app as `photocheck serve` runs it, and its store."""

    address: str
    store: DatabaseStore
    log: Path


@pytest.fixture(scope="module")
def served(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("doors")
    file, port, log = folder / "orders.sqlite3", free_port(), folder / "log"
    store = open_store(str(file))
    staff.add(store, "Ada", PASSWORD)
    with log.open("wb") as errors:
        server = subprocess.Popen(
            [
                sys.executable,
                "-m",
                "photocheck",
                "serve",
                "--port",
                str(port),
                "--store",
                file,
            ],
            stdout=subprocess.PIPE,
            stderr=errors,
            text=True,
            start_new_session=True,
        )
    assert f"http://127.0.0.1:{port}" in line_of(server)
    yield Served(f"http://127.0.0.1:{port}", store, log)
    store.close()
    os.killpg(server.pid, signal.SIGINT)
    assert server.wait(15) == 0
    assert "Traceback" not in log.read_text()


@pytest.fixture
def phone(chromium: Browser) -> Iterator[BrowserContext]:
    context = chromium.new_context(**PHONE)
    yield context
    context.close()


@pytest.fixture
def desk(served: Served, chromium: Browser) -> Iterator[Page]:
    """The desk, signed in."""
    context = chromium.new_context(**DESK)
    page = context.new_page()
    page.goto(f"{served.address}/desk")
    page.get_by_role("link", name="Sign in").click()
    sign_in(page, PASSWORD)
    expect(page.get_by_role("heading", name="Orders at the workshop")).to_be_visible(timeout=30_000)
    yield page
    context.close()


def sign_in(page: Page, password: str) -> None:
    page.get_by_label("Name").fill("Ada")
    page.get_by_label("Password").fill(password)
    page.get_by_role("button", name="Sign in").click()


def with_photo(served: Served, name: str, *, half_neck: str) -> str:
    """An order with a photo, sent by its owner; gives its key."""
    folder = samples_folder() / "flint"
    data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    data["name"] = name
    data["dog"]["name"] = name
    data["readings"]["half_neck"] = half_neck
    photo = (folder / "side.jpg").read_bytes()
    key = bring_in(
        served.store, ("case.json", json.dumps(data).encode()), [("side.jpg", photo)]
    ).key
    run_check(served.store, key, by="owner")
    return key


def settled(page: Page, address: str) -> str:
    """All that a page says once it rests, with what stands in its fields."""
    page.goto(address)
    page.locator(
        "main :is(h1, h2, h3), [data-testid=stMain] :is(h1, h2, h3, [role=alert])"
    ).first.wait_for(timeout=30_000)
    if page.locator(".stApp").count():  # the first page stands by itself
        rests(page)
    return str(page.evaluate(SAID))


def test_nobody_comes_to_the_desk_without_the_password(
    served: Served, chromium: Browser, phone: BrowserContext
) -> None:
    key = with_photo(served, "Zephyrine", half_neck="41.7")
    page = phone.new_page()
    for place in ("/desk", f"/desk?case={key}", f"/desk?case={key}&do=marks", "/desk?by=Ada"):
        said = settled(page, served.address + place)
        assert "behind a password" in said
        assert "Zephyrine" not in said
    page.get_by_role("link", name="Sign in").click()
    sign_in(page, "not the password")
    expect(page.get_by_role("alert")).to_contain_text("do not belong together")
    sign_in(page, PASSWORD)
    expect(page.get_by_text("Zephyrine").first).to_be_visible(timeout=30_000)
    # Signed out in one window, the other shows nothing more either.
    other = phone.new_page()
    other.goto(f"{served.address}/staff")
    other.get_by_role("button", name="Sign out").click()
    expect(other.get_by_label("Password")).to_be_visible()
    page.get_by_role("button", name="Zephyrine").click()
    expect(page.get_by_text("behind a password")).to_be_visible(timeout=30_000)
    assert "Zephyrine" not in page.inner_text("body")


def test_an_invited_owner_sends_and_the_desk_sees_it_at_once(
    served: Served, desk: Page, phone: BrowserContext
) -> None:
    desk.get_by_role("button", name="Invite an owner").click()
    desk.get_by_label("Name of the order").fill("Quillon, sledge one")
    desk.get_by_role("button", name="Begin and make the link").click()
    expect(desk.get_by_text("Send this to the owner.")).to_be_visible(timeout=30_000)
    address = desk.locator("[data-testid=stPopoverBody] code").inner_text()
    link = address.partition("order=")[2]
    key = order_of(served.store, link)
    desk.keyboard.press("Escape")
    owner = phone.new_page()
    owner.goto(address)
    owner.get_by_label("Half neck in centimetres").fill("38,4")
    owner.get_by_label("Half neck in centimetres").press("Tab")
    expect(owner.get_by_text("38.4 cm =")).to_be_visible(timeout=30_000)
    assert only_typed(served.store.order(key).draft.to_dict())["readings"] == {"half_neck": "38,4"}
    # The rest as if filled in by hand; what counts here is who sees it.
    folder = samples_folder() / "sorrel"
    data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
    name = served.store.keep_photo(key, (folder / "side.jpg").read_bytes())
    data["photos"][0]["file"] = name
    served.store.save_draft(key, Draft.from_dict(data | {"name": "Quillon, sledge one"}))
    owner.goto(f"{address}&step=result")
    owner.get_by_role("button", name="Send to the workshop").click(timeout=60_000)
    owner.get_by_role("button", name="Send", exact=True).click(timeout=30_000)
    expect(owner.get_by_text("Sent to the workshop.")).to_be_visible(timeout=30_000)
    row = desk.locator(".st-key-desk_list")
    expect(row.get_by_text("Quillon, sledge one")).to_be_visible(timeout=15_000)
    expect(row.get_by_text("waiting").first).to_be_visible(timeout=15_000)
    # Taken back, the link opens nothing, also in the window that is open already.
    desk.get_by_role("button", name="Quillon, sledge one").click()
    desk.get_by_text("Links for the owner (1)").click(timeout=30_000)
    desk.get_by_role("button", name="Take back").click()
    expect(desk.get_by_text("No link opens this order now.")).to_be_visible(timeout=30_000)
    owner.get_by_role("button", name="Menu").click()
    owner.get_by_role("button", name="All readings").click()
    expect(owner.get_by_text("no longer valid")).to_be_visible(timeout=30_000)
    assert "38,4" not in settled(owner, address)
    (ended,) = links_of(served.store, key)
    assert (ended.by, (ended.expires - ended.at).days) == ("Ada", LINK_DAYS - 1)


def test_one_owner_never_sees_the_others_order(served: Served, chromium: Browser) -> None:
    """Every page, parameter, identifier and media address of the one, tried by the other."""
    mine, theirs = (
        with_photo(served, "Marigold", half_neck="42.3"),
        with_photo(served, "Thunderclap", half_neck="43.9"),
    )
    link, their_link = (link_for(served.store, key, by="Ada") for key in (mine, theirs))
    secret = ("Thunderclap", "43.9", "43,9")
    contexts = [chromium.new_context(**PHONE) for _ in range(2)]
    me, other = (context.new_page() for context in contexts)
    seen: list[Request] = []
    other.on("request", lambda request: seen.append(request))
    told = " ".join(settled(other, at(served, order=their_link, step=step)) for step in STEPS)
    assert "Thunderclap" in told
    assert "43.9" in told
    # what the desk's own pages serve of that order
    staff_context = chromium.new_context(**DESK)
    staff_page = staff_context.new_page()
    staff_page.on("request", lambda request: seen.append(request))
    staff_page.goto(f"{served.address}/staff")
    sign_in(staff_page, PASSWORD)
    for place in (f"/desk?case={theirs}", f"/desk?case={theirs}&do=marks"):
        assert "Thunderclap" in settled(staff_page, served.address + place)
    paths = {urlsplit(r.url).path for r in seen}
    media = sorted(path for path in paths if path.startswith("/media/"))
    assert media, "no page showed a photo"
    for path in media:
        assert contexts[0].request.get(served.address + path).status == 404, path
    assert any(contexts[1].request.get(served.address + path).ok for path in media)
    # their page's session, named by my browser: a new one begins, which knows nothing of theirs
    settled(other, at(served, order=their_link, step="photo"))
    with other.expect_request(lambda request: "/upload_file/" in request.url) as put:
        note = FilePayload(name="note.jpg", mimeType="image/jpeg", buffer=b"no photo")
        other.locator("input[type=file]").set_input_files(note)
    session = urlsplit(put.value.url).path.split("/")[-2]
    for method in ("PUT", "DELETE", "OPTIONS"):
        place = urlsplit(put.value.url).path
        answer = contexts[0].request.fetch(served.address + place, method=method, data=b"x")
        assert answer.status == 404, method
    contexts[1].set_offline(True)
    other.close()
    assert session_begun(served, contexts[0], session) != session
    # ... while the browser it belongs to goes on with it
    assert session_begun(served, contexts[1], session) == session
    # every address that could lead to it
    their_hash = links_of(served.store, theirs)[0].sha256
    number = served.store.order(theirs).checks[0].number
    body, moment, _ = their_link.split(".")
    _, my_moment, my_signed = link.split(".")
    keys = [
        theirs,
        their_hash,
        body,
        f"{body}.{my_moment}.{my_signed}",
        f"{body}.{moment}.{my_signed}",
        f"{link}{their_link}",
        session,
    ]
    parts: list[dict[str, Any]] = [{"order": key} for key in keys]
    parts += [{"order": link, "step": step, "case": theirs} for step in ("marks", "result")]
    parts += [{"order": link, "check": number, "do": "marks", "case": theirs, "by": "Ada"}]
    parts += [{"case": theirs}, {"order": link, "step": theirs}, {"order": link, "key": theirs}]
    few = ({"order": theirs}, {"case": theirs})
    for words in parts:
        pages = ("", "owner", "desk", "practise", "sheet") if words in few else ("", "desk")
        for page in pages:
            said = settled(me, at(served, page, **words))
            assert not any(word in said for word in secret), (page, words)
    # two orders in one address: mine or nothing, never both
    both = f"{served.address}/?order={quote(link)}&order={quote(theirs)}&step=readings"
    assert not any(word in settled(me, both) for word in secret)
    # and the pages' own ways of asking
    for path in ("photos", "orders", "api", "file", "_stcore/upload_file/x", "component/x"):
        answer = contexts[0].request.get(f"{served.address}/{path}/{theirs}/photo-1.jpg")
        assert "Thunderclap" not in answer.text()
        assert not answer.headers.get("content-type", "").startswith("image/")
    # mine is still mine
    assert "Marigold" in settled(me, at(served, order=link, step="dog"))
    for context in (*contexts, staff_context):
        context.close()


def at(served: Served, page: str = "", **parts: Any) -> str:
    words = "&".join(f"{name}={quote(str(value))}" for name, value in parts.items())
    return f"{served.address}/{page}?{words}"


def session_begun(served: Served, browser: BrowserContext, asked: str) -> str:
    """The session a page gets that asks, with this browser's cookies, to go on with one."""
    cookies = "; ".join(f"{one['name']}={one['value']}" for one in browser.cookies())
    address = served.address.replace("http", "ws", 1) + "/_stcore/stream"
    with connect(
        address,
        subprotocols=[Subprotocol(word) for word in ("streamlit", "no-token", asked)],
        additional_headers={"Cookie": cookies},
    ) as socket:
        wanted = BackMsg()
        wanted.rerun_script.query_string = ""
        socket.send(wanted.SerializeToString())
        for _ in range(50):
            message = ForwardMsg()
            message.ParseFromString(socket.recv(timeout=30, decode=False))
            if message.WhichOneof("type") == "new_session":
                return str(message.new_session.initialize.session_id)
    raise AssertionError("no session began")
