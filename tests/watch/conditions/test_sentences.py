"""The foundry's own alarms: read as they are meant, refused with the forms they may have."""

from __future__ import annotations

import pytest

from firelog.alarm import Priority
from firelog.errors import InputError
from firelog.readings import Quality
from firelog.watch.conditions.sentences import Sentence, read_sentence, sentence_conditions
from firelog.watch.facts import ChannelNow, KilnNow


def sentence(text: str, unit: str = "C") -> Sentence:
    return read_sentence(
        text,
        name="own",
        kiln="k",
        remedy="look",
        priority=Priority.HIGH,
        unit=unit,  # type: ignore[arg-type]
    )


def channel(name: str, temp_c: float | None, rose_k: float | None = 0.0) -> ChannelNow:
    rose = {180: rose_k, 600: rose_k, 1800: rose_k}
    return ChannelNow(name, "kiln", temp_c, Quality.OK, 0.0, 0.0, 1.0, rose)


def excess(text: str, *channels: ChannelNow, unit: str = "C") -> float | None:
    now = KilnNow("k", "f", 0.0, None, channels)
    (condition,) = sentence_conditions(now, [sentence(text, unit)], "C")
    return condition.excess


@pytest.mark.parametrize(
    ("text", "over"),
    [
        ("top above 880", 20.0),
        ("top above 1600 F", 900 - 871.1111),  # 1600 °F = 871.11 °C
        ("kiln below 950 C for 5 min", 50.0),
        ("top and bottom apart by more than 18 F", 20.0 - 10.0),  # 18 °F apart are 10 K
        ("top rises faster than 100 K/h", 20.0),  # 20 K in ten minutes are 120 K/h
        ("bottom falls faster than 100 K/h", -220.0),
    ],
)
def test_a_sentence_is_held_against_what_is(text: str, over: float) -> None:
    """Top at 900 °C, bottom at 920 °C, both rising 20 K in ten minutes."""
    top, bottom = channel("top", 900.0, 20.0), channel("bottom", 920.0, 20.0)
    if text.startswith("kiln below"):
        bottom = channel("bottom", 920.0)
    assert excess(text, top, bottom) == pytest.approx(over, abs=0.01)


def test_the_files_unit_counts_where_none_is_written() -> None:
    """A bare 1600 in a foundry that thinks in °F is 871 °C."""
    assert excess("top above 1600", channel("top", 900.0), unit="F") == pytest.approx(
        28.889, abs=0.01
    )


def test_parts_of_a_sentence() -> None:
    """How long, and during which segment."""
    read = sentence("mould core above 150 C for 5 min during burn out, first")
    assert (read.subjects, read.limit, read.lasting_s) == (("mould core",), 150.0, 300.0)
    assert read.segment == "burn out, first"


@pytest.mark.parametrize(
    "text", ["top is hot", "top above", "top above hot", "top apart by more than 5 K", ""]
)
def test_what_is_no_sentence_is_refused(text: str) -> None:
    """The refusal is one sentence that shows how to write it."""
    with pytest.raises(InputError):
        sentence(text)


def test_without_a_temperature_nothing_can_be_told() -> None:
    """An open thermocouple neither fulfils nor breaks a sentence."""
    assert excess("top above 880", channel("top", None)) is None
