"""A sign-in service for tests: OpenID Connect on a port of this machine, which can be told to answer wrongly."""

from __future__ import annotations

import base64
import hashlib
import hmac
import json
import secrets
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from urllib.parse import parse_qs, urlencode

from joserfc import jwt
from joserfc.jwk import RSAKey
from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import Route

from pipeline.web.serve import listening

CLIENT, SECRET = "jobtape-of-the-shop", "the service knows this"


class Provider:
    """Signs in whoever `person` says. `wrong` changes the claims of its next token, `sign` how that is signed."""

    def __init__(self, issuer: str) -> None:
        self.issuer, self.person = issuer, "subject-1"
        self.key = RSAKey.generate_key(2048, {"kid": "one", "use": "sig"}, private=True)
        self.wrong: dict[str, Any] = {}
        self.sign = "RS256"
        self.codes: dict[str, dict[str, str]] = {}

    def discovery(self, request: Request) -> Response:
        names = ("authorization_endpoint", "token_endpoint", "jwks_uri")
        return JSONResponse({"issuer": self.issuer, **{name: f"{self.issuer}/{name}" for name in names}})

    def authorize(self, request: Request) -> Response:
        asked = dict(request.query_params)
        assert asked["response_type"] == "code"
        assert asked["client_id"] == CLIENT
        assert asked["code_challenge_method"] == "S256"
        code = secrets.token_urlsafe(16)
        self.codes[code] = asked
        return RedirectResponse(f"{asked['redirect_uri']}?{urlencode({'code': code, 'state': asked['state']})}")

    async def token(self, request: Request) -> Response:
        said = {name: values[-1] for name, values in parse_qs((await request.body()).decode()).items()}
        known = base64.b64encode(f"{CLIENT}:{SECRET}".encode()).decode()
        asked = self.codes.pop(said["code"], None)
        verifier = _base64(hashlib.sha256(said["code_verifier"].encode()).digest())
        if (
            asked is None
            or request.headers["authorization"] != f"Basic {known}"
            or asked["code_challenge"] != verifier
            or said["redirect_uri"] != asked["redirect_uri"]
        ):
            return JSONResponse({"error": "invalid_grant"}, status_code=400)
        now = int(time.time())
        claims = {"iss": self.issuer, "aud": CLIENT, "sub": self.person, "exp": now + 300, "iat": now}
        claims = {**claims, "nonce": asked["nonce"], **self.wrong}
        made = self.signed({name: value for name, value in claims.items() if value is not None})
        return JSONResponse({"access_token": "x", "token_type": "Bearer", "id_token": made})

    def signed(self, claims: dict[str, Any]) -> str:
        if self.sign in ("none", "HS256"):
            head = {"alg": self.sign, "kid": "one"}
            body = ".".join(_base64(json.dumps(part).encode()) for part in (head, claims))
            # The published key taken for a shared secret: the oldest trick against such tokens.
            mac = hmac.new(self.key.as_pem(private=False), body.encode(), hashlib.sha256).digest()
            return f"{body}.{_base64(mac) if self.sign == 'HS256' else ''}"
        other = RSAKey.generate_key(2048, {"kid": "one"}, private=True) if self.sign == "another key" else self.key
        return jwt.encode({"alg": "RS256", "kid": "one"}, claims, other, algorithms=["RS256"])

    def keys(self, request: Request) -> Response:
        return JSONResponse({"keys": [self.key.as_dict(private=False)]})


def _base64(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


@contextmanager
def provider() -> Iterator[Provider]:
    """A service at work."""
    import uvicorn

    with listening(0) as (sock, port):
        made = Provider(f"http://127.0.0.1:{port}")
        app = Starlette(
            routes=[
                Route("/.well-known/openid-configuration", made.discovery),
                Route("/authorization_endpoint", made.authorize),
                Route("/token_endpoint", made.token, methods=["POST"]),
                Route("/jwks_uri", made.keys),
            ]
        )
        server = uvicorn.Server(uvicorn.Config(app, log_level="error"))
        thread = threading.Thread(target=server.run, kwargs={"sockets": [sock]}, daemon=True)
        thread.start()
        yield made
        server.should_exit = True
        thread.join(timeout=10)
