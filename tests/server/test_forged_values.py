"""A program of a stranger's that sends what no page sends: it harms nobody, and is soon told."""

from __future__ import annotations

import asyncio
import json
from pathlib import Path
from typing import Any

import pytest
from streamlit.proto.WidgetStates_pb2 import WidgetState

from tests.support.visitors.serving import served
from tests.support.visitors.wire import Wire

DEEP = json.dumps({"placed": [[[[[[[[[[[[[[[[[[[[[[[[[["deep"]]]]]]]]]]]]]]]]]]]]]]]]]]})


def _forged(name: str) -> list[WidgetState]:
    """Of every kind that there is, for one field (streamlit.proto.WidgetStates)."""
    kinds: list[dict[str, Any]] = [
        {"trigger_value": True},
        {"bool_value": True},
        {"double_value": float("nan")},
        {"int_value": 2**63 - 1},
        {"string_value": "36 cm"},
        {"json_value": "["},
        {"json_value": DEEP},
        {"json_trigger_value": "[" * 50_000},
        {"bytes_value": b"\xff"},
    ]
    states = [WidgetState(id=name, **kind) for kind in kinds]
    lists = [WidgetState(id=name) for _ in range(3)]
    lists[0].string_array_value.data.append("\0")
    lists[1].int_array_value.data.append(-1)
    lists[2].file_uploader_state_value.uploaded_file_info.add(file_id="another session's")
    return [*states, *lists]


def _fields(wire: Wire) -> list[str]:
    """One of each kind."""
    kinds = ("button", "radio", "text_input", "button_group", "bidi_component")
    return [widget.id for kind in kinds for widget in wire.all(kind)[:1]]


async def _forge(address: str) -> tuple[str, int]:
    """What is kept of what a visitor typed, after a stranger sent so many forged values."""
    stranger, visitor, again = Wire(address), Wire(address), Wire(address)
    sent = 0
    try:
        await visitor.open("/?begin=careful&step=half_neck")
        await stranger.open("/?begin=careful&step=half_neck")
        label = visitor.all("text_input")[0].label
        await visitor.type(label, "36.5 cm")
        for name in [*_fields(stranger), "photocheck store away", "x" * 3000]:
            for state in _forged(name):
                await stranger.run(state)
                stranger._values.pop(name, None)
                sent += 1
        # Its own page goes on, and so does the visitor's.
        await stranger.run()
        await visitor.run()
        await again.open(f"/?{visitor.query}")
        return str(again.the("text_input", label).default), sent
    finally:
        for wire in (stranger, visitor, again):
            await wire.close()


@pytest.mark.slow
def test_forged_values_are_taken_for_none(tmp_path: Path) -> None:
    """`Wire` raises where a page shows an error of the framework's."""
    with served(tmp_path) as app:
        typed, sent = asyncio.run(_forge(app.address))
        log = app.log.read_text()
    assert (typed, sent > 60) == ("36.5 cm", True)
    assert "Traceback" not in log
    assert "it is taken for none" in log
    assert len(log) < 40_000
