"""What to cut for an order, and which size of the shelf fits; or why neither is known yet."""

from __future__ import annotations

from html import escape
from typing import Final

import streamlit as st

from photocheck.case.lengths import parse_weight
from photocheck.errors import PhotocheckError
from photocheck.fit.allowances import growing
from photocheck.fit.answer import GROWTH, GROWTH_TITLES, FitAnswer, Wish, fit
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.model import Order
from photocheck.shown.plain_fit import cut_rows, more_sizes, size_rows
from photocheck.speech import tr
from photocheck_app.desk.figures import listed, table_of
from photocheck_app.desk.session import begun, field_key, unsent
from photocheck_app.desk.shop_files import shop_sizes
from photocheck_app.shared import as_text

WEIGHT, GROWS = "fit weight", "fit growth"
"""Names of the fields; what is in them is kept for the one who typed it."""

SIZES: Final = 3
"""Sizes shown: the one to take, its runner-up and one more; the rest are far off (judgement)."""


def settled(order: Order, who: str) -> FitAnswer | str:
    """The answer for the order's latest check, or what keeps it from being given."""
    try:
        return fit(order.checks[-1].report, shop_sizes(), wish(order, who))
    except PhotocheckError as error:
        return str(error)


def show(order: Order, who: str, answer: FitAnswer | str) -> None:
    """What `settled` gave, and what may be wished for besides the dog of today."""
    if isinstance(answer, str):
        st.error(as_text(answer))
    else:
        st.html(_said(answer))
    if order.checks[-1].report.verdict == "agrees":
        _ask(order, who)
    if not isinstance(answer, str):
        st.html(f'<div class="quiet">{escape(" ".join(answer.cautions))}</div>')


def wish(order: Order, who: str) -> Wish:
    """What somebody has wished for besides the dog of today.

    Raises
    ------
    CaseError
        When the weight cannot be read.
    """
    text = str(_typed(order, who, WEIGHT, "")).strip()
    growth = str(_typed(order, who, GROWS, GROWTH[0]))
    return Wish(parse_weight(text, field=_weight_title()) if text else None, growth)


def wished(order: Order, who: str) -> bool:
    """Whether the answer is for something else than the dog of today."""
    fields = ((WEIGHT, ""), (GROWS, GROWTH[0]))
    return any(_typed(order, who, name, usual) != usual for name, usual in fields)


def _typed(order: Order, who: str, name: str, default: str) -> str:
    return str(unsent(who, order.key, name) or default)


def _weight_title() -> str:
    return tr("Weight expected later")


def _ask(order: Order, who: str) -> None:
    dog = order.checks[-1].report.case.dog
    left, right = st.columns([2, 3], vertical_alignment="bottom")
    left.text_input(
        _weight_title(),
        begun(who, order.key, WEIGHT, ""),
        placeholder=tr("as today"),
        help=tr("Such as 28 kg or 62 lb, when the dog is to gain or lose weight."),
        key=field_key(order.key, WEIGHT),
        max_chars=LONGEST_FIELD,
    )
    if growing(dog) is False:
        return
    right.radio(
        tr("A dog that may still grow"),
        GROWTH,
        format_func=lambda one: tr(GROWTH_TITLES[one]),
        index=GROWTH.index(begun(who, order.key, GROWS, GROWTH[0])),
        horizontal=True,
        key=field_key(order.key, GROWS),
    )


def _said(answer: FitAnswer) -> str:
    parts = [f'<div class="answer">{escape(answer.headline)}</div>']
    parts.append(listed("", answer.reasons))
    if answer.measures:
        parts.append(table_of(cut_rows(answer), tr("Lengths to cut"), "cut"))
    if answer.sizes:
        best = answer.outcome == "size"
        rows = size_rows(answer, SIZES)
        parts.append(table_of(rows, tr("The shelf"), "shelf", best=best))
        parts.append(f'<div class="quiet">{escape(more_sizes(answer, SIZES))}</div>')
    parts.append(listed(tr("Mind the cut"), answer.remarks))
    return "".join(parts)
