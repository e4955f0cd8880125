"""``firelog board``: the firings, their traces and verdicts in a browser on this machine."""

from __future__ import annotations

from pathlib import Path

import click

from firelog.cli.common import Settings, common_options, pass_settings


@click.command()
@click.option("--host", default="127.0.0.1", show_default=True, help="Where to listen.")
@click.option("--port", default=8765, show_default=True, type=click.IntRange(1, 65535))
@click.option("--name", "names", multiple=True, help="A name by which the board is called.")
@click.option("--certificate", type=click.Path(path_type=Path), help="Certificate chain, for TLS.")
@click.option("--private-key", type=click.Path(path_type=Path), help="Its private key.")
@click.option("--behind-proxy", is_flag=True, help="A proxy on this machine ends the TLS.")
@click.option(
    "--set-passphrase",
    type=click.Choice(("look", "write")),
    help="Ask for the passphrase of those who look, or also write; keep it, and end.",
)
@click.option("--open/--no-open", "open_it", default=True, help="Show it in the browser.")
@common_options
@pass_settings
def board(
    settings: Settings,
    /,
    *,
    host: str,
    port: int,
    names: tuple[str, ...],
    certificate: Path | None,
    private_key: Path | None,
    behind_proxy: bool,
    set_passphrase: str | None,
    open_it: bool,
) -> None:
    """Open the board: tonight's firings and alarms, past firings, verdicts with their evidence.

    On this machine nobody is asked who they are. Any other address, such as a phone's way in,
    needs a passphrase and TLS.
    """
    if set_passphrase is not None:
        _keep_passphrase(settings.store_path(), set_passphrase)
        return
    files = None
    if certificate is not None or private_key is not None:
        files = _certificate(certificate, private_key)
    serve(
        settings.store_path(),
        host=host,
        port=port,
        names=names,
        certificate=files,
        behind_proxy=behind_proxy,
        open_it=open_it,
    )


def serve(
    store: Path,
    *,
    host: str = "127.0.0.1",
    port: int = 8765,
    names: tuple[str, ...] = (),
    certificate: tuple[Path, Path] | None = None,
    behind_proxy: bool = False,
    open_it: bool = True,
) -> None:
    """Serve the board of ``store`` until stopped, and show it in the browser if there is one."""
    from dashboards import app, door
    from firelog.record.store import Store

    chosen = door.at(
        store,
        host,
        names=names,
        certificate=certificate is not None,
        behind_proxy=behind_proxy,
    )
    Store.open(store).close()  # say what is wrong here, rather than on a page
    _need_free(host, port)
    shown = f"[{host}]" if ":" in host else host
    address = f"{'https' if certificate else 'http'}://{shown}:{port}/"
    click.echo(f"the board is at {address}  (Ctrl-C ends it)", err=True)
    if chosen.locked:
        click.echo(f"it answers to: {', '.join(chosen.names)} (more with --name)", err=True)
    if open_it and not chosen.locked:
        _open_soon(address)
    app.serve(store, host, port, door=chosen, certificate=certificate, behind_proxy=behind_proxy)


def _certificate(certificate: Path | None, private_key: Path | None) -> tuple[Path, Path]:
    from firelog.errors import InputError

    if certificate is None or private_key is None:
        raise InputError("TLS needs both --certificate and --private-key; give the other one too")
    for path in (certificate, private_key):
        if not path.is_file():
            raise InputError(f"{path}: there is no such file; check the name")
    return certificate, private_key


def _keep_passphrase(store: Path, role: str) -> None:
    from dashboards import door

    words = click.prompt(f"passphrase of those who {role}", hide_input=True)
    if _typed() and click.prompt("once more", hide_input=True) != words:
        raise click.ClickException("the two are not the same; nothing was kept")
    door.set_passphrase(store, role, words)
    click.echo("kept; boards that run already take it at their next start", err=True)


def _typed() -> bool:
    """True when a person types."""
    import sys

    return sys.stdin.isatty()


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
