"""What is known of the dog; all of it may be left out."""

from __future__ import annotations

from functools import partial
from typing import Final

import streamlit as st

from photocheck.body.heights import PUPPY_MONTHS
from photocheck.judge.wording import PUPPY_CAUTION
from photocheck.orders.filling import Blank
from photocheck.orders.gaps import understood_reading, understood_weight
from photocheck.speech import later, tr
from photocheck_app.owner.how_deep import ask_depth
from photocheck_app.owner.readings import say_back
from photocheck_app.owner.way import Way, chosen, counted, show_ways_on, typed
from photocheck_app.shared import beside, drawing

HEADING: Final = later("Who is it for?")


def show(way: Way, page: str) -> None:
    """Each fact with what it is good for."""
    st.write(tr("All of this may be left out. What you tell makes the check sharper."))
    typed(way, Blank("dog", "name"), tr("Dog's name"))
    st.caption(tr("So that the workshop knows whom it is sewing for."))
    typed(way, Blank("dog", "breed"), tr("Breed or mix"))
    st.caption(tr("In your own words; the maker likes to know."))
    _age(way)
    weight = typed(way, Blank("dog", "weight"), tr("Weight"), placeholder=tr("28 kg or 62 lb"))
    if weight:
        say_back(lambda: understood_weight(weight), weight)
    else:
        st.caption(tr("Tells how broad the trunk is, which a side photo cannot show."))
    with st.container(border=True):
        described = tr("The tape around the chest, just behind the elbows.")
        picture = drawing("tape", described, shown="girth")
        why = tr("The best help of all: it tells how broad the chest is. Snug, not tight.")
        st.html(beside(picture, why))
        label = tr("Girth behind the elbows in {unit}", unit=way.unit_word)
        girth = typed(way, Blank("dog", "girth"), label)
        say_back(lambda: understood_reading("girth", girth, way.unit), girth)
    _widths_and_height(way)
    chosen(
        way,
        Blank("dog", "build"),
        tr("Build"),
        {
            "unknown": tr("not sure"),
            "slim": tr("slim, like a sighthound"),
            "medium": tr("in between"),
            "broad": tr("broad, barrel-chested"),
        },
        "unknown",
    )
    chosen(
        way,
        Blank("dog", "coat"),
        tr("Coat"),
        {
            "unknown": tr("not sure"),
            "short": tr("short and smooth"),
            "medium": tr("medium"),
            "long": tr("long or thick"),
        },
        "unknown",
    )
    ask_depth(way, tr("A photo shows the coat's outline, a tape presses the coat down."))
    show_ways_on(way, page)


def _widths_and_height(way: Way) -> None:
    """What a ruler tells and no photo from the side shows."""
    with st.container(border=True):
        described = tr("A dog from the front, a board held at either side of its neck.")
        why = tr(
            "How wide the neck is tells more of its girth than any photo from the side. Hold a "
            "board or book lightly against either side and measure between them."
        )
        st.html(beside(drawing("front", described, shown="boards"), why))
        labels = {
            "neck_width": tr("Neck, where the harness's ring lies, in {unit}", unit=way.unit_word),
            "chest_width": tr("Chest, behind the elbows, in {unit}", unit=way.unit_word),
            "height": tr("From the ground to the shoulder top in {unit}", unit=way.unit_word),
        }
        for fact, label in labels.items():
            told = typed(way, Blank("dog", fact), label)
            say_back(partial(understood_reading, fact, told, way.unit), told)


def _age(way: Way) -> None:
    months = counted(way, Blank("dog", "age_months"), tr("Age in months"), 0, 360)
    st.caption(tr("A young dog still grows; the maker allows for it."))
    if months is not None and months < PUPPY_MONTHS:
        st.info(tr(PUPPY_CAUTION), icon=":material/medical_services:")
