"""Files whose difficulty is the number: commas, thousands, many digits, words for nothing."""

import numpy as np
from curves import fire, firing, follow, share, weather
from truth import BEGAN, Case, cells, channel, printed, since, stamps, table, utc


def eighteen_digits():
    n = 150
    a, b = firing(n, 720, 1) + 0.1 / 3, firing(n, 690, 2) + 0.2 / 7
    seconds = np.arange(n) * 10.0
    rows = zip(*([f"{v:.18e}" for v in column] for column in (seconds, a, b)), strict=True)
    times = since(seconds)
    return Case(
        "eighteen_digits.txt",
        ("# time [s] T1 [C] T2 [C]\n" + table(None, rows, " ")).encode(),
        "What numpy writes: 18 decimals with exponents under a heading that begins with #.",
        (channel("T1", times, a, called=("*",)), channel("T2", times, b, called=("*",))),
        options={"start": BEGAN, "unit": "C", "elapsed_in": "s"},
    )


def twenty_digits_plain():
    n = 120
    a = firing(n, 860, 3)
    texts = [f"{v:.17f}" for v in a]
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 9))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), texts, strict=True)
    return Case(
        "twenty_digits_plain.csv",
        table(["time", "muffle (°C)"], rows).encode(),
        "Twenty digits in a cell are a number like any other.",
        (channel("muffle", times, [float(t) for t in texts]),),
    )


def thousands_quoted():
    n = 140
    a, b = firing(n, 1190, 4), firing(n, 1120, 5)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), *([f'"{v:,.1f}"' for v in col] for col in (a, b)), strict=True)
    return Case(
        "thousands_quoted.csv",
        table(["Time (min)", "Kiln (°C)", "Arch (°C)"], rows).encode(),
        'A spreadsheet writes "1,045.2" in quotes: a thousand and forty-five.',
        (channel("Kiln", times, printed(a)), channel("Arch", times, printed(b))),
        options={"start": BEGAN},
    )


def thousands_spaced():
    n = 130
    a = firing(n, 1240, 6)
    times = since(np.arange(n) * 60)
    texts = [f"{v:,.1f}".replace(",", "\u202f").replace(".", ",") for v in a]
    rows = zip(range(n), texts, strict=True)
    return Case(
        "thousands_spaced.csv",
        table(["Temps (min)", "Four (°C)"], rows, ";").encode(),
        "A narrow space between thousands, a comma before decimals; Temps is French for time.",
        (channel("Four", times, printed(a)),),
        options={"start": BEGAN},
    )


def three_decimals_after_a_comma():
    n = 120
    a, b = weather(n, 96, 21, 3, 1), weather(n, 96, 24, 4, 2)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), *([c.replace(".", ",") for c in cells(v, 3)] for v in (a, b)), strict=True)
    return Case(
        "three_decimals_after_a_comma.csv",
        table(["Zeit (min)", "Wand innen (°C)", "Wand außen (°C)"], rows, ";").encode(),
        "23,512 °C in a wall is a decimal comma: 23 thousand degrees cannot be.",
        (
            channel("Wand innen", times, printed(a, 3)),
            channel("Wand außen", times, printed(b, 3)),
        ),
        options={"start": BEGAN, "decimal": "comma"},
    )


def mixed_decimals():
    n = 160
    a = firing(n, 940, 7)
    texts = [f"{v:g}" for v in np.round(a, 2)]
    texts[::7] = [f"{float(t):.0f}" for t in texts[::7]]
    times = since(np.arange(n) * 15)
    rows = zip(range(0, n * 15, 15), texts, strict=True)
    return Case(
        "mixed_decimals.csv",
        table(["Time (s)", "Kiln (°C)"], rows).encode(),
        "100.5, 22.07 and 871 in one column.",
        (channel("Kiln", times, [float(t) for t in texts]),),
        options={"start": BEGAN},
    )


def words_for_nothing():
    n = 210
    words = ("NaN", "NA", "null", "-", "n/a", "None", "", " ")
    a, b = firing(n, 815, 8), firing(n, 790, 9)
    texts = cells(a)
    good = printed(a)
    for i in range(5, n, 11):
        texts[i], good[i] = words[(i // 11) % len(words)], None
    times = since(np.arange(n) * 30, utc(2026, 3, 14, 9))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), texts, cells(b), strict=True)
    return Case(
        "words_for_nothing.csv",
        table(["time", "upper (°C)", "lower (°C)"], rows).encode(),
        "Eight ways to write no value; every other reading counts.",
        (channel("upper", times, good), channel("lower", times, printed(b))),
    )


def signs_and_leading_zeros():
    n = 110
    a, b = firing(n, 905, 10), weather(n, 60, 0, 8, 3)
    times = since(np.arange(n) * 60)
    rows = zip(
        (f"{i:05d}" for i in range(n)), (f"{v:+07.1f}" for v in a), (f"{v:+07.1f}" for v in b),
        strict=True,
    )  # fmt: skip
    return Case(
        "signs_and_leading_zeros.csv",
        table(["Time (min)", "Kiln (°C)", "Yard (°C)"], rows).encode(),
        "+0871.2 and -0003.4 are numbers.",
        (channel("Kiln", times, printed(a)), channel("Yard", times, printed(b))),
        options={"start": BEGAN},
    )


def fortran_exponents():
    n = 120
    seconds = np.arange(n) * 30.0
    gas = fire(seconds / 60, 0.9, 4)
    texts = [[f"{v:.4E}".replace("E", "D") for v in col] for col in (seconds, gas)]
    times = since(float(t.replace("D", "E")) for t in texts[0])
    found = [float(t.replace("D", "E")) for t in texts[1]]
    return Case(
        "fortran_exponents.txt",
        table(["TIME(S)", "GAS(C)"], zip(*texts, strict=True), "  ").encode(),
        "8.7120D+02 is how Fortran writes 871.2. Asking is right too: it is rare.",
        (channel("GAS", times, found),),
        outcome="ask or import",
        options={"start": BEGAN},
    )


def decimal_comma_in_quotes():
    n = 120
    a, b = firing(n, 770, 11), firing(n, 742, 12)
    times = since(np.arange(n) * 20)
    comma = [[f'"{c.replace(".", ",")}"' for c in cells(v)] for v in (a, b)]
    rows = zip(range(0, n * 20, 20), *comma, strict=True)
    return Case(
        "decimal_comma_in_quotes.csv",
        table(["Time (s)", "Links (°C)", "Rechts (°C)"], rows).encode(),
        '"871,6" in quotes between commas: a decimal comma.',
        (channel("Links", times, printed(a)), channel("Rechts", times, printed(b))),
        options={"start": BEGAN, "decimal": "comma"},
    )


def one_blank_in_a_hundred():
    n = 300
    runs = [firing(n, 800 + 10 * i, 13 + i) for i in range(4)]
    times = since(np.arange(n) * 5)
    columns, found = [], []
    for i, run in enumerate(runs):
        spots = range(17 * (i + 1), n, 97)
        columns.append(["" if k in spots else c for k, c in enumerate(cells(run, 2))])
        good = [None if k in spots else v for k, v in enumerate(printed(run, 2))]
        found.append(channel(f"TC{i + 1}", times, good))
    rows = zip(range(0, n * 5, 5), *columns, strict=True)
    return Case(
        "one_blank_in_a_hundred.csv",
        table(["Time (s)", *(f"TC{i} (°C)" for i in range(1, 5))], rows).encode(),
        "A cell is blank now and then; the rest counts.",
        tuple(found),
        options={"start": BEGAN},
    )


def comma_and_point_apart():
    n = 100
    a = follow(n, (0, 20), (1, 1290), seed=18)
    times = since(np.arange(n) * 60)
    texts = [f"{v:,.2f}".replace(",", "x").replace(".", ",").replace("x", ".") for v in a]
    rows = zip(range(n), texts, cells(share(n, 0, 100, 1), 0), strict=True)
    return Case(
        "comma_and_point_apart.csv",
        table(["Zeit [min]", "Ofen [°C]", "Leistung [%]"], rows, ";").encode(),
        "1.045,20 has both: points between thousands, a comma before decimals.",
        (channel("Ofen", times, printed(a, 2)),),
        options={"start": BEGAN},
    )


CASES = (
    eighteen_digits, twenty_digits_plain, thousands_quoted, thousands_spaced,
    three_decimals_after_a_comma, mixed_decimals, words_for_nothing, signs_and_leading_zeros,
    fortran_exponents, decimal_comma_in_quotes, one_blank_in_a_hundred, comma_and_point_apart,
)  # fmt: skip
