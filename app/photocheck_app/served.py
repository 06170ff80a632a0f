"""What ``photocheck serve`` serves: the pages behind their doors."""

from __future__ import annotations

import streamlit as st
from starlette.middleware import Middleware

from photocheck_app.doors import health, sign_in
from photocheck_app.doors.middleware import Guard
from photocheck_app.doors.oidc import secrets_of_oidc
from photocheck_app.doors.retention import retention

app = st.App(
    "main.py",
    routes=[*health.ROUTES, *sign_in.ROUTES],
    middleware=[Middleware(Guard)],
    secrets=secrets_of_oidc() or None,
    lifespan=retention,
)
