"""Files whose difficulty is what stands beside the temperatures: flows, rates, set points."""

import numpy as np
from curves import fire, firing, follow, share, weather
from truth import BEGAN, Case, cells, channel, printed, since, stamps, table, utc


def flows_before_the_clock():
    n = 150
    gas, air, speed = share(n, 4, 40, 1), share(n, 20, 300, 2), share(n, 0.2, 6, 3)
    crown = firing(n, 1240, 1)
    times = since(np.arange(n) * 20)
    rows = zip(
        cells(gas, 2), cells(air), cells(speed, 2), range(0, n * 20, 20), cells(crown), strict=True
    )
    return Case(
        "flows_before_the_clock.csv",
        table(["Gas (l/min)", "Air (m3/h)", "Duct (m/s)", "Time (s)", "Crown (°C)"], rows).encode(),
        "Three columns whose units hold min, h and s stand left of the clock.",
        (channel("Crown", times, printed(crown)),),
        options={"start": BEGAN},
    )


def steady_flow_rises():
    n = 120
    total = np.arange(n) * 2.5
    bath = follow(n, (0, 30), (1, 710), seed=2)
    times = since(np.arange(n) * 15)
    rows = zip(cells(total), range(0, n * 15, 15), cells(bath), strict=True)
    return Case(
        "steady_flow_rises.csv",
        table(["Gas total (l at 10 l/min)", "t (s)", "Bath (°C)"], rows).encode(),
        "A gas meter rises as evenly as a clock; t (s) is the clock.",
        (channel("Bath", times, printed(bath)),),
        options={"start": BEGAN},
    )


def rates_beside_temperatures():
    n = 180
    load = firing(n, 1010, 3)
    rate = np.gradient(load)
    times = since(np.arange(n) * 60)
    rows = zip(range(n), cells(rate, 2), cells(load), cells(rate * 60, 0), strict=True)
    head = ["Time (min)", "Heating rate (K/min)", "Load (°C)", "Rate (°C/h)"]
    return Case(
        "rates_beside_temperatures.csv",
        table(head, rows).encode(),
        "K/min and °C/h are rates, neither clock nor temperature.",
        (channel("Load", times, printed(load)),),
        options={"start": BEGAN},
    )


def weather_station():
    n = 288
    zone = "Europe/Lisbon"
    times = since(np.arange(n) * 600, utc(2026, 2, 10, zone=zone))
    air = weather(n, 144, 8, 5, 4)
    dew = air - 3 - abs(share(n, 0, 4, 5))
    more = [share(n, *span, 6) for span in ((40, 99), (0, 12), (0, 19), (1001, 1018), (0, 359))]
    rows = zip(
        stamps(times, "%Y-%m-%d %H:%M:%S", zone), cells(air), cells(dew), *map(cells, more),
        strict=True,
    )  # fmt: skip
    head = [
        "Timestamp", "Air temperature (°C)", "Dew point (°C)", "RH (%)", "Wind (m/s)",
        "Gust (m/s)", "Pressure (hPa)", "Direction (°)",
    ]  # fmt: skip
    return Case(
        "weather_station.csv",
        table(head, rows).encode(),
        "Humidity, wind, pressure and a direction in ° beside two temperatures.",
        (
            channel("Air temperature", times, printed(air)),
            channel("Dew point", times, printed(dew), optional=True),
        ),
        options={"tz": zone},
    )


def controller_without_units():
    n = 160
    kiln = firing(n, 890, 7)
    times = since(np.arange(n) * 30)
    aim = follow(n, (0, 25), (0.43, 890), (0.75, 890), (1, 480), noise=0)
    rows = zip(
        range(0, n * 30, 30), cells(kiln), cells(aim), cells(share(n, 0, 100, 1), 0),
        cells(share(n, 30, 60, 2), 0), cells(share(n, -12, 9, 3)), [2026] * n, strict=True,
    )  # fmt: skip
    head = ["time_s", "kiln_temp", "setpoint", "output", "humidity", "draft", "year"]
    return Case(
        "controller_without_units.csv",
        table(head, rows).encode(),
        "With °C stated, kiln_temp is the one measured temperature; set point at most with a note.",
        (channel("kiln_temp", times, printed(kiln)),),
        options={"start": BEGAN, "unit": "C"},
        noted=("setpoint",),
    )


def record_numbers_and_battery():
    n = 140
    times = since(np.arange(n) * 300, utc(2026, 3, 14))
    one, two, box = firing(n, 260, 8), firing(n, 240, 9), weather(n, 140, 22, 2, 3)
    rows = zip(
        stamps(times, "%Y-%m-%dT%H:%M:%SZ"), range(5120, 5120 + n), cells(share(n, 12, 13, 1), 2),
        cells(box, 2), cells(one, 2), cells(two, 2), strict=True,
    )  # fmt: skip
    head = [
        ["Stamp", "Record", "Batt_V", "Box_C", "Chan_C_1", "Chan_C_2"],
        ["UTC", "", "Volts", "Deg C", "Deg C", "Deg C"],
    ]
    return Case(
        "record_numbers_and_battery.csv",
        table(head, rows).encode(),
        "A running record number and battery volts; the logger's own box temperature may count.",
        (
            channel("Chan_C_1", times, printed(one, 2), called=("Chan_1",)),
            channel("Chan_C_2", times, printed(two, 2), called=("Chan_2",)),
            channel("Box", times, printed(box, 2), optional=True),
        ),
    )


def means_with_spread():
    n = 60
    mean, spread = follow(n, (0, 100), (1, 940), noise=0.2, seed=5), share(n, 0.2, 2.2, 1)
    times = since(np.arange(n) * 300)
    rows = zip(
        range(0, n * 5, 5), cells(mean, 2), cells(spread, 2), cells(spread * 2, 2),
        [12] * n, strict=True,
    )  # fmt: skip
    head = ["Time (min)", "Mean (°C)", "Std. dev. (°C)", "U (k = 2) (°C)", "n"]
    return Case(
        "means_with_spread.csv",
        table(head, rows).encode(),
        "A standard deviation and an uncertainty are in °C and are no temperatures.",
        (channel("Mean", times, printed(mean, 2)),),
        options={"start": BEGAN},
    )


def no_temperature_at_all():
    n = 120
    names = ["Time (s)", "Mass (kg)", "MLR (g/s)", "HRR (kW)", "HF 1 (kW/m2)", "O2 (%)"]
    spans = ((40, 90), (0, 30), (10, 800), (0, 40), (12, 21))
    rows = zip(
        range(0, n * 2, 2), *(cells(share(n, *s, i), 2) for i, s in enumerate(spans)), strict=True
    )
    return Case(
        "no_temperature_at_all.csv",
        table(names, rows).encode(),
        "A burner test with mass, heat release and heat flux: no temperature is in it.",
        outcome="refuse",
        options={"start": BEGAN, "unit": "C"},
    )


def zones_with_set_points():
    n = 150
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 20))
    a, b = firing(n, 760, 10), firing(n, 755, 11)
    aim = follow(n, (0, 22), (0.44, 760), (0.75, 760), (1, 420), noise=0)
    rows = zip(
        stamps(times, "%Y-%m-%dT%H:%M:%SZ"), cells(a), cells(aim), cells(share(n, 0, 90, 1)),
        cells(b), cells(aim), cells(share(n, 0, 90, 2)), ["800.0"] * n, strict=True,
    )  # fmt: skip
    head = [
        "Time", "Zone 1 PV (°C)", "Zone 1 SP (°C)", "Zone 1 OP (%)", "Zone 2 PV (°C)",
        "Zone 2 SP (°C)", "Zone 2 OP (%)", "Alarm high (°C)",
    ]  # fmt: skip
    return Case(
        "zones_with_set_points.csv",
        table(head, rows).encode(),
        "PV is measured; SP and the alarm limit are in °C and no thermocouples (note them).",
        (channel("Zone 1 PV", times, printed(a)), channel("Zone 2 PV", times, printed(b))),
        noted=("Zone 1 SP", "Zone 2 SP", "Alarm high"),
    )


def flows_without_a_stroke():
    n = 130
    retort = firing(n, 905, 12)
    times = since(np.arange(n) * 30)
    rows = zip(
        cells(share(n, 3, 12, 1), 2), cells(share(n, 80, 900, 2), 0), cells(share(n, 40, 60, 3), 0),
        cells(np.arange(n) / 2), cells(retort), strict=True,
    )  # fmt: skip
    return Case(
        "flows_without_a_stroke.csv",
        table(["Ar_lpm", "H2_sccm", "Fan_rpm", "Run_min", "Retort_C"], rows).encode(),
        "lpm, sccm and rpm are flows and a speed; Run_min is the clock in minutes.",
        (channel("Retort", times, printed(retort)),),
        options={"start": BEGAN},
    )


def room_fire_with_gas():
    n = 180
    seconds = np.arange(n) * 5
    tree = [fire(seconds / 60, 0.95 - 0.12 * i, i) for i in range(3)]
    times = since(seconds)
    more = [share(n, *span, 4) for span in ((4, 21), (100, 9000), (0, 14), (0, 3), (30, 55))]
    rows = zip(seconds, *map(cells, (*more, *tree)), strict=True)
    head = [
        "Time (s)", "O2 (vol %)", "CO (ppm)", "CO2 (vol %)", "Smoke (1/m)", "Mass (kg)",
        "Tree 2.1 m (°C)", "Tree 1.5 m (°C)", "Tree 0.9 m (°C)",
    ]  # fmt: skip
    return Case(
        "room_fire_with_gas.csv",
        table(head, rows).encode(),
        "Gas analysis beside a tree of couples whose names hold heights in metres.",
        tuple(
            channel(f"Tree {h} m", times, printed(v))
            for h, v in zip(("2.1", "1.5", "0.9"), tree, strict=True)
        ),
        options={"start": BEGAN},
    )


CASES = (
    flows_before_the_clock, steady_flow_rises, rates_beside_temperatures, weather_station,
    controller_without_units, record_numbers_and_battery, means_with_spread,
    no_temperature_at_all, zones_with_set_points, flows_without_a_stroke, room_fire_with_gas,
)  # fmt: skip
