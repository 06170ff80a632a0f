"""One case file with its photos, brought in and checked."""

from __future__ import annotations

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.intake.bring_in import bring_in
from photocheck.speech import tr
from photocheck_app.desk.moves import check_anew, go, say_on_arrival
from photocheck_app.desk.shop_files import checked_by_shop
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.shared import as_text, language, limits, store


def show(who: str) -> None:
    """The fields, and what is done with what they hold."""
    left, right = st.columns(2)
    # Any kind of file may be chosen: what cannot be read is answered in photocheck's words.
    case_file = left.file_uploader(tr("Case file (JSON)"), key="desk_case_file")
    photos = right.file_uploader(
        tr("The photos it names"), accept_multiple_files=True, key="desk_photos"
    )
    if not st.button(tr("Bring in and check"), type="primary", key="desk_bring_in"):
        return
    if case_file is None:
        st.info(tr("Add the case file and its photos first."))
        return
    try:
        brought = bring_in(
            store(),
            (case_file.name, content_of(case_file)),
            [(photo.name, content_of(photo)) for photo in photos],
            language=language(),
            limits=limits(),
        )
    except PhotocheckError as error:
        st.error(as_text(str(error)))
        return
    let_go((case_file, *photos))
    if not check_anew(lambda: checked_by_shop(brought.key, who)):
        # The order is there all the same, and can be put right.
        st.button(tr("Open the order"), on_click=go, kwargs={"case": brought.key}, key="to_new")
        return
    if brought.unused:
        names = ", ".join(brought.unused)
        say_on_arrival(tr("Not named in the case file, so not used: {names}.", names=names))
    go(case=brought.key)
    st.rerun()
