"""Several servers on one PostgreSQL behind nginx with TLS, started as the help for workshops says.

What a browser sees when one of them, or the database, dies: tests/browser/test_failover.py.
"""

from __future__ import annotations

import asyncio
import signal
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
import requests
from requests import Response

from photocheck.orders.store import DatabaseStore, open_store
from photocheck.server.access import passes, staff
from photocheck.server.access.addresses import DESK_COOKIE
from photocheck.server.access.rates import RATES
from tests.support.behind_proxy import NAMES, Behind, behind_proxy
from tests.support.store_database import new_database
from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner, play_all
from tests.support.waiting import until

pytestmark = pytest.mark.slow

PASSWORD = "four brown ropes drying"
AT = "photocheck_at"


@pytest.fixture(scope="module")
def behind(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Behind]:
    databases = new_database()
    with behind_proxy(next(databases), tmp_path_factory.mktemp("several")) as behind:
        yield behind
    assert not [name for name in NAMES if "Traceback" in behind.log(name).read_text()]
    next(databases, None)


@pytest.fixture
def orders(behind: Behind) -> Iterator[DatabaseStore]:
    with closing(open_store(behind.store)) as store:
        yield store


def browser(behind: Behind, at: str) -> requests.Session:
    """Somebody whose page was opened at one of them."""
    session = requests.Session()
    session.trust_env = False
    session.verify = str(behind.certificate)
    session.cookies.set(AT, at)
    return session


def sign_in(behind: Behind, at: requests.Session, name: str, password: str) -> int:
    told = {"act": "in", "name": name, "password": password}
    answer = at.post(f"{behind.address}/staff", data=told, allow_redirects=False, timeout=30)
    return answer.status_code


def test_owners_at_both_lose_nothing_and_each_stays_where_the_page_was_opened(
    behind: Behind, tmp_path: Path
) -> None:
    visitors = [told_by(number) for number in range(4)]
    owners = [Owner(behind.address, told, trusted=behind.certificate) for told in visitors]
    play_all(owners)
    told = {owner.told.name: owner.headline for owner in owners}
    assert wrongs(behind.store, visitors, told) == []
    assert {owner.wire.cookie(AT) for owner in owners} == set(NAMES)


def test_who_signs_in_at_one_is_in_at_the_other_until_out_at_either(
    behind: Behind, orders: DatabaseStore
) -> None:
    staff.add(orders, "Ada", PASSWORD)
    ada = browser(behind, "one")
    assert sign_in(behind, ada, "Ada", PASSWORD) == 303
    desk = next(one.value for one in ada.cookies if one.name == f"__Host-{DESK_COOKIE}")
    assert passes.at_desk(orders, str(desk)) == "Ada"
    for name in NAMES:
        ada.cookies.set(AT, name)
        assert "signed in as Ada" in ada.get(f"{behind.address}/staff", timeout=30).text
    kept = {one.name: str(one.value) for one in ada.cookies}
    ada.post(f"{behind.address}/staff", data={"act": "out"}, timeout=30)
    for name in NAMES:
        again = browser(behind, name)
        answer = again.get(f"{behind.address}/staff", cookies={**kept, AT: name}, timeout=30)
        assert "signed in as Ada" not in answer.text


def test_wrong_passwords_are_counted_across_both_and_beyond_their_ends(
    behind: Behind, orders: DatabaseStore
) -> None:
    staff.add(orders, "Ben", PASSWORD)
    at = {name: browser(behind, name) for name in NAMES}
    most = RATES["failed sign in as, from address"].amount
    names = sorted(NAMES) * (most // 2)
    said = [sign_in(behind, at[name], "Ben", f"not {PASSWORD}") for name in names]
    assert said == [401] * most
    behind.kill("one")
    behind.start("one")
    for name in NAMES:
        assert sign_in(behind, browser(behind, name), "Ben", PASSWORD) == 429


NOTICED_S = 6.0
"""As the recipe has it."""


def page(behind: Behind) -> tuple[Response, float]:
    """The page, asked for by a browser whose page was opened at the first; and how long it took."""
    began = time.monotonic()
    answer = browser(behind, "one").get(f"{behind.address}/", timeout=60)
    return answer, time.monotonic() - began


def test_one_that_hangs_whole_keeps_nobody_waiting_for_long(behind: Behind) -> None:
    behind.hang_whole("one")
    try:
        with ThreadPoolExecutor(2) as several:  # a browser asks for several things at once
            asked = [several.submit(page, behind) for _ in range(2)]
        for answer, took in (one.result() for one in asked):
            assert answer.status_code == 200
            assert NOTICED_S <= took < 2 * NOTICED_S
        for _ in range(5):
            answer, took = page(behind)
            assert answer.status_code == 200
            assert took < NOTICED_S  # it is not asked again
    finally:
        behind.go_on("one")


def test_one_that_hangs_is_ended_and_what_was_sent_to_it_is_sent_to_no_other(
    behind: Behind, orders: DatabaseStore
) -> None:
    until(lambda: asked_by(behind, "one"), "the first is asked again")
    staff.add(orders, "Cleo", PASSWORD)
    behind.hang("one")
    assert sign_in(behind, browser(behind, "one"), "Cleo", "wrong") in (502, 504)
    until(lambda: behind.ended("one") is not None, "it is ended")
    assert behind.ended("one") == -signal.SIGKILL
    assert "did not go on for 15 s" in behind.log("one").read_text()
    behind.kill("one")
    # none of the guesses that are allowed was counted at the other
    most = RATES["failed sign in as, from address"].amount
    other = browser(behind, "two")
    assert [sign_in(behind, other, "Cleo", "wrong") for _ in range(most)] == [401] * most
    assert sign_in(behind, other, "Cleo", "wrong") == 429
    behind.start("one")


def asked_by(behind: Behind, name: str) -> bool:
    """Whether the proxy leads there again whose page was opened there."""
    visitor = Owner(behind.address, told_by(99), trusted=behind.certificate)
    visitor.wire._http.cookies.set(AT, name)
    asyncio.run(_opened(visitor))
    return visitor.wire.cookie(AT) == name


async def _opened(visitor: Owner) -> None:
    try:
        await visitor.wire.open("/")
    finally:
        await visitor.wire.close()
