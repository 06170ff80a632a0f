"""One case file with its photos, brought in and checked."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.errors import PhotocheckError
from photocheck.orders.intake.bring_in import bring_in
from photocheck.speech import tr
from photocheck_app.desk import set_aside
from photocheck_app.desk.moves import check_anew, go, say_on_arrival
from photocheck_app.desk.shop_files import checked_by_shop
from photocheck_app.held_uploads import let_go
from photocheck_app.shared import as_text, language, limits, store

_WHAT: Final = "case"
_TIMES: Final = "case file times"
"""How many case files this visitor has put away or brought in: each has uploaders of its own."""


def show(who: str) -> None:
    """The fields, and what is done with what they hold."""
    times = st.session_state.get(_TIMES, 0)
    left, right = st.columns(2)
    # Any kind of file may be chosen: what cannot be read is answered in photocheck's words.
    case_file = left.file_uploader(tr("Case file (JSON)"), key=f"desk_case_file_{times}")
    photos = right.file_uploader(
        tr("The photos it names"), accept_multiple_files=True, key=f"desk_photos_{times}"
    )
    try:
        handed = set_aside.handed_in(_WHAT, who, case_file, photos)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    set_aside.say(_WHAT, who, handed)
    with st.container(horizontal=True, vertical_alignment="center"):
        pressed = st.button(tr("Bring in and check"), type="primary", key="desk_bring_in")
        if handed.files and st.button(tr("Put these files away"), key="desk_case_clear"):
            _clear(who, times, (case_file, *photos))
            st.rerun()
    if not pressed:
        return
    if handed.first is None:
        st.info(tr("Add the case file and its photos first."))
        return
    try:
        brought = bring_in(
            store(),
            (handed.first.name, handed.first.content),
            [(photo.name, photo.content) for photo in handed.photos],
            language=language(),
            limits=limits(),
        )
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    _clear(who, times, (case_file, *photos))
    if not check_anew(lambda: checked_by_shop(brought.key, who)):
        # The order is there all the same, and can be put right.
        st.button(tr("Open the order"), on_click=go, kwargs={"case": brought.key}, key="to_new")
        return
    if brought.unused:
        names = ", ".join(brought.unused)
        say_on_arrival(tr("Not named in the case file, so not used: {names}.", names=names))
    go(case=brought.key)
    st.rerun()


def _clear(who: str, times: int, files: Sequence[UploadedFile | None]) -> None:
    set_aside.put_away(_WHAT, who)
    let_go(file for file in files if file is not None)
    st.session_state[_TIMES] = times + 1
