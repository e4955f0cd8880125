"""Files whose difficulty is the date: its order, its columns, its zone, the nights of changes."""

import numpy as np
from curves import firing, follow, share, weather
from truth import Case, cells, channel, printed, since, stamps, table, utc


def us_dates_over_midnight():
    n = 150
    zone = "America/Denver"
    times = since(np.arange(n) * 240, utc(2026, 3, 9, 19, zone=zone))
    clock = [
        f"{int(s[0:2])}/{int(s[3:5])}/{s[6:10]} {int(s[11:13])}{s[13:]}"
        for s in stamps(times, "%m/%d/%Y %I:%M:%S %p", zone)
    ]
    kiln = firing(n, 1650, 1)
    return Case(
        "us_dates_over_midnight.csv",
        table(["Date Time", "Kiln (F)"], zip(clock, cells(kiln), strict=True)).encode(),
        "3/9/2026 is followed at midnight by 3/10/2026: month first, and 12:00 AM is midnight.",
        (channel("Kiln", times, printed(kiln), "F"),),
        options={"tz": zone, "dates": "month-first"},
    )


def dotted_dates_decimal_comma():
    n = 192
    times = since(np.arange(n) * 900, utc(2026, 2, 27, 6, zone="Europe/Berlin"))
    room, vault = firing(n, 1040, 2), firing(n, 1015, 3)
    rows = zip(
        stamps(times, "%d.%m.%Y %H:%M", "Europe/Berlin"),
        (c.replace(".", ",") for c in cells(room)),
        (c.replace(".", ",") for c in cells(vault)),
        strict=True,
    )
    return Case(
        "dotted_dates_decimal_comma.csv",
        table(["Datum/Uhrzeit", "Ofenraum °C", "Gewölbe °C"], rows, ";").encode("cp1252"),
        "27.02.2026 is day first; decimal commas, semicolons, Windows letters.",
        (channel("Ofenraum", times, printed(room)), channel("Gewölbe", times, printed(vault))),
        options={"tz": "Europe/Berlin"},
    )


def dotted_year_first(heading, file, why, options):
    n = 288
    times = since(np.arange(n) * 900, utc(2026, 3, 29, 16, zone="Asia/Seoul"))
    top = firing(n, 1234, 4)
    rows = zip(
        stamps(times, "%y.%m.%d", "Asia/Seoul"), stamps(times, "%H:%M:%S", "Asia/Seoul"),
        cells(top), strict=True,
    )  # fmt: skip
    return Case(
        file, table([heading, "Time", "Chamber (°C)"], rows).encode(), why,
        (channel("Chamber", times, printed(top)),), options={"tz": "+09:00", **options},
    )  # fmt: skip


def dotted_year_first_stated():
    return dotted_year_first(
        "Date (yy.mm.dd)", "dotted_year_first_stated.csv",
        "The heading says yy.mm.dd: 26.03.29 is 29 March 2026, not 26 March 2029.", {},
    )  # fmt: skip


def dotted_year_first_unstated():
    return dotted_year_first(
        "Date", "dotted_year_first_unstated.csv",
        "26.03.31 is followed by 26.04.01: only with the year first are these three days.",
        {"dates": "year-first"},
    )  # fmt: skip


def day_of_year_hhmm():
    n = 192
    times = since(np.arange(n) * 1800, utc(2026, 3, 13, 22) + 6 * 3600)
    air, soil = weather(n, 48, seed=1), weather(n, 48, 7, 2, seed=2)
    humid, sun = share(n, 40, 95, 3), share(n, 0, 400, 4)
    local = [t - 6 * 3600 for t in times]
    rows = zip(
        stamps(local, "%Y"), (int(d) for d in stamps(local, "%j")),
        (int(h) for h in stamps(local, "%H%M")), cells(air, 2), cells(soil, 2), cells(humid),
        cells(sun, 0), strict=True,
    )  # fmt: skip
    return Case(
        "day_of_year_hhmm.csv",
        table(["Year", "DOY", "HHMM", "Tair_C", "Tsoil_C", "RH_%", "Rad_W/m2"], rows).encode(),
        "Year, day of the year and hour-minute without leading zeros: 72, 2330 is 13 March.",
        (channel("Tair", times, printed(air, 2)), channel("Tsoil", times, printed(soil, 2))),
        options={"tz": "-06:00"},
    )


def year_month_day_hour():
    n = 240
    times = since(np.arange(n) * 3600, utc(2026, 2, 25))
    air, rain = weather(n, 24, seed=5), share(n, 0, 2, 6)
    rows = zip(
        *(([int(v) for v in stamps(times, form)]) for form in ("%Y", "%m", "%d", "%H")),
        cells(air), cells(rain), strict=True,
    )  # fmt: skip
    return Case(
        "year_month_day_hour.csv",
        table(["Year", "Month", "Day", "Hour (UTC)", "Air temp (°C)", "Rain (mm)"], rows).encode(),
        "Four columns make the hour, and the heading says UTC: nothing is to be asked.",
        (channel("Air temp", times, printed(air)),),
    )


def six_columns():
    n = 120
    times = since(np.arange(n) * 45, utc(2026, 11, 30, 23, 50, 0) + 3 * 3600)
    local = [t - 3 * 3600 for t in times]
    a, b = firing(n, 455, 6), firing(n, 402, 7)
    parts = [[int(v) for v in stamps(local, "%" + f)] for f in "YmdHMS"]
    rows = zip(*parts, cells(a, 2), cells(b, 2), strict=True)
    return Case(
        "six_columns.csv",
        table(["yr", "mo", "dy", "hr", "mi", "se", "inlet [degC]", "outlet [degC]"], rows).encode(),
        "Six columns make one instant, over midnight and the end of a month.",
        (channel("inlet", times, printed(a, 2)), channel("outlet", times, printed(b, 2))),
        options={"tz": "-03:00"},
    )


def hours_1_to_24():
    n = 96
    times = since(np.arange(1, n + 1) * 3600, utc(2026, 3, 14) + 5 * 3600)
    air = weather(n, 24, 4, 7, seed=8)
    day = stamps(([t - 6 * 3600 for t in times]), "%Y-%m-%d")
    rows = zip(day, [i % 24 + 1 for i in range(n)], cells(air), strict=True)
    return Case(
        "hours_1_to_24.csv",
        table(["Date", "Hour", "Air (°C)"], rows).encode(),
        "Hours run from 1 to 24: hour 24 is the midnight that ends the day.",
        (channel("Air", times, printed(air)),),
        outcome="ask or import",
        options={"tz": "-05:00"},
    )


def compact_date_and_hhmm():
    n = 150
    times = since(np.arange(n) * 600, utc(2026, 3, 14, 20, 10) + 7 * 3600)
    local = [t - 7 * 3600 for t in times]
    roof, wind = weather(n, 144, seed=9), share(n, 0, 9, 1)
    rows = zip(
        stamps(local, "%Y%m%d"), (int(h) for h in stamps(local, "%H%M")), cells(roof), cells(wind),
        strict=True,
    )  # fmt: skip
    return Case(
        "compact_date_and_hhmm.csv",
        table(["YYYYMMDD", "HHMM", "Roof (°C)", "Wind (m/s)"], rows).encode(),
        "20260314 and 2010 are a date and ten past eight; ten past midnight is written 10.",
        (channel("Roof", times, printed(roof)),),
        options={"tz": "-07:00"},
    )


def fourteen_digits():
    n = 140
    times = since(np.arange(n) * 30, utc(2026, 3, 14, 23, 20, 30))
    kiln = firing(n, 990, 10)
    clock = stamps(times, "%Y%m%d%H%M%S")
    return Case(
        "fourteen_digits.csv",
        table(["Timestamp_UTC", "Kiln_C"], zip(clock, cells(kiln), strict=True)).encode(),
        "Fourteen digits are a date with its time, in UTC as the name says.",
        (channel("Kiln", times, printed(kiln)),),
    )


def date_written_once_a_day():
    n = 144
    zone = "Europe/Lisbon"
    times = since(np.arange(n) * 1200, utc(2026, 2, 27, 10, zone=zone))
    kiln = firing(n, 1085, 11)
    days = stamps(times, "%Y-%m-%d", zone)
    once = [d if i == 0 or d != days[i - 1] else "" for i, d in enumerate(days)]
    rows = zip(once, stamps(times, "%H:%M", zone), cells(kiln), strict=True)
    return Case(
        "date_written_once_a_day.csv",
        table(["Date", "Time", "Kiln (°C)"], rows).encode(),
        "The date stands only where it changes: a blank one means the same day.",
        (channel("Kiln", times, printed(kiln)),),
        options={"tz": zone},
    )


def autumn_night():
    n = 109
    zone = "America/Denver"
    times = since(np.arange(n) * 300, utc(2026, 10, 31, 22, zone=zone))
    kiln = firing(n, 860, 12)
    rows = zip(stamps(times, "%Y-%m-%d %H:%M", zone), cells(kiln), strict=True)
    return Case(
        "autumn_night.csv",
        table(["Local time", "Kiln (°C)"], rows).encode(),
        "On 1 November 2026 the hour from 01:00 comes twice in Denver; the rows are in order.",
        (channel("Kiln", times, printed(kiln)),),
        options={"tz": zone},
    )


def spring_night():
    n = 120
    zone = "Europe/Berlin"
    times = since(np.arange(n) * 300, utc(2026, 3, 28, 20, zone=zone))
    kiln = firing(n, 880, 13)
    rows = zip(stamps(times, "%d.%m.%Y %H:%M", zone), cells(kiln), strict=True)
    return Case(
        "spring_night.csv",
        table(["Zeit", "Ofen (°C)"], rows, ";").encode(),
        "01:55 is followed by 03:00: five minutes, not sixty-five.",
        (channel("Ofen", times, printed(kiln)),),
        options={"tz": zone},
    )


def offsets_change_in_the_night():
    n = 100
    zone = "Europe/Berlin"
    times = since(np.arange(n) * 300, utc(2026, 3, 28, 22, zone=zone))
    clock = stamps(times, "%Y-%m-%dT%H:%M:%S%z", zone)
    kiln = firing(n, 930, 14)
    rows = zip((c[:-2] + ":" + c[-2:] for c in clock), cells(kiln), strict=True)
    return Case(
        "offsets_change_in_the_night.csv",
        table(["time", "kiln (°C)"], rows).encode(),
        "Every stamp carries its own offset, +01:00 and then +02:00.",
        (channel("kiln", times, printed(kiln)),),
    )


def zone_in_heading_gmt():
    n = 200
    times = since(np.arange(n) * 900, utc(2026, 3, 14, 9, 15) + 3 * 3600)
    clock = stamps([t - 3 * 3600 for t in times], "%m/%d/%y %I:%M:%S %p")
    water, level = weather(n, 96, 12, 3, seed=15), share(n, 0.7, 0.9, 2)
    rows = zip(range(1, n + 1), clock, cells(water, 3), cells(level, 3), strict=True)
    head = ["#", '"Date Time, GMT-03:00"', '"Water, °C"', '"Depth, m"']
    return Case(
        "zone_in_heading_gmt.csv",
        table(head, rows).encode("utf-8-sig"),
        "The heading's GMT-03:00 is the zone of all stamps; 03/14/26 is month first.",
        (channel("Water", times, printed(water, 3)),),
    )


def zone_in_heading_utc_offset():
    n = 96
    times = since(np.arange(n) * 600, utc(2026, 8, 3, 18) - 34200)
    clock = stamps([t + 34200 for t in times], "%Y-%m-%d %H:%M:%S")
    shed = weather(n, 144, 17, 5, seed=16)
    return Case(
        "zone_in_heading_utc_offset.csv",
        table(["Local time (UTC+09:30)", "Shed (°C)"], zip(clock, cells(shed), strict=True))
        .encode(),
        "Stamps are nine and a half hours ahead of UTC, as the heading says.",
        (channel("Shed", times, printed(shed)),),
    )  # fmt: skip


def ambiguous_within_a_day():
    n = 100
    times = since(np.arange(n) * 120, utc(2026, 6, 5, 9, zone="Europe/Lisbon"))
    kiln = firing(n, 720, 17)
    clock = stamps(times, "%d/%m/%Y %H:%M:%S", "Europe/Lisbon")
    return Case(
        "ambiguous_within_a_day.csv",
        table(["Date", "Kiln (°C)"], zip(clock, cells(kiln), strict=True)).encode(),
        "05/06/2026 all day long may be May or June: only the person knows it is 5 June.",
        (channel("Kiln", times, printed(kiln)),),
        options={"tz": "Europe/Lisbon", "dates": "day-first"},
    )


def month_words():
    n = 90
    times = since(np.arange(n) * 600, utc(2026, 2, 28, 20) - 2 * 3600)
    clock = stamps([t + 2 * 3600 for t in times], "%d-%b-%Y %H:%M:%S")
    kiln = firing(n, 1015, 18)
    rows = zip((c.upper() for c in clock), cells(kiln), strict=True)
    return Case(
        "month_words.csv",
        table(["TIME", "KILN (DEG C)"], rows).encode(),
        "28-FEB-2026 needs no question but the zone.",
        (channel("KILN", times, printed(kiln)),),
        options={"tz": "+02:00"},
    )


def date_in_preamble():
    n = 170
    zone = "America/Chicago"
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 22, 30, zone=zone))
    oven = firing(n, 610, 19)
    text = "Oven trial 7\nDate: 14 March 2026\nOperator: I. Marsh\n"
    rows = zip(stamps(times, "%H:%M:%S", zone), cells(oven), strict=True)
    return Case(
        "date_in_preamble.csv",
        (text + table(["Time", "Oven (°C)"], rows)).encode(),
        "The date stands above, times of day below, and midnight is passed.",
        (channel("Oven", times, printed(oven)),),
        options={"start": "2026-03-14T22:30:00-05:00", "times": "clock"},
    )


def zone_in_every_cell():
    n = 80
    times = since(np.arange(n) * 60, utc(2026, 3, 14, 22, 30))
    oven = firing(n, 610, 20)
    clock = stamps(times, "%Y-%m-%d %H:%M:%S UTC")
    return Case(
        "zone_in_every_cell.csv",
        table(["Logged at", "Oven (°C)"], zip(clock, cells(oven), strict=True)).encode(),
        "Each stamp ends in UTC.",
        (channel("Oven", times, printed(oven)),),
    )


def ordinal_dates():
    n = 216
    times = since(np.arange(n) * 1200, utc(2026, 3, 14, 6))
    kiln = follow(n, (0, 19), (0.5, 1060), (1, 90), seed=21)
    rows = zip(stamps(times, "%Y-%jT%H:%M:%SZ"), cells(kiln), strict=True)
    return Case(
        "ordinal_dates.csv",
        table(["time", "kiln (°C)"], rows).encode(),
        "2026-073T06:00:00Z is ISO 8601's day of the year. Asking is right too: it is rare.",
        (channel("kiln", times, printed(kiln)),),
        outcome="ask or import",
    )


CASES = (
    us_dates_over_midnight, dotted_dates_decimal_comma, dotted_year_first_stated,
    dotted_year_first_unstated, day_of_year_hhmm, year_month_day_hour, six_columns,
    hours_1_to_24, compact_date_and_hhmm, fourteen_digits, date_written_once_a_day, autumn_night,
    spring_night, offsets_change_in_the_night, zone_in_heading_gmt, zone_in_heading_utc_offset,
    ambiguous_within_a_day, month_words, date_in_preamble, zone_in_every_cell,
    ordinal_dates,
)  # fmt: skip
