"""Puts a case into a store and asks for the verdict, through the program's commands alone."""

import json
import os
import subprocess
from dataclasses import dataclass, field
from pathlib import Path

from schedule import text

TIMEOUT_S = 300


@dataclass(frozen=True)
class Answer:
    """What the program said of a firing; `refused` is its sentence where it would not say."""

    verdict: str | None
    checks: dict = field(default_factory=dict)  # requirement -> check of the JSON answer
    segments: dict = field(default_factory=dict)  # name -> segment of the JSON answer
    refused: str = ""
    remarks: tuple = ()


class Firelog:
    """The program under test with one store and one foundry file in `folder`."""

    def __init__(self, command, folder):
        self.command = command if isinstance(command, list) else command.split()
        self.folder = Path(folder)
        self.store = self.folder / "store.firelog"
        self.foundry = self.folder / "foundry.toml"

    def run(self, *words):
        """(exit status, stdout, stderr) of one command."""
        env = dict(os.environ, FIRELOG_STORE=str(self.store), FIRELOG_FOUNDRY=str(self.foundry))
        done = subprocess.run(
            ["nice", "-n", "5", *self.command, *[str(w) for w in words]],
            capture_output=True,
            text=True,
            env=env,
            cwd=self.folder,
            timeout=TIMEOUT_S,
            check=False,
        )
        return done.returncode, done.stdout, done.stderr

    def must(self, *words):
        """Run, or raise RefusedError with the program's sentence."""
        status, out, err = self.run(*words)
        if status == 2 or status > 2:
            raise RefusedError(err.strip() or out.strip() or f"status {status}")
        return out


class RefusedError(Exception):
    """The program would not do it, and said why."""


def write_foundry(program, cases):
    """One foundry file for all cases that share the store."""
    lines = ['name = "Blind bench"', 'timezone = "UTC"', 'unit = "C"']
    for case in cases:
        for c in case.couples:
            if c.name in case.listed:
                lines += ["", "[[channel]]", f'kiln = "{case.kiln}"', f'name = "{c.name}"']
                lines += [f'role = "{c.role}"', f'type = "{c.letter}"']
                lines += [f'standard = "{c.standard}"', f'class = "{c.klass}"']
                lines += [f"{key} = {value}" for key, value in c.stated.items()]
    program.foundry.write_text("\n".join(lines) + "\n", encoding="utf-8")


def _when(instant):
    return instant.strftime("%Y-%m-%dT%H:%M:%SZ")


def ask(program, case):
    """Import the case's nights and judge tonight's."""
    try:
        return _ask(program, case)
    except RefusedError as why:
        return Answer(None, refused=str(why))


def _ask(program, case):
    stem = case.firing.replace(" ", "-")
    plan = program.folder / f"{stem}.toml"
    plan.write_text(text(case.schedule), encoding="utf-8")
    for i, former in enumerate(case.tables[:-1]):
        file = program.folder / f"{stem}-before-{i}.csv"
        file.write_text(former, encoding="utf-8")
        name = f"{case.firing} before {i}"
        program.must("import", file, "--kiln", case.kiln, "--firing", name, "--schedule", plan)
    file = program.folder / f"{stem}.csv"
    file.write_text(case.tables[-1], encoding="utf-8")
    own = ("--firing", case.firing, "--schedule", plan)
    if case.add:
        program.must(
            "firings",
            "add",
            case.firing,
            "--kiln",
            case.kiln,
            "--schedule",
            plan,
            "--began",
            _when(case.began),
        )
        own = ()
    program.must("import", file, "--kiln", case.kiln, *own)
    if case.noted_end is not None:
        program.must("firings", "end", case.firing, "--at", _when(case.noted_end))
    said = json.loads(program.must("judge", case.firing, "--json"))
    return Answer(
        verdict=said["verdict"],
        checks={c["requirement"]: c for c in said["checks"]},
        segments={s["name"]: s for s in said["segments"]},
        remarks=tuple(str(r) for r in said.get("remarks", ())),
    )
