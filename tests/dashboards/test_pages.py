from __future__ import annotations

import json
import re
import time
from pathlib import Path

import numpy as np
import pytest
from plotly.utils import PlotlyJSONEncoder

from dashboards import live
from dashboards.pages.parts import firing_path
from firelog.judge import firing as judging
from firelog.record import coverage, seal
from firelog.record.store import Store
from tests.dashboards.nights import BEGAN_US, SCHEDULE, add_night, curve, foundry, three_nights

ODD = "<script>alert('x')</script> a/b ü%20?#"


@pytest.fixture(scope="module")
def nights(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("board") / "three.firelog"
    three_nights(path)
    return path


def words(made: object) -> str:
    """All text of a page, in order."""
    data = json.loads(json.dumps(made, cls=PlotlyJSONEncoder))
    return re.sub(r"\s+", " ", " ".join(_texts(data)))


def listed(path: Path, address: str = "/") -> str:
    """All text of the list."""
    made = live.page(path, address, None)
    return words([made["top"], made["bottom"]])


def just_read(monkeypatch: pytest.MonkeyPatch, t_s: np.ndarray) -> None:
    """Set the machine's clock to two seconds after the last reading of a night that runs."""
    now_us = BEGAN_US + round((float(t_s[-1]) + 2.0) * 1e6)
    monkeypatch.setattr(time, "time_ns", lambda: now_us * 1000)


def _texts(value: object) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, list):
        return [text for one in value for text in _texts(one)]
    if isinstance(value, dict) and "props" in value:
        return _texts(value["props"].get("children"))
    return []


def test_the_list_has_newest_first_with_word_of_verdict(nights: Path) -> None:
    """Three nights, newest first, each with the verdict that was kept."""
    text = listed(nights)
    order = [text.index(name) for name in ("holed night", "cold night", "sound night")]
    assert order == sorted(order)
    assert text.count("pass") == 1
    assert text.count("fail") == 1
    assert text.count("not proven") == 1
    assert "Tern Lane Bronze: 3 firings" in text
    assert "Sun 1 Mar 2026 08:00 MST" in text


def test_a_firing_says_what_judging_says(nights: Path) -> None:
    """Headline, every requirement and every reason on the page are those of the judgement."""
    with Store.open(nights) as store:
        judgement = judging.assess(store, store.firing("cold night")).judgement
    assert judgement is not None
    made = live.page(nights, firing_path("cold night"), None)
    head, body = words(made["top"]), words(made["bottom"])
    assert judgement.verdict.value == "fail"
    assert "fail" in head
    for check in judgement.checks:
        assert check.requirement in body
        assert check.why in body


def test_reasons_follow_the_readers_unit(nights: Path) -> None:
    """Shown in Fahrenheit, no Celsius is left on the page, and 580 °C is 1076 °F."""
    made = live.page(nights, firing_path("cold night"), "F")
    text = words(made["top"]) + words(made["bottom"])
    assert "1076 °F" in text
    assert "°C" not in text


def test_a_firing_that_is_not_there_says_which_are(nights: Path) -> None:
    """A wrong name gets a page with a sentence, not an error."""
    made = live.page(nights, firing_path("nix"), None)
    assert "No firing 'nix'" in words(made["top"])
    assert "sound night" in words(made["top"])
    assert made["drawn"] is None


def test_an_address_that_means_nothing_says_so(nights: Path) -> None:
    """An unknown page leads back to the list."""
    assert "There is no such page" in words(live.page(nights, "/nonsense", None)["top"])
    assert "There is no such page" in words(live.page(nights, "/firing/", None)["top"])


def test_a_store_that_is_missing_or_foreign_is_said_and_looked_for_again(tmp_path: Path) -> None:
    """Missing, not SQLite, or a folder: one sentence, and the page asks again by itself."""
    foreign = tmp_path / "foreign.firelog"
    foreign.write_bytes(b"not a database at all, only words" * 40)
    for path in (tmp_path / "missing.firelog", foreign, tmp_path):
        for address in ("/", "/firing/x"):
            made = live.page(path, address, None)
            text = words(made["top"])
            assert "The record cannot be read" in text
            assert str(path) in text
            assert made["watch"]["every_s"] == 5.0


def test_a_store_that_comes_back_is_shown(tmp_path: Path) -> None:
    """The page of a missing store becomes the list once the store is there."""
    path = tmp_path / "late.firelog"
    watch = live.page(path, "/", None)["watch"]
    question = {"k": 1, "path": "/", "seen": watch["seen"]}
    assert "cannot be read" in words(live.answer(path, question)["top"])
    three_nights(path)
    assert "sound night" in words(live.answer(path, question)["bottom"])


def test_another_store_in_its_place_is_noticed(tmp_path: Path) -> None:
    """A store replaced by another is read anew, though its firing has the same name."""
    path, other = tmp_path / "a.firelog", tmp_path / "b.firelog"
    t_s = np.arange(0.0, 12_000.0, 10.0)
    for place, top_c in ((path, 600.0), (other, 500.0)):
        with foundry(place) as store:
            add_night(store, "n", channels={"top": curve(t_s, top_c=top_c)}, t_s=t_s)
    assert "pass" in words(live.page(path, "/firing/n", None)["top"])
    other.replace(path)
    assert "fail" in words(live.page(path, "/firing/n", None)["top"])


def test_an_empty_store_says_what_to_do(tmp_path: Path) -> None:
    """Before the first firing the list names the commands that make one."""
    foundry(tmp_path / "new.firelog").close()
    text = words(live.page(tmp_path / "new.firelog", "/", None)["top"])
    assert "No firing yet" in text
    assert "firelog firings add" in text


def test_odd_names_have_pages(tmp_path: Path) -> None:
    """Slashes, tags, spaces, percent signs: the link leads back to the very same name."""
    path = tmp_path / "odd.firelog"
    t_s = np.arange(0.0, 7200.0, 60.0)
    with foundry(path) as store:
        add_night(store, ODD, channels={"<b>top</b>": curve(t_s)}, t_s=t_s)
    address = firing_path(ODD)
    assert re.fullmatch(r"/firing/[A-Za-z0-9%._~'()!*-]+", address)
    assert ODD in words(live.page(path, address, None)["top"])
    assert ODD in listed(path)


def test_bare_firings_have_pages(tmp_path: Path) -> None:
    """Without a schedule there is a trace and no verdict; without readings, none proven."""
    path = tmp_path / "bare.firelog"
    t_s = np.arange(0.0, 7200.0, 60.0)
    with foundry(path) as store:
        add_night(store, "bare", channels={"top": curve(t_s)}, t_s=t_s, schedule=None)
        add_night(store, "void", channels={}, t_s=np.empty(0), kiln="other", keep=False)
    bare = live.page(path, "/firing/bare", None)
    assert "no schedule" in words(bare["top"])
    assert bare["drawn"] is not None
    void = live.page(path, "/firing/void", None)
    assert "not proven" in words(void["top"])
    assert "No reading yet" in words(void["bottom"])
    assert void["drawn"] is None


def test_a_schedule_that_cannot_be_read_leaves_the_trace(tmp_path: Path) -> None:
    """A kept schedule this version refuses costs the verdict, not the picture."""
    path = tmp_path / "broken.firelog"
    t_s = np.arange(0.0, 7200.0, 60.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"top": curve(t_s)}, t_s=t_s, schedule=None)
        store.add_firing(
            "broken", "North", began_us=BEGAN_US, ended_us=BEGAN_US + 7_200_000_000,
            schedule_title="x", schedule_text="title = 'x'\nno_such_key = 1\n",
        )  # fmt: skip
    made = live.page(path, "/firing/broken", None)
    assert "not judged" in words(made["top"])
    assert "no_such_key" in words(made["top"])
    parts = [line["meta"]["part"] for line in made["drawn"]["data"]]
    assert parts == ["uncertainty", "measured"]
    assert "broken" in listed(path)


def test_a_kept_verdict_stands_when_the_record_changes(tmp_path: Path) -> None:
    """Readings that come late change today's answer; the page shows both, the kept one first."""
    path = tmp_path / "late.firelog"
    t_s = np.arange(0.0, 12_000.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"top": curve(t_s)}, t_s=t_s)
        hot = store.ensure_channel("North", "corner")
        ended = np.array([BEGAN_US + 9_000_000_000 + n for n in range(40)], dtype=np.int64)
        from firelog.readings import Unit

        store.add_readings(hot.id, ended, np.full(40, 900.0), np.zeros(40, np.uint8), Unit.C)
    text = words(live.page(path, "/firing/n", None)["top"])
    assert text.index("pass") < text.index("Judged again now, the answer is 'fail'")


# ---------------------------------------------------------------- increments
def test_an_answer_is_small_and_holds_only_what_is_new(tmp_path: Path) -> None:
    """Nothing new costs under 300 bytes; five new scans come back as exactly those points."""
    path = tmp_path / "running.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        plan = "start = 20\n" + SCHEDULE
        both = {"a": curve(t_s), "b": curve(t_s) - 5}
        add_night(store, "n", channels=both, t_s=t_s, running=True, schedule=plan)
        watch = live.page(path, "/firing/n", None)["watch"]
        assert watch["newest_us"] == BEGAN_US + 3_590_000_000
        question = {
            "k": 7,
            "path": "/firing/n",
            "after": watch["newest_us"],
            "seen": watch["seen"],
        }
        quiet = live.answer(path, question)
        assert quiet["k"] == 7
        assert "points" not in quiet
        assert len(json.dumps(quiet)) < 300
        from firelog.readings import Unit

        judgement = judging.assess(store, store.firing("n")).judgement
        assert judgement is not None
        began_s = judgement.segments[0].began_s
        assert began_s is not None
        aim_c = 20.0 + 300.0 * (3600.0 - began_s) / 3600.0
        channel = store.ensure_channel("North", "a")
        new_s = np.array([3600.0, 3610.0, 3620.0, 3630.0, 3640.0])
        t_us = BEGAN_US + (new_s * 1e6).astype(np.int64)
        value = curve(new_s) + 1.0
        value[2] = np.nan
        store.add_readings(channel.id, t_us, value, np.array([0, 0, 1, 0, 0], np.uint8), Unit.C)
    told = live.answer(path, question)
    assert told["newest_us"] == t_us[-1]
    assert told["points"]["after"] == watch["newest_us"]
    assert told["points"]["cursor"] == t_us[-1]
    (line,) = told["points"]["lines"].values()
    drawn = [None if np.isnan(v) else round(v, 2) for v in value.tolist()]
    assert line["y"] == drawn
    assert line["off"]["segments"][0] == pytest.approx(value[0] - aim_c, abs=0.05)
    assert line["off"]["segments"][2] is None
    # By the clock the plan began at 20 °C with the firing: 300 °C later it is one degree hotter.
    assert line["off"]["clock"][0] == pytest.approx(1.0, abs=0.01)
    local_ms = t_us // 1000 - 7 * 3_600_000
    assert np.array(line["x"], "datetime64[ms]").astype(int).tolist() == local_ms.tolist()


def test_readings_after_a_silence_are_not_joined_to_those_before(tmp_path: Path) -> None:
    """Ten minutes of nothing, then two readings: the answer begins with a break in the line."""
    from firelog.readings import Unit

    path = tmp_path / "back.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
        watch = live.page(path, "/firing/n", None)["watch"]
        new_s = np.array([4190.0, 4200.0])
        t_us = BEGAN_US + (new_s * 1e6).astype(np.int64)
        channel = store.ensure_channel("North", "a")
        store.add_readings(channel.id, t_us, curve(new_s), np.zeros(2, np.uint8), Unit.C)
    question = {
        "k": 1, "path": "/firing/n", "after": watch["newest_us"], "seen": watch["seen"],
    }  # fmt: skip
    line = live.answer(path, question)["points"]["lines"]["a"]
    assert [y is None for y in line["y"]] == [True, False, False]
    assert [y is None for y in line["off"]["segments"]] == [True, False, False]
    newest_s = np.datetime64(watch["newest_us"] // 1_000_000 - 7 * 3600, "s")
    assert np.datetime64(line["x"][0]) == newest_s


def test_older_words_are_replaced_and_the_picture_left(tmp_path: Path) -> None:
    """A browser that shows an older judgement gets the new words, and no new picture."""
    path = tmp_path / "words.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
    made = live.page(path, "/firing/n", None)
    seen = made["watch"]["seen"] | {"page": "of a minute ago"}
    question = {"k": 1, "path": "/firing/n", "after": made["watch"]["newest_us"], "seen": seen}
    told = live.answer(path, question)
    assert words(told["top"]) == words(made["top"])
    assert words(told["bottom"]) == words(made["bottom"])
    assert told["seen"] == made["watch"]["seen"]
    assert "drawn" not in told


def test_a_picture_that_has_changed_comes_whole(tmp_path: Path) -> None:
    """An event, or the end of the firing, sends the page anew, and a closed one stops asking."""
    path = tmp_path / "ending.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
        watch = live.page(path, "/firing/n", None)["watch"]
        assert watch["every_s"] == 1.0
        firing = store.firing("n")
        store.close_firing(firing.id, BEGAN_US + 3_600_000_000)
    question = {"k": 1, "path": "/firing/n", "after": watch["newest_us"], "seen": watch["seen"]}
    told = live.answer(path, question)
    assert told["drawn"] is not None
    assert told["watch"]["every_s"] == 0.0
    assert told["watch"]["alive"] is False


def test_a_running_firing_says_where_it_is(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Half-way up the ramp the page names segment 1 of 2, and no verdict shouts."""
    path = tmp_path / "ramp.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
    just_read(monkeypatch, t_s)
    text = words(live.page(path, "/firing/n", None)["top"])
    assert "running" in text
    assert "Segment 1 of 2" in text
    assert "none has failed" in text


def test_a_firing_that_is_not_heard_is_silent_and_foretells_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After 100 s without a reading: silent, the last value with U and its time, no forecast."""
    path = tmp_path / "silent.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
    just_read(monkeypatch, t_s)
    heard = live.page(path, "/firing/n", None)
    assert "about 09:5" in words(heard["top"])
    seen, after_us = heard["watch"]["seen"], heard["watch"]["newest_us"]
    last_us = BEGAN_US + round(float(t_s[-1]) * 1e6)
    monkeypatch.setattr(time, "time_ns", lambda: (last_us + 100_000_000) * 1000)
    told = live.answer(path, {"k": 1, "path": "/firing/n", "after": after_us, "seen": seen})
    text = words([told["top"], told["bottom"]])
    assert "silent for 100 s" in text
    assert re.search(r"Last heard: a 319 °C ± \d+\.\d K at 08:59", text)
    assert "running" not in words(told["top"])
    assert "about" not in text
    assert "expected" not in text
    parts = [line.get("meta", {}).get("part") for line in told["drawn"]["data"]]
    assert "expected" not in parts
    holes = [one for one in told["drawn"]["layout"]["shapes"] if one.get("name") == "hole"]
    assert [one["x1"] for one in holes] == ["2026-03-01T09:01:30"]
    assert "silent" in listed(path)
    assert "100 s ago" in listed(path)


def test_a_long_past_is_paged(tmp_path: Path) -> None:
    """Of 120 firings the first page shows the newest 50; the running one is on every page."""
    path = tmp_path / "past.firelog"
    day_us = 86_400_000_000
    with foundry(path) as store, store.writing():
        for n in range(120):
            began_us = BEGAN_US + n * day_us
            store.add_firing(f"night {n:03d}", "North", began_us=began_us, ended_us=began_us + 1)
        store.add_firing("tonight", "South", began_us=BEGAN_US + 200 * day_us)
    found = [re.findall(r"night (\d{3})", listed(path, at)) for at in ("/", "/older/2", "/older/3")]
    assert found[0] == [f"{n:03d}" for n in range(119, 69, -1)]
    assert [int(n) for page in found for n in page] == list(range(119, -1, -1))
    for at in ("/", "/older/2", "/older/3", "/older/99999"):
        assert "tonight" in listed(path, at)
    assert "older firings" in listed(path)
    assert "older firings" not in listed(path, "/older/3")
    assert "There is no such page" in listed(path, "/older/x")


def test_the_list_sends_only_the_newest_value(tmp_path: Path) -> None:
    """While nothing else changes, a running firing costs the list a few bytes an answer."""
    path = tmp_path / "running.firelog"
    t_s = np.arange(0.0, 3600.0, 10.0)
    with foundry(path) as store:
        add_night(store, "old", channels={"a": curve(t_s)}, t_s=t_s)
        later_us = BEGAN_US + 10**10
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, began_us=later_us, running=True)
    watch = live.page(path, "/", None)["watch"]
    told = live.answer(path, {"k": 1, "path": "/", "seen": watch["seen"]})
    assert told["values"] == {"n": "319 °C"}
    assert "bottom" not in told
    assert len(json.dumps({k: v for k, v in told.items() if k != "top"})) < 300


@pytest.mark.parametrize(
    "question",
    [
        {},
        {"path": 7, "after": "x", "seen": [], "k": None},
        {"path": "/firing/sound%20night", "after": {}, "seen": {"shape": 1}},
        {"path": "/firing/sound%20night", "after": -(10**30), "seen": {"shape": "a"}, "unit": []},
        {"path": "/" + "x" * 5000, "seen": {"page": "x"}},
    ],
)
def test_nonsense_asked_is_answered_with_a_page(nights: Path, question: dict) -> None:
    """Whatever is posted as a question, the answer is a page or nothing new, never a fault."""
    told = live.answer(nights, question)
    assert told["build"] == live.BUILD
    seen = live.page(nights, "/firing/sound%20night", None)["watch"]["seen"]
    for after in (10**30, -(10**30), True, 1.5, "1"):
        asked = {"path": "/firing/sound%20night", "after": after, "seen": seen}
        assert live.answer(nights, asked)["build"] == live.BUILD


def test_schedules_of_these_tests_mean_what_they_say() -> None:
    """The invented schedule has the two segments and two requirements the tests count on."""
    from firelog.schedule.plan.reader import parse_schedule

    plan = parse_schedule(SCHEDULE, "test")
    assert [segment.name for segment in plan.segments] == ["up", "soak"]
    assert [one.kind for one in plan.requirements] == ["soak", "ceiling"]


# ---------------------------------------------------------------- what happened, what is to come
def test_a_stalled_night_says_what_happened_and_how_late_it_was(tmp_path: Path) -> None:
    """An hour's stand is listed in words; the firing ended an hour behind; nothing is sealed."""
    path = tmp_path / "stalled.firelog"
    t_s = np.arange(0.0, 4.3 * 3600.0, 10.0)
    stand = np.where(t_s < 3600.0, t_s, np.maximum(t_s - 3600.0, 3600.0))
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(stand)}, t_s=t_s)
    made = live.page(path, "/firing/n", "F")
    below = words(made["bottom"])
    assert "What happened" in below
    assert "'up' stood at 608 °F for" in below  # 20 °C + 300 °C, in the reader's unit
    assert "This record is not sealed" in below
    assert re.search(r"Ended (1 h 0\d|5\d) min behind the plan's clock\.", words(made["top"]))


def test_a_sealed_record_shows_its_head_and_its_day(tmp_path: Path) -> None:
    """The whole head is on the page, to be copied, with who sealed it and when."""
    path = tmp_path / "sealed.firelog"
    t_s = np.arange(0.0, 7200.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s)
        made = seal.seal(store, store.firing("n"), now_us=BEGAN_US, version="1", who="Ines")
    below = words(live.page(path, "/firing/n", None)["bottom"])
    assert made.head in below
    assert "Sealed, 2026-03-01 08:00 MST by Ines, not signed. Under the seal: 1 firing" in below
    assert "Not under the seal" not in below


def test_a_board_names_what_the_seal_does_not_cover(tmp_path: Path) -> None:
    """A note entered after the seal is named, in the words of the report."""
    path = tmp_path / "later.firelog"
    t_s = np.arange(0.0, 7200.0, 10.0)
    with foundry(path) as store:
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s)
        seal.seal(store, store.firing("n"), now_us=BEGAN_US, version="1", who="Ines")
        firing = store.firing("n")
        store.add_event(BEGAN_US + 1, "door open", kiln=firing.kiln, firing_id=firing.id)
        found = coverage.of_firing(store, firing)
    below = words(live.page(path, "/firing/n", None)["bottom"])
    assert len(found.missing) == 1
    assert f"Not under the seal, or no longer as sealed: {found.missing[0]}." in below
    assert "Sealed in part only" in below


def test_a_running_firing_says_when_it_should_be_done_from_its_kilns_past(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two past nights as planned, tonight on its way: 600 °C about 06:58 after the start's 8:00."""
    path = tmp_path / "ahead.firelog"
    whole_s, t_s = np.arange(0.0, 3.2 * 3600.0, 10.0), np.arange(0.0, 3600.0, 10.0)
    day_us = 86_400_000_000
    with foundry(path) as store:
        for night in (2, 1):
            began_us = BEGAN_US - night * day_us
            both = {"a": curve(whole_s)}
            add_night(store, f"past {night}", channels=both, t_s=whole_s, began_us=began_us)
        other = {"a": curve(whole_s)}
        add_night(store, "elsewhere", channels=other, t_s=whole_s, kiln="South")
        add_night(store, "n", channels={"a": curve(t_s)}, t_s=t_s, running=True)
    just_read(monkeypatch, t_s)
    made = live.page(path, "/firing/n", None)
    above, below = words(made["top"]), words(made["bottom"])
    assert "up , on time" in above
    assert "from 2 past firings of this kiln" in above
    # 580 K at 300 K/h from 08:00 is 09:56; inside the band of 15 K three minutes earlier.
    assert re.search(r"up done\W+about 09:5\d", above)
    assert re.search(r"all done\W+about 10:5\d", above)
    assert re.search(r"expected 09:5\d", below)
    assert "never" not in below.split("Segments")[1].split("Channels")[0]


def test_a_running_firing_that_stands_still_says_so_first(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After an hour and a half at 320 °C it is stalled, late, and its times are hopes only."""
    path = tmp_path / "stalls.firelog"
    t_s = np.arange(0.0, 9000.0, 10.0)
    with foundry(path) as store:
        both = {"a": curve(np.minimum(t_s, 3600.0))}
        add_night(store, "n", channels=both, t_s=t_s, running=True)
    just_read(monkeypatch, t_s)
    above = words(live.page(path, "/firing/n", None)["top"])
    assert re.search(r"up , stalled\. At 320 °C with \S+ K/h", above)
    assert re.search(r"1 h (29|30|31) min behind the plan's clock", above)
    assert "only if the kiln goes on at once" in above
