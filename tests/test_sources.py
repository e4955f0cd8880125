"""Every number in ``shared/*.toml`` says where it stands, as one of four kinds, and is counted."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.conftest import CHECKOUT

FILES = sorted((CHECKOUT / "shared").rglob("*.toml"))
GUIDE = (CHECKOUT / "DEVELOPERS.md").read_text("utf-8")
# The first kind with one of its words in the text counts: the weakest first.
KINDS = {
    "from memory": ("from memory",),
    "common practice, no source": (
        "common practice", "ours", "own notes", "foundries' notes", "foundry's note",
        "art practice", "properties assumed", "no source",
    ),
    "trade body": ("copper trade", "AFS ", "NIOSH", "Modern Casting"),
    "print": (
        "data sheet", "sheet", "NIST", "ITS-90", "texts", "manual", "checklist", "schedule",
        "reference works", "database", "tables", "table", "chart", "stoichiometry", "Investacast",
        "Ferralloy", "Arrhenius", "in print", "makers' notes", "EN ", "IEC ", "inversion",
        "Keystone", "weight tables",
    ),
}  # fmt: skip
_WORDS = ("title", "name", "names", "notes", "note", "caution", "says", "seen", "not_seen", "next",
          "source", "why", "looks", "moulds", "channels", "words", "alloys", "cards", "fumes",
          "unit", "kind", "of", "quantity", "key")  # fmt: skip
_SHARES = ("otherwise", "speaks", "any_of", "causes")  # the head of defects.toml says whence
_NUMBER = re.compile(r'(?<![\w."-])-?\d[\d_]*\.?\d*(?:e\d+)?|"-?\d[^"]*"')


def kind_of(text: str) -> str | None:
    """Return which of the four kinds a source is, None where it names none."""
    for kind, words in KINDS.items():
        if any(word in text for word in words):
            return kind
    return None


def blocks(text: str) -> Iterator[list[str]]:
    """Yield the lines of each table, multi-line strings left out."""
    text = re.sub(r'"""\\?\n.*?"""', '""', text, flags=re.DOTALL)
    block: list[str] = []
    for line in text.splitlines():
        if line.startswith("[["):
            yield block
            block = []
        block.append(line)
    yield block


def numbers(path: Path) -> Iterator[tuple[str, str | None]]:
    """Yield each number of a file as its line and the kind of its source."""
    for block in blocks(path.read_text("utf-8")):
        whole = " ".join(re.findall(r'^source = "(.*)"', "\n".join(block), re.MULTILINE))
        for line in block:
            for entry in re.findall(r"\{[^{}]*\}", line.split(" #")[0]):
                said = re.search(r'source = "(.*?)"', entry)
                bare = re.sub(r'source = ".*?"', "", entry)
                for _ in _NUMBER.findall(bare):
                    yield line, kind_of(said.group(1)) if said else None
            plain = re.sub(r"\{[^{}]*\}", "", line)
            if not (found := re.match(r"(\w+) = (.*)", plain)) or found[1] in _WORDS:
                continue
            value, _, comment = found[2].partition(" #")
            if found[1] in _SHARES:
                value, comment = re.sub(r'"[^"]*"', "", value), "common practice, no source"
            for _ in _NUMBER.findall(value):
                yield line, kind_of(comment) or kind_of(whole)


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_every_number_has_a_source(path: Path) -> None:
    """No number stands without print, a trade body, common practice or memory behind it."""
    assert [line for line, kind in numbers(path) if kind is None] == []


def test_a_number_without_a_source_is_found(tmp_path: Path) -> None:
    """The check can fail: a bare number, and a comment that is no source."""
    path = tmp_path / "x.toml"
    path.write_text('[[require]]\nname = "a"\nat_most = 5\nfrom = "7 C"  # a nice one\n', "utf-8")
    assert [kind for _, kind in numbers(path)] == [None, None]


def test_no_source_is_an_address() -> None:
    """Sources name title and publisher, never a firm's address on the web."""
    named = re.compile(r"\b[a-z0-9-]+\.(?:com|org|net|de|ru|uk)\b")
    assert [path.name for path in FILES if named.search(path.read_text("utf-8"))] == []


def test_the_guide_counts_them() -> None:
    """The contributors' guide says how many numbers stand on what."""
    counted = Counter(kind for path in FILES for _, kind in numbers(path))
    assert {kind: f"| {kind} | {counted[kind]} |" in GUIDE for kind in KINDS} == dict.fromkeys(
        KINDS, True
    ), dict(counted)
