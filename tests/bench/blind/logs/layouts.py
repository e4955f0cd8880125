"""Files whose difficulty is the layout: long or two tables, preambles, encodings, ragged rows."""

import numpy as np
from curves import firing, follow, share, weather
from truth import BEGAN, START, Case, cells, channel, printed, since, stamps, table, utc

ISO = "%Y-%m-%dT%H:%M:%SZ"


def one_sensor_a_row():
    n = 60
    runs = {"low": firing(n, 700, 1), "mid": firing(n, 740, 2), "high": firing(n, 790, 3)}
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 9))
    texts = {k: cells(v) for k, v in runs.items()}
    rows = [(s, k, texts[k][i]) for i, s in enumerate(stamps(times, ISO)) for k in runs]
    return Case(
        "one_sensor_a_row.csv",
        table(["time", "sensor", "temperature_C"], rows).encode(),
        "Three sensors share each instant: the column sensor tells them apart.",
        tuple(channel(k, times, printed(v)) for k, v in runs.items()),
        outcome="ask or import",
    )


def depths_one_under_another():
    n, depths = 70, (10, 25, 50)
    times = since(np.arange(n) * 60)
    runs = {d: follow(n, (0, 20), (1, 700 - 9 * d), noise=0.2, seed=d) for d in depths}
    rows = [(d, i, c) for d in depths for i, c in enumerate(cells(runs[d]))]
    return Case(
        "depths_one_under_another.csv",
        table(["Depth (mm)", "Time (min)", "Temperature (°C)"], rows).encode(),
        "Three depths stand one under another, each from minute 0: three channels.",
        tuple(channel(str(d), times, printed(v)) for d, v in runs.items()),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def quantities_one_under_another():
    n = 80
    times = since(np.arange(n) * 600, utc(2026, 4, 1))
    air, humid, press = weather(n, 144), share(n, 40, 90, 2), share(n, 1002, 1015, 3)
    rows = []
    for i, s in enumerate(stamps(times, ISO)):
        rows.append((s, "air_temp", cells(air)[i], "C"))
        rows.append((s, "humidity", cells(humid)[i], "%"))
        rows.append((s, "pressure", cells(press)[i], "hPa"))
    return Case(
        "quantities_one_under_another.csv",
        table(["time", "variable", "value", "unit"], rows).encode(),
        "Temperature, humidity and pressure share one column; each row says which it is.",
        (channel("air_temp", times, printed(air)),),
        outcome="ask or import",
    )


def two_clocks_side_by_side():
    n, m = 120, 60
    kiln, core = firing(n, 870, 4), firing(m, 820, 5)
    fast, slow = since(np.arange(n) * 30), since(np.arange(m) * 60)
    left = list(zip(range(0, n * 30, 30), cells(kiln), strict=True))
    right = [*zip(range(m), cells(core), strict=True), *[("", "")] * (n - m)]
    rows = [(*a, "", *b) for a, b in zip(left, right, strict=True)]
    return Case(
        "two_clocks_side_by_side.csv",
        table(["Time (s)", "Kiln (°C)", "", "Time (min)", "Core (°C)"], rows).encode(),
        "Two tables side by side, one counting seconds, the other minutes.",
        (channel("Kiln", fast, printed(kiln)), channel("Core", slow, printed(core))),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def two_tables_stacked():
    n, m = 90, 45
    up, low, core = firing(n, 640, 6), firing(n, 620, 7), firing(m, 560, 8)
    one = table(
        ["Time (s)", "Upper (°C)", "Lower (°C)"],
        zip(range(0, n * 20, 20), cells(up), cells(low), strict=True),
    )
    two = table(["Time (s)", "Core (°C)"], zip(range(0, m * 40, 40), cells(core), strict=True))
    times, slow = since(np.arange(n) * 20), since(np.arange(m) * 40)
    return Case(
        "two_tables_stacked.csv",
        (one + "\n" + two).encode(),
        "A second table with its own heading follows after a blank line.",
        (
            channel("Upper", times, printed(up)),
            channel("Lower", times, printed(low)),
            channel("Core", slow, printed(core)),
        ),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def heading_repeated():
    n = 180
    a, b = firing(n, 905, 9), firing(n, 866, 10)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    head = ["Time", "Kiln °C", "Flue °C"]
    rows = list(zip(stamps(times, ISO), cells(a), cells(b), strict=True))
    pages = [[head, *rows[i : i + 50]] for i in range(0, n, 50)]
    return Case(
        "heading_repeated.csv",
        table(None, [row for page in pages for row in page]).encode(),
        "A heading stands at the top of each page of fifty rows.",
        (channel("Kiln", times, printed(a)), channel("Flue", times, printed(b))),
    )


def preamble_and_summary():
    n = 150
    a, b = firing(n, 880, 11), firing(n, 851, 12)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    text = (
        'Report:,Kiln run 118\nOperator:,"Marsh, I."\nRange:,0,1300\nInterval (s):,60\n'
        "Channels:,2\nClock:,UTC\n\n"
    )
    body = table(
        ["Date", "Time", "Kiln (°C)", "Core (°C)"],
        zip(stamps(times, "%Y-%m-%d"), stamps(times, "%H:%M:%S"), cells(a), cells(b), strict=True),
    )
    tail = f"Maximum,,{max(printed(a))},{max(printed(b))}\nMinimum,,{min(printed(a))},"
    tail += f"{min(printed(b))}\nAverage,,431.2,418.8\nEnd of data\n"
    return Case(
        "preamble_and_summary.csv",
        (text + body + tail).encode(),
        "Six lines above (the clock is UTC) and a summary below that is no reading.",
        (channel("Kiln", times, printed(a)), channel("Core", times, printed(b))),
        options={"tz": "UTC"},
    )


def utf16_tabs():
    n = 100
    a = firing(n, 460, 13)
    times = since(np.arange(n) * 30, utc(2026, 3, 14, 18))
    rows = zip(stamps(times, ISO), cells(a), cells(share(n, 0, 9, 1)), strict=True)
    head = ["Zeitpunkt", "Öl (°C)", "Druck (bar)"]
    return Case(
        "utf16_tabs.txt",
        table(head, rows, "\t", "\r\n").encode("utf-16"),
        "Unicode text as a spreadsheet saves it: two bytes a letter, tabs.",
        (channel("Öl", times, printed(a)),),
    )


def old_mac_line_ends():
    n = 90
    a = firing(n, 530, 14)
    times = since(np.arange(n) * 60)
    return Case(
        "old_mac_line_ends.txt",
        table(["Time (min)", "Oven (°C)"], zip(range(n), cells(a), strict=True), "\t", "\r")
        .encode("mac-roman"),
        "Carriage returns alone end the lines; ° is the byte A1 of an old Macintosh.",
        (channel("Oven", times, printed(a)),),
        options={"start": BEGAN, "unit": "C"},
    )  # fmt: skip


def all_quoted_with_trailing_commas():
    n = 110
    a, b = firing(n, 1005, 15), firing(n, 970, 16)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    rows = [
        [f'"{v}"' for v in row] + [""]
        for row in zip(stamps(times, ISO), cells(a), cells(b), strict=True)
    ]
    return Case(
        "all_quoted_with_trailing_commas.csv",
        table(['"Time"', '"Kiln (°C)"', '"Arch (°C)"', ""], rows, ",", "\r\n").encode(),
        "Every cell is quoted and every line ends in a comma.",
        (channel("Kiln", times, printed(a)), channel("Arch", times, printed(b))),
    )


def pipes():
    n = 80
    a, b = firing(n, 610, 17), firing(n, 590, 18)
    times = since(np.arange(n) * 60)
    rows = ([f"{i:5d} ", f" {x:>7} ", f" {y:>7} "] for i, (x, y) in enumerate(
        zip(cells(a), cells(b), strict=True)))  # fmt: skip
    return Case(
        "pipes.txt",
        table([" min ", " In (°C) ", " Out (°C) "], rows, "|").encode(),
        "Cells parted by strokes and padded by blanks; the clock's heading is min.",
        (channel("In", times, printed(a)), channel("Out", times, printed(b))),
        options={"start": BEGAN, "elapsed_in": "min"},
    )


def fixed_width():
    n = 100
    a, b = firing(n, 830, 19), firing(n, 799, 20)
    times = since(np.arange(n) * 15)
    lines = [
        f"{15 * i:8d}{x:>10}{y:>10}"
        for i, (x, y) in enumerate(zip(cells(a), cells(b), strict=True))
    ]
    head = f"{'Time(s)':>8}{'TC_A(C)':>10}{'TC_B(C)':>10}"
    return Case(
        "fixed_width.txt",
        ("\n".join([head, *lines]) + "\n").encode(),
        "Columns of fixed width, parted by blanks.",
        (channel("TC_A", times, printed(a)), channel("TC_B", times, printed(b))),
        options={"start": BEGAN},
    )


def fixed_width_with_holes():
    n, hole = 90, range(30, 45)
    a, b = firing(n, 830, 21), firing(n, 799, 22)
    times = since(np.arange(n) * 15)
    left = ["" if i in hole else c for i, c in enumerate(cells(a))]
    lines = [
        f"{15 * i:8d}{x:>10}{y:>10}" for i, (x, y) in enumerate(zip(left, cells(b), strict=True))
    ]
    head = f"{'Time(s)':>8}{'TC_A(C)':>10}{'TC_B(C)':>10}"
    good = [None if i in hole else v for i, v in enumerate(printed(a))]
    return Case(
        "fixed_width_with_holes.txt",
        ("\n".join([head, *lines]) + "\n").encode(),
        "TC_A is blank for fifteen rows: TC_B must not slide into its place.",
        (channel("TC_A", times, good), channel("TC_B", times, printed(b))),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def comments_between_rows():
    n = 120
    a = firing(n, 920, 23)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    rows = [f"{s},{c}" for s, c in zip(stamps(times, ISO), cells(a), strict=True)]
    rows.insert(40, "# 18:40 door opened, 870 on the dial")
    rows.insert(90, "# burner 2 lit")
    return Case(
        "comments_between_rows.csv",
        ("# kiln run 44\ntime,kiln (°C)\n" + "\n".join(rows) + "\n").encode(),
        "Lines that begin with # are notes; the rows around them count.",
        (channel("kiln", times, printed(a)),),
    )


def no_heading_at_all():
    n = 120
    runs = [firing(n, 800 + 30 * i, 24 + i) for i in range(3)]
    zone = "Europe/Lisbon"
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18, zone=zone))
    rows = zip(stamps(times, "%Y-%m-%d %H:%M:%S", zone), *map(cells, runs), strict=True)
    return Case(
        "no_heading_at_all.csv",
        table(None, rows).encode(),
        "No heading: the person says °C and the zone, the first row is a reading too.",
        tuple(
            channel(f"column {i + 2}", times, printed(run), called=("*",))
            for i, run in enumerate(runs)
        ),
        options={"tz": zone, "unit": "C"},
    )


def heading_one_short():
    n = 100
    a, b = firing(n, 880, 27), firing(n, 430, 28)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    rows = zip(range(n), stamps(times, ISO), cells(a), cells(b), strict=True)
    return Case(
        "heading_one_short.csv",
        table(["time", "kiln (°C)", "flue (°C)"], rows).encode(),
        "The row number has no heading: the names must not slide by one column.",
        (channel("kiln", times, printed(a)), channel("flue", times, printed(b))),
        outcome="ask or import",
    )


def ragged_rows():
    n = 130
    a, b = firing(n, 870, 29), firing(n, 850, 30)
    good = printed(b)
    times = since(np.arange(n) * 60)
    rows = [[str(i), x, y] for i, (x, y) in enumerate(zip(cells(a), cells(b), strict=True))]
    for i in (20, 55, 129):
        rows[i], good[i] = rows[i][:2], None
    rows[70] += ["", ""]
    return Case(
        "ragged_rows.csv",
        table(["Time (min)", "Kiln (°C)", "Core (°C)"], rows).encode(),
        "Some rows end early, one has commas too many; what stands in its place counts.",
        (channel("Kiln", times, printed(a)), channel("Core", times, good)),
        options={"start": BEGAN},
    )


def three_heading_rows():
    n = 120
    a, b, f = firing(n, 770, 31), firing(n, 750, 32), share(n, 3, 5, 1)
    times = since(np.arange(n) * 5)
    head = [
        ["Time", "Thermocouple", "Thermocouple", "Flow"],
        ["", "inlet", "outlet", "burner"],
        ["[s]", "[°C]", "[°C]", "[m3/h]"],
    ]
    rows = zip(range(0, n * 5, 5), cells(a), cells(b), cells(f, 2), strict=True)
    return Case(
        "three_heading_rows.csv",
        table(head, rows).encode(),
        "Quantity, place and unit stand in three rows.",
        (
            channel("inlet", times, printed(a), called=("Thermocouple",)),
            channel("outlet", times, printed(b), called=("Thermocouple",)),
        ),
        options={"start": BEGAN},
    )


def sensors_as_rows():
    n = 40
    runs = {f"Shelf {i}": firing(n, 600 + 20 * i, 33 + i) for i in range(1, 31)}
    times = since(np.arange(n) * 300)
    rows = [[f"{name} (°C)", *cells(run)] for name, run in runs.items()]
    return Case(
        "sensors_as_rows.csv",
        table(["Time (min)", *range(0, n * 5, 5)], rows).encode(),
        "The table lies on its side: each row is a couple. Asking is right too.",
        tuple(channel(k, times, printed(v)) for k, v in runs.items()),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def empty_columns_and_lines():
    n = 100
    a, b = firing(n, 880, 40), firing(n, 840, 41)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 18))
    rows = [
        (s, "", x, "", y) for s, x, y in zip(stamps(times, ISO), cells(a), cells(b), strict=True)
    ]
    text = table(["time", "", "kiln (°C)", "spare (°C)", "core (°C)"], rows)
    lines = text.split("\n")
    lines.insert(51, "")
    lines.insert(52, ",,,,")
    return Case(
        "empty_columns_and_lines.csv",
        ("\n".join(lines) + "\n\n,,,,\n").encode(),
        "An unnamed and a named empty column, blank lines in the middle and at the end.",
        (channel("kiln", times, printed(a)), channel("core", times, printed(b))),
    )


def rows_newest_first():
    n = 144
    a = firing(n, 780, 42)
    times = since(np.arange(n) * 300, utc(2026, 3, 14, 9))
    rows = list(zip(stamps(times, ISO), cells(a), strict=True))
    return Case(
        "rows_newest_first.csv",
        table(["Time", "Kiln (°C)"], rows[::-1]).encode(),
        "The newest row stands on top; every stamp is whole, so nothing is unclear.",
        (channel("Kiln", times, printed(a)),),
    )


def same_rows_twice():
    n = 120
    a = firing(n, 690, 43)
    times = since(np.arange(n) * 60, START)
    rows = list(zip(stamps(times, ISO), cells(a), strict=True))
    return Case(
        "same_rows_twice.csv",
        table(["Time", "Kiln (°C)"], [*rows[:80], *rows[70:]]).encode(),
        "Ten rows were downloaded twice: an equal value at an equal instant counts once.",
        (channel("Kiln", times, printed(a)),),
    )


CASES = (
    one_sensor_a_row, depths_one_under_another, quantities_one_under_another,
    two_clocks_side_by_side, two_tables_stacked, heading_repeated, preamble_and_summary,
    utf16_tabs, old_mac_line_ends, all_quoted_with_trailing_commas, pipes, fixed_width,
    fixed_width_with_holes, comments_between_rows, no_heading_at_all, heading_one_short,
    ragged_rows, three_heading_rows, sensors_as_rows, empty_columns_and_lines,
    rows_newest_first, same_rows_twice,
)  # fmt: skip
