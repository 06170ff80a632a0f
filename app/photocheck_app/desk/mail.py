"""The message to the owner, opened in the e-mail program of whoever is at the desk."""

from __future__ import annotations

from html import escape

import streamlit as st

from photocheck.errors import PhotocheckError
from photocheck.orders.messages.mailto import mail_for
from photocheck.orders.model import Order
from photocheck.server.access.addresses import address_of_link
from photocheck.server.access.passes import link_for
from photocheck.speech import tr
from photocheck_app.doors.signed_in import at_desk
from photocheck_app.shared import as_text, store


def show(order: Order, message: str, *, where: str = "") -> None:
    """A way to open the message as an e-mail, with a link to the order if wanted; sends nothing.

    Parameters
    ----------
    order : Order
    message : str
        As it stands in its field.
    where : str
        Tells one place of a page from another.
    """
    made = f"link {order.key}"
    link = st.session_state.get(made, "")
    address = address_of_link(st.context.url or "", link) if link else ""
    mail = mail_for(order, message, link=address)
    with st.container(
        horizontal=True, vertical_alignment="center", key=f"mail {order.key} {where}".strip()
    ):
        title = tr("Write to {address}", address=mail.to) if mail.to else tr("Write an e-mail")
        st.html(f'<a class="mail" href="{escape(mail.mailto)}" target="_self">{escape(title)}</a>')
        if not link and st.button(
            tr("Make a link for it"), type="tertiary", key=f"link_for_mail{where}"
        ):
            try:
                st.session_state[made] = link_for(store(), order.key, by=at_desk())
            except PhotocheckError as error:
                st.error(as_text(str(error)))
                return
            st.rerun()
    said = [tr("It opens in your own e-mail program; nothing is sent from here.")]
    if not mail.to:
        said.append(tr("The order tells no e-mail address: fill it in there."))
    if not mail.whole:
        said.append(
            tr("The message is longer than many programs take so: copy it into the e-mail.")
        )
    if link:
        said.append(tr("The owner's link stands at its end."))
    st.caption(" ".join(said))
