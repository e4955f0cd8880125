"""Files whose difficulty is a name that looks like a clock, an output, a rate, a statistic."""

import numpy as np
from curves import firing, share
from truth import BEGAN, Case, cells, channel, printed, since, stamps, table, utc


def _file(file, head, why, wanted, *, time="Time (s)", others=(), options=None):
    """A file of elapsed seconds, one firing for each wanted name, then the others."""
    n, step = 120, 30
    runs = [firing(n, 600 + 25 * i, i + 1) for i in range(len(wanted))]
    times = since(np.arange(n) * step)
    rows = zip(range(0, n * step, step), *map(cells, runs), *others, strict=True)
    return Case(
        file,
        table([time, *head], rows).encode(),
        why,
        tuple(channel(k, times, printed(v)) for k, v in zip(wanted, runs, strict=True)),
        options=options or {"start": BEGAN},
    )


def places_that_sound_otherwise():
    names = ["Door", "Fan side", "Flue gas", "Output shelf", "Core out", "Power side", "Valve body"]
    return _file(
        "places_that_sound_otherwise.csv", [f"{n} (°C)" for n in names],
        "Door, Fan side, Output shelf ... are places, and °C says that each is a temperature.",
        names,
    )  # fmt: skip


def places_without_units():
    names = ["Door", "Fan side", "Flue gas", "Core out"]
    n = 120
    return _file(
        "places_without_units.csv", [*names, "Draft Pa", "Damper %"],
        "The same names without units: with °C stated they rise like couples; Pa and % do not.",
        names, others=(cells(share(n, -12, 4, 1)), cells(share(n, 0, 100, 2))),
        options={"start": BEGAN, "unit": "C"},
    )  # fmt: skip


def minimum_and_maximum():
    return _file(
        "minimum_and_maximum.csv", ["Kiln min (°C)", "Kiln avg (°C)", "Kiln max (°C)"],
        "min is a minimum here, in °C, and no clock in minutes.",
        ["Kiln min", "Kiln avg", "Kiln max"],
    )  # fmt: skip


def t_and_capital_t():
    return _file(
        "t_and_capital_t.csv", ["T (°C)", "Ta (°C)"],
        "t (s) is the time and T (°C) the temperature.",
        ["T", "Ta"], time="t (s)",
    )  # fmt: skip


def times_that_are_no_clock():
    n = 120
    head = ["Kiln (°C)", "Time constant (s)", "Response time (ms)", "Time since door (min)"]
    since_door = [f"{i % 40 / 2:.1f}" for i in range(n)]
    others = (["12.3"] * n, cells(share(n, 180, 220, 1), 0), since_door)
    return _file(
        "times_that_are_no_clock.csv", head,
        "A time constant, a response time and the time since the door are no clocks.",
        ["Kiln"], others=others,
    )  # fmt: skip


def seconds_in_names():
    names = ["Sec. air", "Minster arch", "Hour glass mould", "Day tank", "2nd shelf"]
    return _file(
        "seconds_in_names.csv", [f"{n} (°C)" for n in names],
        "Sec. air is secondary air; hour, day and 2nd stand in names of places.",
        names,
    )  # fmt: skip


def german_names():
    n = 150
    a, b = firing(n, 1020, 1), firing(n, 990, 2)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(a), cells(b), cells(share(n, 0, 100, 3), 0), strict=True)
    return Case(
        "german_names.csv",
        table(["Zeit [min]", "Ofen oben [°C]", "Ofen unten [°C]", "Stellgrad [%]"], rows, ";")
        .encode("utf-8-sig"),
        "Zeit [min] is the clock; oben and unten are couples.",
        (channel("Ofen oben", times, printed(a)), channel("Ofen unten", times, printed(b))),
        options={"start": BEGAN},
    )  # fmt: skip


def same_name_three_times():
    n = 120
    runs = [firing(n, 700 + 40 * i, i + 4) for i in range(3)]
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 9))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), *map(cells, runs), strict=True)
    return Case(
        "same_name_three_times.csv",
        table(["Time", "TC (°C)", "TC (°C)", "TC (°C)"], rows).encode(),
        "Three couples of one name: three channels, none lost, none mixed.",
        tuple(channel("TC", times, printed(run)) for run in runs),
    )


CASES = (
    places_that_sound_otherwise, places_without_units, minimum_and_maximum, t_and_capital_t,
    times_that_are_no_clock, seconds_in_names, german_names, same_name_three_times,
)  # fmt: skip
