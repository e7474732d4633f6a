"""Signing in by another service (OpenID Connect): code flow with PKCE, state and nonce; whom it means is told once."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, cast
from urllib.parse import urlsplit

from pipeline.errors import InputError, ReportError, SetupError
from pipeline.web.door import refusal, sealed

WAIT_S = 10.0
ALGORITHMS = ["RS256", "PS256", "ES256"]
LEEWAY_S = 60
HERE = frozenset({"127.0.0.1", "localhost", "::1"})


@dataclass(frozen=True)
class Service:
    """The service of the settings: its address, and under which name and secret it knows this program."""

    issuer: str
    client: str
    secret: str

    def address(self, back: str, cookie: str) -> str:
        """Where the browser goes to sign in. `back` is where it comes back to, `cookie` what only it knows."""
        from authlib.integrations.httpx_client import OAuth2Client

        told = self._discovered()
        with OAuth2Client(
            self.client, scope="openid", redirect_uri=back, code_challenge_method="S256", response_type="code"
        ) as client:
            address, _ = client.create_authorization_url(
                told["authorization_endpoint"],
                state=sealed(cookie, "state"),
                nonce=sealed(cookie, "nonce"),
                code_verifier=sealed(cookie, "verifier"),
            )
        return str(address)

    def subject(self, back: str, cookie: str, code: str) -> str:
        """The service's name for whoever came back with this code. Raises InputError when its answer is not sound."""
        from authlib.integrations.base_client import OAuthError
        from authlib.integrations.httpx_client import OAuth2Client
        from httpx import HTTPError

        told = self._discovered()
        try:
            with OAuth2Client(self.client, self.secret, redirect_uri=back, timeout=WAIT_S) as client:
                answer = client.fetch_token(told["token_endpoint"], code=code, code_verifier=sealed(cookie, "verifier"))
        except (HTTPError, OAuthError, ValueError) as fault:
            raise _unsound() from fault
        return self._checked(str(answer.get("id_token", "")), told["jwks_uri"], sealed(cookie, "nonce"))

    def _checked(self, token: str, keys_at: str, nonce: str) -> str:
        """The subject of an ID token (OpenID Connect Core 1.0, 3.1.3.7): signature, issuer, audience, times, nonce."""
        from joserfc import jwt
        from joserfc.errors import JoseError
        from joserfc.jwk import KeySet

        try:
            keys = KeySet.import_key_set(cast(Any, _fetched(keys_at)))
            claims = jwt.decode(token, keys, algorithms=ALGORITHMS).claims
            jwt.JWTClaimsRegistry(
                leeway=LEEWAY_S,
                iss={"essential": True, "value": self.issuer},
                aud={"essential": True, "value": self.client},
                exp={"essential": True},
                iat={"essential": True},
                nonce={"essential": True, "value": nonce},
                sub={"essential": True},
            ).validate(claims)
        except (JoseError, ValueError, KeyError, TypeError) as fault:
            raise _unsound() from fault
        others = claims["aud"] if isinstance(claims["aud"], list) else []
        if len(others) > 1 and claims.get("azp") != self.client:
            raise _unsound()
        return f"{self.issuer} {claims['sub']}"

    def _discovered(self) -> dict[str, Any]:
        told = _fetched(f"{self.issuer.rstrip('/')}/.well-known/openid-configuration")
        wanted = ("authorization_endpoint", "token_endpoint", "jwks_uri")
        if told.get("issuer") != self.issuer or not all(_safe(str(told.get(name, ""))) for name in wanted):
            raise _unsound()
        return told


def service_of(issuer: str, client: str, secret: str) -> Service | None:
    """The service of these settings, none for empty ones. Raises SetupError for half of them or an open connection."""
    if not (issuer or client or secret):
        return None
    if not (issuer and client and secret) or not _safe(issuer):
        raise SetupError(
            "half-service",
            "The sign-in service is set by half, or without TLS.",
            "Set JOBTAPE_OIDC to its https address, JOBTAPE_OIDC_CLIENT and JOBTAPE_OIDC_SECRET, or none of them.",
        )
    return Service(issuer, client, secret)


def _safe(address: str) -> bool:
    """Whether an address goes over TLS, or stays on this machine."""
    parts = urlsplit(address)
    return parts.scheme == "https" or (parts.scheme == "http" and parts.hostname in HERE)


def _fetched(address: str) -> dict[str, Any]:
    import httpx

    try:
        answer = httpx.get(address, timeout=WAIT_S, follow_redirects=False)
        answer.raise_for_status()
        told = answer.json()
    except (httpx.HTTPError, ValueError) as fault:
        raise _away() from fault
    if not isinstance(told, dict):
        raise _away()
    return told


def _away() -> ReportError:
    return refusal("service-away", "The sign-in service does not answer.", "Wait a moment, or use your password.", 502)


def _unsound() -> InputError:
    return refusal("service-unsound", "The sign-in service's answer is not sound.", "Begin again.", 403)
