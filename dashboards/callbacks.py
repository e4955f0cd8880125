"""Dash's callbacks: the page of an address, what changed since, and what the browser does itself.

The functions named here as clientside are in ``assets/board.js``.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dash import ClientsideFunction, Dash, Input, Output, State

from dashboards import live
from dashboards.monitor import Monitor


def wire(app: Dash, store: Path, monitor: Monitor) -> None:
    """Add all callbacks to the app."""

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
            made = live.page(store, address or "/", unit, monitor)
        except Exception:  # a fault of ours must not leave a blank page at three in the morning
            app.server.logger.exception("the page %s could not be made", address)
            made = live.broken(address or "/")
        return made["top"], made["bottom"], made["drawn"], made["watch"]

    @app.callback(  # type: ignore[untyped-decorator]
        Output("latest", "data"), Input("ask", "data"), prevent_initial_call=True
    )
    def tell(question: dict[str, Any] | None) -> dict[str, Any]:
        return live.answer(store, question or {}, monitor)

    _stay_alive(app)
    _draw(app)
    _choose(app)


def _here(name: str) -> ClientsideFunction:
    return ClientsideFunction("firelog", name)


def _stay_alive(app: Dash) -> None:
    """Ask once a second what is new, and take the answer in."""
    app.clientside_callback(
        _here("beat"),
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
        _here("hear"),
        Output("page-top", "children", allow_duplicate=True),
        Output("page-bottom", "children", allow_duplicate=True),
        Output("drawn", "data", allow_duplicate=True),
        Output("watch", "data", allow_duplicate=True),
        Output("trace", "extendData"),
        Input("latest", "data"),
        State("drawn", "data"),
        prevent_initial_call=True,
    )


def _draw(app: Dash) -> None:
    """Draw the picture in the colours of day or night, switch its target, zoom."""
    app.clientside_callback(
        _here("draw"),
        Output("trace", "figure"),
        Output("picture", "hidden"),
        Input("drawn", "data"),
        Input("theme", "data"),
        State("night", "data"),
    )
    app.clientside_callback(
        _here("against"),
        Output("steps-button", "aria-pressed"),
        Output("clock-button", "aria-pressed"),
        Output("against", "hidden"),
        Input("steps-button", "n_clicks"),
        Input("clock-button", "n_clicks"),
        Input("drawn", "data"),
    )
    app.clientside_callback(
        _here("zoom"),
        Output("whole-button", "hidden"),
        Input("trace", "relayoutData"),
        Input("whole-button", "n_clicks"),
        Input("drawn", "data"),
    )


def _choose(app: Dash) -> None:
    """Choose day or night, and the unit."""
    app.clientside_callback(
        _here("theme"),
        Output("theme", "data"),
        Output("theme-button", "children"),
        Input("theme-button", "n_clicks"),
    )
    app.clientside_callback(
        _here("unit"),
        Output("unit", "data"),
        Input("unit-button", "n_clicks"),
        State("unit", "data"),
        State("watch", "data"),
        prevent_initial_call=True,
    )
    app.clientside_callback(
        _here("otherUnit"),
        Output("unit-button", "children"),
        Input("watch", "data"),
        prevent_initial_call=True,
    )
