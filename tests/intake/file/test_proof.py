"""What a file must prove before it is believed: its clock, its units, which columns are couples.

The files are invented; what a careful person reads in each is said in the test.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.intake.file.clock.words import names_time, stated_zone, time_unit_us
from firelog.intake.file.logfile import ImportOptions, examine, read, zone_or_offset
from firelog.intake.file.plan import MissingFactsError, ReadPlan
from firelog.readings import Quality
from firelog.units import parse_instant

START = parse_instant("2026-03-01T08:00:00Z")
IN_C = ImportOptions(unit="C", start_us=START, tz=zone_or_offset("UTC"), elapsed_in="s")


def log(folder: Path, *lines: str) -> Path:
    """Write a log and return where."""
    path = folder / "log.csv"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def firing(rows: int, step: int = 30) -> list[tuple[int, float, float]]:
    """Seconds and two temperatures that climb from the room."""
    return [(i * step, 21.0 + 4.0 * i + i % 3, 20.5 + 3.7 * i + i % 2) for i in range(rows)]


def channels(path: Path, options: ImportOptions = IN_C) -> dict[str, list[tuple[float, float]]]:
    """Seconds since START and values of the good readings of each channel."""
    found: dict[str, list[tuple[float, float]]] = {}
    for chunk in read(path, examine(path, options)):
        for part in chunk.parts:
            good = part.quality == Quality.OK
            pairs = zip(((part.t_us - START) / 1e6)[good], part.value[good], strict=True)
            found.setdefault(part.channel, []).extend((float(t), float(v)) for t, v in pairs)
    return found


def plan_of(path: Path, options: ImportOptions = IN_C) -> ReadPlan:
    """Examine a log."""
    return examine(path, options)


@pytest.mark.parametrize(
    ("heading", "seconds"),
    [
        *(("Time (min)", 60), ("t/s", 1), ("time_s", 1), ("Zeit [h]", 3600), ("seconds", 1)),
        *(("Gas (l/min)", 0), ("Duct (m/s)", 0), ("K/min", 0), ("Kiln min", 0), ("Sec. air", 0)),
        *(("Gas total (l at 10 l/min)", 0), ("Hour glass mould", 0)),
    ],
)
def test_only_a_unit_of_time_makes_a_clock(heading: str, seconds: float) -> None:
    """Flows and rates hold "min" and "s" and are no times."""
    assert time_unit_us(heading) == seconds * 1e6


def test_a_capital_t_is_no_time() -> None:
    """In a table of t and T, T is the temperature."""
    assert (names_time("t"), names_time("T")) == (2, 0)


@pytest.mark.parametrize(
    ("heading", "hours"),
    [
        *(("Date Time, GMT-04:00", -4), ("Time (UTC+2)", 2), ("Local time (GMT+5:30)", 5.5)),
        *(("time_utc", 0), ("Time", None)),
    ],
)
def test_the_zone_in_a_heading_is_read(heading: str, hours: float | None) -> None:
    """GMT-04:00 is four hours behind UTC, not UTC."""
    zone = stated_zone(heading)
    offset = zone.utcoffset(None) if zone is not None else None
    assert (None if offset is None else offset.total_seconds() / 3600) == hours


def test_a_flow_left_of_the_time_is_not_the_clock(tmp_path: Path) -> None:
    """A gas flow in l/min stands in the first column; the seconds stand in the second."""
    rows = [f"{25 + i % 4}.1,{t},{v}" for i, (t, v, _) in enumerate(firing(50))]
    path = log(tmp_path, "Gas (l/min),Time (s),Crown (°C)", *rows)
    assert [t for t, _ in channels(path)["Crown"]] == [30.0 * i for i in range(50)]


def test_everything_that_is_missing_is_asked_for_at_once(tmp_path: Path) -> None:
    """Unit, length of a count and beginning are named in one message, with their options."""
    path = log(tmp_path, "t,T1,T2", *(f"{t},{a},{b}" for t, a, b in firing(20)))
    with pytest.raises(MissingFactsError) as caught:
        plan_of(path, ImportOptions())
    assert [flag.split()[0] for flag in caught.value.flags] == ["--unit", "--elapsed-in", "--start"]


def test_columns_go_by_name_or_number(tmp_path: Path) -> None:
    """What the program calls "column 2" it takes, with a heading and without."""
    rows = [f"{t},{a},{b}" for t, a, b in firing(20)]
    for heading in (["Time [s],x,y"], []):
        options = replace(IN_C, only=("column 2",), time=("column 1",))
        plan = plan_of(log(tmp_path, *heading, *rows), options)
        assert [column.index for column in plan.columns] == [1]


def test_with_a_unit_only_temperatures_are_taken(tmp_path: Path) -> None:
    """--unit makes no temperature of a draught or a year; Door behaves like the kiln."""
    rows = [f"{t},{a},{b},{i % 5 - 2},2026" for i, (t, a, b) in enumerate(firing(60))]
    plan = plan_of(log(tmp_path, "Time [s],Door,Kiln,draught x,yyy", *rows))
    assert [column.channel for column in plan.columns] == ["Door", "Kiln"]
    assert {skipped.name for skipped in plan.skipped} == {"draught x", "yyy"}


def test_a_suffix_states_the_unit_and_wins_over_the_option(tmp_path: Path) -> None:
    """Flue_F is in °F whatever --unit says; the C of TC_C beside TC_A and TC_B is a letter."""
    rows = [f"{t},{a},{b}" for t, a, b in firing(20)]
    plan = plan_of(log(tmp_path, "time_s,Kiln,Flue_F", *rows))
    assert [column.unit for column in plan.columns] == ["C", "F"]
    rows = [f"{t},{a},{b},{b}" for t, a, b in firing(20)]
    options = replace(IN_C, unit="F")
    plan = plan_of(log(tmp_path, "time_s,TC_A,TC_B,TC_C", *rows), options)
    assert [column.unit for column in plan.columns] == ["F", "F", "F"]


def test_a_couple_plugged_in_late_is_a_channel(tmp_path: Path) -> None:
    """Nine hundred rows say "no input"; the last hundred are readings."""
    rows = [
        f"{t},{a / 9:.1f},{f'{b / 9:.1f}' if i >= 900 else 'no input'}"
        for i, (t, a, b) in enumerate(firing(1000, 5))
    ]
    found = channels(log(tmp_path, "Time [s],Kiln °C,Core °C", *rows))
    assert len(found["Core"]) == 100


def test_depths_one_under_another_become_channels(tmp_path: Path) -> None:
    """Two depths stand one under another, each from minute 0."""
    rows = [f"{depth},{t},{a}" for depth in (10, 30) for t, a, _ in firing(40)]
    found = channels(log(tmp_path, "Depth (mm),Time (s),Temperature (°C)", *rows))
    assert {name: len(pairs) for name, pairs in found.items()} == {
        "Temperature at 10": 40,
        "Temperature at 30": 40,
    }


def test_rows_before_the_clock_was_set_are_rejected_with_their_lines(tmp_path: Path) -> None:
    """Three rows of 1970, then the night of March 2026."""
    rows = [f"1970-01-01T00:00:0{i}Z,20.{i}" for i in range(3)]
    rows += [f"2026-03-01T08:00:{i:02d}Z,{30 + i}.5" for i in range(40)]
    path = log(tmp_path, "time,kiln (°C)", *rows)
    chunks = list(read(path, examine(path, ImportOptions())))
    assert [r.line for r in chunks[-1].rejected] == [2, 3, 4]
    assert min(int(p.t_us.min()) for c in chunks for p in c.parts) == START


def test_a_heading_one_short_with_row_numbers_is_set_right(tmp_path: Path) -> None:
    """time, kiln, flue above 0, stamp, value, value: the row number has no name."""
    rows = [f"{i},2026-03-01T08:{i:02d}:00Z,{a},{b}" for i, (_, a, b) in enumerate(firing(20))]
    plan = plan_of(log(tmp_path, "time,kiln (°C),flue (°C)", *rows))
    assert [(column.index, column.channel) for column in plan.columns] == [(2, "kiln"), (3, "flue")]


def test_numbers_of_many_digits_are_numbers(tmp_path: Path) -> None:
    """What numpy.savetxt writes by default, 18 digits after the point, is read to the last bit."""
    table = np.array([(t, a, b) for t, a, b in firing(20)]) + 0.123456789
    path = tmp_path / "log.txt"
    np.savetxt(path, table, header="time [s] T1 [C] T2 [C]")
    assert [v for _, v in channels(path)["column 2"]] == table[:, 1].tolist()


def test_a_value_missing_in_fixed_places_is_not_that_of_its_neighbour(tmp_path: Path) -> None:
    """In columns of fixed width a hole stays a hole."""
    rows = [f"{t:8d}{a:10.1f}{b:10.1f}" for t, a, b in firing(30)]
    rows[10] = f"{300:8d}{'':10}{57.5:10.1f}"
    found = channels(log(tmp_path, " Time(s)   TC_A(C)   TC_B(C)", *rows))
    assert (len(found["TC_A"]), len(found["TC_B"])) == (29, 30)
    assert (300.0, 57.5) in found["TC_B"]


def test_two_tables_in_one_file_are_refused(tmp_path: Path) -> None:
    """A second table of another couple is not taken for the first one's."""
    rows = [f"{t},{a},{b}" for t, a, b in firing(30)]
    second = [f"{t},{a}" for t, a, _ in firing(30)]
    path = log(tmp_path, "Time (s),Upper (°C),Lower (°C)", *rows, "", "Time (s),Core (°C)", *second)
    with pytest.raises(InputError, match="line 33: a new heading"):
        channels(path)


def test_dates_with_dots_and_the_year_first(tmp_path: Path) -> None:
    """26.03.29 to 26.04.01 is a run of four days only with the year first."""
    days = ["26.03.29", "26.03.30", "26.03.31", "26.04.01"]
    rows = [f"{day},{hour:02d}:00:00,{20 + hour}.5" for day in days for hour in range(24)]
    path = log(tmp_path, "Date,Time,Kiln (°C)", *rows)
    plan = plan_of(path)
    assert plan.clocks[0].order == "ymd"
