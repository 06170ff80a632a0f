"""Opening a store: find it, see which version it is, upgrade it after a copy."""

from __future__ import annotations

import logging
from pathlib import Path

from photocheck.orders.model import StoreError
from photocheck.orders.store import schema
from photocheck.orders.store.database import DatabaseStore
from photocheck.orders.store.engines import engine_for, reached, url_of
from photocheck.orders.store.unfinished import sweep
from photocheck.speech import tr

_log = logging.getLogger(__name__)


def open_store(address: str | None = None, *, new: bool = True) -> DatabaseStore:
    """Open the store, making its tables or upgrading them after a copy where needed.

    Parameters
    ----------
    address : str or None
        ``postgresql+psycopg://...``, ``sqlite:///...``, the path of a SQLite file, or None
        for a file in the user's own data folder.
    new : bool
        Whether a SQLite file that is not there is made; a database must be there.

    Raises
    ------
    StoreError
        When it cannot be opened, holds something else, or is a newer photocheck's.
    """
    url = url_of(address)
    if not new and url.get_backend_name() == "sqlite" and not Path(str(url.database)).exists():
        raise StoreError(
            tr("there are no orders yet"), where=str(url.database), do=tr("Check the file name")
        )
    store = DatabaseStore(engine_for(url))
    try:
        _bring_up_to_date(store)
    except BaseException:
        store.close()  # who asks again and again would hold ever more connections
        raise
    return store


def _bring_up_to_date(store: DatabaseStore) -> None:
    with store.reading() as connection:
        found = schema.version_of(connection)
    schema.refuse_newer(found)
    sweep(store.engine)
    if found == schema.SCHEMA:
        return
    if found is not None:
        from photocheck.orders.store.copies import side_copy

        copy = side_copy(store, f"before-schema-{schema.SCHEMA}")
        _log.warning("the orders are upgraded; as they were, they are kept in %s", copy)
    with reached():
        schema.upgrade(store.engine)
