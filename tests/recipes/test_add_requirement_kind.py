"""Add a kind of requirement to schedules.

1. ``firelog/schedule/plan/requirements.py``: its frozen dataclass: ``kind``, its fields in SI and
   °C, ``limits`` (each with its side and unit) and ``words``.
2. ``firelog/schedule/checks/``: its judge, in a module there: ``(firing, requirement, span, one)``
   to an ``Answer`` where each channel is judged alone, or ``(firing, requirement, span, chosen)``
   to a ``Check`` where they are judged together. Decide with ``conformity.met``; without what would
   decide it is not proven. Name channel, instant, value, limit and U.
3. ``firelog/schedule/kinds.py``: a reader of its keys, and a row in ``_KINDS``.

Reading, judging, audit, board and report ask there: nothing else changes but ``README.md``.
Test: its row in ``tests/schedule/test_kinds.py``; verdicts at the limit ± U, behind a hole, while
the firing runs.
"""

from __future__ import annotations

import pytest

from tests.recipes.conftest import Copy

DATACLASS = '''

@dataclass(frozen=True, kw_only=True)
class Begin(Requirement):
    """The first reading of the stretch is at or below ``at_most_c`` [°C]."""

    kind: ClassVar[str] = "begin"
    at_most_c: float

    @property
    def limits(self) -> tuple[Limit, ...]:
        """The highest temperature to begin at."""
        return (Limit(self.at_most_c, "C", Side.AT_MOST),)

    def words(self, unit: TemperatureUnit) -> str:
        """Return ``begins at 60 °C at most``."""
        return f"begins at {show_temperature(self.at_most_c, unit)} at most"
'''
JUDGE = '''"""The check of how a stretch begins."""

from __future__ import annotations

from firelog.physics import conformity
from firelog.schedule.checks.basis import Answer, PreparedFiring, TimeSpan, check_of
from firelog.schedule.plan.requirements import Begin
from firelog.schedule.series import Series
from firelog.verdict import Verdict


def begin(firing: PreparedFiring, requirement: Begin, span: TimeSpan, one: Series) -> Answer:
    """Judge one channel by its first reading [°C], which must come before a hole could."""
    at = one.between(span.lo_s, min(span.hi_s, span.lo_s + firing.schedule.longest_gap_s))
    if at.start >= at.stop or span.lost:
        why = span.lost or f"{one.name} has no reading at the beginning"
        return Answer(check_of(requirement, Verdict.NOT_PROVEN, why + "."), -1e9)
    measured, u_k = float(one.temp_c[at.start]), float(one.expanded_k[at.start])
    limit = requirement.limits[0]
    verdict = conformity.met(measured, limit, u_k, requirement.decision)
    why = f"{one.name} began at {firing.temperature(measured)}."
    check = check_of(requirement, verdict, why, measured=measured, uncertainty=u_k,
                     at_s=float(one.t_s[at.start]), channel=one.name)
    return Answer(check, limit.value - measured)
'''
READER = """def _begin(row: TomlTable, unit: TemperatureUnit) -> dict[str, Any]:
    return {"at_most_c": row.need("at_most", values.temperature(unit))}


def _each("""
TRY = """
import numpy as np
from firelog.schedule.checks.judge import judge
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.plan.reader import parse_schedule
plan = parse_schedule('''
title = "a fresh block"
unit = "F"
[[segment]]
name = "up"
to = 1000
[[require]]
name = "begins cold"
kind = "begin"
at_most = 140
''')
def verdict(first_c, first_s=0.0):
    t_s = np.arange(first_s, 7200.0, 60.0)
    temp_c = np.linspace(first_c, 540.0, len(t_s))
    ok = np.zeros(len(t_s), np.uint8)
    trace = ChannelTrace("top", "kiln", t_s, temp_c, np.full(len(t_s), 2.5), ok)
    return judge(plan, [trace]).checks[0]
print(*(str(verdict(c).verdict.value) for c in (50.0, 58.0, 63.0)), sep=", ")
print(verdict(20.0, 1800.0).verdict.value)
print(plan.requirements[0].words("F"))
"""


@pytest.fixture
def with_begin(copy: Copy) -> Copy:
    """A kind ``begin``: how hot the kiln may be when a stretch begins."""
    copy.append("firelog/schedule/plan/requirements.py", DATACLASS)
    copy.write("firelog/schedule/checks/beginning.py", JUDGE)
    kinds = "firelog/schedule/kinds.py"
    copy.replace(
        kinds,
        "import extremes, rates, soaks, spread\n",
        "import beginning, extremes, rates, soaks, spread\n",
    )
    copy.after(kinds, "from firelog.schedule.plan.requirements import (\n", "    Begin,\n")
    copy.replace(kinds, "def _each(", READER)
    row = '        RequirementKind(Begin, ("at_most",), _begin, _each(beginning.begin)),\n'
    copy.after(kinds, "    for kind in (\n", row)
    return copy


def test_three_files_make_a_kind(with_begin: Copy) -> None:
    """140 °F are 60 °C: with U = 2.5 K 50 °C pass, 58 °C is not proven, 63 °C fail.

    A record that begins half an hour late proves nothing.
    """
    said = with_begin.python(TRY).splitlines()
    assert said == ["pass, not proven, fail", "not proven", "begins at 140 °F at most"]


def test_the_command_reads_it_and_still_names_the_nearest_key(with_begin: Copy) -> None:
    """``firelog schedules check`` takes the kind, and refuses a key it does not have."""
    plan = '[[segment]]\nname = "up"\nto = 500\n[[require]]\nname = "cold"\nkind = "begin"\n'
    with_begin.write("good.toml", f'title = "t"\nunit = "C"\n{plan}at_most = 60\n')
    with_begin.write("bad.toml", f'title = "t"\nunit = "C"\n{plan}at_mots = 60\n')
    assert with_begin.firelog("schedules", "check", "good.toml").returncode == 0
    refused = with_begin.firelog("schedules", "check", "bad.toml")
    assert refused.returncode == 2
    assert "at_most" in refused.stderr
