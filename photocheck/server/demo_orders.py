"""The invented samples as orders, so that a fresh desk has something to look at."""

from __future__ import annotations

import json
from collections.abc import Callable

from photocheck.case.samples import sample_names, samples_folder
from photocheck.errors import CaseError
from photocheck.judge.ratios import Ratios
from photocheck.judge.tolerances import AS_SHIPPED, Tolerances
from photocheck.orders.intake.bring_in import bring_in
from photocheck.orders.model import Store
from photocheck.server.run import run_check
from photocheck.speech import tr


def bring_in_samples(
    store: Store,
    *,
    language: str = "en",
    ratios: Ratios | None = None,
    tolerated: Tolerances = AS_SHIPPED,
    on_sample: Callable[[int, int], None] | None = None,
) -> int:
    """Bring in and check every sample the store does not hold yet.

    Parameters
    ----------
    store : Store
    language : str
    ratios : Ratios, optional
        What the shop has learnt.
    tolerated : Tolerances
        What it lets pass.
    on_sample : callable, optional
        Called with how many are done and how many there are.

    Returns
    -------
    int
        How many came in.

    Raises
    ------
    CaseError
        When there are no samples, or one cannot be read.
    """
    names = sample_names()
    if not names:
        raise CaseError(
            tr("the samples are not here: their folder is missing or empty"),
            where=samples_folder().name,
            do=tr("Install photocheck again"),
        )
    there = {line.name for line in store.lines()}
    came = 0
    for number, name in enumerate(names, start=1):
        data, photos = _sample(name)
        data["name"] = tr("{dog} (invented sample)", dog=name.capitalize())
        if data["name"] not in there:
            content = json.dumps(data, ensure_ascii=False).encode()
            key = bring_in(store, (name, content), photos, language=language).key
            run_check(store, key, by="owner", ratios=ratios, tolerated=tolerated)
            came += 1
        if on_sample:
            on_sample(number, len(names))
    return came


def _sample(name: str) -> tuple[dict[str, str], list[tuple[str, bytes]]]:
    folder = samples_folder() / name
    try:
        data = json.loads((folder / "case.json").read_text(encoding="utf-8"))
        return data, [(p.name, p.read_bytes()) for p in sorted(folder.glob("*.jpg"))]
    except (OSError, ValueError) as error:
        raise CaseError(
            tr("this sample is not complete"), where=name, do=tr("Install photocheck again")
        ) from error
