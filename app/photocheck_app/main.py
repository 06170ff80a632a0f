"""The web app's pages.  Start: ``photocheck serve``, or ``streamlit run`` of ``served.py``."""

from __future__ import annotations

import logging

import streamlit as st

from photocheck.orders.model import StoreError
from photocheck.server.access.addresses import LINK
from photocheck.speech import speaking, tr
from photocheck.uploads.gate import on_behalf_of
from photocheck_app import desk, framework, held_uploads, kept, outage, owner, practise, sheet_page
from photocheck_app.doors.paths import OWNER, PRACTISE, SHEET, WORKSHOP
from photocheck_app.doors.rate_limits import here
from photocheck_app.doors.running import RUNS
from photocheck_app.doors.sessions import bind, browser, just_opened
from photocheck_app.doors.signed_in import at_desk as who_is_at_desk
from photocheck_app.doors.trouble import TROUBLE
from photocheck_app.shared import STYLE, choose_language, know_pages, language, uploaders_look


def main() -> None:
    """Every run of the page: the language, then the way that was chosen."""
    with (
        speaking(language()),
        RUNS.one(here(), browser(), first=just_opened(), heed=framework.heed),
    ):
        bind()
        held_uploads.bind()
        away = kept.keep_all()
        at_desk = st.Page(
            desk.page,
            title=tr("Workshop desk"),
            url_path=WORKSHOP,
            # Owners have no business there; staff know its address.
            visibility="visible" if _somebody_at_desk() else "hidden",
        )
        ways = [
            st.Page(owner.page, title=tr("Check my dog's readings"), url_path=OWNER, default=True),
            st.Page(practise.page, title=tr("Practise the marks"), url_path=PRACTISE),
            st.Page(sheet_page.page, title=tr("Print the marker sheet"), url_path=SHEET),
            at_desk,
        ]
        chosen = st.navigation(ways, position="top")
        know_pages(ways)
        # Owners read from top to bottom, on a phone; the desk wants all the room there is.
        st.set_page_config(
            page_title=f"{chosen.title} · photocheck",
            layout="wide" if chosen == at_desk else "centered",
        )
        st.html(uploaders_look())
        if chosen != at_desk:
            st.html(STYLE)
        _run(chosen, away)
        if LINK not in st.query_params:  # an order has it in its menu
            st.divider()
            choose_language()


def _run(chosen: st.Page, away: StoreError | None) -> None:
    """A page, or in its place the reason why there is none: never the framework's own."""
    said = outage.say(away)
    try:
        # What staff wait for is not held back; of others, one address never keeps the rest waiting.
        who = "" if chosen.url_path == WORKSHOP else here()
        with on_behalf_of(who, framework.heed):
            chosen.run()
    except StoreError as error:
        said.empty()
        outage.show(error, why=chosen.url_path == WORKSHOP)
        away = error
    except Exception:
        # The program's own failure, of any kind: for the log, and one plain page.
        logging.getLogger(__name__).exception("a page failed")
        outage.show_failure()
    else:
        if away is None and (kept.anything_unstored() or kept.any_new_text()):
            st.rerun()  # what the browser brought back is in its field, and is stored first of all
        if away is None:
            TROUBLE.there()
    if away is not None:
        outage.try_again()


def _somebody_at_desk() -> bool:
    try:
        return bool(who_is_at_desk())
    except StoreError:
        return False


if __name__ == "__main__":
    main()
