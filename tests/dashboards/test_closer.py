"""A closer look at a chart: what is drawn of any stretch is what the store holds, and all of it."""

from __future__ import annotations

import csv
import io
from pathlib import Path
from typing import Any
from urllib.parse import urlencode

import numpy as np
import pytest

from dashboards.app import create_app
from firelog.readings import Quality, Role, Unit
from firelog.record.store import Store
from firelog.units import parse_instant
from tests.dashboards.nights import BEGAN_US, SCHEDULE, add_night, curve, foundry

HOURS = 30
OFFSET_S = -7 * 3600  # MST, all of that record


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A long night of three noisy channels at 2 s, with lone spikes, set-aside ones and holes."""
    path = tmp_path_factory.mktemp("closer") / "long.firelog"
    rng = np.random.default_rng(11)
    t_s = np.arange(0.0, HOURS * 3600.0, 2.0)
    channels = {}
    for number in range(3):
        temp_c = np.round(curve(t_s, rate_k_per_h=40.0) - number + rng.normal(0, 0.8, len(t_s)), 2)
        temp_c[rng.integers(0, len(t_s), 40)] += rng.uniform(3.0, 30.0, 40).round(2)
        channels[f"couple {number + 1}"] = temp_c.round(2)
    channels["couple 3"][20_000:21_000] = np.nan
    kept = ~((t_s > 50_000) & (t_s < 52_000))
    with foundry(path) as store:
        add_night(
            store,
            "long",
            channels={name: temp_c[kept] for name, temp_c in channels.items()},
            t_s=t_s[kept],
            keep=False,
        )
    return path


@pytest.fixture(scope="module")
def client(path: Path) -> Any:
    return create_app(path).server.test_client()


def asked(client: Any, where: str, **values: object) -> Any:
    answer = client.get(f"{where}?{urlencode(values)}", base_url="http://127.0.0.1:8050")
    assert answer.status_code in (200, 400), answer.status
    return answer


def wall(t_s: float) -> str:
    """The foundry's wall time of an instant of the night, as the chart writes it."""
    at_us = BEGAN_US + round(t_s * 1e6) + OFFSET_S * 1_000_000
    return str(np.datetime64(at_us // 1000, "ms"))


def drawn(line: dict[str, Any]) -> tuple[np.ndarray, np.ndarray]:
    """A line's instants [µs UTC] and values."""
    t_us = np.array(line["x"], "datetime64[us]").astype(np.int64) - OFFSET_S * 1_000_000
    value = np.array([np.nan if y is None else y for y in line["y"]], float)
    return t_us[np.isfinite(value)], value[np.isfinite(value)]


@pytest.mark.parametrize("of", ["/firing/long", "/kiln/North"])
def test_200_random_stretches_are_the_stores(path: Path, client: Any, of: str) -> None:
    """Every drawn reading is in the store at its instant, and each column's extremes are drawn.

    The witness is the store's own answer for the stretch, read by SQLite and numpy alone.
    """
    rng = np.random.default_rng(200)
    columns, checked = 300, 0
    with Store.open(path) as store:
        ids = {channel.name: channel.id for channel in store.channels("North")}
        for _ in range(200):
            span_s = float(np.exp(rng.uniform(np.log(30.0), np.log(HOURS * 3600.0))))
            from_s = round(float(rng.uniform(0.0, HOURS * 3600.0 - span_s)), 3)
            to_s = round(from_s + span_s, 3)
            ends = {"from": wall(from_s), "to": wall(to_s)}
            told = asked(client, "/window.json", of=of, columns=columns, **ends).json
            lines = {line["key"]: line for line in told["lines"]}
            for name, number in ids.items():
                start_us, end_us = (BEGAN_US + round(s * 1e6) for s in (from_s, to_s))
                kept = store.readings(number, start_us, end_us)
                usable = kept.quality == Quality.OK
                at_us, read = kept.t_us[usable], kept.value[usable]
                t_us, value = drawn(lines[f"measured {name}"])
                inside = (t_us >= start_us) & (t_us <= end_us)
                t_us, value = t_us[inside], value[inside]
                known = dict(zip(at_us.tolist(), np.round(read, 2).tolist(), strict=True))
                aside = lines.get(f"set aside {name}")
                apart = set(drawn(aside)[0].tolist()) if aside else set()
                for at, shown in zip(t_us.tolist(), value.tolist(), strict=True):
                    assert known[at] == shown  # each drawn reading exists
                line_us = np.array([at for at in at_us.tolist() if at not in apart], np.int64)
                line_c = np.array([known[at] for at in line_us.tolist()])
                if len(line_c):
                    assert value.max() == line_c.max()
                    assert value.min() == line_c.min()
                if told["every"]:
                    assert t_us.tolist() == line_us.tolist()
                checked += 1
    assert checked == 600


def test_each_column_has_its_own_extremes(client: Any, path: Path) -> None:
    """In a stretch without a hole, no reading lies outside what is drawn in its own column."""
    from_s, to_s, columns = 60_000.0, 100_000.0, 250
    ends = {"from": wall(from_s), "to": wall(to_s)}
    told = asked(client, "/window.json", of="/firing/long", columns=columns, **ends).json
    line = next(one for one in told["lines"] if one["key"] == "measured couple 1")
    apart = [drawn(one)[0] for one in told["lines"] if one["key"] == "set aside couple 1"]
    t_us, value = drawn(line)
    with Store.open(path) as store:
        number = store.channel("North", "couple 1").id
        kept = store.readings(number, t_us[0], t_us[-1])
    mine = ~np.isin(kept.t_us, np.concatenate([*apart, []]))
    at_us, read = kept.t_us[mine], np.round(kept.value[mine], 2)
    wide_us = (to_s - from_s) * 1e6 / columns
    for start_us in np.arange(at_us[0], at_us[-1] - 2 * wide_us, wide_us):
        here = (at_us >= start_us) & (at_us < start_us + wide_us)
        near = (t_us >= start_us - wide_us) & (t_us < start_us + 2 * wide_us)
        assert value[near].max() >= read[here].max()
        assert value[near].min() <= read[here].min()
    assert told["words"] == "the lowest and the highest reading of every 2 min 40 s are drawn"


def test_a_years_extremes_come_from_its_envelopes(tmp_path: Path) -> None:
    """450 000 readings as 200 columns: each stroke's ends are readings of its own column.

    The witness is numpy's minimum and maximum over the readings of the column.
    """
    rng = np.random.default_rng(4)
    t_s = np.arange(0.0, 450_000.0, 1.0)
    temp_c = np.round(curve(t_s % 90_000.0) + rng.normal(0, 2, len(t_s)), 1)
    path = tmp_path / "year.firelog"
    with foundry(path) as store:
        add_night(store, "n", channels={"top": temp_c}, t_s=t_s, schedule=None)
    client = create_app(path).server.test_client()
    told = asked(
        client, "/window.json", of="/kiln/North", columns=200,
        **{"from": wall(0.0), "to": wall(449_999.0)},
    ).json  # fmt: skip
    assert not told["every"]
    (line,) = told["lines"]
    t_us, value = drawn(line)
    step_us = -(-(449_999_000_000 + 1) // 200)
    for at, low, high in zip(t_us[::2], value[::2], value[1::2], strict=True):
        number = (at - BEGAN_US) // step_us
        read = temp_c[(t_s * 1e6 >= number * step_us) & (t_s * 1e6 < (number + 1) * step_us)]
        assert (low, high) == (read.min(), read.max())


def test_a_single_spike_is_one_stroke_wide(tmp_path: Path) -> None:
    """In 72 h at 5 s one high reading moves no line beyond its own column, in either panel."""
    t_s = np.arange(0.0, 72 * 3600.0, 5.0)
    temp_c = curve(t_s, rate_k_per_h=100.0)
    temp_c[30 * 720] += 30.0
    path = tmp_path / "spike.firelog"
    with foundry(path) as store:
        plan = SCHEDULE.replace("300 K/h", "100 K/h")
        add_night(store, "long", channels={"top": temp_c}, t_s=t_s, schedule=plan, keep=False)
    client = create_app(path).server.test_client()
    ends = {"from": wall(29.5 * 3600), "to": wall(30.97 * 3600)}
    told = asked(client, "/window.json", of="/firing/long", columns=1200, **ends).json
    assert told["every"]
    for part, level in (("measured top", 600.0), ("off target top segments", 0.0)):
        t_us, value = drawn(next(one for one in told["lines"] if one["key"] == part))
        high = np.flatnonzero(value > level + 5.0)
        assert len(high) == 1
        assert value[high[0]] == pytest.approx(level + 30.0, abs=0.02)
        assert t_us[high[0] + 1] - t_us[high[0] - 1] == 10_000_000  # its neighbours, 5 s away


def test_what_is_set_aside_is_hollow_and_off_the_line(tmp_path: Path) -> None:
    """A reading the intake set aside, and a lone spike, are marks with their value and reason."""
    t_s = np.arange(0.0, 3600.0, 5.0)
    temp_c = curve(t_s)
    quality = np.zeros(len(t_s), np.uint8)
    temp_c[200], quality[200] = 1200.0, Quality.SPIKE
    temp_c[400] += 150.0
    path = tmp_path / "aside.firelog"
    with foundry(path) as store:
        channel = store.ensure_channel("North", "top", role=Role.KILN)
        t_us = BEGAN_US + (t_s * 1e6).astype(np.int64)
        store.add_readings(channel.id, t_us, temp_c, quality, Unit.C)
        store.add_firing(
            "n", "North", began_us=BEGAN_US, ended_us=int(t_us[-1]) + 10**6,
            schedule_title="x", schedule_text=SCHEDULE,
        )  # fmt: skip
    client = create_app(path).server.test_client()
    ends = {"from": wall(0), "to": wall(3600)}
    told = asked(client, "/window.json", of="/firing/n", columns=900, **ends).json
    lines = {line["key"]: line for line in told["lines"]}
    assert drawn(lines["set aside top"])[1].tolist() == [1200.0, round(temp_c[400], 2)]
    assert lines["set aside top"]["text"][0] == "set aside: spike"
    assert "lone spike" in lines["set aside top"]["text"][1]
    assert drawn(lines["measured top"])[1].max() < 330.0
    row = asked(client, "/instant.json", of="/firing/n", at=wall(1000)).json["rows"][0]
    assert (row["value"], row["quality"]) == ("1200.0 °C", "set aside: spike")


# ---------------------------------------------------------------- one instant
def test_an_instant_reads_every_channel(client: Any, path: Path) -> None:
    """20:13 on the wall: each channel's value is the store's, to a tenth, with U and difference."""
    told = asked(client, "/instant.json", of="/firing/long", at="20:13").json
    at_us = parse_instant("2026-03-02T03:13:00Z")
    assert told["clock"] == "Sun 1 Mar 20:13:00 MST"
    assert told["after"] == "+12:13"
    with Store.open(path) as store:
        for row in told["rows"]:
            number = store.channel("North", row["channel"]).id
            (value,) = store.readings(number, at_us, at_us).value
            assert row["value"].startswith(f"{value:.1f} °C ± ")
            assert row["quality"] == "ok"
            assert row["read_at"] == "20:13:00"
    assert any("step 1, up" in one for one in told["around"])


@pytest.mark.parametrize(
    "said", ["8:13 PM", "20:13:00", "Sun 20:13", "2026-03-01 20:13", "+12:13:00"]
)
def test_one_instant_can_be_written_in_many_ways(client: Any, said: str) -> None:
    """An American clock, seconds, a weekday, a date, hours after the beginning: the same line."""
    told = asked(client, "/instant.json", of="/firing/long", at=said).json
    assert told["clock"] == "Sun 1 Mar 20:13:00 MST"


def test_of_what_nobody_asks_no_difference_is_told(tmp_path: Path) -> None:
    """A mould's couple that is neither followed nor limited has a value, and no difference."""
    t_s = np.arange(0.0, 3600.0, 10.0)
    path = tmp_path / "mould.firelog"
    with foundry(path) as store:
        both = {"top": curve(t_s), "mould": curve(t_s) - 40.0}
        for name in both:
            store.ensure_channel("North", name, role=Role.MOULD if name == "mould" else Role.KILN)
        t_us = BEGAN_US + (t_s * 1e6).astype(np.int64)
        for name, temp_c in both.items():
            number = store.channel("North", name).id
            store.add_readings(number, t_us, temp_c, np.zeros(len(t_s), np.uint8), Unit.C)
        store.add_firing(
            "n", "North", began_us=BEGAN_US, ended_us=int(t_us[-1]) + 10**6,
            schedule_title="x", schedule_text=SCHEDULE,
        )  # fmt: skip
    client = create_app(path).server.test_client()
    told = asked(client, "/instant.json", of="/firing/n", at=wall(1800)).json
    rows = {row["channel"]: row for row in told["rows"]}
    assert rows["mould"]["value"].startswith("130.0 °C ± ")
    assert (rows["mould"]["target"], rows["mould"]["off"], rows["mould"]["off_from"]) == (
        "–",
        "–",
        "",
    )
    assert rows["top"]["off"] != "–"


def test_in_a_hole_nothing_is_read(client: Any) -> None:
    """Between two readings half an hour apart the answer is *no reading*, with the ones beside."""
    told = asked(client, "/instant.json", of="/firing/long", at=wall(51_000.0)).json
    assert {row["value"] for row in told["rows"]} == {"no reading"}
    assert told["rows"][0]["quality"] == "last 21:53:20, next 22:26:40"
    assert any(one.startswith("no readings at all for 33 min") for one in told["around"])


@pytest.mark.parametrize("at", ["quarter past", "25:00", "04:12:99", "2026-09-01 04:12", ""])
def test_no_instant_is_guessed(client: Any, at: str) -> None:
    """What is no time, or none of this record, is answered by a sentence."""
    answer = asked(client, "/instant.json", of="/firing/long", at=at)
    assert answer.status_code == 400
    assert len(answer.json["trouble"]) > 30


def test_the_table_and_the_csv_are_the_same_numbers(client: Any, path: Path) -> None:
    """The CSV of ten minutes holds every reading of every channel, as the store does."""
    ends = {"from": wall(70_000.0), "to": wall(70_600.0)}
    text = asked(client, "/readings.csv", of="/firing/long", **ends).get_data(as_text=True)
    rows = list(csv.DictReader(io.StringIO(text)))
    with Store.open(path) as store:
        for channel in store.channels("North"):
            start_us = BEGAN_US + 70_000 * 10**6
            kept = store.readings(channel.id, start_us, start_us + 600 * 10**6)
            mine = [row for row in rows if row["channel"] == channel.name]
            assert [float(row["value"]) for row in mine] == kept.value.tolist()
            assert [parse_instant(row["time_utc"]) for row in mine] == kept.t_us.tolist()
    table = asked(client, "/table.json", of="/firing/long", **ends).json
    assert table["heads"][1:] == [row["channel"] for row in rows[:1]] + table["heads"][2:]
    assert len(table["rows"]) == 30
    assert table["rows"][0][1].startswith(f"{float(rows[0]['value']):.1f} °C ± ")


def test_a_stretch_that_is_none_is_refused(client: Any) -> None:
    """An end before its beginning, a number, an unknown page: a sentence each, never a 500."""
    for values in (
        {"of": "/firing/long", "from": wall(100.0), "to": wall(50.0)},
        {"of": "/firing/long", "from": "1772355600000", "to": wall(50.0)},
        {"of": "/nowhere", "from": wall(0.0), "to": wall(50.0)},
        {"of": "/firing/nobody", "from": wall(0.0), "to": wall(50.0)},
        {"of": "/firing/long", "to": wall(50.0)},
    ):
        answer = asked(client, "/window.json", **values)
        assert answer.status_code == 400
        assert answer.json["trouble"]


# ---------------------------------------------------------------- the nights the clocks change
def clock_night(tmp_path: Path, began: str) -> Any:
    path = tmp_path / "clocks.firelog"
    t_s = np.arange(0.0, 6 * 3600.0, 30.0)
    began_us = parse_instant(began)
    with foundry(path) as store:
        add_night(store, "n", channels={"top": curve(t_s)}, t_s=t_s, began_us=began_us, keep=False)
    return create_app(path).server.test_client()


def test_an_hour_that_comes_twice_is_not_guessed(tmp_path: Path) -> None:
    """1 November 2026 in Denver: 01:30 is read first in MDT, and the answer says it came again.

    The change at 08:00 UTC is that of the IANA time zone database.
    """
    client = clock_night(tmp_path, "2026-11-01T05:00:00Z")
    told = asked(client, "/instant.json", of="/firing/n", at="01:30").json
    assert told["clock"] == "Sun 1 Nov 01:30:00 MDT"
    assert told["at"] == "2026-11-01T01:30:00"
    assert told["note"] == "it came twice that night: 01:30 MST"
    second = asked(
        client, "/instant.json", of="/firing/n", at="01:30", near="2026-11-01T02:40:00"
    ).json
    assert second["clock"] == "Sun 1 Nov 01:30:00 MST"
    assert second["at"] == "2026-11-01T02:30:00"  # the axis keeps its one offset, and says so
    assert second["note"] == "it came twice that night: 01:30 MDT"
    assert second["after"] == "+3:30"


def test_an_hour_that_never_came_is_refused(tmp_path: Path) -> None:
    """8 March 2026 in Denver: 02:30 is refused in words; 03:30 is an hour after 01:30."""
    client = clock_night(tmp_path, "2026-03-08T07:00:00Z")
    answer = asked(client, "/instant.json", of="/firing/n", at="02:30")
    assert answer.status_code == 400
    assert answer.json["trouble"].startswith("02:30 never came on Sun 8 Mar")
    before = asked(client, "/instant.json", of="/firing/n", at="01:30").json
    after = asked(client, "/instant.json", of="/firing/n", at="03:30").json
    assert (before["after"], after["after"]) == ("+1:30", "+2:30")
    assert after["clock"] == "Sun 8 Mar 03:30:00 MDT"
