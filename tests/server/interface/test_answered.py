"""What is answered, without any server: every operation, its bounds, and what is counted of it."""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any

import pytest
from jsonschema import Draft202012Validator

from photocheck.errors import CaseError, DecodingFailedError
from photocheck.orders.bounds import LONGEST_FIELD, MOST_ASKED_BYTES, MOST_SUBSCRIPTIONS
from photocheck.orders.draft import Draft
from photocheck.orders.model import OrderError, StoreError
from photocheck.orders.store import DatabaseStore
from photocheck.orders.store.kept_changes import subscriptions_of, take_due
from photocheck.orders.store.kept_clients import Calls, Client, every_client
from photocheck.photo.kind import MAX_BYTES
from photocheck.server.access.clients import calls_to, make_client
from photocheck.server.access.door_secret import SecretError
from photocheck.server.access.rates import RATES, Rates, TooOftenError
from photocheck.server.hooks.signing import new_secret
from photocheck.server.interface import answering, operations, ordering
from photocheck.server.interface.answering import Desk, answer, tag_of
from photocheck.server.interface.asked import Asked, most_bytes
from photocheck.server.interface.json_shapes import shape_of
from photocheck.server.interface.openapi import openapi
from photocheck.server.interface.operations import LARGEST, OPERATIONS, found_at
from photocheck.server.interface.problems import Reply, as_json, problem_of
from photocheck.server.shop import Shop
from photocheck.uploads.gate import BusyError
from photocheck.version import program
from tests.support.learnt import learnt
from tests.support.made_report import made_report
from tests.support.programs import sorrel
from tests.support.store_orders import JPEG

JSON = {"content-type": "application/json"}


def _as_documented(asked: Asked, said: Reply) -> None:
    """Held against the document, by a general library for JSON Schema."""
    found = found_at(asked.path).operations.get(asked.method)
    if found is None:
        return
    kind, validator = _documented(found.method.lower(), found.path, said.status)
    assert said.kind == kind
    if validator is None:
        assert said.content == b""
    else:
        validator.validate(json.loads(said.content))


@cache
def _documented(method: str, path: str, status: int) -> tuple[str, Any]:
    answers = openapi()["paths"][path][method]["responses"]
    content = answers[str(status)].get("content")
    if not content:
        return "", None
    ((kind, told),) = content.items()
    whole = {"components": openapi()["components"], **told["schema"]}
    return kind, Draft202012Validator(whole)


@dataclass
class Served:
    """A desk, and one program that asks it.

    Attributes
    ----------
    desk : Desk
    client : Client
    """

    desk: Desk
    client: Client

    @property
    def store(self) -> DatabaseStore:
        return self.desk.store

    def ask(
        self,
        method: str,
        path: str,
        body: Any = None,
        *,
        query: tuple[tuple[str, str], ...] = (),
        **headers: str,
    ) -> Reply:
        told = {name.replace("_", "-"): value for name, value in headers.items()}
        if body is not None and not isinstance(body, bytes):
            body, told = as_json(body), {**JSON, **told}
        asked = Asked(method, path, query, told, body or b"")
        said = answer(self.desk, self.client, asked)
        _as_documented(asked, said)
        return said

    def told(self, method: str, path: str, status: int, body: Any = None, **more: Any) -> Any:
        said = self.ask(method, path, body, **more)
        assert said.status == status, said.content
        return json.loads(said.content) if said.content else None

    def beside(self, name: str, *, own: bool = False) -> Served:
        """Another program of the same shop."""
        make_client(self.store, name, own_orders=own, calls=calls_to(["hooks.example"]))
        found = next(one for one in every_client(self.store) if one.name == name)
        return Served(self.desk, found)

    def begin(self, number: str, case: dict[str, Any] | None = None, **more: str) -> str:
        new = {"number": number, "case": case or sorrel(), **more}
        return str(self.told("POST", "/orders", 201, new)["order"])


@pytest.fixture
def served(store: DatabaseStore, decoded_here: None) -> Served:
    desk = Desk(store, lambda: Shop(heic=False), Rates())
    nobody = Client(0, "", "", "", calls_to([]), None, False)  # type: ignore[arg-type]
    return Served(desk, nobody).beside("Printer")


@pytest.fixture
def checks(monkeypatch: pytest.MonkeyPatch) -> list[dict[str, Any]]:
    """Every check that is made, with what; its report is made by hand."""
    made: list[dict[str, Any]] = []

    def run_check(store: DatabaseStore, key: str, **given: Any) -> Any:
        made.append(given)
        ratios = given["ratios"]
        report = replace(
            made_report(verdict="agrees"),
            version=program(),
            tolerances=given["tolerated"].all(),
            ratios_version=ratios.current if ratios else "shipped",
        )
        return store.record_check(key, given["draft"], report, by=given["by"], ratios=ratios)

    monkeypatch.setattr(ordering, "run_check", run_check)
    return made


def operation(name: str) -> Any:
    return next(one for one in OPERATIONS if one.id == name)


# --- what was asked, read strictly ------------------------------------------------


@pytest.mark.parametrize(
    ("name", "right", "wrong"),
    [
        ("after", ("0", "1", "007", str(LARGEST)), ("-1", str(LARGEST + 1), "1.0", "", "\u0661")),
        ("limit", ("1", "200"), ("0", "201", "9" * 11, "x")),
        ("number", ("x", "x" * LONGEST_FIELD), ("", "x" * (LONGEST_FIELD + 1))),
        ("state", ("waiting", "accepted", "being_filled_in"), ("", "Waiting", "any")),
    ],
)
def test_a_parameter_is_taken_to_its_bounds_and_not_beyond(
    served: Served, name: str, right: tuple[str, ...], wrong: tuple[str, ...]
) -> None:
    for text in right:
        assert served.ask("GET", "/orders", query=((name, text),)).status == 200, text
    for text in wrong:
        said = served.told("GET", "/orders", 400, query=((name, text),))
        assert said["where"] == name
    twice = served.told("GET", "/orders", 400, query=((name, right[0]),) * 2)
    assert twice["where"] == "?"
    assert served.ask("GET", "/client", query=((name, right[0]),)).status == 400


def test_each_method_has_its_own_meaning_and_others_none(served: Served) -> None:
    refused = served.ask("DELETE", "/orders")
    assert (refused.status, refused.headers["Allow"]) == (405, "GET, POST")
    assert served.ask("HEAD", "/orders").status == 200
    assert served.ask("HEAD", "/subscriptions/1").status == 405
    assert served.ask("GET", "/orders/").status == 404
    assert served.ask("GET", "/subscriptions/0").status == 404
    # the largest that a database holds, one more, the longest of its form, and a longer one
    for number in (LARGEST, LARGEST + 1, 9_999_999_999, 99_999_999_999):
        assert served.ask("DELETE", f"/subscriptions/{number}").status == 404, number


def test_the_shipped_bounds_of_what_is_asked() -> None:
    assert (LARGEST, operations.MOST_AT_ONCE) == (2_147_483_647, 200)
    assert operations.ALWAYS == (401, 429, 500, 503)
    assert operations._AFTER.schema["default"] == 0
    assert operations._LIMIT.schema["default"] == 100
    assert operations.PATH_PARTS["subscription"]["minimum"] == 1


def test_how_much_may_come_with_it() -> None:
    assert most_bytes(operation("add_photo")) == MAX_BYTES
    assert most_bytes(operation("put_case")) == MOST_ASKED_BYTES == 400_000
    assert most_bytes(operation("check_order")) == 0


@pytest.mark.parametrize(
    ("kind", "status"),
    [
        ("application/json", 201),
        ("Application/JSON; charset=utf-8", 201),
        ("application/json5", 415),
        ("image/jpeg", 415),
        ("", 415),
    ],
)
def test_a_case_comes_as_json_and_as_nothing_else(served: Served, kind: str, status: int) -> None:
    new = as_json({"number": "1", "case": sorrel()})
    said = served.ask("POST", "/orders", new, content_type=kind)
    assert said.status == status
    assert said.headers.get("Accept") == ("application/json" if status == 415 else None)


@pytest.mark.parametrize(
    ("change", "where", "said"),
    [
        ({"number": ""}, "number", "too short"),
        ({"number": "x" * (LONGEST_FIELD + 1)}, "number", ""),
        ({"number": " 1"}, "number", "this cannot be"),
        ({"number": "1 "}, "number", "this cannot be"),
        ({"number": "ä"}, "number", "this cannot be"),
        ({"number": 1}, "number", ""),
        ({"language": "xx"}, "language", ""),
        ({"colour": "red"}, "", "colour"),
        ({"case": None}, "case", ""),
    ],
)
def test_what_cannot_be_is_told_where_it_stands(
    served: Served, change: dict[str, Any], where: str, said: str
) -> None:
    new = {"number": "1", "case": sorrel()} | change
    told = served.told("POST", "/orders", 422, new)
    assert where in told["where"]
    assert said in told["wrong"] or said == "too short"
    assert served.told("GET", "/orders", 200)["orders"] == []


def test_what_is_unknown_is_told_before_what_is_wrong(served: Served) -> None:
    """A slip in a name explains what else is missing."""
    told = served.told("POST", "/orders", 422, {"nummber": "1", "case": sorrel()})
    assert "nummber" in told["wrong"]


# --- orders -----------------------------------------------------------------------


def test_an_order_begins_once_for_each_number_of_a_program(served: Served) -> None:
    new = {"number": "A 1", "language": "de", "case": sorrel()}
    made = served.ask("POST", "/orders", new)
    told = json.loads(made.content)
    assert (made.status, told["number"], told["language"]) == (201, "A 1", "de")
    assert made.headers["Location"] == f"/api/v1/orders/{told['order']}"
    assert served.store.draft(told["order"]).owner.number == "A 1"
    again = served.ask("POST", "/orders", new)
    assert (again.status, json.loads(again.content)) == (200, told)
    assert "Location" not in again.headers
    for change in ({"language": "en"}, {"case": sorrel() | {"name": "Another"}}):
        refused = served.told("POST", "/orders", 409, new | change)
        assert (refused["where"], refused["order"]) == ("number", told["order"])
    other = served.beside("Other").told("POST", "/orders", 201, new)
    assert other["order"] != told["order"]
    served.store.forget(told["order"])
    assert served.told("POST", "/orders", 410, new)["where"] == "number"


def test_an_orders_own_number_is_left_where_it_has_one(served: Served) -> None:
    case = sorrel()
    case["owner"] = {**case.get("owner", {}), "number": "of the case"}
    key = served.begin("of the program", case)
    assert served.store.draft(key).owner.number == "of the case"
    assert served.told("GET", f"/orders/{key}", 200)["number"] == "of the program"


def test_an_order_begins_without_photos(served: Served) -> None:
    new = {"number": "1", "case": sorrel("photo-1.jpg")}
    assert served.told("POST", "/orders", 422, new)["where"] == "photos"


def test_orders_are_listed_a_part_at_a_time(served: Served, checks: list[Any]) -> None:
    keys = [served.begin(str(number)) for number in range(3)]
    lists = partial(served.told, "GET", "/orders", 200)

    def listed(**asked: str) -> list[str]:
        return [line["order"] for line in lists(query=tuple(asked.items()))["orders"]]

    first = lists(query=(("limit", "2"),))
    assert [line["order"] for line in first["orders"]] == keys[:2]
    rest = lists(query=(("limit", "2"), ("after", str(first["next"]))))
    assert ([line["order"] for line in rest["orders"]], rest["next"]) == (keys[2:], None)
    assert lists(query=(("limit", "4"),))["next"] is None
    assert lists(query=(("limit", "3"),))["next"] is not None
    assert listed(number="1") == keys[1:2]
    assert listed(number="9") == []
    assert listed(state="being_filled_in") == keys
    assert listed(state="waiting") == []
    (line,) = lists(query=(("number", "1"),))["orders"]
    assert (line["checked"], line["verdict"], line["headline"]) == (None, None, "")
    report = made_report(verdict="agrees")
    check = served.store.record_check(keys[1], served.store.draft(keys[1]), report, by="Ada")
    (line,) = lists(query=(("number", "1"),))["orders"]
    assert (line["verdict"], line["headline"]) == ("agrees", report.headline)
    assert line["checked"][:16] == check.at.isoformat()[:16]
    assert listed(state="waiting") == [keys[1]]


def test_an_order_tells_how_far_it_has_come(served: Served) -> None:
    key = served.begin("1")
    told = served.told("GET", f"/orders/{key}", 200)
    assert (told["state"], told["check"], told["decision"]) == ("being_filled_in", None, None)
    assert [gap["step"] for gap in told["lacking"]] == ["photo"]
    for part in ("report", "cut"):
        assert served.told("GET", f"/orders/{key}/{part}", 404)["where"] == "order"
    store = served.store
    name = store.keep_photo(key, JPEG)
    checked = [store.record_check(key, store.draft(key), made_report(), by="Ada") for _ in "ab"]
    store.decide(key, "accepted", by="Ben", reason="private", message="Thank you")
    told = served.told("GET", f"/orders/{key}", 200)
    assert [photo["name"] for photo in told["photos"]] == [name]
    assert (told["check"]["number"], told["check"]["by"]) == (checked[1].number, "Ada")
    assert told["check"]["verdict"] == made_report().verdict
    decided = told["decision"]
    assert (decided["choice"], decided["check"]) == ("accepted", checked[1].number)
    assert decided["message"] == "Thank you"
    assert "private" not in str(told)
    assert served.told("GET", f"/orders/{key}/report", 200)["headline"] == made_report().headline
    cut = served.told("GET", f"/orders/{key}/cut", 200)
    assert (cut["check"], cut["state"]) == (checked[1].number, "accepted")


def test_nobody_sees_what_another_program_began_where_the_shop_says_so(served: Served) -> None:
    key = served.begin("1")
    own, whole = served.beside("Own", own=True), served.beside("Whole")
    assert whole.told("GET", f"/orders/{key}", 200)["number"] is None
    unknown = own.ask("GET", "/orders/" + "x" * 43)
    for method, part, body in (
        ("GET", "", None),
        ("GET", "/case", None),
        ("PUT", "/case", sorrel()),
        ("POST", "/checks", None),
        ("GET", "/report", None),
        ("GET", "/cut", None),
    ):
        assert own.ask(method, f"/orders/{key}{part}", body).content == unknown.content, part
    photo = own.ask("POST", f"/orders/{key}/photos", JPEG, content_type="image/jpeg")
    assert photo.content == unknown.content
    assert own.told("GET", "/orders", 200)["orders"] == []
    assert own.told("GET", "/changes", 200)["changes"] == []


def test_a_case_is_put_only_in_the_place_of_the_one_that_was_read(served: Served) -> None:
    key = served.begin("1")
    path = f"/orders/{key}/case"
    read = served.ask("GET", path)
    case, tag = json.loads(read.content), read.headers["ETag"]
    served.told("PUT", path, 412, case | {"name": "Lost"}, if_match='"other"')
    assert served.ask("GET", path).content == read.content
    served.told("PUT", path, 200, case | {"name": "First"}, if_match=f'"other", {tag}')
    served.told("PUT", path, 412, case | {"name": "Lost"}, if_match=tag)
    for number, headers in enumerate(({}, {"if_match": "*"}, {"if_match": " * "})):
        served.told("PUT", path, 200, case | {"name": f"Any {number}"}, **headers)
    assert served.told("GET", path, 200)["name"] == "Any 2"
    named = served.told("PUT", path, 422, sorrel("photo-1.jpg"))
    assert named["where"] == "photos"
    served.store.keep_photo(key, JPEG)
    served.told("PUT", path, 200, sorrel("photo-1.jpg"))


def test_what_was_read_is_not_sent_again(served: Served) -> None:
    key = served.begin("1")
    read = served.ask("GET", f"/orders/{key}")
    assert read.headers["ETag"] == tag_of(read.content)
    # What is said of people's dogs stays in no cache between (RFC 9111, 5.2.2.7).
    assert read.headers["Cache-Control"] == "private, no-cache"
    tag = read.headers["ETag"]
    again = served.ask("GET", f"/orders/{key}", if_none_match=f'"other", {tag}')
    assert (again.status, again.content) == (304, b"")
    assert again.headers["ETag"] == tag  # RFC 9110, 15.4.5
    assert served.ask("GET", f"/orders/{key}", if_none_match='"other"') == read
    assert "ETag" not in served.ask("GET", "/orders").headers


def test_a_photo_comes_in_once_and_stands_in_the_case(served: Served) -> None:
    key = served.begin("1")
    path = f"/orders/{key}/photos"
    photo = _photo()
    sent = partial(served.told, "POST", path, content_type="application/octet-stream")
    name = sent(201, photo)["photo"]
    assert sent(200, photo) == {"photo": name}
    assert [one.file for one in served.store.draft(key).photos] == [name]
    assert [one.name for one in served.store.photos(key)] == [name]
    served.store.save_draft(key, Draft())
    assert sent(200, photo) == {"photo": name}
    assert [one.file for one in served.store.draft(key).photos] == [name]
    for nothing in (b"", b"no photo", b"\0\0\0\x18ftypheic" + bytes(99)):
        assert served.ask("POST", path, nothing, content_type="image/heic").status == 422


def _photo() -> bytes:
    import cv2
    import numpy as np

    return bytes(cv2.imencode(".png", np.full((200, 300, 3), 90, np.uint8))[1])


# --- checks -----------------------------------------------------------------------


def ready(served: Served, number: str = "1") -> str:
    """An order that lacks nothing."""
    key = served.begin(number, language="de")
    name = served.store.keep_photo(key, JPEG + number.encode())
    served.told("PUT", f"/orders/{key}/case", 200, sorrel(name))
    return key


def test_a_check_stands_until_something_changes(
    served: Served, checks: list[dict[str, Any]]
) -> None:
    key = ready(served)
    check = partial(served.told, "POST", f"/orders/{key}/checks")
    told = check(201)
    assert (told["state"], told["check"]["by"], told["lacking"]) == ("waiting", "Printer", [])
    assert check(200) == told
    case = served.told("GET", f"/orders/{key}/case", 200)
    served.told("PUT", f"/orders/{key}/case", 200, case | {"name": "Another"})
    assert check(201)["check"]["number"] > told["check"]["number"]
    # What was told before stands: staff have corrected it since.
    served.told("PUT", f"/orders/{key}/case", 200, case)
    check(200)
    assert len(checks) == 2
    assert checks[0]["draft"].to_dict() == case


@pytest.mark.parametrize("what", ["tolerances", "ratios"])
def test_what_the_shop_holds_by_makes_a_check_anew(
    served: Served,
    checks: list[dict[str, Any]],
    what: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    key = ready(served)
    check = partial(served.ask, "POST", f"/orders/{key}/checks")
    assert [check().status for _ in range(2)] == [201, 200]
    if what == "tolerances":
        other = Shop(heic=False, tolerances="half_neck=5%")
        served = Served(replace(served.desk, shop=lambda: other), served.client)
        assert served.ask("POST", f"/orders/{key}/checks").status == 201
        assert served.ask("POST", f"/orders/{key}/checks").status == 200
    else:
        used = learnt()
        monkeypatch.setattr(Shop, "learnt", lambda _: used)
        assert [check().status for _ in range(2)] == [201, 200]
        assert checks[-1]["ratios"] is used


def test_a_check_of_another_program_version_does_not_stand(
    served: Served, checks: list[dict[str, Any]]
) -> None:
    key = ready(served)
    other = replace(made_report(), version="another", tolerances=Shop().tolerated().all())
    served.store.record_check(key, served.store.draft(key), other, by="Printer")
    check = partial(served.ask, "POST", f"/orders/{key}/checks")
    assert [check().status for _ in range(2)] == [201, 200]


def test_what_is_lacking_is_told_in_the_owners_language(
    served: Served, checks: list[dict[str, Any]]
) -> None:
    key = served.begin("1", language="de")
    told = served.told("POST", f"/orders/{key}/checks", 422)
    assert [gap["step"] for gap in told["lacking"]] == ["photo"]
    assert "Foto" in told["lacking"][0]["sentence"]
    assert checks == []


# --- whom it is told --------------------------------------------------------------


def subscribe(served: Served, status: int = 201) -> Any:
    asked = {"address": "https://hooks.example/told"}
    return served.told("POST", "/subscriptions", status, asked)


def test_a_subscription_is_its_clients_own_and_there_are_few(served: Served) -> None:
    made = [subscribe(served) for _ in range(MOST_SUBSCRIPTIONS)]
    assert len({one["secret"] for one in made}) == MOST_SUBSCRIPTIONS == 5
    subscribe(served, 409)
    other = served.beside("Other")
    subscribe(other)
    number = made[0]["subscription"]
    assert other.ask("DELETE", f"/subscriptions/{number}").status == 404
    ended = served.ask("DELETE", f"/subscriptions/{number}")
    assert (ended.status, ended.content) == (204, b"")
    subscribe(served)  # what has ended takes no place
    listed = served.told("GET", "/subscriptions", 200)["subscriptions"]
    assert [one["why"] for one in listed] == ["client"] + [""] * 5
    assert [one["ended"] is None for one in listed] == [False] + [True] * 5
    assert "secret" not in listed[0]


def test_a_subscription_is_told_what_comes_after_it(served: Served) -> None:
    served.begin("before")
    subscribe(served)
    served.begin("after")
    changes = served.told("GET", "/changes", 200)
    assert [one["number"] for one in changes["changes"]] == ["before", "after"]
    last = changes["changes"][-1]["change"]
    assert changes["next"] == last
    after = (("after", str(changes["changes"][0]["change"])),)
    assert len(served.told("GET", "/changes", 200, query=after)["changes"]) == 1
    nothing = served.told("GET", "/changes", 200, query=(("after", str(last)),))
    assert nothing == {"changes": [], "next": last}
    (one,) = served.told("GET", "/subscriptions", 200)["subscriptions"]
    assert (one["waiting"], one["said"]) == (1, "")


@pytest.mark.parametrize(
    ("called", "status"),
    [
        ("https://elsewhere.example/", 403),
        ("http://hooks.example/", 422),
        ("https://me@hooks.example/", 422),
        ("https://hooks.example/" + "x" * 478, 201),  # 500 in all
        ("https://hooks.example/" + "x" * 479, 422),
    ],
)
def test_only_where_the_shop_lets_it_may_it_be_called(
    served: Served, called: str, status: int
) -> None:
    assert served.ask("POST", "/subscriptions", {"address": called}).status == status


def test_a_program_learns_who_it_is(served: Served) -> None:
    own = served.beside("Own", own=True)
    told = own.told("GET", "/client", 200)
    assert told == {"name": "Own", "sees": "own", "calls": ["hooks.example"]}
    assert served.told("GET", "/client", 200)["sees"] == "shop"


# --- what is counted, and what becomes of what goes wrong ---------------------------


def test_what_costs_is_counted_and_what_reads_is_not(served: Served) -> None:
    class Noting(Rates):
        def count(self, what: str, who: str, *, cost: int = 1) -> None:
            counted.append((what, who, cost))

    counted: list[tuple[str, str, int]] = []
    served = Served(replace(served.desk, counts=Noting()), served.client)
    key = served.begin("1")
    served.ask("PUT", f"/orders/{key}/case", sorrel())
    served.ask("POST", f"/orders/{key}/checks")
    for size in (1, 1_000_000, 1_000_001):
        path = f"/orders/{key}/photos"
        served.ask("POST", path, bytes(size), content_type="image/png")
    for path in ("/orders", f"/orders/{key}", "/changes", "/client", "/openapi.json"):
        assert served.ask("GET", path).status == 200
    assert counted == [
        ("orders of client", "printer", 1),
        ("orders of client", "printer", 1),
        ("checks of client", "printer", 1),
        *(
            (what, "printer", cost)
            for megabytes in (1, 1, 2)
            for what, cost in (("photos of client", 1), ("megabytes of client", megabytes))
        ),
    ]


def test_what_is_too_often_is_refused_before_it_is_done(served: Served) -> None:
    few = Rates({name: rate.__class__(1) for name, rate in RATES.items()})
    served = Served(replace(served.desk, counts=few), served.client)
    served.begin("1")
    refused = served.ask("POST", "/orders", {"number": "2", "case": sorrel()})
    assert (refused.status, refused.headers["Retry-After"]) == (429, "60")
    assert len(served.store.lines()) == 1


@pytest.mark.parametrize(
    ("error", "status", "later"),
    [
        (DecodingFailedError("x"), 500, False),
        (TooOftenError("x"), 429, True),
        (BusyError("x"), 503, True),
        (StoreError("x"), 503, True),
        (SecretError("x"), 503, True),
        (OrderError("x"), 409, False),
        (CaseError("x"), 422, False),
    ],
)
def test_every_error_has_its_status(error: Any, status: int, later: bool) -> None:
    said = problem_of(error)
    assert (said.status, said.kind) == (status, "application/problem+json")
    assert said.headers.get("Retry-After") == ("60" if later else None)
    assert said.headers["Cache-Control"] == "no-store"
    told = json.loads(said.content)
    assert (told["status"], told["wrong"], told["type"]) == (status, "x", "about:blank")


def test_a_fault_of_the_program_is_told_as_one(
    served: Served, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def broken(*_: Any) -> None:
        raise KeyError("a secret")

    monkeypatch.setitem(answering._DOING, "whoami", broken)  # type: ignore[arg-type]
    said = served.ask("GET", "/client")
    assert said.status == 500
    assert b"secret" not in said.content
    assert caplog.records[-1].exc_info


def test_the_shops_own_broken_files_are_no_programs_fault(served: Served) -> None:
    key = ready(served)
    broken = Shop(heic=False, shelf=os.devnull + "/nowhere.csv")
    served = Served(replace(served.desk, shop=lambda: broken), served.client)
    for method, part in (("POST", "checks"), ("GET", "cut")):
        said = served.ask(method, f"/orders/{key}/{part}")
        assert (said.status, said.headers["Retry-After"]) == (503, "60")


def test_a_client_that_was_ended_leaves_nothing_to_be_told(served: Served) -> None:
    from datetime import UTC, datetime

    from photocheck.server.access.clients import end_client

    secret = new_secret()
    assert secret.sha256 != new_secret().sha256
    subscribe(served)
    served.begin("1")
    served.told("GET", "/changes", 200)
    (one,) = subscriptions_of(served.store)
    assert one.waiting == 1
    end_client(served.store, "Printer")
    (one,) = subscriptions_of(served.store)
    assert (one.why, one.waiting) == ("client", 0)
    assert take_due(served.store, now=datetime.now(UTC), lease_s=1) is None


# --- the document -------------------------------------------------------------------


def test_the_document_says_of_every_operation_how_it_may_be_refused() -> None:
    for one in OPERATIONS:
        said = openapi()["paths"][one.path][one.method.lower()]
        refused = {int(status) for status in said["responses"]} - set(one.answers)
        assert refused >= {401, 429, 500, 503, *one.refusals}
        # what stands behind the question mark may be wrong; a DELETE has nothing there
        assert (400 in refused) == (one.method != "DELETE"), one.id
        assert (304 in refused) == one.tagged
        assert ("requestBody" in said) == bool(one.body)
        named = {told["name"]: told for told in said.get("parameters", ())}
        assert set(named) == {*one.names, *(parameter.name for parameter in one.parameters)}
        for name in one.names:
            assert (named[name]["in"], named[name]["required"]) == ("path", True)
        for status, told in said["responses"].items():
            headers = set(told.get("headers", ()))
            begun = one.id == "create_order" and status == "201"
            tagged = one.tagged and int(status) in one.answers
            assert headers == ({"Location"} if begun else {"ETag"} if tagged else set())
        if one.body:
            assert said["requestBody"]["required"]
    assert openapi()["webhooks"]["change"]["post"]["requestBody"]["required"]


def test_which_answers_are_told_apart_by_their_tags() -> None:
    """Those of one order that a program may read again and again, and the document itself."""
    assert {one.id for one in OPERATIONS if one.tagged} == {
        *("describe", "read_order", "read_case", "read_report", "read_cut"),
    }


def test_nobody_reads_another_shape_than_the_types_have() -> None:
    assert shape_of(tuple[str, ...]) == {"type": "array", "items": {"type": "string"}}
    pair = shape_of(tuple[int, float])
    assert (pair["minItems"], pair["maxItems"], len(pair["prefixItems"])) == (2, 2, 2)
    assert shape_of(int | None) == {"anyOf": [{"type": "integer"}, {"type": "null"}]}
    assert shape_of(Mapping[str, bool])["additionalProperties"] == {"type": "boolean"}
    for unknown in (set, list[int], object):
        with pytest.raises(TypeError):
            shape_of(unknown)
    calls = shape_of(Calls)
    assert (calls["additionalProperties"], calls["required"]) == (False, ["hosts", "private"])


@pytest.mark.parametrize("number", ["1e999", "-1e999", "1" + "0" * 4000])
def test_a_number_that_nothing_holds_is_the_clients_fault(served: Served, number: str) -> None:
    """It ended in "the program failed": Python reads 1e999, and nothing can write infinity."""
    body = as_json({"number": "1", "case": {**sorrel(), "dog": {"girth": "GIRTH"}}})
    asked = body.replace(b'"GIRTH"', number.encode())
    said = served.told("POST", "/orders", 400, asked, **{"content-type": "application/json"})
    assert "is too large" in said["wrong"]
    assert served.told("GET", "/orders", 200)["orders"] == []


def test_a_body_full_of_faults_is_answered_by_one(
    served: Served, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 400 kB each of a hundred thousand faults was made an object: 12 s of the interpreter."""
    many = MOST_ASKED_BYTES // 4
    said = served.told(
        "POST", "/orders", 422, {"number": "1", "case": {**sorrel(), "photos": [1] * many}}
    )
    assert said["wrong"] == f"{many} given here, at most 12 needed"


def test_tags_are_compared_as_http_has_it(served: Served) -> None:
    """RFC 9110, 13.1.1 (If-Match: no weak tag is the same) and 13.1.2 ("*" is any)."""
    key = served.begin("1")
    path = f"/orders/{key}/case"
    tag = served.ask("GET", path).headers["ETag"]
    for header in ("*", f"W/{tag}", f'"other",{tag}'):
        assert served.ask("GET", path, if_none_match=header).status == 304, header
    for header in ('"other"', tag[:-2] + '"', tag.strip('"')):
        assert served.ask("GET", path, if_none_match=header).status == 200, header
    served.told("PUT", path, 412, sorrel(), if_match=f"W/{tag}")
    served.told("PUT", path, 200, sorrel(), if_match=f'W/"x", {tag}')


@pytest.mark.parametrize("number", ["a\0", "a\n", "\ud800", "\u202e1"])
def test_no_order_is_looked_for_by_what_cannot_be_printed(served: Served, number: str) -> None:
    """PostgreSQL knows no NUL in a text, and no half of a surrogate pair (its manual, 8.3)."""
    said = served.told("GET", "/orders", 400, query=(("number", number),))
    assert said["where"] == "number"
