"""What ``photocheck serve`` serves: the pages behind their doors."""

from __future__ import annotations

from pathlib import Path

import streamlit as st
from starlette.middleware import Middleware

from photocheck_app import outage
from photocheck_app.doors import health, programs, sign_in
from photocheck_app.doors.lifespan import lifespan
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.oidc import secrets_of_oidc

app = st.App(
    Path(__file__).with_name("main.py"),
    routes=[*health.ROUTES, *sign_in.ROUTES, *programs.ROUTES],
    middleware=[Middleware(Guard)],
    secrets=secrets_of_oidc() or None,
    lifespan=lifespan,
    on_script_error=outage.in_place_of_error,
)
