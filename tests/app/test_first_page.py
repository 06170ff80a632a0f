"""The plain page before the app, and what the app's own page shows until its scripts are there."""

from __future__ import annotations

import asyncio
import base64
import gzip
import hashlib
import json
import re
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from typing import Any, Final

import pytest
from starlette.types import Receive, Scope, Send

from photocheck.orders.depths import DEPTHS
from photocheck.orders.draft import DogTold, Draft
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import open_store
from photocheck.server.access.passes import link_for
from photocheck.server.access.rates import Rates, TooOftenError
from photocheck.server.pace import Pace
from photocheck.server.serving import INVITED_VARIABLE
from photocheck.server.turns import Lines
from photocheck.words import SPANS
from photocheck_app import framework
from photocheck_app.doors import assets, awaited, first_page, middleware, shell
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.rate_limits import UNKNOWN_LINKS
from photocheck_app.doors.settings import close_stores
from tests.support.places import ROOT

MOST_BYTES: Final = 15_000
"""Of the page and its style, without the list of what is fetched afterwards."""


async def _app(scope: Scope, receive: Receive, send: Send) -> None:
    raise AssertionError("the page asked what stands behind the doors")


def _asked(address: str, **headers: str) -> tuple[int, dict[str, str], str]:
    path, _, query = address.partition("?")
    told = {"host": "shop.example", "accept": "text/html"} | headers
    scope: Scope = {
        "type": "http",
        "method": "GET",
        "scheme": "http",
        "path": path,
        "raw_path": path.encode(),
        "query_string": query.encode(),
        "root_path": "",
        "headers": [(k.replace("_", "-").encode(), v.encode()) for k, v in told.items()],
        "client": ("203.0.113.7", 50000),
    }
    sent: list[Any] = []

    async def receive() -> Any:
        return {"type": "http.request", "body": b""}

    async def send(message: Any) -> None:
        sent.append(message)

    asyncio.run(Guard(_app, self_test=lambda _: ())(scope, receive, send))
    given = {key.decode().lower(): value.decode() for key, value in sent[0]["headers"]}
    content = sent[1]["body"]
    if given.get("content-encoding") == "gzip":
        content = gzip.decompress(content)
    return sent[0]["status"], given, content.decode()


@pytest.fixture(autouse=True)
def _nobody_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(middleware, "COUNTS", Rates())
    for pace in ("REQUESTS", "PAGES"):
        monkeypatch.setattr(middleware, pace, Lines(Pace(1000, 1000)))
    monkeypatch.delenv(INVITED_VARIABLE, raising=False)


def test_it_is_read_without_scripts_or_store(monkeypatch: pytest.MonkeyPatch) -> None:
    # A store that nobody can open: whoever asked for it would fail.
    monkeypatch.setenv(STORE_VARIABLE, "/nowhere/that/is/orders.sqlite3")
    status, given, page = _asked("/")
    assert (status, given["content-type"]) == (200, "text/html; charset=utf-8")
    assert "<script" not in page
    assert len(page[: page.index('<link rel="modulepreload"')]) < MOST_BYTES
    assert {"begin", "step"} == set(re.findall(r'href="\./\?(\w+)=(?:quick|careful|sample)"', page))
    assert 'href="./sheet"' in page
    assert 'href="./practise"' in page


def test_it_keeps_every_header_and_no_cache_has_it() -> None:
    _, given, _ = _asked("/")
    assert given.keys() >= {name.lower() for name in middleware.SAFE_HEADERS}
    policy = dict(
        part.strip().split(" ", 1) for part in given["content-security-policy"].split(";")
    )
    # Firefox holds what is fetched ahead against the default; all that runs or shows is named.
    assert policy["default-src"] == policy["script-src"] == policy["font-src"] == "'self'"
    assert policy["img-src"] == "data:"
    shut = {"connect", "frame", "media", "object", "worker", "manifest"}
    assert {policy[f"{one}-src"] for one in shut} == {"'none'"}
    assert {policy[one] for one in ("base-uri", "form-action", "frame-ancestors")} == {"'none'"}
    assert "unsafe" not in given["content-security-policy"]
    assert given["cache-control"] == "no-cache"
    assert {"accept-language", "save-data"} <= set(given["vary"].lower().split(", "))
    assert "set-cookie" in given
    tag = given["etag"]
    assert _asked("/", if_none_match=tag)[0] == 304
    assert _asked("/", if_none_match=tag, accept_language="de")[0] == 200


@pytest.mark.parametrize(
    "query", ["order=x", "step=photo", "begin=quick", "begin=", "order=x&step=marks&language=de"]
)
def test_what_is_the_apps_goes_to_the_app(query: str) -> None:
    assert '<div id="root">' in _asked(f"/?{query}")[2]


@pytest.mark.parametrize("query", ["", "language=de", "language=xx", "utm_source=letter", "a=b&c"])
def test_all_else_at_the_root_is_the_first_page(query: str) -> None:
    assert "begin=quick" in _asked(f"/?{query}")[2]


@pytest.mark.parametrize("path", ["/practise", "/sheet", "/desk"])
def test_other_pages_are_the_apps(path: str) -> None:
    assert '<div id="root">' in _asked(path)[2]


@pytest.mark.parametrize(
    ("asked", "there"),
    [("/owner", "/"), ("/owner/", "/"), ("/owner?order=x&step=photo", "/?order=x&step=photo")],
)
def test_the_owners_way_is_at_the_root(asked: str, there: str) -> None:
    # By its name Streamlit says that there is no such page.
    status, given, _ = _asked(asked)
    assert (status, given["location"]) == (307, there)
    assert given["cache-control"] == "no-store"  # an owner's link is in it


def test_it_speaks_as_asked_and_its_links_go_on_so() -> None:
    assert 'lang="de"' in _asked("/", accept_language="de-AT,en;q=0.5")[2]
    chosen = _asked("/?language=de", accept_language="en")[2]
    assert '<html lang="de">' in chosen
    assert "begin=careful&amp;language=de" in chosen
    assert 'href="./sheet?language=de"' in chosen
    assert 'href="./?language=en"' in chosen


def test_by_invitation_only_nothing_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(INVITED_VARIABLE, "yes")
    page = _asked("/")[2]
    assert "begin=" not in page
    assert "open the link that the workshop has sent" in page


def test_what_it_fetches_is_there_and_nothing_is_fetched_of_who_pays() -> None:
    page = _asked("/")[2]
    fetched = re.findall(r'<link rel="(?:modulepreload|prefetch)"[^>]*href="\.([^"]+)"', page)
    assert len(fetched) > 60
    assert set(fetched) <= framework.static_files()
    assert set(framework.first_scripts()) <= set(fetched)
    assert "modulepreload" not in _asked("/", save_data="on")[2]


def test_the_promises_are_the_published_figures() -> None:
    figures = (ROOT / "photocheck" / "benchmark" / "FIGURES.md").read_text(encoding="utf-8")
    rows = {
        "quick": "One photo, each reading once",
        "careful": "Each reading twice, the ring, a photo from the front",
    }
    for name, row in rows.items():
        found = re.search(rf"\| {row} \| [\d.]+ \| [\d.]+ \| ([\d/ ]+) \|", figures)
        assert found, row
        published = [float(share) / 100 for share in found[1].split("/")][: len(SPANS)]
        assert list(DEPTHS[name].caught.values()) == published


# -- the app's own page -------------------------------------------------------------------


def test_until_the_scripts_come_something_is_said() -> None:
    page = _asked("/?step=sample", accept_language="de")[2]
    root = page[page.index('<div id="root">') : page.index('<script type="application')]
    assert "geladen" in root
    assert '<html lang="de">' in page
    assert "Streamlit</title>" not in page
    assert "_stcore/agent" not in page  # it is shut


def test_our_scripts_are_served_to_be_kept() -> None:
    for path in shell.scripts():
        status, given, content = _asked(path)
        assert (status, given["content-type"]) == (200, "text/javascript")
        assert "immutable" in given["cache-control"]
        assert content.encode() == shell.scripts()[path]
        later = path.rpartition("/")[2].split(".")[0] in shell.LATER
        assert (f'src=".{path}"' in _asked("/practise")[2]) != later
        # one brings another by the address that says what is in it
        for brought in re.findall(rb'"\./(.*?\.js)"', shell.scripts()[path]):
            assert f"/static/photocheck/{brought.decode()}" in shell.scripts()


def test_our_scripts_know_what_to_say_in_every_language() -> None:
    page = _asked("/practise")[2]
    found = re.search(r'id="photocheck-texts">(.*?)</script>', page)
    assert found
    told = json.loads(found[1])
    assert set(told) == {"en", "de"}
    assert told["en"].keys() == told["de"].keys()
    assert all(told["en"][name] != told["de"][name] for name in told["en"])


def test_the_page_of_another_streamlit_is_left_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(framework, "_index", lambda: "<html><div id=other></div></html>")
    assert framework.page_with({"root": "x", "title": "y"}) == "<html><div id=other></div></html>"


def test_its_own_style_is_what_the_policy_allows() -> None:
    _, given, page = _asked("/")
    style = page[page.index("<style>") + 7 : page.index("</style>")]
    assert style == first_page._style("")
    assert " style=" not in page
    assert re.search(r"style-src 'self' 'sha256-[^']+'", given["content-security-policy"])


def test_the_workshop_is_named_in_its_own_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on the app's pages; in what the page's policy allows, and nothing of it is a tag."""
    assert '<p class="shop">' not in _asked("/")[2]
    monkeypatch.setenv("PHOTOCHECK_SHOP", "Harness & <b>Thread")
    monkeypatch.setenv("PHOTOCHECK_SHOP_REACH", "harness@example.org")
    monkeypatch.setenv("PHOTOCHECK_SHOP_COLOUR", "#7a1f4e")
    _, given, page = _asked("/")
    assert "<strong>Harness &amp; &lt;b&gt;Thread</strong> <span>harness@example.org</span>" in page
    style = page[page.index("<style>") + 7 : page.index("</style>")]
    assert style.endswith(".shop{border-color:#7a1f4e}\n")
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    assert f"'sha256-{digest}'" in given["content-security-policy"]
    monkeypatch.setenv("PHOTOCHECK_SHOP_COLOUR", "red}</style><script>")
    assert "red}" not in _asked("/")[2]


@pytest.fixture
def linked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The address of an order for a dog whose name would be a script."""
    address = str(tmp_path / "orders.sqlite3")
    with closing(open_store(address)) as store:
        key = store.open("en")
        draft = Draft(dog=DogTold(name="<script>Pip</script>"), readings={"half_neck": "41"})
        store.save_draft(key, draft)
        link = link_for(store, key, by="a test")
    monkeypatch.setenv(STORE_VARIABLE, address)
    monkeypatch.setattr(awaited, "COUNTS", Rates())
    yield f"/?order={link}"
    close_stores()


def test_who_comes_by_a_link_reads_where_the_order_stands_before_the_app_is_there(
    linked: str,
) -> None:
    status, given, page = _asked(linked)
    assert status == 200
    assert "<h1>Your order for &lt;script&gt;Pip&lt;/script&gt;</h1>" in page
    assert "It goes on with: " in page
    # One person's own: no cache between keeps it, and no search engine.
    assert given["cache-control"] == "no-store"
    assert given["x-robots-tag"] == "noindex"
    assert "Es geht weiter mit" in _asked(linked, accept_language="de")[2]


def test_a_link_that_leads_nowhere_tells_nothing_and_is_counted(
    linked: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    counted: list[tuple[str, str]] = []
    monkeypatch.setattr(Rates, "count", lambda self, what, who: counted.append((what, who)))
    _, given, page = _asked(f"{linked}x")
    assert "<h1>" not in page
    assert given["cache-control"] == "no-cache"
    assert [what for what, _ in counted] == [UNKNOWN_LINKS]


def test_who_tried_too_many_links_is_told_of_none(
    linked: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(self: Rates, what: str, who: str) -> None:
        raise TooOftenError("too often")

    monkeypatch.setattr(Rates, "refuse_beyond", refuse)
    assert "<h1>" not in _asked(linked)[2]


def test_with_the_store_away_a_link_leads_to_the_app_that_says_so(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv(STORE_VARIABLE, "/nowhere/that/is/orders.sqlite3")
    status, _, page = _asked("/?order=abc")
    assert status == 200
    assert 'class="pc-wait" role="status"' in page


def test_a_store_that_is_slow_holds_nobody_up(linked: str, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(assets, "PATIENCE_S", 0.0)  # whatever takes any time is late
    monkeypatch.setattr(assets, "awaited", lambda *_: "told late")
    assert "told late" not in _asked(linked)[2]
