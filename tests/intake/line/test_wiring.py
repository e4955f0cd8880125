"""Cold junctions put together with emfs, columns named by channels."""

from __future__ import annotations

import pytest

from firelog.errors import InputError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.intake.fields import Scan, Value
from firelog.intake.line.source import line_format
from firelog.intake.line.text import COLD, read_line
from firelog.intake.line.wiring import Wiring, wire
from firelog.physics.thermometry import thermocouple
from firelog.readings import Quality, Role, Unit


def wired(wiring: Wiring, *values: Value) -> list[Value]:
    return list(wire(Scan(None, values), wiring).values)


@pytest.mark.parametrize(
    ("letter", "hot_c", "hot_mv", "cold_c", "cold_mv"),
    [("K", 900.0, 37.326, 25.0, 1.000), ("S", 1150.0, 11.351, 25.0, 0.143)],
)
def test_millivolts_with_cold_junction(
    letter: str, hot_c: float, hot_mv: float, cold_c: float, cold_mv: float
) -> None:
    """Measured emf and terminals' temperature give the emf of the table, in mV at 0 °C.

    Values: NIST Monograph 175, tables for types K and S.
    """
    wiring = Wiring(cold="board", letters={"kiln": letter})
    values = (Value("kiln", hot_mv - cold_mv, Unit.MV), Value("board", cold_c))
    kiln, board = wired(wiring, *values)
    assert kiln.value == pytest.approx(hot_mv, abs=0.001)
    assert thermocouple.temperature_c(letter, kiln.value) == pytest.approx(hot_c, abs=0.1)
    assert board == values[1]


def test_cold_junction_in_fahrenheit() -> None:
    """The terminals' temperature may come in another unit: 77 °F is 25 °C."""
    wiring = Wiring(cold="board")
    kiln, _ = wired(wiring, Value("kiln", 36.326, Unit.MV), Value("board", 77.0, Unit.F))
    assert kiln.value == pytest.approx(37.326, abs=0.001)


@pytest.mark.parametrize(
    "board", [Value("board", None, quality=Quality.OPEN), Value("board", 300.0), Value("x", 25.0)]
)
def test_no_cold_junction_no_reading(board: Value) -> None:
    """Without a cold junction that can be, an emf is no reading; it is marked, not guessed."""
    kiln, _ = wired(Wiring(cold="board"), Value("kiln", 36.326, Unit.MV), board)
    assert (kiln.value, kiln.quality) == (None, Quality.SUSPECT)


@pytest.mark.parametrize(
    ("letter", "shown_c", "true_c"),
    [("K", 905.07, 900.0), ("K", 1139.33, 1150.0), ("N", 899.69, 900.0), ("S", 1194.14, 1150.0)],
)
def test_linear_chip_made_true(letter: str, shown_c: float, true_c: float) -> None:
    """The MAX31855's straight line is undone: what it shows at 25 °C gives the true temperature.

    Slopes: the chip's datasheet; reference functions: NIST Monograph 175.
    """
    wiring = Wiring({"T1": "kiln"}, chip="max31855", letters={"kiln": letter})
    hot, cold = wired(wiring, Value("T1", shown_c), Value("T1" + COLD, 25.0))
    assert (hot.column, cold.column, hot.unit) == ("kiln", "kiln" + COLD, Unit.MV)
    assert thermocouple.temperature_c(letter, hot.value) == pytest.approx(true_c, abs=0.02)


def test_open_chip_stays_open() -> None:
    """An open couple behind a linear chip stays open."""
    hot, _ = wired(
        Wiring(chip="max31855"), Value("T1", None, quality=Quality.OPEN), Value("T1" + COLD, 25.0)
    )
    assert (hot.value, hot.quality) == (None, Quality.OPEN)


def test_source_from_the_file() -> None:
    """A foundry file's section makes the source with the channels it will fill."""
    spec = SourceSpec(
        "box", "kiln", "x", columns=("T1", "board"), unit=Unit.MV,
        options={"cold_junction": "board", "names": {"T1": "kiln top"}},
    )  # fmt: skip
    form = line_format(spec)
    scan = read_line(b"11.208,25", form)
    assert isinstance(scan, Scan)
    assert [value.unit for value in scan.values] == [Unit.MV, Unit.C]
    source = make_source(spec, ArrivalClock(), [ChannelSpec("kiln top", "kiln", letter="S")])
    assert [(c.name, c.role, c.letter) for c in source.channels] == [
        ("kiln top", Role.KILN, "S"),
        ("board", Role.COLD_JUNCTION, None),
    ]


@pytest.mark.parametrize(
    ("spec", "says"),
    [
        ({"format": "morse"}, "morse"),
        ({"options": {"colour": 1}}, "colour"),
        ({"options": {"cold_junction": "x"}}, "none of the columns"),
        ({"options": {"parity": "?"}}, "parity"),
        ({"options": {"dtr": 1}}, "dtr"),
        ({"options": {"stopbits": 3}}, "stopbits"),
        ({"options": {"names": ["a"]}}, "names"),
        ({"options": {"silent_after": -1}}, "silent_after"),
        ({"options": {"pattern": 3}}, "pattern"),
        ({"format": "pattern", "options": {"pattern": "("}}, "regular expression"),
        ({"format": "pattern", "options": {"pattern": "(?P<b>.)"}}, "named group"),
        ({"options": {"chip": "max1"}}, "max31855"),
        ({"columns": ("a", "a")}, "twice"),
    ],
)
def test_section_refused(spec: dict[str, object], says: str) -> None:
    """What a section cannot mean is refused by one sentence that names the source."""
    given = {"columns": ("a",), **spec}
    with pytest.raises(InputError, match=says) as caught:
        made = make_source(SourceSpec("box", "kiln", "x", **given), ArrivalClock())  # type: ignore[arg-type]
        from firelog.intake.source import silent_after_s

        silent_after_s(made.spec)
    assert "box" in str(caught.value)
