"""Add a cause to the audit.

1. ``shared/defects.toml``: a ``[[fact]]`` if none of those there shows it. A fact is a requirement
   of the kiln (``of = "firing"``), a value of the pour or the melt, or something people noted
   (``of = "noted"``, with ``key``); ``otherwise`` is how often it shows without the cause.
2. In the same file a ``[[cause]]`` with ``speaks`` (fact, and how often it shows when the cause is
   at work), ``says``, ``next`` (what to do or note next time) and ``source``.
3. In the same file its share in ``causes`` of each ``[[defect]]`` it may be behind. Shares add up
   to less than 1; what is missing is *not on this list*.

A fact of a new nature (``of``) is code: ``firelog/audit/catalogue.py`` reads it and
``firelog/audit/facts.py`` looks for it. Test: ``tests/audit/test_catalogue.py`` holds the file
together; run the bench (``python -m pytest -m bench -s tests/bench/audit``) before and after.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from firelog.audit import evidence
from firelog.audit.catalogue import read_catalogue
from firelog.reference import shared_folder

ADDED = """
[[fact]]
name = "slurry old"
of = "noted"
key = "slurry days"
side = "above"
limit = 30
otherwise = 0.1
seen = "the slurry was older than a month"
not_seen = "the slurry was fresh"

[[cause]]
name = "slurry too old"
thermal = false
says = "the binder had gelled before the shell was built"
speaks = [["slurry old", 0.8]]
next = "Note the slurry's age; measure its viscosity each morning."
source = "invented for this recipe"
"""


def test_a_noted_fact_moves_the_new_cause(tmp_path: Path) -> None:
    """Seen for sure, a fact shown in 80 % with the cause and 10 % without moves its odds 8 times.

    What was noted is believed to 95 %: (0.8·0.95 + 0.2·0.05) / (0.1·0.95 + 0.9·0.05) = 5.5
    (Bayes' rule, by hand).
    """
    path = tmp_path / "defects.toml"
    text = (shared_folder() / "defects.toml").read_text("utf-8")
    crack = text.index('name = "shell crack"')
    head, tail = (
        text[:crack],
        text[crack:].replace("causes = [", 'causes = [["slurry too old", 0.02], ', 1),
    )
    path.write_text(head + tail + ADDED, "utf-8")
    catalogue = read_catalogue(path)
    spec = next(one for one in catalogue.facts if one.name == "slurry old")
    facts = {
        name: evidence.silent(one, "nothing noted")
        for name, one in catalogue.facts_for("ceramic-shell").items()
    } | {"slurry old": evidence.noted(spec, True, "noted: 41 days", 41.0)}
    found = {
        one.name: one for one in evidence.weigh(catalogue.defect("shell crack"), catalogue, facts)
    }
    assert found["slurry too old"].ratio == pytest.approx(5.5, abs=0.01)
    assert found["slurry too old"].stands == "supported"
