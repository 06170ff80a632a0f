"""Which column holds what, by its heading in people's words, English and German."""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Mapping
from typing import Final

from photocheck.case.lengths import parse_length, parse_weight
from photocheck.errors import CaseError
from photocheck.speech import later, tr
from photocheck.words import (
    ALL_LANDMARKS,
    FACT_TITLES,
    LANDMARK_TITLES,
    READING_TITLES,
    READINGS,
)

_HEADINGS: Final = {
    "order": "order, order number, order no, order id, number, no, id, Bestellung, "
    "Bestellnummer, Bestell-Nr, Auftrag, Auftragsnummer, Auftrags-Nr, Nummer, Nr",
    "name": "name, customer, customer name, owner, owner's name, client, Kunde, Kundin, "
    "Kundenname, Besitzer, Besitzerin, Halter, Halterin",
    "dog": "dog, dog's name, name of the dog, Hund, Hundename, Name des Hundes",
    "email": "e-mail, mail, e-mail address, mail address, E-Mail-Adresse, Mailadresse",
    "telephone": "telephone, telephone number, phone, phone number, tel, mobile, mobile number, "
    "Telefon, Telefonnummer, Handy, Handynummer, Mobilnummer",
    "notes": "notes, note, remark, remarks, comment, comments, Notiz, Notizen, Bemerkung, "
    "Bemerkungen, Anmerkung, Anmerkungen, Kommentar, Hinweis, Hinweise",
    "language": "language, owner's language, Sprache, Sprache des Halters",
    "unit": "unit, units, Einheit, Maßeinheit",
    "half_neck": "half neck, neck half, half of the neck, halber Hals, Hals halb, "
    "halbe Halsweite, halber Halsumfang",
    "front_length": "front length, length front, front, front part, vordere Länge, "
    "Vorderlänge, Länge vorn, Länge vorne, vorn, vorne",
    "rear_length": "rear length, length rear, rear, rear part, back part, hintere Länge, "
    "Hinterlänge, Länge hinten, hinten",
    "full_length": "full length, total length, overall length, whole length, ganze Länge, "
    "Gesamtlänge, Länge gesamt, Länge ganz",
    "neck_ring": "neck ring, tape ring, neck opening, Halsring, Ring um den Hals, "
    "Halsöffnung, Halsausschnitt",
    "breed": "breed, breed or mix, Rasse, Rasse oder Mischung",
    "weight": "weight, Gewicht",
    "girth": "girth, chest girth, Brustumfang",
    "neck_width": "neck width, width of the neck, Halsbreite, Breite des Halses",
    "chest_width": "chest width, width of the chest, Brustbreite, Breite der Brust",
    "height": "height, height at the shoulder, shoulder height, height at the withers, "
    "Schulterhöhe, Widerristhöhe, Höhe",
    "coat": "coat, coat length, Fell, Felllänge",
    "coat_depth": "coat depth, Felltiefe, Felldicke",
    "build": "build, body build, Körperbau, Statur",
    "age": "age, Alter",
    "photo": "photo, photos, photo file, picture, pictures, image, file, file name, Foto, "
    "Fotos, Fotodatei, Bild, Bilder, Bilddatei, Datei, Dateiname",
    "reference": "known size, object of known size, bekannte Größe, Gegenstand, "
    "Gegenstand bekannter Größe",
    "place": "place, where it stood, Stelle, wo es stand",
    "bar": "bar, proof bar, Prüfbalken",
    "diameter": "diameter, Durchmesser",
    "breastbone": "breastbone, Brustbein",
    "shoulder_top": "shoulder top, Widerrist",
    "last_rib": "last rib, letzte Rippe",
    "tail_base": "tail base, Schwanzansatz, Rutenansatz",
    "back_top": "back top, back above the elbow, Rücken über dem Ellbogen",
    "chest_bottom": "chest bottom, chest bottom behind the elbow, Brust unten, "
    "Brustunterseite hinter dem Ellbogen",
    "front_foot": "front foot, Vorderpfote, Vorderfuß",
    "rear_foot": "rear foot, Hinterpfote, Hinterfuß",
}

AGAIN: Final[Mapping[str, str]] = {name: f"{name}_2" for name in READINGS}
"""The column of a reading's second take, by the reading."""

_SECOND: Final = "_ 2, second _, _ again, _ second time, _ zweite Messung, _ zweites Mal"

HEADINGS: Final[Mapping[str, tuple[str, ...]]] = {
    **{field: tuple(words.split(", ")) for field, words in _HEADINGS.items()},
    **{
        field: tuple(
            said
            for heading in _HEADINGS[name].split(", ")
            for said in _SECOND.replace("_", heading).split(", ")
        )
        for name, field in AGAIN.items()
    },
}
"""What a column may hold, and how people head it.  The names of ours are understood too.  A
plain "neck" or "Halsumfang" is nobody's: it may be the neck itself, which is not measured here,
or the ring that slips over the head."""

_TITLES: Final[Mapping[str, str]] = {
    "order": later("order number"),
    "name": later("owner"),
    "dog": later("dog's name"),
    "email": later("e-mail"),
    "telephone": later("telephone"),
    "notes": later("notes"),
    "language": later("owner's language"),
    "unit": later("unit"),
    "breed": later("breed"),
    "weight": later("weight"),
    "coat": later("coat"),
    "coat_depth": later("coat depth"),
    "build": later("build"),
    "age": later("age"),
    "photo": later("photo"),
    "reference": later("object of known size"),
    "place": later("where it stood"),
    "bar": later("proof bar"),
    "diameter": later("diameter"),
}

TO_FILL_IN: Final = (
    *("order", "name", "dog", "email", "telephone", "language", "unit"),
    *READINGS,
    *("breed", "weight", "girth", "neck_width", "chest_width", "height"),
    *("coat", "build", "age", "photo", "notes"),
)
"""Columns of the empty table that a workshop may fill in: what an order is told by its owner."""


def field_title(field: str) -> str:
    """What to call what a column holds, in the language spoken."""
    for name, again in AGAIN.items():
        if field == again:
            return tr("{reading}, second time", reading=tr(READING_TITLES[name]))
    titles = {**READING_TITLES, **FACT_TITLES, **LANDMARK_TITLES, **_TITLES}
    return tr(titles[field])


LENGTHS: Final = (*READINGS, *AGAIN.values(), *FACT_TITLES, "coat_depth", "bar", "diameter")
"""Columns whose heading may tell the unit of a length."""

_UNIT: Final = re.compile(
    r"^(?P<rest>.*?\S)\s*(?:[(\[]\s*(?:in\s+)?(?P<a>[^\W_]+|\")\s*[)\]]|"
    r"[\s/_,.]\s*(?:in\s+)?(?P<b>[^\W_]+))\s*$",
    re.IGNORECASE,
)
"""Tries every way to part a heading: of a long one that takes as long as the square of its
length."""
LONGEST_HEADING: Final = 200
"""Letters; what is longer says nothing by itself (judgement)."""
_AGES: Final = {
    "months": ("months", "month", "mo", "monate", "monaten", "monat", "mon"),
    "years": ("years", "year", "yrs", "yr", "y", "jahre", "jahren", "jahr", "j"),
}


def is_known(heading: str) -> bool:
    """Whether a heading says by itself what the column holds."""
    return bool(by_itself(heading))


def squeeze(heading: str) -> str:
    """A heading in small letters, without blanks, signs and umlauts, as it is compared."""
    plain = unicodedata.normalize("NFKC", heading).casefold()
    for umlaut, letters in (("ä", "ae"), ("ö", "oe"), ("ü", "ue")):
        plain = plain.replace(umlaut, letters)
    return "".join(c for c in plain if c.isalnum())


_FIELDS: Final = {
    squeeze(heading): field
    for field, headings in HEADINGS.items()
    for heading in (field, *headings)
}


def by_itself(heading: str) -> str:
    """The field that a heading names; empty for none."""
    if len(heading) > LONGEST_HEADING:
        return ""
    whole = _FIELDS.get(squeeze(heading), "")
    match = _UNIT.match(heading)
    if whole or match is None:
        return whole
    field = _FIELDS.get(squeeze(match["rest"]), "")
    return field if unit_for(field, heading) else ""


def unit_for(field: str, heading: str) -> str:
    """The unit that a heading tells for what its column holds; may be empty."""
    match = _UNIT.match(heading) if len(heading) <= LONGEST_HEADING else None
    if match is None:
        return ""
    word = (match["a"] or match["b"]).casefold()
    if field == "age":
        return next((unit for unit, words in _AGES.items() if word in words), "")
    try:
        if field in LENGTHS:
            parse_length(f"2 {word}", "cm")
        elif field == "weight":
            parse_weight(f"20 {word}")
        else:
            return ""
    except CaseError:
        return ""
    return word


def age_words(unit: str) -> tuple[str, ...]:
    """How people write "months" or "years"."""
    return _AGES[unit]


def like(heading: str) -> str:
    """The field that a heading is nearly the name of; empty for none."""
    if len(heading) > LONGEST_HEADING:
        return ""
    close = difflib.get_close_matches(squeeze(heading), _FIELDS, n=1, cutoff=0.75)
    return _FIELDS[close[0]] if close else ""


if not set(ALL_LANDMARKS) | set(READINGS) <= set(HEADINGS):
    raise AssertionError("every landmark and reading can be a column")
