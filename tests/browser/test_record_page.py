"""The record, printed by a browser: one page, and nothing loaded from elsewhere."""

from __future__ import annotations

from dataclasses import replace

import pypdfium2
import pytest
from playwright.sync_api import Browser

from photocheck.fit.answer import fit
from photocheck.fit.shelf import demo_table, sizes_of
from photocheck.shown.record import record_html
from photocheck.version import program
from tests.support.made_report import made_report
from tests.support.records import check_of, crowded, decision, photo


@pytest.mark.browser
@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("crowd", [False, True])
@pytest.mark.parametrize("pictures", [0, 1, 2])
@pytest.mark.parametrize("made_by", ["0.1.0", program()])
def test_it_prints_on_one_page(
    chromium: Browser, paper: str, crowd: bool, pictures: int, made_by: str
) -> None:
    report = crowded() if crowd else made_report()
    if pictures == 2 and not crowd:
        report = made_report(photos=2)
    if crowd and pictures < 2:
        report = replace(
            report,
            photos=report.photos[:1],
            case=replace(report.case, photos=report.case.photos[:1]),
        )
    shown = {"side.jpg": photo()} if pictures else {}
    agreed = replace(made_report(verdict="agrees"), verdict="agrees")
    html = record_html(
        check_of(report, made_by),
        shown,
        order="k" * 60,
        decision=decision("Because of the length. " * 60 if crowd else "Because."),
        fit=fit(agreed, sizes_of(demo_table())),
    )
    page = chromium.new_page()
    loaded: list[str] = []
    page.on("request", lambda request: loaded.append(request.url))
    page.set_content(html)
    pdf = page.pdf(format=paper)
    page.close()
    assert [url for url in loaded if not url.startswith("data:")] == []
    document = pypdfium2.PdfDocument(pdf)
    assert len(document) == 1
    assert f"photocheck {made_by}" in " ".join(document[0].get_textpage().get_text_range().split())
