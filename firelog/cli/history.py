"""``history``: an entry's corrections, each with what it was before, who made it and why."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.record.corrections import Kind
    from firelog.record.store import Store

_NAMED = {
    "kiln": "kilns",
    "furnace": "kilns",
    "firing": "firings",
    "mould": "moulds",
    "heat": "heats",
}


def history_of(kind: Kind) -> click.Command:
    """Return the command that shows the corrections of one kind of entry."""

    @click.command(help=f"Show what was corrected of the {kind} NAME: before, after, who and why.")
    @click.argument("name")
    @json_option
    @common_options
    @pass_settings
    def history(settings: Settings, *, name: str, as_json: bool) -> None:
        from firelog.record.store import Store

        with Store.open(settings.store_path()) as store:
            rows = _rows(store, kind, name)
        if as_json:
            emit_json({kind: name, "corrections": rows})
            return
        for row in rows:
            click.echo(f"{row['at']}  {row['act']} of {row['what']} by {row['by']}: {row['why']}")
            for key, (before, after) in row["changed"].items():
                click.echo(f"    {key}: {_shown(before)} -> {_shown(after)}")
        if not rows:
            click.echo("Nothing was corrected.")

    return history


def void_of(store: Store, kind: Kind, number: int) -> dict[str, Any] | None:
    """Return when, by whom and why an entry was made void, as JSON; None while it stands."""
    from firelog.record.acts import voided
    from firelog.units import iso_utc

    gone = voided(store, kind, number)
    if gone is None:
        return None
    return {"at": iso_utc(gone.at_us), "by": gone.who, "why": gone.why}


def say_void(gone: dict[str, Any] | None) -> None:
    """Print that an entry is void, before anything else of it."""
    if gone is not None:
        click.echo(f"VOID       since {gone['at']}, by {gone['by']}: {gone['why']}")


def _rows(store: Store, kind: Kind, name: str) -> list[dict[str, Any]]:
    from firelog.record import castings, corrections, heats
    from firelog.units import iso_utc

    wanted: list[tuple[Kind, int, str]] = []
    if kind == "firing":
        wanted.append((kind, store.firing(name).id, "the firing"))
    elif kind == "heat":
        heat = heats.heat(store, name)
        wanted.append((kind, heat.id, "the heat"))
        wanted += [("pour", p.id, f"the pour of {p.mould!r}") for p in _pours(store, heat)]
    elif kind == "mould":
        wanted.append((kind, heats.mould(store, name).id, "the mould"))
    else:
        wanted.append((kind, castings.casting(store, name).id, "the casting"))
    found = [
        (made, what)
        for of, number, what in wanted
        for made in corrections.history(store, of, number)
    ]
    return [
        {
            "number": made.id,
            "at": iso_utc(made.entered_us),
            "act": made.act,
            "what": what,
            "by": made.who,
            "why": made.why,
            "changed": {
                key.removesuffix("_us"): [_said(store, key, one) for one in pair]
                for key, pair in made.changed.items()
            },
        }
        for made, what in sorted(found, key=lambda pair: pair[0].id)
    ]


def _pours(store: Store, heat: Any) -> list[Any]:
    from firelog.record import heats

    return heats.pours(store, heat, void=True)


def _said(store: Store, key: str, value: Any) -> Any:
    """Return a column's value for people: instants as such, numbers of other entries by name."""
    from firelog.units import iso_utc

    if value is None:
        return None
    if key.endswith("_us"):
        return iso_utc(value)
    if key in _NAMED:
        row = store.connection.execute(
            f"select name from {_NAMED[key]} where id=?", (value,)
        ).fetchone()
        return row[0] if row else value
    return value


def _shown(value: Any) -> str:
    return "–" if value is None else str(value)
