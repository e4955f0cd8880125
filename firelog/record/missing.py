"""What is said when somebody names a firing, heat, mould, casting or channel that is not there."""

from __future__ import annotations

from collections.abc import Sequence
from difflib import get_close_matches

from firelog.errors import NotFoundError

MOST_NAMED = 8


def not_found(what: str, name: str, where: str, known: Sequence[str]) -> NotFoundError:
    """Return the error for ``name``, which is none of ``known``: what there is, and what is near.

    >>> print(not_found("firing", "fox knoker", "a.firelog", ["fox knocker", "heron"]))
    there is no firing 'fox knoker' in a.firelog; there are: 'fox knocker', 'heron'; \
did you mean 'fox knocker'?
    """
    named = ", ".join(repr(one) for one in known[:MOST_NAMED]) or "none yet"
    rest = f" and {len(known) - MOST_NAMED} more" if len(known) > MOST_NAMED else ""
    by_fold = {one.casefold(): one for one in known}
    near = get_close_matches(name.casefold(), by_fold, n=1)
    advice = f"; did you mean {by_fold[near[0]]!r}?" if near else ""
    return NotFoundError(
        f"there is no {what} {name!r} in {where}; there are: {named}{rest}{advice}"
    )
