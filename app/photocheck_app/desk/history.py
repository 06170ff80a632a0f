"""What happened to an order: checks, decisions, what was heard of the harness; latest first."""

from __future__ import annotations

from html import escape
from typing import Any

import streamlit as st

from photocheck.orders.corrections import changes
from photocheck.orders.heard import heard_sentence
from photocheck.orders.listing import DECISION_TITLES
from photocheck.orders.model import Check, Heard, Order
from photocheck.speech import tr
from photocheck.words import by_whom
from photocheck_app.desk import mail
from photocheck_app.desk.figures import chip, verdict_chip
from photocheck_app.desk.moves import go, when


def show(order: Order) -> None:
    """Checks, decisions and what was heard of the harness, the latest first."""
    title = tr("History")
    st.html(f"<h2>{escape(title)}</h2>")
    events: list[tuple[Any, int, Any]] = [
        *((check.at, k, check) for k, check in enumerate(order.checks)),
        *((decision.at, k, decision) for k, decision in enumerate(order.decisions)),
        *((heard.at, k, heard) for k, heard in enumerate(order.heard)),
    ]
    for at, k, event in sorted(events, key=lambda e: (e[0], e[1]), reverse=True):
        head = f'<span class="quiet">{escape(when(at))}, {escape(by_whom(event.by))}</span> '
        if isinstance(event, Heard):
            _heard(event, head)
            continue
        if not isinstance(event, Check):
            said = chip(tr(DECISION_TITLES[event.choice]), "state")
            st.html(f"{head}{said}<div>{escape(event.reason)}</div>")
            if event.message:
                with st.expander(tr("Message to the owner")):
                    st.code(event.message, language=None, wrap_lines=True)
                    mail.show(order, event.message, where=f"of {k}")
            continue
        changed = changes(order.checks[k - 1].case, event.case) if k else ()
        with st.container(horizontal=True, vertical_alignment="center", gap="small"):
            detail = f'<div class="quiet">{escape("; ".join(changed))}</div>' if changed else ""
            st.html(f"{head}{verdict_chip(event.report.verdict)}{detail}", width="stretch")
            if len(order.checks) > 1:
                st.button(
                    tr("Show"),
                    key=f"look {event.number}",
                    on_click=go,
                    kwargs={"case": order.key, "check": str(event.number)},
                    help=tr("Show the check of {when}", when=when(at)),
                )


def _heard(heard: Heard, head: str) -> None:
    kind = tr("harness")
    says = tr("the owner says") if heard.from_owner else tr("the workshop says")
    said = f"{heard.day.isoformat()}, {says}: {heard_sentence(heard)}"
    st.html(
        f"{head}{chip(kind, 'state')}<div>{escape(said)}</div>"
        f'<div class="quiet">{escape(heard.words)}</div>'
    )
