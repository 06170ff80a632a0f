"""What ``photocheck serve`` serves: the pages behind their doors."""

from __future__ import annotations

import streamlit as st
from starlette.middleware import Middleware

from photocheck.app.doors.middleware import Doors
from photocheck.app.doors.oidc import secrets_of_oidc
from photocheck.app.doors.sign_in import ROUTES
from photocheck.app.doors.tidying import tidying

app = st.App(
    "main.py",
    routes=ROUTES,
    middleware=[Middleware(Doors)],
    secrets=secrets_of_oidc() or None,
    lifespan=tidying,
)
