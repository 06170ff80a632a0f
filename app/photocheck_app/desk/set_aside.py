"""What was handed in to be brought in, kept for who is at the desk: a reload loses none of it.

Streamlit's uploaders forget what they hold when a page is loaded again, and so do the fields in
which was chosen what it holds.  It is kept in this
server's memory, as what was typed at the desk is (`session.keep_unsent`), until it came in, was put
away, an hour went by, or others needed the room.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from time import monotonic
from typing import Final

import streamlit as st
from streamlit.typing import UploadedFile

from photocheck.speech import tr, tr_n
from photocheck.uploads import QUOTA
from photocheck_app.framework import file_id
from photocheck_app.held_uploads import content_of, had_room
from photocheck_app.shared import as_text

KEPT_S: Final = 3600.0
"""How long, from when it last changed (judgement)."""
MOST_BYTES: Final = QUOTA.total_bytes
"""Of all who are at the desk together: as much as one visitor may have on the way in."""


@dataclass(frozen=True)
class Handed:
    """A file that was handed in.

    Attributes
    ----------
    known : str
        What tells it from others.
    name : str
    content : bytes
    """

    known: str
    name: str
    content: bytes


@dataclass(frozen=True)
class Aside:
    """What was handed in together.

    Attributes
    ----------
    first : Handed or None
        The table, or the case file.
    photos : tuple of Handed
    at : float
        When, by this server's own clock, s.
    chosen : mapping of str to object
        What the page's fields held of it, by their keys.
    """

    first: Handed | None = None
    photos: tuple[Handed, ...] = ()
    at: float = 0.0
    chosen: Mapping[str, object] = field(default_factory=dict)

    @property
    def files(self) -> tuple[Handed, ...]:
        """All of them."""
        return (*((self.first,) if self.first else ()), *self.photos)

    @property
    def size(self) -> int:
        """Bytes of all of them."""
        return sum(len(file.content) for file in self.files)


Whose = tuple[str, str]
"""What it is for, and who handed it in."""


@st.cache_resource
def _aside() -> dict[Whose, Aside]:
    # On the server and not in the session: a reload is a new session.
    return {}


def handed_in(
    what: str, who: str, first: UploadedFile | None, photos: Sequence[UploadedFile]
) -> Aside:
    """What lies in the uploaders, and what was there before the page was loaded.

    A new table or case file takes the place of the one before; photos come beside those before.

    Parameters
    ----------
    what : str
        What it is for.
    who : str
        Who is at the desk.
    first : UploadedFile or None
    photos : sequence of UploadedFile
        Those for which there was room are taken.

    Raises
    ------
    PhotoError
        When there was no room for the first.
    """
    before = _before(what, who)
    there = tuple(_handed(file) for file in photos if had_room(file))
    now = Aside(
        _handed(first) if first else before.first,
        (*before.photos, *there),
        monotonic(),
        _aside().get((what, who), before).chosen,
    )
    ids = tuple(file.known for file in now.files)
    if ids != st.session_state.get(_ids(what), tuple(file.known for file in before.files)):
        _keep((what, who), now)
    st.session_state[_ids(what)] = ids
    return now


def say(what: str, who: str, aside: Aside) -> None:
    """That some of it was here before the page was loaded, where it was."""
    before = _before(what, who)
    named = [aside.first.name] if aside.first and aside.first == before.first else []
    if count := len(before.photos):
        named.append(tr_n("{count} photo", "{count} photos", count))
    if named:
        said = tr("Still here from before this page was loaded: {what}.", what=", ".join(named))
        st.caption(f":material/history: {as_text(said)}")


def chosen_before(what: str, who: str, key: str) -> object:
    """What a field held before the page was loaded; None where that is not known."""
    return _before(what, who).chosen.get(key)


def keep_chosen(what: str, who: str, keys: Iterable[str]) -> None:
    """Keep what fields hold beside what was handed in; nothing where nothing is kept of that."""
    kept = _aside().get((what, who))
    if kept is not None:
        now = {key: st.session_state[key] for key in keys if key in st.session_state}
        if now != kept.chosen:
            # In its place among the others: `_keep` lets go of what came first.
            _aside()[what, who] = replace(kept, chosen=now, at=monotonic())


def came_in(what: str, who: str) -> None:
    """Nothing more of it need outlast a reload; what is in the page stays until it is put away."""
    _aside().pop((what, who), None)


def put_away(what: str, who: str) -> None:
    """Let all of it go."""
    came_in(what, who)
    st.session_state[_name(what)] = Aside()
    st.session_state.pop(_ids(what), None)


def _handed(file: UploadedFile) -> Handed:
    return Handed(file_id(file), file.name, content_of(file))


def _keep(whose: Whose, aside: Aside) -> None:
    all_of_it = _aside()
    all_of_it.pop(whose, None)
    for other, kept in list(all_of_it.items()):
        if monotonic() - kept.at > KEPT_S:
            all_of_it.pop(other, None)
    if not aside.files or aside.size > MOST_BYTES:
        return
    all_of_it[whose] = aside
    while sum(kept.size for kept in list(all_of_it.values())) > MOST_BYTES:
        all_of_it.pop(next(iter(all_of_it)), None)


def _before(what: str, who: str) -> Aside:
    """What was kept when this session first looked."""
    name = _name(what)
    if name not in st.session_state:
        kept = _aside().get((what, who), Aside())
        fresh = monotonic() - kept.at <= KEPT_S
        st.session_state[name] = kept if fresh else Aside()
    before: Aside = st.session_state[name]
    return before


def _name(what: str) -> str:
    return f"set aside {what}"


def _ids(what: str) -> str:
    return f"set aside {what} ids"
