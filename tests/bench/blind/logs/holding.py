"""Holds what a store gave back against the truth of a case. Pure: no disk, no commands."""

from bisect import bisect_left

# A printed value may lose this much on its way through a unit and back.
ABSOLUTE, RELATIVE = 0.006, 1e-6


def plain(name):
    """A name without case, blanks, brackets and strokes."""
    return "".join(c for c in name.casefold() if c.isalnum())


def called(one, stored):
    """Whether a stored channel bears a name of the truth, or one that holds it."""
    have = plain(stored)
    for name in one.names:
        want = plain(name)
        if name == "*" or want in have or (len(have) > 1 and have in want):
            return True
    return False


def near(a, b):
    """Whether two temperatures are the same as printed."""
    return abs(a - b) <= ABSOLUTE + RELATIVE * abs(b)


def _place(readings, got, clock):
    """Index of the reading of the truth that a stored one is, or None."""
    t, v = got
    i = bisect_left(readings, (t - clock,))
    while i < len(readings) and readings[i][0] <= t + clock:
        if near(v, readings[i][1]):
            return i
        i += 1
    return None


def difference(one, stored, clock):
    """What distinguishes stored readings from the truth of a channel, in words; "" when nothing."""
    must = sorted(one.seen)
    may = sorted(one.may)
    found, foreign = set(), []
    for got in stored:
        at = _place(must, got, clock)
        if at is not None:
            found.add(at)
        elif _place(may, got, clock) is None:
            foreign.append(got)
    if not foreign and len(found) == len(must):
        return ""
    return _said(must, stored, len(must) - len(found), foreign)


def _said(must, stored, lost, foreign):
    """The difference in one sentence."""
    if not stored:
        return f"none of its {len(must)} readings is stored as good"
    values, times = [v for _, v in stored], [t for t, _ in stored]
    right, when = [v for _, v in must], [t for t, _ in must]
    parts = []
    if lost and len(stored) != len(must):
        parts.append(f"{len(stored)} readings instead of {len(must)}")
    if not near(min(values), min(right)) or not near(max(values), max(right)):
        parts.append(
            f"{min(values):.2f} … {max(values):.2f} °C instead of {min(right):.2f} … "
            f"{max(right):.2f}"
        )
    for which, mine, truth in (("first", min(times), min(when)), ("last", max(times), max(when))):
        if abs(mine - truth) >= 1:
            parts.append(f"{which} instant off by {mine - truth:+.0f} s")
    if not parts:
        parts.append(f"{lost} readings not stored as good, {len(foreign)} others are")
    return ", ".join(parts)


def wrongs(case, stored, said):
    """What is wrong with an import, one sentence each.

    `stored` maps a channel's name to its good readings (seconds since 1970, °C), `said` is what
    the answer tells in warnings, skipped and rejected.
    """
    left = {name: rows for name, rows in stored.items() if rows}
    found = []
    for one in case.channels:
        if one.dead:
            hit = next((k for k in left if plain(k) == plain(one.name)), None)
            if hit is not None:
                found.append(f"{hit}: {len(left.pop(hit))} readings of a dead couple count as good")
            continue
        same = [k for k, v in left.items() if not difference(one, v, case.clock)]
        hit = next((k for k in same if called(one, k)), None)
        if hit is not None:
            del left[hit]
        elif not one.optional:
            found.append(_missed(case, one, left, same))
    found += [
        f"{name}: stored as a temperature"
        for name in left
        if not any(plain(n) in plain(name) and n in said for n in case.noted)
    ]
    return found


def _missed(case, one, left, same):
    """Why a channel of the truth was not found; takes the stored one that bears its name."""
    if same:
        del left[same[0]]
        return f"{one.name}: stored under the name {same[0]}"
    hit = next((k for k in left if called(one, k)), None)
    if hit is None:
        return f"{one.name}: not stored"
    return f"{one.name}: {difference(one, left.pop(hit), case.clock)}"
