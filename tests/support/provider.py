"""A small identity provider for tests: OpenID Connect Discovery 1.0 and the code flow of Core 1.0.

It asks nobody for a password and lets in whoever `Provider.claims` names.
"""

from __future__ import annotations

import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from typing import Any
from urllib.parse import urlencode

import uvicorn
from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route


@dataclass
class Provider:
    """The provider, and who comes to it next."""

    port: int
    claims: dict[str, Any] = field(default_factory=dict)
    codes: dict[str, str] = field(default_factory=dict)
    key: RSAKey = field(default_factory=lambda: RSAKey.generate_key(2048, {"kid": "test"}))

    @property
    def address(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    def routes(self) -> list[Route]:
        return [
            Route("/.well-known/openid-configuration", self.configuration),
            Route("/authorize", self.authorize),
            Route("/token", self.token, methods=["POST"]),
            Route("/jwks", self.jwks),
            Route("/userinfo", self.userinfo),
        ]

    def configuration(self, _: Request) -> Response:
        at = self.address
        return JSONResponse(
            {
                "issuer": at,
                "authorization_endpoint": f"{at}/authorize",
                "token_endpoint": f"{at}/token",
                "userinfo_endpoint": f"{at}/userinfo",
                "jwks_uri": f"{at}/jwks",
                "response_types_supported": ["code"],
                "subject_types_supported": ["public"],
                "id_token_signing_alg_values_supported": ["RS256"],
            }
        )

    def authorize(self, request: Request) -> Response:
        asked = request.query_params
        code = secrets.token_urlsafe(8)
        self.codes[code] = asked.get("nonce", "")
        back = urlencode({"code": code, "state": asked["state"]})
        return RedirectResponse(f"{asked['redirect_uri']}?{back}")

    async def token(self, request: Request) -> Response:
        form = await request.form()
        now = int(time.time())
        claims = {
            "iss": self.address,
            "aud": "photocheck",
            "iat": now,
            "exp": now + 300,
            "nonce": self.codes.pop(str(form["code"])),
            **self._who(),
        }
        signed = jwt.encode({"alg": "RS256", "kid": "test"}, claims, self.key)
        answer = {"access_token": "access", "token_type": "Bearer", "id_token": signed}
        return JSONResponse(answer)

    def jwks(self, _: Request) -> Response:
        return JSONResponse({"keys": [self.key.as_dict(private=False)]})

    def userinfo(self, _: Request) -> Response:
        return JSONResponse(self._who())

    def _who(self) -> dict[str, Any]:
        return {"sub": str(self.claims.get("email", "")), **self.claims}


@contextmanager
def running(port: int) -> Iterator[Provider]:
    provider = Provider(port)
    config = uvicorn.Config(
        Starlette(routes=provider.routes()), port=port, log_level="error", lifespan="off"
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    until = time.monotonic() + 20
    while not server.started:
        assert time.monotonic() < until, "the provider did not start"
        time.sleep(0.05)
    yield provider
    server.should_exit = True
    thread.join(10)
