"""The page where staff sign in and out: plain HTML, for only such a page can set a cookie."""

from __future__ import annotations

import secrets
from functools import cache
from pathlib import Path
from threading import BoundedSemaphore
from typing import Any, Final
from urllib.parse import urlsplit

from jinja2 import Environment, FileSystemLoader
from starlette.concurrency import run_in_threadpool
from starlette.requests import Request
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from photocheck.errors import PhotocheckError
from photocheck.server.access import passes, staff
from photocheck.server.access.addresses import DESK, DESK_COOKIE, KNOWN_COOKIE, SIGN_IN
from photocheck.server.access.known_browsers import REMEMBERED, known_browser, remembered
from photocheck.server.access.rates import TooOftenError, visitor
from photocheck.speech import speaking, spoken, tr
from photocheck_app.doors.cookies import cookie
from photocheck_app.doors.language import language_of
from photocheck_app.doors.origin import is_https
from photocheck_app.doors.rate_limits import COUNTS
from photocheck_app.doors.settings import the_store

_AT_ONCE: Final = BoundedSemaphore(2)
"""Passwords tried at the same moment: each takes 64 MB for a twentieth of a second."""


async def page(request: Request) -> Response:
    """Show the form, or take what was filled in."""
    form: dict[str, str] = {}
    if request.method == "POST":
        given = await request.form(max_files=0, max_fields=10, max_part_size=2000)
        form = {name: value for name, value in given.items() if isinstance(value, str)}
    return await run_in_threadpool(_answer, request, form)


ROUTES: Final = [Route(SIGN_IN, page, methods=["GET", "POST"])]


def _answer(request: Request, form: dict[str, str]) -> Response:
    with speaking(language_of(request)):
        try:
            if form.get("act") == "out":
                return _out(request)
            if form.get("act") == "in":
                return _in(request, form)
            return _shown(request, then=_then(request.query_params.get("then", "")))
        except PhotocheckError as error:
            return _shown(request, wrong=str(error), status=503)


def _in(request: Request, form: dict[str, str]) -> Response:
    name, then = form.get("name", ""), _then(form.get("then", ""))
    compared = staff.known_as(name)
    who = visitor(request.client and request.client.host)
    browser = known_browser(request.cookies.get(KNOWN_COOKIE, ""), compared)
    counted = (
        [("failed sign in as, from known browser", browser)]
        if browser
        else [
            ("failed sign in from address", who),
            ("failed sign in as, from address", f"{compared} {who}"),
            ("failed sign in as", compared),
        ]
    )
    try:
        with _AT_ONCE:
            # Inside, where few are: all of a flood sees what the guesses before it came to.
            for what, whose in counted:
                COUNTS.refuse_beyond(what, whose)
            known_as = staff.recognised(the_store(), name, form.get("password", ""))
            if known_as is None:
                for what, whose in counted:
                    COUNTS.count(what, whose)
    except TooOftenError as error:
        return _shown(request, wrong=str(error), typed=name, then=then, status=429)
    if known_as is None:
        wrong = tr("Name and password do not belong together. Try again.")
        return _shown(request, wrong=wrong, typed=name, then=then, status=401)
    carried = passes.desk_pass(the_store(), known_as)
    answer = RedirectResponse(then, 303)
    https = is_https(request)
    seconds = int(passes.SHIFT.total_seconds())
    answer.headers.append("Set-Cookie", cookie(DESK_COOKIE, carried, https, seconds=seconds))
    seconds = int(REMEMBERED.total_seconds())
    answer.headers.append(
        "Set-Cookie", cookie(KNOWN_COOKIE, remembered(known_as), https, seconds=seconds)
    )
    return answer


def _out(request: Request) -> Response:
    passes.sign_out(the_store(), request.cookies.get(DESK_COOKIE, ""))
    answer = RedirectResponse(SIGN_IN, 303)
    answer.headers.append("Set-Cookie", cookie(DESK_COOKIE, "", is_https(request), seconds=0))
    # What the browser still holds of the desk goes too.
    answer.headers["Clear-Site-Data"] = '"cache"'
    return answer


def _shown(
    request: Request, *, wrong: str = "", typed: str = "", then: str = DESK, status: int = 200
) -> Response:
    try:
        name_here = passes.at_desk(the_store(), request.cookies.get(DESK_COOKIE, ""))
    except PhotocheckError:
        name_here = ""
    try:
        anybody = bool(staff.everybody(the_store()))
    except PhotocheckError:
        anybody = True
    nonce = secrets.token_urlsafe(16)
    told: dict[str, Any] = {
        "language": spoken(),
        "nonce": nonce,
        "title": tr("Workshop desk"),
        "wrong": wrong,
        "name_here": name_here,
        "signed_in_as": tr("You are signed in as {name}.", name=name_here),
        "sign_out": tr("Sign out"),
        "to_desk": tr("To the desk"),
        "desk": DESK,
        "nobody": ""
        if anybody
        else tr("Nobody can sign in yet. On the machine that runs photocheck, type:"),
        "your_name": tr("YOUR-NAME"),
        "typed": typed[:80],
        "then": then,
        "label_name": tr("Name"),
        "label_password": tr("Password"),
        "sign_in": tr("Sign in"),
        "for_owners": tr("Owners need no password: they come by the link the workshop sends."),
    }
    policy = (
        f"default-src 'none'; style-src 'nonce-{nonce}'; form-action 'self'; "
        "base-uri 'none'; frame-ancestors 'none'"
    )
    headers = {
        "Content-Security-Policy": policy,
        "Cache-Control": "no-store",
        # Where nothing is told, a browser says of a form's own page that it is nobody's
        # (Fetch standard, "append a request `Origin` header").  No link is in this address.
        "Referrer-Policy": "same-origin",
    }
    return HTMLResponse(_template().render(told), status, headers)


@cache
def _template() -> Any:
    folder = FileSystemLoader(Path(__file__).parent)
    return Environment(loader=folder, autoescape=True).get_template("sign_in.html")


def _then(asked: str) -> str:
    """Where to go after signing in: a view of the desk and nowhere else."""
    parts = urlsplit(asked)
    here = not parts.scheme and not parts.netloc and parts.path == DESK
    return asked if here and asked.isprintable() and "\\" not in asked else DESK
