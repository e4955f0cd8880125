"""Kinds of work that are killed: what each begins with, and what must be true of what it left.

A check returns how far the work had come: ``before``, ``part`` or ``after``.
"""

from __future__ import annotations

import shutil
from collections import Counter
from pathlib import Path

import numpy as np

from firelog.judge.again import judge_again
from firelog.judge.firing import answer, assess, settle
from firelog.readings import Unit
from firelog.record import backup, driver, imports, migrations
from firelog.record.examine import examine
from firelog.record.expiry import expire
from firelog.record.seal import seal, seals
from firelog.record.store import Store
from firelog.record.verify import verify
from tests.record.test_export import exported
from tests.record.test_seal import LATER, PLAN, SECOND, T0, add_night, seal_night, tamper
from tests.record.test_traces import add_live, burnout, old_store
from tests.record.victims import SCANS, WHO

NIGHT = 4_000  # readings of a night


def kill(victims, job, folder, kills):
    """Kill a job ``kills`` times, spread over the time it takes; return where it stood.

    Each kill has a fresh store. A job that ended before its kill is tried again.
    """
    kind = KINDS[job](folder)
    whole_s = min(victims.run(job, kind.prepare(folder / f"whole {n}"))[1] for n in range(3))
    rng = np.random.default_rng(11)
    stood: Counter[str] = Counter()
    for number in range(8 * kills):
        place = (number + 0.5) / kills if number < kills else rng.uniform()
        path = kind.prepare(folder / str(number))
        killed, _ = victims.run(job, path, place * whole_s)
        how = kind.check(path, victims)
        sound(path)
        shutil.rmtree(path.parent)
        if killed:
            stood[how] += 1
        if stood.total() == kills:
            return whole_s, stood
    raise AssertionError(f"only {stood.total()} of {8 * kills} were killed in time")


def sound(path):
    """Open a store after a kill and assert that nothing in it is wrong."""
    with Store.open(path, write=True) as store:
        assert list(examine(store)) == []


def count(store, table):
    """Return the number of rows of a table."""
    return store.connection.execute(f"select count(*) from {table}").fetchone()[0]


def readings(store):
    """Return how many readings a store holds."""
    return sum(len(store.readings(channel.id)) for channel in store.channels())


class Kind:
    """Work on a night in a store of its own folder."""

    def __init__(self, folder):
        self.first = folder / "first.firelog"
        with Store.open(self.first, write=True) as store:
            self.fill(store)

    def fill(self, store):
        """Make the store that the work begins with."""
        add_night(store)

    def prepare(self, folder) -> Path:
        """Return a fresh copy of it."""
        folder.mkdir()
        return Path(shutil.copy(self.first, folder / "s.firelog"))


class Collect(Kind):
    """What was acknowledged is there, whole scans, each once."""

    def fill(self, store):
        """Begin with nothing."""

    def check(self, path, _victims):
        """At most the scan under way is there without having been acknowledged."""
        known = int(Path(f"{path}.acknowledged").read_text() or 0)
        with Store.open(path) as store:
            traces = [store.readings(channel.id) for channel in store.channels()]
        assert len(traces) == 4
        found = len(traces[0])
        assert found in (known, known + 1)
        for trace in traces:
            assert trace.t_us.tolist() == [T0 + n * SECOND for n in range(found)]
            assert trace.value.tolist() == [20.5 + n % 50 for n in range(found)]
        return "before" if not found else "after" if found == SCANS else "part"


class Compact(Kind):
    """Each reading is there exactly once, as a row or in a block."""

    def fill(self, store):
        """Begin with live readings."""
        store.ensure_channel("shell kiln", "top")
        self.data = burnout(20_000)
        add_live(store, *self.data, Unit.C)

    def check(self, path, _victims):
        """Nothing is lost and nothing doubled."""
        with Store.open(path) as store:
            trace, rows = store.readings(1), count(store, "readings")
        assert trace.t_us.tolist() == self.data[0].tolist()
        np.testing.assert_array_equal(trace.value, self.data[1])
        return "before" if rows == 20_000 else "part" if rows else "after"


class Bring(Kind):
    """What is stored is right, and importing again completes it."""

    def fill(self, store):
        """Begin with nothing, and a file of a night."""
        with Store.open(self.first.with_name("source.firelog"), write=True) as source:
            add_night(source)
            self.text = exported(source)
            self.whole = {c.name: source.readings(c.id) for c in source.channels()}

    def prepare(self, folder):
        """Lay the file beside the store."""
        path = super().prepare(folder)
        path.with_suffix(".csv").write_text(self.text, encoding="utf-8", newline="")
        return path

    def check(self, path, victims):
        """What is there is of the file; then the work is done again."""
        with Store.open(path) as store:
            found = readings(store)
            for channel in store.channels():
                trace, expected = store.readings(channel.id), self.whole[channel.name]
                kept = np.isin(expected.t_us, trace.t_us)
                assert kept.sum() == len(trace)
                np.testing.assert_array_equal(trace.value, expected.value[kept])
        assert victims.run("bring", path)[0] is False
        with Store.open(path) as store:
            for channel in store.channels():
                trace, expected = store.readings(channel.id), self.whole[channel.name]
                assert trace.t_us.tolist() == expected.t_us.tolist()
                np.testing.assert_array_equal(trace.value, expected.value)
            assert [one.done_us is not None for one in imports.imports(store)] == [True]
        return "before" if not found else "after" if found == NIGHT else "part"


class Withdraw(Kind):
    """An import under a seal is in the record or openly out of it."""

    def fill(self, store):
        """Begin with a sealed night whose readings are those of an import."""
        number = imports.begin(
            store, imports.FILE, now_us=T0, kiln="shell kiln", file="n.csv", sha256="ab", size=9
        )
        t_us, value, quality = burnout(NIGHT)
        channel = store.ensure_channel("shell kiln", "top")
        store.add_readings(channel.id, t_us, value, quality, Unit.C, origin=number)
        imports.finish(store, number, {}, now_us=T0)
        firing = store.add_firing(
            "night",
            "shell kiln",
            began_us=int(t_us[0]),
            schedule_title="short",
            schedule_text=PLAN,
        )
        store.close_firing(firing.id, int(t_us[-1]))
        settle(store, store.firing("night"), LATER)
        seal_night(store)

    def check(self, path, _victims):
        """The record verifies either way, and what did not happen can be done again."""
        with Store.open(path, write=True) as store:
            found, out = readings(store), imports.get(store, 1).withdrawn
            assert (found, out is not None) in ((NIGHT, False), (0, True))
            assert verify(store).unchanged
            if out is None:
                imports.withdraw(store, 1, who=WHO, why="wrong file", now_us=LATER + 1)
            assert readings(store) == 0
            assert verify(store).unchanged
        return "before" if found else "after"


class TakeBack(Withdraw):
    """The verdict that is shown stands on what the record holds: both are old, or both are new."""

    def check(self, path, victims):
        """No verdict on readings that are gone is the newest one."""
        with Store.open(path) as store:
            night = store.firing("night")
            out, kept = imports.get(store, 1).withdrawn, store.verdict(night)
            assert (kept.judged_us == LATER + 1) == (out is not None)
            assert kept.judgement["checks"] == answer(assess(store, night))["checks"]
            marks = [event.kind for event in store.events(night)]
            assert ("withdrawal" in marks) == (out is not None)
        return super().check(path, victims)


class Close(Kind):
    """There is a seal that fits, or none."""

    def check(self, path, _victims):
        """The record verifies, and can be sealed again."""
        with Store.open(path, write=True) as store:
            made = len(seals(store))
            assert made in (0, 1)
            assert verify(store).unchanged
            seal(store, store.firing("night"), now_us=LATER + 1, version="0.1")
            assert len(seals(store)) == made + 1
            assert verify(store).unchanged
            assert readings(store) == NIGHT
        return "after" if made else "before"


class Copy(Kind):
    """What carries a backup's name is whole, the store as it was."""

    def prepare(self, folder):
        """Make the folder of the backups."""
        path = super().prepare(folder)
        path.with_suffix(".backups").mkdir()
        return path

    def check(self, path, _victims):
        """Each copy is looked through, and another can be made."""
        copies = list(path.with_suffix(".backups").glob("*.firelog"))
        for one in copies:
            assert backup.look_through(one) == NIGHT
        with Store.open(path) as store:
            made = backup.backup(store, path.with_suffix(".backups"), LATER + SECOND)
        assert made.readings == NIGHT
        return "after" if copies else "before"


class Restore(Kind):
    """There is always a whole store in the place, and the one before is never lost."""

    def prepare(self, folder):
        """Lay a copy of two nights beside a store of one."""
        path = super().prepare(folder)
        two = shutil.copy(self.first, path.with_name("copy.firelog"))
        with Store.open(two, write=True) as store:
            add_night(store, "later night", LATER)
        return path

    def check(self, path, _victims):
        """One night in the place and it is the old store, or two and the old one is beside."""
        nights = self._nights(path)
        again = backup.restore(path.with_name("copy.firelog"), path, LATER + SECOND, replace=True)
        assert again is not None
        assert self._nights(path) == 2
        aside = [one for one in path.parent.glob("s.firelog.before-*") if "-wal" not in one.name]
        assert 1 in [self._nights(one) for one in aside if not one.name.endswith("-shm")]
        return "before" if nights == 1 else "after"

    def _nights(self, path):
        with Store.open(path) as store:
            assert list(examine(store)) == []
            return len(store.firings())


class Remove(Kind):
    """The readings are there, or they are gone and a seal explains it."""

    def fill(self, store):
        """Begin with a sealed night."""
        add_night(store)
        seal_night(store)

    def check(self, path, _victims):
        """The record verifies either way, and the rule can be applied again."""
        with Store.open(path, write=True) as store:
            found = readings(store)
            assert (found, len(seals(store))) in ((NIGHT, 1), (0, 3))
            assert verify(store).unchanged
            expire(store, LATER, now_us=LATER + 1, who=WHO, rule="1 day", really=True)
            assert readings(store) == 0
            assert verify(store).unchanged
        return "before" if found else "after"


class Upgrade(Kind):
    """The store has the old schema or the new, nothing between."""

    def __init__(self, folder):
        self.first = folder / "first.firelog"
        old_store(self.first, 1)

    def check(self, path, _victims):
        """The next opening brings it up to date, with all that it had."""
        connection = driver.connect(path, write=True)
        version = connection.execute("pragma user_version").fetchone()[0]
        tables = {row[0] for row in connection.execute("select name from sqlite_master").fetchall()}
        connection.close()
        assert version in (1, migrations.SCHEMA)
        assert ("blocks" in tables) == (version == migrations.SCHEMA)
        with Store.open(path, write=True) as store:
            assert [len(store.readings(c.id)) for c in store.channels()] == [90, 90, 90]
            assert len(store.events(store.firing("burnout 1"))) == 2
        return "before" if version == 1 else "after"


class Judge(Kind):
    """A verdict is kept whole or not, and never without the mark that says why."""

    def fill(self, store):
        """Begin with a night whose couples have no certificate."""
        add_night(store)
        tamper(store, "delete from calibrations")

    def check(self, path, _victims):
        """Judging again adds one verdict to those that were kept."""
        with Store.open(path, write=True) as store:
            night = store.firing("night")
            marks = sum(event.kind == "judged anew" for event in store.events(night))
            kept = count(store, "verdicts") - 1  # the night came with one
            assert (marks, kept) in ((0, 0), (1, 0), (1, 1))
            judge_again(store, [night], now_us=LATER + 1, kind="judged anew", text="x", who=WHO)
            assert count(store, "verdicts") == kept + 2
            assert store.verdict(night).judged_us == LATER + 1
        return ("before", "part", "after")[marks + kept]


KINDS = {
    "collect": Collect,
    "compact": Compact,
    "bring": Bring,
    "withdraw": Withdraw,
    "take_back": TakeBack,
    "close": Close,
    "copy": Copy,
    "restore": Restore,
    "remove": Remove,
    "upgrade": Upgrade,
    "judge": Judge,
}
