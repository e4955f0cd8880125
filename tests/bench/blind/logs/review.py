#!/usr/bin/env python3
"""A second reading of every file by pandas, written apart from the generators, against the truth.

    python review.py      prints each case whose truth pandas does not find; exit status 1 if any

A recipe says how a person would read one file: separator, lines to skip, where the clock is and in
what, which columns are temperatures and in what unit, and what stands for no value.
"""

import io
import sys
from dataclasses import dataclass, field
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from cases import all_cases

START = pd.Timestamp("2026-03-14T08:00:00Z")
SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86400}


@dataclass
class Recipe:
    """How one file is read; `columns` maps a place in the row to the unit of a temperature."""

    columns: dict
    clock: object = "s"  # s, min, h, d: elapsed in column `at`; or a function of the frame
    at: int = 0
    skip: int = 1
    kwargs: dict = field(default_factory=dict)
    bad: tuple = ()
    after: float = -np.inf  # rows before this instant do not count


def read(data, recipe):
    """(frame of text, instants as seconds since 1970)."""
    kwargs = {"sep": ",", "header": None, "skiprows": recipe.skip, "dtype": str} | recipe.kwargs
    frame = pd.read_csv(io.BytesIO(data), **kwargs)
    if callable(recipe.clock):
        return frame, recipe.clock(frame)
    count = number(frame[recipe.at], recipe)
    return frame, START.timestamp() + count * SECONDS[recipe.clock]


def number(column, recipe):
    """Numbers of a column of text, NaN where there is none."""
    text = column.astype("string").str.strip().str.replace(r"\s*°[CF]$", "", regex=True)
    text = text.str.replace("D", "E").str.replace("\u202f", "")
    if recipe.kwargs.get("decimal") == ",":
        text = text.str.replace(".", "").str.replace(",", ".")
    else:
        text = text.str.replace(",", "")
    return pd.to_numeric(text, errors="coerce").astype(float)


def celsius(values, unit):
    """A column in °C."""
    return {"C": values, "F": (values - 32) / 1.8, "K": values - 273.15, "d": values / 10}[unit]


def seconds(stamps):
    """Aware stamps as seconds since 1970."""
    return (stamps - pd.Timestamp(0, tz="UTC")).dt.total_seconds()


def stamped(form, zone="UTC", columns=(0,), **localize):
    """A clock of stamps in one or several columns, read by a format, in a zone or offset."""

    def clock(frame):
        text = frame[columns[0]]
        for column in columns[1:]:
            text = text + " " + frame[column]
        stamps = pd.to_datetime(text, format=form)
        if stamps.dt.tz is None:
            where = zone if zone[0] in "+-" else ZoneInfo(zone)
            stamps = stamps.dt.tz_localize(where, **localize)
        return seconds(stamps.dt.tz_convert("UTC"))

    return clock


def of_day(day, zone, form="%H:%M:%S"):
    """A clock of times of day from a first day on, that goes on at midnight."""

    def clock(frame):
        text = frame[0] if form == "%H:%M:%S" else frame[1]
        stamps = pd.to_datetime(day + " " + text, format="%Y-%m-%d " + form)
        nights = (stamps.diff() < pd.Timedelta(0)).cumsum()
        stamps = stamps + pd.to_timedelta(nights, unit="D")
        return seconds(stamps.dt.tz_localize(ZoneInfo(zone)).dt.tz_convert("UTC"))

    return clock


def colons(parts):
    """A clock of elapsed h:mm:ss or mm:ss."""

    def clock(frame):
        fields = frame[0].str.split(":", expand=True).astype(int)
        scale = (3600, 60, 1)[-parts:]
        return START.timestamp() + sum(fields[i] * s for i, s in enumerate(scale))

    return clock


def fields(columns, zone, **kwargs):
    """A clock of year, month, day, hour ... in columns of their own."""

    def clock(frame):
        names = ("year", "month", "day", "hour", "minute", "second")
        parts = {k: frame[c].astype(int) for k, c in zip(names, columns, strict=False)}
        stamps = pd.to_datetime(pd.DataFrame(parts))
        return seconds(stamps.dt.tz_localize(zone, **kwargs).dt.tz_convert("UTC"))

    return clock


def padded(form, columns, zone, width=4):
    """A clock whose last column is hour and minute without leading zeros."""

    def clock(frame):
        text = frame[columns[0]]
        for column in columns[1:-1]:
            text = text + " " + frame[column]
        text = text + " " + frame[columns[-1]].str.zfill(width)
        return seconds(pd.to_datetime(text, format=form).dt.tz_localize(zone).dt.tz_convert("UTC"))

    return clock


def serial(frame):
    """Days since 1899-12-30, at -07:00."""
    days = pd.to_timedelta(frame[0].astype(float), unit="D")
    return seconds((pd.Timestamp("1899-12-30") + days).dt.tz_localize("-07:00"))


def hour_24(frame):
    """A date and hours from 1 to 24, at -05:00."""
    stamps = pd.to_datetime(frame[0]) + pd.to_timedelta(frame[1].astype(int), unit="h")
    return seconds(stamps.dt.tz_localize("-05:00"))


def filled(frame):
    """A date only where it changes."""
    text = frame[0].ffill() + " " + frame[1]
    return seconds(pd.to_datetime(text).dt.tz_localize("Europe/Lisbon").dt.tz_convert("UTC"))


def within_the_minute(frame):
    """Stamps of whole minutes, six rows to each, ten seconds apart."""
    place = frame.groupby(0).cumcount()
    return seconds(pd.to_datetime(frame[0]).dt.tz_localize("UTC")) + 10.0 * place


def epoch(scale):
    """Seconds or milliseconds since 1970."""
    return lambda frame: frame[0].astype(float) / scale


ISO = stamped("ISO8601")
TEXT = {"sep": ";"}
COMMA = {"sep": ";", "decimal": ","}
C = "C"


def plain(*places, **more):
    """A recipe whose columns are all in °C."""
    return Recipe(dict.fromkeys(places, C), **more)


RECIPES = {
    # clocks
    "oven_half_minutes.csv": plain(1, 2, clock="min"),
    "kiln_hours_tabs.txt": plain(1, 2, clock="h", kwargs={"sep": "\t"}),
    "drying_days.csv": plain(1, 2, clock="d"),
    "furnace_beyond_24_hours.csv": plain(1, clock=colons(3)),
    "oven_minutes_seconds.csv": plain(1, clock=colons(2)),
    "night_over_midnight.csv": plain(1, 2, clock=of_day("2026-03-14", "America/New_York")),
    "bare_count_minutes.csv": plain(1, 2, clock="min"),
    "epoch_seconds.csv": plain(1, clock=epoch(1)),
    "epoch_milliseconds.csv": plain(1, clock=epoch(1000)),
    "spreadsheet_serial_days.csv": plain(1, clock=serial),
    "clock_in_1970_at_first.csv": plain(1, clock=ISO, after=1e9),
    "clock_never_set.csv": plain(1, clock=stamped("ISO8601")),
    "fire_test_baseline.csv": plain(1, 2),
    "dip_four_per_second.csv": plain(1, clock=stamped("ISO8601", "Europe/Lisbon")),
    "stamp_beside_count.csv": plain(3, clock=stamped("ISO8601", columns=(2,))),
    "stamps_to_the_minute.csv": plain(1, clock=within_the_minute),
    "interval_in_preamble.csv": plain(
        1, skip=4, clock=lambda f: START.timestamp() + 30.0 * (f[0].astype(int) - 1)
    ),
    "day_and_time_of_day.csv": plain(2, clock=of_day("2026-03-14", "America/Bogota", "%H:%M")),
    # dates
    "us_dates_over_midnight.csv": Recipe(
        {1: "F"}, clock=stamped("%m/%d/%Y %I:%M:%S %p", "America/Denver")
    ),
    "dotted_dates_decimal_comma.csv": plain(
        1,
        2,
        clock=stamped("%d.%m.%Y %H:%M", "Europe/Berlin"),
        kwargs={**COMMA, "encoding": "cp1252"},
    ),
    "dotted_year_first_stated.csv": plain(2, clock=stamped("%y.%m.%d %H:%M:%S", "+09:00", (0, 1))),
    "dotted_year_first_unstated.csv": plain(
        2, clock=stamped("%y.%m.%d %H:%M:%S", "+09:00", (0, 1))
    ),
    "day_of_year_hhmm.csv": plain(3, 4, clock=padded("%Y %j %H%M", (0, 1, 2), "-06:00")),
    "year_month_day_hour.csv": plain(4, clock=fields((0, 1, 2, 3), "UTC")),
    "six_columns.csv": plain(6, 7, clock=fields(range(6), "-03:00")),
    "hours_1_to_24.csv": plain(2, clock=hour_24),
    "compact_date_and_hhmm.csv": plain(2, clock=padded("%Y%m%d %H%M", (0, 1), "-07:00")),
    "fourteen_digits.csv": plain(1, clock=stamped("%Y%m%d%H%M%S")),
    "date_written_once_a_day.csv": plain(2, clock=filled),
    "autumn_night.csv": plain(1, clock=stamped("ISO8601", "America/Denver", ambiguous="infer")),
    "spring_night.csv": plain(1, clock=stamped("%d.%m.%Y %H:%M", "Europe/Berlin"), kwargs=TEXT),
    "offsets_change_in_the_night.csv": plain(
        1, clock=lambda f: seconds(pd.to_datetime(f[0], utc=True))
    ),
    "zone_in_heading_gmt.csv": plain(2, clock=stamped("%m/%d/%y %I:%M:%S %p", "-03:00", (1,))),
    "zone_in_heading_utc_offset.csv": plain(1, clock=stamped("ISO8601", "+09:30")),
    "ambiguous_within_a_day.csv": plain(1, clock=stamped("%d/%m/%Y %H:%M:%S", "Europe/Lisbon")),
    "month_words.csv": plain(1, clock=stamped("%d-%b-%Y %H:%M:%S", "+02:00")),
    "date_in_preamble.csv": plain(1, skip=4, clock=of_day("2026-03-14", "America/Chicago")),
    "zone_in_every_cell.csv": plain(1, clock=stamped("%Y-%m-%d %H:%M:%S UTC")),
    "ordinal_dates.csv": plain(1, clock=stamped("%Y-%jT%H:%M:%SZ")),
    # units
    "units_row_below.csv": plain(1, 2, skip=2),
    "units_row_above.csv": plain(2, 3, skip=2),
    "suffixes_mixed.csv": Recipe({1: C, 2: "F", 3: C}, clock=ISO),
    "deg_f_in_brackets.csv": Recipe({1: "F", 2: "F"}, clock="min"),
    "kelvin_in_brackets.csv": Recipe({1: "K", 2: "K"}),
    "unit_in_preamble.csv": Recipe({1: "F", 2: "F"}, skip=4),
    "unit_in_footer.csv": plain(1, 2, clock="min", kwargs={"nrows": 100}),
    "no_unit_fahrenheit.csv": Recipe({1: "F", 2: "F"}, clock="min"),
    "unit_in_every_cell.csv": Recipe({1: C, 2: "F"}, clock=ISO),
    "spellings_of_celsius.csv": plain(1, 2, 3, 4, 5),
    "same_in_c_and_f.csv": Recipe({1: C, 2: "F"}),
    "stated_unit_beside_suffix.csv": Recipe({1: C, 2: "F"}),
    "unit_with_serial_number.csv": plain(1, 2, clock=ISO),
    "rise_beside_temperature.csv": plain(1, clock="min"),
    "quantity_over_unit.csv": plain(2, 3, clock="min"),
    "tenths_of_a_degree.csv": Recipe({2: "d"}, clock=stamped("%Y%m%d %H", columns=(0, 1))),
    "couples_beside_velocities.csv": plain(1, 2, 3, 4),
    # quantities
    "flows_before_the_clock.csv": plain(4, at=3),
    "steady_flow_rises.csv": plain(2, at=1),
    "rates_beside_temperatures.csv": plain(2, clock="min"),
    "weather_station.csv": plain(1, 2, clock=stamped("ISO8601", "Europe/Lisbon")),
    "controller_without_units.csv": plain(1),
    "record_numbers_and_battery.csv": plain(4, 5, 3, skip=2, clock=ISO),
    "means_with_spread.csv": plain(1, clock="min"),
    "zones_with_set_points.csv": plain(1, 4, clock=ISO),
    "flows_without_a_stroke.csv": plain(4, at=3, clock="min"),
    "room_fire_with_gas.csv": plain(6, 7, 8),
    # figures
    "eighteen_digits.txt": plain(1, 2, kwargs={"sep": " "}),
    "twenty_digits_plain.csv": plain(1, clock=ISO),
    "thousands_quoted.csv": plain(1, 2, clock="min"),
    "thousands_spaced.csv": plain(1, clock="min", kwargs=COMMA),
    "three_decimals_after_a_comma.csv": plain(1, 2, clock="min", kwargs=COMMA),
    "mixed_decimals.csv": plain(1),
    "words_for_nothing.csv": plain(1, 2, clock=ISO),
    "signs_and_leading_zeros.csv": plain(1, 2, clock="min"),
    "fortran_exponents.txt": plain(1, kwargs={"sep": r"\s+"}),
    "decimal_comma_in_quotes.csv": plain(1, 2, kwargs={"decimal": ","}),
    "one_blank_in_a_hundred.csv": plain(1, 2, 3, 4),
    "comma_and_point_apart.csv": plain(1, clock="min", kwargs=COMMA),
    # faults
    "plugged_in_late_blank.csv": plain(1, 2, clock="min"),
    "plugged_in_late_word.csv": plain(1, 2, clock=ISO),
    "dead_throughout.csv": plain(1, clock="min"),
    "dies_at_the_scale_end.csv": plain(1, 2, bad=(1372.0,)),
    "fault_words.csv": plain(*range(1, 10), bad=(np.inf,)),
    "weather_sentinels.csv": plain(1, 2, clock=ISO, bad=(-99.9, -9999.0)),
    "register_codes.csv": plain(1, 2, bad=(3276.7, 6553.5)),
    "dying_couple.csv": plain(1, 2, 3, bad=(287.4, 49.1, 1368.2, 31.7, 1370.9, 1371.6)),
    "zeros_in_the_heat.csv": plain(1, 2, clock=ISO, bad=(0.0,)),
    "digital_sensors.csv": plain(1, 2, clock=epoch(1), bad=(-127.0, 85.0)),
    "piece_drawn_from_the_kiln.csv": plain(1, 2),
    "doors_opened.csv": plain(1, 2, clock="min"),
    "hotter_than_type_k.csv": plain(1, 2, clock=ISO),
    "flashover.csv": plain(1, 2),
    # layouts
    "heading_repeated.csv": plain(
        1, 2, clock=lambda f: seconds(pd.to_datetime(f[0], errors="coerce", utc=True))
    ),
    "preamble_and_summary.csv": plain(
        2, 3, skip=8, clock=stamped("ISO8601", columns=(0, 1)), kwargs={"nrows": 150}
    ),
    "utf16_tabs.txt": plain(1, clock=ISO, kwargs={"sep": "\t", "encoding": "utf-16"}),
    "old_mac_line_ends.txt": plain(1, clock="min", kwargs={"sep": "\t", "encoding": "mac-roman"}),
    "all_quoted_with_trailing_commas.csv": plain(1, 2, clock=ISO),
    "pipes.txt": plain(1, 2, clock="min", kwargs={"sep": "|"}),
    "fixed_width.txt": plain(1, 2, kwargs={"sep": r"\s+"}),
    "comments_between_rows.csv": plain(1, skip=2, clock=ISO, kwargs={"comment": "#"}),
    "no_heading_at_all.csv": plain(1, 2, 3, skip=0, clock=stamped("ISO8601", "Europe/Lisbon")),
    "heading_one_short.csv": plain(2, 3, clock=stamped("ISO8601", columns=(1,))),
    "ragged_rows.csv": plain(1, 2, clock="min", kwargs={"names": range(5)}),
    "three_heading_rows.csv": plain(1, 2, skip=3),
    "empty_columns_and_lines.csv": plain(
        2, 4, clock=lambda f: seconds(pd.to_datetime(f[0], errors="coerce", utc=True))
    ),
    "rows_newest_first.csv": plain(1, clock=ISO),
    "same_rows_twice.csv": plain(1, clock=ISO),
    # names
    "places_that_sound_otherwise.csv": plain(*range(1, 8)),
    "places_without_units.csv": plain(1, 2, 3, 4),
    "minimum_and_maximum.csv": plain(1, 2, 3),
    "t_and_capital_t.csv": plain(1, 2),
    "times_that_are_no_clock.csv": plain(1),
    "seconds_in_names.csv": plain(*range(1, 6)),
    "german_names.csv": plain(1, 2, clock="min", kwargs=TEXT),
    "same_name_three_times.csv": plain(1, 2, 3, clock=ISO),
}


def by_recipe(case):
    """The temperatures of a file as its recipe reads them, in the order of its columns."""
    recipe = RECIPES[case.file]
    frame, times = read(case.data, recipe)
    for place, unit in recipe.columns.items():
        values = number(frame[place], recipe)
        good = values.notna() & ~values.isin(recipe.bad) & times.notna() & (times > recipe.after)
        pairs = zip(times[good], celsius(values[good], unit), strict=True)
        yield sorted({(round(t, 3), round(v, 4)) for t, v in pairs})


def text(case):
    """The file as text lines."""
    return case.data.decode().split("\n")


def rows_of(lines):
    """A frame of numbers without a heading."""
    return pd.read_csv(io.StringIO("\n".join(lines)), header=None)


def grouped(case, key, value, clock, only=None):
    """A long file: one series for each key, in order of appearance."""
    frame = pd.read_csv(io.BytesIO(case.data))
    for name, part in frame.groupby(frame.columns[key], sort=False):
        if only is None or name == only:
            times = clock(part)
            yield [(round(t, 3), v) for t, v in zip(times, part[part.columns[value]], strict=True)]


def by_hand(case):
    """The files that no recipe reads."""
    start = START.timestamp()
    utc = lambda part: seconds(pd.to_datetime(part["time"], utc=True))  # noqa: E731
    if case.file == "one_sensor_a_row.csv":
        yield from grouped(case, 1, 2, utc)
    elif case.file == "depths_one_under_another.csv":
        yield from grouped(case, 0, 2, lambda part: start + 60 * part["Time (min)"])
    elif case.file == "quantities_one_under_another.csv":
        yield from grouped(case, 1, 2, utc, "air_temp")
    elif case.file == "two_clocks_side_by_side.csv":
        frame = rows_of(text(case)[1:])
        yield list(zip(start + frame[0], frame[1], strict=True))
        right = frame.dropna(subset=[4])
        yield list(zip(start + 60 * right[3], right[4], strict=True))
    elif case.file == "two_tables_stacked.csv":
        lines = text(case)
        cut = lines.index("")
        upper, lower = rows_of(lines[1:cut]), rows_of(lines[cut + 2 :])
        for frame, place in ((upper, 1), (upper, 2), (lower, 1)):
            yield list(zip(start + frame[0], frame[place], strict=True))
    elif case.file == "fixed_width_with_holes.txt":
        frame = pd.read_fwf(io.BytesIO(case.data), widths=[8, 10, 10], header=0)
        for place in (1, 2):
            part = frame.dropna(subset=[frame.columns[place]])
            yield list(zip(start + part.iloc[:, 0], part.iloc[:, place], strict=True))
    elif case.file == "sensors_as_rows.csv":
        frame = pd.read_csv(io.BytesIO(case.data), index_col=0)
        for _, row in frame.iterrows():
            yield [(start + 60 * float(t), v) for t, v in row.items()]
    elif case.file == "flickers_to_the_end_of_scale.csv":
        frame = rows_of(text(case)[1:])
        yield list(zip(start + frame[0], frame[1], strict=True))
        loose = frame[2].gt(2000)
        calm = frame[: loose.idxmax()], frame[loose[loose].index[-1] + 2 :]
        both = pd.concat(calm)
        yield list(zip(start + both[0], both[2], strict=True))


def compare(case):
    """What pandas reads otherwise than the truth says; "" when nothing."""
    wanted = [one for one in case.channels if not one.dead]
    found = list(by_recipe(case) if case.file in RECIPES else by_hand(case))
    if len(wanted) != len(found):
        return f"{len(found)} series, the truth has {len(wanted)}"
    for one, mine in zip(wanted, found, strict=True):
        truth = sorted(one.seen)
        if len(truth) != len(mine):
            return f"{one.name}: {len(mine)} readings, the truth has {len(truth)}"
        gap = np.abs(np.array(sorted(mine)) - np.array(truth)).max(axis=0)
        if gap[0] > 0.05 or gap[1] > 0.001:
            return f"{one.name}: differs by {gap[0]:.3f} s and {gap[1]:.4f} K"
    return ""


def main():
    """Review every case that holds a truth."""
    wrong = 0
    counted = 0
    for case in all_cases():
        if not case.channels:
            continue
        counted += 1
        why = compare(case)
        if why:
            wrong += 1
            print(f"{case.file}: {why}")
    print(f"{counted} files read by pandas, {wrong} otherwise than their truth")
    return int(wrong > 0)


if __name__ == "__main__":
    sys.exit(main())
