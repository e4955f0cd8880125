"""What judging costs, as ratios in one run, and what is true. Run with ``-m bench -s``."""

from __future__ import annotations

import gc
import statistics
import time

import numpy as np
import pytest

from firelog.judge.trust import believable
from firelog.readings import Quality, Unit
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.checks.judge import followed, judge, judge_followed
from firelog.schedule.plan.model import ChannelTrace, FiringJudgement
from firelog.schedule.plan.reader import read_schedule
from tests.bench.truth import calibration
from tests.bench.truth import run as truth

pytestmark = [pytest.mark.bench, pytest.mark.timeout(900)]

PLAN = read_schedule(find_schedule("investment-block"))
CORNERS = ([0, 0.3, 1.6, 3, 6, 8, 9.5, 12], [20, 20, 150, 150, 730, 730, 540, 540])
T0 = 1_772_352_000_000_000


def kilns(step_s: float, channels: int = 8, hours: float = 12.0) -> tuple[ChannelTrace, ...]:
    """Return an invented burnout of so many channels."""
    rng = np.random.default_rng(0)
    t_s = np.arange(0.0, hours * 3600.0, step_s)
    curve = np.interp(t_s / 3600.0 * 12.0 / hours, *CORNERS)
    return tuple(
        ChannelTrace(
            f"kiln {number}",
            "kiln",
            t_s.copy(),
            np.round(curve + number + rng.normal(0, 0.5, len(t_s)), 1),
            np.full(len(t_s), 6.0),
            np.full(len(t_s), Quality.OK, dtype=np.uint8),
        )
        for number in range(channels)
    )


def timed(function, repeat: int = 7) -> float:
    """Return the median processor time of the calls, in seconds: the machine may be shared."""
    function()
    times = []
    for _ in range(repeat):
        gc.collect()
        began = time.process_time()
        function()
        times.append(time.process_time() - began)
    return statistics.median(times)


def assessed(night: tuple[ChannelTrace, ...]) -> FiringJudgement:
    """Return the verdict with all that belongs to it: doubts, segments, checks, what they leave."""
    doubts = believable.doubts(night, PLAN)
    laid = followed(PLAN, believable.without(night, doubts))
    return believable.tempered(judge_followed(laid), laid, doubts, lambda names: laid)


def test_judging_a_night_costs_no_more_than_reading_it_ten_times(tmp_path):
    """12 h × 8 channels × 1 Hz: judging against reading the same readings from blocks."""
    night = kilns(1.0)
    times = T0 + (night[0].t_s * 1e6).astype(np.int64)
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        ids = [store.ensure_channel("k", one.name).id for one in night]
        with store.writing():
            for channel, one in zip(ids, night, strict=True):
                store.add_readings(channel, times, one.temp_c, one.quality, Unit.C)
    with Store.open(path) as store:
        reading = timed(lambda: [store.readings(channel) for channel in ids])
    judging = timed(lambda: assessed(night))
    doubting = timed(lambda: believable.doubts(night, PLAN))
    print(
        f"\njudging {1e3 * judging:.1f} ms of processor, of it doubts {1e3 * doubting:.1f} ms; "
        f"reading {1e3 * reading:.1f} ms: x {judging / reading:.1f}"
    )
    assert judging <= 10.0 * reading


def test_a_live_update_judges_the_whole_night_again():
    """A running firing is judged anew at each update: 12 h × 8 × 1 Hz; the time is printed."""
    night = kilns(1.0)
    turns = [
        (
            timed(lambda: judge(PLAN, night, end_s=43_200.0, running=True), 1),
            timed(lambda: [np.sort(one.temp_c) for one in night], 1),
        )
        for _ in range(15)
    ]
    update, peer = (min(times) for times in zip(*turns, strict=True))  # the machine is shared
    print(f"\nlive update {1e3 * update:.1f} ms, × {update / peer:.1f} of sorting the readings")
    assert update <= 15.0 * peer


def test_cost_is_linear_in_readings():
    """Twice the readings cost about twice the time, less what does not depend on them."""
    single, double = kilns(1.0), kilns(0.5)
    half, whole = timed(lambda: assessed(single)), timed(lambda: assessed(double))
    print(f"\n1 Hz {1e3 * half:.1f} ms, 2 Hz {1e3 * whole:.1f} ms: × {whole / half:.2f}")
    assert whole <= 2.6 * half


def test_truth():
    """500 firings with known truth, seeds that nothing was tuned on: the targets hold."""
    tally = truth.measure(500, 1000)
    table, shares = truth.figures(tally), truth.shares(tally)
    print()
    for key, (best, peer) in table.items():
        print(f"{key:46s} {best:10.2f} {peer:10.2f}")
    for key, share in shares.items():
        print(f"{key:46s} {100 * share:9.2f} %")
    assert table["median error / max(sample, 1 % of segment)"][0] <= 1.0
    assert table["95th percentile, % of segment"][0] <= 5.0
    assert table["95th percentile, % of segment"][0] < table["95th percentile, % of segment"][1] / 3
    assert shares["wrong pass"] <= 0.005
    assert shares["wrong fail"] <= 0.005
    assert shares["not proven"] + shares["not proven, unexcused"] <= 0.10
    assert shares["not proven, unexcused"] <= 0.002


@pytest.mark.parametrize("kind", ["shell", "block"])
def test_the_interval_holds_the_truth_four_times_in_five(kind):
    """On the rehearsal kiln, with eight past nights, the 80 % interval holds 70 to 90 per cent."""
    rows = calibration.coverage(kind, 8, 30)
    print("\n", kind, calibration.line(rows), "current", calibration.line(rows, current=True))
    assert 0.70 <= np.mean([row["inside"] for row in rows]) <= 0.90
