"""``firelog seal`` and ``firelog verify``: close a record; prove it unchanged."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from firelog.record.seal import Seal
    from firelog.record.verify import SealVerification
    from firelog.record.whole import Discrepancy


_HEAD_TO = "Write the newest head to this file, to be kept elsewhere or time stamped."


@click.command()
@click.argument("firings", nargs=-1, metavar="[FIRING]...")
@click.option("--who", default="", help="Who closes the record.")
@click.option("--key", type=click.Path(path_type=Path), help="Sign with this key file.")
@click.option(
    "--new-key", type=click.Path(path_type=Path), help="Make a key file to sign with, and use it."
)
@click.option("--head-to", type=click.Path(path_type=Path), help=_HEAD_TO)
@json_option
@common_options
@pass_settings
def seal(
    settings: Settings,
    *,
    firings: tuple[str, ...],
    who: str,
    key: Path | None,
    new_key: Path | None,
    head_to: Path | None,
    as_json: bool,
) -> None:
    """Close the record of each FIRING, so that a later change shows in `firelog verify`.

    A seal covers the whole record at rest: heats, pours, castings, inspections, notes, alarms,
    imports, removals too. Without FIRING it covers those and the firings that were sealed before.
    Print the head and give it away: whoever has it can tell this record from one sealed anew. With
    `heads_to` under [watch] in the foundry file the watch mails each; a time stamping service
    (RFC 3161) can stamp the file that --head-to writes, see `firelog verify --stamp`.
    """
    from firelog import __version__, safefile
    from firelog.cli.clock import now_us
    from firelog.errors import InputError
    from firelog.record import seal as sealing
    from firelog.record import stamp
    from firelog.record.signing import PrivateKey
    from firelog.record.store import Store

    if key and new_key:
        raise InputError("name one of --key and --new-key, not both")
    if head_to is not None:
        safefile.check(head_to, replace=False)  # before the work, not after it
    signer = None
    if new_key:
        signer = PrivateKey.create(new_key)
        click.echo(f"{new_key}: keep it off this machine's backups, and safe", err=True)
        click.echo(f"public key: {signer.public_hex()}", err=True)
    elif key:
        signer = PrivateKey.load(key)
    made: list[dict[str, Any]] = []
    with Store.open(settings.store_path(), write=True) as store:
        named = [store.firing(name) for name in firings]
        for firing in named or (None,):
            done = sealing.seal(
                store, firing, now_us=now_us(), version=__version__, who=who, key=signer
            )
            made.append(_seal_answer(firing.name if firing else None, done))
        newest = sealing.seals(store)[-1]
    if head_to is not None:
        safefile.write_bytes(head_to, stamp.bytes_of(newest))
    if as_json:
        emit_json({"seals": made})
        return
    for answer in made:
        signed = ", signed" if answer["public_key"] else ""
        name = answer["firing"] or "the record"
        click.echo(f"{name}: seal {answer['seal']}, {answer['items']} new items sealed{signed}")
        click.echo(f"  head {answer['head']}")


@click.command()
@click.argument("firings", nargs=-1, metavar="[FIRING]...")
@click.option("--public-key", help="The foundry's public key (64 hex digits, or a file of them).")
@click.option("--head", help="A head from a printed report; it must be in the chain of seals.")
@click.option(
    "--stamp",
    "token",
    type=click.Path(path_type=Path),
    help="A time stamp of a head (the answer, .tsr); say --stamp-roots too.",
)
@click.option(
    "--stamp-roots",
    "roots",
    type=click.Path(path_type=Path),
    help="The certificates (PEM) of the time stamping service that you trust.",
)
@json_option
@common_options
@pass_settings
@click.pass_context
def verify(
    ctx: click.Context,
    settings: Settings,
    *,
    firings: tuple[str, ...],
    public_key: str | None,
    head: str | None,
    token: Path | None,
    roots: Path | None,
    as_json: bool,
) -> None:
    """Hold the record against its seals: all sealed firings, or each FIRING.

    Exit status 0 when nothing that was sealed has changed, 1 when something has, and it is named.
    """
    from firelog.errors import InputError
    from firelog.record import signing
    from firelog.record import verify as verifying
    from firelog.record.store import Store

    if (token is None) is not (roots is None):
        raise InputError("--stamp and --stamp-roots go together: a stamp proves what you trust")
    with Store.open(settings.store_path()) as store:
        chosen = [store.firing(name) for name in firings] or None
        expected = signing.public_key(public_key) if public_key else None
        answer = verifying.verify(store, chosen, public_key=expected, head=head)
        if token is not None and roots is not None:
            answer = verifying.with_stamp(answer, token, roots)
        names = {firing.id: firing.name for firing in store.firings(void=True)}
    if as_json:
        emit_json(_verify_answer(answer, names))
    else:
        _print(answer)
    ctx.exit(0 if answer.unchanged else 1)


def _print(answer: SealVerification) -> None:
    for finding in answer.findings:
        click.echo(f"ALTERED  {_line(finding)}")
    for note in answer.notes:
        click.echo(f"note     {_line(note)}")
    count = len(answer.seals)
    if not answer.unchanged:
        found = "1 finding" if len(answer.findings) == 1 else f"{len(answer.findings)} findings"
        click.echo(f"{found} against {count} seals. Compare with a backup.")
    elif count:
        gone = sum(note.what.startswith("removed") for note in answer.notes)
        except_ = f", except for {gone} that were removed openly" if gone else ""
        click.echo(
            f"unchanged{except_}: all that {count} seals cover. Newest head {answer.seals[-1].head}"
        )
    else:
        click.echo("nothing is sealed yet: `firelog seal FIRING` closes a record.")


def _line(finding: Discrepancy) -> str:
    where = f"{finding.firing}: " if finding.firing else ""
    return f"{where}{finding.item}: {finding.what}"


def _seal_answer(firing: str | None, seal: Seal) -> dict[str, Any]:
    from firelog.units import iso_utc

    return {
        "firing": firing,
        "seal": seal.id,
        "sealed": iso_utc(seal.sealed_us),
        "who": seal.who,
        "items": seal.count,
        "head": seal.head,
        "previous": seal.previous or None,
        "public_key": seal.public_key,
    }


def _verify_answer(answer: SealVerification, names: dict[int, str]) -> dict[str, Any]:
    def plain(finding: Discrepancy) -> dict[str, Any]:
        return {"firing": finding.firing, "item": finding.item, "what": finding.what}

    return {
        "unchanged": answer.unchanged,
        "seals": [
            _seal_answer(None if s.firing_id is None else names.get(s.firing_id, "?"), s)
            for s in answer.seals
        ],
        "findings": [plain(finding) for finding in answer.findings],
        "notes": [plain(note) for note in answer.notes],
    }
