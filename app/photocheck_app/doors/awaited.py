"""What who comes by a link reads until the app is there.

On a slow line the app takes a quarter of a minute, and what an owner wants to know fits into a few
lines: whether the workshop has answered, and what comes next.
"""

from __future__ import annotations

from html import escape
from typing import Final

from photocheck.errors import PhotocheckError
from photocheck.orders.coming_back import ToldFirst, told_first
from photocheck.orders.model import OrderError
from photocheck.server.access.linked import LinkedStore
from photocheck.speech import speaking, tr
from photocheck_app.doors.rate_limits import COUNTS, UNKNOWN_LINKS
from photocheck_app.doors.settings import the_store
from photocheck_app.doors.whose import whose_page

LONGEST_LINK: Final = 200
"""Characters: no link of ours is longer, and nothing longer is looked for."""


def awaited(link: str, who: str, language: str) -> str:
    """HTML of what the order of a link tells; empty where the app has to say what is wrong.

    Parameters
    ----------
    link : str
        As the address has it.
    who : str
        Whom the visitor counts as: links that lead nowhere are counted here as in the app.
    language : str
        In which it speaks.
    """
    if not link or len(link) > LONGEST_LINK:
        return ""
    try:
        COUNTS.refuse_beyond(UNKNOWN_LINKS, who)
        try:
            order = LinkedStore(the_store()).order(link)
        except OrderError:
            COUNTS.count(UNKNOWN_LINKS, who)
            return ""
    except PhotocheckError:
        return ""
    with speaking(language):
        return _written(told_first(order))


def _written(told: ToldFirst) -> str:
    said = "".join(f"<p>{escape(line)}</p>" for line in told.said.splitlines() if line.strip())
    needs = "".join(f"<li>{escape(one)}</li>" for one in told.needs)
    if needs:
        needs = f"<h2>{escape(tr('What you need'))}</h2><ul>{needs}</ul>"
    return f"{whose_page()}<h1>{escape(told.title)}</h1>{said}{needs}"
