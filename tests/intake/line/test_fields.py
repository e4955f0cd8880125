"""Fields that cost one channel, decimal commas, sensors in lines, clocks that show no date."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.foundry import SourceSpec
from firelog.intake import believe
from firelog.intake.fields import LineFault, Scan, read_value
from firelog.intake.file.table.cells import word
from firelog.intake.line.source import line_format
from firelog.intake.line.text import Layout, LineFormat, read_line
from firelog.readings import Quality, Unit

TWO = LineFormat(columns=("kiln", "mould"))


def readings(line: bytes, form: LineFormat) -> dict[str, tuple[float | None, str]]:
    scan = read_line(line, form)
    assert isinstance(scan, Scan), scan
    return {value.column: (value.value, value.quality.word) for value in scan.values}


def source_form(**options: object) -> LineFormat:
    columns = options.pop("columns", ("kiln",))
    layout = options.pop("layout", "values")
    return line_format(SourceSpec("a", "k", "p", format=layout, columns=columns, options=options))  # type: ignore[arg-type]


# ---------------------------------------------------------------- one bad field
@pytest.mark.parametrize("bad", [b"hello", b"Sensor?", b"5 V", b"0x7FFF", b"####", b"Err-x"])
def test_a_bad_field_costs_its_channel(bad: bytes) -> None:
    """A word nobody knows is missing for its channel, and told; the rest of the line is kept."""
    for line in (bad + b";25.0", b"25.0;" + bad):
        scan = read_line(line, TWO)
        assert isinstance(scan, Scan)
        assert sorted(value.quality for value in scan.values) == [Quality.OK, Quality.MISSING]
        assert [fault.raw for fault in scan.unread] == [bad.decode()]


@pytest.mark.parametrize("bad", [b"8q1.2", b"1.2.3", b"q71.2", b"8?1", b"1e999", b"\xff\x81"])
def test_a_spoilt_number_condemns_its_line(bad: bytes) -> None:
    """Where a number looks spoilt on the wire its neighbour is not believed either."""
    assert isinstance(read_line(bad + b";25.0", TWO), LineFault)


def test_mostly_bad_is_garbage() -> None:
    """Where most fields are unknown, or no number is left, the line is no scan."""
    three = LineFormat(columns=("a", "b", "c"))
    for line in (b"x1;foo;25", b"foo;open;open"):
        assert isinstance(read_line(line.replace(b"x1", b"bar"), three), LineFault)


# ---------------------------------------------------------------- one judge of words
WORDS = sorted(believe._WORDS)


@pytest.mark.parametrize("said", WORDS)
def test_every_word_through_both_doors(said: str) -> None:
    """A fault word means the same in a live line and in a logger's file."""
    live = read_value("kiln", said, Unit.C)
    assert (live.value, live.quality) == (None, word(said))


@given(
    st.sampled_from(WORDS), st.sampled_from(["{}", " {} ", "<{}>", "*{}*", "[{}]"]), st.booleans()
)
def test_dressed_words_through_both_doors(said: str, dress: str, upper: bool) -> None:
    """Case, blanks and brackets around a word count the same at either door."""
    field = dress.format(said.upper() if upper else said)
    try:
        live = read_value("kiln", field, Unit.C).quality
    except InputError:
        live = None
    assert live == word(field)


@given(st.text("abcdeEnoprtOL-.*?/# 0123456789", max_size=12))
def test_any_text_through_both_doors(field: str) -> None:
    """What one door takes for a word the other does too."""
    judged = believe.quality_of_word(field)
    try:
        live = read_value("kiln", field, Unit.C)
    except InputError:
        assert judged is None
    else:
        assert judged is None or (live.value, live.quality) == (None, judged)


# ---------------------------------------------------------------- decimal commas
@pytest.mark.parametrize(
    ("line", "columns", "values"),
    [
        (b"871,6", ("kiln",), [871.6]),
        (b"871,625 C", ("kiln",), [871.625]),
        (b"871,6;25,125", ("kiln", "mould"), [871.6, 25.125]),
        (b"871,6\t25,1", ("kiln", "mould"), [871.6, 25.1]),
        (b"871,6 25,1", ("kiln", "mould"), [871.6, 25.1]),
        (b"871,6, -25,1", ("kiln", "mould"), [871.6, -25.1]),
        (b"871 25", ("kiln", "mould"), [871.0, 25.0]),
    ],
)
def test_decimal_comma(line: bytes, columns: tuple[str, ...], values: list[float]) -> None:
    """With ``decimal = ","`` a comma in a number is its decimal mark, whatever parts the fields."""
    form = source_form(columns=columns, decimal=",")
    assert [value for value, _ in readings(line, form).values()] == values


@pytest.mark.parametrize(
    "line", [b"kiln=871,6 mould=25,1", b"kiln=871,6,mould=25,1", b"kiln: 871,6, mould: 25,1"]
)
def test_decimal_comma_in_pairs(line: bytes) -> None:
    """Pairs take decimal commas too, and a comma before a name still parts them."""
    form = LineFormat(Layout.PAIRS, decimal=",")
    assert readings(line, form) == {"kiln": (871.6, "ok"), "mould": (25.1, "ok")}


def test_a_point_where_the_comma_is_stated() -> None:
    """A point in a source of decimal commas is not read as one."""
    assert isinstance(read_line(b"871.6", source_form(decimal=",")), LineFault)


def test_advice_on_a_comma() -> None:
    """A line with twice the fields says what to write if its commas are decimal marks."""
    fault = read_line(b"871,6", source_form())
    assert isinstance(fault, LineFault)
    assert 'decimal = ","' in fault.reason


@given(st.floats(-200, 2000).map(lambda x: round(x, 3)))
def test_comma_round_trip(number: float) -> None:
    """A number printed with a decimal comma comes back as it was."""
    said = readings(f"{number:.3f}".replace(".", ",").encode(), source_form(decimal=","))
    code = bool(np.isin(number, believe.MISSING_CODES))
    assert said["kiln"][0] == number or code


# ---------------------------------------------------------------- which sensor
@pytest.mark.parametrize("place", [1, "sensor"])
def test_sensor_by_position_or_name(place: int | str) -> None:
    """The field that says the sensor makes its channel, by its position or its name."""
    first = "-" if place == 1 else "sensor"
    form = source_form(columns=(first, "temperature"), id=place)
    assert readings(b"S1,871.2", form) == {"S1": (871.2, "ok")}
    assert readings(b"7,25.0", form) == {"7": (25.0, "ok")}


def test_sensor_with_two_readings() -> None:
    """Where a sensor says two things, both are in the channels' names."""
    form = source_form(columns=("sensor", "hot", "cold"), id="sensor")
    assert readings(b"3;871.2;25.0", form) == {"3 hot": (871.2, "ok"), "3 cold": (25.0, "ok")}


@pytest.mark.parametrize(
    ("layout", "line"), [("pairs", b"id=3 t=871.2"), ("json", b'{"id":3,"t":871.2,"up":9}')]
)
def test_sensor_in_named_fields(layout: str, line: bytes) -> None:
    """Pairs and JSON name their sensor too."""
    form = source_form(layout=layout, columns=("t",), id="id")
    assert readings(line, form) == {"3": (871.2, "ok")}


def test_a_line_without_its_sensor() -> None:
    """A line that does not say its sensor is no reading of any."""
    form = source_form(columns=("sensor", "t"), id="sensor")
    assert isinstance(read_line(b",871.2", form), LineFault)
    assert isinstance(read_line(b"\xb5\xb5,871.2", form), LineFault)


@pytest.mark.parametrize("wrong", [{"id": 3}, {"id": "other"}, {"id": True}, {"decimal": "'"}])
def test_options_that_cannot_be(wrong: dict[str, object]) -> None:
    """A position beyond the columns, an unknown field and another mark are refused beforehand."""
    with pytest.raises(InputError):
        source_form(columns=("a", "b"), **wrong)


# ---------------------------------------------------------------- clocks
@pytest.mark.parametrize(
    "clock", ["0", "12345", "12345.678", "00:12:31", "2026-03-01 08:00:00", "1970-01-01T00:03:00Z"]
)
def test_clock_without_a_date(clock: str) -> None:
    """A clock never set, a count and a local time leave the date to arrival, the readings good."""
    form = LineFormat(columns=("time", "kiln"))
    scan = read_line(f"{clock},871.2".encode(), form)
    assert isinstance(scan, Scan)
    assert (scan.t_us, scan.clock) == (None, clock)
    assert [value.value for value in scan.values] == [871.2]


def test_clock_of_a_json_line() -> None:
    """A count in a JSON line's time field is no date either."""
    form = LineFormat(Layout.JSON, ("t",), time="up")
    for up in (0, 12345):
        scan = read_line(b'{"up":%d,"t":871.2}' % up, form)
        assert isinstance(scan, Scan)
        assert (scan.t_us, scan.clock) == (None, str(up))


def test_clock_that_is_noise() -> None:
    """What is no clock at all condemns its line, and a field nobody named must be an instant."""
    assert isinstance(read_line(b"x9!,871.2", LineFormat(columns=("time", "kiln"))), LineFault)
    assert isinstance(read_line(b"12345,871.2", LineFormat(columns=("kiln",))), LineFault)
