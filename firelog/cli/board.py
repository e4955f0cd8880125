"""``firelog board``: the firings, their traces and verdicts in a browser on this machine."""

from __future__ import annotations

from pathlib import Path

import click

from firelog.cli.common import Settings, common_options, pass_settings


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="This machine only, so far.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(1, 65535))
@click.option("--open/--no-open", "open_it", default=True, help="Show it in the browser.")
@common_options
@pass_settings
def board(settings: Settings, host: str, port: int, open_it: bool) -> None:
    """Open the board: firings, traces against their target, verdicts with their evidence."""
    serve(settings.store_path(), host=host, port=port, open_it=open_it)


def serve(store: Path, *, host: str = "127.0.0.1", port: int = 8765, open_it: bool = True) -> None:
    """Serve the board of ``store`` until stopped, and show it in the browser if there is one."""
    from dashboards import access, app
    from firelog.record.store import Store

    host = access.only_loopback(host)
    Store.open(store).close()  # say what is wrong here, rather than on a page
    _need_free(host, port)
    address = f"http://{host}:{port}/"
    click.echo(f"the board is at {address}  (Ctrl-C ends it)", err=True)
    if open_it:
        _open_soon(address)
    app.serve(store, host, port)


def _need_free(host: str, port: int) -> None:
    """Refuse a port that is taken with a sentence instead of a traceback."""
    import socket

    from firelog.errors import InputError

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as error:
            raise InputError(
                f"port {port} cannot be used ({error.strerror}); another board may be running: "
                f"look at it, or choose another with --port {min(port + 1, 65535)}"
            ) from error


def _open_soon(address: str) -> None:
    """Open the browser a moment from now, when the server answers."""
    import threading
    import webbrowser

    timer = threading.Timer(1.0, webbrowser.open, (address,))
    timer.daemon = True
    timer.start()
