"""Which column holds what, by its heading in people's words, English and German."""

from __future__ import annotations

import difflib
import json
import re
import unicodedata
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from photocheck.case.lengths import parse_length, parse_weight
from photocheck.errors import CaseError, PhotocheckError
from photocheck.files import replacing
from photocheck.speech import tr
from photocheck.words import ALL_LANDMARKS, FACT_TITLES, READINGS

_HEADINGS: Final = {
    "order": "order, order number, order no, order id, number, no, id, Bestellung, "
    "Bestellnummer, Bestell-Nr, Auftrag, Auftragsnummer, Auftrags-Nr, Nummer, Nr",
    "name": "name, customer, customer name, owner, owner's name, client, Kunde, Kundin, "
    "Kundenname, Besitzer, Besitzerin, Halter, Halterin",
    "dog": "dog, dog's name, name of the dog, Hund, Hundename, Name des Hundes",
    "language": "language, Sprache",
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
    "reference": "known size, object of known size, bekannte Größe, Gegenstand",
    "place": "place, where it stood, Stelle, wo es stand",
    "bar": "bar, proof bar, Prüfbalken",
    "diameter": "diameter, Durchmesser",
    "breastbone": "breastbone, Brustbein",
    "shoulder_top": "shoulder top, Widerrist",
    "last_rib": "last rib, letzte Rippe",
    "tail_base": "tail base, Schwanzansatz, Rutenansatz",
    "back_top": "back top, Rücken über dem Ellbogen",
    "chest_bottom": "chest bottom, Brust unten",
    "front_foot": "front foot, Vorderpfote",
    "rear_foot": "rear foot, Hinterpfote",
}

AGAIN: Final[Mapping[str, str]] = {name: f"{name}_2" for name in READINGS}
"""The column of a reading's second take, by the reading."""

_SECOND: Final = "_ 2, second _, _ again, _ zweite Messung"

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

LENGTHS: Final = (*READINGS, *AGAIN.values(), *FACT_TITLES, "coat_depth", "bar", "diameter")
"""Columns whose heading may tell the unit of a length."""

_UNIT: Final = re.compile(
    r"^(?P<rest>.*?\S)\s*(?:[(\[]\s*(?:in\s+)?(?P<a>[^\W_]+|\")\s*[)\]]|"
    r"[\s/_,.]\s*(?:in\s+)?(?P<b>[^\W_]+))\s*$",
    re.IGNORECASE,
)
_AGES: Final = {
    "months": ("months", "month", "mo", "monate", "monaten", "monat", "mon"),
    "years": ("years", "year", "yrs", "yr", "y", "jahre", "jahren", "jahr", "j"),
}


@dataclass(frozen=True)
class Column:
    """What a column of a table holds.

    Attributes
    ----------
    field : str
        A key of `HEADINGS`; empty when nobody reads it.
    heading : str
        As it stands in the table.
    unit : str
        The heading's: of a length or weight, or of an age; may be empty.
    like : str
        For a column that nobody reads, the field its heading is most like; may be empty.
    """

    field: str
    heading: str
    unit: str = ""
    like: str = ""


def is_known(heading: str) -> bool:
    """Whether a heading says by itself what the column holds."""
    return bool(_by_itself(heading))


def columns_of(
    head: Sequence[str], told: Mapping[str, str], remembered: Mapping[str, str], *, where: str
) -> tuple[Column, ...]:
    """What each column holds.

    Parameters
    ----------
    head : sequence of str
    told : mapping of field to heading
        Comes first; an empty heading means that no column holds the field.
    remembered : mapping of squeezed heading to field
        Comes second (`remember`).
    where : str
        The table's name, for messages.

    Raises
    ------
    CaseError
        When a field or heading that was told is not there, or two columns claim to hold the
        same.
    """
    squeezed = [squeeze(heading) for heading in head]
    chosen: dict[int, str] = {}
    for field, heading in told.items():
        if field not in HEADINGS:
            raise CaseError(
                tr("'{field}' is nothing that a column can hold", field=field[:60]),
                where="--column",
                do=tr("Use one of {names}", names=", ".join(HEADINGS)),
            )
        if not heading:
            continue
        if squeeze(heading) not in squeezed:
            raise CaseError(
                tr("no column is headed '{heading}'", heading=heading[:60]),
                where="--column",
                do=tr("Use one of {names}", names=", ".join(head)),
            )
        chosen[squeezed.index(squeeze(heading))] = field
    found = []
    for number, heading in enumerate(head):
        field = remembered.get(squeezed[number], _by_itself(heading))
        if field in told:
            field = ""
        field = chosen.get(number, field)
        settled = field or squeezed[number] in remembered or is_known(heading)
        like = "" if settled else _like(heading)
        found.append(Column(field, heading, _unit_for(field, heading), like))
    for field in HEADINGS:
        rivals = [column.heading for column in found if column.field == field]
        if len(rivals) > 1:
            raise CaseError(
                tr(
                    "the columns '{one}' and '{other}' both seem to hold '{field}'",
                    one=rivals[0],
                    other=rivals[1],
                    field=field,
                ),
                where=where,
                do=tr('Say which: --column "{field}={one}"', field=field, one=rivals[0]),
            )
    return tuple(found)


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


def _by_itself(heading: str) -> str:
    whole = _FIELDS.get(squeeze(heading), "")
    match = _UNIT.match(heading)
    if whole or match is None:
        return whole
    field = _FIELDS.get(squeeze(match["rest"]), "")
    return field if _unit_for(field, heading) else ""


def _unit_for(field: str, heading: str) -> str:
    match = _UNIT.match(heading)
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


def _like(heading: str) -> str:
    close = difflib.get_close_matches(squeeze(heading), _FIELDS, n=1, cutoff=0.75)
    return _FIELDS[close[0]] if close else ""


# --- remembered --------------------------------------------------------------


def memory_file() -> Path:
    """Where choices are remembered: a small file in the user's configuration folder."""
    from platformdirs import user_config_path

    return user_config_path("photocheck") / "columns.json"


def recall() -> dict[str, str]:
    """What was chosen before: squeezed heading to field, "" for a column nobody reads.

    A file that cannot be read counts as none.
    """
    try:
        data = json.loads(memory_file().read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    if not isinstance(data, dict):
        return {}
    return {k: v for k, v in data.items() if v == "" or (isinstance(v, str) and v in HEADINGS)}


def remember(columns: Sequence[Column], told: Mapping[str, str]) -> Path | None:
    """Remember what was told of these columns; gives the file when there is something new.

    Raises
    ------
    PhotocheckError
        When the file cannot be written.
    """
    before = recall()
    new = {squeeze(c.heading): c.field for c in columns if c.field in told}
    for column in columns:
        heading = squeeze(column.heading)
        if not column.field and before.get(heading, _by_itself(column.heading)) in told:
            new[heading] = ""
    after = {**before, **new}
    if after == before:
        return None
    path = memory_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise PhotocheckError(tr("the folder cannot be made"), where=str(path.parent)) from error
    with replacing(path) as file:
        file.write(json.dumps(after, ensure_ascii=False, indent=1, sort_keys=True).encode())
    return path


if not set(ALL_LANDMARKS) | set(READINGS) <= set(HEADINGS):
    raise AssertionError("every landmark and reading can be a column")
