"""The board: one page for all firings, one for each, served on this machine.

Wiring only. What a page says is made in ``live`` and ``pages``; what is drawn in ``figures``; how
a page stays alive, and says so when it does not, in ``assets/board.js``.
"""

from __future__ import annotations

from importlib.resources import files
from pathlib import Path
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State, dcc, html
from flask import Response, jsonify

from dashboards import access, desk, live
from dashboards.lookout import Lookout
from firelog.errors import FirelogError, InputError
from firelog.view import palette
from firelog.view.firing import read_board
from firelog.watch.calls import links

THREADS = 8
STALE_S = 120.0
_INDEX = """<!DOCTYPE html>
<html lang="en">
<head>
{%metas%}
<title>{%title%}</title>
<link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
<style>__COLOURS__</style>
{%css%}
<script src="/assets/early.js"></script>
</head>
<body>
<a class="skip" href="#page">to the content</a>
{%app_entry%}
<noscript><p class="said">The board needs JavaScript, which is switched off in this browser.
<code>firelog judge</code> says the same in a terminal.</p></noscript>
<footer>{%config%}{%scripts%}{%renderer%}</footer>
</body>
</html>"""


def create_app(store: Path, door: access.Door | None = None) -> Dash:
    """Return the board of the store at ``store``; the store is opened when a page asks for it.

    ``door`` says who may come in; without one it is open, and only to this machine.
    """
    app = Dash(
        "firelog",
        title="firelog",
        update_title="",
        assets_folder=str(files("dashboards") / "assets"),
        assets_ignore=r"early\.js",
        index_string=_INDEX.replace("__COLOURS__", palette.stylesheet()),
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
    app.config.update_title = None
    app.layout = _layout()
    lookout = Lookout(store)
    _wire(app, store, lookout)
    _add_status(app, store)
    desk.add_desk(app.server, store, lookout)
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


# ---------------------------------------------------------------- what is always there
def _layout() -> html.Div:
    header = html.Header(
        [
            dcc.Link("firelog", href="/", className="mark", title="all firings"),
            html.Nav(
                [dcc.Link("tonight", href="/tonight"), dcc.Link("morning", href="/morning")],
                className="ways",
                **{"aria-label": "pages"},
            ),
            html.Div(
                [
                    html.Span("", id="live-word", className="live-word", role="status"),
                    html.Span("", id="live-value", className="live-value"),
                    html.Span("", id="live-age", className="live-age"),
                ],
                id="strip",
                className="strip",
                hidden=True,
            ),
            html.Div(
                [
                    html.Button("°C", id="unit-button", title="show the other unit"),
                    html.Button("night", id="theme-button", title="day or night"),
                ],
                className="tools",
            ),
        ],
        className="top",
    )
    words = "Temperature against time; the same numbers stand in the tables below."
    graph = dcc.Graph(
        id="trace",
        figure={"data": [], "layout": {"xaxis": {"visible": False}, "yaxis": {"visible": False}}},
        config={
            "displaylogo": False,
            "displayModeBar": False,
            "responsive": True,
            "doubleClick": "reset",
        },
        responsive=True,
    )
    whole = html.Button("whole firing", id="whole-button", className="whole", hidden=True)
    picture = html.Div(
        [graph, whole, _switch()],
        id="picture",
        className="picture",
        hidden=True,
        **{"role": "group", "aria-label": words},
    )
    return html.Div(
        [
            header,
            html.Div(id="desk", className="desk", hidden=True, **{"aria-live": "assertive"}),
            html.Main(
                [html.Div(id="page-top"), picture, html.Div(id="page-bottom")],
                id="page",
                tabIndex="-1",
            ),
            dcc.Location(id="url", refresh=False),
            dcc.Interval(id="beat", interval=1000),
            dcc.Store(id="unit", storage_type="local"),
            dcc.Store(id="theme"),
            dcc.Store(id="night", data=palette.to_night()),
            dcc.Store(id="watch"),
            dcc.Store(id="drawn"),
            dcc.Store(id="ask"),
            dcc.Store(id="latest"),
            dcc.Store(id="titled"),
        ]
    )


def _switch() -> html.Div:
    """Choose what the lower panel is held against: how well was each step done, or how late."""
    words = (
        ("steps-button", "each step", "off the target of each step, from when it really began"),
        ("clock-button", "plan's clock", "off the plan as drawn from the firing's start"),
    )
    buttons = [
        html.Button(text, id=name, title=title, **{"aria-pressed": "false"})
        for name, text, title in words
    ]
    return html.Div(
        [html.Span("against"), *buttons],
        id="against",
        className="against",
        hidden=True,
        **{"role": "group", "aria-label": "the lower panel is held against"},
    )


# ---------------------------------------------------------------- who asks what
def _wire(app: Dash, store: Path, lookout: Lookout) -> None:
    @app.callback(  # type: ignore[untyped-decorator]
        Output("page-top", "children"),
        Output("page-bottom", "children"),
        Output("drawn", "data"),
        Output("watch", "data"),
        Input("url", "pathname"),
        Input("unit", "data"),
    )
    def show_page(address: str | None, unit: str | None) -> tuple[Any, ...]:
        try:
            made = live.page(store, address or "/", unit, lookout)
        except Exception:  # a fault of ours must not leave a blank page at three in the morning
            app.server.logger.exception("the page %s could not be made", address)
            made = live.broken(address or "/")
        return made["top"], made["bottom"], made["drawn"], made["watch"]

    @app.callback(  # type: ignore[untyped-decorator]
        Output("latest", "data"), Input("ask", "data"), prevent_initial_call=True
    )
    def tell(question: dict[str, Any] | None) -> dict[str, Any]:
        return live.answer(store, question or {}, lookout)

    def here(name: str) -> ClientsideFunction:
        return ClientsideFunction("firelog", name)

    app.clientside_callback(
        here("beat"),
        Output("ask", "data"),
        Output("live-word", "children"),
        Output("live-word", "className"),
        Output("live-value", "children"),
        Output("live-age", "children"),
        Output("strip", "hidden"),
        Input("beat", "n_intervals"),
        Input("watch", "data"),
        State("unit", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        here("hear"),
        Output("page-top", "children", allow_duplicate=True),
        Output("page-bottom", "children", allow_duplicate=True),
        Output("drawn", "data", allow_duplicate=True),
        Output("watch", "data", allow_duplicate=True),
        Output("trace", "extendData"),
        Input("latest", "data"),
        State("drawn", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        here("draw"),
        Output("trace", "figure"),
        Output("picture", "hidden"),
        Input("drawn", "data"),
        Input("theme", "data"),
        State("night", "data"),
    )
    app.clientside_callback(
        here("theme"),
        Output("theme", "data"),
        Output("theme-button", "children"),
        Input("theme-button", "n_clicks"),
    )
    app.clientside_callback(
        here("unit"),
        Output("unit", "data"),
        Input("unit-button", "n_clicks"),
        State("unit", "data"),
        State("watch", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        here("otherUnit"),
        Output("unit-button", "children"),
        Input("watch", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        here("against"),
        Output("steps-button", "aria-pressed"),
        Output("clock-button", "aria-pressed"),
        Output("against", "hidden"),
        Input("steps-button", "n_clicks"),
        Input("clock-button", "n_clicks"),
        Input("drawn", "data"),
    )
    app.clientside_callback(
        here("zoom"),
        Output("whole-button", "hidden"),
        Input("trace", "relayoutData"),
        Input("whole-button", "n_clicks"),
        Input("drawn", "data"),
    )


def _add_status(app: Dash, store: Path) -> None:
    @app.server.get("/status.json")  # type: ignore[untyped-decorator]
    def status() -> tuple[Response, int]:
        """Say how old the newest reading is; 503 when a running firing has gone silent."""
        now_us = live.now_us()
        try:
            board = read_board(store, size=1)
        except FirelogError as error:
            return jsonify(build=live.BUILD, trouble=str(error)), 503
        running = board.running
        newest = [e.newest_us for e in running if e.newest_us is not None]
        age_s = (now_us - max(newest)) / 1e6 if newest else None
        silent = bool(running) and (age_s is None or age_s > STALE_S)
        names = [entry.firing.name for entry in running]
        return jsonify(build=live.BUILD, running=names, age_s=age_s), 503 if silent else 200
