"""Our script that makes photos smaller, on a page that has nothing else."""

from __future__ import annotations

import base64

from playwright.sync_api import Page

from tests.support.places import APP

SITE = "http://photos.test"


def maker(page: Page) -> Page:
    """The page."""
    page.route(
        f"{SITE}/**",
        lambda route: route.fulfill(
            body=(APP / "browser" / name).read_text(encoding="utf-8")
            if (name := route.request.url.rpartition("/")[2])
            else "<!doctype html><title>photos</title>",
            content_type="text/javascript" if name else "text/html",
        ),
    )
    page.goto(f"{SITE}/")
    return page


def made_smaller(page: Page, content: bytes, kind: str = "image/jpeg") -> bytes:
    """A file's content as that page would send it."""
    text = page.evaluate(
        """async ([text, kind]) => {
            const { madeSmaller } = await import("/photos.js");
            const bytes = Uint8Array.from(atob(text), (one) => one.charCodeAt(0));
            const made = await madeSmaller(new File([bytes], "dog.jpg", { type: kind }));
            const given = new Uint8Array(await made.arrayBuffer());
            let said = "";
            for (let at = 0; at < given.length; at += 32768) {
                said += String.fromCharCode(...given.subarray(at, at + 32768));
            }
            return btoa(said);
        }""",
        [base64.b64encode(content).decode(), kind],
    )
    return base64.b64decode(text)
