"""Files whose difficulty is a couple that is late, dead, dying, or hotter than expected but right.

What a dead couple shows (1372 is the end of type K, 2300 near that of type C) counts never as a
temperature; a fast change that a fire or an open door makes counts always.
"""

import numpy as np
from curves import fire, firing, follow, share, weather, wobble
from truth import BEGAN, Case, Channel, cells, channel, printed, since, stamps, table, utc


def _replaced(values, spots, word):
    """Cells with a word at some rows, and the numbers that stay (None at those rows)."""
    texts = [word if i in spots else c for i, c in enumerate(cells(values))]
    return texts, [None if i in spots else float(c) for i, c in enumerate(cells(values))]


def plugged_in_late_blank():
    n, late = 300, range(150)
    kiln, core = firing(n, 870, 1), firing(n, 800, 2)
    texts, good = _replaced(core, late, "")
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(kiln), texts, strict=True)
    return Case(
        "plugged_in_late_blank.csv",
        table(["Time (min)", "Kiln (°C)", "Core (°C)"], rows).encode(),
        "The core's couple was plugged in after two and a half hours: blank until then.",
        (channel("Kiln", times, printed(kiln)), channel("Core", times, good)),
        options={"start": BEGAN},
    )


def plugged_in_late_word():
    n, late = 380, range(330)
    kiln, core = firing(n, 905, 3), firing(n, 850, 4)
    texts, good = _replaced(core, late, "no input")
    times = since(np.arange(n) * 30, utc(2026, 3, 14, 19))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), cells(kiln), texts, strict=True)
    return Case(
        "plugged_in_late_word.csv",
        table(["Time", "Kiln °C", "Core °C"], rows).encode(),
        "A word stands in most rows of the second couple; its last fifty are readings.",
        (channel("Kiln", times, printed(kiln)), channel("Core", times, good)),
    )


def dead_throughout():
    n = 150
    kiln = firing(n, 880, 5)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(kiln), ["1372.0"] * n, ["-270.0"] * n, ["2300.0"] * n, strict=True)
    head = ["Time (min)", "Kiln (°C)", "Wall (°C)", "Floor (°C)", "Flue (°C)"]
    return Case(
        "dead_throughout.csv",
        table(head, rows).encode(),
        "Three couples stand at the ends of their scales all night: open circuits.",
        (
            channel("Kiln", times, printed(kiln)),
            Channel("Wall", missing=n, dead=True),
            Channel("Floor", missing=n, dead=True),
            Channel("Flue", missing=n, dead=True),
        ),
        options={"start": BEGAN},
    )


def dies_at_the_scale_end():
    n, end = 240, 131
    kiln, shelf = firing(n, 930, 6), firing(n, 910, 7)
    texts, good = _replaced(shelf, range(end, n), "1372.0")
    times = since(np.arange(n) * 30)
    rows = zip(range(0, n * 30, 30), cells(kiln), texts, strict=True)
    return Case(
        "dies_at_the_scale_end.csv",
        table(["Time (s)", "Kiln (°C)", "Shelf (°C)"], rows).encode(),
        "From 907 °C to 1372.0 within one row and never back: the couple broke.",
        (channel("Kiln", times, printed(kiln)), channel("Shelf", times, good)),
        options={"start": BEGAN},
    )


def fault_words():
    n = 200
    words = ("OL", "----", "Err", "open t/c", "OVER", "#N/A", "sensor break", "overrange", "inf")
    names = [f"TC {i}" for i in range(1, len(words) + 1)]
    times = since(np.arange(n) * 10)
    columns, found = [], []
    for i, (name, word) in enumerate(zip(names, words, strict=True)):
        spots = {*range(20 + i, 26 + i), 90 + i, *range(150, 150 + i)}
        texts, good = _replaced(firing(n, 700 + 15 * i, i), spots, word)
        columns.append(texts)
        found.append(channel(name, times, good))
    return Case(
        "fault_words.csv",
        table(
            ["Time (s)", *(f"{name} (°C)" for name in names)],
            zip(range(0, n * 10, 10), *columns, strict=True),
        ).encode(),
        "Nine words for a couple that gives nothing, each in one column, now and then.",
        tuple(found),
        options={"start": BEGAN},
    )


def weather_sentinels():
    n = 240
    air, soil = weather(n, 24, -36, 7, 8), weather(n, 24, -9, 1, 9)
    cold, good = _replaced(air, {3, 40, 41, 42, 170}, "-99.9")
    earth, fine = _replaced(soil, {0, 1, 2, 99}, "-9999")
    times = since(np.arange(n) * 3600, utc(2026, 1, 5))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%MZ"), cold, earth, strict=True)
    return Case(
        "weather_sentinels.csv",
        table(["Time", "Air (°C)", "Soil (°C)"], rows).encode(),
        "-99.9 and -9999 stand for no value; -43 °C is a winter night and counts.",
        (channel("Air", times, good), channel("Soil", times, fine)),
    )


def register_codes():
    n = 180
    a, b = firing(n, 660, 10), firing(n, 640, 11)
    left, good = _replaced(a, {25, 26, 27, 110}, "3276.7")
    right, fine = _replaced(b, {60, 61, 130}, "6553.5")
    times = since(np.arange(n) * 20)
    rows = zip(range(0, n * 20, 20), left, right, strict=True)
    return Case(
        "register_codes.csv",
        table(["Time (s)", "Left (°C)", "Right (°C)"], rows).encode(),
        "3276.7 and 6553.5 are full 16-bit registers in tenths, not temperatures.",
        (channel("Left", times, good), channel("Right", times, fine)),
        options={"start": BEGAN},
    )


def flickers_to_the_end_of_scale():
    n = 220
    kiln, core = firing(n, 860, 12), firing(n, 820, 13)
    between = range(110, 150)
    core_text = cells(core)
    seen = printed(core)
    may = []
    times = since(np.arange(n) * 30)
    for i in between:
        if i % 2 == 0:
            core_text[i] = f"{2289 + 3 * np.sin(i):.1f}"
        else:
            may.append((times[i], seen[i]))
        seen[i] = None
    rows = zip(range(0, n * 30, 30), cells(kiln), core_text, strict=True)
    return Case(
        "flickers_to_the_end_of_scale.csv",
        table(["Time (s)", "Kiln (°C)", "Core (°C)"], rows).encode(),
        "For twenty minutes every other reading is near 2289: a loose contact.",
        (channel("Kiln", times, printed(kiln)), channel("Core", times, seen, may=tuple(may))),
        options={"start": BEGAN},
    )


def dying_couple():
    n, end = 160, 120
    a, b, c = firing(n, 872, 14), firing(n, 860, 15), follow(n, (0, 21), (0.4, 850), (1, 854))
    texts, seen = cells(c), printed(c)
    tail = [287.4, 49.1, 1368.2, 31.7, 1370.9] + [1371.6] * (n - end - 5)
    texts[end:] = cells(tail)
    seen[end:] = [None] * (n - end)
    times = since(np.arange(n) * 10)
    rows = zip(range(0, n * 10, 10), cells(a), cells(b), texts, strict=True)
    return Case(
        "dying_couple.csv",
        table(["Time (s)", "Top (°C)", "Bottom (°C)", "Mould (°C)"], rows).encode(),
        "From 852 to 287, 49, 1368 within 30 s while its neighbours stand still: it dies.",
        (
            channel("Top", times, printed(a)),
            channel("Bottom", times, printed(b)),
            channel("Mould", times, seen),
        ),
        options={"start": BEGAN},
    )


def zeros_in_the_heat():
    n, spots = 150, {70, 85, 86, 101}
    kiln, other = follow(n, (0, 600), (0.3, 940), (1, 944), seed=16), firing(n, 930, 17)
    texts, good = _replaced(kiln, spots, "0.0")
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 21))
    rows = zip(stamps(times, "%Y-%m-%d %H:%M:%SZ"), texts, cells(other), strict=True)
    return Case(
        "zeros_in_the_heat.csv",
        table(["Time", "Retort (°C)", "Jacket (°C)"], rows).encode(),
        "0.0 for single rows between 942 and 943 °C is a lost value, not ice.",
        (channel("Retort", times, good), channel("Jacket", times, printed(other))),
    )


def digital_sensors():
    n = 200
    a, b = weather(n, 96, 18, 4, 1), weather(n, 96, 31, 2, 2)
    left, good = _replaced(a, {7, 88, 89, 140}, "-127.00")
    right, fine = _replaced(b, {0}, "85.00")
    times = since(np.arange(n) * 900, utc(2026, 6, 2))
    rows = zip((f"{t:.0f}" for t in times), left, right, strict=True)
    return Case(
        "digital_sensors.csv",
        table(["epoch_s", "cellar [°C]", "boiler room [°C]"], rows).encode(),
        "-127.00 is a sensor that did not answer; a first 85.00 is its value at power-on.",
        (
            channel("cellar", times, good),
            channel("boiler room", times, fine, may=((times[0], 85.0),)),
        ),
    )


def piece_drawn_from_the_kiln():
    n = 120
    seconds = np.arange(n) * 5.0
    piece = np.where(seconds < 150, 985.0, 60 + 925 * np.exp(-(seconds - 145) / 40))
    kiln = np.where(seconds < 150, 990.0, 990 - 260 * (1 - np.exp(-(seconds - 145) / 60)))
    piece, kiln = piece + wobble(n, 0.5, 1), kiln + wobble(n, 0.5, 2)
    times = since(seconds)
    rows = zip(cells(seconds, 0), cells(piece), cells(kiln), strict=True)
    return Case(
        "piece_drawn_from_the_kiln.csv",
        table(["Time (s)", "Piece (°C)", "Kiln (°C)"], rows).encode(),
        "A piece lifted out cools 100 K in five seconds: every reading is true.",
        (channel("Piece", times, printed(piece)), channel("Kiln", times, printed(kiln))),
        options={"start": BEGAN},
    )


def doors_opened():
    n = 200
    gas, wall = follow(n, (0, 840), (1, 872), seed=18), follow(n, (0, 820), (1, 861), seed=19)
    for at in (60, 120, 170):
        gas[at : at + 6] -= (255, 190, 120, 70, 35, 15)
        wall[at : at + 6] -= (20, 28, 24, 17, 11, 5)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(gas), cells(wall), strict=True)
    return Case(
        "doors_opened.csv",
        table(["Time (min)", "Gas (°C)", "Wall (°C)"], rows).encode(),
        "Three times the door was opened: the gas falls by 255 K in a minute, and that is true.",
        (channel("Gas", times, printed(gas)), channel("Wall", times, printed(wall))),
        options={"start": BEGAN},
    )


def hotter_than_type_k():
    n = 250
    kiln, crown = firing(n, 1655, 20), firing(n, 1590, 21)
    times = since(np.arange(n) * 120, utc(2026, 3, 14, 4))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), cells(kiln), cells(crown), strict=True)
    return Case(
        "hotter_than_type_k.csv",
        table(["Time", "Type B, load (°C)", "Type S, crown (°C)"], rows).replace(
            "Type B, load (°C),Type S, crown (°C)", '"Type B, load (°C)","Type S, crown (°C)"'
        ).encode(),
        "A sintering furnace with platinum couples: 1655 °C is true, 1372 is passed on the way.",
        (
            channel("Type B, load", times, printed(kiln), called=("load", "Type B")),
            channel("Type S, crown", times, printed(crown), called=("crown", "Type S")),
        ),
    )  # fmt: skip


def flashover():
    n = 150
    seconds = np.arange(n) * 4
    gas = 24 + 60 * seconds / 300 + 820 / (1 + np.exp(-(seconds - 300) / 5.0)) + share(n, -4, 4, 1)
    floor = fire(seconds / 60, 0.2)
    times = since(seconds)
    rows = zip(seconds, cells(gas), cells(floor), strict=True)
    return Case(
        "flashover.csv",
        table(["Time (s)", "Ceiling (°C)", "Floor (°C)"], rows).encode(),
        "Flashover: 800 K within half a minute, every reading true.",
        (channel("Ceiling", times, printed(gas)), channel("Floor", times, printed(floor))),
        options={"start": BEGAN},
    )


CASES = (
    plugged_in_late_blank, plugged_in_late_word, dead_throughout, dies_at_the_scale_end,
    fault_words, weather_sentinels, register_codes, flickers_to_the_end_of_scale, dying_couple,
    zeros_in_the_heat, digital_sensors, piece_drawn_from_the_kiln, doors_opened,
    hotter_than_type_k, flashover,
)  # fmt: skip
