"""Who may come in: so far, this machine only.

The board listens on loopback. A page elsewhere in the same browser must not speak for its reader,
and a foreign name that resolves to this machine must not reach it: Host and origin are checked on
every request. What a page may load is only what the board itself serves.
"""

from __future__ import annotations

from collections.abc import Sequence
from urllib.parse import urlsplit

from flask import Flask, Response, abort, request

from firelog.errors import InputError

LOOPBACK_NAMES = ("127.0.0.1", "localhost")
LARGEST_QUESTION = 256 * 1024
_SAFE = ("GET", "HEAD", "OPTIONS")


def only_loopback(host: str) -> str:
    """Return ``host`` if it is this machine; raises :class:`InputError` otherwise."""
    if host in LOOPBACK_NAMES:
        return host
    raise InputError(
        f"the board does not open on {host or 'an empty host'}: it has no passphrase yet, and "
        "whoever reaches that address could read the record; leave --host at 127.0.0.1"
    )


def guard(server: Flask, script_hashes: Sequence[str]) -> None:
    """Check Host and origin of every request, and tell browsers what the pages may load."""
    server.config["TRUSTED_HOSTS"] = list(LOOPBACK_NAMES)  # flask answers 400 to any other name
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_QUESTION
    policy = _policy(script_hashes)

    def refuse_strangers() -> None:
        if request.method in _SAFE:
            return
        if request.headers.get("Sec-Fetch-Site", "same-origin") not in ("same-origin", "none"):
            abort(403)
        origin = request.headers.get("Origin")
        if origin is not None and urlsplit(origin).netloc != request.host:
            abort(403)

    def add_headers(response: Response) -> Response:
        response.headers["Content-Security-Policy"] = policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["X-Frame-Options"] = "DENY"
        if not request.path.startswith(("/assets/", "/_dash-component-suites/")):
            response.headers["Cache-Control"] = "no-store"
        return response

    server.before_request(refuse_strangers)
    server.after_request(add_headers)


def _policy(script_hashes: Sequence[str]) -> str:
    """Own files only; inline styles because plotly.js writes them, inline scripts by their hash."""
    return "; ".join(
        (
            "default-src 'self'",
            " ".join(("script-src 'self'", *script_hashes)),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "connect-src 'self'",
            "object-src 'none'",
            "base-uri 'none'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )
