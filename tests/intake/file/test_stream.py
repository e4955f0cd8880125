"""Long, damaged and interrupted files: bounded memory, whole blocks or nothing, nothing twice."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import textwrap
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import InputError
from firelog.intake.file import block_buffer, importing, lines
from firelog.intake.file.logfile import Chunk, ImportOptions, examine, read
from firelog.record import imports
from firelog.record.blocks import MAX_COUNT
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.intake.file.bringing import store_file

START = parse_instant("2026-03-01T08:00:00Z")
WISHES = ImportOptions(start_us=START)
HEADING = b"Time [s],A [C],B [C]\n"


def rows(count: int, first: int = 0) -> bytes:
    """Return rows of a log, one a second."""
    return b"".join(
        b"%d,%d.%d,%d.5\n" % (i, 20 + i % 800, i % 10, 30 + i % 700)
        for i in range(first, first + count)
    )


def chunks(path: Path) -> list[Chunk]:
    """Read a file to its end."""
    return list(read(path, examine(path, WISHES)))


def test_endless_line_is_one_rejected_line(tmp_path: Path) -> None:
    """Megabytes without a line end are one rejected line; what comes before and after is read."""
    path = tmp_path / "log.csv"
    path.write_bytes(HEADING + rows(50) + b"7" * 5_000_000 + b"\n" + rows(50, 60))
    found = chunks(path)
    assert sum(chunk.rows for chunk in found) == 100
    assert [(r.line, "endless" in r.why) for r in found[-1].rejected] == [(52, True)]


def test_file_of_one_endless_line_is_refused(tmp_path: Path) -> None:
    """A file without any line end is no log, and is not read into memory to say so."""
    path = tmp_path / "log.csv"
    path.write_bytes(b"1,2," * 2_000_000)
    with pytest.raises(InputError, match="no line end"):
        chunks(path)


def test_thousands_of_columns_are_examined_in_bounded_time(tmp_path: Path) -> None:
    """A table of very many columns is examined by few of its rows; of absurdly many, refused."""
    path = tmp_path / "log.csv"
    for width, channels in ((1500, 1500), (9000, 0)):
        names = b"Time [s]," + b",".join(b"T%d [C]" % i for i in range(width))
        row = b"," + b",".join(b"%d.5" % (20 + i % 9) for i in range(width))
        path.write_bytes(names + b"\n" + b"".join(b"%d%s\n" % (i, row) for i in range(60)))
        if channels:
            assert len(examine(path, WISHES).columns) == channels
        else:
            with pytest.raises(InputError, match="9001 columns"):
                examine(path, WISHES)


def test_nul_bytes_after_a_power_cut(tmp_path: Path) -> None:
    """A tail of NULs costs one line, and a stretch of them in the middle costs its own line."""
    path = tmp_path / "log.csv"
    path.write_bytes(HEADING + rows(40) + b"\0" * 9000 + b"\n" + rows(40, 50) + b"\0" * 70_000)
    found = chunks(path)
    assert sum(chunk.rows for chunk in found) == 80
    assert [r.line for r in found[-1].rejected] == [42, 83]


def test_size_of_the_pieces_does_not_matter(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Line ends, characters and rows cut anywhere by reading in pieces come out the same."""
    path = tmp_path / "log.csv"
    text = "Zeit;Öfen [°C]\r\n" + "".join(
        f"2026-03-01T08:00:{i:02d}Z;{20 + i},5\r\n" for i in range(60)
    )
    for codec in ("utf-8", "utf-16", "cp1252"):
        path.write_bytes(text.encode(codec))
        for size in (1, 2, 3, 7, 64, 1000):
            pieces = list(lines.pieces(path, lines.head(path)[1], size))
            assert b"".join(p.data for p in pieces) == text.replace("\r\n", "\n").encode()
            assert [p.line for p in pieces] == np.cumsum(
                [1, *(p.data.count(b"\n") for p in pieces[:-1])]
            ).tolist()


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="needs Linux's /proc")
def test_memory_does_not_grow_with_the_file(tmp_path: Path) -> None:
    """Ten times the file takes no more than a quarter more memory."""
    program = textwrap.dedent("""
        import sys
        from pathlib import Path
        from firelog.intake.file.logfile import ImportOptions, examine, read
        path = Path(sys.argv[1])
        plan = examine(path, ImportOptions(start_us=0))
        total = sum(len(p.t_us) for c in read(path, plan) for p in c.parts)
        # The peak of this process alone; getrusage would pass on that of its parent.
        peak = Path("/proc/self/status").read_text().split("VmHWM:")[1].split()[0]
        print(total, peak)
    """)
    peaks = []
    for count in (150_000, 1_500_000):
        path = tmp_path / f"{count}.csv"
        path.write_bytes(HEADING + rows(count))
        done = subprocess.run(
            [sys.executable, "-c", program, str(path)], capture_output=True, text=True, check=True
        )
        total, peak = map(int, done.stdout.split())
        assert total == 2 * count
        peaks.append(peak)
    assert peaks[1] < 1.25 * peaks[0]


@pytest.mark.parametrize("how", [signal.SIGINT, signal.SIGKILL])
def test_interrupted_import_is_started_again(
    store_path: Path, tmp_path: Path, how: signal.Signals
) -> None:
    """Ctrl-C leaves nothing, a kill whole blocks; importing again brings all, once."""
    count = 30 * MAX_COUNT
    path = tmp_path / "log.csv"
    path.write_bytes(HEADING + rows(count))
    program = textwrap.dedent("""
        import os, signal, sys
        signal.signal(signal.SIGINT, signal.default_int_handler)  # a parent may ignore it
        from pathlib import Path
        from firelog.intake.file import block_buffer, importing
        from firelog.intake.file.logfile import ImportOptions
        from firelog.record.store import Store
        from tests.intake.file.bringing import store_file
        block_buffer.MOST_READINGS = 100_000
        [plan] = importing.examine([Path(sys.argv[1])], ImportOptions(start_us=int(sys.argv[3])))
        def interrupt(at):
            if at > plan.size // 2:
                os.kill(os.getpid(), int(sys.argv[4]))
        with Store.open(sys.argv[2], write=True) as store:
            store_file(store, plan, "kiln", progress=interrupt)
    """)
    done = subprocess.run(
        [sys.executable, "-c", program, str(path), str(store_path), str(START), str(int(how))],
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode in (-how, 128 + how, 1), done.stderr
    with Store.open(store_path) as store:
        counts = [r[0] for r in store.connection.execute("select count from blocks").fetchall()]
    if how is signal.SIGINT:
        assert counts == []
    else:
        assert set(counts) == {MAX_COUNT}
        assert sum(counts) < 2 * count
    [plan] = importing.examine([path], WISHES)
    with Store.open(store_path, write=True) as store:
        report = store_file(store, plan, "kiln")
        trace = store.readings(store.channel("kiln", "A").id)
        [kept] = imports.imports(store)
    assert (report.readings, report.duplicates) == (2 * count, 0)
    assert kept.readings == 2 * count
    np.testing.assert_array_equal(trace.t_us, START + 1_000_000 * np.arange(count))


def test_unreadable_further_down_leaves_nothing(
    store_path: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A file that changes its columns half-way is refused, naming the line; none of it stays."""
    monkeypatch.setattr(block_buffer, "MOST_READINGS", 10_000)
    path = tmp_path / "log.csv"
    many = 400_000
    path.write_bytes(HEADING + rows(many) + b"Time [s],B [C],A [C]\n" + rows(10, many))
    [plan] = importing.examine([path], WISHES)
    with (
        Store.open(store_path, write=True) as store,
        pytest.raises(InputError, match=rf"line {many + 2}: a new heading"),
    ):
        store_file(store, plan, "kiln")
    with Store.open(store_path) as store:
        assert imports.imports(store) == []
        assert [store.reading_span(one.id) for one in store.channels()] == [None, None]


def test_hundred_files_by_pattern(store_path: Path, tmp_path: Path) -> None:
    """A hundred files named by one pattern go in together, and again without doubles."""
    for number in range(100):
        (tmp_path / f"part{number:03d}.csv").write_bytes(HEADING + rows(70, 70 * number))
    paths = importing.expand([str(tmp_path / "part*.csv")])
    plans = importing.examine(paths, WISHES)
    with Store.open(store_path, write=True) as store:
        first = [store_file(store, plan, "kiln") for plan in plans]
        again = [store_file(store, plan, "kiln") for plan in plans]
    assert sum(report.readings for report in first) == 100 * 70 * 2
    assert sum(report.readings for report in again) == 0


def test_progress_reaches_the_end(tmp_path: Path) -> None:
    """Progress rises in bytes of the file, up to its size."""
    path = tmp_path / "log.csv"
    path.write_bytes(HEADING + rows(200_000))
    seen: list[int] = []
    importing.rehearse(examine(path, WISHES), seen.append)
    assert seen == sorted(seen)
    assert len(seen) > 1
    assert seen[-1] == os.path.getsize(path)  # noqa: PTH202
