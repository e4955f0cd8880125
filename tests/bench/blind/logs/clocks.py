"""Files whose difficulty is the clock: elapsed times, counts, serial days, clocks that reset."""

import numpy as np
from curves import fire, firing, follow, share, weather, wobble
from truth import BEGAN, Case, cells, channel, printed, since, stamps, table, utc


def oven_half_minutes():
    n = 121
    upper, lower = firing(n, 430, 1), firing(n, 412, 2)
    rows = zip(cells(np.arange(n) * 0.5), cells(upper), cells(lower), strict=True)
    times = since(np.arange(n) * 30)
    return Case(
        "oven_half_minutes.csv",
        table(["Elapsed (min)", "Upper chamber (°C)", "Lower chamber (°C)"], rows).encode(),
        "The heading says minutes: row 2 is 30 s after row 1.",
        (
            channel("Upper chamber", times, printed(upper)),
            channel("Lower chamber", times, printed(lower)),
        ),
        options={"start": BEGAN},
    )


def kiln_hours_tabs():
    n = 321
    arch, hearth = firing(n, 1180, 3), firing(n, 1153, 4)
    rows = zip(cells(np.arange(n) * 0.05, 2), cells(arch), cells(hearth), strict=True)
    times = since(np.arange(n) * 180)
    return Case(
        "kiln_hours_tabs.txt",
        table(["Time [h]", "Arch [°C]", "Hearth [°C]"], rows, sep="\t").encode(),
        "Hours as a decimal number: 0.05 h are three minutes.",
        (channel("Arch", times, printed(arch)), channel("Hearth", times, printed(hearth))),
        options={"start": BEGAN},
    )


def drying_days():
    n = 150
    one, two = follow(n, (0, 18), (0.3, 52), (1, 61), seed=5), follow(n, (0, 18), (1, 55), seed=6)
    days = cells(np.arange(n) / 24, 5)
    times = since(float(d) * 86400 for d in days)
    rows = zip(days, cells(one), cells(two), strict=True)
    return Case(
        "drying_days.csv",
        table(["Time (d)", "Stack 1 (°C)", "Stack 2 (°C)"], rows).encode(),
        "A drying room is logged in days since loading: the whole file lasts six days.",
        (channel("Stack 1", times, printed(one)), channel("Stack 2", times, printed(two))),
        options={"start": BEGAN},
    )


def furnace_beyond_24_hours():
    n = 311
    load = firing(n, 930, 7)
    clock = [f"{6 * i // 60}:{6 * i % 60:02d}:00" for i in range(n)]
    times = since(np.arange(n) * 360)
    return Case(
        "furnace_beyond_24_hours.csv",
        table(["Elapsed h:mm:ss", "Load (°C)"], zip(clock, cells(load), strict=True)).encode(),
        "Elapsed hours run past 24: 31:00:00 is no time of day.",
        (channel("Load", times, printed(load)),),
        options={"start": BEGAN, "times": "elapsed"},
    )


def oven_minutes_seconds():
    n = 360
    core = firing(n, 240, 8)
    clock = [f"{15 * i // 60:02d}:{15 * i % 60:02d}" for i in range(n)]
    times = since(np.arange(n) * 15)
    return Case(
        "oven_minutes_seconds.csv",
        table(["Elapsed mm:ss", "Muffle °C"], zip(clock, cells(core), strict=True)).encode(),
        "The heading says mm:ss: 89:45 is an hour and a half, not four days.",
        (channel("Muffle", times, printed(core)),),
        options={"start": BEGAN, "times": "elapsed"},
    )


def night_over_midnight():
    n = 300
    began = utc(2026, 3, 14, 21, 30, zone="America/New_York")
    times = since(np.arange(n) * 120, began)
    top, low = firing(n, 905, 9), firing(n, 884, 10)
    clock = stamps(times, "%H:%M:%S", "America/New_York")
    rows = zip(clock, cells(top), cells(low), strict=True)
    return Case(
        "night_over_midnight.csv",
        table(["Time", "Top (C)", "Bottom (C)"], rows).encode(),
        "A time of day without a date that passes midnight: it goes on, it does not go back.",
        (channel("Top", times, printed(top)), channel("Bottom", times, printed(low))),
        options={"start": "2026-03-14T21:30:00-04:00", "times": "clock"},
    )


def bare_count_minutes():
    n = 210
    one, two = firing(n, 780, 11), firing(n, 765, 12)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(one), cells(two), strict=True)
    return Case(
        "bare_count_minutes.csv",
        table(["t", "T1", "T2"], rows).encode(),
        "Nobody can know what t counts or what T1 is in; the person says minutes and °C.",
        (channel("T1", times, printed(one)), channel("T2", times, printed(two))),
        options={"start": BEGAN, "unit": "C", "elapsed_in": "min"},
    )


def epoch_seconds():
    n = 180
    times = since(np.arange(n) * 20, utc(2026, 3, 14, 5, 12))
    wall = firing(n, 640, 13)
    rows = zip((f"{t:.0f}" for t in times), cells(wall, 2), strict=True)
    return Case(
        "epoch_seconds.csv",
        table(["unix_time", "wall_degC"], rows).encode(),
        "Seconds since 1970 are UTC by definition: nothing is to be asked.",
        (channel("wall", times, printed(wall, 2)),),
    )


def epoch_milliseconds():
    n = 200
    times = since(np.arange(n) * 5, utc(2026, 7, 2, 13, 0, 7))
    bath = follow(n, (0, 24), (0.2, 660), (1, 735), seed=14)
    volts = share(n, 3.1, 3.3, 2)
    rows = zip((f"{t * 1000:.0f}" for t in times), cells(bath), cells(volts, 2), strict=True)
    return Case(
        "epoch_milliseconds.csv",
        table(["ms since 1970-01-01 UTC", "bath (°C)", "battery (V)"], rows).encode(),
        "Thirteen digits are milliseconds since 1970; battery volts are no temperature.",
        (channel("bath", times, printed(bath)),),
    )


def spreadsheet_serial_days():
    n = 144
    first = 46095 + 19 / 24  # 2026-03-14 19:00: 46095 days after 1899-12-30
    days = cells(first + np.arange(n) * 10 / 1440, 6)
    times = [utc(2026, 3, 14, 7) + (float(d) - 46095) * 86400 for d in days]
    kiln = firing(n, 1210, 15)
    return Case(
        "spreadsheet_serial_days.csv",
        table(["Date/Time", "Kiln (°C)"], zip(days, cells(kiln), strict=True)).encode(),
        "A spreadsheet's day number (46095 is 14 March 2026), ten minutes apart, local at -07:00.",
        (channel("Kiln", times, printed(kiln)),),
        options={"tz": "-07:00"},
    )


def elapsed_starts_again():
    n, second = 140, 110
    seconds = [*range(0, n * 30, 30), *range(0, second * 30, 30)]
    kiln = [*firing(n, 870, 16), *firing(second, 640, 17)]
    rows = zip(seconds, cells(kiln), strict=True)
    return Case(
        "elapsed_starts_again.csv",
        table(["Time (s)", "Kiln (°C)"], rows).encode(),
        "Two runs in one file: when the second began stands nowhere.",
        outcome="ask",
        options={"start": BEGAN},
    )


def clock_in_1970_at_first():
    n, lost = 200, 15
    true = since(np.arange(n) * 30, utc(2026, 3, 14, 20, 4, 10))
    wrong = since(np.arange(lost) * 30, 4.0)
    clock = stamps([*wrong, *true[lost:]], "%Y-%m-%dT%H:%M:%SZ")
    kiln = firing(n, 845, 18)
    return Case(
        "clock_in_1970_at_first.csv",
        table(["time", "kiln (°C)"], zip(clock, cells(kiln), strict=True)).encode(),
        "Until the clock was set, fifteen rows say 1970: their instants are unknown.",
        (channel("kiln", true[lost:], printed(kiln)[lost:]),),
        outcome="ask or import",
        warned=r"1970|clock|order|jump|before|reject|line",
    )


def clock_never_set():
    n = 180
    times = since(np.arange(n) * 60, utc(2000, 1, 1))
    kiln = firing(n, 860, 19)
    clock = stamps(times, "%Y-%m-%d %H:%M:%S")
    return Case(
        "clock_never_set.csv",
        table(["Date Time", "Kiln (°C)"], zip(clock, cells(kiln), strict=True)).encode(),
        "A log that begins at 2000-01-01 00:00:00 comes from a clock that nobody set.",
        (channel("Kiln", times, printed(kiln)),),
        outcome="ask or import",
        options={"tz": "UTC"},
        warned=r"2000|never set|clock",
    )


def fire_test_baseline():
    seconds = np.arange(-120, 1801, 10)
    gas, wall = fire(seconds / 60, 0.97, 1), fire(seconds / 60, 0.4, 2)
    times = since(seconds)
    rows = zip(seconds, cells(gas), cells(wall), strict=True)
    return Case(
        "fire_test_baseline.csv",
        table(["Time from ignition (s)", "Gas TC (°C)", "Wall TC (°C)"], rows).encode(),
        "Two minutes before ignition are negative seconds: the start that is stated is zero.",
        (channel("Gas TC", times, printed(gas)), channel("Wall TC", times, printed(wall))),
        options={"start": BEGAN},
    )


def dip_four_per_second():
    n = 240
    times = since(np.arange(n) * 0.25, utc(2026, 3, 14, 16, 20, zone="Europe/Lisbon"))
    dip = 1152 - 1120 * np.exp(-np.arange(n) / 22) + wobble(n, 0.3, 1)
    clock = [s[:-3] for s in stamps(times, "%Y-%m-%d %H:%M:%S.%f", "Europe/Lisbon")]
    return Case(
        "dip_four_per_second.csv",
        table(["Time", "Lance (°C)"], zip(clock, cells(dip), strict=True)).encode(),
        "Four readings a second: the fractions of the stamps tell them apart.",
        (channel("Lance", times, printed(dip)),),
        options={"tz": "Europe/Lisbon"},
        clock=0.05,
    )


def stamp_beside_count():
    n = 160
    times = since(np.arange(n) * 15, utc(2026, 5, 6, 7, 7, 7))
    ring = firing(n, 510, 20)
    rows = zip(
        range(1, n + 1), range(0, 15 * n, 15), stamps(times, "%Y-%m-%dT%H:%M:%SZ"), cells(ring),
        strict=True,
    )  # fmt: skip
    return Case(
        "stamp_beside_count.csv",
        table(["Scan", "Scan time (s)", "UTC", "Ring (°C)"], rows).encode(),
        "Seconds since the start and a UTC stamp agree: the stamp needs no question.",
        (channel("Ring", times, printed(ring)),),
    )


def stamps_to_the_minute():
    n = 240
    times = since(np.arange(n) * 10, utc(2026, 3, 14, 10))
    kiln = firing(n, 700, 21)
    clock = stamps(times, "%Y-%m-%d %H:%M")
    return Case(
        "stamps_to_the_minute.csv",
        table(["Time", "Kiln (°C)"], zip(clock, cells(kiln), strict=True)).encode(),
        "Six different values at every minute: to be asked, or spread within it and said so.",
        (channel("Kiln", times, printed(kiln)),),
        outcome="ask or import",
        options={"tz": "UTC"},
        warned=r"spread|share|same (stamp|minute|instant)",
    )


def interval_in_preamble():
    n = 130
    times = since(np.arange(n) * 30)
    a = firing(n, 560, 22)
    text = "Start: 2026-03-14T08:00:00Z\nSample interval: 30 s\n\n"
    rows = zip(range(1, n + 1), cells(a), strict=True)
    return Case(
        "interval_in_preamble.csv",
        (text + table(["Sample", "Oven (°C)"], rows)).encode(),
        "Start and interval stand above the table; sample 1 is the start. Asking is right too.",
        (channel("Oven", times, printed(a)),),
        outcome="ask or import",
    )


def sample_numbers_only():
    n = 90
    a, b = firing(n, 560, 23), weather(n, 90)
    rows = zip(range(1, n + 1), cells(a), cells(b), strict=True)
    return Case(
        "sample_numbers_only.csv",
        table(["Sample no.", "Oven (°C)", "Room (°C)"], rows).encode(),
        "Samples are numbered and how far apart they are stands nowhere: not one per second.",
        outcome="ask",
        options={"start": BEGAN},
    )


def day_and_time_of_day():
    n = 216
    began = utc(2026, 3, 14, 14, 0, zone="America/Bogota")
    times = since(np.arange(n) * 1200, began)
    shelf = follow(n, (0, 16), (0.4, 44), (1, 58), seed=24)
    clock = stamps(times, "%H:%M", "America/Bogota")
    seconds_of_day = (np.arange(n) * 1200 + 14 * 3600) // 86400
    rows = zip(seconds_of_day + 1, clock, cells(shelf), strict=True)
    return Case(
        "day_and_time_of_day.csv",
        table(["Day", "Clock", "Shelf (°C)"], rows).encode(),
        "Day 1, day 2 ... with the time of day: the person says which day was the first.",
        (channel("Shelf", times, printed(shelf)),),
        outcome="ask or import",
        options={"start": "2026-03-14T14:00:00-05:00", "times": "clock"},
    )


CASES = (
    oven_half_minutes, kiln_hours_tabs, drying_days, furnace_beyond_24_hours,
    oven_minutes_seconds, night_over_midnight, bare_count_minutes, epoch_seconds,
    epoch_milliseconds, spreadsheet_serial_days, elapsed_starts_again, clock_in_1970_at_first,
    clock_never_set, fire_test_baseline, dip_four_per_second, stamp_beside_count,
    stamps_to_the_minute, interval_in_preamble, sample_numbers_only, day_and_time_of_day,
)  # fmt: skip
