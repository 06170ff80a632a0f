"""The first page: what this does, and the two ways in."""

from __future__ import annotations

import streamlit as st

from photocheck.orders.depths import DEPTHS
from photocheck.orders.screens import QUICK
from photocheck.speech import tr
from photocheck_app.doors.settings import by_invitation_only
from photocheck_app.owner.way import begin, go
from photocheck_app.shared import as_text, drawing


def show() -> None:
    """Begin, or look at a sample first."""
    st.title(tr("Do the tape and the photo agree?"), anchor=False)
    st.write(
        tr(
            "A harness made to measure is cut from your tape readings. This checks them "
            "against a photo of your dog, before any cloth is cut."
        )
    )
    st.html(drawing("side", tr("A dog standing square beside the printed marker sheet.")))
    if problem := st.session_state.pop("not begun", ""):
        st.error(as_text(problem))
    if by_invitation_only():
        st.info(tr("To check an order, open the link that the workshop has sent to you."))
    else:
        for depth, told in DEPTHS.items():
            with st.container(border=True, key=f"depth_{depth}"):
                st.markdown(f"**{tr(told.title)}**  \n{tr(told.asks)}")
                st.caption(f"{tr(told.gives)} {told.promise()}")
                st.button(
                    tr("Begin"),
                    key="begin" if depth == QUICK else f"begin_{depth}",
                    type="primary" if depth == QUICK else "secondary",
                    on_click=begin,
                    args=(depth,),
                    width="stretch",
                )
    st.button(tr("See a sample"), key="see_sample", on_click=go, args=("sample",), width="stretch")
    st.header(tr("What you need"), anchor=False)
    st.markdown(
        "\n".join(
            f"- {line}"
            for line in (
                tr("a soft tape and somebody the dog likes"),
                tr("a phone, and something of known size: best the printed marker sheet"),
                tr("the surest way: the printed tags on the dog; then nobody marks anything"),
                tr("about ten minutes"),
            )
        )
    )
    st.caption(
        tr(
            "What you enter and your photos stay with the workshop that runs this page. The "
            "check supports the maker's judgement; it does not replace a fitting on the dog."
        )
    )
