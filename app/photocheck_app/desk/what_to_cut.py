"""What to cut for an order, and which size of the shelf fits; or why neither is known yet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict
from html import escape
from typing import Final

import streamlit as st

from photocheck.case.lengths import parse_weight
from photocheck.errors import PhotocheckError
from photocheck.fit.allowances import growing
from photocheck.fit.answer import GROWTH, GROWTH_TITLES, FitAnswer, Wish, fit
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.model import Check, Order
from photocheck.shown.cutting_list import wish_of
from photocheck.shown.plain_fit import cut_rows, more_sizes, size_rows
from photocheck.speech import tr
from photocheck_app.desk.figures import listed
from photocheck_app.desk.session import begun, field_key, unsent
from photocheck_app.desk.shop_files import shop_sizes
from photocheck_app.shared import as_text, store

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


def answer_of(order: Order, check: Check, who: str) -> FitAnswer:
    """The answer for one of the order's checks; what is wished for counts for the latest only.

    Raises
    ------
    PhotocheckError
        As `fit` does, or when the shop's sizes cannot be used.
    """
    meant = wish(order, who) if check is order.checks[-1] else None
    return fit(check.report, shop_sizes(), meant)


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
    text = _typed(order, who, WEIGHT).strip()
    growth = _typed(order, who, GROWS)
    return Wish(parse_weight(text, field=_weight_title()) if text else None, growth)


def wished(order: Order, who: str) -> bool:
    """Whether the answer is for something else than the dog of today."""
    fields = ((WEIGHT, ""), (GROWS, GROWTH[0]))
    return any(_typed(order, who, name) != usual for name, usual in fields)


def note_wish(order: Order, who: str) -> None:
    """Keep with the order what it is accepted for, so that the cutting list goes by it.

    Raises
    ------
    PhotocheckError
        When the weight cannot be read, or the order was checked again meanwhile.
    """
    meant = wish(order, who)
    content = {
        name: value
        for name, value in asdict(meant).items()
        if value is not None and value != GROWTH[0]
    }
    check = order.checks[-1].number
    store().note_cut(order.key, "wished", by=who, check=check, content=content)


def _typed(order: Order, who: str, name: str) -> str:
    """What somebody typed, else what the order was accepted for."""
    typed = unsent(who, order.key, name)
    return _noted(order)[name] if typed is None else str(typed)


def _noted(order: Order) -> dict[str, str]:
    noted = wish_of(order) or Wish()
    kg = noted.weight_later_kg
    return {WEIGHT: "" if kg is None else tr("{kg:g} kg", kg=kg), GROWS: noted.growth}


def _weight_title() -> str:
    return tr("Weight expected later")


def _ask(order: Order, who: str) -> None:
    dog = order.checks[-1].report.case.dog
    left, right = st.columns([2, 3], vertical_alignment="bottom")
    left.text_input(
        _weight_title(),
        begun(who, order.key, WEIGHT, _noted(order)[WEIGHT]),
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
        index=GROWTH.index(begun(who, order.key, GROWS, _noted(order)[GROWS])),
        horizontal=True,
        key=field_key(order.key, GROWS),
    )


def _said(answer: FitAnswer) -> str:
    parts = [f'<div class="answer">{escape(answer.headline)}</div>']
    parts.append(listed("", answer.reasons))
    if answer.measures:
        parts.append(_table(cut_rows(answer), tr("Lengths to cut"), "cut"))
    if answer.sizes:
        best = answer.outcome == "size"
        rows = size_rows(answer, SIZES)
        parts.append(_table(rows, tr("The shelf"), "shelf", best=best))
        parts.append(f'<div class="quiet">{escape(more_sizes(answer, SIZES))}</div>')
    parts.append(listed(tr("Mind the cut"), answer.remarks))
    return "".join(parts)


def _table(rows: Sequence[Sequence[str]], caption: str, kind: str, *, best: bool = False) -> str:
    heads = "".join(f'<th scope="col">{escape(cell)}</th>' for cell in rows[0])
    body = "".join(
        f'<tr class="{"best" if best and not number else ""}">'
        f'<th scope="row">{escape(row[0])}</th>'
        f"{''.join(f'<td>{escape(cell)}</td>' for cell in row[1:])}</tr>"
        for number, row in enumerate(rows[1:])
    )
    return (
        f'<table class="figures {kind}"><caption class="unseen">{escape(caption)}</caption>'
        f"<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"
    )
