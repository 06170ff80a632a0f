"""Where a server may call: the shop's list, addresses that are everybody's, and no redirect.

Special addresses are those of IANA's registries (RFC 6890), as examples from their own documents.
"""

from __future__ import annotations

import datetime as dt
import http.server
import ipaddress
import socket
import ssl
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import NameOID

from photocheck.orders.store.kept_clients import Calls
from photocheck.server.hooks import calling, reach
from photocheck.server.hooks.calling import CallError, call
from photocheck.server.hooks.reach import (
    CallPlace,
    ReachError,
    is_everybodys,
    place_of,
    refuse_address,
)
from tests.support.programs import listening_program

PUBLIC = ["93.184.216.34", "8.8.8.8", "2606:2800:220:1:248:1893:25c8:1946"]
SPECIAL = [
    "127.0.0.1",
    "10.1.2.3",
    "172.16.0.1",
    "192.168.1.7",
    "169.254.169.254",  # where clouds keep their machines' secrets
    "100.64.0.1",
    "0.0.0.0",
    "192.0.2.1",
    "198.18.0.1",
    "224.0.0.1",
    "240.0.0.1",
    "255.255.255.255",
    "::",
    "::1",
    "fe80::1",
    "fc00::1",
    "fec0::1",
    "ff02::1",
    "2001:db8::1",
    "::ffff:10.0.0.1",
    "::ffff:127.0.0.1",
    "64:ff9b::a00:1",
    "2002:a00:1::1",
    "2001:0:a00:1::1",
]
HOOKS = Calls(("hooks.example", "hooks.example:8443", "127.0.0.1:9000", "[::1]:9000"))


def looked_up(*addresses: str) -> Any:
    def look_up(host: str, port: int, **_: Any) -> list[Any]:
        return [(0, 0, 0, "", (address, port)) for address in addresses]

    return look_up


@pytest.mark.parametrize("address", PUBLIC)
def test_what_is_everybodys_may_be_called(address: str) -> None:
    assert is_everybodys(ipaddress.ip_address(address))
    place = place_of("https://hooks.example/a?b=c", HOOKS, look_up=looked_up(address))
    assert place == CallPlace(address, "hooks.example", 443, True, "/a?b=c")


@pytest.mark.parametrize("address", SPECIAL)
def test_a_name_that_leads_into_a_private_network_is_not_followed(address: str) -> None:
    assert not is_everybodys(ipaddress.ip_address(address))
    for found in ([address], [PUBLIC[0], address], [address, PUBLIC[0]]):
        with pytest.raises(ReachError) as refused:
            place_of("https://hooks.example/", HOOKS, look_up=looked_up(*found))
        assert refused.value.status == 403
    private = Calls(HOOKS.hosts, private=True)
    assert place_of("https://hooks.example/", private, look_up=looked_up(address)).encrypted


def test_only_hosts_and_ports_that_the_shop_has_named() -> None:
    for right in (
        "https://hooks.example",
        "https://HOOKS.example:443/x",
        "https://hooks.example:8443/",
        "http://127.0.0.1:9000/",
        "https://127.0.0.1:9000/",
        "http://[::1]:9000/",
    ):
        refuse_address(right, HOOKS)
    for wrong, status in (
        ("https://hooks.example:444/", 403),
        ("https://hooks.example.evil.example/", 403),
        ("https://evil.example/hooks.example", 403),
        ("https://127.0.0.1:9001/", 403),
        ("http://127.0.0.1/", 403),
        ("http://hooks.example:8443/", 422),
        ("http://2130706433:9000/", 422),  # 127.0.0.1 as one number
        ("https://hooks.example@evil.example/", 422),
        ("https://hooks.example#@evil.example/", 422),
        ("https://hooks.example\\.evil.example/", 422),
        ("https://hooks.example:99999/", 422),
        ("https://hooks.example /", 422),
        ("https://hooks.example/\n", 422),
        ("file:///etc/passwd", 422),
        ("//hooks.example/", 422),
        ("https://" + "x" * 500, 422),
        ("", 422),
    ):
        with pytest.raises(ReachError) as refused:
            refuse_address(wrong, HOOKS)
        assert refused.value.status == status, wrong
    with pytest.raises(ReachError):
        refuse_address("https://hooks.example/", Calls())


def test_localhost_that_leads_elsewhere_is_not_called_without_encryption() -> None:
    calls = Calls(("localhost:9000",))
    assert not place_of(
        "http://localhost:9000/", calls, look_up=looked_up("127.0.0.1", "::1")
    ).encrypted
    with pytest.raises(ReachError):
        place_of("http://localhost:9000/", calls, look_up=looked_up(PUBLIC[0]))


def test_a_redirect_is_an_answer_like_any_other() -> None:
    with listening_program() as listener:
        listener.answers = lambda before: 307
        place = CallPlace("127.0.0.1", "127.0.0.1", listener.port, False, "/a")
        assert call(place, b"{}", {"X-A": "b"}) == 307
        assert len(listener.heard) == 1
        assert listener.heard[0].headers["Host"] == f"127.0.0.1:{listener.port}"


def test_who_lets_the_answer_drip_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(calling, "WITHIN_S", 0.5)
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def drip() -> None:
            line, _ = listener.accept()
            with line:
                line.settimeout(0.1)
                with suppress(BrokenPipeError, ConnectionResetError):
                    line.sendall(b"HTTP/1.1 200 OK\r\n")
                    for _ in range(100):
                        line.sendall(b"X: y\r\n")
                        with suppress(TimeoutError):
                            line.recv(1000)

        dripping = threading.Thread(target=drip)
        dripping.start()
        with pytest.raises(CallError):
            call(CallPlace("127.0.0.1", "x", listener.getsockname()[1], False, "/"), b"", {})
        dripping.join(20)
        assert not dripping.is_alive()


@contextmanager
def _encrypted(folder: Path, name: str) -> Iterator[tuple[int, ssl.SSLContext]]:
    """A server with a certificate of that name, and a context that believes it."""
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, name)])
    now = dt.datetime.now(dt.UTC)
    certificate = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(1)
        .not_valid_before(now - dt.timedelta(days=1))
        .not_valid_after(now + dt.timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName(name)]), False)
        .sign(key, hashes.SHA256())
    )
    file = folder / "certificate.pem"
    file.write_bytes(
        certificate.public_bytes(serialization.Encoding.PEM)
        + key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )

    class Handler(http.server.BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            self.send_response(204)
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    serving = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    serving.load_cert_chain(file)
    server.socket = serving.wrap_socket(server.socket, server_side=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    try:
        yield server.server_address[1], ssl.create_default_context(cafile=str(file))
    finally:
        server.shutdown()
        server.server_close()


@pytest.mark.parametrize(
    "answer",
    [
        # Of "100" any number may come before the answer (RFC 9110, 15.2).
        b"HTTP/1.1 100 Continue\r\n\r\n" * 5000 + b"HTTP/1.1 200 OK\r\n\r\n",
        b"HTTP/1.1 200 OK\r\n" + (b"X: " + b"x" * 60_000 + b"\r\n") * 3 + b"\r\n",
    ],
)
def test_of_an_answers_head_so_much_is_read(answer: bytes) -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:

        def answering() -> None:
            line, _ = listener.accept()
            with line, suppress(OSError):
                line.recv(65_536)
                line.sendall(answer)

        threading.Thread(target=answering, daemon=True).start()
        with pytest.raises(CallError, match="LineTooLong"):
            call(CallPlace("127.0.0.1", "x", listener.getsockname()[1], False, "/"), b"", {})


def test_only_who_proves_to_be_the_host_is_told_anything(tmp_path: Path) -> None:
    with _encrypted(tmp_path, "hooks.example") as (port, believing):
        right = CallPlace("127.0.0.1", "hooks.example", port, True, "/")
        assert call(right, b"{}", {}, context=believing) == 204
        with pytest.raises(CallError, match="certificate"):
            call(
                CallPlace("127.0.0.1", "other.example", port, True, "/"), b"", {}, context=believing
            )
        with pytest.raises(CallError, match="certificate"):
            call(right, b"{}", {})


@pytest.mark.parametrize("encrypted", [True, False])
def test_who_lets_the_connecting_drip_is_not_waited_for_afterwards(
    monkeypatch: pytest.MonkeyPatch, encrypted: bool
) -> None:
    """Its time is up before there is anything that could be ended."""
    one, other = socket.socketpair()
    place = CallPlace("127.0.0.1", "hooks.example", 9, encrypted, "/")

    class Context:
        def wrap_socket(self, sock: socket.socket, **_: object) -> socket.socket:
            connection.cut()
            return sock

    def connected(*_: object) -> socket.socket:
        if not encrypted:
            connection.cut()
        return one

    monkeypatch.setattr(calling.socket, "create_connection", connected)
    connection = calling._Connection(place, Context() if encrypted else None)  # type: ignore[arg-type]
    with one, other:
        with pytest.raises(TimeoutError):
            connection.connect()
        again = calling._Connection(place, None)
        if encrypted:
            again.connect()
            assert again.sock is one


def test_a_name_that_nobody_answers_for_is_not_waited_for(monkeypatch: pytest.MonkeyPatch) -> None:
    """The system's own looking up may take as long as the name's servers like."""
    monkeypatch.setattr(reach, "LOOK_UP_S", 0.05)
    monkeypatch.setattr(reach, "_LOOKED_UP", threading.BoundedSemaphore(2))
    end, begun = threading.Event(), []

    def never(host: str, port: int, **_: Any) -> list[Any]:
        begun.append(host)
        end.wait(60)
        return []

    for _ in range(4):
        with pytest.raises(ReachError) as refused:
            place_of("https://hooks.example/", HOOKS, look_up=never)
        assert refused.value.status == 502
        assert "timed out" in refused.value.wrong
    assert len(begun) == 2  # nor do threads without end wait for it
    end.set()
    with reach._LOOKED_UP:
        pass
    assert place_of("https://hooks.example/", HOOKS, look_up=looked_up("8.8.8.8")).port == 443


def test_what_goes_wrong_while_a_name_is_looked_up_is_told() -> None:
    def wrong(host: str, port: int, **_: Any) -> list[Any]:
        raise socket.gaierror(socket.EAI_NONAME, "Name or service not known")

    with pytest.raises(ReachError) as refused:
        place_of("https://hooks.example/", HOOKS, look_up=wrong)
    assert "name or service not known" in refused.value.wrong
