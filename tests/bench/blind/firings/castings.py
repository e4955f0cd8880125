"""The castings bench: does an audit name the cause that was truly at work, and only that?

Each store holds sound castings and failed ones whose cause is known because we made it. The
causes' names are those of the foundry's own table of defects.
"""

import json
import tempfile
from collections import Counter, defaultdict
from pathlib import Path

import numpy as np
from casting_world import Story, logs
from commands import Firelog, RefusedError
from score import wilson

# What one and the same deed brings about: neither is innocent where the other is the cause.
ALLIED = {"zinc boiled off": ("gas taken up by the melt",)}
STRONG = ("strong", "very strong", "decisive")
FOUNDRY = """name = "Blind castings"
timezone = "UTC"
unit = "C"
"""
NOTED = {"coats": (8, 9), "wall_mm": (4.5, 6), "drying_h": (40, 72), "humidity_pct": (35, 52),
         "head_mm": (110, 180)}  # fmt: skip


def _story(rng, name, cause, defects, **how):
    """A casting with ordinary notes and an ordinary pour, but for what `how` says."""
    noted = {k: round(float(rng.uniform(*v)), 1) for k, v in NOTED.items()}
    if how.get("block"):
        noted.pop("coats"), noted.pop("drying_h")
    how = {"metal": rng.uniform(1118, 1150), "handover": rng.uniform(55, 85), **how}
    defect = str(rng.choice(defects)) if defects else None
    return Story(name=name, cause=cause, defect=defect, noted=noted, **how)


SHELL = {
    "metal cold": ("metal too cold", ["misrun", "cold shut"]),
    "mould cold": ("mould too cold", ["misrun", "cold shut"]),
    "delay": ("mould too cold", ["misrun", "cold shut"]),
    "slow pour": ("slow or broken fill", ["misrun", "cold lap"]),
    "metal hot": ("metal too hot", ["shrinkage", "metal penetration"]),
    "mould hot": ("mould too hot", ["metal penetration", "shrinkage"]),
    "cold restart": ("shell cooled and heated again", ["shell crack", "fins"]),
    "slow dewax": ("wax swelled in the shell", ["shell crack", "fins"]),
    "over-fired": ("shell over-fired", ["shell crack", "distortion"]),
    "short burn-out": ("carbon left by a short burn-out", ["carbon marks", "surface gas"]),
    "melt overheated": ("gas taken up by the melt", ["gas porosity"]),
    "zinc boiled": ("zinc boiled off", ["zinc loss"]),
    "nothing in the log": (None, ["hot tear", "inclusions", "core shift", "shrinkage"]),
    "nothing, misrun": (None, ["misrun", "gas porosity", "carbon marks", "shell crack"]),
    "metal cold, no dip": ("metal too cold", ["misrun", "cold shut"]),
    "short, log lost": ("carbon left by a short burn-out", ["carbon marks"]),
}
BLOCK = {
    "block heated fast": ("mould heated too fast", ["fins", "shell crack"]),
    "block damp": ("damp mould", ["gas porosity", "surface gas"]),
    "block short burn-out": ("carbon left by a short burn-out", ["carbon marks", "surface gas"]),
    "plaster overheated": ("plaster broken down by heat", ["surface gas"]),
    "block, nothing in the log": (None, ["hot tear", "core shift", "inclusions", "surface gas"]),
}


def changes(rng, kind):
    """What was done wrong, clearly beyond the trade's limits in the foundry's table."""
    u = rng.uniform
    return {
        "metal cold": lambda: {"metal": u(1005, 1045)},
        "mould cold": lambda: {"preheat": u(540, 600)},
        "delay": lambda: {"handover": u(340, 540)},
        "slow pour": lambda: {"fill": u(45, 70), "note": "stream broke once"},
        "metal hot": lambda: {"metal": u(1225, 1255)},
        "mould hot": lambda: {"preheat": u(1070, 1085), "handover": u(20, 28)},
        "cold restart": lambda: {"restart": True},
        "slow dewax": lambda: {"slow": True},
        "over-fired": lambda: {"flash": u(1135, 1180)},
        "short burn-out": lambda: {
            "flash": u(835, 850), "flash_hold": u(240, 600), "preheat": u(730, 770),
        },
        "melt overheated": lambda: {"overheat": u(15, 30)},
        "zinc boiled": lambda: {"alloy": "C87500", "metal": u(1050, 1075), "overheat": u(15, 30)},
        "metal cold, no dip": lambda: {
            "metal": u(1005, 1045), "dip": False, "silent_on": "metal too cold",
        },
        "short, log lost": lambda: {
            "flash": u(835, 850), "flash_hold": u(240, 600), "preheat": u(730, 770),
            "hole": True, "silent_on": "carbon left by a short burn-out",
        },
        "block heated fast": lambda: {"rate": u(380, 550)},
        "block damp": lambda: {"drying": 60.0, "rate": u(125, 140)},
        "block short burn-out": lambda: {"burn": u(900, 2400)},
        "plaster overheated": lambda: {"peak": u(800, 840)},
    }.get(kind, dict)()  # fmt: skip


def stories():
    """[(store name, stories)]: sound ones first; every kind comes three times."""
    out = []
    for family, kinds, stores in (("shell", SHELL, 6), ("block", BLOCK, 3)):
        rng = np.random.default_rng([len(family), stores, len(kinds)])
        failed = [kind for kind in kinds for _ in range(3)]
        for i in range(stores):
            block = {"block": True} if family == "block" else {}
            told = [_story(rng, f"sound {n}", None, None, **block) for n in range(5)]
            for n, kind in enumerate(failed[i::stores]):
                cause, defects = kinds[kind]
                how = {**block, **changes(rng, kind)}
                told.append(_story(rng, f"{kind} {i}.{n}", cause, defects, **how))
            out.append((f"{family} {i}", told, rng))
    return out


# ---------------------------------------------------------------- through the commands
def run(command, only=None):
    """Rows of the castings bench, one per failed casting."""
    rows = []
    for name, told, rng in stories():
        if only and not any(only in s.name for s in told):
            continue
        with tempfile.TemporaryDirectory(prefix="blind-") as folder:
            program = Firelog(command, folder)
            _foundry(program)
            try:
                _enter(program, told, rng)
                rows += [_audit(program, s, name) for s in told if s.defect]
            except RefusedError as why:
                rows += [_row(s, name, None, str(why)) for s in told if s.defect]
    return rows


def _foundry(program):
    parts = [FOUNDRY]
    for kiln, name, role in (
        ("kiln", "top", "kiln"), ("kiln", "bottom", "kiln"),
        ("furnace", "melt", "crucible"), ("furnace", "lance", "lance"),
    ):  # fmt: skip
        parts.append(
            f'[[channel]]\nkiln = "{kiln}"\nname = "{name}"\nrole = "{role}"\n'
            'type = "S"\nstandard = "IEC"\nclass = "2"\n'
        )
    program.foundry.write_text("\n".join(parts), encoding="utf-8")


def _enter(program, told, rng):
    sound = [s for s in told if not s.defect]
    groups = [g for g in (sound[0:2], sound[2:4], sound[4:5]) if g] + [
        [s] for s in told if s.defect
    ]
    for day, group in enumerate(groups):
        _night(program, day, group, logs(group[0], 2 * day, rng, len(group)))


def _when(instant):
    return instant.strftime("%Y-%m-%dT%H:%M:%SZ")


def _night(program, day, group, log):
    story, firing, heat = group[0], f"firing {day}", f"heat {day}"
    for name, csv in (("kiln", log.kiln_csv), ("furnace", log.melt_csv)):
        (Path(program.folder) / f"{name}{day}.csv").write_text(csv, encoding="utf-8")
    plan = "investment-block" if story.block else "ceramic-shell"
    program.must("import", f"kiln{day}.csv", "--kiln", "kiln", "--firing", firing,
                 "--schedule", plan)  # fmt: skip
    program.must("import", f"furnace{day}.csv", "--kiln", "furnace")
    program.must("heats", "add", heat, "--furnace", "furnace", "--alloy", story.alloy,
                 "--crucible", "A10", "--crucible-kg", 11, "--metal-kg", 30,
                 "--began", _when(log.heat_began), "--lifted", _when(log.lifted),
                 "--ended", _when(log.heat_ended))  # fmt: skip
    if story.note:
        program.must("heats", "note", heat, story.note, "--at", _when(log.poured[0][0]))
    for one, (begin, end) in zip(group, log.poured, strict=True):
        _casting(program, one, firing, heat, (log.out, begin, end))


def _casting(program, story, firing, heat, times):
    out, begin, end = times
    mould = f"mould of {story.name}"
    made = (
        ("--material", "plaster-silica", "--form", "block", "--shape", "cylinder", "--size", 50)
        if story.block
        else ("--material", "ceramic-shell", "--form", "shell", "--shape", "plate", "--size", 9)
    )
    program.must("moulds", "add", mould, "--firing", firing, "--section", "light",
                 "--metal-kg", 9, *made)  # fmt: skip
    program.must("heats", "pour", heat, mould, "--out", _when(out), "--began", _when(begin),
                 "--ended", _when(end), "--within", "2 s")  # fmt: skip
    noted = [w for k, v in story.noted.items() for w in (f"--{k.replace('_', '-')}", v)]
    program.must("castings", "add", story.name, "--mould", mould, *noted)
    seen = ("--defect", story.defect) if story.defect else ("--sound",)
    program.must("castings", "inspect", story.name, "--who", "the caster", *seen,
                 "--at", _when(end))  # fmt: skip


def _audit(program, story, store):
    try:
        said = json.loads(program.must("audit", story.name, "--json"))
    except RefusedError as why:
        return _row(story, store, None, str(why))
    found = next(d for d in said["defects"] if d["defect"] == story.defect)
    return _row(story, store, found, found.get("said", ""))


def _row(story, store, found, said):
    """How an audit stands to what was done."""
    causes = sorted((found or {}).get("causes", ()), key=lambda c: -c["weight"])
    names = [c["cause"] for c in causes]
    stands = {c["cause"]: c["stands"] for c in causes}
    supported = [c for c in causes if c["stands"] == "supported"]
    strong = [c["cause"] for c in supported if c["strongly_named"] or c["strength"] in STRONG]
    row = {
        "kind": story.name.rsplit(" ", 1)[0],
        "casting": story.name,
        "store": store,
        "defect": story.defect,
        "cause": story.cause,
        "lacking": story.silent_on is not None,
        "refused": found is None,
        "rank": names.index(story.cause) + 1 if story.cause in names else None,
        "stands": stands.get(story.cause),
        "innocent": [c for c in strong if c not in (story.cause, *ALLIED.get(story.cause, ()))],
        "supported": [f"{c['cause']} ({c['strength']})" for c in supported],
        "said": said[:300],
    }
    row["silent"] = not any(c["strength"] != "slight" for c in supported)
    return row


# ---------------------------------------------------------------- the table
def table(rows):
    """The castings' table as lines."""
    head = (
        f"{'kind of casting':27s}{'n':>3s}{'first':>6s}{'1st/2nd':>8s}{'support':>8s}"
        f"{'against':>8s}{'silent':>7s}{'innoc.':>7s}{'refus.':>7s}"
    )
    kinds, lines = defaultdict(list), ["", head]
    for row in rows:
        kinds[row["kind"]].append(row)
    for kind, part in kinds.items():
        lines.append(f"{kind:27s}{_counts(part)}")
    shown = [r for r in rows if r["cause"] and not r["lacking"]]
    quiet = [r for r in rows if not r["cause"] or r["lacking"]]
    if shown:
        lines += [
            "== a cause the record can show",
            _share("named first", sum(r["rank"] == 1 for r in shown), len(shown)),
            _share("first or second", sum((r["rank"] or 9) <= 2 for r in shown), len(shown)),
            _share("supported", sum(r["stands"] == "supported" for r in shown), len(shown)),
        ]
    if quiet:
        silent = sum(r["silent"] for r in quiet)
        lines += [
            "== nothing the record could show, or the record lacks it",
            _share("silence said", silent, len(quiet)),
        ]
    wrong = Counter(c for r in rows for c in r["innocent"])
    lines.append(
        _share("== innocent cause strong", sum(bool(r["innocent"]) for r in rows), len(rows))
    )
    lines += [f"   {cause}: {n}" for cause, n in wrong.most_common()]
    return lines


def _counts(part):
    stands = Counter(r["stands"] for r in part)
    return (
        f"{len(part):3d}{sum(r['rank'] == 1 for r in part):6d}"
        f"{sum((r['rank'] or 9) <= 2 for r in part):8d}{stands['supported']:8d}"
        f"{stands['argued against']:8d}{sum(r['silent'] for r in part):7d}"
        f"{sum(bool(r['innocent']) for r in part):7d}{sum(r['refused'] for r in part):7d}"
    )


def _share(what, hits, of):
    low, high = wilson(hits, of)
    return (
        f"  {what}: {hits} of {of} = {100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f})"
    )
