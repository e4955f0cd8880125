from __future__ import annotations

import json

import numpy as np
import plotly.graph_objects as go
import pytest

from firelog.readings import Quality
from firelog.say.reader import Reader
from firelog.schedule.checks.judge import judge
from firelog.schedule.follow.segments import follow, followed_target
from firelog.schedule.forecast.finish import forecast
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.plan.reader import parse_schedule
from firelog.units import parse_instant, zone
from firelog.view import palette
from firelog.view.figure.firing import firing_figure
from firelog.view.picture import Picture, hole_spans
from tests.dashboards.nights import BEGAN_US, SCHEDULE, curve

PLAN = parse_schedule(SCHEDULE, "test")
BY_CLOCK = parse_schedule(
    SCHEDULE + '\n[[require]]\nname="near"\nkind="track"\nband=20\nshare=0.9\nagainst="clock"\n',
    "test",
)


def trace(t_s: np.ndarray, temp_c: np.ndarray, name: str = "top", u_k: float = 4.0) -> ChannelTrace:
    quality = np.where(np.isnan(temp_c), Quality.OPEN, Quality.OK).astype(np.uint8)
    return ChannelTrace(name, "kiln", t_s, temp_c, np.full(len(t_s), u_k), quality)


def picture(*traces: ChannelTrace, plan=PLAN, running: bool = False, **more) -> Picture:
    end_s = float(max(one.t_s[-1] for one in traces))
    judgement = judge(plan, traces, end_s=end_s, running=running)
    return Picture(BEGAN_US, traces, end_s, plan, judgement, running=running, **more)


def ms(instants: list[str] | str) -> np.ndarray:
    """Wall times as the figure writes them, as milliseconds: what numpy reads, no zone in it."""
    return np.array(instants, "datetime64[ms]").astype(np.int64)


def lines(figure: dict, part: str) -> list[dict]:
    return [line for line in figure["data"] if line.get("meta", {}).get("part") == part]


def test_plotly_knows_every_word_of_the_figure() -> None:
    """plotly's own validator accepts the figure, marks and all."""
    t_s = np.arange(0.0, 12_000.0, 30.0)
    temp_c = curve(t_s)
    temp_c[100:130] = np.nan
    events = ((500.0, "door open", "one shell <b>in</b>"),)
    go.Figure(firing_figure(picture(trace(t_s, temp_c), events=events)))


def test_deviation_is_measured_minus_plan_by_the_clock() -> None:
    """By the clock: numpy's own interpolation of the plan, subtracted, point for point."""
    t_s = np.arange(0.0, 10_000.0, 50.0)
    temp_c = curve(t_s) - 30.0 * np.sin(t_s / 900.0)
    temp_c[0] = 20.0
    figure = firing_figure(picture(trace(t_s, temp_c), plan=BY_CLOCK))
    (line,) = lines(figure, "off target")
    top_s = (600.0 - 20.0) / 300.0 * 3600.0
    plan_c = np.interp(t_s, [0.0, top_s, top_s + 3600.0], [20.0, 600.0, 600.0])
    inside = t_s <= top_s + 3600.0
    drawn = np.array([np.nan if y is None else y for y in line["y"]], float)
    assert np.allclose(drawn[inside], (temp_c - plan_c)[inside], atol=0.006)


def test_deviation_by_segments_is_what_the_judge_holds_it_against() -> None:
    """By segments, a late soak is held against its own beginning, as in the track requirement."""
    t_s = np.arange(0.0, 20_000.0, 25.0)
    temp_c = curve(t_s, rate_k_per_h=200.0)
    plan = parse_schedule(SCHEDULE.replace('unit = "C"', 'unit = "C"\nstart = 20'), "test")
    one = picture(trace(t_s, temp_c), plan=plan)
    aim_c = followed_target(plan, follow(plan, one.traces, end_s=one.end_s), t_s)
    ours_c = one.target.at(t_s)
    assert np.isfinite(aim_c).sum() > 700
    edge = np.isin(t_s, [run.ended_s for run in one.judgement.segments])
    assert np.allclose(aim_c[~edge], ours_c[~edge], atol=1e-6, equal_nan=True)


def test_a_hole_is_none_in_trace_and_deviation() -> None:
    """Forty minutes of silence break both lines, and are shaded as a hole."""
    t_s = np.arange(0.0, 10_800.0, 10.0)
    kept = (t_s < 6000.0) | (t_s > 8400.0)
    one = picture(trace(t_s[kept], curve(t_s[kept])))
    figure = firing_figure(one)
    for part in ("measured", "off target"):
        (line,) = lines(figure, part)
        assert None in line["y"]
        assert line["connectgaps"] is False
    assert hole_spans(one) == [(5990.0, 8410.0)]
    shaded = [shape for shape in figure["layout"]["shapes"] if shape.get("name") == "hole"]
    assert [(s["x0"], s["x1"]) for s in shaded] == [tuple(one.x([5990.0, 8410.0]))]


def test_the_end_of_a_closed_record_counts_as_a_hole() -> None:
    """A logger that died an hour before the firing was ended leaves a hole to its end."""
    t_s = np.arange(0.0, 7200.0, 10.0)
    ended = Picture(BEGAN_US, (trace(t_s, curve(t_s)),), 10_800.0, PLAN)
    assert hole_spans(ended) == [(7190.0, 10_800.0)]


@pytest.mark.parametrize(("channels", "rows"), [(35, 144), (8, 43_200), (6, 43_200), (1, 43_200)])
def test_the_figure_is_bounded(channels: int, rows: int) -> None:
    """Neither many channels nor a long night makes a line of 2 000 points or a heavy figure."""
    rng = np.random.default_rng(5)
    t_s = np.arange(rows) * (60.0 if rows < 1000 else 1.0)
    traces = [trace(t_s, curve(t_s) + rng.normal(0, 3, rows), f"tc {n}") for n in range(channels)]
    figure = firing_figure(picture(*traces), switched=True)
    assert max(len(line["x"]) for line in figure["data"]) <= 2000
    assert len(json.dumps(figure)) < 400_000  # times are words, which travel as a tenth of that


def test_many_channels_are_quiet_but_for_those_that_decide() -> None:
    """Of 35 channels the coldest decides the soak and speaks; at most three have a colour."""
    t_s = np.arange(144) * 90.0
    traces = [trace(t_s, curve(t_s) + n, f"tc {n:02d}") for n in range(34)]
    traces.insert(17, trace(t_s, curve(t_s) - 60.0, "cold corner"))
    one = picture(*traces)
    assert one.highlighted[0].name == "cold corner"
    assert len(one.highlighted) <= 3
    figure = firing_figure(one)
    quiet = [x for x in lines(figure, "measured") if x["line"]["color"] == palette.DAY["quiet"]]
    assert len(quiet) == 35 - len(one.highlighted)


def test_times_are_local_with_one_offset_through_the_autumn_night() -> None:
    """In the night the clocks go back the axis stays monotonic and names its zone."""
    t_s = np.arange(0.0, 6 * 3600.0, 60.0)
    one = Picture(
        parse_instant("2026-11-01T05:00:00Z"),
        (trace(t_s, curve(t_s)),),
        float(t_s[-1]),
        PLAN,
        how=Reader("F", zone("America/Denver")),
    )
    figure = firing_figure(one)
    (line,) = lines(figure, "measured")
    assert np.all(np.diff(ms(line["x"])) > 0)
    assert line["x"][0] == "2026-10-31T23:00:00"
    title = figure["layout"]["xaxis"]["title"]["text"]
    # America/Denver, 1 November 2026: at 02:00 MDT back to 01:00 MST (IANA time zone database).
    assert (
        title == "local time, MDT (UTC−6) throughout; at 02:00 the clocks went back by 1 h 00 min"
    )


def test_fahrenheit_differences_have_no_32_in_them() -> None:
    """Ten kelvin above the target are 18 Fahrenheit degrees, and 600 °C are 1112 °F."""
    t_s = np.arange(0.0, 4000.0, 10.0)
    temp_c = np.where(t_s < 600.0, 600.0 - t_s / 2.0, 310.0)
    hold = parse_schedule(
        'title="hold"\nunit="C"\nstart=600\n[[segment]]\nname="down"\nto=300\nrate=1800\n'
        '[[segment]]\nname="stay"\nhold="2 h"\nband=20\n',
        "test",
    )
    one = picture(trace(t_s, temp_c), plan=hold, how=Reader("F"))
    figure = firing_figure(one)
    (off,) = lines(figure, "off target")
    assert off["y"][-1] == pytest.approx(18.0)
    (measured,) = lines(figure, "measured")
    assert measured["y"][0] == pytest.approx(1112.0)


def test_the_uncertainty_band_is_u_wide() -> None:
    """The faint band reaches U above and below the deviation."""
    t_s = np.arange(0.0, 10_000.0, 50.0)
    figure = firing_figure(picture(trace(t_s, curve(t_s), u_k=7.0)))
    (band,) = [line for line in lines(figure, "uncertainty") if line["yaxis"] == "y2"]
    known = [y for y in band["y"] if y is not None]
    both = [*lines(figure, "off target"), *lines(figure, "off asked")]
    values = [y for line in both for y in line["y"] if y is not None]
    assert max(known) == pytest.approx(max(values) + 7.0, abs=0.011)
    assert min(known) == pytest.approx(min(values) - 7.0, abs=0.011)


def test_names_are_shown_as_they_are_written() -> None:
    """A channel called like a tag is text in the chart, never markup."""
    t_s = np.arange(0.0, 4000.0, 10.0)
    figure = firing_figure(picture(trace(t_s, curve(t_s), "<img src=x onerror=1>")))
    text = json.dumps([{k: v for k, v in line.items() if k != "meta"} for line in figure["data"]])
    assert "<img" not in text
    assert "&lt;img" in text


def test_a_running_firing_shows_the_plan_ahead() -> None:
    """While it runs, the plan goes on from the last reading; afterwards it does not."""
    t_s = np.arange(0.0, 3600.0, 10.0)
    running = firing_figure(picture(trace(t_s, curve(t_s)), running=True))
    closed = firing_figure(picture(trace(t_s, curve(t_s))))
    (ahead,) = [line for line in running["data"] if line["name"] == "plan ahead"]
    assert ms(ahead["x"][0]) == pytest.approx((BEGAN_US / 1e3) + t_s[-1] * 1e3, abs=1)
    assert ms(ahead["x"][-1]) - ms(ahead["x"][0]) > 3_600_000
    assert [line for line in closed["data"] if line["name"] == "plan ahead"] == []


def test_every_colour_has_its_night() -> None:
    """Whatever colour a figure uses, the browser knows what it becomes after dark."""
    t_s = np.arange(0.0, 10_800.0, 10.0)
    temp_c = curve(t_s, top_c=500.0)
    temp_c[300:400] = np.nan
    events = ((500.0, "note", ""),)
    figure = firing_figure(picture(trace(t_s, temp_c), events=events), switched=True)
    used = set(_colours(figure))
    assert len(used) > 8
    assert used <= set(palette.to_night()) | {"rgba(0,0,0,0)"}


def _colours(value: object) -> list[str]:
    if isinstance(value, dict):
        return [found for one in value.values() for found in _colours(one)]
    if isinstance(value, list):
        return [found for one in value for found in _colours(one)]
    return [value] if isinstance(value, str) and value.startswith(("#", "rgb")) else []


# ---------------------------------------------------------------- both clocks
def late_night() -> tuple[np.ndarray, np.ndarray]:
    """An hour at 20 °C before a ramp that is then exactly as asked: late, and well done."""
    t_s = np.arange(0.0, 5 * 3600.0, 20.0)
    return t_s, curve(np.maximum(t_s - 3600.0, 0.0))


FROM_20 = parse_schedule("start = 20\n" + SCHEDULE, "test")


def test_a_late_firing_is_far_off_the_clock_and_on_each_step() -> None:
    """One hour late at 300 K/h is 300 K below the plan (numpy's interpolation), and on its step."""
    t_s, temp_c = late_night()
    figure = firing_figure(picture(trace(t_s, temp_c), plan=FROM_20), switched=True)
    off = {line["meta"]["against"]: line for line in lines(figure, "off target")}
    assert off["clock"]["visible"] is False
    assert "visible" not in off["segments"]
    top_s = 580.0 / 300.0 * 3600.0
    plan_c = np.interp(t_s, [0.0, top_s, top_s + 3600.0], [20.0, 600.0, 600.0])
    climbing = (t_s > 4000.0) & (t_s < top_s)
    by_clock = np.array([np.nan if y is None else y for y in off["clock"]["y"]], float)
    assert len(by_clock) == len(t_s[t_s <= top_s + 3600.0])
    assert np.allclose(by_clock, (temp_c - plan_c)[: len(by_clock)], atol=0.006)
    assert by_clock[climbing[: len(by_clock)]].max() == pytest.approx(-300.0, abs=1.0)
    by_step = np.array([np.nan if y is None else y for y in off["segments"]["y"]], float)
    x = ms(off["segments"]["x"])
    ramp = (x > x[0]) & (x < x[0] + 1000 * (top_s - 300.0)) & np.isfinite(by_step)
    assert np.abs(by_step[ramp]).max() < 8.0  # where the ramp began is known to a minute: 5 K


def test_the_other_clock_is_drawn_for_readers_who_can_switch_only() -> None:
    """A figure for paper holds one set of lines, none of them hidden."""
    t_s, temp_c = late_night()
    one = picture(trace(t_s, temp_c), plan=FROM_20)
    paper, board = firing_figure(one), firing_figure(one, switched=True)
    assert [line for line in paper["data"] if line.get("visible") is False] == []
    # Nothing on paper can be hidden by what a reader chose on another page.
    assert [line for line in paper["data"] if "against" in line.get("meta", {})] == []
    by_segments = [
        line["y"] for line in lines(board, "off target") if line["meta"]["against"] == "segments"
    ]
    assert [line["y"] for line in lines(paper, "off target")] == by_segments
    assert len(lines(board, "target")) == 2
    assert board["layout"]["meta"]["against"] == "segments"
    by_clock = firing_figure(picture(trace(t_s, temp_c), plan=BY_CLOCK), switched=True)
    assert by_clock["layout"]["meta"]["against"] == "clock"
    go.Figure(board)


def test_the_target_line_is_the_followed_target() -> None:
    """Between its corners the drawn line is what the schedule's room aims at, point for point."""
    t_s, temp_c = late_night()
    one = picture(trace(t_s, temp_c), plan=FROM_20)
    line_s, line_c = one.target.line(one.end_s)
    ask_s = np.arange(37.0, one.end_s, 101.0)
    aim_c = followed_target(FROM_20, follow(FROM_20, one.traces, end_s=one.end_s), ask_s)
    drawn_c = np.interp(ask_s, line_s, line_c)
    assert len(line_s) < 30
    asked = np.isfinite(aim_c)
    assert asked.sum() > 100
    assert np.allclose(drawn_c[asked], aim_c[asked], atol=0.01)
    assert np.all(ask_s[~asked] < line_s[0])  # before the ramp nothing is asked, nothing is drawn


# ---------------------------------------------------------------- what happened, what is to come
def stalled_night() -> tuple[np.ndarray, np.ndarray]:
    """A ramp that stands at 320 °C from the end of the first hour to that of the second."""
    t_s = np.arange(0.0, 5 * 3600.0, 20.0)
    return t_s, curve(np.where(t_s < 3600.0, t_s, np.maximum(t_s - 3600.0, 3600.0)))


def test_a_stall_is_a_bar_below_the_trace() -> None:
    """The bar runs from 1 h to 2 h, says so, and lies between the trace and the lower panel."""
    t_s, temp_c = stalled_night()
    one = picture(trace(t_s, temp_c), plan=FROM_20)
    layout = firing_figure(one, switched=True)["layout"]
    (bar,) = [shape for shape in layout["shapes"] if shape.get("name") == "happening stalled"]
    assert ms(bar["x0"]) == pytest.approx(ms(one.x([3600.0]))[0], abs=180_000)
    assert ms(bar["x1"]) == pytest.approx(ms(one.x([7200.0]))[0], abs=180_000)
    assert layout["yaxis2"]["domain"][1] < bar["y0"] < bar["y1"] < layout["yaxis"]["domain"][0]
    (name,) = [n for n in layout["annotations"] if n.get("name") == "happening stalled"]
    assert name["text"].startswith("stalled")
    (hover,) = lines(firing_figure(one), "happenings")
    assert "stood at" in hover["text"][0]


def test_a_night_without_happenings_gives_no_room_to_them() -> None:
    """The lane is there only when something happened; a hole is shaded, never a bar too."""
    t_s = np.arange(0.0, 10_600.0, 10.0)
    kept = (t_s < 6000.0) | (t_s > 8400.0)
    plain = firing_figure(picture(trace(t_s, curve(t_s))))["layout"]
    holed = firing_figure(picture(trace(t_s[kept], curve(t_s[kept]))))["layout"]
    stalled = firing_figure(picture(trace(*stalled_night())))["layout"]
    assert plain["yaxis"]["domain"][0] == holed["yaxis"]["domain"][0]
    assert stalled["yaxis"]["domain"][0] > plain["yaxis"]["domain"][0]
    assert not [s for s in holed["shapes"] if s.get("name", "").startswith("happening")]


def test_the_way_ahead_is_as_wide_as_its_interval() -> None:
    """The faint band ends at the early and the late finish of the last segment."""
    t_s = np.arange(0.0, 3600.0, 10.0)
    traces = (trace(t_s, curve(t_s)),)
    end_s = float(t_s[-1])
    laid = follow(FROM_20, traces, end_s=end_s, running=True)
    outlook = forecast(FROM_20, laid, now_s=end_s)
    one = picture(*traces, plan=FROM_20, running=True, following=laid, outlook=outlook)
    (band,) = lines(firing_figure(one, switched=True), "expected")
    last = outlook.estimates[-1]
    assert ms(band["x"]).max() == ms(one.x([last.late_s]))[0]
    assert ms(one.x([last.early_s]))[0] in ms(band["x"])
    assert ms(band["x"]).min() == ms(one.x([end_s]))[0]
    assert lines(firing_figure(picture(*traces, plan=FROM_20)), "expected") == []
