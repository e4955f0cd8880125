"""Where the board listens, by which names it is called, and the passphrases that open it.

Without a passphrase, without encryption, or without a name the board does not open anywhere but
on loopback, and says why.
"""

from __future__ import annotations

import json
import socket
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path

from werkzeug.security import check_password_hash, generate_password_hash

from firelog import safefile
from firelog.errors import InputError, StoreError

LOOPBACK_NAMES = ("127.0.0.1", "localhost")
ROLES = ("look", "write")
SHORTEST = 10


@dataclass(frozen=True)
class Door:
    """How the board can be reached.

    ``locked``: a passphrase is asked for. ``hashes``: role to scrypt hash. ``names``: by which
    names and addresses it may be called. ``secure``: only over TLS, here or at a proxy.
    """

    host: str = "127.0.0.1"
    locked: bool = False
    hashes: dict[str, str] = field(default_factory=dict, repr=False)
    names: tuple[str, ...] = ()
    secure: bool = False


# ---------------------------------------------------------------- which door
def at(
    store: Path,
    host: str = "127.0.0.1",
    *,
    names: Sequence[str] = (),
    certificate: bool = False,
    behind_proxy: bool = False,
) -> Door:
    """Return the door for an address; raises :class:`InputError` with what is missing."""
    if host in LOOPBACK_NAMES and not behind_proxy:
        return Door(host, names=LOOPBACK_NAMES)
    if not host:
        raise InputError("--host is empty; leave it away for this machine only")
    hashes = read_hashes(store)
    if not hashes:
        raise InputError(
            f"the board does not open on {host} without a passphrase: whoever reaches that address "
            "could read the record; set one with `firelog board --set-passphrase write`"
        )
    if not (certificate or behind_proxy):
        raise InputError(
            f"the board does not open on {host} unencrypted: the passphrase could be read on the "
            "way; give --certificate and --private-key, or put a TLS proxy on this machine in "
            "front of it and say --behind-proxy"
        )
    if behind_proxy and not names:
        raise InputError("--behind-proxy needs --name: the name by which the proxy is called")
    own = () if host in ("0.0.0.0", "::") else (host,)
    here = socket.gethostname()
    return Door(
        host,
        locked=True,
        hashes=hashes,
        names=(*LOOPBACK_NAMES, *own, here, f"{here}.local", *names),
        secure=True,
    )


def passphrase_path(store: Path) -> Path:
    """Return where the hashes of a store's passphrases are kept."""
    return store.with_name(store.name + ".door")


def read_hashes(store: Path) -> dict[str, str]:
    """Return role to hash; empty when none has been set. Raises :class:`StoreError`."""
    path = passphrase_path(store)
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError:
        return {}
    except (OSError, ValueError) as error:
        raise StoreError(f"{path}: cannot be read; set the passphrases again") from error
    if not isinstance(found, dict) or not set(found) <= set(ROLES):
        raise StoreError(f"{path}: is no file of ours; delete it and set the passphrases again")
    return {str(role): str(value) for role, value in found.items()}


def set_passphrase(store: Path, role: str, passphrase: str) -> None:
    """Keep the hash (scrypt) of a role's passphrase; whoever is inside must enter again."""
    if len(passphrase) < SHORTEST:
        raise InputError(f"a passphrase has at least {SHORTEST} signs; three words do well")
    hashes = read_hashes(store)
    other = hashes.get("look" if role == "write" else "write")
    if other and check_password_hash(other, passphrase):
        raise InputError("the passphrases of look and write must differ")
    hashes[role] = generate_password_hash(passphrase, method="scrypt")
    path = passphrase_path(store)
    safefile.write_text(path, json.dumps(hashes), replace=True, mode=0o600)


def only_loopback(host: str) -> str:
    """Return ``host`` if it is this machine; raises :class:`InputError` otherwise."""
    if host in LOOPBACK_NAMES:
        return host
    raise InputError(
        f"the board does not open on {host or 'an empty host'}: it has no passphrase yet, and "
        "whoever reaches that address could read the record; leave --host at 127.0.0.1"
    )
