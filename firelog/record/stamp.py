"""Time stamps (RFC 3161) of a seal's head: an outside witness of when the record was as it is.

The foundry has the head stamped by a service it trusts; firelog asks nobody over a network. The
stamp proves that the head, and with it all that the chain of seals held then, existed at its time.
Checked by the ``openssl`` command: it reads what services really send, which stricter parsers of
the format refuse, and costs no dependency.
"""

from __future__ import annotations

import hashlib
import re
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from firelog.errors import InputError
from firelog.record.seal import Seal, message_of
from firelog.units import datetime_to_us

_MISSING = (
    "checking a time stamp needs the command `openssl`; install OpenSSL, or check the stamp where "
    "it is: openssl ts -verify -data HEAD -in STAMP -CAfile ROOTS"
)
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_HASHES = ("sha256", "sha384", "sha512")
_TIME = re.compile(
    r"^Time stamp: (\w{3}) +(\d+) (\d+):(\d+):(\d+)(?:\.\d+)? (\d{4}) GMT$", re.MULTILINE
)
_HASH = re.compile(r"^Hash Algorithm: (\S+)$", re.MULTILINE)
_ROW = re.compile(r"^ +[0-9a-f]{4} - ((?:[0-9a-f]{2}[ -]){1,16})", re.MULTILINE)


@dataclass(frozen=True)
class Stamped:
    """What a time stamp says: the seal whose head it holds (None: of this record's none), and when.

    ``wrong`` says why it proves nothing; empty where it does.
    """

    seal: Seal | None
    at_us: int
    wrong: str = ""


def bytes_of(seal: Seal) -> bytes:
    """Return the bytes to be stamped for a seal: those that are signed for its head."""
    return message_of(seal.head, seal.format)


def read(token: Path, roots: Path, chain: Sequence[Seal]) -> Stamped:
    """Check a time stamp's answer (``.tsr``) against the certificates in ``roots`` (PEM).

    The service's certificate is held to be good when it was so at the time of the stamp; whether it
    was called back since is not known here. Raises :class:`InputError` when a file is not what it
    should be, or ``openssl`` is missing.
    """
    for path in (token, roots):
        try:
            path.open("rb").close()
        except OSError as error:
            raise InputError(f"{path}: cannot be read ({error.strerror}); check name") from error
    if _openssl("x509", "-noout", "-in", str(roots)).returncode:
        raise InputError(f"{roots}: holds no certificate (PEM)")
    shown = _openssl("ts", "-reply", "-in", str(token), "-text")
    at, name = _TIME.search(shown.stdout), _HASH.search(shown.stdout)
    if shown.returncode or at is None or name is None:
        raise InputError(f"{token}: is no time stamp's answer (RFC 3161, usually named .tsr)")
    month, *numbers = at.groups()
    day, hour, minute, second, year = map(int, numbers)
    when = datetime(year, _MONTHS.index(month) + 1, day, hour, minute, second, tzinfo=UTC)
    at_us = datetime_to_us(when)
    if name[1] not in _HASHES:
        return Stamped(None, at_us, f"is made with {name[1]}, which is not taken")
    data = shown.stdout.partition("Message data:")[2].partition("Serial number:")[0]
    stamped = bytes.fromhex("".join(_ROW.findall(data)).replace("-", " "))
    seal = next(
        (one for one in chain if hashlib.new(name[1], bytes_of(one)).digest() == stamped), None
    )
    if seal is None:
        return Stamped(None, at_us, "is of no head that this record has")
    wrong = _wrong(token, roots, stamped.hex(), when)
    return Stamped(seal, at_us, f"does not hold against {roots.name}: {wrong}" if wrong else "")


def _wrong(token: Path, roots: Path, digest: str, when: datetime) -> str:
    """Return why a stamp does not hold for a head's digest (hexadecimal); empty when it does."""
    words = ("-digest", digest, "-in", str(token), "-CAfile", str(roots))
    done = _openssl("ts", "-verify", *words, "-attime", str(int(when.timestamp())))
    if done.returncode == 0 and "Verification: OK" in done.stdout:
        return ""
    said = [line for line in (done.stderr + done.stdout).splitlines() if "error" in line.lower()]
    return said[-1].strip() if said else "openssl does not say why"


def _openssl(*words: str) -> subprocess.CompletedProcess[str]:
    try:
        return subprocess.run(
            ["openssl", *words],
            capture_output=True,
            text=True,
            errors="replace",
            check=False,
            timeout=60,
        )
    except FileNotFoundError as error:
        raise InputError(_MISSING) from error
    except subprocess.TimeoutExpired as error:
        raise InputError("openssl did not answer within a minute; try again") from error
