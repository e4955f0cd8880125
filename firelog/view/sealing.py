"""What a seal covers, in words: the same on the board and on a report."""

from __future__ import annotations

from firelog.record.coverage import Coverage
from firelog.say.instants import show_instant
from firelog.say.reader import Reader


def unsealed_words() -> str:
    """Return what is said of a record that no seal covers."""
    return (
        "This record is not sealed: nothing here proves that it was not changed since. "
        "`firelog seal` closes it."
    )


def sealed_words(coverage: Coverage, how: Reader) -> str:
    """Return when and by whom a record was sealed, whether signed, and what stands under it."""
    seal = coverage.seal
    if seal is None:
        return unsealed_words()
    word = "Sealed in part only" if coverage.missing else "Sealed"
    by = f" by {seal.who}" if seal.who else ""
    signed = "signed with the foundry's key" if seal.signature else "not signed"
    covered = ", ".join(coverage.covered)
    return (
        f"{word}, {show_instant(seal.sealed_us, how.tz)}{by}, {signed}. Under the seal: {covered}."
    )


def missing_words(coverage: Coverage) -> str:
    """Return what no seal covers, or what is no longer as sealed; nothing where all is covered."""
    missing = "; ".join(coverage.missing)
    return f"Not under the seal, or no longer as sealed: {missing}." if missing else ""
