"""``firelog convert`` from the outside: answers, exit status, sentences."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Callable
from typing import Any

import pytest

from firelog.cli import main

Answer = Callable[..., dict[str, Any]]
Refusal = Callable[..., str]


@pytest.fixture
def answer(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Answer:
    """Run ``firelog convert ... --json`` in this process and return its object."""

    def run(*options: str) -> dict[str, Any]:
        monkeypatch.setattr(sys, "argv", ["firelog", "convert", *options, "--json"])
        with pytest.raises(SystemExit) as end:
            main()
        out, err = capsys.readouterr()
        assert (end.value.code, err) == (0, "")
        found: dict[str, Any] = json.loads(out)
        return found

    return run


@pytest.fixture
def refusal(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Refusal:
    """Run ``firelog convert ...``, expect status 2 and nothing on stdout; return the sentence."""

    def run(*options: str) -> str:
        monkeypatch.setattr(sys, "argv", ["firelog", "convert", *options])
        with pytest.raises(SystemExit) as end:
            main()
        out, err = capsys.readouterr()
        assert (end.value.code, out) == (2, "")
        return err

    return run


def piped(text: bytes, *options: str) -> subprocess.CompletedProcess[bytes]:
    """Run the real command in a process of its own with ``text`` on its standard input."""
    program = [sys.executable, "-c", "from firelog.cli import main; main()", "convert", *options]
    wide = os.environ | {"COLUMNS": "120"}
    return subprocess.run(
        program, input=text, capture_output=True, timeout=60, check=False, env=wide
    )


# ---------------------------------------------------------------- IEC 60584-1 table values
def test_type_k_emf(answer: Answer) -> None:
    """41.276 mV of type K is 1000 °C (IEC 60584-1), ±7.5 K in class 2."""
    found = answer("--type", "K", "--mv", "41.276")
    assert found["temperature_c"] == pytest.approx(1000.0, abs=0.02)
    assert found["temperature_f"] == pytest.approx(1832.0, abs=0.04)
    assert found["tolerance_k"] == pytest.approx(7.5, abs=0.001)
    assert (found["type"], found["emf_mv"], found["quality"]) == ("K", 41.276, "ok")
    assert (found["cold_junction_c"], found["standard"], found["class"]) == (0.0, "IEC", "2")
    assert found["budget"] is None
    assert found["remark"] is None


@pytest.mark.parametrize("stated", [("--c", "1100"), ("--f", "2012"), ("--at", "1100C"),
                                    ("--at", "2012 F"), ("--at", "1373.15K")])  # fmt: skip
def test_type_s_temperature(answer: Answer, stated: tuple[str, str]) -> None:
    """1100 °C is 10.757 mV of type S (IEC 60584-1), however it is written."""
    assert answer("--type", "S", *stated)["emf_mv"] == pytest.approx(10.757, abs=0.0005)


def test_cold_junction(answer: Answer) -> None:
    """At a 25 °C terminal type K shows E(1000) − E(25) = 41.276 − 1.000 mV, and back."""
    found = answer("--type", "K", "--c", "1000", "--cold", "25")
    assert found["emf_mv"] == pytest.approx(41.276 - 1.000, abs=0.001)
    back = answer("--type", "K", "--mv", str(found["emf_mv"]), "--cold", "77F")
    assert back["temperature_c"] == pytest.approx(1000.0, abs=1e-6)
    assert back["cold_junction_c"] == pytest.approx(25.0)


def test_naive_sum_is_not_made(answer: Answer) -> None:
    """11.000 mV of type S at 30 °C is 1135.05 °C; adding degrees would say 1150.53 °C."""
    found = answer("--type", "S", "--mv", "11.000", "--cold", "30")
    assert found["temperature_c"] == pytest.approx(1135.05, abs=0.05)


def test_below_zero(answer: Answer) -> None:
    """Negative numbers are numbers, not options: −3.554 mV of type K is −100 °C."""
    assert answer("--type", "K", "--mv", "-3.554")["temperature_c"] == pytest.approx(-100, abs=0.02)
    assert answer("--type", "k", "--c", "-100")["emf_mv"] == pytest.approx(-3.554, abs=0.0005)


@pytest.mark.parametrize("text", ["41.276", "41.276 mV", "41276 µV", "41276uV", "0.041276 V"])
def test_units_of_emf(answer: Answer, text: str) -> None:
    """An emf may carry its unit."""
    assert answer("--type", "K", "--mv", text)["temperature_c"] == pytest.approx(1000, abs=0.02)


# ---------------------------------------------------------------- tolerance and budget
def test_class(answer: Answer) -> None:
    """The class decides the tolerance, and its name alone tells the standard."""
    first = answer("--type", "K", "--c", "900", "--class", "1")
    special = answer("--type", "K", "--c", "900", "--class", "special")
    assert first["tolerance_k"] == pytest.approx(3.6)
    assert (special["standard"], special["tolerance_k"]) == ("ASTM", pytest.approx(3.6))
    astm = answer("--type", "E", "--c", "870", "--standard", "astm")
    assert (astm["class"], astm["tolerance_k"]) == ("standard", pytest.approx(4.35))


def test_no_tolerance_is_said(answer: Answer) -> None:
    """A bronze pour has no tolerance in class 1: null, with the reason, and no number."""
    found = answer("--type", "K", "--at", "1150C", "--class", "1")
    assert found["temperature_c"] == 1150.0
    assert (found["tolerance_k"], found["uncertainty_k"]) == (None, None)
    assert "from -40 to 1000 °C" in found["remark"]


def test_budget(answer: Answer) -> None:
    """The budget's rows add up in squares to the U shown beside the temperature."""
    found = answer("--type", "K", "--at", "1100C", "--budget")
    budget = found["budget"]
    squares = sum(row["standard_k"] ** 2 for row in budget["rows"])
    assert budget["expanded_k"] == pytest.approx(2.0 * squares**0.5)
    assert found["uncertainty_k"] == pytest.approx(budget["expanded_k"], abs=1e-8)
    assert budget["rows"][0]["standard_k"] == pytest.approx(8.25 / 3**0.5)


def test_budget_printed() -> None:
    """Without --json the budget is a table that names every contribution and every gap."""
    found = piped(b"", "--type", "K", "--at", "1100C", "--budget")
    text = found.stdout.decode()
    assert found.returncode == 0
    for word in ("sensor tolerance", "cold junction", "last digit", "4.763", "9.57", "k = 2"):
        assert word in text
    assert text.count("not stated, not counted") == 4


def test_budget_without_tolerance(refusal: Refusal) -> None:
    """A budget without its largest contribution is refused."""
    said = refusal("--type", "K", "--at", "1150C", "--class", "1", "--budget")
    assert "no tolerance in IEC class 1 at 1150 °C" in said


# ---------------------------------------------------------------- refusals
@pytest.mark.parametrize(
    ("options", "says"),
    [(("--type", "Q", "--mv", "1"), "no thermocouple type 'Q'"),
     (("--type", "K", "--mv", "80"), "-6.458 to 54.886 mV"),
     (("--type", "K", "--mv", "54.5", "--cold", "30"), "-7.661 to 53.683 mV"),
     (("--type", "B", "--mv", "0.1"), "0.291 to 13.820 mV"),
     (("--type", "K", "--c", "1400"), "from -270 to 1372 °C"),
     (("--type", "K", "--mv", "1", "--cold", "900"), "temperature of the terminals"),
     (("--type", "K", "--mv", "41,276"), "write mV like 41.276"),
     (("--type", "K", "--mv", "nan"), "is not an emf"),
     (("--type", "K", "--c", "warm"), "is not a temperature"),
     (("--type", "K", "--c", "-300"), "absolute zero"),
     (("--type", "K", "--at", "1100"), "has no unit"),
     (("--type", "K"), "exactly one of"),
     (("--type", "K", "--mv", "1", "--c", "1"), "exactly one of"),
     (("--type", "K", "--c", "1", "-"), "exactly one of"),
     (("--type", "K", "-", "--budget"), "one temperature"),
     (("--mv", "1"), "--type"),
     (("--type", "J", "--c", "1", "--class", "3"), "it has 1, 2"),
     (("--type", "K", "--c", "1", "--standard", "DIN"), "IEC or ASTM")],
)  # fmt: skip
def test_refused(refusal: Refusal, options: tuple[str, ...], says: str) -> None:
    """What cannot be converted ends with status 2, one sentence and nothing on stdout."""
    assert says in refusal(*options)


# ---------------------------------------------------------------- a column on standard input
def test_column() -> None:
    """A column comes back row for row; an impossible or missing value keeps its place."""
    found = piped(b"mV\n41.276\n\n80\n# a note\n1000 C\n", "--type", "K", "-", "--json")
    assert (found.returncode, found.stderr) == (0, b"")
    columns = json.loads(found.stdout)
    assert columns["quality"] == ["ok", "missing", "saturated", "ok"]
    assert columns["temperature_c"][0] == pytest.approx(1000.0, abs=0.02)
    assert columns["temperature_c"][1:3] == [None, None]
    assert columns["emf_mv"] == [41.276, None, 80.0, pytest.approx(41.276, abs=0.0005)]
    assert columns["tolerance_k"][3] == pytest.approx(7.5)
    assert columns["type"] == "K"


def test_column_of_fahrenheit() -> None:
    """--f - reads a column of temperatures, and plain rows are tab-separated under a heading."""
    found = piped(b"1832\n212\n3000\n", "--type", "K", "--f", "-")
    head, *rows = [line.split("\t") for line in found.stdout.decode().splitlines()]
    assert head[:3] == ["emf_mv", "temperature_c", "temperature_f"]
    assert [row[-1] for row in rows] == ["ok", "ok", "saturated"]
    assert float(rows[0][0]) == pytest.approx(41.276, abs=0.0005)
    assert float(rows[1][0]) == pytest.approx(4.096, abs=0.0005)
    assert rows[2][:2] == ["", ""]


@pytest.mark.parametrize(
    ("text", "says"),
    [(b"41.276\nwarm\n", b"line 2"), (b"", b"nothing to convert"), (b"mV\n", b"nothing"),
     (b"41.276\n\xff\xfe\n", b"line 2"), (b"1,5\n", b"line 1")],
)  # fmt: skip
def test_bad_column(text: bytes, says: bytes) -> None:
    """A line that is no number is an error that names the line, not a guess."""
    found = piped(text, "--type", "K", "-")
    assert (found.returncode, found.stdout) == (2, b"")
    assert says in found.stderr
    assert b"Traceback" not in found.stderr
