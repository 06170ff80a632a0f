"""The document of the interface: whole, true, and nothing is answered that it does not say."""

from __future__ import annotations

import json
import logging
from collections.abc import Iterator
from contextlib import closing
from itertools import count
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis.errors import Unsatisfiable
from jsonschema import Draft202012Validator
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.testclient import TestClient

from photocheck.cli.main import run
from photocheck.orders.model import STORE_VARIABLE
from photocheck.orders.store import open_store
from photocheck.server.access.clients import calls_to, make_client
from photocheck.server.access.rates import Rates
from photocheck.server.interface import answering
from photocheck.server.interface.openapi import openapi
from photocheck.server.interface.operations import BASE, OPERATIONS, PROBLEM, Operation, found_at
from photocheck.server.pace import Pace
from photocheck.server.turns import Lines
from photocheck_app.doors import middleware, programs
from photocheck_app.doors import settings as door_settings
from photocheck_app.doors.middleware import Guard
from tests.support.programs import SORREL, sorrel


def test_the_table_and_what_answers_it_are_the_same() -> None:
    ids = [one.id for one in OPERATIONS]
    assert len(set(ids)) == len(ids)
    assert set(ids) == set(answering._DOING)
    for one in OPERATIONS:
        path = one.path.replace("{order}", "x" * 43).replace("{subscription}", "7")
        assert found_at(path).operations[one.method] is one
    assert not found_at("/subscriptions/0").operations
    assert not found_at("/orders/" + "x" * 42).operations


def test_every_part_of_the_document_that_is_named_is_there() -> None:
    document = openapi()
    text = json.dumps(document)
    for ref in {part.split('"')[0] for part in text.split('"$ref": "')[1:]}:
        found: Any = document
        for step in ref.removeprefix("#/").split("/"):
            found = found[step]
        assert found
    for name, shape in document["components"]["schemas"].items():
        Draft202012Validator.check_schema(shape)
        assert name


def test_a_command_prints_the_document(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["schema", "interface"]) == 0
    assert json.loads(capsys.readouterr().out) == openapi()


@pytest.fixture
def paces(monkeypatch: pytest.MonkeyPatch) -> None:
    fast = Pace(10**6, 10**6)
    monkeypatch.setattr(middleware, "REQUESTS", Lines(fast))
    rates = Rates({name: rate.__class__(10**6) for name, rate in Rates().rates.items()})
    monkeypatch.setattr(programs, "COUNTS", rates)


@pytest.fixture
def server(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paces: None
) -> Iterator[tuple[Starlette, str]]:
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    with closing(open_store(str(tmp_path / "orders.sqlite3"))) as store:
        token = make_client(store, "Tester", calls=calls_to(["hooks.example"]))
    app = Starlette(
        routes=programs.ROUTES,
        middleware=[Middleware(Guard, self_test=lambda _: ())],
    )
    logging.getLogger("httpx").setLevel(logging.WARNING)
    yield app, token
    door_settings.close_stores()


def conforms(method: str, path: str, answer: Any) -> Any:
    """Held against the document, by a general library for JSON Schema."""
    found = openapi()["paths"][path][method.lower()]["responses"][str(answer.status_code)]
    kind = answer.headers.get("content-type", "")
    if not found.get("content"):
        assert answer.content == b""
        return None
    whole = {"components": openapi()["components"], **found["content"][kind]["schema"]}
    Draft202012Validator(whole).validate(answer.json())
    return answer.json()


@pytest.mark.slow
def test_every_answer_of_a_whole_order_is_as_the_document_has_it(
    server: tuple[Starlette, str],
) -> None:
    app, token = server
    client = TestClient(app, headers={"Authorization": f"Bearer {token}"})

    def ask(method: str, path: str, status: int, order: str = "", **more: Any) -> Any:
        where = path.replace("{order}", order).replace("{subscription}", "1")
        answer = client.request(method, BASE + where, **more)
        assert answer.status_code == status, answer.text
        return conforms(method, path, answer)

    new = {"number": "1", "language": "de", "case": sorrel()}
    order = ask("POST", "/orders", 201, json=new)["order"]
    assert ask("POST", "/orders/{order}/checks", 422, order)["lacking"]
    assert ask("GET", "/orders/{order}/cut", 404, order)["status"] == 404
    kind = {"Content-Type": "application/octet-stream"}
    photo = (SORREL / "side.jpg").read_bytes()
    name = ask("POST", "/orders/{order}/photos", 201, order, content=photo, headers=kind)["photo"]
    ask("POST", "/orders/{order}/photos", 422, order, content=b"no photo", headers=kind)
    ask("POST", "/orders/{order}/photos", 415, order, content=b"no photo")
    ask("PUT", "/orders/{order}/case", 422, order, json=sorrel("photo-9.jpg"))
    ask("PUT", "/orders/{order}/case", 200, order, json=sorrel(name))
    ask("POST", "/orders/{order}/checks", 201, order)
    # In the owner's language, whatever the program's is.
    assert "stimmen" in ask("POST", "/orders/{order}/checks", 200, order)["check"]["headline"]
    for path in ("", "/case", "/report", "/cut"):
        ask("GET", f"/orders/{{order}}{path}", 200, order)
    ask("GET", "/orders", 200)
    ask("GET", "/changes", 200)
    ask("GET", "/client", 200)
    ask("GET", "/openapi.json", 200)
    ask("POST", "/subscriptions", 201, json={"address": "https://hooks.example/a"})
    ask("GET", "/subscriptions", 200)
    ask("DELETE", "/subscriptions/{subscription}", 204)
    assert ask("GET", "/subscriptions", 200)["subscriptions"][0]["why"] == "client"


def test_bodies_are_bounded_and_read_strictly(server: tuple[Starlette, str]) -> None:
    app, token = server
    client = TestClient(app, headers={"Authorization": f"Bearer {token}"})

    def sent(content: bytes, kind: str = "application/json") -> int:
        answer = client.post(f"{BASE}/orders", content=content, headers={"Content-Type": kind})
        assert answer.headers["content-type"] == PROBLEM
        said = answer.json()
        assert said["status"] == answer.status_code
        assert said["detail"]
        return answer.status_code

    case = b'"case":{"format":"photocheck-case/1","unit":"cm"}'
    assert sent(b"{" + case + b"}") == 422
    assert sent(b'{"number":"1\\n",' + case + b"}") == 422
    assert sent(b'{"number":"1","number":"2",' + case + b"}") == 400
    assert sent(b'{"number":NaN}') == 400
    assert sent(b"\xff") == 400
    assert sent(b"[" * 100_000) == 400
    assert sent(b"{}", "text/plain") == 415
    assert sent(b" " * 400_001) == 413
    whole = b'{"number":"1",' + case + b"}"
    assert sent(whole[:-2] + b',"name":"' + b"x" * 201 + b'"}}') == 422
    assert client.get(f"{BASE}/orders").json()["orders"] == []


@pytest.fixture
def document(server: tuple[Starlette, str]) -> tuple[Any, dict[str, str]]:
    app, token = server
    headers = {"Authorization": f"Bearer {token}"}
    client = TestClient(app, headers=headers)
    new = {"number": "1", "case": sorrel()}
    order = client.post(f"{BASE}/orders", json=new).json()["order"]
    client.post(f"{BASE}/subscriptions", json={"address": "https://hooks.example/a"})
    import schemathesis  # takes longer to load than the quick tests of this file

    loaded = schemathesis.openapi.from_asgi(f"{BASE}/openapi.json", app, headers=headers)
    numbers = count()

    @loaded.hook
    def map_path_parameters(context: Any, path_parameters: Any) -> Any:
        # Every other one leads to something that is there.
        if path_parameters and next(numbers) % 2:
            there = {"order": order, "subscription": 1}
            return {name: there.get(name, value) for name, value in path_parameters.items()}
        return path_parameters

    return loaded, headers


@pytest.mark.slow
@pytest.mark.parametrize("one", OPERATIONS, ids=lambda one: one.id)
@pytest.mark.parametrize("mode", ["positive", "negative"])
def test_nothing_is_answered_that_the_document_does_not_say(
    one: Operation, mode: str, document: tuple[Any, dict[str, str]]
) -> None:
    """By Schemathesis: what it sends is as the document has it, or beside it in one place."""
    from schemathesis import Case, GenerationMode
    from schemathesis.checks import not_a_server_error
    from schemathesis.specs.openapi import checks

    held = [
        not_a_server_error,
        checks.status_code_conformance,
        checks.content_type_conformance,
        checks.response_schema_conformance,
        checks.response_headers_conformance,
        checks.unsupported_method,
        checks.ignored_auth,
    ]
    loaded, headers = document
    operation = loaded[one.path][one.method]
    statuses = set()

    @given(case=operation.as_strategy(generation_mode=GenerationMode(mode)))
    @settings(
        max_examples=60,
        deadline=None,
        database=None,
        derandomize=True,
        suppress_health_check=list(HealthCheck),
        phases=[Phase.explicit, Phase.generate],
    )
    def holds(case: Case) -> None:
        statuses.add(case.call_and_validate(checks=held, headers=headers).status_code)

    try:
        holds()
    except Unsatisfiable:
        pytest.skip("nothing can be sent that is beside the document")
    assert statuses
