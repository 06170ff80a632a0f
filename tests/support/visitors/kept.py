"""Whether the store holds exactly what each visitor typed and sent, and nothing of anybody else."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from photocheck.orders.store import DatabaseStore, open_store
from photocheck.photo.clean import clean
from photocheck.server.run import recompute
from tests.support.typed_takes import only_typed
from tests.support.visitors.made import Told


def wrongs(
    kept_in: Path | str,
    visitors: Sequence[Told],
    headlines: Mapping[str, str],
    *,
    others: bool = False,
) -> list[str]:
    """What is not as it should be: empty when all is well.

    Parameters
    ----------
    kept_in : Path or str
        The address of the store.
    visitors : sequence of Told
        All that there were but for an attacker, each of whom sent one order.
    headlines : mapping of a dog's name to str
        The verdict that its owner was shown.
    others : bool
        Whether an attacker has made some as well.
    """
    store = open_store(str(kept_in))
    try:
        lines = store.lines()
        found = []
        if len(lines) != len(visitors) and not others:
            found.append(f"there are {len(lines)} orders of {len(visitors)} visitors")
        photos: dict[bytes, str] = {}
        for told in visitors:
            keys = [line.key for line in lines if line.name == told.name]
            if len(keys) != 1:
                found.append(f"{told.name} has {len(keys)} orders")
                continue
            found += _wrongs_of(store, keys[0], told, headlines[told.name], photos)
        return found
    finally:
        store.close()


def _wrongs_of(
    store: DatabaseStore, key: str, told: Told, headline: str, photos: dict[bytes, str]
) -> list[str]:
    order = store.order(key)
    found = []
    draft = only_typed(order.draft.to_dict())
    kept = {name: draft.get(name) for name in told.draft if name != "photos"}
    for name, value in kept.items():
        if value != told.draft[name]:
            found.append(f"{told.name}: {name} is {value}, not {told.draft[name]}")
    (wanted,) = told.draft["photos"]
    held: list[Mapping[str, Any]] = list(draft["photos"])
    if len(held) != 1:
        return [*found, f"{told.name} has {len(held)} photos"]
    (photo,) = held
    for name, value in wanted.items():
        if photo[name] != value:
            found.append(f"{told.name}: {name} is {photo[name]}, not {value}")
    content = store.photo(key, photo["file"])
    # Photos are written anew from their pixels when they are taken in, to the same bytes always.
    if content != clean(told.photo).content:
        found.append(f"{told.name}: the photo is another")
    if content in photos:
        found.append(f"{told.name} has the photo of {photos[content]}")
    photos[content] = told.name
    if len(order.checks) != 1:
        return [*found, f"{told.name} sent {len(order.checks)} checks"]
    (check,) = order.checks
    if check.case != order.draft:
        found.append(f"{told.name}: checked was something else than was typed")
    if recompute(store, key, check) != check.report:
        found.append(f"{told.name}: the check alone comes to another report")
    shown = headline.replace("\\", "")
    if check.report.headline != shown:
        found.append(f"{told.name} was told {shown!r}, kept is {check.report.headline!r}")
    return found
