"""Examining and reading a logger's export: plain tables first."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from firelog.errors import InputError
from firelog.intake.file.logfile import ImportOptions, Part, ReadPlan, examine, read, zone_or_offset
from firelog.readings import Quality, Unit
from firelog.units import parse_instant

START = parse_instant("2026-03-01T08:00:00Z")
FROM_START = ImportOptions(start_us=START)


def write(folder: Path, text: str | bytes, name: str = "log.csv") -> Path:
    """Write a log and return where."""
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def parts_of(path: Path, plan: ReadPlan) -> dict[str, list[Part]]:
    """Read a file and return the parts of each channel."""
    found: dict[str, list[Part]] = {}
    for chunk in read(path, plan):
        for part in chunk.parts:
            found.setdefault(part.channel, []).append(part)
    return found


def column(path: Path, options: ImportOptions, channel: str) -> tuple[list[int], list[float]]:
    """Read a file and return seconds since START and values of one channel."""
    parts = parts_of(path, examine(path, options))[channel]
    t_us = np.concatenate([part.t_us for part in parts])
    return ((t_us - START) / 1e6).tolist(), np.concatenate([p.value for p in parts]).tolist()


def refusal(path: Path, options: ImportOptions = FROM_START) -> str:
    """Return the sentence with which a file is refused, by examination or in reading."""
    with pytest.raises(InputError) as caught:
        list(read(path, examine(path, options)))
    return str(caught.value)


@pytest.mark.parametrize(
    ("name", "temperatures", "rows"),
    [("nist_e119_compartment_test_1.csv", 35, 144), ("delco_trainers_test_2.csv", 64, 202)],
)
def test_open_log_equals_pandas(open_data: Path, name: str, temperatures: int, rows: int) -> None:
    """Every temperature of the public logs is read as pandas reads it, none more, none less."""
    path = open_data / name
    table = pd.read_csv(path, header=[0, 1])
    mine = [top for top, unit in table.columns if unit == "C"]
    plan = examine(path, FROM_START)
    assert [c.channel for c in plan.columns] == mine
    assert len(mine) == temperatures
    assert len(plan.skipped) == len(table.columns) - 1 - temperatures
    read_back = parts_of(path, plan)
    elapsed = table[("Time", "s")].to_numpy(float)
    for channel in mine:
        t_us = np.concatenate([part.t_us for part in read_back[channel]])
        value = np.concatenate([part.value for part in read_back[channel]])
        assert len(t_us) == rows
        np.testing.assert_array_equal(t_us, START + (elapsed * 1e6).astype(np.int64))
        np.testing.assert_array_equal(value, table[(channel, "C")].to_numpy(float))


def test_iso_times_need_no_start(tmp_path: Path) -> None:
    """Stamps with an offset are instants by themselves, whatever their offset."""
    path = write(tmp_path, "Time,T1 [C]\n2026-03-01T09:00:00+01:00,20\n2026-03-01T08:00:05Z,21\n")
    assert column(path, ImportOptions(), "T1") == ([0.0, 5.0], [20.0, 21.0])


def test_units_stay_as_received(tmp_path: Path) -> None:
    """Fahrenheit and kelvin columns keep their numbers and their unit."""
    path = write(tmp_path, "Time,A (F),B (K)\n2026-03-01T08:00:00Z,1600,1144.3\n")
    plan = examine(path, ImportOptions())
    assert [(c.channel, c.unit) for c in plan.columns] == [("A", Unit.F), ("B", Unit.K)]
    assert column(path, ImportOptions(), "A")[1] == [1600.0]


def test_blank_and_nan_cells_are_missing(tmp_path: Path) -> None:
    """A blank cell and NaN are missing readings with their own quality, never numbers."""
    path = write(tmp_path, "Time [s],T1 [C],T2 [C]\n0,1,10\n1,,11\n2,NaN,12\n3,4,13\n")
    part = parts_of(path, examine(path, FROM_START))["T1"][0]
    assert np.isnan(part.value).tolist() == [False, True, True, False]
    assert part.quality.tolist() == [Quality.OK, Quality.MISSING, Quality.MISSING, Quality.OK]


@pytest.mark.parametrize(
    ("text", "options", "says"),
    [
        ("", FROM_START, ["is empty"]),
        ("\n\n", FROM_START, ["nothing but blanks"]),
        (b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR\0\0\1\0", FROM_START, ["is not text"]),
        ("Time [s],T1\n0,20\n1,21\n", FROM_START, ["--unit C", "T1"]),
        (
            "Time [s],T1 [C]\n0,20\n1,21\n",
            ImportOptions(),
            ["--start", "'Time [s]' is elapsed time"],
        ),
        ("Time,T1 [C]\n2026-03-01 08:00,20\n", ImportOptions(), ["--tz", "line 2"]),
        (
            "Time,T1 [C]\n2026-03-01T08:00:00Z,20\nyesterday,21\n",
            ImportOptions(),
            ["line 3", "yesterday"],
        ),
        ("a,b\nx,y\n", FROM_START, ["looks like readings"]),
        (
            "Time [s],T1 [C]\n0,1\n",
            ImportOptions(start_us=START, only=("T2",)),
            ["no column 'T2'", "T1"],
        ),
        (
            "Time [s],T1 [C]\n0,1\n",
            ImportOptions(start_us=START, time=("Tme",)),
            ["no column 'Tme'", "Time"],
        ),
        ("Time [s],T1 [C]\n0,1\n15,2\n0,3\n15,4\n", FROM_START, ["line 4", "starts again"]),
    ],
)
def test_refusal_names_file_line_and_remedy(
    tmp_path: Path, text: str | bytes, options: ImportOptions, says: list[str]
) -> None:
    """What cannot be read is refused with the file's name, the line or option, and one sentence."""
    sentence = refusal(write(tmp_path, text), options)
    assert "log.csv" in sentence
    assert "\n" not in sentence
    for words in says:
        assert words in sentence


def test_missing_file_is_named(tmp_path: Path) -> None:
    """A file that is not there is named, with what to do."""
    assert "check the name" in refusal(tmp_path / "nowhere.csv")


@pytest.mark.parametrize(
    ("codec", "mark"),
    [
        ("utf-8", b""),
        ("utf-8", b"\xef\xbb\xbf"),
        ("utf-16-le", b"\xff\xfe"),
        ("utf-16-be", b"\xfe\xff"),
        ("utf-16-le", b""),
        ("utf-16-be", b""),
        ("cp1252", b""),
        ("cp932", b""),
    ],
)
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_encodings(tmp_path: Path, codec: str, mark: bytes, end: str) -> None:
    """Every encoding and line end gives the same names and readings."""
    name = "温度計" if codec == "cp932" else "Öfen" if codec == "cp1252" else "Öfen 温度"
    unit = "℃" if codec == "cp932" else "°C"
    text = f"Time [s],{name} [{unit}]{end}0,20.5{end}15,21.5{end}"
    path = write(tmp_path, mark + text.encode(codec))
    assert column(path, FROM_START, name) == ([0.0, 15.0], [20.5, 21.5])


@pytest.mark.parametrize(
    ("heading", "name", "unit"),
    [
        ("Kiln top [°C]", "Kiln top", Unit.C),
        ("Kiln (deg F)", "Kiln", Unit.F),
        ("Kiln, °C", "Kiln", Unit.C),
        ("Kiln °F", "Kiln", Unit.F),
        ("kiln_degC", "kiln", Unit.C),
        ("Temp_C", "Temp", Unit.C),
        ("Kiln in Celsius", "Kiln", Unit.C),
        ("Kiln/K [K]", "Kiln/K", Unit.K),
        ("℃", "℃", Unit.C),
    ],
)
def test_unit_in_the_heading(tmp_path: Path, heading: str, name: str, unit: Unit) -> None:
    """A heading gives name and unit, however people write the two."""
    separator = ";" if "," in heading else ","
    path = write(tmp_path, f"Time [s]{separator}{heading}\n0{separator}900.5\n15{separator}901.5\n")
    [taken] = examine(path, FROM_START).columns
    assert (taken.channel, taken.unit) == (name, unit)


def test_cold_junction_and_mould_are_placed_by_name(tmp_path: Path) -> None:
    """A channel's place is guessed from plain names only; the rest stand in the kiln."""
    path = write(
        tmp_path, "Time [s],Cold junction [C],Mould 3 [C],TC4 [C],Room [C]\n0,25.0,1,2,3\n"
    )
    assert [c.role.value for c in examine(path, FROM_START).columns] == [
        *("cold junction", "mould", "kiln", "ambient")
    ]


def test_values_that_cannot_be_temperatures_are_left_out(tmp_path: Path) -> None:
    """A column of tens of thousands is no temperature, whatever its heading says."""
    path = write(tmp_path, "Time [s],T1 [C],T2 [C]\n0,20.5,21375\n15,20.6,21400\n")
    plan = examine(path, FROM_START)
    assert [(s.name, "cannot be temperatures" in s.why) for s in plan.skipped] == [("T2", True)]


def test_blanks_of_a_slow_channel_are_no_missing_readings(tmp_path: Path) -> None:
    """A channel read every tenth row has a tenth of the readings, and nothing missing."""
    rows = [f"{i},{20 + i % 9}.5,{30 if i % 10 == 0 else ''}" for i in range(100)]
    path = write(tmp_path, "Time [s],Fast [C],Slow [C]\n" + "\n".join(rows) + "\n")
    times, values = column(path, FROM_START, "Slow")
    assert times == list(range(0, 100, 10))
    assert values == [30.0] * 10


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("Day;T [C]\n2026-03-01;20,5\n2026-03-01;21,5\n", "dates without a time of day"),
        ("Time [s],T [C]\n0,20.5\n15,21.5\n0,20.5\n15,21.5\n", "starts again"),
    ],
)
def test_doubtful_clocks_are_refused(tmp_path: Path, text: str, says: str) -> None:
    """Dates alone, and an elapsed time that begins twice, are refused rather than stretched."""
    options = ImportOptions(start_us=START, tz=zone_or_offset("Z"))
    assert says in refusal(write(tmp_path, text), options)


def test_time_of_six_digits_beside_a_date(tmp_path: Path) -> None:
    """A compact date and a compact time in two columns are one stamp."""
    path = write(tmp_path, "Day;Time;T [C]\n20260301;080000;20,5\n20260301;080015;21,5\n")
    assert column(path, ImportOptions(tz=zone_or_offset("Z")), "T") == ([0.0, 15.0], [20.5, 21.5])


def test_first_rows_without_numbers_are_rows(tmp_path: Path) -> None:
    """Words in the first rows are missing readings, not part of the heading."""
    path = write(tmp_path, "Time [s],T [C]\n0,warming up\n15,warming up\n30,20.5\n45,21.5\n")
    times, values = column(path, FROM_START, "T")
    assert times == [0.0, 15.0, 30.0, 45.0]
    assert np.isnan(values).tolist() == [True, True, False, False]


def test_blanks_between_thousands(tmp_path: Path) -> None:
    """1 020,5 is a thousand and twenty and a half, with any of the blanks people use."""
    text = "Time [s];A [C];B [C]\n0;1 020,5;10,5\n15;1\u00a0021,5;10,6\n30;1\u202f022,5;10,7\n"
    assert column(write(tmp_path, text), FROM_START, "A")[1] == [1020.5, 1021.5, 1022.5]


def test_open_circuit_shows_on_the_last_line_too(tmp_path: Path) -> None:
    """A last line without a line end is judged with the lines before it."""
    text = "Time [s],A [C]\n" + "\n".join(f"{i},2289.5" for i in range(5))
    part = parts_of(write(tmp_path, text), examine(write(tmp_path, text), FROM_START))["A"][0]
    assert part.quality.tolist() == [Quality.OPEN] * 5


def test_hot_lance_before_a_blank_is_no_spike(tmp_path: Path) -> None:
    """Only an error word after a jump makes the jump a spike: a dip into metal is a real jump."""
    text = (
        "Time [s],A [C],B [C]\n0,20.5,20.5\n1,20.6,20.6\n2,950.5,950.5\n3,,#DIV/0!\n4,960.5,960.5\n"
    )
    path = write(tmp_path, text)
    found = parts_of(path, examine(path, FROM_START))
    assert found["A"][0].quality[2] == Quality.OK
    assert found["B"][0].quality[2] == Quality.SPIKE
