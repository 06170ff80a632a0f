"""Who is at the desk: whoever signed in; where nobody has to, whatever name they give."""

from __future__ import annotations

from collections.abc import Callable
from html import escape
from typing import Any, Final

import streamlit as st

from photocheck.server.access import passes, staff
from photocheck.server.access.addresses import DESK_COOKIE, SIGN_IN
from photocheck.server.access.passes import AccessError
from photocheck.speech import tr
from photocheck_app.doors.oidc import name_by_oidc, provider, shut_by_rotation
from photocheck_app.doors.settings import desk_is_open, the_store

UNNAMED: Final = "staff"


def at_desk() -> str:
    """The name of who may be at the desk in this run, or nothing.  Asked anew in every run."""
    if desk_is_open():
        name = " ".join(str(st.query_params.get("by", "")).split())[:60]
        # "owner" in the history means the owner.
        return name if name and name.casefold() != "owner" else UNNAMED
    try:
        return passes.at_desk(the_store(), _cookie())
    except AccessError:
        return name_by_oidc()


def while_signed_in(make: Callable[[], Any]) -> Callable[[], Any]:
    """The same, refused once who asks for it now has signed out: a page may stay open."""
    if desk_is_open():
        return make
    carried, kept = _cookie(), the_store()
    by_password = bool(carried) and not name_by_oidc()

    def making() -> Any:
        if by_password:
            passes.at_desk(kept, carried)
        return make()

    return making


def show_way_in() -> None:
    """How to sign in, to somebody who has not."""
    heading = tr("Workshop desk")
    st.html(f"<h1>{escape(heading)}</h1>")
    if provider() is not None and shut_by_rotation():
        st.warning(
            tr(
                "Nobody comes in through the organisation just now: the secret of the doors was "
                "changed. Whoever runs photocheck starts it anew."
            )
        )
    elif name := _turned_away():
        st.warning(
            tr("{name} is signed in at the provider, but may not come to this desk.", name=name)
        )
    st.write(tr("The workshop's orders are behind a password."))
    if provider() is not None:
        st.button(tr("Sign in through your organisation"), type="primary", on_click=st.login)
    if provider() is None or staff.everybody(the_store()):
        _link(tr("Sign in"), "primary")
    st.caption(tr("Owners need no password: they come by the link the workshop sends."))


def show_way_out(name: str) -> None:
    """Who is here, and the way to sign out."""
    if desk_is_open():
        return
    if name_by_oidc() == name:
        st.button(tr("Sign out {name}", name=name), type="tertiary", on_click=st.logout)
    else:
        _link(tr("Sign out {name}", name=name), "quiet")


def _link(text: str, look: str) -> None:
    """To the page where staff sign in and out.  `st.link_button` would open another window."""
    st.html(f'<a class="door {look}" href="{SIGN_IN}" target="_self">{escape(text)}</a>{_LOOK}')


_LOOK = """<style>
.door { display: inline-block; padding: .55rem 1.1rem; border-radius: .5rem; font-weight: 600; }
.stHtml a.door.primary { background: #1f4e5f; color: #fff; text-decoration: none; }
.stHtml a.door.quiet { padding: 0; font-weight: 400; color: #1f4e5f; text-decoration: underline; }
</style>"""


def _cookie() -> str:
    return str(st.context.cookies.get(DESK_COOKIE, ""))


def _turned_away() -> str:
    """Whom the provider knows and the desk does not."""
    known = provider()
    if known is None or not st.user.is_logged_in or known.named(st.user.to_dict()):
        return ""
    return str(st.user.get("email") or st.user.get("name") or "")
