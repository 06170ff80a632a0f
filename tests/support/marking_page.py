"""A page with nothing but the marking surface, for the browser tests; the address says which.

Query: photo (a sample's folder, or "large" for 12 MP), shape, seen, truth, read_only,
alone (the reference and no landmarks), told (what is wrong with the marks).
"""

from __future__ import annotations

import dataclasses
import json

import cv2
import numpy as np
import streamlit as st

from photocheck.judge.marks_told import told_at_once
from photocheck.photo.load import load_photo
from photocheck.words import HELPER_LANDMARKS, LANDMARKS
from photocheck_app.marking import Placed, marking_surface
from tests.support.places import SAMPLES

SEEN = ((620.0, 820.0), (740.0, 815.0), (745.0, 1010.0), (630.0, 1015.0))


@st.cache_resource
def photo(name: str) -> np.ndarray:
    if name == "large":
        return cv2.resize(photo("flint"), (4000, 3000), interpolation=cv2.INTER_CUBIC)
    return load_photo(SAMPLES / name / "side.jpg").rgb


asked = st.query_params
name = asked.get("photo", "flint")
truth = {}
if asked.get("truth"):
    seen = json.loads((SAMPLES / name / "truth.json").read_text())["photos"][0]
    truth = {mark: tuple(xy) for mark, xy in seen["landmarks_px"].items()}

st.set_page_config(page_title="Marking")
st.title("Marking")
with st.container(height=100):  # of a fixed height: nothing below it moves when it is filled
    place = st.empty()


def keep(placed: Placed) -> None:
    """As a real page does: the component's own value goes when the component goes."""
    st.session_state["kept"] = placed


def known() -> Placed:
    """What the browser has sent by now, as a page that keeps everything first has it."""
    readers = st.session_state.get("photocheck marking readers", {})
    return (readers["photo"]() if readers else None) or st.session_state.get("kept", Placed())


if st.checkbox("Photo shown", value=True):
    now = known()
    placed = marking_surface(
        photo(name),
        key="photo",
        start=st.session_state.get("kept", Placed()),
        landmarks=() if asked.get("alone") else LANDMARKS,
        optional=() if asked.get("alone") else HELPER_LANDMARKS,
        reference_shape=asked.get("shape", "none"),
        reference_seen=SEEN if asked.get("seen") else (),
        truth=truth,
        read_only=bool(asked.get("read_only")),
        told=told_at_once(now.marks, 2000.0) if asked.get("told") else None,
        on_placed=keep,
    )
    keep(placed)
st.session_state["runs"] = st.session_state.get("runs", 0) + 1
st.button("Run again")
answer = {
    "runs": st.session_state["runs"],
    **dataclasses.asdict(st.session_state.get("kept", Placed())),
}
place.html(f"<p id='answer'>{json.dumps(answer)}</p>")
