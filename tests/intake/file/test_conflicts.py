"""A file that contradicts the record is refused; nights of a clock that restarts stay apart.

The truth is always the file alone in an empty store.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.file import importing, store_files
from firelog.intake.file.account import FileReport
from firelog.intake.file.importing import Wanted
from firelog.intake.file.instants import SameInstant
from firelog.intake.file.logfile import ImportOptions
from firelog.intake.file.refused import ConflictError
from firelog.judge import measured, recorded
from firelog.judge.firing import answer, assess
from firelog.readings import Quality, Unit
from firelog.record import imports
from firelog.record.store import Store
from firelog.schedule.checks.judge import followed, judge_followed
from firelog.schedule.plan.reader import read_schedule
from tests.intake.file.bringing import store_file

RESET = 946_684_800_000_000  # 2000-01-01T00:00:00Z, where many a clock begins anew
NOW = 1_780_000_000_000_000
SCHEDULE = """
title = "Shell"
unit = "C"
[[segment]]
name = "up"
to = 860
[[require]]
name = "hot"
kind = "soak"
channels = "kiln"
at_least = 800
lasting = "10 min"
"""


HEAD = "Time [s],top [C]\n"


def night(
    folder: Path, name: str, values: list[float], *, first_s: int = 0, step_s: int = 60,
    column: str = "top",
) -> Path:  # fmt: skip
    """Write a night of a logger whose clock began anew, and return where."""
    path = folder / f"{name}.csv"
    rows = [f"{first_s + i * step_s},{value}" for i, value in enumerate(values)]
    path.write_text(f"Time [s],{column} [C]\n" + "\n".join(rows) + "\n")
    return path


def bring(store: Store, path: Path, **kw: object) -> list[FileReport]:
    """Import one file with a firing of its name."""
    plan = folder_schedule(path.parent)
    [examined] = importing.examine([path], ImportOptions(start_us=RESET))
    return store_files.bring_in(
        store, [examined], "kiln", now_us=NOW, firing=path.stem, schedule=plan, **kw
    )  # type: ignore[arg-type]


def folder_schedule(folder: Path):
    """Return the schedule of these tests."""
    path = folder / "schedule.toml"
    if not path.exists():
        path.write_text(SCHEDULE)
    return read_schedule(path)


def judged(store: Store, name: str) -> dict[str, object]:
    """Return all that the verdict of a firing says."""
    return answer(assess(store, store.firing(name)))


def seen(store: Store, name: str) -> dict[str, object]:
    """Return what a firing stands on, and the verdict on that and nothing else.

    Which other thermocouples the kiln has, and how it fired before, is no matter of one file.
    """
    firing = store.firing(name)
    schedule = recorded.schedule_of(store, firing)
    assert schedule is not None
    traces = [
        measured.corrected(
            channel,
            recorded.measurement_chain(store, channel),
            store.firing_readings(firing, channel.id),
            firing.began_us,
        )
        for channel in store.firing_channels(firing)
    ]
    assert firing.ended_us is not None
    end_s = (firing.ended_us - firing.began_us) / 1e6
    judgement = judge_followed(
        followed(schedule, traces, end_s=end_s, running=False, end_noted=False)
    )
    readings = {one.name: (one.t_s.tolist(), one.temp_c.tolist()) for one in traces}
    return {"readings": readings, "verdict": judgement.verdict, "checks": judgement.checks}


def alone(path: Path, **kw: object) -> dict[str, object]:
    """Return what is seen of a file alone in an empty store."""
    with Store.open(path.with_suffix(".alone.firelog"), write=True) as store:
        if not store.firings():
            bring(store, path, **kw)
        return seen(store, path.stem)


def curve(top: float, count: int, rate: float) -> list[float]:
    """Return a rise to ``top`` [°C], alive to its last digit."""
    return [round(min(20 + i * rate, top) + i % 3 / 10, 1) for i in range(count)]


def test_second_night_of_a_resetting_clock_is_refused(tmp_path: Path) -> None:
    """Night two at the instants of night one: refused, naming instant, values, ways out."""
    one, two = (night(tmp_path, n, curve(t, 200, 6)) for n, t in (("one", 900), ("two", 590)))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        bring(store, one)
        with pytest.raises(ConflictError) as refused:
            bring(store, two)
        words = str(refused.value)
        for piece in ("'top'", "2000-01-01T01:36:00Z", "590 °C", "596 °C", "import 1 (one.csv)"):
            assert piece in words
        for piece in ("--began-at", "withdraw 1", "--kiln", "--channel", "103 more"):
            assert piece in words
        assert refused.value.reports[0].conflicts == 104
        assert [firing.name for firing in store.firings()] == ["one"]
        assert [one.file for one in imports.imports(store)] == ["one.csv"]
        bring(store, two, wanted=Wanted(began_at_us=NOW - 40_000_000_000))
        assert judged(store, "one")["verdict"] == "pass"
        assert judged(store, "two")["verdict"] != "pass"
        assert imports.get(store, 3).shift_us == NOW - 40_000_000_000 - RESET


@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(data=st.data())
def test_a_firing_stands_on_its_own_file(tmp_path_factory, data: st.DataObject) -> None:
    """Nights in any order and overlap: each accepted firing is judged as its file alone."""
    folder = tmp_path_factory.mktemp("nights")
    nights = []
    for number in range(data.draw(st.integers(2, 3))):
        step_s = data.draw(st.sampled_from([30, 60, 120]))
        first_s = data.draw(st.sampled_from([0, 0, 30, 60, 600, 1800]))
        count = data.draw(st.integers(3, 60))
        top, rate = data.draw(st.sampled_from([(20, 0), (590, 30), (900, 30), (900, 60)]))
        values = curve(top, count, rate * step_s / 60)
        column = data.draw(st.sampled_from(["top", "top", "bottom"]))
        nights.append(
            night(folder, f"n{number}", values, first_s=first_s, step_s=step_s, column=column)
        )
    accepted = []
    with Store.open(folder / "s.firelog", write=True) as store:
        for path in nights:
            shift = data.draw(st.sampled_from([None, None, NOW - 50_000_000_000]))
            wanted = Wanted(began_at_us=shift)
            try:
                bring(store, path, wanted=wanted, insist=True)
            except InputError:
                assert path.stem not in [firing.name for firing in store.firings()]
            else:
                accepted.append((path, wanted))
        for path, wanted in accepted:
            assert seen(store, path.stem) == alone(path, wanted=wanted)
    assert nights[0] in [path for path, _ in accepted]


def test_readings_between_others_are_no_record(tmp_path: Path) -> None:
    """Two nights whose instants never meet but lie between one another are not mixed."""
    one = night(tmp_path, "one", curve(900, 100, 6))
    two = night(tmp_path, "two", curve(590, 100, 6), first_s=30)
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        bring(store, one)
        with pytest.raises(ConflictError, match="in the middle of those of import 1"):
            bring(store, two)
        assert len(store.readings(1)) == 100


def test_another_logger_of_the_kiln_is_not_taken_into_the_firing(tmp_path: Path) -> None:
    """Another channel at the same instants, of another night, is no part of the firing."""
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        bring(store, night(tmp_path, "one", curve(900, 60, 20)))
        bring(store, night(tmp_path, "two", curve(590, 60, 20), column="bottom"), insist=True)
        names = {f.name: [c.name for c in store.firing_channels(f)] for f in store.firings()}
        assert names == {"one": ["top"], "two": ["bottom"]}


def test_a_longer_download_adds_what_is_new(tmp_path: Path) -> None:
    """A logger read out again with more in it: equal readings are duplicates, the rest is new."""
    short, long = (night(tmp_path, n, curve(900, c, 20)) for n, c in (("a", 40), ("b", 60)))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        bring(store, short)
        [report] = bring(store, long, insist=True)
        assert (report.readings, report.duplicates, report.conflicts) == (20, 40, 0)
        assert seen(store, "b") == alone(long)


def test_a_wrong_unit_can_be_put_right(tmp_path: Path) -> None:
    """Imported as °C what was °F: refused again as °F, withdrawn, imported, judged anew."""
    path = tmp_path / "night.csv"
    path.write_text("Time [s],top\n" + "\n".join(f"{i * 60},{20 + i * 20}" for i in range(60)))
    wrong, right = (ImportOptions(start_us=RESET, unit=unit) for unit in ("C", "F"))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        for options in (wrong, right):
            call = {"now_us": NOW, "firing": "night", "schedule": folder_schedule(tmp_path)}
            plans = importing.examine([path], options)
            if options is right:
                with pytest.raises(ConflictError, match="withdraw 1"):
                    store_files.bring_in(store, plans, "kiln", **call)
                gone = imports.withdraw(store, 1, who="Ines", why="it was °F", now_us=NOW)
                assert [one.name for one in gone.firings] == ["night"]
                assert store.firing_channels(store.firing("night")) == []
            store_files.bring_in(store, plans, "kiln", **call)
        assert judged(store, "night")["verdict"] != "pass"
        kept = store.verdict(store.firing("night"))
        assert kept is not None
        assert kept.verdict != "pass"
        assert [one.withdrawn is not None for one in imports.imports(store)] == [True, False]


def test_a_file_that_contradicts_itself_names_every_line(tmp_path: Path) -> None:
    """Two values at one instant: refused with both lines, unless the person says which counts."""
    path = tmp_path / "night.csv"
    path.write_text(HEAD + "0,20\n60,21\n120,22\n60,25\n120,22\n180,23\n240,24\n180,29\n")
    plans = importing.examine([path], ImportOptions(start_us=RESET))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        with pytest.raises(ConflictError, match=r"lines 3 and 5 say 21 °C and 25 °C.*7 and 9"):
            store_files.bring_in(store, plans, "kiln", now_us=NOW)
        assert store.reading_span(1) is None
        for keep, values in (
            ("first", [20, 21, 22, 23, 24]),
            ("last", [20, 25, 22, 29, 24]),
        ):
            wanted = Wanted(same_instant=SameInstant(keep))
            store_files.bring_in(store, plans, f"kiln {keep}", now_us=NOW, wanted=wanted)
            channel = store.channel(f"kiln {keep}", "top")
            assert store.readings(channel.id).value.tolist() == values


def test_what_was_heard_live_is_not_mixed_with_the_loggers_memory(tmp_path: Path) -> None:
    """A couple heard twice: the second record is refused, and taken as a channel of its own."""
    path = night(tmp_path, "memory", curve(900, 30, 20))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        run = imports.begin(store, imports.COLLECTOR, now_us=NOW)
        channel = store.ensure_channel("kiln", "top")
        for second in range(7, 1200, 10):
            entry = (channel.id, 20.0 + second / 3, Unit.C, Quality.OK)
            store.add_scan(RESET + second * 1_000_000, [entry], run)
        ways = r'collector.*--beside.*--channel "top \[C\]=top 2"'
        with pytest.raises(ConflictError, match=ways):
            bring(store, path)
        options = ImportOptions(start_us=RESET, channels={"top [C]": "top 2"})
        store_files.bring_in(store, importing.examine([path], options), "kiln", now_us=NOW)
        assert [c.name for c in store.channels()] == ["top", "top 2"]


def test_equal_values_in_another_unit_are_duplicates(tmp_path: Path) -> None:
    """The same night exported in °F says the same; nothing is stored twice."""
    in_c = tmp_path / "c.csv"
    in_f = tmp_path / "f.csv"
    in_c.write_text("Time [s],top [C]\n" + "\n".join(f"{i},{20 + 5 * i}" for i in range(80)))
    in_f.write_text("Time [s],top [F]\n" + "\n".join(f"{i},{68 + 9 * i}" for i in range(80)))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        reports = [
            store_file(store, plan, "kiln")
            for plan in importing.examine([in_c, in_f], ImportOptions(start_us=RESET))
        ]
        assert [(r.readings, r.duplicates, r.conflicts) for r in reports] == [
            (80, 0, 0),
            (0, 80, 0),
        ]
        assert math.isclose(float(np.max(store.readings(1).value)), 415.0)


def test_the_store_is_not_imported_into_itself(tmp_path: Path) -> None:
    """Naming the store as a file to import is refused before it is opened as a file."""
    path = tmp_path / "s.firelog"
    with Store.open(path, write=True) as store, pytest.raises(InputError, match="store itself"):
        importing.refuse_the_store(store, path)
