"""Holds what the program said against the truth, and prints the tables."""

import math
from collections import Counter, defaultdict
from datetime import datetime

import numpy as np

KINDS_OF_ANSWER = ("right", "wrong pass", "wrong fail", "unneeded", "lucky pass", "open")


def one(truth, said, undecidable=False):
    """How an answer (`pass`, `fail`, `not proven`, None) stands to a requirement's truth."""
    if said == "pass":
        if truth.verdict == "fail" or truth.hard:
            return "wrong pass"
        if truth.verdict == "open":
            return "open"
        return "right" if truth.shown else "lucky pass"
    if said == "fail":
        return {"pass": "wrong fail", "fail": "right", "open": "open"}[truth.verdict]
    if truth.decidable is not None and not undecidable:
        return "unneeded"
    return "right"


def whole(case, said):
    """The same for the firing's own verdict."""
    truths = list(case.truths.values())
    fails = any(t.verdict == "fail" for t in truths)
    hard = any(t.hard for t in truths)
    opens = any(t.verdict == "open" for t in truths)
    if said == "pass":
        if fails or hard:
            return "wrong pass"
        if opens:
            return "open"
        return "right" if all(t.shown for t in truths) else "lucky pass"
    if said == "fail":
        return "right" if fails else ("open" if opens else "wrong fail")
    names = case.extra.get("undecidable", ())
    sure = [t.decidable for n, t in case.truths.items() if n not in names]
    decidable = (len(sure) == len(truths) and all(d == "pass" for d in sure)) or "fail" in sure
    return "unneeded" if decidable else "right"


def break_errors(case, answer):
    """Seconds by which segment breaks are off; None where the program named none."""
    out = []
    for name, parts in case.breaks.items():
        for key, true_s in parts.items():
            said = (answer.segments.get(name) or {}).get(key)
            if said is None:
                out.append(None)
                continue
            when = datetime.fromisoformat(said.replace("Z", "+00:00"))
            out.append(abs((when - case.began).total_seconds() - true_s))
    return out


def rows_of(case, answer):
    """One dict per requirement, and one for the firing (requirement None)."""
    rows, skip = [], case.extra.get("undecidable", ())
    base = {"shape": case.shape, "seed": case.seed}
    kinds = {r.name: r.kind for r in case.schedule.requirements}
    for name, t in case.truths.items():
        check = answer.checks.get(name, {})
        said = check.get("verdict") if not answer.refused else None
        if said is None and not answer.refused:
            said = "missing"
        rows.append(
            {
                **base,
                "requirement": name,
                "kind": kinds[name],
                "said": said or "refused",
                "truth": t.verdict,
                "decidable": t.decidable,
                "hard": t.hard,
                "margin": t.margin,
                "score": one(t, said, name in skip),
                "why": check.get("why", answer.refused)[:300],
            }
        )
    rows.append(
        {
            **base,
            "requirement": None,
            "kind": "firing",
            "said": answer.verdict or "refused",
            "truth": None,
            "score": whole(case, answer.verdict),
            "breaks": break_errors(case, answer),
            "why": answer.refused[:300],
        }
    )
    return rows


def wilson(hits, of, z=1.96):
    """95 % interval of a share (Wilson's score interval)."""
    if not of:
        return 0.0, 1.0
    p = hits / of
    mid = (p + z * z / (2 * of)) / (1 + z * z / of)
    half = z * math.sqrt(p * (1 - p) / of + z * z / (4 * of * of)) / (1 + z * z / of)
    return max(0.0, mid - half), min(1.0, mid + half)


def _share(hits, of):
    low, high = wilson(hits, of)
    share = 100.0 * hits / of if of else 0.0
    return f"{hits} of {of} = {share:.2f} % ({100 * low:.2f} to {100 * high:.2f})"


HEAD = (
    f"{'shape':27s}{'fir':>4s}{'req':>5s}{'right':>6s}{'w.pass':>7s}{'w.fail':>7s}"
    f"{'unneed':>7s}{'n.prov':>7s}{'lucky':>6s}{'open':>5s}{'refus':>6s} |"
    f"{'F.wp':>5s}{'F.wf':>5s}{'F.un':>5s} |{'break':>7s}{'p95':>7s}{'none':>5s}"
)


def table(rows, groups):
    """The table per shape as lines; `groups` maps a shape to its group."""
    by_shape = defaultdict(list)
    for row in rows:
        by_shape[row["shape"]].append(row)
    lines, last = [HEAD], None
    for name, part in by_shape.items():
        if groups[name] != last:
            last = groups[name]
            lines.append(f"-- {last}")
        lines.append(_line(name, part))
    lines += ["", *_totals(rows, groups)]
    return lines


def _line(name, rows):
    reqs = [r for r in rows if r["requirement"]]
    fires = [r for r in rows if not r["requirement"]]
    n = Counter(r["score"] for r in reqs)
    f = Counter(r["score"] for r in fires)
    unproven = sum(r["said"] in ("not proven", "refused", "missing") for r in reqs)
    refused = sum(r["said"] == "refused" for r in fires)
    errors = [e for r in fires for e in r["breaks"]]
    known = [e for e in errors if e is not None]
    mid = f"{np.median(known):.0f}" if known else "-"
    far = f"{np.percentile(known, 95):.0f}" if known else "-"
    return (
        f"{name:27s}{len(fires):4d}{len(reqs):5d}{n['right']:6d}{n['wrong pass']:7d}"
        f"{n['wrong fail']:7d}{n['unneeded']:7d}{unproven:7d}{n['lucky pass']:6d}{n['open']:5d}"
        f"{refused:6d} |{f['wrong pass']:5d}{f['wrong fail']:5d}{f['unneeded']:5d} |"
        f"{mid:>7s}{far:>7s}{len(errors) - len(known):5d}"
    )


def _totals(rows, groups):
    lines = []
    for group in ("kind", "kiln", "log", None):
        part = [r for r in rows if group is None or groups[r["shape"]] == group]
        if not part:
            continue
        lines.append(f"== {group or 'all'}")
        lines += _total(part)
    kinds = defaultdict(list)
    for row in rows:
        if row["requirement"]:
            kinds[row["kind"]].append(row)
    lines.append("== by kind: n, right, wrong pass, wrong fail, unneeded, not proven")
    for kind, part in sorted(kinds.items()):
        n = Counter(r["score"] for r in part)
        unproven = sum(r["said"] in ("not proven", "refused", "missing") for r in part)
        lines.append(
            f"  {kind:10s}{len(part):6d}{n['right']:6d}{n['wrong pass']:6d}{n['wrong fail']:6d}"
            f"{n['unneeded']:6d}{unproven:6d}"
        )
    return lines


def _total(rows):
    reqs = [r for r in rows if r["requirement"]]
    fires = [r for r in rows if not r["requirement"]]
    count = Counter(r["score"] for r in reqs)
    fired = Counter(r["score"] for r in fires)
    said = Counter(r["said"] for r in reqs)
    fsaid = Counter(r["said"] for r in fires)
    decidable = sum(r["decidable"] is not None for r in reqs)
    unproven = len(reqs) - said["pass"] - said["fail"]
    false = sum(r["score"] == "wrong pass" and r["truth"] == "fail" for r in reqs)
    errors = [e for r in fires for e in r["breaks"] if e is not None]
    missed = sum(e is None for r in fires for e in r["breaks"])
    names = f"right {count['right']}, lucky pass {count['lucky pass']}, open {count['open']}"
    whole_pass = _share(fired["wrong pass"], fsaid["pass"])
    whole_fail = _share(fired["wrong fail"], fsaid["fail"])
    out = [
        f"  requirements {len(reqs)}: {names}",
        f"  wrong passes of those said   {_share(count['wrong pass'], said['pass'])}",
        f"    the kiln truly failed in {false}; the others rest on what must not be believed",
        f"  wrong fails of those said    {_share(count['wrong fail'], said['fail'])}",
        f"  unneeded of the decidable    {_share(count['unneeded'], decidable)}",
        f"  not proven of all            {_share(unproven, len(reqs))}",
        f"  firings {len(fires)}: wrong passes {whole_pass}; wrong fails {whole_fail}",
        f"    unneeded not proven {fired['unneeded']}",
    ]
    if errors:
        out.append(
            f"  segment breaks {len(errors)}: median error {np.median(errors):.0f} s, "
            f"95th percentile {np.percentile(errors, 95):.0f} s; not named {missed}"
        )
    return out
