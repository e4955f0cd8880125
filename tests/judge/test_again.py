"""Firings judged anew after what they stood on was changed: noted, and the new verdict kept."""

from __future__ import annotations

from pathlib import Path

from firelog.judge.again import JudgedAgain, judge_again
from firelog.judge.firing import settle
from firelog.record.store import Store
from tests.judge.nights import DAY_US, T0, night, read, write

COLD = ((0.0, 20.0), (2.6, 800.0), (4.9, 800.0))


def test_each_firing_is_noted_and_judged_by_what_it_has_now(tmp_path: Path) -> None:
    """A good night, a cold one, one that runs and one without a schedule, in turn.

    The first two get the verdict they deserve, the others are only noted.
    """
    with Store.open(tmp_path / "store", write=True) as store:
        for number, (name, corners) in enumerate((("good", None), ("cold", COLD))):
            t_s, temp_c = night() if corners is None else night(corners)
            pair = {"top": read(temp_c), "low": read(temp_c - 4.0, seed=2)}
            write(store, name, t_s, pair, began_us=T0 + number * DAY_US)
        t_s, temp_c = night()
        write(store, "running", t_s, {"top": read(temp_c)}, began_us=T0 + 3 * DAY_US, ended=False)
        store.add_firing("bare", "kiln one", began_us=T0 - 9 * DAY_US, ended_us=T0 - 8 * DAY_US)
        settle(store, store.firing("cold"), T0 + 5 * DAY_US)
        firings = [store.firing(name) for name in ("good", "cold", "running", "bare")]
        found = judge_again(
            store, firings, now_us=T0 + 6 * DAY_US, kind="corrected", text="why", who="Ana"
        )
        assert [(one.firing, one.before) for one in found] == [
            ("good", None), ("cold", "fail"), ("running", None), ("bare", None),
        ]  # fmt: skip
        assert [one.after for one in found] == ["pass", "fail", None, None]
        kept = store.verdict(store.firing("good"))
        assert kept is not None
        assert kept.verdict == "pass"
        assert store.verdict(store.firing("running")) is None
        for firing in firings:
            (event,) = [one for one in store.events(firing) if one.kind == "corrected"]
            assert (event.text, event.who, event.t_us) == ("why", "Ana", T0 + 6 * DAY_US)


def test_both_verdicts_are_said() -> None:
    """Before and now; none before; none at all."""
    assert JudgedAgain("a", "pass", "fail").words == "pass before, fail now"
    assert JudgedAgain("a", None, "fail").words == "no verdict before, fail now"
    assert JudgedAgain("a", "pass", None).words == "it has no verdict to be reached anew"
