"""The translations, from the .po that people write to the .mo that is read at run time.

``python -m tests.support.catalogues`` compiles them all.  Babel's ``pybabel compile`` writes the
same, but takes per cent signs before a word for placeholders and ends with an error.
"""

from __future__ import annotations

from io import BytesIO

from babel.messages.catalog import Catalog, Message
from babel.messages.mofile import read_mo, write_mo
from babel.messages.pofile import read_po

from photocheck.speech import LANGUAGES
from tests.support.places import ROOT

CATALOGUES = ROOT / "photocheck" / "languages"
OTHERS = [code for code in LANGUAGES if code != "en"]


def written(code: str) -> Catalog:
    """The catalogue that people write."""
    with (CATALOGUES / f"{code}.po").open("rb") as file:
        return read_po(file, locale=code, abort_invalid=True)


def compiled(code: str) -> bytes:
    """What the .mo of a language is to hold."""
    held = BytesIO()
    write_mo(held, written(code))
    return held.getvalue()


def said_by(mo: bytes) -> dict[object, object]:
    """Everything a compiled catalogue says, with its header; not which Babel made it."""
    catalogue = read_mo(BytesIO(mo))
    headers = [pair for pair in catalogue.mime_headers if pair[0] != "Generated-By"]
    said: dict[object, object] = {key_of(m): m.string for m in catalogue if m.id}
    return {**said, "": headers}


def key_of(message: Message) -> str | tuple[str, ...]:
    """A text, or its forms."""
    return message.id if isinstance(message.id, str) else tuple(message.id)


def main() -> None:
    """Compile every catalogue."""
    for code in OTHERS:
        (CATALOGUES / f"{code}.mo").write_bytes(compiled(code))


if __name__ == "__main__":
    main()
