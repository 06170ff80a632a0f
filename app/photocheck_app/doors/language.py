"""The language of who asks for a plain page, by the address or as the browser says."""

from __future__ import annotations

from starlette.requests import HTTPConnection

from photocheck.speech import LANGUAGES

_LONGEST = 200
"""Characters of the header that are read; browsers send fewer."""


def language_of(request: HTTPConnection) -> str:
    """One of `photocheck.speech.LANGUAGES`: as asked in the address, else by Accept-Language.

    The header is read as in RFC 9110, 12.5.4: the heaviest first, what has no weight weighing
    one, and a region standing for its language.
    """
    asked = request.query_params.get("language", "")
    if asked in LANGUAGES:
        return asked
    weighed = []
    for part in request.headers.get("accept-language", "")[:_LONGEST].split(","):
        tag, _, weight = part.partition(";")
        weighed.append((_weight(weight), tag.strip().partition("-")[0].lower()))
    for heaviest, tag in sorted(weighed, key=lambda one: one[0], reverse=True):
        if heaviest and tag in LANGUAGES:
            return tag
    return "en"


def _weight(said: str) -> float:
    name, _, number = said.partition("=")
    if not said.strip():
        return 1.0
    try:
        return min(max(float(number), 0.0), 1.0) if name.strip().lower() == "q" else 0.0
    except ValueError:
        return 0.0
