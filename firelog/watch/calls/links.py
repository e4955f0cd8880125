"""Links that acknowledge one alarm for one person, signed, for an hour.

They are made as a message goes out and are not kept in the store, which others may read.

Signing is itsdangerous'; the key is random and lies in a file of its own beside the store, readable
by its owner only. Following a link shows the alarm and a button: mail programs look at links on
their own, so looking must not acknowledge.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from pathlib import Path

from itsdangerous import BadSignature, SignatureExpired, URLSafeTimedSerializer

from firelog import safefile
from firelog.errors import InputError, StoreError

VALID_S = 3600  # a reminder brings a new one
_SALT = "firelog acknowledge"


@dataclass(frozen=True)
class Invitation:
    """Which alarm a link is for, and whom it was sent to."""

    alarm_id: int
    person: str


def key_path(store: Path) -> Path:
    """Return where the key of a store's links (and of the board's sessions) is kept."""
    return store.with_name(store.name + ".key")


def secret_key(store: Path) -> bytes:
    """Return the key, made at the first call; raises :class:`StoreError` when it cannot be."""
    path = key_path(store)
    try:
        if not path.exists():
            try:
                safefile.write_bytes(path, secrets.token_bytes(32), mode=0o600)
            except InputError as error:
                if not path.exists():  # else another process was faster
                    raise StoreError(f"the key cannot be kept: {error}") from error
        key = path.read_bytes()
    except OSError as error:
        raise StoreError(f"{path}: the key cannot be kept ({error.strerror})") from error
    if len(key) != 32:
        raise StoreError(f"{path}: is no key of ours; delete it, and a new one is made")
    return key


def token(key: bytes, invitation: Invitation) -> str:
    """Return the signed part of a link."""
    return str(_serializer(key).dumps([invitation.alarm_id, invitation.person]))


def read_token(key: bytes, text: str, valid_s: int = VALID_S) -> Invitation:
    """Return what a link says; raises :class:`InputError` when it is forged, torn or too old."""
    try:
        alarm_id, person = _serializer(key).loads(text, max_age=valid_s)
        return Invitation(int(alarm_id), str(person))
    except SignatureExpired as error:
        raise InputError("this link is too old; look at the board for what stands now") from error
    except (BadSignature, ValueError, TypeError) as error:
        raise InputError("this link is not one of ours, or part of it is missing") from error


def _serializer(key: bytes) -> URLSafeTimedSerializer:
    return URLSafeTimedSerializer(key, salt=_SALT)
