"""The board: a Dash app over one store, and the server that shows it.

Wiring only. Which page is at which address stands in ``routes``; what it says in ``pages``; what is
drawn in ``firelog.view``; how it stays alive, and says so when it does not, in ``assets/board.js``.
"""

from __future__ import annotations

import gc
from importlib.resources import files
from pathlib import Path
from typing import Any

from dash import Dash
from flask import Response, jsonify

from dashboards import access, alarms, callbacks, closer, paper
from dashboards.layout import DESK, INDEX, layout
from dashboards.monitor import Monitor
from dashboards.page import BUILD, now_us
from firelog.errors import FirelogError, InputError
from firelog.units import seconds_since
from firelog.view import palette
from firelog.view.firings import read_firings
from firelog.watch.calls import links

THREADS = 8
STALE_S = 120.0


class _Board(Dash):  # type: ignore[misc]
    """Dash, whose first HTML holds the alarms that stand: they wait for no script."""

    store: Path

    def interpolate_index(self, **parts: str) -> str:
        """Return the first HTML of a page."""
        first: str = super().interpolate_index(**parts)
        return first.replace(DESK, alarms.desk_now(self.store), 1)


def create_app(store: Path, door: access.Door | None = None) -> Dash:
    """Return the board of the store at ``store``; the store is opened when a page asks for it.

    ``door`` says who may come in; without one it is open, and only to this machine.
    """
    app = _Board(
        "firelog",
        title="firelog",
        update_title="",
        assets_folder=str(files("dashboards") / "assets"),
        assets_ignore=r"early\.js",
        index_string=INDEX.replace("__COLOURS__", palette.stylesheet()),
        compress=_can_compress(),
        serve_locally=True,
        suppress_callback_exceptions=False,
        health_endpoint="healthz",
        enable_mcp=False,
        add_log_handler=False,
        meta_tags=[
            {"name": "viewport", "content": "width=device-width, initial-scale=1"},
            {"name": "color-scheme", "content": "light dark"},
            {"name": "robots", "content": "noindex"},
        ],
    )
    app.store = store
    app.config.update_title = None
    app.layout = layout()
    callbacks.wire(app, store, Monitor(store))
    _add_status(app, store)
    alarms.add_alarm_routes(app.server, store)
    closer.add_closer_routes(app.server, store)
    paper.add_paper_routes(app.server, store)
    locked = door is not None and door.locked
    access.guard(app.server, app.csp_hashes(), door, key=links.secret_key(store) if locked else b"")
    return app


def serve(
    store: Path,
    host: str,
    port: int,
    *,
    door: access.Door | None = None,
    certificate: tuple[Path, Path] | None = None,
    behind_proxy: bool = False,
) -> None:
    """Serve the board until stopped; without a ``door`` on this machine only.

    ``certificate``: files of certificate chain and private key, for TLS. ``behind_proxy``: a
    proxy on this machine ends the TLS and says who asks.
    """
    if door is None:
        host = access.only_loopback(host)
    server = create_app(store, door).server
    gc.collect()
    gc.freeze()  # what stays for good is not looked through again at each answer
    if certificate is not None:
        _serve_tls(server, host, port, certificate)
        return
    import waitress  # noqa: PLC0415  (only the one who serves needs a server)

    proxy: dict[str, Any] = {}
    if behind_proxy:
        proxy = {
            "trusted_proxy": "127.0.0.1",
            "trusted_proxy_count": 1,
            "trusted_proxy_headers": {"x-forwarded-for", "x-forwarded-proto", "x-forwarded-host"},
            "clear_untrusted_proxy_headers": True,
        }
    waitress.serve(server, host=host, port=port, threads=THREADS, ident="firelog", **proxy)


def _serve_tls(server: Any, host: str, port: int, certificate: tuple[Path, Path]) -> None:
    """Serve over TLS by cheroot, for waitress speaks none."""
    try:
        from cheroot.ssl.builtin import BuiltinSSLAdapter  # noqa: PLC0415  (an optional extra)
        from cheroot.wsgi import Server  # noqa: PLC0415
    except ImportError as error:
        raise InputError(
            "serving with a certificate needs the package cheroot; install it with "
            "`pip install 'firelog[phone]'`, or put a TLS proxy in front and say --behind-proxy"
        ) from error
    made = Server((host, port), server, numthreads=THREADS, server_name="firelog")
    made.ssl_adapter = BuiltinSSLAdapter(*(str(path) for path in certificate))
    try:
        made.safe_start()
    finally:
        made.stop()


def _can_compress() -> bool:
    """Pages shrink to a third where flask-compress is installed."""
    from importlib.util import find_spec  # noqa: PLC0415

    return find_spec("flask_compress") is not None


def _add_status(app: Dash, store: Path) -> None:
    @app.server.get("/status.json")  # type: ignore[untyped-decorator]
    def status() -> tuple[Response, int]:
        """Say how old the newest reading is; 503 when a running firing has gone silent."""
        try:
            listed = read_firings(store, size=1)
        except FirelogError as error:
            return jsonify(build=BUILD, trouble=str(error)), 503
        running, newest_us = listed.running, listed.newest_us
        age_s = None if newest_us is None else seconds_since(newest_us, now_us())
        silent = bool(running) and (age_s is None or age_s > STALE_S)
        names = [entry.firing.name for entry in running]
        return jsonify(build=BUILD, running=names, age_s=age_s), 503 if silent else 200
