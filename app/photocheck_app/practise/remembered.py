"""What outlasts a reload of the learner's page: the browser's own memory has it, in this tab.

A learner has no order, and nothing of a learner is stored by the server.
"""

from __future__ import annotations

import math
from typing import Any

import streamlit as st

from photocheck.case.model import Point
from photocheck.practice.dogs import practice_dogs
from photocheck.practice.pattern import attempts_from, attempts_to_list
from photocheck.words import LANDMARKS, UNITS
from photocheck_app.marking import Placed
from photocheck_app.practise.learner import Learner, learner

_memory = st.components.v2.component(
    "photocheck_practice",
    # A session that this tab does not know yet is told what the tab remembers; after that the
    # tab remembers what the session says.
    js="""export default function ({ data, setTriggerValue }) {
      const key = "photocheck practice";
      try {
        const held = sessionStorage.getItem(key);
        if (window.photocheckPractice !== data.session) {
          window.photocheckPractice = data.session;
          if (held) {
            setTriggerValue("back", JSON.parse(held));
            return;
          }
        }
        sessionStorage.setItem(key, JSON.stringify(data.kept));
      } catch { /* a browser without such memory: the page itself holds it */ }
    }""",
)


def remember() -> None:
    """Have the browser remember this visitor's practice, and take back what it remembers."""
    now = learner()
    data = {"session": now.session, "kept": to_remember(now)}
    _memory(data=data, key="practice_memory", on_back_change=_came_back)


def to_remember(now: Learner) -> dict[str, Any]:
    """Of a visitor's practice, what outlasts a reload."""
    return {
        "attempts": attempts_to_list(now.attempts),
        "unit": now.unit,
        "dog": now.dog,
        "marks": {name: list(xy) for name, xy in now.placed.marks.items()},
    }


def take_back(now: Learner, told: Any) -> None:
    """Go on from what a browser remembered, as far as it can be believed."""
    if not isinstance(told, dict):
        return
    dogs = [dog.name for dog in practice_dogs()]
    now.attempts[:0] = attempts_from(told.get("attempts"), dogs)
    if told.get("unit") in list(UNITS):
        now.unit = told["unit"]
    if told.get("dog") in dogs and not now.placed.marks and now.answer is None:
        now.begin(told["dog"])
        now.placed = Placed(_marks(told.get("marks")))


def _marks(told: Any) -> dict[str, Point]:
    try:
        found = {name: told[name] for name in LANDMARKS if name in told}
        marks = {name: (float(x), float(y)) for name, (x, y) in found.items()}
    except (TypeError, ValueError):
        return {}
    return marks if all(map(math.isfinite, sum(marks.values(), ()))) else {}


def _came_back() -> None:
    sent: Any = st.session_state.get("practice_memory", {})
    take_back(learner(), sent.get("back") if hasattr(sent, "get") else None)
