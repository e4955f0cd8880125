"""Add a kind of alarm to the watch.

1. ``firelog/watch/conditions/``: a function that yields a ``Condition``
   (``firelog/watch/conditions/condition.py``) in **every** round, also when nothing is wrong: a
   negative ``excess`` ends the alarm, None says that it cannot be told just now. A condition
   has a remedy: what nobody can act on is an event, not an alarm (ISA-18.2, from memory).
2. ``firelog/watch/conditions/every.py``: its kind in ``KINDS`` (the name people write under
   ``wake`` and ``calm``), and the function in ``_kiln`` or ``_machine``.
3. ``firelog/watch/facts.py``, where it needs a fact that no round gathers yet; then
   ``firelog/watch/run/observe.py`` gathers it. Conditions stay pure: facts in, conditions out.

Test: that it comes and goes with deadband and delay, in ``tests/watch/conditions/``; and that no
quiet night calls anybody more often (``tests/watch/test_quiet.py``).
"""

from __future__ import annotations

import pytest

from tests.recipes.conftest import Copy

CONDITION = '''"""Is a firing running longer than any does? Pure."""

from __future__ import annotations

from firelog.alarm import Priority
from firelog.watch.conditions.condition import Condition
from firelog.watch.facts import KilnNow

LONG_S = 72 * 3600.0  # common practice, no source


def forgotten(now: KilnNow) -> Condition:
    """A firing that nobody ended."""
    return Condition(
        f"{now.kiln}/forgotten", "forgotten", now.kiln,
        f"{now.firing} has been running for {now.now_s / 3600:.0f} h.",
        "Look at the kiln; when it is over, end the firing: firelog firings end.",
        Priority.MEDIUM, now.now_s - LONG_S, on_s=0.0, off_s=0.0,
    )
'''
TRY = """
from firelog.watch.conditions.every import conditions
from firelog.watch.facts import Facts, KilnNow
from pathlib import Path
from firelog.watch.plan import read_plan
def seen(hours, text=""):
    now = KilnNow("shell kiln", "night 1", hours * 3600.0, None, ())
    Path("foundry.toml").write_text(text)
    every = conditions(Facts((now,)), read_plan(Path("foundry.toml")).options)
    found = [one for one in every if one.kind == "forgotten"]
    return found[0].excess >= 0, found[0].priority.name.lower()
print(seen(12.0), seen(80.0), seen(80.0, '[watch]\\nwake = ["forgotten"]'))
"""


@pytest.fixture
def with_forgotten(copy: Copy) -> Copy:
    """A kind ``forgotten``: a firing that has run for three days."""
    every = "firelog/watch/conditions/every.py"
    copy.write("firelog/watch/conditions/forgotten.py", CONDITION)
    copy.after(every, "KINDS = (\n", '    "forgotten",\n')
    place = "from firelog.watch.conditions.condition import Condition\n"
    copy.after(every, place, "from firelog.watch.conditions.forgotten import forgotten\n")
    copy.after(every, "    yield from silence_condition(now)\n", "    yield forgotten(now)\n")
    return copy


def test_a_condition_and_its_name(with_forgotten: Copy) -> None:
    """At 12 h it is over, at 80 h it holds; the foundry file may let it wake somebody."""
    said = with_forgotten.python(TRY)
    assert said == "(False, 'medium') (True, 'medium') (True, 'high')"
