"""Several servers on one PostgreSQL behind nginx with TLS, as the help for workshops has it."""

from __future__ import annotations

import os
import re
import shlex
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from ipaddress import IPv4Address
from pathlib import Path

import pytest
import requests

import photocheck_app
from tests.support.command_line import line_of
from tests.support.pages import free_port
from tests.support.waiting import until

RECIPE = Path(photocheck_app.__file__).parent / "help" / "workshop.md"
NAMES = {"one": "8501", "two": "8502"}
"""The servers of the recipe and their ports there."""


def nginx() -> str:
    """The program; never left out in CI."""
    found = shutil.which("nginx", path=f"{os.environ.get('PATH', '')}:/usr/sbin")
    if found is None:
        if os.environ.get("CI"):
            pytest.fail("nginx is not installed")
        pytest.skip("no nginx: apt-get install nginx")
    return found


def blocks(language: str) -> list[str]:
    """What the recipe's section holds in fences of a language."""
    section = RECIPE.read_text(encoding="utf-8").partition("## Several servers")[2]
    section = section.partition("\n## ")[0]
    return re.findall(rf"```{language}\n(.*?)```", section, re.DOTALL)


@dataclass
class Behind:
    """The servers, and what is before them.

    Attributes
    ----------
    address : str
        Of the proxy.
    certificate : Path
        By which it is known.
    store : str
        The address of the orders.
    ports : dict of str to int
        Of the servers themselves, by their names in the recipe.
    folder : Path
    before : list of subprocess.Popen
        The proxy.
    """

    address: str
    certificate: Path
    store: str
    ports: dict[str, int]
    folder: Path
    before: list[subprocess.Popen[str]] = field(default_factory=list)
    _running: dict[str, subprocess.Popen[str]] = field(default_factory=dict)

    def start(self, name: str) -> None:
        """One server, by the recipe's unit; returns once it answers."""
        (unit,) = blocks("ini")
        told = dict(re.findall(r"^Environment=(\w+)=(.*)$", unit, re.MULTILINE))
        told |= {"PHOTOCHECK_STORE": self.store, "XDG_DATA_HOME": str(self.folder / "data")}
        told["PHOTOCHECK_SECRET"] = str(self.folder / "doors.secret")
        (line,) = re.findall(r"^ExecStart=(.*)$", unit, re.MULTILINE)
        _, *arguments = shlex.split(line.replace("%i", str(self.ports[name])))
        with self.log(name).open("a") as errors:
            process = subprocess.Popen(
                [sys.executable, "-m", "photocheck", *arguments],
                stdout=subprocess.PIPE,
                stderr=errors,
                text=True,
                start_new_session=True,
                env=os.environ | told,
            )
        self._running[name] = process
        assert f":{self.ports[name]} " in line_of(process), self.log(name).read_text()

    def log(self, name: str) -> Path:
        """What a server says on its standard error."""
        return self.folder / f"{name}.log"

    def kill(self, name: str) -> None:
        """With SIGKILL, and all its processes."""
        process = self._running.pop(name)
        with suppress(ProcessLookupError):  # it has ended by itself
            os.killpg(process.pid, signal.SIGKILL)
        process.wait()
        assert process.stdout is not None
        process.stdout.close()

    def hang(self, name: str) -> None:
        """Nothing of it goes on, and it keeps its port; what watches over it goes on."""
        os.kill(self._running[name].pid, signal.SIGSTOP)

    def hang_whole(self, name: str) -> None:
        """As where its machine hangs: what watches over it hangs as well."""
        os.killpg(self._running[name].pid, signal.SIGSTOP)

    def go_on(self, name: str) -> None:
        """After it hung whole."""
        os.killpg(self._running[name].pid, signal.SIGCONT)

    @property
    def processes(self) -> list[subprocess.Popen[str]]:
        """The servers that run, and what is before them."""
        return [*self._running.values(), *self.before]

    def ended(self, name: str) -> int | None:
        """How it ended, if it did."""
        return self._running[name].poll()

    def end(self) -> None:
        """Kill all that still run."""
        for name in list(self._running):
            self.kill(name)


@contextmanager
def behind_proxy(store: str, folder: Path) -> Iterator[Behind]:
    """All of it, until the block is left."""
    program = nginx()
    ports = {name: free_port() for name in NAMES}
    port = free_port()
    certificate, key = _certificate(folder)
    here = Behind(f"https://127.0.0.1:{port}", certificate, store, ports, folder)
    (recipe,) = blocks("nginx")
    changed = {
        "listen 443 ssl": f"listen 127.0.0.1:{port} ssl",
        "/etc/ssl/check.shop.example.pem": str(certificate),
        "/etc/ssl/check.shop.example.key": str(key),
        **{f":{there}": f":{ports[name]}" for name, there in NAMES.items()},
    }
    for old, new in changed.items():
        assert old in recipe
        recipe = recipe.replace(old, new)
    conf = folder / "nginx.conf"
    temporary = "".join(
        f"{kind}_temp_path {folder / kind};\n"
        for kind in ("client_body", "proxy", "fastcgi", "uwsgi", "scgi")
    )
    conf.write_text(
        f"daemon off;\npid {folder / 'nginx.pid'};\nworker_processes 1;\n"
        # As the recipe tells beside it.
        "worker_rlimit_nofile 8192;\n"
        f"{'user root;' if os.getuid() == 0 else ''}\nerror_log {folder / 'nginx.log'};\n"
        f"events {{ worker_connections 4096; }}\nhttp {{\naccess_log off;\n{temporary}{recipe}}}\n"
    )
    proxy = None
    try:
        for name in NAMES:
            here.start(name)
        proxy = subprocess.Popen(
            [program, "-c", str(conf), "-e", str(folder / "nginx.log")],
            stderr=subprocess.DEVNULL,
            text=True,
        )
        here.before.append(proxy)
        until(lambda: _answers(here), f"nginx: {conf}")
        yield here
    except BaseException as error:
        for log in sorted(folder.glob("*.log")):
            error.add_note(f"{log.name}:\n{log.read_text()[-3000:]}")
        raise
    finally:
        if proxy is not None:
            proxy.terminate()
            proxy.wait(10)
        here.end()


def _answers(here: Behind) -> bool:
    with requests.Session() as session:
        session.trust_env = False
        try:
            answer = session.get(f"{here.address}/health", verify=str(here.certificate), timeout=5)
        except requests.RequestException:
            return False
        return answer.ok


def _certificate(folder: Path) -> tuple[Path, Path]:
    """A certificate for this machine that nobody else knows, and its key."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "127.0.0.1")])
    now = datetime.now(UTC)
    here = x509.SubjectAlternativeName([x509.IPAddress(IPv4Address("127.0.0.1"))])
    made = (
        x509.CertificateBuilder(name, name, key.public_key(), x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))
        .not_valid_after(now + timedelta(days=1))
        .add_extension(here, critical=False)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .sign(key, hashes.SHA256())
    )
    pem, secret = folder / "proxy.pem", folder / "proxy.key"
    pem.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    secret.write_bytes(
        key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )
    )
    return pem, secret
