"""A couple heard twice: both are kept, one decides, the other fills holes only where it was asked.

The truth is always one source alone in an empty store.
"""

from __future__ import annotations

import io
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.judge import again
from firelog.judge.firing import answer, assess
from firelog.pouring.metal import traces_of
from firelog.readings import Quality, Trace, Unit
from firelog.record import heard, heats, imports, items, seal, sources
from firelog.record.expiry import expire
from firelog.record.export import write_csv
from firelog.record.store import Store
from firelog.record.verify import verify

T0 = 1_790_000_000_000_000
SECOND = 1_000_000
NOW = T0 + 86_400 * SECOND
ACT = heard.Act("Oda Brandvik", "the radio dropped out", NOW)
PLAN = """
title = "Shell"
unit = "C"
[[segment]]
name = "up"
to = 860
[[require]]
name = "hot"
kind = "soak"
channels = "kiln"
at_least = 800
lasting = "10 min"
[[require]]
name = "never too hot"
kind = "ceiling"
at_most = 900
"""
END = T0 + 7_200 * SECOND


def night(top, step_s, first_s=0, hole=(0, 0), quality=Quality.OK):
    """Return an invented night of two hours: rise to ``top`` [°C], alive to its last digit."""
    t_s = np.arange(first_s, 7_201, step_s)
    t_s = t_s[(t_s < hole[0]) | (t_s >= hole[1])]
    value = np.minimum(20 + t_s * 0.25, top) + (t_s // step_s) % 3 / 10
    codes = np.full(len(t_s), quality, np.uint8)
    return Trace(T0 + t_s.astype(np.int64) * SECOND, np.round(value, 1), codes)


def bring(store, trace, *, beside=False):
    """Add a trace as an import, and return its number."""
    number = imports.begin(
        store, imports.FILE, now_us=NOW, kiln="kiln", file="n.csv", sha256="ab", beside=beside
    )
    top = store.ensure_channel("kiln", "top")
    store.add_readings(
        top.id, trace.t_us, trace.value, trace.quality, Unit.C, origin=number, beside=beside
    )
    imports.finish(store, number, {}, now_us=NOW)
    return number


def live(store, trace):
    """Add a trace as the collector heard it."""
    run = imports.begin(store, imports.COLLECTOR, now_us=NOW)
    top = store.ensure_channel("kiln", "top")
    with store.writing():
        for t_us, value in zip(trace.t_us.tolist(), trace.value.tolist(), strict=True):
            store.add_scan(t_us, [(top.id, value, Unit.C, Quality.OK)], run)


def fired(store):
    """Enter the firing of that night."""
    return store.add_firing(
        "night", "kiln", began_us=T0, ended_us=END, schedule_title="Shell", schedule_text=PLAN
    )


def said(store):
    """Return all that the verdict says, but for what it says of sources."""
    found = answer(assess(store, store.firing("night")))
    found.pop("sources")
    found["remarks"] = [one for one in found["remarks"] if not one.startswith("top was heard")]
    return found


def alone(trace):
    """Return what is said of a trace alone in an empty store."""
    with TemporaryDirectory() as folder, Store.open(Path(folder) / "a", write=True) as store:
        bring(store, trace)
        fired(store)
        return said(store)


nights = st.builds(
    night,
    top=st.integers(600, 960),
    step_s=st.integers(5, 60),
    first_s=st.integers(0, 9),
    hole=st.tuples(st.integers(0, 4000), st.integers(0, 7200)),
)


@settings(max_examples=12, deadline=None, suppress_health_check=list(HealthCheck))
@given(nights, nights, st.booleans())
def test_a_verdict_is_that_of_the_deciding_source_alone(own, memory, second):
    """Whichever source decides, the firing says to the last digit what that source says alone."""
    with TemporaryDirectory() as folder, Store.open(Path(folder) / "s", write=True) as store:
        live(store, own)
        firing = fired(store)
        number = bring(store, memory, beside=True)
        if second:
            heard.choose(store, ("firing", firing.id), 1, heard.Wish(number), ACT)
        assert said(store) == alone(memory if second else own)


@settings(max_examples=200, deadline=None)
@given(
    st.lists(st.integers(0, 400), unique=True),
    st.lists(st.integers(0, 400), unique=True),
    st.integers(1, 80),
    st.sets(st.integers(0, 400)),
)
def test_only_holes_are_filled(own, other, hole, silent):
    """A reading of the other source is taken where the deciding one was silent for longer only."""

    def trace(instants, quiet=()):
        t_us = np.array(sorted(instants), np.int64)
        codes = [Quality.MISSING if t in quiet else Quality.OK for t in t_us.tolist()]
        return Trace(t_us, t_us + 0.5 * bool(quiet), np.array(codes, np.uint8))

    deciding, spare = trace(own, silent), trace(other)
    found, count, _ = sources.fill(deciding, spare, hole, (0, 400))
    spoken = [t for t in own if t not in silent]
    for t in other:
        before = max((s for s in spoken if s <= t), default=0)
        after = min((s for s in spoken if s >= t), default=400)
        due = t not in spoken and after - before > hole
        assert (t in found.t_us[~np.isin(found.t_us, spoken)]) >= due
        count -= due
    assert count == 0
    assert np.isin(spoken, found.t_us).all()
    assert (np.diff(found.t_us) > 0).all() or not silent


def test_an_open_circuit_is_a_reading_and_is_never_filled():
    """What the deciding source heard of a broken couple stands, whatever the other one says."""
    broken = night(880, 10, quality=Quality.OPEN)
    found, count, holes = sources.fill(broken, night(880, 30), 60 * SECOND, (T0, END))
    assert (found, count, holes) == (broken, 0, ())


def everything(store):
    """Return what every reader says of the channel without having chosen a source."""
    channel = store.channel("kiln", "top")
    firing, heat = store.firing("night"), heats.heat(store, "melt")
    out = io.StringIO()
    write_csv(store, [channel], out)
    envelope = store.overview([channel.id], T0, END, 40)[channel.id]
    return {
        "readings": store.readings(channel.id).value.tolist(),
        "span": store.reading_span(channel.id),
        "newest": store.newest_us("kiln"),
        "firing": store.firing_readings(firing, channel.id).value.tolist(),
        "export": out.getvalue(),
        "overview": np.nan_to_num(envelope.high).tolist(),
        "heat": [one.temp_c.tolist() for one in traces_of(store, heat)],
        "blocks": len(items.block_rows(store.connection, firing, channel.id)),
        "channels": len(store.firing_channels(firing)),
    }


@settings(max_examples=10, deadline=None, suppress_health_check=list(HealthCheck))
@given(nights, nights, nights)
def test_no_reader_counts_what_is_only_kept_or_withdrawn(own, memory, wrong):
    """Lists, exports, pictures, firings and heats are as if only the channel's own record were."""
    found = []
    for more in (False, True):
        with TemporaryDirectory() as folder, Store.open(Path(folder) / "s", write=True) as store:
            bring(store, own)
            fired(store)
            heats.add_heat(store, "melt", "kiln", "C87300", began_us=T0, ended_us=END)
            if more:
                bring(store, memory, beside=True)
                again.withdraw(
                    store, bring(store, wrong, beside=True), who="O", why="w", now_us=NOW
                )
            found.append(everything(store))
    assert found[0] == found[1]


def test_a_heat_stands_on_the_source_that_was_chosen(tmp_path):
    """A heat reads its furnace's own record, or the second source that was chosen for it."""
    with Store.open(tmp_path / "s", write=True) as store:
        bring(store, night(880, 10))
        heat = heats.add_heat(store, "melt", "kiln", "C87300", began_us=T0, ended_us=END)
        number = bring(store, night(880, 30, 3), beside=True)
        assert len(traces_of(store, heat)[0]) == 721
        heard.choose(store, ("heat", heat.id), 1, heard.Wish(number), ACT)
        assert len(traces_of(store, heat)[0]) == 240


def test_a_second_source_brought_in_after_the_seal_is_no_alteration(tmp_path):
    """Kept beside a sealed firing it is a note; chosen, the choice and its readings are told."""
    with Store.open(tmp_path / "s", write=True) as store:
        bring(store, night(880, 10))
        firing = fired(store)
        seal.seal(store, firing, now_us=NOW, version="0")
        number = bring(store, night(880, 30, 3), beside=True)
        found = verify(store)
        assert found.unchanged
        assert any("second source" in one.item for one in found.notes)
        heard.choose(store, ("firing", firing.id), 1, heard.Wish(number), ACT)
        chosen = verify(store)
        assert chosen.unchanged
        words = [one.what for one in chosen.notes if one.firing == "night"]
        assert any("chosen after the seal, by Oda Brandvik" in one for one in words), words
        seal.seal(store, firing, now_us=NOW + 1, version="0")
        assert verify(store).unchanged
        assert [one for one in verify(store).notes if one.firing == "night"] == []


def test_a_withdrawn_second_source_leaves_no_verdict_behind(tmp_path):
    """Where the deciding source is withdrawn nothing takes its place in silence."""
    with Store.open(tmp_path / "s", write=True) as store:
        bring(store, night(880, 10))
        firing = fired(store)
        number = bring(store, night(880, 30, 3), beside=True)
        heard.choose(store, ("firing", firing.id), 1, heard.Wish(number), ACT)
        gone, judged = again.withdraw(store, number, who="Oda", why="another kiln", now_us=NOW)
        assert [one.name for one in gone.firings] == ["night"]
        assert [one.after for one in judged] == ["not proven"]
        assert any("was withdrawn" in one for one in said(store)["remarks"])


def test_a_source_that_is_none_is_refused_with_those_there_are(tmp_path):
    """A wrong number names the sources; a source never fills its own holes."""
    with Store.open(tmp_path / "s", write=True) as store:
        live(store, night(880, 60))
        firing = fired(store)
        number = bring(store, night(880, 30, 3), beside=True)
        of, span = ("firing", firing.id), (T0, END)
        assert heard.number_of(store, "live", (1, "top"), span, of) == sources.OWN
        assert heard.number_of(store, str(number), (1, "top"), span, of) == number
        with pytest.raises(InputError, match=r"live, 2 \(n.csv\)"):
            heard.number_of(store, "9", (1, "top"), span, of)
        with pytest.raises(InputError, match="its own holes"):
            heard.choose(store, of, 1, heard.Wish(number, (number,)), ACT)


def test_what_expires_takes_the_second_source_along(tmp_path):
    """Readings kept beside a firing go by the same rule as its own."""
    with Store.open(tmp_path / "s", write=True) as store:
        bring(store, night(880, 10))
        firing = fired(store)
        bring(store, night(880, 30, 3), beside=True)
        seal.seal(store, firing, now_us=NOW, version="0")
        expire(store, NOW, now_us=NOW + 1, who="Oda", rule="1 day", really=True)
        assert store.connection.execute("select count(*) from blocks").fetchone()[0] == 0
        assert verify(store).unchanged
