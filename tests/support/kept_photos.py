"""Photos as a store holds them: a check of them differs from the owner's in the last digits."""

from __future__ import annotations

from photocheck.case.model import Case
from photocheck.orders.model import Store
from photocheck.photo.load import load_photo
from photocheck.photo.photo import Photo


def as_kept(store: Store, key: str, case: Case) -> dict[str, Photo]:
    """The photos of an order that was made from a case, by the paths the case has for them."""
    names = [photo["file"] for photo in store.order(key).draft.to_dict()["photos"]]
    return {
        entry.path: load_photo(store.photo(key, name))
        for entry, name in zip(case.photos, names, strict=True)
    }
