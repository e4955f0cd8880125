"""Tells the program about a heat as a founder would: with its own commands, in a store of its own.

Nothing of the program is imported; what a command can state (an option for how well an instant is
known) is found in its --help.
"""

from __future__ import annotations

import csv
import datetime as dt
import json
import os
import re
import shlex
import subprocess
import time
from dataclasses import dataclass, field
from pathlib import Path

from heats import Heat, Mould

HERE = Path(__file__).resolve().parent
DAY = dt.datetime(2026, 3, 2, 8, 0, 0, tzinfo=dt.UTC)


@dataclass
class Answer:
    """What the program said of one heat."""

    pour: dict | None = None
    window: dict | None = None
    asked_window: bool = False
    trouble: list[str] = field(default_factory=list)
    seconds: float = 0.0


class Program:
    """The command under test and what its help admits to."""

    def __init__(self, command: str) -> None:
        self.command = shlex.split(command)
        self.env = {k: v for k, v in os.environ.items() if not k.startswith("FIRELOG_")}
        self.lift_within = self._option(("heats", "lift"), r"--within\b")
        self.add_within = self._option(("heats", "add"), r"--lift(?:ed)?-within\b|--within\b")
        self.pour_within = self._option(("heats", "pour"), r"--within\b")
        self.out_within = self._option(("heats", "pour"), r"--out-within\b")

    def _option(self, words: tuple[str, ...], pattern: str) -> str | None:
        text = self._run([*words, "--help"]).stdout
        found = re.search(pattern, text)
        return found.group(0) if found else None

    def _run(self, words: list[str]) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*self.command, *words],
            capture_output=True,
            text=True,
            env=self.env,
            check=False,
            timeout=600,
        )

    def at(self, folder: Path) -> None:
        """Work in a folder of its own from now on."""
        self.env["FIRELOG_STORE"] = str(folder / "heat.firelog")
        self.env["FIRELOG_FOUNDRY"] = str(folder / "foundry.toml")

    def do(self, answer: Answer, *words: str, may: tuple[int, ...] = (0,)) -> str:
        """Run a command; an exit status it may not have is trouble, in its own words."""
        began = time.monotonic()
        done = self._run(list(words))
        answer.seconds += time.monotonic() - began
        if done.returncode not in may:
            said = (done.stderr.strip() or done.stdout.strip())[-400:]
            answer.trouble.append(f"{' '.join(words[:2])}: exit {done.returncode}: {said}")
        return done.stdout


def instant(seconds: float) -> str:
    """Seconds since the heat began as ISO 8601, UTC."""
    return (DAY + dt.timedelta(seconds=seconds)).strftime("%Y-%m-%dT%H:%M:%SZ")


def seconds_of(text: str) -> float:
    """The inverse of `instant`."""
    return (dt.datetime.fromisoformat(text.replace("Z", "+00:00")) - DAY).total_seconds()


def judge(program: Program, heat: Heat, folder: Path) -> Answer:
    """Enter the heat and ask; a window asked live is asked before later readings exist."""
    folder.mkdir(parents=True, exist_ok=True)
    program.at(folder)
    (folder / "foundry.toml").write_text(foundry(heat), encoding="utf-8")
    answer = Answer()
    cut = heat.query
    _tables(heat, folder, cut)
    _readings(program, answer, folder, "now" if cut else "all", None if cut else _schedule(heat))
    if cut:
        program.do(
            answer,
            "firings",
            "add",
            "burnout",
            "--kiln",
            "kiln",
            "--began",
            instant(heat.tables["kiln"][0][0]),
            "--schedule",
            _schedule(heat),
        )
    for m in heat.moulds:
        _mould(program, answer, m)
    _heat(program, answer, heat, live=bool(cut))
    if cut:
        _ask(program, answer, heat)
        _readings(program, answer, folder, "later", None)
    if heat.shape.lift_unsaid:
        _lift(program, answer, heat)
    for note in heat.notes:
        program.do(
            answer,
            "heats",
            "note",
            "melt",
            note.text,
            "--kind",
            note.kind,
            "--at",
            instant(note.at),
        )
    for m in heat.moulds:
        _pour(program, answer, heat, m)
    answer.pour = _object(program.do(answer, "pour", "melt", "--json", may=(0, 1)), answer)
    return answer


def _object(text: str, answer: Answer) -> dict | None:
    try:
        found = json.loads(text)
    except ValueError:
        answer.trouble.append("no JSON object on stdout")
        return None
    return found if isinstance(found, dict) else None


def foundry(heat: Heat) -> str:
    """The foundry file: what each thermocouple is."""
    lines = ['name = "Quarry Lane"', 'timezone = "UTC"', 'unit = "C"']

    def channel(kiln: str, name: str, role: str, kind: tuple[str, int] | None) -> None:
        lines.extend(
            ["", "[[channel]]", f'kiln = "{kiln}"', f'name = "{name}"', f'role = "{role}"']
        )
        if kind:
            lines.extend([f'type = "{kind[0]}"', 'standard = "IEC"', f"class = {kind[1]}"])

    channel("furnace", "lance", "lance", heat.stated_type)
    if heat.shape.melt_couple:
        channel("furnace", "melt", "crucible", ("S", 2))
    for head in heat.heads["kiln"]:
        name = head.removesuffix(" (C)")
        channel("kiln", name, "mould" if name.startswith("core") else "kiln", ("K", 1))
    return "\n".join(lines) + "\n"


def _tables(heat: Heat, folder: Path, cut: float | None) -> None:
    for which, rows in heat.tables.items():
        parts = {"all": rows}
        if cut:
            parts = {
                "now": [r for r in rows if r[0] <= cut],
                "later": [r for r in rows if r[0] > cut],
            }
        for name, part in parts.items():
            with (folder / f"{which}-{name}.csv").open("w", newline="", encoding="utf-8") as f:
                out = csv.writer(f)
                out.writerow(["time", *heat.heads[which]])
                out.writerows([instant(t), *values] for t, values in part)


def _schedule(heat: Heat) -> str:
    return "investment-block" if heat.moulds[0].body.form == "block" else "ceramic-shell"


def _readings(
    program: Program, answer: Answer, folder: Path, part: str, schedule: str | None
) -> None:
    program.do(answer, "import", str(folder / f"furnace-{part}.csv"), "--kiln", "furnace")
    words = ["import", str(folder / f"kiln-{part}.csv"), "--kiln", "kiln"]
    if schedule:
        words += ["--firing", "burnout", "--schedule", schedule]
    program.do(answer, *words)


def _mould(program: Program, answer: Answer, m: Mould) -> None:
    words = [
        "moulds",
        "add",
        m.name,
        "--firing",
        "burnout",
        "--section",
        m.section,
        "--metal-kg",
        f"{m.kg:g}",
        "--dry",
    ]
    for key, value in m.stated.items():
        words += [f"--{key}", value]
    if m.probe != "none":
        words += ["--probe", f"core {m.name.split()[-1]}"]
    program.do(answer, *words)


def _heat(program: Program, answer: Answer, heat: Heat, *, live: bool) -> None:
    words = [
        "heats",
        "add",
        "melt",
        "--furnace",
        "furnace",
        "--alloy",
        heat.stock.card,
        "--crucible",
        "A",
        "--crucible-kg",
        f"{heat.crucible.kg:g}",
        "--metal-kg",
        f"{heat.kg:g}",
        "--plan",
        str(HERE / "plans" / heat.stock.plan),
        "--began",
        instant(0),
    ]
    if not live:
        words += ["--ended", instant(heat.tables["furnace"][-1][0])]
    if program.lift_within or heat.shape.lift_unsaid:
        program.do(answer, *words)
        if not heat.shape.lift_unsaid:
            _lift(program, answer, heat)
        return
    words += ["--lifted", instant(heat.noted_lift)]
    if program.add_within:
        words += [program.add_within, f"{heat.shape.lift_within_s:g} s"]
    program.do(answer, *words)


def _lift(program: Program, answer: Answer, heat: Heat) -> None:
    words = ["heats", "lift", "melt", "--at", instant(heat.noted_lift)]
    if program.lift_within:
        words += [program.lift_within, f"{heat.shape.lift_within_s:g} s"]
    program.do(answer, *words)


def _ask(program: Program, answer: Answer, heat: Heat) -> None:
    m = heat.moulds[0]
    answer.asked_window = True
    text = program.do(
        answer,
        "heats",
        "window",
        "melt",
        m.name,
        "--at",
        instant(heat.query or 0.0),
        "--out",
        instant(m.noted_out),
        "--json",
        may=(0, 1),
    )
    answer.window = _object(text, answer)


def _pour(program: Program, answer: Answer, heat: Heat, m: Mould) -> None:
    within = f"{heat.shape.within_s:g} s"
    words = [
        "heats",
        "pour",
        "melt",
        m.name,
        "--began",
        instant(m.noted_began),
        "--ended",
        instant(m.noted_ended),
        "--out",
        instant(m.noted_out),
    ]
    if program.pour_within:
        words += ["--within", within]
    if program.out_within:
        words += ["--out-within", within]
    program.do(answer, *words)
