"""Add an alloy.

1. ``shared/alloys.toml``: one ``[[alloy]]`` with ``name``, ``title`` and, each as a list of
   ``{ value, source }``: ``solidus``, ``liquidus``, ``density``, ``conductivity``,
   ``heat_capacity``, ``latent``. Where sources disagree write all of them: firelog reckons with
   the interval. ``light`` and ``heavy`` are pouring ranges, ``fumes`` what to beware of by the
   limits of its composition, ``names`` other usual names and numbers of this very alloy.
2. Say in each ``source`` where the number stands, or "from memory", or "common practice, no
   source".

Nothing else: ``firelog/pouring/alloys.py`` reads the file, and refuses with its line what cannot
be. Test: the card's numbers against a second source in ``tests/pouring/test_alloys.py``.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.errors import InputError
from firelog.physics.metal.metals import superheat_k
from firelog.pouring.alloys import alloy
from firelog.reference import shared_folder

CARD = """
[[alloy]]
name = "BELL"
title = "an invented bell metal"
solidus = [{ value = "800 C", source = "invented" }]
liquidus = [{ value = "870 C", source = "invented" }, { value = "890 C", source = "invented too" }]
density = [{ value = 8600, source = "invented" }]
conductivity = [{ value = 50, source = "invented" }]
heat_capacity = [{ value = 480, source = "invented" }]
latent = [{ value = 190e3, source = "invented" }]
light = { from = "980 C", to = "1080 C", source = "invented" }
"""


def with_card(folder: Path, card: str) -> Path:
    """Return a copy of the foundry's alloys with one card more."""
    path = folder / "alloys.toml"
    path.write_text((shared_folder() / "alloys.toml").read_text("utf-8") + card, "utf-8")
    return path


def test_one_card_more_is_all_it_takes(tmp_path: Path) -> None:
    """At 1000 °C ± 5 K metal is 120 K above a liquidus of 870 or 890 °C, ± √(5² + 11.5²) K."""
    card = alloy("BELL", with_card(tmp_path, CARD))
    assert card.disputed
    assert card.pouring("light") is not None
    assert card.pouring("heavy") is None
    # The half-width of 10 K is rectangular: U = 2·10/√3 = 11.55 K (GUM, JCGM 100:2008, 4.3.7).
    assert superheat_k(card, 1000.0, 5.0) == pytest.approx((120.0, 12.58), abs=0.01)


def test_a_number_without_its_source_is_refused_with_its_line(tmp_path: Path) -> None:
    """A card is nothing without where its numbers stand."""
    bare = CARD.replace('{ value = 8600, source = "invented" }', "{ value = 8600 }")
    with pytest.raises(InputError, match=r"alloys\.toml.*line \d+.*source"):
        alloy("BELL", with_card(tmp_path, bare))
