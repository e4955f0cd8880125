"""A judged firing as it leaves: the evidence of each check, its probability, its budget, in UTC.

The night of the house plan: 870 °C after 2 h 50 min, two hours there, from 2026-03-01T08:00:00Z.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest
from scipy.stats import norm

from firelog.errors import InputError, StoreError
from firelog.judge.firing import Assessment, answer, assess, settle
from firelog.record.store import Store
from tests.judge.nights import PLAN, T0, judged, night, read, write

FLOOR = '[[require]]\nname = "not cold"\nkind = "floor"\nsegment = "burn out"\nat_least = 835\n'


def found(path: Path, **how: Any) -> Assessment:
    t_s, temp_c = night()
    pair = {"top": read(temp_c), "low": read(temp_c - 4.0, seed=2)}
    return judged(path, t_s, pair, plan=PLAN + FLOOR, **how)


def checks(assessment: Assessment) -> dict[str, dict[str, Any]]:
    return {one["requirement"]: one for one in answer(assessment)["checks"]}


def test_the_answer_holds_verdict_segments_and_instants(tmp_path: Path) -> None:
    """A pass; the climb began at 08:00 and was there before 10:51; all instants end in Z."""
    told = answer(found(tmp_path))
    assert (told["verdict"], told["running"]) == ("pass", False)
    assert (told["firing"], told["schedule"]) == ("tonight", "Burn out")
    assert told["began"] == "2026-03-01T08:00:00Z"
    climb, hold = told["segments"]
    assert climb["began"].startswith("2026-03-01T08:0")
    assert "2026-03-01T10:4" < climb["reached"] < "2026-03-01T10:52"
    assert hold["soaked_s"] == pytest.approx(2 * 3600.0, abs=420.0)
    assert hold["complete"].startswith("2026-03-01T12:4")
    assert {one["name"] for one in told["channels"]} == {"top", "low"}


def test_each_check_has_its_numbers_in_the_units_of_its_kind(tmp_path: Path) -> None:
    """°C with its limit and U, seconds for a soak and a gap, K for a spread; and who decided."""
    by_name = checks(found(tmp_path))
    hot, ceiling = by_name["hot"], by_name["not too hot"]
    assert (hot["unit"], hot["limit"], hot["channel"]) == ("C", 840.0, "low")
    assert hot["measured"] == pytest.approx(867.0, abs=2.0)
    assert hot["uncertainty"] > 5.0
    assert (ceiling["limit"], ceiling["channel"]) == (910.0, "top")
    assert ceiling["at"] > "2026-03-01T10:40"
    assert by_name["long enough"]["unit"] == "s"
    assert by_name["long enough"]["limit"] == 5400.0
    even = by_name["even"]
    assert even["measured"] == pytest.approx(4.0, abs=2.5)
    assert by_name["no gap"]["measured"] == pytest.approx(10.0, abs=0.1)


def test_the_probability_is_that_of_a_limit_truly_kept(tmp_path: Path) -> None:
    """Φ((limit − y)/u) of a ceiling, Φ((y − limit)/u) of a floor, u = U/2 (JCGM 106, 7.3)."""
    by_name = checks(found(tmp_path))
    for name, sign in (("not too hot", 1.0), ("not cold", -1.0)):
        one = by_name[name]
        u = one["uncertainty"] / 2.0
        expected = norm.cdf(sign * (one["limit"] - one["measured"]) / u)
        assert one["probability"] == pytest.approx(expected, abs=1e-4)
        assert 0.5 < one["probability"] <= 1.0
    assert all(by_name[name]["probability"] is None for name in ("hot", "even", "no gap"))


def test_a_temperature_has_its_budget_and_nothing_else_does(tmp_path: Path) -> None:
    """The parts' squares add to U: JCGM 100:2008, 5.1.2; a soak and a gap have none."""
    by_name = checks(found(tmp_path))
    for name in ("hot", "not too hot", "not cold"):
        budget = by_name[name]["budget"]
        assert budget is not None
        assert by_name[name]["not_counted"] is not None
    assert by_name["long enough"]["budget"] is None
    assert by_name["no gap"]["budget"] is None
    assert by_name["even"]["budget"] is None


def test_beside_a_pass_stands_what_u_does_not_count(tmp_path: Path) -> None:
    """Both couples in one sentence; where nothing passed there is no such word."""
    remarks = answer(found(tmp_path))["remarks"]
    assert any(one.startswith("top, low: allowed for in U, not known: ") for one in remarks)
    (tmp_path / "cold").mkdir()
    t_s, temp_c = night(((0.0, 20.0), (4.9, 300.0)))
    cold = judged(tmp_path / "cold", t_s, {"top": read(temp_c)},
                  plan=PLAN[: PLAN.index("[[require]]")] + FLOOR)  # fmt: skip
    assert not any("in U" in one for one in answer(cold)["remarks"])


def test_what_is_not_finite_is_left_out(tmp_path: Path) -> None:
    """No answer holds a NaN: JSON has none."""

    def every(value: Any) -> Any:
        if isinstance(value, dict):
            value = list(value.values())
        return (
            [leaf for one in value for leaf in every(one)] if isinstance(value, list) else [value]
        )

    t_s, temp_c = night()
    hot = judged(tmp_path, t_s, {"top": read(temp_c + 500.0)})  # K above 1200 °C: no tolerance
    assert all(math.isfinite(one) for one in every(answer(hot)) if isinstance(one, float))


def test_a_running_firing_keeps_no_verdict_and_one_without_a_schedule_has_none(
    tmp_path: Path,
) -> None:
    """End it first; give it a schedule first. A closed one is kept with its instant."""
    t_s, temp_c = night()
    with Store.open(tmp_path / "store", write=True) as store:
        write(store, "running", t_s, {"top": read(temp_c)}, ended=False)
        with pytest.raises(StoreError, match="still running"):
            settle(store, store.firing("running"), T0)
        bare = store.add_firing("bare", "kiln two", began_us=T0, ended_us=T0 + 1_000_000)
        assert bare is not None
        assert settle(store, store.firing("bare"), T0) is None
        with pytest.raises(InputError, match="has no schedule"):
            answer(assess(store, store.firing("bare")))
    (tmp_path / "b").mkdir()
    with Store.open(tmp_path / "b" / "store", write=True) as store:
        write(store, "done", t_s, {"top": read(temp_c), "low": read(temp_c, seed=2)})
        kept = settle(store, store.firing("done"), T0 + 9)
        assert kept is not None
        assert (kept.judged_us, kept.verdict) == (T0 + 9, "pass")
        assert kept.judgement["verdict"] == "pass"
