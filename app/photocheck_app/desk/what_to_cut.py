"""What to cut for an order, and which size of the shelf fits; or why neither is known yet."""

from __future__ import annotations

from dataclasses import asdict
from datetime import date
from html import escape
from typing import Final

import streamlit as st

from photocheck.case.lengths import parse_weight
from photocheck.errors import PhotocheckError
from photocheck.fit.allowances import growing
from photocheck.fit.answer import GROWTH, GROWTH_TITLES, FitAnswer, Wish, fit
from photocheck.fit.growth import ADULT_FROM, ADULT_FROM_TITLES, adult_weight
from photocheck.orders.bounds import LONGEST_FIELD
from photocheck.orders.model import Check, Order
from photocheck.shown.cutting_list import wish_of
from photocheck.shown.plain_fit import cut_rows, growth_rows, more_sizes, size_rows
from photocheck.speech import tr
from photocheck_app.desk.figures import listed, table_of
from photocheck_app.desk.session import begun, field_key, unsent
from photocheck_app.desk.shop_files import shop_sizes
from photocheck_app.shared import as_text, store

WEIGHT, GROWS = "fit weight", "fit growth"
ADULT, ADULT_BY, ADULT_NAMED = "fit adult", "fit adult by", "fit adult named"
"""Names of the fields; what is in them is kept for the one who typed it."""

SIZES: Final = 3
"""Sizes shown: the one to take, its runner-up and one more; the rest are far off (judgement)."""


def settled(order: Order, who: str) -> FitAnswer | str:
    """The answer for the order's latest check, or what keeps it from being given."""
    try:
        return fit(order.checks[-1].told, shop_sizes(), wish(order, who))
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
    return fit(check.told, shop_sizes(), meant)


def show(order: Order, who: str, answer: FitAnswer | str) -> None:
    """What `settled` gave, and what may be wished for besides the dog of today."""
    if isinstance(answer, str):
        st.error(as_text(answer))
    else:
        st.html(_said(answer, order.checks[-1].at.date()))
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
    adult = _typed(order, who, ADULT).strip()
    return Wish(
        parse_weight(text, field=_weight_title()) if text else None,
        growth,
        adult_weight(
            adult,
            _typed(order, who, ADULT_BY),
            _typed(order, who, ADULT_NAMED),
            field=_adult_title(),
        )
        if adult and growth == "for_growth"
        else None,
    )


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
    grown = noted.adult
    return {
        WEIGHT: "" if kg is None else tr("{kg:g} kg", kg=kg),
        GROWS: noted.growth,
        ADULT: "" if grown is None else f"{grown.low_kg:g}-{grown.high_kg:g} kg",
        ADULT_BY: ADULT_FROM[0] if grown is None else grown.told_by,
        ADULT_NAMED: "" if grown is None else grown.named,
    }


def _weight_title() -> str:
    return tr("Weight expected later")


def _adult_title() -> str:
    return tr("Weight expected when grown")


def _ask_adult(order: Order, who: str) -> None:
    """What the dog is expected to weigh when grown, who expects it, where that is published."""
    weight, by, named = st.columns(3, vertical_alignment="bottom")
    weight.text_input(
        _adult_title(),
        begun(who, order.key, ADULT, _noted(order)[ADULT]),
        placeholder=tr("25 kg, or 22-28 kg"),
        key=field_key(order.key, ADULT),
        max_chars=LONGEST_FIELD,
    )
    by.selectbox(
        tr("Who expects it"),
        ADULT_FROM,
        ADULT_FROM.index(begun(who, order.key, ADULT_BY, _noted(order)[ADULT_BY])),
        format_func=lambda one: tr(ADULT_FROM_TITLES[one]),
        key=field_key(order.key, ADULT_BY),
    )
    named.text_input(
        tr("Where it is published"),
        begun(who, order.key, ADULT_NAMED, _noted(order)[ADULT_NAMED]),
        placeholder=tr("for a breed's range"),
        key=field_key(order.key, ADULT_NAMED),
        max_chars=LONGEST_FIELD,
    )


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
    chosen = right.radio(
        tr("A dog that may still grow"),
        GROWTH,
        format_func=lambda one: tr(GROWTH_TITLES[one]),
        index=GROWTH.index(begun(who, order.key, GROWS, _noted(order)[GROWS])),
        horizontal=True,
        key=field_key(order.key, GROWS),
    )
    if chosen == "for_growth":
        _ask_adult(order, who)


def _said(answer: FitAnswer, measured: date) -> str:
    parts = [f'<div class="answer">{escape(answer.headline)}</div>']
    parts.append(listed("", answer.reasons))
    if answer.measures:
        parts.append(table_of(cut_rows(answer), tr("Lengths to cut"), "cut"))
    if answer.sizes:
        best = answer.outcome == "size"
        rows = size_rows(answer, SIZES)
        parts.append(table_of(rows, tr("The shelf"), "shelf", best=best))
        parts.append(f'<div class="quiet">{escape(more_sizes(answer, SIZES))}</div>')
    if answer.growth:
        title = tr("Looked ahead: 95 of 100 such dogs lie between")
        parts.append(f"<h2>{escape(title)}</h2>")
        parts.append(table_of(growth_rows(answer, measured), title, "ahead"))
    parts.append(listed(tr("Mind the cut"), answer.remarks))
    return "".join(parts)
