"""The tables of a run: shares with Wilson intervals, per figure, check, alloy, shape and dip."""

from __future__ import annotations

import math
from collections.abc import Iterable

import pandas as pd

Z95 = 1.959964


def wilson(hits: int, n: int) -> tuple[float, float]:
    """Wilson's score interval of a share at 95 % (E. B. Wilson, JASA 22, 1927; from memory)."""
    if not n:
        return 0.0, 1.0
    p, z2 = hits / n, Z95**2
    mid = (p + z2 / (2 * n)) / (1 + z2 / n)
    half = Z95 * math.sqrt(p * (1 - p) / n + z2 / (4 * n * n)) / (1 + z2 / n)
    return max(0.0, mid - half), min(1.0, mid + half)


def share(hits: int, n: int) -> str:
    """`hits/n = share [interval]` in percent."""
    if not n:
        return "–"
    low, high = wilson(hits, n)
    return f"{hits}/{n} {100 * hits / n:.1f} % [{100 * low:.0f}–{100 * high:.0f}]"


def _held(d: pd.DataFrame, kind: str) -> str:
    part = d[d["claim"] == kind]
    return share(int((part["holds"] == True).sum()), len(part))  # noqa: E712


def _spread(d: pd.DataFrame) -> tuple[str, str]:
    part = d[d["claim"] == "value"]
    if part.empty:
        return "–", "–"
    rms = math.sqrt(float((part["error"].astype(float) ** 2).mean()))
    return f"{part['u'].astype(float).median():.1f}", f"{rms:.1f}"


def figures(d: pd.DataFrame) -> list[str]:
    """One line of what a group of claims came to."""
    u, rms = _spread(d)
    counts = d["claim"].value_counts()
    rest = ", ".join(
        f"{k} {counts[k]}" for k in ("no U", "nothing", "not listed", "invented") if k in counts
    )
    return [
        str(len(d)),
        _held(d, "value"),
        u,
        rms,
        _held(d, "lower"),
        _held(d, "upper"),
        rest or "–",
    ]


FIGURE_HEAD = [
    "n",
    "value: truth inside U",
    "median U",
    "rms error",
    "lower bound true",
    "upper bound true",
    "else",
]


def by(d: pd.DataFrame, key: str, title: str) -> str:
    """Figures grouped by a column."""
    lines = [[str(k), *figures(g)] for k, g in d.groupby(key, sort=False)]
    return table(title, [key, *FIGURE_HEAD], [*lines, ["all", *figures(d)]])


def checks(d: pd.DataFrame, key: str, title: str) -> str:
    """Verdicts grouped by a column."""
    head = [
        key,
        "n",
        "pass",
        "fail",
        "not proven",
        "wrong pass",
        "wrong fail",
        "truly inside, not proven",
        "of those > 25 inside",
    ]
    lines = []
    for name, g in [*d.groupby(key, sort=False), ("all", d)]:
        good = g[g["inner"] >= 0]
        deep = good[good["inner"] > 25]
        v = g["verdict"].value_counts()
        lines.append(
            [
                str(name),
                str(len(g)),
                str(v.get("pass", 0)),
                str(v.get("fail", 0)),
                share(int(v.get("not proven", 0)), len(g)),
                share(int((g["wrong"] == "pass").sum()), int(v.get("pass", 0))),
                share(int((g["wrong"] == "fail").sum()), int(v.get("fail", 0))),
                share(int((good["verdict"] == "not proven").sum()), len(good)),
                share(int((deep["verdict"] == "not proven").sum()), len(deep)),
            ]
        )
    return table(title, head, lines)


def table(title: str, head: list[str], lines: Iterable[list[str]]) -> str:
    """Plain columns."""
    rows = [head, *lines]
    wide = [max(len(r[i]) for r in rows) for i in range(len(head))]
    text = ["  ".join(c.ljust(w) for c, w in zip(r, wide, strict=True)).rstrip() for r in rows]
    return "\n".join(["", title, text[0], "-" * min(sum(wide) + 2 * len(wide), 150), *text[1:]])


def _windows(d: pd.DataFrame) -> str:
    lines = []
    for what in ("live window", "stated window"):
        part = d[d["what"] == what]
        for shape, g in (
            part.groupby("shape", sort=False) if what == "live window" else [("all", part)]
        ):
            told = g[g["holds"].notna()]
            lines.append(
                [
                    f"{what}, {shape}",
                    str(len(g)),
                    str(len(told)),
                    share(int((told["holds"] == True).sum()), len(told)),  # noqa: E712
                    "–" if told.empty else f"{told['outside_k'].max():.0f}",
                ]
            )
    return table(
        "Windows: metal and mould truly right at every second stated",
        ["window", "asked or stated", "with times", "true throughout", "worst outside, K"],
        lines,
    )


def _faults(d: pd.DataFrame) -> str:
    lines = []
    wrong = d[(d["what"] == "check") & d["wrong"].notna()]
    for _, r in wrong.sort_values(["wrong", "kind"]).iterrows():
        u = "?" if pd.isna(r["u"]) else f"{r['u']:.1f}"
        lines.append(
            [
                f"wrong {r['wrong']}",
                r["kind"],
                r["heat"],
                r["mould"],
                f"{r['value']:.1f} ± {u}",
                f"{r['truth']:.1f}",
                f"{abs(r['inner']):.1f}",
            ]
        )
    return table(
        "Wrong verdicts",
        ["fault", "check", "heat", "mould", "said", "truth", "beyond limit"],
        lines,
    )


def everything(d: pd.DataFrame) -> str:
    """All tables of a run."""
    what = {k: d[d["what"] == k] for k in ("dip", "metal", "mould", "check")}
    parts = []
    over = [
        ["metal at the lip", *figures(what["metal"])],
        ["mould temperature", *figures(what["mould"])],
    ]
    for kind in ("handover", "superheat", "overheat"):
        part = what["check"][what["check"]["kind"] == kind]
        if len(part):
            over.append([kind, *figures(part)])
    over.append(["dips", *figures(what["dip"])])
    parts.append(table("Figures", ["figure", *FIGURE_HEAD], over))
    if len(what["check"]):
        parts.append(checks(what["check"], "kind", "Verdicts, per check"))
        parts.append(checks(what["check"], "alloy", "Verdicts, all checks, per alloy"))
        parts.append(checks(what["check"], "shape", "Verdicts, all checks, per shape"))
        window = what["check"][what["check"]["kind"] == "window"]
        parts.append(checks(window, "shape", "Verdicts of the pouring window, per shape"))
    for key in ("alloy", "shape"):
        parts.append(by(what["metal"], key, f"Metal at the lip, per {key}"))
        parts.append(by(what["mould"], key, f"Mould temperature, per {key}"))
    for key in ("probe", "form"):
        if key in what["mould"]:
            parts.append(by(what["mould"], key, f"Mould temperature, per {key}"))
    for key in ("label", "alloy", "lags", "sampling"):
        if key in what["dip"]:
            parts.append(by(what["dip"], key, f"Dips, per {key}"))
    parts += [_unsettled(what["dip"]), _windows(d), _faults(d)]
    return "\n".join(p for p in parts if p)


def _unsettled(d: pd.DataFrame) -> str:
    if "highest_true" not in d:
        return ""
    part = d[d["highest_true"].notna()]
    lines = []
    for name, g in [*part.groupby("label", sort=False), ("all", part)]:
        guess = g[g["guess_inside"].notna()] if "guess_inside" in g else g.iloc[:0]
        lines.append(
            [
                str(name),
                str(len(g)),
                share(int(g["highest_true"].sum()), len(g)),
                share(int(guess["guess_inside"].sum()) if len(guess) else 0, len(guess)),
            ]
        )
    return table(
        "Dips that were called unsettled (nothing is claimed; for information)",
        ["label", "n", "truth ≥ highest − U", "truth inside settled_c ± U"],
        lines,
    )
