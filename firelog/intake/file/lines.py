"""From a file on disk to lines of UTF-8: encodings, line ends, damage.

Everything above this module sees UTF-8 bytes in pieces that end with a line end, whatever the
logger wrote. A piece is never larger than a megabyte, also when the file has no line ends.
"""

from __future__ import annotations

import codecs
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firelog.errors import InputError

HEAD_BYTES = 256 * 1024
PIECE_BYTES = 512 * 1024  # larger pieces cost more page faults than they save calls
LONGEST_LINE = 256 * 1024  # a thousand columns fit in a tenth of this

_BOMS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
# Controls that no text file has; tab, line ends, form feed and the old end-of-file mark may occur.
_BINARY = bytes(set(range(32)) - {0, 9, 10, 12, 13, 26, 27})


@dataclass(frozen=True)
class FilePart:
    """The bytes of a file from ``start`` to ``end`` (None: its end), which begin with ``line``."""

    start: int = 0
    end: int | None = None
    line: int = 1


WHOLE = FilePart()


class Window(io.RawIOBase):
    """A part of a file, read as if it were a file of its own."""

    def __init__(self, path: Path, part: FilePart) -> None:
        super().__init__()
        self._file = path.open("rb")
        end = path.stat().st_size if part.end is None else part.end
        self._start, self.size = part.start, max(end - part.start, 0)
        self.seek(0)

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes, none at the end of the part."""
        left = self.size - (self._file.tell() - self._start)
        return self._file.read(max(min(size, left) if size >= 0 else left, 0))

    def seek(self, at: int, whence: int = io.SEEK_SET) -> int:
        """Go to a byte, counted from the beginning of the part."""
        assert whence == io.SEEK_SET
        return self._file.seek(self._start + at) - self._start

    def close(self) -> None:
        """Close the file."""
        self._file.close()
        super().close()


@dataclass(frozen=True)
class TextPiece:
    """Whole lines: UTF-8 ``data`` (each line ends with a newline), the number of the first one.

    ``ended`` is False when the file stops without a line end, ``bytes_read`` counts file bytes.
    ``overlong`` marks what stands for one endless line, whose content is dropped.
    """

    data: bytes
    line: int
    bytes_read: int
    ended: bool = True
    overlong: bool = False


def head(path: Path, part: FilePart = WHOLE) -> tuple[bytes, str, int]:
    """Return the first bytes of a file as UTF-8 text, its codec and its size.

    Raises :class:`InputError` when it is missing, empty or not text.
    """
    try:
        with Window(path, part) as handle:
            raw = handle.read(HEAD_BYTES)
        size = path.stat().st_size
    except OSError as error:
        reason = (error.strerror or "no access").lower()
        raise InputError(f"{path}: cannot be read ({reason}); check the name") from error
    if not raw.strip(b"\0 \t\r\n\x1a"):
        what = "is empty" if not raw else "holds nothing but blanks"
        raise InputError(f"{path}: {what}; export it again from the logger")
    codec = sniff(raw)
    if codec is None:
        raise InputError(f"{path}: is not text; export it from the logger as CSV or text")
    lines = _first_lines(raw, codec)
    if len(raw) >= HEAD_BYTES and b"\n" not in lines:
        raise InputError(f"{path}: has no line end in its first 256 KB; is it the right file?")
    return lines, codec, size


def sniff(raw: bytes) -> str | None:
    """Return the codec of the text that starts with ``raw``, or None when it is not text."""
    for mark, codec in _BOMS:
        if raw.startswith(mark):
            return codec
    if wide := _utf16_without_mark(raw):
        return wide
    text = raw.rstrip(b"\0")  # what a power cut leaves behind is no reason to call it binary
    if text.translate(None, _BINARY) != text:
        return None
    if _decodes(raw, "utf-8"):
        return "utf-8"
    if _decodes(raw, "cp932") and _looks_japanese(raw):
        return "cp932"
    return "cp1252"


def pieces(
    path: Path, codec: str, size: int = PIECE_BYTES, part: FilePart = WHOLE
) -> Iterator[TextPiece]:
    """Yield the file as whole lines of UTF-8 in pieces of about ``size`` bytes.

    A line longer than :data:`LONGEST_LINE` comes as one piece marked ``overlong``, empty.
    """
    with Window(path, part) as handle:
        yield from _pieces(_utf8(handle, codec, size))


def _pieces(blocks: Iterator[tuple[bytes, int]]) -> Iterator[TextPiece]:
    rest, line, dropping, done = b"", 1, False, 0
    for block, done in blocks:
        data = rest + block if rest else block
        cut = data.rfind(b"\n") + 1
        body, rest = data[:cut], data[cut:]
        if dropping and body:  # the endless line ends here
            end = body.index(b"\n") + 1
            yield TextPiece(b"\n", line, done, overlong=True)
            body, line, dropping = body[end:], line + 1, False
        if dropping or len(rest) > LONGEST_LINE:
            rest, dropping = b"", True
        if body:
            yield TextPiece(body, line, done)
            line += body.count(b"\n")
    if dropping:
        yield TextPiece(b"\n", line, done, ended=False, overlong=True)
    elif rest.strip(b"\x1a"):
        yield TextPiece(rest.rstrip(b"\x1a") + b"\n", line, done, ended=False)


def _utf8(handle: object, codec: str, size: int) -> Iterator[tuple[bytes, int]]:
    """Yield (UTF-8 bytes with plain newlines, file bytes so far)."""
    decoder = None if codec == "utf-8" else codecs.getincrementaldecoder(codec)("replace")
    done, held = 0, b""
    while raw := handle.read(size if done else max(size, 4)):  # type: ignore[attr-defined]
        first = done == 0
        done += len(raw)
        if first:
            raw = _without_mark(raw)
        data = held + (raw if decoder is None else decoder.decode(raw).encode("utf-8"))
        held = b""
        if data.endswith(b"\r"):  # perhaps the first half of a line end
            data, held = data[:-1], b"\r"
        yield (_newlines(data) if b"\r" in data else data), done
    tail = held + (b"" if decoder is None else decoder.decode(b"", True).encode("utf-8"))
    if tail:
        yield _newlines(tail), done


def _newlines(data: bytes) -> bytes:
    return data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")


def _without_mark(raw: bytes) -> bytes:
    for mark, _ in _BOMS:
        if raw.startswith(mark):
            return raw[len(mark) :]
    return raw


def _first_lines(raw: bytes, codec: str) -> bytes:
    text = _without_mark(raw).decode(codec, "replace").encode("utf-8")
    text = _newlines(text)
    cut = text.rfind(b"\n") + 1
    return text[:cut] if cut and len(raw) >= HEAD_BYTES else text


def _decodes(raw: bytes, codec: str) -> bool:
    try:
        codecs.getincrementaldecoder(codec)("strict").decode(raw)  # a cut last character is fine
    except UnicodeDecodeError:
        return False
    return True


def _utf16_without_mark(raw: bytes) -> str | None:
    pairs = raw[:4096][: len(raw[:4096]) // 2 * 2]
    even, odd = pairs[0::2], pairs[1::2]
    enough = len(pairs) // 2 * 0.8
    if len(pairs) < 4:
        return None
    if odd.count(0) >= enough and even.count(0) < enough / 8:
        return "utf-16-le"
    if even.count(0) >= enough and odd.count(0) < enough / 8:
        return "utf-16-be"
    return None


def _looks_japanese(raw: bytes) -> bool:
    """True when bytes that Western codecs use for nothing sensible stand as lead bytes."""
    text = raw.decode("cp932", "ignore")
    wide = sum(1 for sign in text if sign >= "\u2000" and not "\uff61" <= sign <= "\uff9f")
    leads = sum(raw.count(bytes([byte])) for byte in range(0x81, 0xA0))
    return wide > 0 and leads > 0
