"""The foundry's own key: Ed25519 (RFC 8032) through the package ``cryptography``.

The key lies in a file of its own, outside the store, readable by its owner only. Sealing works
without a key; a signature adds that the seal was made by somebody who had it.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import TYPE_CHECKING

from firelog import safefile
from firelog.errors import InputError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

_MISSING = (
    "signing needs the package 'cryptography'; install it with: pip install 'firelog[sign]' "
    "(sealing and verifying work without it)"
)


class PrivateKey:
    """A key that signs. Use :meth:`load` or :meth:`create`."""

    def __init__(self, key: Ed25519PrivateKey) -> None:
        self._key = key

    @classmethod
    def from_seed(cls, seed: bytes) -> PrivateKey:
        """Return the key of a 32-byte seed, as in RFC 8032, section 5.1.5."""
        try:
            from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415
        except ImportError as error:
            raise InputError(_MISSING) from error
        return cls(ed25519.Ed25519PrivateKey.from_private_bytes(seed))

    @classmethod
    def create(cls, path: Path) -> PrivateKey:
        """Make a new key and write it to ``path``, which must not exist, for its owner only."""
        key = cls.from_seed(os.urandom(32))
        if path.exists():
            raise InputError(f"{path}: is there already; a key is never overwritten")
        safefile.write_bytes(path, key._pem(), mode=0o600)
        return key

    @classmethod
    def load(cls, path: Path) -> PrivateKey:
        """Read a key file; raises :class:`InputError` when others may read it or it is no key."""
        try:
            mode = path.stat().st_mode
            data = path.read_bytes()
        except OSError as error:
            raise InputError(f"{path}: the key cannot be read ({error.strerror})") from error
        if os.name == "posix" and mode & (stat.S_IRWXG | stat.S_IRWXO):
            raise InputError(f"{path}: others may read this key; run: chmod 600 {path}")
        try:
            from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415
            from cryptography.hazmat.primitives import serialization  # noqa: PLC0415
            from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415
        except ImportError as error:
            raise InputError(_MISSING) from error
        try:
            key = serialization.load_pem_private_key(data, password=None)
        except (ValueError, TypeError, UnsupportedAlgorithm) as error:
            raise InputError(f"{path}: is no key file without a password ({error})") from error
        if not isinstance(key, ed25519.Ed25519PrivateKey):
            raise InputError(f"{path}: is a key of another kind; firelog signs with Ed25519")
        return cls(key)

    def public_hex(self) -> str:
        """Return the public key, 64 hexadecimal digits: print it, give it to whoever checks."""
        return self._key.public_key().public_bytes_raw().hex()

    def sign(self, message: bytes) -> bytes:
        """Return the 64-byte signature of ``message``."""
        return self._key.sign(message)

    def _pem(self) -> bytes:
        from cryptography.hazmat.primitives import serialization  # noqa: PLC0415

        return self._key.private_bytes(
            serialization.Encoding.PEM,
            serialization.PrivateFormat.PKCS8,
            serialization.NoEncryption(),
        )


def check(public_hex: str, signature_hex: str, message: bytes) -> bool:
    """Return whether a signature was made over ``message`` with the key of ``public_hex``.

    Raises :class:`InputError` when the package is missing.
    """
    try:
        from cryptography.exceptions import InvalidSignature  # noqa: PLC0415
        from cryptography.hazmat.primitives.asymmetric import ed25519  # noqa: PLC0415
    except ImportError as error:
        raise InputError(_MISSING) from error
    try:
        key = ed25519.Ed25519PublicKey.from_public_bytes(bytes.fromhex(public_hex))
        key.verify(bytes.fromhex(signature_hex), message)
    except (InvalidSignature, ValueError):
        return False
    return True


def public_key(text: str) -> str:
    """Return the public key named on a command line: 64 hexadecimal digits, or a file of them."""
    value = text
    if len(text) != 64 and Path(text).is_file():
        value = Path(text).read_text(encoding="utf-8").strip()
    try:
        if len(bytes.fromhex(value)) == 32:
            return value.lower()
    except ValueError:
        pass
    raise InputError(f"{text!r} is no public key: 64 hexadecimal digits, or a file that holds them")
