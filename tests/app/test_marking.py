"""The marking surface's Python side: pictures for the screen, what goes out, what comes back."""

from __future__ import annotations

import json
from io import BytesIO

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from photocheck.errors import PhotoError
from photocheck.shown.display import DISPLAY_SIDE, SHARP_SIDE, display_copies
from photocheck.words import ALL_LANDMARKS, BENDABLE_SPANS, LANDMARKS
from photocheck_app.marking import Placed, reference_complete
from photocheck_app.marking.surface import _understood
from photocheck_app.marking.texts import TEXTS

SENT = {
    "mount": "m",
    "shape": "corners",
    "marks": {"breastbone": [10.25, 20], "tail_base": [90, 20]},
    "bends": {"half_neck": [[12, 15]], "rear_length": []},
    "reference": [[1, 2], [3, 2], [3, 4], [1, 4]],
}
SIZE = (100, 80)


def opened(jpeg: bytes) -> np.ndarray:
    return np.asarray(Image.open(BytesIO(jpeg)).convert("RGB"))


@pytest.mark.slow
@pytest.mark.parametrize("shape", [(3000, 4000), (6000, 4500)])
def test_copies_keep_every_part_of_the_photo_in_its_place(shape):
    height, width = shape
    photo = np.zeros((height, width, 3), np.uint8)
    top, left = height // 3, width // 4
    photo[top:, left:] = 255
    for copy, side in zip(display_copies(photo), (DISPLAY_SIDE, SHARP_SIDE), strict=True):
        small = opened(copy.jpeg)
        assert small.shape[:2] == (copy.height, copy.width)
        assert max(small.shape) <= side
        bright = small[..., 1].astype(float) / 255
        # the share of dark rows and columns gives the edge to a fraction of a pixel
        edge_x = (1 - bright[-1]).sum() / copy.width * width
        edge_y = (1 - bright[:, -1]).sum() / copy.height * height
        assert (edge_x, edge_y) == pytest.approx((left, top), abs=0.3)


def test_small_photos_are_not_enlarged_and_sent_once():
    (copy,) = display_copies(np.full((300, 400, 3), 90, np.uint8))
    assert (copy.width, copy.height) == (400, 300)
    assert opened(copy.jpeg).mean() == pytest.approx(90, abs=1)


def test_colours_keep_their_order():
    photo = np.zeros((200, 200, 3), np.uint8)
    photo[..., 0] = 200
    assert opened(display_copies(photo)[0].jpeg)[100, 100] == pytest.approx([200, 0, 0], abs=4)


@pytest.mark.parametrize(
    "photo", [np.zeros((200, 200), np.uint8), np.zeros((200, 200, 3), np.float64)]
)
def test_what_is_no_colour_picture_is_said(photo):
    with pytest.raises(PhotoError):
        display_copies(photo)


def test_what_the_browser_sends_becomes_points():
    placed = _understood(SENT, LANDMARKS, SIZE, "corners", 4)
    assert placed == Placed(
        {"breastbone": (10.25, 20.0), "tail_base": (90.0, 20.0)},
        {"half_neck": ((12.0, 15.0),)},
        ((1.0, 2.0), (3.0, 2.0), (3.0, 4.0), (1.0, 4.0)),
    )
    assert reference_complete(placed, "corners")
    assert not reference_complete(Placed(), "corners")


def test_a_reference_of_another_shape_is_dropped():
    assert _understood(SENT, LANDMARKS, SIZE, "ends", 2).reference == ()


def test_points_outside_the_photo_are_brought_to_its_edge():
    sent = {**SENT, "marks": {"breastbone": [-5, 1e9]}}
    assert _understood(sent, LANDMARKS, SIZE, "corners", 4).marks == {"breastbone": (0.0, 79.0)}


@pytest.mark.parametrize(
    "change",
    [
        {"marks": None},
        {"marks": {"breastbone": [1]}},
        {"marks": {"breastbone": ["x", 2]}},
        {"marks": {"breastbone": [float("nan"), 2]}},
        {"bends": [1]},
        {"reference": 3},
    ],
)
def test_what_the_surface_never_sends_is_not_believed(change):
    assert _understood({**SENT, **change}, LANDMARKS, SIZE, "corners", 4) is None


def test_every_landmark_and_line_has_its_words():
    for name in ALL_LANDMARKS:
        assert TEXTS[f"title.{name}"]
        assert TEXTS[f"hint.{name}"]
    assert all(TEXTS[f"span.{span}"] for span in BENDABLE_SPANS)


def page() -> None:
    import numpy as np
    import streamlit as st

    from photocheck_app.marking import Placed, marking_surface

    # Another start with every run, as a page gives that passes back what it was given.
    st.session_state["runs"] = st.session_state.get("runs", 0) + 1
    start = Placed({"breastbone": (float(st.session_state["runs"]), 2.0)})
    photo = np.full((120, 160, 3), st.session_state.get("grey", 90), np.uint8)
    placed = marking_surface(photo, key="photo", start=start, words={"undo": "Zurück"})
    st.text(placed.marks["breastbone"][0])


def sent_out(app: AppTest) -> dict:
    (component,) = app.get("bidi_component")
    return json.loads(component.proto.json)


def test_reruns_send_the_browser_nothing_new():
    """The surface is called again only when its data changes: the data must not."""
    app = AppTest.from_function(page).run()
    first = sent_out(app)
    assert first["start"]["marks"] == {"breastbone": [1.0, 2.0]}
    assert first["words"]["undo"] == "Zurück"
    assert first["words"]["redo"] == TEXTS["redo"]
    assert len(json.dumps(first)) < 10_000, "the photo itself must not be in there"
    for _ in range(2):
        app.run()
        assert sent_out(app) == first
    assert app.text[0].value == "1.0"


def test_another_photo_under_the_same_key_begins_anew():
    app = AppTest.from_function(page).run()
    first = sent_out(app)
    app.session_state["grey"] = 140
    app.run()
    second = sent_out(app)
    assert second["mount"] != first["mount"]
    assert second["pictures"] != first["pictures"]
    assert second["start"]["marks"] == {"breastbone": [2.0, 2.0]}


def test_two_visitors_get_different_addresses_for_the_same_photo():
    one, other = (sent_out(AppTest.from_function(page).run()) for _ in range(2))
    assert one["pictures"][0]["url"] != other["pictures"][0]["url"]
