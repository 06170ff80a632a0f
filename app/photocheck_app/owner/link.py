"""The link that leads back to an order: shown, copied, shared; and the way out of it for good."""

from __future__ import annotations

from typing import Final

import streamlit as st

from photocheck.orders.store.privacy import Retention
from photocheck.server import bench
from photocheck.server.access.addresses import address_of_link
from photocheck.speech import tr
from photocheck_app.owner import unsent
from photocheck_app.owner.way import Way, leave
from photocheck_app.shared import owners_store

KEPT: Final = Retention()

# Where the browser can share, its own sheet opens; else the link is copied; else it is marked for
# copying by hand.
_share = st.components.v2.component(
    "photocheck_share",
    html='<input readonly><button type="button"></button><span role="status"></span>',
    css="""
    :host { display: block; }
    input { width: 100%; box-sizing: border-box; font: inherit; padding: .5rem .6rem;
      border: 1px solid #8886; border-radius: .5rem; background: transparent; color: inherit; }
    button { font: inherit; min-height: 3rem; margin: .5rem .8rem .2rem 0; padding: .3rem 1.1rem;
      border: 1px solid #8888; border-radius: .5rem; background: transparent; color: inherit; }
    """,
    js="""export default function ({ parentElement, data }) {
      const field = parentElement.querySelector('input');
      const button = parentElement.querySelector('button');
      const said = parentElement.querySelector('span');
      field.value = data.link;
      field.setAttribute('aria-label', data.label);
      button.textContent = data.press;
      button.onclick = async () => {
        try {
          if (navigator.share) {
            await navigator.share({ url: data.link });
            return;
          }
          await navigator.clipboard.writeText(data.link);
          said.textContent = data.copied;
        } catch {
          field.focus();
          field.select();
        }
      };
    }""",
)


def show_link(way: Way) -> None:
    """The link, with a button that shares or copies it."""
    st.write(
        tr(
            "All you type is kept. To come back, or to go on at another device, keep this "
            "link. Whoever has it can see and change your order."
        )
    )
    _share(
        key="share",
        data={
            "link": address_of_link(st.context.url or "", way.key),
            "label": tr("Link to this order"),
            "press": tr("Share or copy the link"),
            "copied": tr("Copied."),
        },
    )


def show_leaving(way: Way) -> None:
    """When an order is deleted by itself, and how at once."""
    st.caption(
        tr(
            "An order that was never sent is deleted by itself after {drafts:g} days, or when "
            "its link has run out, one that the workshop has decided on after {decided:g} "
            "days, unless the workshop keeps them longer.",
            drafts=KEPT.drafts_days,
            decided=KEPT.decided_days,
        )
    )
    sure = st.checkbox(tr("Delete my order and its photos for good"), key="sure")
    if st.button(tr("Delete"), disabled=not sure, key="delete"):
        bench.forget(owners_store(), way.key)
        unsent.gone(way.key)
        leave()
        st.rerun()
