"""How the landmarks are found: a drawing and a few words for each."""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import Final

import streamlit as st

from photocheck.practice.sentences import CAUTIONS, HOW_TO_FIND, mark_title
from photocheck.speech import tr
from photocheck.words import LANDMARK_HINTS, LANDMARKS
from photocheck_app.doors.paths import SHEET
from photocheck_app.shared import lead_to, svg_picture

_DOG: Final = Path(__file__).parents[1] / "marking" / "dog.svg"
# The drawing's own parts, on a light ground of its own: the page's may be dark.
_STYLE: Final = """<style>
svg{background:#f3efe6;border-radius:14px}
.dog-object{display:none}
.dog-body{fill:#fff;stroke:#1b2a30;stroke-width:3;stroke-linejoin:round}
.dog-line{fill:none;stroke:#1b2a30;stroke-width:2;stroke-linecap:round}
.dog-far path{fill:#e9edef;stroke:#8a979e;stroke-width:2;stroke-linejoin:round}
.dog-eye,.dog-nose{fill:#1b2a30}
.dog-harness path{fill:none;stroke:#8a979e;stroke-width:2;stroke-dasharray:5 5}
.dog-points circle{opacity:0}
.dog-points circle.here{opacity:1;fill:#b3400a;stroke:#fff;stroke-width:2}
</style>"""


@cache
def landmark_svg(landmark: str) -> str:
    """The dog of the marking surface with one landmark brought out, as SVG."""
    svg = _DOG.read_text(encoding="utf-8")
    spot = f'<circle data-landmark="{landmark}"'
    svg = svg.replace(spot, f'{spot} class="here"').replace('r="4"', 'r="9"')
    head, tail = svg.split(">", 1)
    return f"{head}>{_STYLE}{tail}"


def show_how() -> None:
    """All four landmarks, and what to mind with a living dog."""
    for name in LANDMARKS:
        drawn, said = st.columns([1, 2], vertical_alignment="center")
        with drawn:
            where = tr(
                "Drawing: {mark}, {hint}", mark=mark_title(name), hint=tr(LANDMARK_HINTS[name])
            )
            st.html(svg_picture(landmark_svg(name), where, "220px"))
        with said:
            st.markdown(f"**{mark_title(name)}**  \n{tr(HOW_TO_FIND[name])}")
    st.markdown(
        ":material/sell: "
        + tr(
            "Surer than any eye: tags on the dog. They are put on before the tape, each with its "
            "tip at its point; the tape is held at the tips, and the photo shows them. Then the "
            "marks place themselves, and only what no tag shows is marked by hand."
        )
    )
    lead_to(SHEET, tr("Print the tags"), ":material/print:")
    show_cautions()


def show_cautions() -> None:
    """What to mind with a living dog."""
    st.warning(" ".join(tr(caution) for caution in CAUTIONS), icon=":material/pets:")
