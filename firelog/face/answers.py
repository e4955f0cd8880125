"""What a firing, a heat or a casting answers when it is judged: a verdict, tables, facts."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from firelog.face import frames, html
from firelog.units import TemperatureUnit, difference_from_k, from_celsius
from firelog.verdict import Verdict

_LIMIT = ("requirement", "kind", "verdict", "measured", "limit", "uncertainty", "unit")
_WINDOW = ("mould", "requirement", "kind", "verdict", "measured", "low", "high", "uncertainty")
_CAUSES = ("defect", "cause", "stands", "strength", "share before", "share", "next time")


@dataclass(frozen=True, repr=False)
class Judgement:
    """A firing held against its schedule.

    ``facts`` is the object of ``firelog judge --json``, in °C; its sentences are in the foundry's
    unit.
    """

    facts: dict[str, Any] = field(repr=False)
    unit: TemperatureUnit = "C"

    @property
    def name(self) -> str:
        """The firing's name."""
        return str(self.facts["firing"])

    @property
    def verdict(self) -> Verdict:
        """Pass, fail or not proven: the worst of the checks."""
        return Verdict(self.facts["verdict"])

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be said beside the verdict: what was assumed, what was not counted."""
        assumed = {row["assumed"] for row in self.facts["channels"] if row["assumed"]}
        left_out = {what for row in self.facts["channels"] for what in row["not_counted"]}
        said = [f"assumed: {what}" for what in sorted(assumed)]
        said += [f"not counted in U: {', '.join(sorted(left_out))}"] if left_out else []
        return (*self.facts["remarks"], *said)

    @property
    def checks(self) -> pd.DataFrame:
        """One row per requirement: verdict, measured, limit, U (k = 2), unit, when, where, why."""
        columns = (*_LIMIT, "at", "channel", "why")
        return frames.checks(self.facts["checks"], columns, self.unit)

    @property
    def segments(self) -> pd.DataFrame:
        """One row per segment: when it began, was reached and ended (UTC), and how long it held."""
        columns = ["name", "began", "reached", "soaked_s", "complete", "ended"]
        table = pd.DataFrame(self.facts["segments"], columns=columns)
        for column in ("began", "reached", "complete", "ended"):
            table[column] = pd.to_datetime(table[column], utc=True, format="ISO8601")
        return table

    def __repr__(self) -> str:
        return _said(self.name, self.verdict, self.facts["checks"])

    def _repr_html_(self) -> str:
        return html.judged(self.name, self.verdict, self.checks, self.remarks)


@dataclass(frozen=True, repr=False)
class Verification:
    """A heat's pours held against what was asked of them.

    ``facts`` is the object of ``firelog pour --json``, in °C; its sentences are in the foundry's
    unit.
    """

    facts: dict[str, Any] = field(repr=False)
    unit: TemperatureUnit = "C"

    @property
    def name(self) -> str:
        """The heat's name."""
        return str(self.facts["heat"])

    @property
    def verdict(self) -> Verdict:
        """Pass, fail or not proven: the worst of the pours; not proven where nothing was poured."""
        return Verdict(self.facts["verdict"])

    @property
    def remarks(self) -> tuple[str, ...]:
        """What must be said beside the verdict."""
        return tuple(self.facts["remarks"])

    @property
    def checks(self) -> pd.DataFrame:
        """One row per mould and requirement: measured, low and high limit, U (k = 2), how known."""
        rows = [
            {"mould": pour["mould"], **check}
            for pour in self.facts["pours"]
            for check in pour["checks"]
        ]
        return frames.checks(rows, (*_WINDOW, "unit", "how", "why"), self.unit)

    @property
    def pours(self) -> pd.DataFrame:
        """One row per mould: its verdict, temperature of metal and mould with U, handover [s]."""
        table = pd.DataFrame([_pour(pour, self.unit) for pour in self.facts["pours"]])
        if len(table):
            table["began"] = pd.to_datetime(table["began"], utc=True, format="ISO8601")
        return table

    def __repr__(self) -> str:
        rows = [
            {**check, "requirement": f"{pour['mould']}, {check['requirement']}"}
            for pour in self.facts["pours"]
            for check in pour["checks"]
        ]
        return _said(self.name, self.verdict, rows)

    def _repr_html_(self) -> str:
        return html.judged(self.name, self.verdict, self.checks, self.remarks)


@dataclass(frozen=True, repr=False)
class Audit:
    """A casting's record held against the causes of its defects. It never says "the cause is".

    ``facts`` is the object of ``firelog audit --json``, in °C; its sentences are in the foundry's
    unit.
    """

    facts: dict[str, Any] = field(repr=False)

    @property
    def name(self) -> str:
        """The casting's name."""
        return str(self.facts["casting"])

    @property
    def outcome(self) -> str:
        """Sound, defects, or not judged."""
        return str(self.facts["outcome"])

    @property
    def causes(self) -> pd.DataFrame:
        """One row per defect and possible cause: how it stands, and its share."""
        rows = [
            {
                "defect": defect["defect"],
                "cause": cause["cause"],
                "stands": cause["stands"],
                "strength": cause["strength"],
                "share before": cause["prior"],
                "share": cause["weight"],
                "next time": cause["next"],
            }
            for defect in self.facts["defects"]
            for cause in defect["causes"]
        ]
        return pd.DataFrame(rows, columns=list(_CAUSES))

    @property
    def findings(self) -> pd.DataFrame:
        """One row per piece of evidence: supports, argues against, or silent, and in words."""
        columns = ("defect", "cause", "fact", "finding", "likelihood_ratio", "said")
        return pd.DataFrame(self.facts["findings"], columns=list(columns))

    @property
    def cautions(self) -> tuple[str, ...]:
        """What an audit can and cannot say."""
        return tuple(self.facts["cautions"])

    def __repr__(self) -> str:
        lines = [f"<audit of {self.name!r}: {self.outcome}>"]
        for defect in self.facts["defects"]:
            lines.append(f"{defect['defect']}: {defect['said']}")
        return "\n  ".join(lines)

    def _repr_html_(self) -> str:
        return html.listed(self.causes, repr(self).splitlines()[0].strip("<>"))


def _pour(pour: dict[str, Any], unit: TemperatureUnit) -> dict[str, Any]:
    row = {key: pour[key] for key in ("mould", "firing", "section", "verdict", "began")}
    row["handover_s"] = pour["handover_s"]
    for label, found in (
        ("metal", pour["metal"]),
        ("mould temperature", pour["mould_temperature"]),
    ):
        temp_c, u_k = found.get("temperature_c"), found.get("uncertainty_k")
        row[label] = None if temp_c is None else from_celsius(temp_c, unit)
        row[f"U {label}"] = None if u_k is None else difference_from_k(u_k, unit)
        row[f"{label} is"] = found.get("how", "not known")
    return row


def _said(name: str, verdict: Verdict, rows: list[dict[str, Any]]) -> str:
    """Return a verdict and, below it, every check with the reason for it."""
    lines = [f"<{name!r}: {verdict.value}>"]
    lines += [f"{row['verdict']:10}  {row['requirement']}: {row['why']}" for row in rows]
    return "\n  ".join(lines)
