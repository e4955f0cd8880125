"""``firelog backup``, ``restore``, ``expire`` and ``doctor``: backup the store."""

from __future__ import annotations

from pathlib import Path

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings


@click.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--keep", type=int, help="Keep this many copies there, remove older ones.")
@json_option
@common_options
@pass_settings
def backup(settings: Settings, *, folder: Path, keep: int | None, as_json: bool) -> None:
    """Write a verified copy of the store into FOLDER, while others go on writing.

    A folder on another disk or machine is what makes it a backup. Network shares are fine for
    copies; the store itself belongs on a local disk.
    """
    from firelog.cli.clock import now_us
    from firelog.record import backup as backups
    from firelog.record import castings
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        done = backups.backup(store, folder, now_us(), keep)
        castings.copy_photos(castings.photo_folder(store), castings.photos_beside(done.path))
    if as_json:
        emit_json(
            {
                "file": str(done.path),
                "bytes": done.size,
                "sha256": done.sha256,
                "readings": done.readings,
                "removed": [str(path) for path in done.removed],
            }
        )
        return
    click.echo(f"{done.path}: {done.readings} readings, {done.size} bytes, looked through: sound")
    click.echo(f"  sha256 {done.sha256}")
    for path in done.removed:
        click.echo(f"  removed the older copy {path.name}")


@click.command()
@click.argument("copy", type=click.Path(path_type=Path))
@click.option("--replace", is_flag=True, help="Put a store that is there already aside.")
@common_options
@pass_settings
def restore(settings: Settings, copy: Path, replace: bool) -> None:
    """Put the backup COPY in the place of the store; the one that was there gets another name."""
    from firelog.cli.clock import now_us
    from firelog.record import backup as backups
    from firelog.record import castings

    target = settings.store_path()
    aside = backups.restore(copy, target, now_us(), replace=replace)
    castings.copy_photos(castings.photos_beside(copy), castings.photos_beside(target))
    click.echo(f"{target}: restored from {copy}")
    if aside:
        click.echo(f"  the store that was there is now {aside}")


@click.command()
@click.option("--older-than", required=True, help='Such as "10 years", "18 months" or "400 days".')
@click.option("--who", default="", help="Who decides so.")
@click.option("--key", type=click.Path(path_type=Path), help="Sign the removal with this key file.")
@click.option("--yes", is_flag=True, help="Do it; without this only say what would go.")
@json_option
@common_options
@pass_settings
def expire(
    settings: Settings, *, older_than: str, who: str, key: Path | None, yes: bool, as_json: bool
) -> None:
    """Let old readings of sealed firings go; firings, events, verdicts and seals stay for good.

    Readings on which a heat, a pour or a casting stands are kept. What went, when and by which rule
    is written down and sealed. Make a backup first; ask your insurer and
    your client's contract how long readings must be kept.
    """
    from firelog import __version__
    from firelog.cli.clock import now_us
    from firelog.record import expiry
    from firelog.record.signing import PrivateKey
    from firelog.record.store import Store

    now = now_us()
    cutoff_us = now - _age_us(older_than)
    with Store.open(settings.store_path(), write=yes) as store:
        found = expiry.expire(
            store,
            cutoff_us,
            now_us=now,
            who=who,
            rule=f"older than {older_than}",
            really=yes,
            version=__version__,
            key=PrivateKey.load(key) if key else None,
        )
    if as_json:
        emit_json({"done": yes, "firings": [vars(answer) for answer in found]})
        return
    did = "removed" if yes else "would go"
    for answer in found:
        name = answer.firing or "readings of no firing"
        what = answer.why_kept or f"{answer.readings} readings in {answer.blocks} blocks {did}"
        click.echo(f"{name}: {what}")
    if not found:
        click.echo(f"nothing is older than {older_than}")
    elif not yes:
        click.echo("Nothing was changed; say --yes to do it.")


def _age_us(text: str) -> int:
    from firelog.errors import InputError
    from firelog.units import parse_duration

    words = text.split()
    days = {"year": 365.25, "years": 365.25, "month": 30.4375, "months": 30.4375}
    if len(words) == 2 and words[1].lower() in days:
        try:
            seconds = float(words[0]) * days[words[1].lower()] * 86_400
        except ValueError as error:
            raise InputError(f'{text!r} is not an age; write it like "10 years"') from error
    else:
        seconds = parse_duration(text)
    if not 86_400 <= seconds < 1e11:
        raise InputError(f"{text!r}: readings are kept for a day at least")
    return int(seconds * 1e6)
