"""The marker sheet and the tags to print, and what to use without a printer."""

from __future__ import annotations

import tempfile
from pathlib import Path

import numpy as np
import streamlit as st

from photocheck.scale.sheet import draw_sheet_pdf, sheet_bitmap
from photocheck.scale.tag_layout import TAG_MM
from photocheck.shown.display import display_copies
from photocheck.shown.tag_page import draw_tags_pdf, how_to
from photocheck.speech import tr
from photocheck_app.shared import language, picture, usual_paper

PREVIEW_PX_PER_MM = 2.0


def page() -> None:
    """The whole page."""
    st.title(tr("Print the marker sheet"), anchor=False)
    st.write(
        tr(
            "The four squares tell the check how large things are and how the phone was held. "
            "The sheet is found in the photo by itself."
        )
    )
    papers = {"a4": tr("A4"), "letter": tr("Letter (North America)")}
    paper = st.radio(
        tr("Paper"),
        list(papers),
        index=list(papers).index(usual_paper()),
        format_func=papers.__getitem__,
        horizontal=True,
        key="paper",
    )
    # On a phone one below the other: what one came for first.
    left, right = st.columns([3, 2])
    with left:
        st.download_button(
            tr("Download the sheet (PDF)"),
            _pdf(paper, language()),
            f"photocheck-marker-sheet-{paper}.pdf",
            "application/pdf",
            type="primary",
            icon=":material/print:",
            width="stretch",
            on_click="ignore",
        )
        st.markdown(
            "\n".join(
                f"{number}. {line}"
                for number, line in enumerate(
                    (
                        tr("Print it at 100 %, in some programs called actual size: no fitting "
                           "to the page."),
                        _proof(paper),
                        tr("Glue it flat on a stiff board; a bent sheet measures wrong."),
                        tr("Stand it upright, level with the dog's middle, in front of the chest "
                           "or behind the tail, all four squares in the picture."),
                    ),
                    start=1,
                )
            )
        )  # fmt: skip
    with right:
        st.html(
            picture(_preview(paper), tr("The marker sheet: four black squares and two rulers."))
        )
    _tags(paper)
    st.header(tr("No printer?"), anchor=False)
    st.write(tr("Anything flat of known size will do, the larger the better:"))
    st.markdown(
        "\n".join(
            f"- {line}"
            for line in (
                tr("an empty A4 or letter sheet on a stiff board, before a darker ground"),
                tr("a stretch of ruler or tape whose two ends you can see in the photo"),
                tr("a round lid, or a ball, whose width you have measured"),
                tr("a bank or identity card turned blank side out: small, so go near; cover "
                   "its number"),
            )
        )
    )  # fmt: skip


def _tags(paper: str) -> None:
    st.header(tr("The surest: tags on the dog"), anchor=False)
    st.write(
        tr(
            "Small printed tags whose tips touch the points. Put them on before you measure, hold "
            "the tape at their tips, and take the photo with them on: they are found by "
            "themselves, and nobody has to mark anything."
        )
    )
    sizes = {"usual": tr("For most dogs"), "small": tr("For small dogs")}
    size = st.radio(
        tr("Size of the tags"),
        [size for size in TAG_MM if size in sizes],
        format_func=sizes.__getitem__,
        horizontal=True,
        key="tag_size",
    )
    st.download_button(
        tr("Download the tags (PDF, two pages)"),
        _tags_pdf(paper, size, language()),
        f"photocheck-tags-{size}-{paper}.pdf",
        "application/pdf",
        icon=":material/print:",
        on_click="ignore",
    )
    with st.expander(tr("How the tags are put on, and taken off")):
        st.markdown("\n".join(f"- {line}" for line in how_to()))


def _proof(paper: str) -> str:
    if paper == "letter":
        return tr(
            "Hold a ruler to both scales: the level one is 6 in long, the upright one 2 in. If "
            "they are not, print again; where both are off alike, you may type in at the photo "
            "what the thick bar measures (5 29/32 in when it is right)."
        )
    return tr(
        "Hold a ruler to both bars: the level one is 150 mm long, the upright one 50 mm. If they "
        "are not, print again; where both are off alike, you may type in at the photo what the "
        "level bar measures."
    )


@st.cache_data(show_spinner=False)
def _preview(paper: str) -> bytes:
    grey = sheet_bitmap(PREVIEW_PX_PER_MM, paper, whole=True)
    return display_copies(np.stack([grey, grey, grey], axis=2))[0].jpeg


@st.cache_data(show_spinner=False)
def _pdf(paper: str, language: str) -> bytes:  # kept for each language
    with tempfile.TemporaryDirectory() as folder:
        return draw_sheet_pdf(Path(folder) / "sheet.pdf", paper).read_bytes()


@st.cache_data(show_spinner=False)
def _tags_pdf(paper: str, size: str, language: str) -> bytes:  # kept for each language
    with tempfile.TemporaryDirectory() as folder:
        return draw_tags_pdf(Path(folder) / "tags.pdf", paper, size).read_bytes()
