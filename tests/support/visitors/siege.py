"""What one anonymous client can do to the others: it, and an honest visitor's waiting meanwhile.

``python -m tests.support.visitors.siege`` prints how long an honest visitor waits for a page,
and that the order sent meanwhile is whole, under each attack and under all of them together; with
``--same`` the attacker is at the visitor's own address.  The bar: no page takes more than 3 s.
Server, visitor and attacker share the machine, and its processors: the attacker is niced.
"""

from __future__ import annotations

import argparse
import asyncio
import io
import os
import re
import subprocess
import sys
import tempfile
import time
from collections.abc import Awaitable, Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from functools import cache
from itertools import product
from pathlib import Path
from typing import Final
from urllib.parse import urlsplit

import numpy as np
from PIL import Image
from streamlit.proto.BackMsg_pb2 import BackMsg
from streamlit.proto.ClientState_pb2 import ClientState
from streamlit.proto.ForwardMsg_pb2 import ForwardMsg
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import WebSocketException

from photocheck.orders.screens import PHOTO
from photocheck.scale.sheet import LAYOUT, marker_cells
from tests.support.command_line import line_of
from tests.support.visitors.kept import wrongs
from tests.support.visitors.made import told_by
from tests.support.visitors.owner import Owner
from tests.support.visitors.serving import served
from tests.support.visitors.wire import PageError, Wire

CONNECTIONS: Final = 300
ELSEWHERE: Final = "203.0.113.66"
"""Whom a proxy on this machine would say the attacker is (RFC 5737)."""
BAR_S: Final = 3.0

BEGUN: Final = "every connection was tried"
_RUN: Final = BackMsg(rerun_script=ClientState(query_string="")).SerializeToString()
_BEGINS: Final = "begin=careful"
_SAMPLE: Final = BackMsg(rerun_script=ClientState(query_string="step=sample")).SerializeToString()
_COOKIE: Final = re.compile(r"set-cookie: (photocheck_visitor=[^;]+)")
_FILE: Final = re.compile(r"static/[\w./-]+\.(?:js|css|woff2)")
_AGAIN_S: Final = 0.05
"""Until a connection that was closed is opened again."""


@cache
def _papered() -> bytes:
    """A photo of 4000 x 3000 px, JPEG, with 910 markers in it."""
    sheet = np.full((3000, 4000), 255, np.uint8)
    for number, (top, left) in enumerate(product(range(15, 2916, 114), range(15, 3916, 114))):
        marker = np.where(marker_cells(LAYOUT.marker_ids[number % 4]), 0, 255).astype(np.uint8)
        sheet[top : top + 84, left : left + 84] = np.kron(marker, np.ones((14, 14), np.uint8))
    held = io.BytesIO()
    Image.fromarray(sheet).convert("RGB").save(held, "JPEG", quality=90)
    return held.getvalue()


async def _again_and_again(once: Callable[[], Awaitable[None]]) -> None:
    while True:
        with suppress(OSError, WebSocketException, EOFError, asyncio.IncompleteReadError):
            await once()
        await asyncio.sleep(_AGAIN_S)


class Attacker:
    """One client with many connections.

    Parameters
    ----------
    address : str
        Of the app.
    connections : int
        Once so many were tried, it says so.
    same : bool
        At the address of the honest visitor, as people of one household, school or phone company
        are.
    """

    def __init__(self, address: str, connections: int, *, same: bool = False) -> None:
        self.address = address
        self._from = {} if same else {"X-Forwarded-For": ELSEWHERE}
        self._untried = connections
        self._ordering, self._order = asyncio.Lock(), ""
        self.host, self.port = urlsplit(address).hostname, urlsplit(address).port
        self.place = f"{self.host}:{self.port}"

    def _tried(self) -> None:
        self._untried -= 1  # those that come more often take it below
        if not self._untried:
            print(BEGUN, flush=True)

    async def _open(self) -> tuple[asyncio.StreamReader, asyncio.StreamWriter]:
        try:
            return await asyncio.open_connection(self.host, self.port)
        finally:
            self._tried()

    async def headers(self) -> None:
        """Never done with its headers."""
        _, writer = await self._open()
        try:
            writer.write(f"GET / HTTP/1.1\r\nHost: {self.place}\r\n".encode())
            while True:
                writer.write(b"X-More: more\r\n")
                await writer.drain()
                await asyncio.sleep(1)
        finally:
            writer.close()

    async def silence(self) -> None:
        """Comes and says nothing."""
        reader, writer = await self._open()
        try:
            await reader.read()
        finally:
            writer.close()

    async def origins(self) -> None:
        """A page elsewhere that asks for a websocket."""
        await self._one(
            "GET /_stcore/stream HTTP/1.1",
            "Upgrade: websocket",
            "Connection: Upgrade",
            "Sec-WebSocket-Version: 13",
            "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
            "Origin: http://elsewhere.example",
        )

    async def bodies(self) -> None:
        """A form without an end."""
        await self._one(
            "POST /staff HTTP/1.1",
            "Content-Type: application/x-www-form-urlencoded",
            "Transfer-Encoding: chunked",
            body=b"80000\r\n" + b"&" * 0x80000 + b"\r\n",
            times=16,
        )

    async def files(self) -> None:
        """The same page again and again."""
        await self._one("GET / HTTP/1.1", "Accept: text/html")

    async def assets(self) -> None:
        """One of the files that pages are made of, again and again on one connection."""
        _, page = await self._given("/")
        (name, *_) = re.findall(r"/static/js/index[^\"]+\.js", page) or [""]
        reader, writer = await asyncio.open_connection(self.host, self.port)
        try:
            while True:
                writer.write(self._head(f"GET {name} HTTP/1.1"))
                head = await reader.readuntil(b"\r\n\r\n")
                (length,) = re.findall(rb"content-length: (\d+)", head.lower())
                await reader.readexactly(int(length))
        finally:
            writer.close()

    async def packed(self) -> None:
        """The same, packed, as browsers ask for it; what comes is read as bytes and thrown away."""
        _, page = await self._given("/")
        (name, *_) = re.findall(r"/static/js/index[^\"]+\.js", page) or [""]
        while True:
            await self._one(f"GET {name} HTTP/1.1", "Accept-Encoding: gzip", whole=True)

    async def ranges(self) -> None:
        """Such a file in 500 parts, each of them nearly all of it (RFC 9110, section 14.2)."""
        _, page = await self._given("/")
        (name, *_) = re.findall(r"/static/js/index[^\"]+\.js", page) or [""]
        parts = ",".join(f"{k}-" for k in range(500))
        while True:
            await self._one(f"GET {name} HTTP/1.1", f"Range: bytes={parts}", whole=True)

    async def wide(self) -> None:
        """Requests with as many headers as go into what is taken of them."""
        lines = [f"X-{k:04}: {k}" for k in range(1000)]
        while True:
            await self._one("GET / HTTP/1.1", *lines)

    async def crumbs(self) -> None:
        """A photo in chunks of one byte (RFC 9112, 7.1)."""
        await self._one(
            "POST /_stcore/upload_file/a/b HTTP/1.1",
            "Transfer-Encoding: chunked",
            f"Origin: {self.address}",
            body=b"1\r\n&\r\n" * 20_000,
            times=100,
        )

    async def behind(self) -> None:
        """A form, and behind it as many requests as there is room for (RFC 9112, 9.3.2)."""
        more = self._head("GET / HTTP/1.1", *(f"X-{k:04}: {k}" for k in range(80)))
        head = self._head("POST /staff HTTP/1.1", "Content-Length: 2000")
        reader, writer = await self._open()
        try:
            writer.write(head + b"&" * 2000 + more * 100)
            await asyncio.wait_for(reader.read(), 60)
        finally:
            writer.close()

    async def pings(self) -> None:
        """A page that asks whether the server is there, as fast as it can (RFC 6455, 5.5.2)."""
        await self._frames(b"", b"\x89\x80\0\0\0\0" * 2000)

    async def fragments(self) -> None:
        """A message that comes a byte a frame and has no end (RFC 6455, 5.4)."""
        await self._frames(b"\x02\x81\0\0\0\0a", b"\0\x81\0\0\0\0a" * 2000)

    async def nothings(self) -> None:
        """Messages in which there is nothing."""
        await self._frames(b"", b"\x82\x80\0\0\0\0" * 2000)

    async def deaf(self) -> None:
        """A page that asks for itself again and again and takes nothing of what comes."""
        size = len(_SAMPLE)
        assert size < 126  # one byte says how long it is
        frame = bytes((0x82, 0x80 | size, 0, 0, 0, 0)) + _SAMPLE
        await self._frames(b"", frame, listens=False, every_s=0.02)

    async def _frames(
        self, first: bytes, again: bytes, *, listens: bool = True, every_s: float = 0.0
    ) -> None:
        """A websocket, by hand, whose frames are masked by noughts."""
        reader, writer = await self._open()
        try:
            writer.write(
                self._head(
                    "GET /_stcore/stream HTTP/1.1",
                    "Upgrade: websocket",
                    "Connection: Upgrade",
                    "Sec-WebSocket-Version: 13",
                    "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
                    "Sec-WebSocket-Protocol: streamlit",
                    f"Origin: {self.address}",
                )
            )
            await reader.readuntil(b"\r\n\r\n")
            writer.write(first)
            while not reader.at_eof():
                writer.write(again)
                await asyncio.wait_for(writer.drain(), 60)
                if listens:
                    with suppress(TimeoutError):
                        await asyncio.wait_for(reader.read(1 << 16), 0.001)
                await asyncio.sleep(every_s)
        finally:
            writer.close()

    async def slow(self) -> None:
        """A form that comes letter by letter."""
        reader, writer = await self._open()
        try:
            writer.write(self._head("POST /staff HTTP/1.1", "Content-Length: 9000"))
            while not reader.at_eof():
                writer.write(b"&")
                await writer.drain()
                with suppress(TimeoutError):
                    await asyncio.wait_for(reader.read(1000), 1)
        finally:
            writer.close()

    async def _one(
        self, *lines: str, body: bytes = b"", times: int = 0, whole: bool = False
    ) -> None:
        reader, writer = await self._open()
        try:
            writer.write(self._head(*lines))
            for _ in range(times):
                writer.write(body)
                await writer.drain()
            if times:
                writer.write(b"0\r\n\r\n")
            await reader.readline()
            if whole:
                head = (await reader.readuntil(b"\r\n\r\n")).lower()
                for length in re.findall(rb"content-length: (\d+)", head):
                    await reader.readexactly(int(length))
        finally:
            writer.close()

    def _head(self, *lines: str) -> bytes:
        said = [f"{name}: {value}" for name, value in self._from.items()]
        return "\r\n".join([*lines, f"Host: {self.place}", *said, "", ""]).encode()

    async def reruns(self) -> None:
        """A page that asks for itself fifty times a second."""
        await self._rerun(_RUN)

    async def samples(self) -> None:
        """The same with the page that costs most of those that anybody may see."""
        await self._rerun(_SAMPLE)

    async def results(self) -> None:
        """The same with the page that costs most of an order of one's own, which is made first."""
        await self._rerun(await self._result())

    async def _result(self) -> bytes:
        async with self._ordering:
            if not self._order:
                owner = Owner(self.address, told_by(999))
                await owner.play()
                self._order = owner.wire.query
        asked = BackMsg(rerun_script=ClientState(query_string=self._order))
        return asked.SerializeToString()

    async def _rerun(self, asked: bytes) -> None:
        async with await self._page() as socket:

            async def read() -> None:
                async for _ in socket:
                    pass

            reading = asyncio.create_task(read())
            try:
                while not reading.done():
                    await socket.send(asked)
                    await asyncio.sleep(0.02)
            finally:
                reading.cancel()

    async def papered(self) -> None:
        """An order with a photo that is papered with the sheet's markers; and again, another."""
        source = self._from.get("X-Forwarded-For")
        self._tried()
        begun = Wire(self.address, source=source)
        try:
            await begun.open(f"/?{_BEGINS}")
        finally:
            await begun.close()
        order = Wire(self.address, source=source)
        try:
            await order.open(f"/?{begun.query}&step={PHOTO}")
            await order.upload("Take or choose a photo", "papered.jpg", _papered())
        except PageError:
            pass  # what is said of it is for nobody to read
        finally:
            await order.close()

    async def held(self) -> None:
        """A page that is opened and left so."""
        async with await self._page() as socket:
            await socket.send(_RUN)
            async for _ in socket:
                pass

    async def visits(self) -> None:
        """A visitor like any other, who leaves once the page is there and comes as another."""
        cookie, _ = await self._given("/")
        await self._visit(cookie, _RUN)

    async def revisits(self) -> None:
        """A visitor who comes to such a page as another each time."""
        cookie, _ = await self._given("/")
        await self._visit(cookie, await self._result())

    async def twice(self) -> None:
        """The same, who does two things there before leaving."""
        cookie, _ = await self._given("/")
        await self._visit(cookie, _RUN, times=3)

    async def loads(self) -> None:
        """The same, with a browser that has nothing yet: all files of the page, one by one."""
        cookie, page = await self._given(f"/?{_BEGINS}")
        reader, writer = await asyncio.open_connection(self.host, self.port)
        try:
            for name in _FILE.findall(page):
                writer.write(self._head(f"GET /{name} HTTP/1.1", f"Cookie: {cookie}"))
                head = await reader.readuntil(b"\r\n\r\n")
                (length,) = re.findall(rb"content-length: (\d+)", head.lower())
                await reader.readexactly(int(length))
        finally:
            writer.close()
        await self._visit(cookie, _RUN)

    async def _given(self, path: str) -> tuple[str, str]:
        """The cookie that a newcomer is given, and the page."""
        reader, writer = await self._open()
        try:
            asked = self._head(f"GET {path} HTTP/1.1", "Accept: text/html", "Connection: close")
            writer.write(asked)
            answer = (await reader.read(-1)).decode("utf-8", "replace")
        finally:
            writer.close()
        return "; ".join(_COOKIE.findall(answer)), answer

    async def _visit(self, cookie: str, asked: bytes, times: int = 1) -> None:
        async with await self._page(cookie) as socket:
            for _ in range(times):
                await socket.send(asked)
                async for message in socket:
                    if ForwardMsg.FromString(message).WhichOneof("type") == "script_finished":
                        break

    async def _page(self, cookie: str = "") -> ClientConnection:
        more = {"Cookie": cookie} if cookie else {}
        try:
            return await connect(
                self.address.replace("http", "ws", 1) + "/_stcore/stream",
                origin=self.address,  # type: ignore[arg-type]
                subprotocols=["streamlit", "PLACEHOLDER"],  # type: ignore[list-item]
                additional_headers=self._from | more,
                max_size=None,
                proxy=None,
                compression=None,
                open_timeout=60,
            )
        finally:
            self._tried()


KINDS: Final = {
    "headers": CONNECTIONS,
    "silence": CONNECTIONS,
    "origins": 20,
    "bodies": 8,
    "slow": 150,
    "files": 50,
    "assets": 50,
    "packed": 50,
    "ranges": 50,
    "wide": 50,
    "crumbs": 40,
    "behind": 40,
    "pings": 40,
    "fragments": 40,
    "nothings": 40,
    "deaf": 40,
    "reruns": 40,
    "samples": 40,
    "results": 40,
    "held": 200,
    "visits": 40,
    "revisits": 40,
    "twice": 40,
    "loads": 40,
    "papered": 10,
}
"""How many connections each attack has; together they have as many as one client may."""


MAKE_ORDERS: Final = frozenset({"results", "revisits", "papered"})
"""Those in which the attacker sends an order, too."""


async def _attack(address: str, kinds: Sequence[str], share: float, same: bool) -> None:
    often = [kind for kind in kinds for _ in range(max(1, int(share * KINDS[kind])))]
    attacker = Attacker(address, len(often), same=same)
    await asyncio.gather(*(_again_and_again(getattr(attacker, kind)) for kind in often))


@contextmanager
def under(
    address: str, kinds: Sequence[str], connections: int = CONNECTIONS, *, same: bool = False
) -> Iterator[None]:
    """The attacks, from a process of their own, for as long as the block lasts."""
    share = 1.0 if len(kinds) < 2 else connections / sum(KINDS[kind] for kind in kinds)
    command = [sys.executable, "-m", "tests.support.visitors.siege", "--attack", address]
    command += ["--share", str(share), *(["--same"] if same else []), *kinds]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        try:
            if kinds:
                assert line_of(process).strip() == BEGUN
            yield
        finally:
            process.kill()


async def pages(address: str, for_s: float) -> list[float]:
    """How long each of an honest visitor's page loads took."""
    took, until = [], time.perf_counter() + for_s
    while time.perf_counter() < until:
        began = time.perf_counter()
        wire = Wire(address)
        try:
            await asyncio.wait_for(wire.open(), 60)
            took.append(time.perf_counter() - began)
        except Exception as error:  # whatever keeps a page from coming: it is waited for in vain
            took.append(float("inf"))
            print(f"    {type(error).__name__}: {error}"[:200])
        finally:
            with suppress(Exception):
                await wire.close()
        await asyncio.sleep(0.2)
    return took


def main() -> int:
    """The command; fails when a page took too long, or an order is not whole."""
    parser = argparse.ArgumentParser(prog="siege", description=__doc__)
    parser.add_argument("kinds", nargs="*", default=[])
    parser.add_argument("--attack", metavar="ADDRESS")
    parser.add_argument("--share", type=float, default=1.0)
    parser.add_argument("--same", action="store_true", help="at the honest visitor's own address")
    parser.add_argument("--seconds", type=float, default=15.0)
    asked = parser.parse_args()
    if asked.attack:
        os.nice(5)
        asyncio.run(_attack(asked.attack, asked.kinds, asked.share, asked.same))
        return 0
    kinds = asked.kinds or list(KINDS)
    found, slow = [], False
    with tempfile.TemporaryDirectory() as folder, served(Path(folder)) as app:
        asyncio.run(pages(app.address, 3))
        told, headlines = [], {}
        rounds = [[], *([kind] for kind in kinds), *([kinds] if len(kinds) > 1 else [])]
        for number, attacks in enumerate(rounds):
            name = "none" if not attacks else attacks[0] if len(attacks) == 1 else "all"
            with under(app.address, attacks, same=asked.same):
                took = asyncio.run(pages(app.address, asked.seconds))
                owner, began = Owner(app.address, told_by(number)), time.perf_counter()
                try:
                    asyncio.run(asyncio.wait_for(owner.play(), 120))
                    told.append(owner.told)
                    headlines[owner.told.name] = owner.headline
                except Exception as error:  # whatever it is: no order came, and the rest goes on
                    found.append(f"{name}: no order could be sent: {type(error).__name__}")
                order_s = time.perf_counter() - began
            steps = "  ".join(f"{kind} {max(took):.1f}" for kind, took in owner.took.items())
            took.sort()
            slow |= took[-1] > BAR_S
            middle = took[len(took) // 2]
            print(
                f"{name:8} pages {len(took):3}  median {middle:5.2f} s  longest {took[-1]:6.2f} s"
                f"  a whole order {order_s:5.1f} s; the longest: {steps}",
                flush=True,
            )
        others = not MAKE_ORDERS.isdisjoint(kinds)
        found += wrongs(app.store, told, headlines, others=others)
        said = app.log.read_text()
        print(f"the log has {len(said)} characters; its end:\n{said[-3000:]}")
    print(f"orders sent meanwhile: {len(told)}; wrong: {len(found)}")
    print("\n".join(found))
    return 1 if found or slow else 0


if __name__ == "__main__":
    sys.exit(main())
