"""Conformity decisions: does a measured value with an uncertainty meet a limit?

Guarded decisions after JCGM 106:2012, clause 8: a limit is met when it is met by at least the
expanded uncertainty U (k = 2), missed when it is missed by more than U, and otherwise not proven.
With k = 2 and normal errors the chance that a pass is wrong stays below 2.3 %. Plain acceptance
(``Decision.SIMPLE``) leaves U out and may be wrong every second time at the limit.
"""

from __future__ import annotations

import math

from firelog.errors import RangeError
from firelog.verdict import Decision, Limit, Side, Verdict, worst


def at_least(
    measured: float, limit: float, expanded: float, decision: Decision = Decision.GUARDED
) -> Verdict:
    """Hold ``measured`` ± ``expanded`` against a lower limit, all three in the same unit.

    ``expanded`` [unit of the limit] is U with k = 2; only a guarded decision looks at it. Pass from
    limit + U up, fail below limit − U, not proven between, and where the value or the U that is
    needed is NaN. Raises RangeError for a negative U.

    Source: JCGM 106:2012, 8.2 simple acceptance, 8.3.2 guarded acceptance, 8.3.3 guarded rejection
    (clause numbers from memory).

    1500 °F (815.6 °C) is asked, and U is 4 K:

    >>> [at_least(measured, 815.6, 4.0).value for measured in (820.0, 817.0, 811.0)]
    ['pass', 'not proven', 'fail']
    >>> at_least(816.0, 815.6, 4.0, Decision.SIMPLE).value
    'pass'
    >>> at_least(820.0, 815.6, math.nan).value  # nobody can say how sure
    'not proven'
    """
    guard = _guard(expanded, decision)
    margin = measured - limit
    if margin >= guard:
        return Verdict.PASS
    if margin < -guard:
        return Verdict.FAIL
    return Verdict.NOT_PROVEN


def at_most(
    measured: float, limit: float, expanded: float, decision: Decision = Decision.GUARDED
) -> Verdict:
    """Hold ``measured`` ± ``expanded`` against an upper limit, all three in the same unit.

    The mirror of ``at_least`` [unit of the limit]: pass up to limit − U (k = 2), fail above limit +
    U, not proven between and for NaN. Raises RangeError for a negative U.

    Source: JCGM 106:2012, 8.3.2.

    >>> [at_most(measured, 730.0, 5.0).value for measured in (725.0, 732.0, 736.0)]
    ['pass', 'not proven', 'fail']
    """
    return at_least(-measured, -limit, expanded, decision)


def met(
    measured: float, limit: Limit, expanded: float, decision: Decision = Decision.GUARDED
) -> Verdict:
    """Hold ``measured`` ± ``expanded`` (U, k = 2) [the limit's unit] against a limit on its side.

    Not proven for NaN; raises RangeError for a negative U. Source: JCGM 106:2012, 8.3.2.
    """
    decide = at_least if limit.side is Side.AT_LEAST else at_most
    return decide(measured, limit.value, expanded, decision)


def between(
    measured: float,
    low: float,
    high: float,
    expanded: float,
    decision: Decision = Decision.GUARDED,
) -> Verdict:
    """Hold ``measured`` ± ``expanded`` (U, k = 2) against a window; the worse end decides.

    All in the unit of the window [°C or K]. Raises RangeError for a negative U.

    Source: JCGM 106:2012, 8.3.2, at each end of a two-sided tolerance interval.

    >>> [between(measured, 1095.0, 1175.0, 10.0).value for measured in (1130.0, 1170.0, 1190.0)]
    ['pass', 'not proven', 'fail']
    """
    return worst(
        (at_least(measured, low, expanded, decision), at_most(measured, high, expanded, decision))
    )


def conformance_probability(
    measured: float,
    standard: float,
    low: float = -math.inf,
    high: float = math.inf,
) -> float:
    """Return the probability [0 to 1] that the true value lies between ``low`` and ``high``.

    ``measured``, ``standard`` (u, not U) and the ends in one unit; an end left out is open. NaN
    when either number is NaN. Raises RangeError when ``standard`` is negative.

    Source: JCGM 106:2012, 7.3 and 7.4, for normal errors and no earlier knowledge: Φ((high − y)/u)
    − Φ((low − y)/u).

    One standard uncertainty inside a one-sided limit is Φ(1), two are Φ(2) (tables of the normal
    distribution, 0.8413 and 0.9772):

    >>> round(conformance_probability(820.0, 2.0, low=818.0), 4)
    0.8413
    >>> round(conformance_probability(820.0, 2.0, low=816.0), 4)
    0.9772
    """
    if math.isnan(measured) or math.isnan(standard):
        return math.nan
    if standard < 0.0:
        raise RangeError(f"a standard uncertainty cannot be negative, and this one is {standard}")
    if standard == 0.0:
        return float(low <= measured <= high)
    below = 0.5 * math.erfc((measured - low) / (standard * math.sqrt(2.0)))
    above = 0.5 * math.erfc((high - measured) / (standard * math.sqrt(2.0)))
    return 1.0 - below - above


def _guard(expanded: float, decision: Decision) -> float:
    if decision is Decision.SIMPLE:
        return 0.0
    if expanded < 0.0:
        raise RangeError(f"an expanded uncertainty cannot be negative, and this one is {expanded}")
    return expanded
