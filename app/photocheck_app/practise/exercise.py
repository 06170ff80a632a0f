"""The exercise: a practice dog, your marks, and the true ones beside them."""

from __future__ import annotations

from typing import Final

import pandas as pd
import streamlit as st

from photocheck.case.lengths import format_length
from photocheck.errors import PhotocheckError
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo
from photocheck.practice.closeup import closeup
from photocheck.practice.dogs import PracticeDog, practice_dogs
from photocheck.practice.lesson import Answer, answer
from photocheck.practice.misses import px_per_mm
from photocheck.practice.sentences import (
    HOW_TO_FIND,
    VERDICTS,
    change_text,
    miss_sentence,
    span_title,
    weight_sentence,
)
from photocheck.shown.display import display_copies
from photocheck.speech import tr
from photocheck.words import LANDMARK_TITLES, LANDMARKS
from photocheck_app.kept import hold
from photocheck_app.marking import marking_surface
from photocheck_app.practise.landmarks import show_how
from photocheck_app.practise.learner import Learner, learner
from photocheck_app.shared import as_text, picture

ICONS: Final = {
    "slight": ":material/check_circle:",
    "felt": ":material/change_history:",
    "misleading": ":material/error:",
}


@st.cache_resource(show_spinner=False, max_entries=4)
def _photo(name: str) -> Photo:
    return load_photo(next(dog.photo for dog in practice_dogs() if dog.name == name))


def show() -> None:
    """The dog at hand: to be marked, or answered."""
    dogs = {dog.name: dog for dog in practice_dogs()}
    now = learner()
    if now.dog not in dogs:
        now.begin(next(iter(dogs)))
    _choose_dog(now, dogs)
    dog = dogs[now.dog]
    if now.answer:
        _answered(now, dog, now.answer, dogs)
    else:
        _to_mark(now, dog)
    _about_dogs(now, dogs)


def _choose_dog(now: Learner, dogs: dict[str, PracticeDog]) -> None:
    tried = {attempt.dog for attempt in now.attempts}

    def title(name: str) -> str:
        about = dogs[name].about
        done = " ✓" if name in tried else ""
        return f"{about.title}: {tr(about.build)}{done}"

    st.selectbox(
        tr("Place the four marks on this dog"),
        list(dogs),
        format_func=title,
        key=hold("practise_dog", now.dog, now.begin),
    )


def _about_dogs(now: Learner, dogs: dict[str, PracticeDog]) -> None:
    tried = {attempt.dog for attempt in now.attempts}
    st.caption(
        tr(
            "{tried} of {all} dogs tried. The dogs are invented, their photos drawn by a computer; "
            "that is how the true marks are known.",
            tried=len(tried & set(dogs)),
            all=len(dogs),
        )
    )


def _to_mark(now: Learner, dog: PracticeDog) -> None:
    with st.expander(tr("How to find the four marks"), icon=":material/search:"):
        show_how()
    now.placed = marking_surface(
        _photo(dog.name).rgb,
        key=f"practise/{now.tries}",
        start=now.placed,
        optional=(),
        reference_shape="none",
    )
    missing = [name for name in LANDMARKS if name not in now.placed.marks]
    if st.button(tr("Show me"), type="primary", key="practise_show", width="stretch"):
        if missing:
            st.info(
                tr(
                    "Still to place: {marks}.",
                    marks=", ".join(tr(LANDMARK_TITLES[name]) for name in missing),
                )
            )
            return
        try:
            given = answer(dog, _photo(dog.name), now.placed.marks)
        except PhotocheckError as error:
            st.error(as_text(str(error)))
            return
        now.answer = given
        now.attempts.append(given.attempt)
        st.rerun()


def _answered(now: Learner, dog: PracticeDog, given: Answer, dogs: dict[str, PracticeDog]) -> None:
    verdict = tr(VERDICTS[given.effects.weight])
    box = {"slight": st.success, "felt": st.info, "misleading": st.warning}
    box[given.effects.weight](verdict, icon=ICONS[given.effects.weight])
    marking_surface(
        _photo(dog.name).rgb,
        key=f"practise/{now.tries}/answer",
        start=now.placed,
        optional=(),
        reference_shape="none",
        truth=dog.marks,
        read_only=True,
    )
    st.subheader(tr("Mark by mark"), anchor=False)
    st.caption(tr("The diamond is where the mark should be, the ring is where you placed it."))
    for name in LANDMARKS:
        _mark(given, dog, name, now.unit)
    st.subheader(tr("All four together"), anchor=False)
    _lengths(given, now.unit)
    st.info(tr(dog.about.lesson), icon=":material/lightbulb:")
    names = list(dogs)
    following = names[(names.index(dog.name) + 1) % len(names)]
    with st.container(horizontal=True):
        st.button(
            tr("Next dog"),
            type="primary",
            key="practise_next",
            on_click=now.begin,
            args=(following,),
        )
        st.button(
            tr("Try this dog again"), key="practise_again", on_click=now.begin, args=(dog.name,)
        )


def _mark(given: Answer, dog: PracticeDog, name: str, unit: str) -> None:
    weight = given.effects.weight_of(name)
    missed = miss_sentence(name, given.misses[name], unit)
    with st.container(border=True, horizontal=True, vertical_alignment="top"):
        close = closeup(
            _photo(dog.name).rgb,
            dog.marks[name],
            given.placed[name],
            px_per_mm(dog.to_pixels[name]),
        )
        near = display_copies(close)[0].jpeg
        with st.container(width=132):
            st.html(picture(near, tr("Close-up. {miss}", miss=missed), "132px"))
        with st.container(width="stretch"):
            st.markdown(f"{ICONS[weight]} **{missed}**")
            st.markdown(weight_sentence(given.effects, name, unit))
        if weight != "slight":
            st.caption(tr(HOW_TO_FIND[name]))


def _lengths(given: Answer, unit: str) -> None:
    rows = [
        {
            tr("with the true marks"): format_length(effect.right_mm, unit),
            tr("with yours"): format_length(effect.placed_mm, unit),
            tr("so it comes out"): change_text(effect, unit),
        }
        for effect in given.effects.together
    ]
    titles = [span_title(effect.span) for effect in given.effects.together]
    st.table(pd.DataFrame(rows, index=pd.Index(titles, name=tr("length"))))
    st.caption(
        tr(
            "The lengths as the check works them out from this photo. A tape laid between the "
            "same wrong points would go wrong alike."
        )
    )
