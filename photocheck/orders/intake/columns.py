"""What each column of a table was taken for: told, remembered or by its heading."""

from __future__ import annotations

import json
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from photocheck.errors import CaseError, PhotocheckError
from photocheck.files import replacing
from photocheck.orders.intake.headings import (
    HEADINGS,
    by_itself,
    field_title,
    is_known,
    like,
    squeeze,
    unit_for,
)
from photocheck.speech import tr


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
    found = _taken_for(head, remembered, chosen, set(told))
    for field, rivals in _rivals(found).items():
        raise CaseError(
            tr(
                "the columns '{one}' and '{other}' both seem to hold '{field}'",
                one=rivals[0].heading,
                other=rivals[1].heading,
                field=field,
            ),
            where=where,
            do=tr('Say which: --column "{field}={one}"', field=field, one=rivals[0].heading),
        )
    return found


def columns_as(
    head: Sequence[str], chosen: Mapping[int, str], remembered: Mapping[str, str]
) -> tuple[Column, ...]:
    """What each column holds, where people choose from what is proposed.

    Of two columns that seem to hold the same the first is believed, unless the other is chosen;
    of the other `Column.like` says what it was not taken for.

    Parameters
    ----------
    head : sequence of str
    chosen : mapping of the column's number, from 0, to field
        Empty for a column that nobody reads.
    remembered : mapping of squeezed heading to field
        Comes second.
    """
    found = list(_taken_for(head, remembered, chosen, set()))
    held = {field for field in chosen.values() if field}
    for number, column in enumerate(found):
        if number in chosen or not column.field:
            continue
        if column.field in held:
            found[number] = Column("", column.heading, "", column.field)
        held.add(column.field)
    return tuple(found)


def refuse_doubled(columns: Sequence[Column], *, where: str) -> None:
    """Refuse columns of which two were chosen for the same.

    Raises
    ------
    CaseError
    """
    for field, rivals in _rivals(columns).items():
        raise CaseError(
            tr(
                "the columns '{one}' and '{other}' are both chosen for '{field}'",
                one=rivals[0].heading,
                other=rivals[1].heading,
                field=field_title(field),
            ),
            where=where,
            do=tr("Choose one of them, and something else for the other"),
        )


def told_by_choice(columns: Sequence[Column], proposed: Sequence[Column]) -> dict[str, str]:
    """What was chosen otherwise than proposed, as `remember` takes it."""
    told: dict[str, str] = {}
    for column, before in zip(columns, proposed, strict=True):
        if column.field != before.field:
            told |= {before.field: ""} if before.field and before.field not in told else {}
            told |= {column.field: column.heading} if column.field else {}
    return told


def _taken_for(
    head: Sequence[str],
    remembered: Mapping[str, str],
    chosen: Mapping[int, str],
    settled: Collection[str],
) -> tuple[Column, ...]:
    """Each column; fields in `settled` are only where they were chosen."""
    found = []
    for number, heading in enumerate(head):
        own = remembered.get(squeeze(heading), by_itself(heading))
        field = chosen.get(number, "" if own in settled else own)
        known = field or number in chosen or squeeze(heading) in remembered or is_known(heading)
        near = "" if known else like(heading)
        found.append(Column(field, heading, unit_for(field, heading), near))
    return tuple(found)


def _rivals(columns: Sequence[Column]) -> dict[str, list[Column]]:
    """The fields that more than one column holds."""
    held = {field: [c for c in columns if c.field == field] for field in HEADINGS}
    return {field: rivals for field, rivals in held.items() if len(rivals) > 1}


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
        if not column.field and before.get(heading, by_itself(column.heading)) in told:
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
