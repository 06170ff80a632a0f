"""An owner's order whose readings are in, opened at the step of the photo.

How they are typed, one page each, is tested in `tests/app/test_app.py`; going through those pages
is half the work of a test that is about what comes after.
"""

from __future__ import annotations

from collections.abc import Mapping

from streamlit.testing.v1 import AppTest
from streamlit.testing.v1.element_tree import FileUploader

from photocheck.case.file import FORMAT
from photocheck.orders.draft import Draft
from photocheck_app import shared
from tests.support.places import APP

READINGS = {"half_neck": "36", "front_length": "52,5", "rear_length": "27", "full_length": "79.5"}


def at_photo(content: bytes, readings: Mapping[str, str] = READINGS) -> AppTest:
    """The page once a photo was handed in there."""
    store = shared.owners_store()
    key = store.open()
    told = {"format": FORMAT, "unit": "cm", "readings": dict(readings)}
    store.save_draft(key, Draft.from_dict(told))
    page = AppTest.from_file(str(APP / "main.py"), default_timeout=60)
    page.query_params["order"], page.query_params["step"] = key, "photo"
    page.run()
    (uploader,) = page.get("file_uploader")
    assert isinstance(uploader, FileUploader)
    uploader.set_value([("side.jpg", content, "image/jpeg")]).run()
    assert not page.exception
    return page
