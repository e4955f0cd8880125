"""Let in who may come in: passphrase and role, host and origin of each request, safe headers.

On loopback nobody is asked. At any other address a passphrase is, one that may only *look* and
one that may also *write*; it must travel encrypted, by a certificate of ours or behind a proxy
that has one. Host and origin of every request are checked: a page elsewhere in the same browser
must not speak for its reader, and a foreign name that resolves to this machine must not reach it.
"""

from __future__ import annotations

import hashlib
import re
import secrets
import threading
import time
from collections.abc import Callable, Sequence
from typing import Any
from urllib.parse import urlsplit

from flask import Flask, Response, abort, redirect, request, session
from markupsafe import escape
from werkzeug.security import check_password_hash

from dashboards.door import LOOPBACK_NAMES, ROLES, Door, only_loopback

__all__ = [
    "Door",
    "LoginThrottle",
    "guard",
    "need_write",
    "only_loopback",
    "plain_page",
    "role_here",
]

LARGEST_QUESTION = 256 * 1024
SESSION_S = 14 * 86400
FREE_TRIES, LONGEST_WAIT_S, MOST_ADDRESSES = 5, 300.0, 2000
_SAFE = ("GET", "HEAD", "OPTIONS")
_OPEN_PATH = re.compile(r"/login|/healthz|/seen/[^/]+|/assets/[^/]+")


# ---------------------------------------------------------------- who is asking
def role_here() -> str:
    """Return what the sender of this request may do: ``write``, ``look``, or nothing."""
    found: str = request.environ.get("firelog.role", "")
    return found


def need_write() -> None:
    """Refuse a request whose sender may only look."""
    if role_here() != "write":
        abort(403, "You may look, not write: enter with the other passphrase.")


def guard(
    server: Flask, script_hashes: Sequence[str], at: Door | None = None, key: bytes = b""
) -> None:
    """Check every request, ask for the passphrase where the door is locked, and set headers."""
    at = at or Door(names=LOOPBACK_NAMES)
    server.config["TRUSTED_HOSTS"] = list(at.names)  # flask answers 400 to any other name
    server.config["MAX_CONTENT_LENGTH"] = LARGEST_QUESTION
    server.config.update(
        SECRET_KEY=key or secrets.token_bytes(32),
        SESSION_COOKIE_NAME="__Host-firelog" if at.secure else "firelog",
        SESSION_COOKIE_HTTPONLY=True,
        SESSION_COOKIE_SAMESITE="Strict",
        SESSION_COOKIE_SECURE=at.secure,
        PERMANENT_SESSION_LIFETIME=SESSION_S,
    )
    server.before_request(lambda: _refuse_strangers(at))
    server.before_request(lambda: _ask_who(at))
    server.after_request(_headers(_policy(script_hashes), at))
    if at.locked:
        _add_login(server, at)


def _refuse_strangers(at: Door) -> None:
    if not request.host:  # asking for it already ends in 400 when the name is not trusted
        abort(400)
    if request.method in _SAFE:
        return
    site, origin = request.headers.get("Sec-Fetch-Site"), request.headers.get("Origin")
    if site is not None and site not in ("same-origin", "none"):
        abort(403)
    if origin is not None and urlsplit(origin).netloc != request.host:
        abort(403)
    if at.locked and site is None and origin is None:
        abort(403)  # every browser says where a question comes from


def _ask_who(at: Door) -> Any:
    role = "write" if not at.locked else _role_of_session(at)
    request.environ["firelog.role"] = role
    if role or _OPEN_PATH.fullmatch(request.path):
        return None
    if request.path.startswith("/_") or request.path.endswith(".json") or request.method != "GET":
        abort(401)
    return redirect("/login")


def _role_of_session(at: Door) -> str:
    role = session.get("role", "")
    if role not in at.hashes or session.get("mark") != _mark(at, role):
        return ""
    since = session.get("since", 0)
    return str(role) if time.time() - since < SESSION_S else ""


def _mark(at: Door, role: str) -> str:
    """Tie a session to the passphrase it was opened with: a new one ends it."""
    return hashlib.sha256(at.hashes[role].encode()).hexdigest()[:16]


# ---------------------------------------------------------------- entering
class LoginThrottle:
    """How long an address must wait after wrong passphrases; bounded in memory."""

    def __init__(self, steady_s: Callable[[], float] = time.monotonic) -> None:
        self._steady_s = steady_s
        self._lock = threading.Lock()
        self._wrong: dict[str, tuple[int, float]] = {}

    def wait_s(self, address: str) -> float:
        """Return how long this address must still wait."""
        with self._lock:
            _, until_s = self._wrong.get(address, (0, 0.0))
        return max(0.0, until_s - self._steady_s())

    def failed(self, address: str) -> None:
        """Count a wrong passphrase; the first few are free, then the wait doubles."""
        with self._lock:
            count, _ = self._wrong.pop(address, (0, 0.0))
            over = count + 1 - FREE_TRIES
            wait_s = 0.0 if over < 0 else min(LONGEST_WAIT_S, 5.0 * 2.0**over)
            self._wrong[address] = (count + 1, self._steady_s() + wait_s)
            while len(self._wrong) > MOST_ADDRESSES:
                self._wrong.pop(next(iter(self._wrong)))

    def entered(self, address: str) -> None:
        """Forget what an address did wrong."""
        with self._lock:
            self._wrong.pop(address, None)


def _add_login(server: Flask, at: Door) -> None:
    throttle, one_at_a_time = LoginThrottle(), threading.Semaphore(2)

    def enter() -> Any:
        if request.method != "POST":
            return _login_page("")
        address = request.remote_addr or ""
        wait_s = throttle.wait_s(address)
        if wait_s > 0:
            return _login_page(f"Too many wrong ones; wait {wait_s:.0f} s.", 429)
        if not one_at_a_time.acquire(timeout=2.0):  # each check is made to be dear
            return _login_page("Somebody else is at the door; try again.", 429)
        try:
            role = _matching(at, request.form.get("passphrase", "")[:500])
        finally:
            one_at_a_time.release()
        if not role:
            throttle.failed(address)
            return _login_page("That is not the passphrase.", 401)
        throttle.entered(address)
        session.clear()  # nothing of a session that somebody else may have planted
        session.permanent = True
        session.update(role=role, mark=_mark(at, role), since=int(time.time()))
        return redirect("/tonight")

    def leave() -> Any:
        session.clear()
        return redirect("/login")

    server.add_url_rule("/login", "login", enter, methods=["GET", "POST"])
    server.add_url_rule("/leave", "leave", leave, methods=["POST"])


def _matching(at: Door, passphrase: str) -> str:
    # Every hash is tried, so that the time says nothing of which there are.
    found = [role for role in ROLES if role in at.hashes]
    right = [role for role in found if check_password_hash(at.hashes[role], passphrase)]
    return right[0] if right else ""


def _login_page(said: str, status: int = 200) -> tuple[str, int]:
    words = f'<p role="alert">{escape(said)}</p>' if said else ""
    return plain_page(
        "Who is there?",
        f"""{words}<form method="post" action="/login"><label>Passphrase
<input type="password" name="passphrase" autocomplete="current-password" autofocus required
maxlength="500"></label><button>enter</button></form>""",
    ), status


def plain_page(title: str, body: str) -> str:
    """Return a small page without scripts, in the board's own clothes; ``body`` is HTML."""
    from firelog.view import palette  # noqa: PLC0415

    return f"""<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="color-scheme" content="light dark"><title>{escape(title)} · firelog</title>
<style>{palette.stylesheet()}</style><link rel="stylesheet" href="/assets/board.css">
<link rel="stylesheet" href="/assets/watch.css"></head>
<body><main class="plain"><h1>{escape(title)}</h1>{body}</main></body></html>"""


# ---------------------------------------------------------------- headers
def _headers(policy: str, at: Door) -> Callable[[Response], Response]:
    framed = policy.replace("frame-ancestors 'none'", "frame-ancestors 'self'")

    def add(response: Response) -> Response:
        # Only the paper record may stand in a frame, and only in one of ours: to be printed.
        paper = request.path.startswith("/print/")
        response.headers["Content-Security-Policy"] = framed if paper else policy
        response.headers["X-Content-Type-Options"] = "nosniff"
        response.headers["Referrer-Policy"] = "same-origin"
        response.headers["Cross-Origin-Opener-Policy"] = "same-origin"
        response.headers["Cross-Origin-Resource-Policy"] = "same-origin"
        response.headers["X-Frame-Options"] = "SAMEORIGIN" if paper else "DENY"
        # Not for localhost: that would also shut out a board that runs there without a lock.
        if at.secure and not request.headers.get("Host", "").startswith(LOOPBACK_NAMES):
            response.headers["Strict-Transport-Security"] = "max-age=31536000"
        if not request.path.startswith(("/assets/", "/_dash-component-suites/")):
            response.headers["Cache-Control"] = "no-store"
        return response

    return add


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
