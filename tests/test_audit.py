"""CI's look for known vulnerabilities: found, none, and nobody to ask are three things.

pip-audit itself asks a service on this machine that speaks as OSV does (POST ``/v1/query``,
https://google.github.io/osv.dev/post-v1-query/).
"""

from __future__ import annotations

import json
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from typing import Any

import pytest

from tests.support.places import ROOT

AUDIT = ROOT / ".ci" / "audit"
NOBODY = "NOT AUDITED"

pytestmark = pytest.mark.skipif(not AUDIT.is_file(), reason="not a checkout")


def known_in(name: str) -> dict[str, Any]:
    package = {"name": name, "ecosystem": "PyPI"}
    ranges = [{"type": "ECOSYSTEM", "events": [{"introduced": "0"}, {"fixed": "999.0"}]}]
    return {
        "id": "MADE-UP-1",
        "aliases": [],
        "summary": "invented",
        "published": "2026-01-01T00:00:00Z",
        "affected": [{"package": package, "ranges": ranges}],
    }


@contextmanager
def service(vulnerable: str = "", status: int = 200, body: bytes = b"") -> Iterator[str]:
    class Answer(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            asked = json.loads(self.rfile.read(int(self.headers["Content-Length"])))
            name = asked["package"]["name"]
            said = {"vulns": [known_in(name)]} if name == vulnerable else {}
            content = body or json.dumps(said).encode()
            self.send_response(status)
            self.send_header("Content-Type", "application/json")
            self.send_header("Content-Length", str(len(content)))
            self.end_headers()
            self.wfile.write(content)

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Answer)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/v1/query"
    finally:
        server.shutdown()
        server.server_close()


def audit(address: str) -> tuple[int, str]:
    done = subprocess.run(
        [sys.executable, str(AUDIT), "--vulnerability-service", "osv", "--osv-url", address],
        capture_output=True,
        text=True,
        check=False,
    )
    return done.returncode, done.stdout + done.stderr


@pytest.mark.slow
def test_a_known_vulnerability_fails_and_none_passes() -> None:
    with service("jinja2") as address:
        code, said = audit(address)
    assert code == 1, said
    assert "MADE-UP-1" in said
    assert "known vulnerabilities in: jinja2" in said
    with service() as address:
        code, said = audit(address)
    assert code == 0, said
    assert "known vulnerabilities in: none" in said
    assert NOBODY not in said


@pytest.mark.slow
def test_the_installer_of_the_environment_is_told_of_but_fails_nothing() -> None:
    with service("pip") as address:
        code, said = audit(address)
    assert code == 0, said
    assert "MADE-UP-1" in said


@pytest.mark.slow
@pytest.mark.parametrize(
    ("status", "body"), [(403, b""), (503, b"busy"), (404, b""), (200, b"<html>")]
)
def test_a_service_that_does_not_answer_is_never_taken_for_a_clean_bill(
    status: int, body: bytes
) -> None:
    with service(status=status, body=body) as address:
        code, said = audit(address)
    assert code == 0, said
    assert NOBODY in said
    assert "in: none" not in said


@pytest.mark.slow
def test_a_service_out_of_reach_is_said_aloud_and_a_broken_audit_fails() -> None:
    code, said = audit("http://127.0.0.1:9/")
    assert code == 0, said
    assert NOBODY in said
    done = subprocess.run([sys.executable, str(AUDIT), "--no-such-flag"], check=False)
    assert done.returncode == 1
