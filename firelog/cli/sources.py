"""``firelog firings sources`` and ``heats sources``: a couple heard twice, which decides."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.record.heard import Act, Heard
    from firelog.record.sources import Of, Span
    from firelog.record.store import Store

Function = TypeVar("Function", bound=Callable[..., Any])


def source_options(function: Function) -> Function:
    """Add the options that say which source of a channel decides."""
    for option in (
        click.option("--holes-over", help="From how long on a hole is one, such as 2min."),
        click.option("--channel", "channels", multiple=True, help="Only of this channel; again."),
        click.option(
            "--fill", "fills", multiple=True,
            help="Which other source fills its holes: as --decides; none takes that back. Again.",
        ),
        click.option("--decides", help='Which source of a couple decides: "live", or an import.'),
    ):  # fmt: skip
        function = option(function)
    return function


def wants_sources(said: dict[str, Any]) -> bool:
    """Return whether a source is chosen; options that mean nothing alone are refused."""
    from firelog.errors import InputError

    if said["decides"] is not None or said["fills"]:
        return True
    if said["channels"] or said["holes_over"]:
        raise InputError("--channel and --holes-over belong to --decides or --fill; say one")
    return False


def choose_sources(
    store: Store, kiln: str, where: tuple[Span, Of], said: dict[str, Any], act: Act
) -> str:
    """Enter what the options say for each channel that has that source; return it as words."""
    from firelog.errors import InputError
    from firelog.record import heard

    span, of = where
    wanted = [store.channel(kiln, name) for name in said["channels"]]
    done: list[str] = []
    refused: InputError | None = None
    for channel in wanted or store.channels(kiln):
        named = (channel.id, channel.name)
        try:
            wish = _wish(store, named, span, of, said)
        except InputError as error:
            if wanted:
                raise
            refused = error
            continue
        heard.choose(store, of, channel.id, wish, act)
        done.append(channel.name)
    if not done:
        raise refused or InputError(f"{kiln!r} has no channel, so there is no source to choose")
    words = [f"{said['decides']} decides"] if said["decides"] else []
    words += [f"{', '.join(said['fills'])} fills holes"] if said["fills"] else []
    return f"{' and '.join(words)} for {', '.join(done)}: {act.why}"


def _wish(store: Store, channel: tuple[int, str], span: Span, of: Of, said: dict[str, Any]) -> Any:
    from firelog.record import heard
    from firelog.units import parse_duration

    fills: tuple[int, ...] | None = None
    if said["fills"]:
        named = [one for one in said["fills"] if one != heard.NONE]
        fills = tuple(heard.number_of(store, one, channel, span, of) for one in named)
    decides = said["decides"]
    return heard.Wish(
        None if decides is None else heard.number_of(store, decides, channel, span, of),
        fills,
        None if said["holes_over"] is None else round(parse_duration(said["holes_over"]) * 1e6),
        span,
    )


def sources_of(what: str) -> click.Command:
    """Return the command that lists the sources of a firing's or a heat's channels."""

    @click.command(
        "sources", help=f"Show which sources the {what} NAME has for each couple heard twice."
    )
    @click.argument("name")
    @json_option
    @common_options
    @pass_settings
    def listing(settings: Settings, name: str, as_json: bool) -> None:
        from firelog.record import heard, heats, traces
        from firelog.record.store import Store

        with Store.open(settings.store_path()) as store:
            if what == "firing":
                firing = store.firing(name)
                span = traces.span(firing.began_us, firing.ended_us)
                found = heard.told(store, firing.kiln, span, ("firing", firing.id))
            else:
                heat = heats.heat(store, name)
                found = heard.told(
                    store, heat.furnace, heats.span_us(store, heat), ("heat", heat.id)
                )
        if as_json:
            emit_json({what: name, "sources": [source_facts(one) for one in found]})
            return
        for one in found:
            click.echo(f"{one.words}.")
        if not found:
            click.echo("Each couple was heard once: there is nothing to choose.")

    return listing


def source_facts(one: Heard) -> dict[str, Any]:
    """Return a channel's sources as a JSON object."""
    from firelog.judge.heard import facts

    return facts(one)
