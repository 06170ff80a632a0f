"""The self-check: one's own photo marked twice, and what the two markings differ by."""

from __future__ import annotations

import pandas as pd
import streamlit as st

from photocheck.case.lengths import format_length
from photocheck.errors import PhotocheckError
from photocheck.practice.lesson import self_check
from photocheck.practice.repeat import Repeat
from photocheck.practice.sentences import change_text, moved_sentence, repeat_sentence, span_title
from photocheck.scale.catalogue import REFERENCES
from photocheck.server import bench
from photocheck.shown.display import Shown
from photocheck.speech import tr
from photocheck.uploads import take_upload
from photocheck.words import LANDMARK_TITLES, LANDMARKS, PLACE_TITLES
from photocheck_app.held_uploads import content_of, let_go
from photocheck_app.kept import hold
from photocheck_app.marking import marking_surface
from photocheck_app.practise.landmarks import show_cautions, show_how
from photocheck_app.practise.learner import KINDS, NOTHING, Own, keep_own, learner
from photocheck_app.shared import as_text, limits


def _shown(own: Own) -> Shown:
    return bench.shown_photo(own.sha256, own.name, own.content)


def show() -> None:
    """The upload, the two markings, the comparison."""
    own = learner().own
    if own is None:
        _upload()
        return
    if own.at == "result":
        _result(own)
    else:
        _mark(own)
    st.divider()
    st.button(tr("Another photo"), key="practise_own_other", on_click=_forget)


def _forget() -> None:
    learner().own = None


def _upload() -> None:
    st.write(
        tr(
            "Mark one photo of your own dog twice, the second time without seeing the first. What "
            "the two differ by is how well you find the same place again. Nobody knows the true "
            "marks here: two that agree may both be wrong."
        )
    )
    show_cautions()
    given = st.file_uploader(
        tr("Take or choose a photo from the side"),
        type=list(limits().suffixes),
        key="practise_own_file",
    )
    st.caption(tr("The photo is not kept: it is gone when you close or reload this page."))
    if given:
        with st.spinner(tr("Looking at the photo")):
            taken = take_upload(content_of(given), limits=limits(), where=given.name)
        learner().own = keep_own(Own(taken.content, given.name, taken.sha256))
        let_go([given])
        st.rerun()


def _mark(own: Own) -> None:
    again = own.at == "second"
    st.subheader(tr("Second time") if again else tr("First time"), anchor=False)
    if again:
        st.write(
            tr("Look away for a minute. Then mark as if you saw the photo for the first time.")
        )
    else:
        _scale(own)
        with st.expander(tr("How to find the four marks"), icon=":material/search:"):
            show_how()
    shape = "none" if again else own.shape
    placed = marking_surface(
        _shown(own),
        key=f"practise own/{own.at}/{own.turn}/{shape}",
        start=own.second if again else own.first,
        optional=(),
        reference_shape=shape,
    )
    if again:
        own.second = placed
    else:
        own.first = placed
    wanting = [tr(LANDMARK_TITLES[name]) for name in LANDMARKS if name not in placed.marks]
    if shape == "near" and not placed.reference:
        wanting.append(tr(REFERENCES[own.kind].title))
    label = tr("Compare the two") if again else tr("Mark it once more")
    if st.button(label, type="primary", key="practise_own_on", width="stretch"):
        if wanting:
            st.info(tr("Still to place: {marks}.", marks=", ".join(wanting)))
            return
        own.at = "result" if again else "second"
        st.rerun()


def _scale(own: Own) -> None:
    titles = {kind: tr(REFERENCES[kind].title) for kind in KINDS}
    titles[NOTHING] = tr("nothing")
    _choose(own, "kind", tr("What in the photo is of known size?"), titles)
    if own.kind == NOTHING:
        st.caption(tr("Then the difference can only be given as a share of the dog's back."))
    else:
        places = {place: tr(title) for place, title in PLACE_TITLES.items()}
        _choose(own, "place", tr("Where was it?"), places)


def _choose(own: Own, what: str, label: str, titles: dict[str, str]) -> None:
    now = getattr(own, what)
    key = hold(f"practise_own_{what}", now, lambda chosen: setattr(own, what, chosen))
    st.selectbox(label, list(titles), format_func=titles.__getitem__, key=key)


def _result(own: Own) -> None:
    unit = learner().unit
    st.subheader(tr("How well the two agree"), anchor=False)
    try:
        with bench.at_work():
            photo = bench.held(own.sha256, own.name, own.content)
            result, problem = self_check(photo, own.reference, own.first.marks, own.second.marks)
    except PhotocheckError as error:
        st.error(as_text(str(error)))
    else:
        if problem:
            st.warning(as_text(problem), icon=":material/search_off:")
        st.markdown(f"**{repeat_sentence(result, unit)}**")
        marking_surface(
            _shown(own),
            key=f"practise own/result/{own.turn}",
            start=own.second,
            optional=(),
            reference_shape="none",
            truth=own.first.marks,
            read_only=True,
            words={"true_mark": tr("first {title}", title="{title}")},
        )
        st.caption(tr("The diamond is your first mark, the ring your second."))
        st.markdown("\n".join(f"- {moved_sentence(name, result, unit)}" for name in LANDMARKS))
        _lengths(result, unit)
        st.info(
            tr(
                "No truth is known here. Marks that agree show a steady hand, not that they are "
                "right; the practice dogs show that."
            ),
            icon=":material/info:",
        )
    st.button(tr("Mark it twice again"), key="practise_own_again", on_click=own.again)


def _lengths(result: Repeat, unit: str) -> None:
    if not result.spans:
        return
    rows = [
        {
            tr("first time"): format_length(effect.right_mm, unit),
            tr("second time"): format_length(effect.placed_mm, unit),
            tr("the second comes out"): change_text(effect, unit),
        }
        for effect in result.spans
    ]
    titles = [span_title(effect.span) for effect in result.spans]
    st.table(pd.DataFrame(rows, index=pd.Index(titles, name=tr("length"))))
