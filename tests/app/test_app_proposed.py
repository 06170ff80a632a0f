"""The owner's way with proposals: what is given to the surface, what is kept, photos refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
import streamlit as st
from streamlit.testing.v1 import AppTest

from photocheck.orders import worn_tags as finding
from photocheck.propose.network import WeightsError
from photocheck.scale.tags_seen import NO_TAGS
from photocheck.server import bench
from photocheck.server.serving import STORE_VARIABLE
from photocheck.words import LANDMARKS
from photocheck_app import shared
from photocheck_app.doors import settings
from photocheck_app.marking import Placed
from photocheck_app.owner import marks as marks_step
from tests.support.dots import Dots, facts
from tests.support.owner_at_photo import at_photo
from tests.support.places import APP, ROOT, SAMPLES
from tests.support.tagged_photo import by_opencv, tagged

pytestmark = pytest.mark.usefixtures("decoded_here")

SIDE = (SAMPLES / "flint" / "side.jpg").read_bytes()
ToPhoto = Callable[..., AppTest]


class Told(Dots):
    """Sees every point in the middle of its look, whatever the photo shows."""

    def see(self, look_rgb: Any) -> Any:
        import numpy as np

        from photocheck.propose.network import SeenInLook

        self.seen.append(look_rgb)
        cells = self.facts.cells
        heat = np.full((len(self.facts.points), cells, cells), -30.0, np.float32)
        for number in range(len(heat)):
            heat[number, 20 + 3 * number, 31:33] = 0.0
        kind = [self.sure if kind == self.kind else 0.0 for kind in self.facts.kinds]
        frame = np.array([0.2, 0.2, 0.8, 0.8], np.float32)
        return SeenInLook(heat, np.array(kind, np.float32), 1.0, frame)


@pytest.fixture
def to_photo(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[ToPhoto]:
    """An order with its readings and one photo, at the step of the photo."""
    monkeypatch.setenv(STORE_VARIABLE, str(tmp_path / "orders.sqlite3"))
    settings.close_stores()
    st.cache_data.clear()

    def went(network: Dots, content: bytes = SIDE) -> AppTest:
        monkeypatch.setattr(bench, "shared", lambda: network)
        return at_photo(content)

    yield went
    st.cache_data.clear()


@pytest.fixture(autouse=True)
def _no_tags(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finding, "find_tags", lambda *_, **__: NO_TAGS)


def address(page: AppTest, name: str) -> str:
    value = page.query_params[name]
    return value[0] if isinstance(value, list) else value


def order_of(page: AppTest) -> str:
    return address(page, "order")


def photo_of(page: AppTest) -> dict[str, Any]:
    (photo,) = shared.owners_store().draft(order_of(page)).to_dict()["photos"]
    assert isinstance(photo, dict)
    return photo


def press(page: AppTest, key: str) -> AppTest:
    page.button(key=key).click().run()
    assert not page.exception
    return page


def warned(page: AppTest) -> str:
    return "\n".join(str(element.value) for element in page.warning)


def keys(page: AppTest) -> set[str]:
    return {str(button.key) for button in page.button}


def at_marks(page: AppTest) -> AppTest:
    page.radio(key=f"cards_place_{photo_of(page)['file']}").set_value("middle").run()
    assert not page.exception
    assert address(page, "step") == "marks"
    return page


@pytest.fixture
def given(monkeypatch: pytest.MonkeyPatch) -> dict[str, Any]:
    """What the surface is given; it says what its owner placed, where that is told."""
    held: dict[str, Any] = {}

    def surface(*_: Any, **kwargs: Any) -> Placed:
        held.update(kwargs)
        placed: Placed = held.get("placed") or kwargs["start"]
        return placed

    monkeypatch.setattr(marks_step, "marking_surface", surface)
    return held


@pytest.mark.slow
def test_it_is_worked_out_at_the_upload_and_once(to_photo: ToPhoto, given: dict[str, Any]) -> None:
    network = Told()
    page = to_photo(network)
    looks = len(network.seen)
    assert looks == 3
    page = at_marks(page).run()
    assert len(network.seen) == looks
    assert set(given["proposed"]) >= set(LANDMARKS)
    left, top, right, bottom = given["frame"]
    assert 0 <= left < right < 2000
    assert 0 <= top < bottom < 1500
    assert photo_of(page)["markings"] == []


@pytest.mark.slow
def test_what_is_confirmed_is_told_of_the_marking(to_photo: ToPhoto, given: dict[str, Any]) -> None:
    page = at_marks(to_photo(Told()))
    proposed = given["proposed"]
    mine = {**proposed, "tail_base": (1346.0, 640.0)}
    given["placed"] = Placed({name: mine[name] for name in ("breastbone", "tail_base")})
    page.run()
    (marking,) = photo_of(page)["markings"]
    assert marking["confirmed"] == ["breastbone"]
    assert set(marking["marks"]) == {"breastbone", "tail_base"}
    # dragged afterwards, it is by hand
    given["placed"] = Placed({"breastbone": (800.0, 700.0), "tail_base": mine["tail_base"]})
    page.run()
    assert "confirmed" not in photo_of(page)["markings"][0]


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["no_dog", "turned", "lying", "sitting", "bowing", "cut_off"])
def test_a_refused_photo_is_said_at_the_upload_and_can_be_gone_on_with(
    to_photo: ToPhoto, kind: str
) -> None:
    page = to_photo(Told(facts(refused_from={kind: 0.9}), kind=kind))
    assert "dog" in warned(page)
    file = photo_of(page)["file"]
    page = press(page, "next")
    assert address(page, "step") == "photo"
    page.radio(key=f"cards_place_{file}").set_value("middle").run()
    assert address(page, "step") == "photo"
    page = press(page, f"side_on/{file}")
    assert "dog" not in warned(page)
    assert f"side_on/{file}" not in keys(page)
    assert photo_of(page)["declined"] == ["view"]
    again = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
    again.query_params.update(page.query_params)
    assert "dog" not in warned(again.run())
    page = press(page, "next")
    assert address(page, "step") == "marks"


@pytest.mark.slow
def test_below_the_threshold_nothing_is_said(to_photo: ToPhoto, given: dict[str, Any]) -> None:
    page = to_photo(Told(facts(refused_from={"sitting": 0.9}), kind="sitting", sure=2.0))
    assert not warned(page)
    at_marks(page)
    assert given["proposed"] == {}


@pytest.mark.slow
def test_without_weights_all_goes_on(
    to_photo: ToPhoto, given: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    page = to_photo(Told())

    def missing() -> Any:
        raise WeightsError("no marks can be proposed")

    st.cache_data.clear()
    monkeypatch.setattr(bench, "shared", missing)
    page = at_marks(page.run())
    assert given["proposed"] == {}
    assert given["frame"] is None
    assert not page.error


@pytest.mark.slow
def test_tags_come_before_proposals(
    to_photo: ToPhoto, given: dict[str, Any], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(finding, "find_tags", by_opencv)
    network = Told(facts(refused_from={"sitting": 0.9}), kind="sitting")
    page = to_photo(network, tagged()[0])
    assert not network.seen
    assert "sit" not in warned(page)
    page = at_marks(page)
    assert not given
    press(page, "next")
    assert photo_of(page)["markings"][0]["by"] == "tags"
    assert not network.seen


def test_practice_proposes_nothing() -> None:
    """Whoever learns where the marks lie is shown none; nor does anything that judges a learner."""
    for folder in (APP / "practise", ROOT / "photocheck" / "practice"):
        for path in folder.rglob("*.py"):
            assert "propos" not in path.read_text(encoding="utf-8"), path
