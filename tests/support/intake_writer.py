"""An import to be killed: says each order right after it is in the store.

Arguments: the table, the folder of photos, the store's address.
"""

from __future__ import annotations

import json
import os
import sys

from photocheck.orders.intake.bring import Result, bring
from photocheck.orders.intake.entries import entries_of_table
from photocheck.orders.intake.photo_folder import photo_folder
from photocheck.orders.store import open_store


def say(result: Result) -> None:
    told = {"where": result.where, "outcome": result.outcome, "key": result.key}
    os.write(1, json.dumps(told).encode() + b"\n")


def main() -> None:
    table, photos, address = sys.argv[1:]
    store = open_store(address)
    os.write(1, b"{}\n")
    found = entries_of_table(table, photo_folder(photos), told={}, remembered={}, unit="")
    bring(store, found.entries, language="en", on_result=say)


if __name__ == "__main__":
    main()
