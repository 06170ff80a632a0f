"""Other programs' tokens: shown once, kept as hashes, ended for good."""

from __future__ import annotations

import hashlib
from contextlib import closing
from pathlib import Path

import pytest

from photocheck.cli.main import run
from photocheck.orders.store import DatabaseStore, open_store
from photocheck.orders.store import kept_clients as kept
from photocheck.orders.store.copies import back_up, restore
from photocheck.server.access.clients import (
    TOKEN_FORM,
    ClientError,
    calls_to,
    end_client,
    make_client,
    recognised_client,
    renew_client,
)
from photocheck.server.access.staff import StaffError


@pytest.fixture(autouse=True)
def _own_data(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))


def known(store: DatabaseStore, token: str) -> str:
    found = recognised_client(store, token)
    return "" if found is None else found.name


def test_a_token_opens_until_it_is_ended(store: DatabaseStore) -> None:
    assert not kept.any_client(store)
    token = make_client(store, "Web  shop")
    assert TOKEN_FORM.fullmatch(token)
    assert (known(store, token), kept.any_client(store)) == ("Web shop", True)
    second = renew_client(store, "WEB shop")
    assert (known(store, token), known(store, second)) == ("", "Web shop")
    end_client(store, "web shop")
    assert (known(store, second), kept.any_client(store)) == ("", False)
    (one,) = kept.every_client(store)
    assert (one.name, one.open) == ("Web shop", False)
    assert known(store, renew_client(store, "Web shop")) == "Web shop"


def test_what_is_no_token_opens_nothing(store: DatabaseStore) -> None:
    token = make_client(store, "Shop")
    digest = hashlib.sha256(token.encode()).hexdigest()
    for wrong in (
        "",
        token[:-1],
        token + "x",
        token.upper(),
        digest,
        "photocheck_",
        "\0",
        "ü" * 54,
    ):
        assert known(store, wrong) == ""


def test_the_store_holds_the_hash_alone(tmp_path: Path) -> None:
    with closing(open_store(str(tmp_path / "orders"))) as store:
        token = make_client(store, "Shop")
        back_up(store, tmp_path / "copy")
    for file in ("orders", "copy"):
        content = (tmp_path / file).read_bytes()
        assert token.encode() not in content
        assert token.removeprefix("photocheck_").encode() not in content
        assert hashlib.sha256(token.encode()).hexdigest().encode() in content


def test_names_that_are_taken_or_cannot_be_are_refused(store: DatabaseStore) -> None:
    make_client(store, "Shop")
    with pytest.raises(ClientError, match="already"):
        make_client(store, "SHOP")
    for wrong in ("owner", "", "x" * 61):
        with pytest.raises(StaffError):
            make_client(store, wrong)
    for act in (renew_client, end_client):
        with pytest.raises(ClientError, match="no client called"):
            act(store, "Nobody")


@pytest.mark.parametrize(
    "wrong", ["", "https://a.example", "a.example/b", "me@a.example", "a b", "a:0", "a:x", "ä.de"]
)
def test_what_is_no_host_is_refused(wrong: str) -> None:
    with pytest.raises(ClientError):
        calls_to([wrong])


def test_a_copy_put_back_opens_nothing_that_was_ended_since(address: str, tmp_path: Path) -> None:
    with closing(open_store(address)) as store:
        ended, left = make_client(store, "Ended"), make_client(store, "Left")
        back_up(store, tmp_path / "copy")
        end_client(store, "Ended")
    restore(address, tmp_path / "copy")
    with closing(open_store(address)) as store:
        assert (known(store, ended), known(store, left)) == ("", "Left")
        # New rows get numbers that none has had.
        make_client(store, "New")


def test_the_commands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at = ["--store", str(tmp_path / "orders")]
    assert run(["client", "add", "Shop", "--own-orders", "--calls", "hooks.example", *at]) == 0
    said = capsys.readouterr()
    token = said.out.strip()  # alone on standard output, for scripts
    assert TOKEN_FORM.fullmatch(token)
    assert "shown once" in said.err
    assert run(["client", "token", "Shop", "--calls", "127.0.0.1:9000", "--private", *at]) == 0
    assert capsys.readouterr().out.strip() != token
    with closing(open_store(at[1])) as store:
        (one,) = kept.every_client(store)
        assert one.calls == kept.Calls(("127.0.0.1:9000",), private=True)
        assert one.sees == kept.OWN
    assert run(["client", "list", *at]) == 0
    assert "own orders" in capsys.readouterr().out
    assert run(["client", "remove", "shop", *at]) == 0
    assert run(["client", "remove", "nobody", *at]) == 2
    assert run(["client", "list", *at]) == 0
    assert "removed" in capsys.readouterr().out


def test_each_client_is_open_by_its_own_token(store: DatabaseStore) -> None:
    ended, _ = make_client(store, "Zeta"), make_client(store, "Alpha")
    end_client(store, "Zeta")
    assert [(one.name, one.open) for one in kept.every_client(store)] == [
        ("Alpha", True),
        ("Zeta", False),
    ]
    assert kept.any_client(store)
    assert known(store, ended) == ""
    # whom it may have called back stays, unless another is said
    for calls in (None, calls_to(["hooks.example"], private=True), None):
        assert renew_client(store, "Alpha", calls=calls)
    assert kept.every_client(store)[0].calls == kept.Calls(("hooks.example",), private=True)


def test_so_many_hosts_may_be_named_each_once() -> None:
    hosts = [f"h{number}.example" for number in range(20)]
    assert calls_to(hosts).hosts == tuple(hosts)
    assert calls_to([*hosts[:5], "H0.example", " h1.example "]).hosts == tuple(hosts[:5])
    with pytest.raises(ClientError, match="at most 20"):
        calls_to([*hosts, "h.example"])
    assert calls_to(["[::1]:9000", "a.example:65535"]).hosts == ("[::1]:9000", "a.example:65535")
    assert (calls_to([]).private, calls_to([], private=True).private) == (False, True)


@pytest.mark.parametrize("wrong", ["a:65536", "me:pw@a", "@a", "a#b", "a?b", "a\tb"])
def test_what_stands_around_a_host_is_refused(wrong: str) -> None:
    with pytest.raises(ClientError):
        calls_to([wrong])
