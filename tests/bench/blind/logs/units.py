"""Files whose difficulty is the unit: where it stands, which it is, what is no temperature."""

import numpy as np
from curves import fire, firing, share, weather
from truth import BEGAN, Case, cells, channel, printed, since, stamps, table, utc


def units_row_below():
    n = 150
    a, b, out, kw = firing(n, 760, 1), firing(n, 741, 2), share(n, 20, 90, 1), share(n, 3, 11, 2)
    times = since(np.arange(n) * 20)
    rows = zip(range(0, n * 20, 20), cells(a), cells(b), cells(out), cells(kw), strict=True)
    head = [["Time", "Zone 1", "Zone 2", "Output", "Load"], ["s", "°C", "°C", "%", "kW"]]
    return Case(
        "units_row_below.csv",
        table(head, rows).encode(),
        "A row of units under the names; output and load are no temperatures.",
        (channel("Zone 1", times, printed(a)), channel("Zone 2", times, printed(b))),
        options={"start": BEGAN},
    )


def units_row_above():
    n = 120
    a, b, p = firing(n, 540, 3), firing(n, 533, 4), share(n, -12, 5, 3)
    times = since(np.arange(n) * 30)
    rows = zip(range(0, n * 30, 30), cells(p), cells(a), cells(b), strict=True)
    head = [["s", "Pa", "C", "C"], ["Time", "P1", "Left", "Right"]]
    return Case(
        "units_row_above.csv",
        table(head, rows).encode(),
        "A row of units over the names.",
        (channel("Left", times, printed(a)), channel("Right", times, printed(b))),
        options={"start": BEGAN},
    )


def suffixes_mixed():
    n = 130
    a, b, c = firing(n, 905, 5), firing(n, 1100, 6), weather(n, 130, 20, 2, 1)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 8))
    rows = zip(stamps(times, "%Y-%m-%dT%H:%M:%SZ"), cells(a), cells(b), cells(c), strict=True)
    return Case(
        "suffixes_mixed.csv",
        table(["time_utc", "kiln_top_C", "stack_F", "room_C"], rows).encode(),
        "Units as suffixes, °C and °F in one file.",
        (
            channel("kiln_top", times, printed(a)),
            channel("stack", times, printed(b), "F"),
            channel("room", times, printed(c)),
        ),
    )


def deg_f_in_brackets():
    n = 140
    a, b = firing(n, 1640, 7), firing(n, 1590, 8)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(a, 0), cells(b, 0), strict=True)
    return Case(
        "deg_f_in_brackets.csv",
        table(["Time (min.)", "Top (deg. F)", "Bottom (deg. F)"], rows).encode(),
        "(deg. F) is Fahrenheit, (min.) minutes.",
        (channel("Top", times, printed(a, 0), "F"), channel("Bottom", times, printed(b, 0), "F")),
        options={"start": BEGAN},
    )


def kelvin_in_brackets():
    n = 160
    a, b, o2 = firing(n, 1150, 9) + 273.15, fire(np.arange(n) / 6, 0.6) + 273.15, share(n, 9, 21, 4)
    times = since(np.arange(n) * 10)
    rows = zip(range(0, n * 10, 10), cells(a, 2), cells(b, 2), cells(o2, 2), strict=True)
    return Case(
        "kelvin_in_brackets.csv",
        table(["t [s]", "Tg1 [K]", "Tg2 [K]", "xO2 [%]"], rows).encode(),
        "Absolute kelvin; it begins near 294 K, a room.",
        (channel("Tg1", times, printed(a, 2), "K"), channel("Tg2", times, printed(b, 2), "K")),
        options={"start": BEGAN},
    )


def unit_in_preamble():
    n = 110
    a, b = firing(n, 1700, 10), firing(n, 1655, 11)
    times = since(np.arange(n) * 120)
    text = "Burn-out kiln, run 31\nAll temperatures in degrees Fahrenheit\n\n"
    rows = zip(range(0, n * 120, 120), cells(a, 0), cells(b, 0), strict=True)
    return Case(
        "unit_in_preamble.csv",
        (text + table(["Time (s)", "North", "South"], rows)).encode(),
        "The unit of all columns stands in a sentence above the table.",
        (channel("North", times, printed(a, 0), "F"), channel("South", times, printed(b, 0), "F")),
        options={"start": BEGAN, "unit": "F"},
    )


def unit_in_footer():
    n = 100
    a = firing(n, 615, 12)
    times = since(np.arange(n) * 60)
    text = table(
        ["Time (min)", "Centre", "Edge"], zip(range(n), cells(a), cells(a - 9), strict=True)
    )
    return Case(
        "unit_in_footer.csv",
        (text + "\nTemperatures in °C. Thermocouples type N.\n").encode(),
        "The unit stands in a sentence below the table.",
        (channel("Centre", times, printed(a)), channel("Edge", times, printed(a - 9))),
        options={"start": BEGAN, "unit": "C"},
    )


def no_unit_fahrenheit():
    n = 125
    a, b = firing(n, 1850, 13), firing(n, 640, 14)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(a, 0), cells(b, 0), strict=True)
    return Case(
        "no_unit_fahrenheit.csv",
        table(["Minutes", "Kiln", "Stack"], rows).encode(),
        "No unit anywhere; the person says °F.",
        (channel("Kiln", times, printed(a, 0), "F"), channel("Stack", times, printed(b, 0), "F")),
        options={"start": BEGAN, "unit": "F"},
    )


def unit_in_every_cell():
    n = 90
    a, b = firing(n, 480, 15), firing(n, 820, 16)
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 8))
    rows = zip(
        stamps(times, "%Y-%m-%dT%H:%M:%SZ"), (f"{c} °C" for c in cells(a)),
        (f"{c} °F" for c in cells(b)), strict=True,
    )  # fmt: skip
    return Case(
        "unit_in_every_cell.csv",
        table(["Time", "Oven", "Flue"], rows).encode(),
        "The unit stands behind each number, another one in each column.",
        (channel("Oven", times, printed(a)), channel("Flue", times, printed(b), "F")),
    )


def spellings_of_celsius():
    n = 110
    runs = [firing(n, 700 + 20 * i, 17 + i) for i in range(5)]
    names = ["A [oC]", "B (Celsius)", "C1 degC", "D (deg. C.)", "E (ºC)"]
    times = since(np.arange(n) * 10)
    rows = zip(range(0, n * 10, 10), *(cells(r) for r in runs), strict=True)
    found = zip(["A", "B", "C1", "D", "E"], runs, strict=True)
    return Case(
        "spellings_of_celsius.csv",
        table(["Time (s)", *names], rows).encode(),
        "Five ways to write degrees Celsius, one of them with the ordinal sign º.",
        tuple(channel(name, times, printed(run)) for name, run in found),
        options={"start": BEGAN},
    )


def same_in_c_and_f():
    n = 120
    a = printed(firing(n, 530, 22), 2)
    times = since(np.arange(n) * 30)
    f = [1.8 * v + 32 for v in a]
    rows = zip(range(0, n * 30, 30), cells(a, 2), cells(f, 3), strict=True)
    return Case(
        "same_in_c_and_f.csv",
        table(["Time (s)", "Probe (°C)", "Probe (°F)"], rows).encode(),
        "One probe in two units: both columns say the same, the second may be left out.",
        (
            channel("Probe", times, a),
            channel("Probe", times, printed(f, 3), "F", optional=True),
        ),
        options={"start": BEGAN},
    )


def stated_unit_beside_suffix():
    n = 100
    a, b = firing(n, 650, 23), firing(n, 700, 24)
    times = since(np.arange(n) * 30)
    rows = zip(range(0, n * 30, 30), cells(a), cells(b), strict=True)
    return Case(
        "stated_unit_beside_suffix.csv",
        table(["time_s", "Kiln", "Flue_F"], rows).encode(),
        "The person says °C for what names no unit; Flue_F names one.",
        (channel("Kiln", times, printed(a)), channel("Flue", times, printed(b), "F")),
        options={"start": BEGAN, "unit": "C"},
    )


def unit_with_serial_number():
    n = 100
    a, b = weather(n, 100, 11, 4, 2), weather(n, 100, 9, 3, 3)
    times = since(np.arange(n) * 900, utc(2026, 3, 14))
    head = [
        "Time (UTC)", '"Temp, °C (SN 204417, upper)"', '"Temp, °C (SN 204418, lower)"',
        '"RH, % (SN 204417)"',
    ]  # fmt: skip
    rows = zip(
        stamps(times, "%Y-%m-%d %H:%M:%S"), cells(a, 3), cells(b, 3), cells(share(n, 40, 80, 1)),
        strict=True,
    )  # fmt: skip
    return Case(
        "unit_with_serial_number.csv",
        table(head, rows).encode(),
        "The unit stands before a serial number; two columns share the word Temp.",
        (
            channel("204417", times, printed(a, 3), called=("Temp", "upper")),
            channel("204418", times, printed(b, 3), called=("Temp", "lower")),
        ),
    )


def rises_only():
    n = 120
    a, b = firing(n, 180, 25) - 21, firing(n, 140, 26) - 21
    rows = zip(range(n), cells(a), cells(b), strict=True)
    return Case(
        "rises_only.csv",
        table(["Time (min)", "Unexposed face rise 1 (K)", "Unexposed face rise 2 (K)"], rows)
        .encode(),
        "Rises above ambient: without the ambient there is no temperature in the file.",
        outcome="refuse",
        options={"start": BEGAN},
    )  # fmt: skip


def rise_beside_temperature():
    n = 130
    a = printed(firing(n, 190, 27))
    times = since(np.arange(n) * 60)
    rise = [v - a[0] for v in a]
    rows = zip(range(n), cells(a), cells(rise), cells([abs(v) / 30 for v in rise], 2), strict=True)
    head = ["Time (min)", "Slab top (°C)", "Rise over start (°C)", "ΔT slab (K)"]
    return Case(
        "rise_beside_temperature.csv",
        table(head, rows).encode(),
        "A rise in °C and a difference in K beside one temperature.",
        (channel("Slab top", times, a),),
        options={"start": BEGAN},
    )


def quantity_over_unit():
    n = 140
    gas, wall, flow = (
        fire(np.arange(n) / 2, 0.95),
        fire(np.arange(n) / 2, 0.5, 2),
        share(n, 8, 9, 5),
    )
    times = since(np.arange(n) * 30)
    rows = zip(cells(np.arange(n) / 2), cells(flow, 2), cells(gas), cells(wall), strict=True)
    return Case(
        "quantity_over_unit.csv",
        table(["t/min", "q/(l/min)", "θ_gas/°C", "θ_wall/°C"], rows).encode(),
        "ISO 80000 headings: t/min is minutes, θ/°C a temperature, q/(l/min) a flow.",
        (
            channel("θ_gas", times, printed(gas), called=("gas",)),
            channel("θ_wall", times, printed(wall), called=("wall",)),
        ),
        options={"start": BEGAN},
    )


def millivolts_only():
    n = 100
    a, b = firing(n, 900, 28) * 0.0412, firing(n, 860, 29) * 0.0412
    rows = zip(range(0, n * 10, 10), cells(a, 3), cells(b, 3), strict=True)
    return Case(
        "millivolts_only.csv",
        table(["Time (s)", "TC 1 (mV)", "TC 2 (mV)"], rows).encode(),
        "Thermocouple voltages, their type and cold junction unknown: no temperatures.",
        outcome="refuse",
        options={"start": BEGAN, "unit": "C"},
    )


def tenths_of_a_degree():
    n = 120
    air = weather(n, 24, 12, 6, 4)
    times = since(np.arange(n) * 3600, utc(2026, 3, 10))
    tenths = [round(v * 10) for v in air]
    rows = zip(stamps(times, "%Y%m%d,%H"), tenths, cells(share(n, 30, 90, 1), 0), strict=True)
    return Case(
        "tenths_of_a_degree.csv",
        table(["YYYYMMDD", "HH (UTC)", "T (0.1 °C)", "RH (%)"], rows).encode(),
        "The heading says tenths of a degree: 125 is 12.5 °C.",
        (channel("T", times, [v / 10 for v in tenths]),),
        outcome="ask or import",
    )


def rankine():
    n = 90
    a = firing(n, 1500, 30) + 459.67
    rows = zip(range(0, n * 5, 5), cells(a), strict=True)
    return Case(
        "rankine.csv",
        table(["Time (s)", "Gas (°R)"], rows).encode(),
        "Degrees Rankine are none of °C, °F, K: to be refused, never read as another.",
        outcome="refuse",
        options={"start": BEGAN},
    )


def couples_beside_velocities():
    n = 100
    temps = [fire(np.arange(n) / 6, 0.9 - 0.1 * i, i) for i in range(4)]
    speeds = [share(n, -2, 4, i) for i in range(4)]
    times = since(np.arange(n) * 10)
    names = [f"Door_TC{i}" for i in range(1, 5)]
    head = ["Time", *names, *(f"Door_V{i}" for i in range(1, 5)), "Mass", "HRR"]
    more = (share(n, 40, 60, 7), share(n, 200, 900, 8))
    rows = zip(range(0, n * 10, 10), *(cells(v, 2) for v in (*temps, *speeds, *more)), strict=True)
    return Case(
        "couples_beside_velocities.csv",
        table(head, rows).encode(),
        "No units; TC are thermocouples, V velocities, and HRR is as large as a temperature.",
        tuple(channel(k, times, printed(v, 2)) for k, v in zip(names, temps, strict=True)),
        options={"start": BEGAN, "unit": "C", "elapsed_in": "s"},
    )


CASES = (
    units_row_below, units_row_above, suffixes_mixed, deg_f_in_brackets, kelvin_in_brackets,
    unit_in_preamble, unit_in_footer, no_unit_fahrenheit, unit_in_every_cell,
    spellings_of_celsius, same_in_c_and_f, stated_unit_beside_suffix, unit_with_serial_number,
    rises_only, rise_beside_temperature, quantity_over_unit, millivolts_only, tenths_of_a_degree,
    rankine, couples_beside_velocities,
)  # fmt: skip
