"""Every row of every table: what plain SQL changes in a sealed record is named by verify.

The cases are made from the schema, so that a new table or column comes in by itself; one that no
seal covers must be named in ``sealed.ELSEWHERE`` with what tells of a change in it.
"""

from __future__ import annotations

import json

import pytest

from firelog.errors import StoreError
from firelog.readings import Quality, Unit
from firelog.record import coverage, imports, sealed
from firelog.record.seal import seal, seals, state_of
from firelog.record.store import Store
from firelog.record.verify import verify
from tests.record.test_seal import LATER, SECOND, T0, add_night, seal_night, tamper

# One row more for each table that a night does not fill, by plain SQL: the fields, not the sense.
ROWS = {
    "settings": "insert into settings values ('name', 'Lantern Yard')",
    "imports": (
        "insert into imports(kind,kiln,file,sha256,bytes,options,entered_us,done_us,counts)"
        f" values ('file',1,'n.csv','ab',9,'{{}}',{T0},{T0},'{{}}')"
    ),
    "withdrawals": f"insert into withdrawals values (1,{T0},'Oda','twice',5,1)",
    "second_sources": "insert into second_sources values (1)",
    "source_choices": (
        "insert into source_choices(firing,heat,channel,decides,fills,hole_us,who,why,entered_us)"
        f" values (1,null,1,0,'[1]',60000000,'Oda','the radio dropped out',{T0})"
    ),
    "firing_sources": "insert into firing_sources values (1,1,0)",
    "corrections": (
        "insert into corrections(kind,number,act,before,after,who,why,entered_us)"
        f" values ('mould',1,'edit','{{}}','{{}}','Oda','slip',{T0})"
    ),
    "removals": f"insert into removals values (99,1,{T0},'Oda','older than 1 day')",
    "alarms": (
        "insert into alarms(key,kind,kiln,firing,priority,text,remedy,state,present,began_us,"
        f"called_us,ended_us,shelved_until_us) values ('k','silence',1,1,2,'t','r','over',0,{T0},"
        f"{T0},{T0},{T0})"
    ),
    "alarm_steps": (
        "insert into alarm_steps(alarm,t_us,act,state,who,note)"
        f" values (1,{T0},'taken','seen','Oda','n')"
    ),
    "calls": (
        "insert into calls(alarm,person,way,why,title,body,made_us,due_us,done_us,outcome)"
        f" values (1,'Oda','mail','w','t','b',{T0},{T0},{T0},'sent')"
    ),
    "attempts": f"insert into attempts(call,t_us,ok,answer) values (1,{T0},1,'250')",
    "heats": (
        "insert into heats(name,furnace,alloy,crucible,crucible_kg,metal_kg,plan,began_us,"
        f"lifted_us,ended_us,note) values ('h',1,'CC493K','A',9,30,null,{T0},{T0},{T0},'n')"
    ),
    "moulds": (
        "insert into moulds(name,firing,section,metal_kg,details,note)"
        " values ('m',1,'light',4,'{}','n')"
    ),
    "pours": (
        "insert into pours(heat,mould,out_us,began_us,ended_us,note,entered_us)"
        f" values (1,1,{T0},{T0},{T0},'n',{T0})"
    ),
    "noted_within": (
        "insert into noted_within(entry,number,instant,within_s,entered_us)"
        f" values ('pour',1,'out',30,{T0})"
    ),
    "castings": (
        "insert into castings(name,piece,part,mould,note,entered_us)"
        f" values ('wing','heron','wing',1,'n',{T0})"
    ),
    "inspections": (
        "insert into inspections(casting,seen_us,outcome,who,note,entered_us)"
        f" values (1,{T0},'defects','Oda','n',{T0})"
    ),
    "defects": (
        "insert into defects(inspection,defect,place,size_mm,note) values (1,'misrun','tip',4,'n')"
    ),
    "photographs": (
        "insert into photographs(casting,sha256,kind,bytes,words,who,entered_us)"
        f" values (1,'{'ab' * 32}','jpeg',9,'w','Oda',{T0})"
    ),
}
# Columns whose change is harmless, and why.
HARMLESS = {
    ("_sqlite_migrations", "applied_at"),  # when a step of the schema ran on this machine
    ("_sqlite_migrations", "id"),
    ("block_times", "sha256"),  # an index over packets; the packet itself is covered
}
EMPTY = {"readings"}  # all at rest


def fill(path):
    """Make a store with a row in every table, sealed."""
    with Store.open(path, write=True) as store:
        add_night(store)
        store.correct_event(1, text="pilot only", who="Oda Brandvik", why="wrong burner")
        for statement in ROWS.values():
            store.connection.execute(statement)
        seal_night(store)


@pytest.fixture(scope="module")
def template(tmp_path_factory):
    """The bytes of a sealed store at rest."""
    path = tmp_path_factory.mktemp("forging") / "s.firelog"
    fill(path)
    return path.read_bytes()


def tables(path):
    """Return the columns of each table, from the schema."""
    with Store.open(path) as store:
        run = store.connection.execute
        names = run("select name from sqlite_master where type='table'").fetchall()
        return {
            name: run(f"pragma table_info({name})").fetchall()
            for (name,) in names
            if not name.startswith("sqlite_")
        }


@pytest.fixture(scope="module")
def forgers(template, tmp_path_factory):
    """A sealed store, open for whoever has got rid of every guard in it."""
    path = tmp_path_factory.mktemp("forgers") / "s.firelog"
    path.write_bytes(template)
    with Store.open(path, write=True) as store:
        for (name,) in store.connection.execute(
            "select name from sqlite_master where type='trigger'"
        ).fetchall():
            store.connection.execute(f"drop trigger {name}")
        store.connection.execute("pragma foreign_keys=off")
        store.connection.execute("pragma ignore_check_constraints=on")
        yield store


def forge(store, *statements):
    """Return what verify says of a record before and after plain SQL, which is then undone."""
    run = store.connection.execute
    before = verify(store)
    assert before.unchanged, before.findings
    run("begin")
    try:
        for statement in statements:
            run(statement)
        return before, verify(store)
    finally:
        run("rollback")


def test_every_table_is_covered_or_its_change_is_told_otherwise(tmp_path):
    """No table of the schema is without a place in the seal or a reason why it has none."""
    fill(tmp_path / "s.firelog")
    assert set(tables(tmp_path / "s.firelog")) == set(sealed.COVERED) | set(sealed.ELSEWHERE)
    with Store.open(tmp_path / "s.firelog") as store:
        for name in sealed.COVERED:
            (count,) = store.connection.execute(f"select count(*) from {name}").fetchone()
            assert count, f"no row in {name}: add one above"
        covered = {kind for kind, _ in state_of(seals(store))}
    assert covered == set(sealed.COVERED)


def test_every_column_of_a_covered_table_is_in_the_digest(tmp_path):
    """A column that a later step adds must be put under the seal, or it would be free to forge."""
    fill(tmp_path / "s.firelog")
    found = tables(tmp_path / "s.firelog")
    for name, spec in sealed.COVERED.items():
        columns = {row[1] for row in found[name]}
        words = " ".join(spec.columns)
        missing = {c for c in columns if c not in words.replace(",", " ").split()} - {"id", "times"}
        assert not missing, (name, missing)


def test_every_deletion_is_named(forgers):
    """A row deleted from any table is a finding."""
    unnamed = []
    for name in set(tables(forgers.path)) - EMPTY:
        _, after = forge(
            forgers,
            f"delete from {name} where rowid = (select max(rowid) from {name})"
            if name != "firing_sources"
            else f"delete from {name}",
        )
        if after.unchanged:
            unnamed.append(name)
    assert unnamed == []


def test_every_update_of_every_column_is_named(forgers):
    """Each column of each table, changed in one row by plain SQL, is a finding."""
    unnamed = []
    for name, columns in tables(forgers.path).items():
        for _, column, kind, *_ in columns:
            if name in EMPTY or (name, column) in HARMLESS:
                continue
            value = {
                "INTEGER": f"coalesce({column}, 0) + 1000",
                "REAL": f"coalesce({column}, 0) + 1",
                "BLOB": f"cast({column} || x'00' as blob)",
            }.get(kind.upper(), f"coalesce({column}, '') || ' '")
            value = {
                "section": "'heavy'",
                "outcome": "case outcome when 'defects' then 'sound' else outcome || ' ' end",
                "act": "case act when 'edit' then 'void' else act || ' ' end",
                "present": "1 - present",
                "ok": "1 - ok",
                "measurement": "'{\"quantity\": 1}'",
            }.get(column, value)
            value = {"entry": "'heat'", "instant": "'lifted'"}.get(column, value)
            if (name, column) == ("imports", "kind"):
                value = "'collector'"
            if (name, column) == ("corrections", "kind"):
                value = "'casting'"
            where = "rowid = 1" if name not in ("firing_sources", "schedules", "settings") else "1"
            where = "rowid = (select max(rowid) from removals)" if name == "removals" else where
            try:
                _, after = forge(
                    forgers,
                    f"update {name} set {column} = {value} where {where}",
                )
            except StoreError:
                continue  # named by refusing the store
            if after.unchanged:
                unnamed.append((name, column))
    assert unnamed == []


def test_every_insertion_is_named(forgers):
    """A row put into any table after the seal is named, as altered or as what no seal covers."""
    unnamed = []
    for name, columns in tables(forgers.path).items():
        names = [row[1] for row in columns]
        changed = {row[1]: row[1] for row in columns}
        for _, column, kind, _, _, primary in columns:
            unique = primary or column in (
                "name",
                "sha256",
                "head",
                "mould",
                "key",
                "packet",
                "word",
            )
            if unique and kind.upper() == "INTEGER":
                changed[column] = f"{column} + 1000"
            elif unique:
                changed[column] = (
                    f"cast({column} || x'01' as blob)" if kind == "BLOB" else f"{column} || ' x'"
                )
        statement = (
            f"insert into {name}({', '.join(names)}) select {', '.join(changed.values())}"
            f" from {name} limit 1"
        )
        if name == "readings":
            statement = (
                f"insert into readings(channel,t_us,value,unit,quality) values (1,{T0 + 7},9.5,0,0)"
            )
        before, after = forge(forgers, statement)
        if set(after.findings) <= set(before.findings) and set(after.notes) <= set(before.notes):
            unnamed.append(name)
    assert unnamed == []


# ---------------------------------------------------------------- the worst of them, one by one
def test_a_removal_written_by_hand_explains_nothing(forgers):
    """An entry in removals and the deletion of all readings is no removal by rule."""
    _, after = forge(
        forgers,
        f"insert into removals select id, 1, {LATER}, 'Oda', 'older than 10 years' from blocks",
        "delete from blocks",
        "delete from block_times",
    )
    assert sum("no seal covers that" in one.what for one in after.findings) == 2


def test_a_forged_outcome_is_named(forgers):
    """A casting that was found defective and is made sound by plain SQL is a finding."""
    _, after = forge(forgers, "update inspections set outcome = 'sound'")
    assert [one.what for one in after.findings] == ["was altered"]
    assert "inspection of 'wing'" in after.findings[0].item


def test_late_live_rows_in_a_sealed_firing_are_named(template, tmp_path):
    """Readings written as live rows into the time of a sealed firing are findings."""
    path = tmp_path / "s.firelog"
    path.write_bytes(template)
    with Store.open(path, write=True) as store:
        store.add_scan(T0 + 7, [(1, 900.0, Unit.C, Quality.OK)])
        assert "1 were added after the seal" in [one.what for one in verify(store).findings]


def test_sealing_anew_over_a_forgery_leaves_a_word(template, tmp_path):
    """A row that differs from what was sealed, and is sealed anew, is named for good."""
    path = tmp_path / "s.firelog"
    path.write_bytes(template)
    with Store.open(path, write=True) as store:
        store.connection.execute("update heats set alloy = 'C87500'")
        seal(store, None, now_us=LATER + SECOND, version="0.1")
        found = verify(store)
    assert found.unchanged
    assert [one.what for one in found.notes] == ["was changed between seal 1 and seal 2"]


def test_a_correction_after_the_seal_is_a_note(template, tmp_path):
    """A row put right by an entry that keeps it as it was is told with who and why."""
    path = tmp_path / "s.firelog"
    path.write_bytes(template)
    with Store.open(path, write=True) as store:
        run = store.connection.execute
        cursor = run("select * from castings where id=1")
        before = dict(zip([d[0] for d in cursor.description], cursor.fetchone(), strict=True))
        after = {**before, "piece": "crane"}
        run(
            "insert into corrections(kind,number,act,before,after,who,why,entered_us)"
            " values ('casting',1,'edit',?,?,'Oda Brandvik','another bird',?)",
            (json.dumps(before), json.dumps(after), LATER),
        )
        run("update castings set piece='crane' where id=1")
        found = verify(store)
        assert found.unchanged
        assert "another bird" in "".join(one.what for one in found.notes)
        run("update castings set part='beak' where id=1")
        assert not verify(store).unchanged


def test_a_report_says_what_its_seal_covers(template, tmp_path):
    """An inspection entered after the seal, or rewritten under it, is named as not covered."""
    path = tmp_path / "s.firelog"
    path.write_bytes(template)
    with Store.open(path, write=True) as store:
        whole = coverage.of_casting(store, 1)
        assert whole.missing == ()
        assert whole.seal is not None
        assert {"1 casting", "1 inspection", "1 pour", "1 heat", "2 blocks of readings"} <= {
            *whole.covered
        }
        store.connection.execute(ROWS["inspections"].replace("'defects'", "'sound'"))
        assert coverage.of_casting(store, 1).missing == (
            "inspection of 'wing' at 2026-03-01T08:00:00Z",
        )
        tamper(store, "update inspections set outcome='sound'")
        assert len(coverage.of_casting(store, 1).missing) == 2
        tamper(store, "update seals set manifest = manifest || char(10)")
        assert coverage.of_casting(store, 1).seal is None


def test_a_withdrawal_under_a_seal_is_sealed_too(tmp_path):
    """An import taken out openly leaves hashes and a sealed withdrawal: a note, no alarm."""
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        add_night(store)
        store.connection.execute(ROWS["imports"])
        tamper(store, "update blocks set import=1")
        seal_night(store)
        imports.withdraw(store, 1, who="Oda Brandvik", why="wrong unit", now_us=LATER + SECOND)
        assert len(seals(store)) == 2
        found = verify(store)
        assert found.findings == ()
        removed = [one.what for one in found.notes if one.what.startswith("removed")]
        assert len(removed) == 2
        assert "import 1 withdrawn: wrong unit" in removed[0]
