"""One order on one screen."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from html import escape

import streamlit as st

from photocheck.fit.answer import FitAnswer
from photocheck.judge.wording import doubted_sentences, one_more_photo_sentence
from photocheck.orders.draft import DogTold, Draft, reading_text
from photocheck.orders.gaps import gaps
from photocheck.orders.listing import STATE_TITLES, WAITING, neighbours
from photocheck.orders.model import SETTLED, Check, Order
from photocheck.shown.doubt_bars import doubt_bars
from photocheck.shown.spans_plot import seen_from, spans_plot
from photocheck.speech import tr
from photocheck.version import program
from photocheck.words import READING_TITLES
from photocheck_app.desk import (
    again_here,
    decide,
    downloads,
    expected,
    filling_in,
    history,
    keys,
    links,
    outcome,
    what_to_cut,
)
from photocheck_app.desk.figures import (
    chip,
    doubt_table,
    explanations,
    listed,
    sources_table,
    spans_table,
    takes_of_case,
    verdict_chip,
)
from photocheck_app.desk.follow import follow_order
from photocheck_app.desk.moves import check_anew, choose_photo, go, when
from photocheck_app.desk.session import picture_of
from photocheck_app.desk.shop_files import checked_by_shop, tell_problems
from photocheck_app.framework import Container
from photocheck_app.shared import store


def show(order: Order, who: str) -> None:
    """Everything about one order."""
    tell_problems()
    check = _looked_at(order)
    answer = what_to_cut.settled(order, who) if check else ""
    _head(order, check, who, answer)
    follow_order(order, who)
    if check is None:
        _unchecked(order, who)
        return
    if check is not order.checks[-1]:
        with st.container(horizontal=True, vertical_alignment="center"):
            st.html(
                chip(tr("earlier check of {when}", when=when(check.at)), "state"),
                width="content",
            )
            st.button(
                tr("Show the latest check"), on_click=go, kwargs={"case": order.key}, key="latest"
            )
    elif not check.by_this_program:
        _by_another_program(order, check, who)
    left, middle, right = st.columns([4.4, 4.6, 3.2], gap="medium")
    with left:
        filling_in.show(order, who)
        _picture(order, check)
        said = _about_photos(order, check)
    with middle:
        figures, cut = st.tabs([tr("The check"), tr("What to cut")])
        with figures:
            _figures(order, check, who)
        with cut:
            _cut(order, check, who, answer)
    with right:
        if check is order.checks[-1]:
            decide.show(order, who)
            outcome.show(order, who)
        links.of_order(order, who)
        again_here.show(order)
        history.show(order)
    # What is expected of the marks takes a decoded photo and three looks at it: nothing waits for
    # that but the sentences themselves.
    for fill in said:
        fill()


def _by_another_program(order: Order, check: Check, who: str) -> None:
    """What was right to say then may not be what is said now; nothing is checked anew unasked."""
    with st.container(horizontal=True, vertical_alignment="center"):
        said = tr(
            "This check was made by photocheck {then}; here runs {now}, which may answer "
            "otherwise.",
            then=check.program,
            now=program(),
        )
        st.html(escape(said), width="content")
        if st.button(tr("Check it again now"), key="check_by_this_program"):

            def run() -> Check:
                return checked_by_shop(order.key, who, check.case)

            if check_anew(run):
                st.rerun()


def _owner(order: Order) -> str:
    """Who orders, how to reach them, the order's own number and its notes; as told last."""
    told = order.draft.owner
    number = told.number and tr("order {number}", number=told.number)
    parts = [told.name, told.email, told.telephone, told.reach, number]
    said = " · ".join(escape(part) for part in parts if part)
    lines = [f'<div class="quiet">{said}</div>'] if said else []
    if told.notes:
        title = escape(tr("Notes"))
        lines.append(f'<div class="notes" tabindex="0"><b>{title}</b> {escape(told.notes)}</div>')
    return "".join(lines)


def _looked_at(order: Order) -> Check | None:
    asked = st.query_params.get("check", "")
    found = [check for check in order.checks if str(check.number) == asked]
    return found[0] if found else order.checks[-1] if order.checks else None


def _head(order: Order, check: Check | None, who: str, answer: FitAnswer | str) -> None:
    dog = check.case.dog if check else order.draft.dog
    left, right = st.columns([4.6, 3.2], vertical_alignment="center")
    name = escape(order.name or tr("order without a name"))
    state = chip(tr(STATE_TITLES[order.state]), "waiting" if order.state == "waiting" else "state")
    said = ""
    if check:
        told = [check.told.headline]
        latest = check is order.checks[-1] and not what_to_cut.wished(order, who)
        if latest and not isinstance(answer, str) and answer.measures:
            told.append(answer.headline)
        said = f"<div>{verdict_chip(check.report.verdict)} {escape(' '.join(told))}</div>"
    left.html(
        f'<h1>{name} {state} <span class="quiet" style="font-weight:400">'
        f"{escape(_dog(dog, order.name))}</span></h1>{_owner(order)}{said}"
    )
    before, after = neighbours(store().listed(WAITING).lines, order.key)
    with right, st.container(horizontal=True, horizontal_alignment="right", gap="xsmall"):
        st.button(tr("All orders"), on_click=go, key="desk_to_all", icon=":material/list:")
        st.button(
            tr("Previous waiting"),
            on_click=go,
            kwargs={"case": before},
            disabled=not before,
            key="before",
        )
        st.button(
            tr("Next waiting"), on_click=go, kwargs={"case": after}, disabled=not after, key="next"
        )
        downloads.of_order(order, who)
        keys.show(keys.OF_ORDER)


def _dog(dog: DogTold, order_name: str) -> str:
    age = dog.age_months
    facts = [
        dog.name if dog.name not in order_name else "",
        dog.breed,
        "" if dog.weight is None else str(dog.weight),
        tr("coat {coat}", coat=tr(dog.coat)) if dog.coat else "",
        tr("build {build}", build=tr(dog.build)) if dog.build else "",
        tr("girth {girth}", girth=dog.girth) if dog.girth else "",
        tr("neck {width} wide", width=dog.neck_width) if dog.neck_width else "",
        tr("chest {width} wide", width=dog.chest_width) if dog.chest_width else "",
        tr("{height} high at the shoulder", height=dog.height) if dog.height else "",
        tr("{months:g} months old", months=float(age)) if age is not None else "",
    ]
    return ", ".join(fact for fact in facts if fact)


def _picture(order: Order, check: Check) -> None:
    photos = check.report.photos
    index = choose_photo(len(photos), f"photo {order.key}", label_visibility="collapsed")
    st.image(
        picture_of(order.key, check, index),
        width="stretch",
        alt=tr(
            "Photo {number} with the marks and spans drawn in; {verdict}",
            number=index + 1,
            verdict=check.told.headline,
        ),
    )


def _about_photos(order: Order, check: Check) -> list[Callable[[], object]]:
    """What is said of the photos; comes back with what puts in what is told last."""
    later_on: list[Callable[[], object]] = []
    report = check.told
    several = len(report.photos) > 1
    for number, photo in enumerate(report.photos, start=1):
        title = tr("Photo {number}", number=number) if several else tr("The photo")
        stance = [f"{finding.sentence} {finding.instruction}" for finding in photo.stance]
        untold = photo.stance or report.case.photos[number - 1].view == "front"
        square = [] if untold else [tr("Nothing speaks against the dog standing square.")]
        rest = [*stance, *square, *photo.remarks]
        place = st.empty()
        place.html(listed(title, [seen_from(photo), *rest]))
        later_on.append(partial(_expected, place, order, check, number, title, rest))
    if report.cautions:
        with st.expander(tr("Mind")):
            st.html(listed("", report.cautions))
    return later_on


def _expected(
    place: Container, order: Order, check: Check, number: int, title: str, rest: list[str]
) -> None:
    unlike = expected.sentences(order, check, number - 1)
    if unlike:
        seen = seen_from(check.report.photos[number - 1])
        place.html(listed(title, [seen, *unlike, *rest]))


def _cut(order: Order, check: Check, who: str, answer: FitAnswer | str) -> None:
    if check is order.checks[-1]:
        what_to_cut.show(order, who, answer)
    else:
        st.html(escape(tr("This is an earlier check; what to cut rests on the latest one.")))


def _figures(order: Order, check: Check, who: str) -> None:
    report = check.told
    st.html(spans_table(spans_plot(report)))
    offered = check is order.checks[-1] and order.state not in SETTLED
    found = explanations(report.explanations, offered=offered)
    # Explanations say it better than the figures in words do, where there are any.
    doubted = doubted_sentences(report)
    why = listed(tr("Why"), (*([] if found else doubted), *report.outliers))
    every = listed(tr("Every time it was measured"), takes_of_case(report.case))
    among = listed(tr("The readings among themselves"), report.redundancy)
    sure = listed(
        tr("How sure tape and photo are, in 95 of 100"), [one.sentence for one in report.certainty]
    )
    if found:
        st.html(found)
    if offered:
        filling_in.offer_what_fits(order, who, report.explanations)
    for block in filter(None, (why, every, among)):
        st.html(block)
    doubt = doubt_bars(report)
    st.html(doubt_table(doubt))
    with st.expander(tr("Doubt in figures, and what would cut it")):
        if sure:
            st.html(sure)
        st.html(sources_table(doubt))
        if report.one_more_photo:
            st.html(escape(one_more_photo_sentence(report.one_more_photo)))
    used = tr("Shape ratios of this check: {ratios}.", ratios=check.ratios or tr("as shipped"))
    st.html(f'<div class="quiet">{escape(used)}</div>')


def _unchecked(order: Order, who: str) -> None:
    st.info(tr("The owner has not sent this order yet; there is nothing to decide."))
    begun_at_all = order.draft != Draft()
    missing = [gap.sentence for gap in gaps(order.draft)] if begun_at_all else []
    typed = [
        f"{tr(READING_TITLES.get(name, name))}: {reading_text(told)}"
        for name, told in order.draft.readings.items()
    ]
    blocks = (listed(tr("Readings so far"), typed), listed(tr("Still missing"), missing))
    for block in filter(None, blocks):
        st.html(block)
    filling_in.show(order, who)
    links.of_order(order, who)
    ready = not missing and all(
        marking.marks.keys() >= set(photo.needed)
        for photo in order.draft.photos
        for marking in photo.markings
    )
    asked = ready and st.button(tr("Check it as it stands"), type="primary", key="check_draft")
    if asked and check_anew(lambda: checked_by_shop(order.key, who)):
        st.rerun()
