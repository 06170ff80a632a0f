"""Signing in at the desk through an identity provider, in a browser with `photocheck serve`."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page, expect

from tests.support.command_line import line_of
from tests.support.pages import free_port
from tests.support.provider import Provider, running

pytestmark = pytest.mark.browser

FILE = """
staff = ["ada@example.org"]

[auth]
redirect_uri = "{page}/oauth2callback"
client_id = "photocheck"
client_secret = "a secret"
server_metadata_url = "{provider}/.well-known/openid-configuration"
"""


@pytest.fixture(scope="module")
def provider() -> Iterator[Provider]:
    with running(free_port()) as provider:
        yield provider


@pytest.fixture(scope="module")
def page_address(provider: Provider, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    folder = tmp_path_factory.mktemp("oidc")
    port = free_port()
    page = f"http://localhost:{port}"
    (folder / "provider.toml").write_text(FILE.format(page=page, provider=provider.address))
    command = [sys.executable, "-m", "photocheck", "serve", "--port", str(port)]
    command += ["--oidc", str(folder / "provider.toml"), "--store", str(folder / "orders.sqlite3")]
    with (folder / "log").open("wb") as log:
        server = subprocess.Popen(
            command, stdout=subprocess.PIPE, stderr=log, text=True, start_new_session=True
        )
    assert str(port) in line_of(server)
    yield page
    os.killpg(server.pid, signal.SIGINT)
    assert server.wait(15) == 0
    assert "Traceback" not in (folder / "log").read_text()


def come(chromium: Browser, page_address: str) -> Page:
    page = chromium.new_context(locale="en-GB").new_page()
    page.goto(f"{page_address}/desk")
    with page.expect_response(lambda answer: "/oauth2callback" in answer.url, timeout=30_000):
        page.get_by_role("button", name="Sign in through your organisation").click(timeout=30_000)
    page.wait_for_url(f"{page_address}/desk")
    return page


def test_who_is_named_and_verified_comes_in_and_out(
    chromium: Browser, provider: Provider, page_address: str
) -> None:
    provider.claims = {"email": "ada@example.org", "email_verified": True}
    page = come(chromium, page_address)
    expect(page.get_by_role("heading", name="Orders at the workshop")).to_be_visible(timeout=30_000)
    with page.expect_response(lambda answer: "/auth/logout" in answer.url, timeout=30_000):
        page.get_by_role("button", name="Sign out ada@example.org").click()
    page.wait_for_url(f"{page_address}/")
    page.wait_for_load_state("networkidle")
    page.goto(f"{page_address}/desk")
    expect(page.get_by_text("behind a password")).to_be_visible(timeout=30_000)
    page.context.close()


@pytest.mark.parametrize(
    "claims",
    [
        {"email": "eve@example.org", "email_verified": True},
        {"email": "ada@example.org", "email_verified": False},
        {"email": "ada@example.org"},
    ],
    ids=["another", "not verified", "not said"],
)
def test_nobody_else_comes_in(
    chromium: Browser, provider: Provider, page_address: str, claims: dict[str, object]
) -> None:
    provider.claims = claims
    page = come(chromium, page_address)
    expect(page.get_by_text("may not come to this desk")).to_be_visible(timeout=30_000)
    assert "Orders at the workshop" not in page.inner_text("body")
    page.context.close()
