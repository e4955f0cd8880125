"""The store's schema, step by step; each step runs once, in order, in one transaction.

``user_version`` repeats the number of the last step, so that opening needs one look. A released
step is never edited: a change is a new step.
"""

from __future__ import annotations

import contextlib
import functools
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from firelog import safefile
from firelog.errors import StoreError
from firelog.readings import Quality, Unit
from firelog.record import schema_origins, schema_seals, schema_sources
from firelog.record.driver import connect, sqlite3, sqlite_utils
from firelog.record.views import VIEWS

APPLICATION_ID = 0x46524C47  # "FRLG", so that `pragma application_id` tells whose file this is
UNIT_CODES = {Unit.C: 0, Unit.F: 1, Unit.K: 2, Unit.MV: 3}

Step = Callable[[Any], None]
_steps: list[Step] = []


def migrations() -> Callable[[Step], Step]:
    """Make a function the next step of the schema; sqlite-utils runs it, with its database."""

    def add(step: Step) -> Step:
        _steps.append(step)
        return step

    return add


def _all_steps() -> tuple[Any, Any]:
    """Return the library, and its list of migrations with every step in it."""
    library = sqlite_utils()
    made = library.Migrations("firelog")
    for step in _steps:
        made()(step)
    return library, made


_FIRST = """
create table settings (
  key text primary key,
  value text not null
) strict;

create table units (code integer primary key, name text not null unique) strict;
create table qualities (code integer primary key, word text not null unique) strict;

create table kilns (id integer primary key, name text not null unique) strict;

create table channels (
  id integer primary key,
  kiln integer not null references kilns(id),
  name text not null,
  role text not null default 'kiln',
  letter text,
  standard text,
  tolerance_class text,
  measurement text not null default '{}' check (json_valid(measurement)),
  unique (kiln, name)
) strict;

create table calibrations (
  id integer primary key,
  channel integer not null references channels(id),
  done_on text not null,
  certificate text not null check (json_valid(certificate)),
  entered_us integer not null,
  who text not null default ''
) strict;

-- Values as received, in the unit they were received in; NULL where the reading is unusable.
create table readings (
  channel integer not null references channels(id),
  t_us integer not null,
  value real,
  unit integer not null references units(code),
  quality integer not null references qualities(code),
  primary key (channel, t_us)
) strict, without rowid;

-- A firing keeps a copy of its schedule: editing the file later changes no past verdict.
create table schedules (
  sha256 text primary key,
  title text not null,
  text text not null
) strict;

create table firings (
  id integer primary key,
  name text not null unique,
  kiln integer not null references kilns(id),
  schedule text references schedules(sha256),
  began_us integer not null,
  ended_us integer check (ended_us is null or ended_us >= began_us),
  note text not null default ''
) strict;
create index firings_by_kiln on firings (kiln, began_us);

create table events (
  id integer primary key,
  t_us integer not null,
  kind text not null,
  text text not null default '',
  who text not null default '',
  kiln integer references kilns(id),
  firing integer references firings(id),
  channel integer references channels(id)
) strict;
create index events_by_time on events (t_us);

create table verdicts (
  id integer primary key,
  firing integer not null references firings(id),
  judged_us integer not null,
  version text not null,
  verdict text not null,
  judgement text not null check (json_valid(judgement))
) strict;
create index verdicts_by_firing on verdicts (firing, id);
"""


@migrations()
def first(db: Any) -> None:
    """Channels, readings, firings with their schedules, events, verdicts."""
    for statement in _FIRST.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for unit, code in UNIT_CODES.items():
        db.execute("insert into units(code, name) values (?,?)", (code, unit.value))
    for quality in Quality:
        db.execute("insert into qualities(code, word) values (?,?)", (int(quality), quality.word))


_SECOND = """
-- Times of blocks, kept once for all channels of the same scans.
create table block_times (
  id integer primary key,
  sha256 blob not null unique,
  packet blob not null
) strict;

-- Readings that have come to rest: one channel, some hours. Its summary is over usable values.
create table blocks (
  id integer primary key autoincrement,
  channel integer not null references channels(id),
  first_us integer not null,
  last_us integer not null check (last_us >= first_us),
  count integer not null check (count > 0),
  ok_count integer not null,
  minimum real,
  maximum real,
  total real,
  unit integer not null references units(code),
  times integer not null references block_times(id),
  packet blob not null
) strict;
create index blocks_by_channel
  on blocks (channel, first_us, last_us, unit, ok_count, minimum, maximum, count);
create index blocks_by_times on blocks (times);

-- A correction is a new event that names the one it supersedes, and why.
alter table events add column corrects integer references events(id);
alter table events add column why text not null default '';
alter table events add column entered_us integer;

-- What a channel was said to be, and from when on; written by the triggers below.
create table channel_versions (
  id integer primary key,
  channel integer not null references channels(id),
  since_us integer not null,
  description text not null check (json_valid(description))
) strict;
create index channel_versions_by_channel on channel_versions (channel, id);
insert into channel_versions(channel, since_us, description)
  select c.id, {now}, {described} from channels c;

create table seals (
  id integer primary key autoincrement,
  firing integer not null references firings(id),
  sealed_us integer not null,
  who text not null,
  version text not null,
  items integer not null,
  manifest text not null,
  previous text not null,
  head text not null unique,
  public_key text,
  signature text
) strict;

-- Readings that a rule of keeping has removed, so that their absence explains itself.
create table removals (
  block integer primary key,
  firing integer references firings(id),
  removed_us integer not null,
  who text not null,
  rule text not null
) strict;
"""

_DESCRIBED = """json_object('kiln', (select name from kilns where id = c.kiln), 'name', c.name,
  'role', c.role, 'letter', c.letter, 'standard', c.standard,
  'tolerance_class', c.tolerance_class, 'measurement', json(c.measurement))"""
NOW_US = "cast((julianday('now') - 2440587.5) * 86400000 as integer) * 1000"

_VERSIONED = """create trigger channels_{event}_versioned after {event} on channels {when} begin
  insert into channel_versions(channel, since_us, description)
    select c.id, {now}, {described} from channels c where c.id = new.id;
end"""
_CHANGED = "when " + " or ".join(
    f"new.{column} is not old.{column}"
    for column in (
        "kiln",
        "name",
        "role",
        "letter",
        "standard",
        "tolerance_class",
        "measurement",
    )
)
# What is written once. Blocks may leave by a rule of keeping, which writes down that they did.
_FINAL = {
    "blocks": ("update",),
    "block_times": ("update",),
    "events": ("update", "delete"),
    "calibrations": ("update", "delete"),
    "channel_versions": ("update", "delete"),
    "schedules": ("update", "delete"),
    "seals": ("update", "delete"),
    "verdicts": ("update", "delete"),
}


@migrations()
def second(db: Any) -> None:
    """Blocks, seals, corrections; what is written once can no longer be edited."""
    for statement in _SECOND.format(now=NOW_US, described=_DESCRIBED).split(";\n"):
        if statement.strip():
            db.execute(statement)
    for event, when in (("insert", ""), ("update", _CHANGED)):
        db.execute(_VERSIONED.format(event=event, when=when, now=NOW_US, described=_DESCRIBED))
    for table, events in _FINAL.items():
        for event in events:
            db.execute(
                f"create trigger {table}_keep_{event} before {event} on {table} begin"
                f" select raise(abort, '{table} are written once; add a correction instead'); end"
            )
    db.execute(
        "create trigger blocks_keep_delete before delete on blocks"
        " when not exists (select 1 from removals where block = old.id) begin"
        " select raise(abort, 'blocks leave by a rule of keeping only'); end"
    )
    for name, text in VIEWS.items():
        db.execute(f"create view {name} as {text}")


_THIRD = """
-- One occurrence of one cause. Its state moves; how it moved is in alarm_steps.
create table alarms (
  id integer primary key autoincrement,
  key text not null,
  kind text not null,
  kiln integer references kilns(id),
  firing integer references firings(id),
  priority integer not null,
  text text not null,
  remedy text not null,
  state text not null,
  present integer not null check (present in (0, 1)),
  began_us integer not null,
  called_us integer,
  ended_us integer,
  shelved_until_us integer
) strict;
create unique index alarms_open on alarms (key) where ended_us is null;
create index alarms_by_time on alarms (began_us);

create table alarm_steps (
  id integer primary key autoincrement,
  alarm integer not null references alarms(id),
  t_us integer not null,
  act text not null,
  state text not null,
  who text not null,
  note text not null default ''
) strict;
create index alarm_steps_by_alarm on alarm_steps (alarm, id);

-- What is to be sent: to one person by one way. Addresses are not kept, they hold passwords.
create table calls (
  id integer primary key autoincrement,
  alarm integer references alarms(id),
  person text not null,
  way text not null,
  why text not null,
  title text not null,
  body text not null,
  made_us integer not null,
  due_us integer not null,
  done_us integer,
  outcome text
) strict;
create index calls_open on calls (due_us) where done_us is null;
create index calls_by_alarm on calls (alarm, id);

create table attempts (
  id integer primary key autoincrement,
  call integer not null references calls(id),
  t_us integer not null,
  ok integer not null check (ok in (0, 1)),
  answer text not null
) strict;
create index attempts_by_call on attempts (call, id);

create view alarm_list as
select a.id, a.kind, a.state, k.name as kiln, f.name as firing, a.text, a.remedy, a.priority,
  strftime('%Y-%m-%dT%H:%M:%fZ', a.began_us / 1e6, 'unixepoch') as began_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', a.ended_us / 1e6, 'unixepoch') as ended_utc,
  (select count(*) from calls c where c.alarm = a.id) as calls
from alarms a left join kilns k on k.id = a.kiln left join firings f on f.id = a.firing;
"""


@migrations()
def third(db: Any) -> None:
    """Alarms, how they moved, and every attempt to reach a person."""
    for statement in _THIRD.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for table in ("alarm_steps", "attempts"):
        for event in ("update", "delete"):
            db.execute(
                f"create trigger {table}_keep_{event} before {event} on {table} begin"
                f" select raise(abort, '{table} are written once'); end"
            )


_FOURTH = """
-- One melt of metal in one crucible, from charging to its last pour. Its readings and events are
-- those of its furnace in that time. ``plan`` is a copy of what was asked of its pours.
create table heats (
  id integer primary key,
  name text not null unique,
  furnace integer not null references kilns(id),
  alloy text not null,
  crucible text not null default '',
  crucible_kg real check (crucible_kg is null or crucible_kg > 0),
  metal_kg real check (metal_kg is null or metal_kg > 0),
  plan text references schedules(sha256),
  began_us integer not null,
  lifted_us integer check (lifted_us is null or lifted_us >= began_us),
  ended_us integer check (ended_us is null or ended_us >= began_us),
  note text not null default ''
) strict;
create index heats_by_furnace on heats (furnace, began_us);

-- What is fired and filled; ``details`` holds material, form and sizes as plain keys.
create table moulds (
  id integer primary key,
  name text not null unique,
  firing integer references firings(id),
  section text not null default 'light' check (section in ('light', 'heavy')),
  metal_kg real check (metal_kg is null or metal_kg > 0),
  details text check (details is null or json_valid(details)),
  note text not null default ''
) strict;
create index moulds_by_firing on moulds (firing);

-- One mould filled from one heat. ``within_s`` is how far off each of its times may be.
create table pours (
  id integer primary key autoincrement,
  heat integer not null references heats(id),
  mould integer not null unique references moulds(id),
  out_us integer,
  began_us integer not null,
  ended_us integer check (ended_us is null or ended_us >= began_us),
  within_s real not null default 5 check (within_s >= 0),
  note text not null default '',
  entered_us integer not null,
  check (out_us is null or out_us <= began_us)
) strict;
create index pours_by_heat on pours (heat, began_us);

create view heat_list as
select h.id, h.name as heat, k.name as furnace, h.alloy, h.crucible, h.metal_kg,
  strftime('%Y-%m-%dT%H:%M:%fZ', h.began_us / 1e6, 'unixepoch') as began_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', h.lifted_us / 1e6, 'unixepoch') as lifted_utc,
  (select count(*) from pours p where p.heat = h.id) as pours, h.note
from heats h join kilns k on k.id = h.furnace;

create view pour_list as
select p.id, h.name as heat, m.name as mould, f.name as firing, m.section,
  strftime('%Y-%m-%dT%H:%M:%fZ', p.out_us / 1e6, 'unixepoch') as out_of_kiln_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', p.began_us / 1e6, 'unixepoch') as began_utc,
  strftime('%Y-%m-%dT%H:%M:%fZ', p.ended_us / 1e6, 'unixepoch') as ended_utc, p.within_s, p.note
from pours p join heats h on h.id = p.heat join moulds m on m.id = p.mould
  left join firings f on f.id = m.firing;
"""


@migrations()
def fourth(db: Any) -> None:
    """Heats, moulds and pours."""
    for statement in _FOURTH.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for event in ("update of heat, mould, out_us, began_us", "delete"):
        name = event.split()[0]
        db.execute(
            f"create trigger pours_keep_{name} before {event} on pours begin"
            " select raise(abort, 'pours are written once'); end"
        )


_FIFTH = """
-- What came out of a mould. Outcomes are inspections: looking again adds one, the newest stands.
create table castings (
  id integer primary key,
  name text not null unique,
  piece text not null default '',
  part text not null default '',
  mould integer not null references moulds(id),
  details text not null default '{}' check (json_valid(details)),
  note text not null default '',
  entered_us integer not null
) strict;
create index castings_by_mould on castings (mould);

create table inspections (
  id integer primary key autoincrement,
  casting integer not null references castings(id),
  seen_us integer not null,
  outcome text not null check (outcome in ('sound', 'defects')),
  who text not null,
  note text not null default '',
  entered_us integer not null
) strict;
create index inspections_by_casting on inspections (casting, id);

create table defects (
  id integer primary key autoincrement,
  inspection integer not null references inspections(id),
  defect text not null,
  place text not null default '',
  size_mm real check (size_mm is null or size_mm > 0),
  note text not null default ''
) strict;
create index defects_by_inspection on defects (inspection);

-- The picture itself lies beside the store, under its hash.
create table photographs (
  id integer primary key autoincrement,
  casting integer not null references castings(id),
  sha256 text not null,
  kind text not null,
  bytes integer not null check (bytes > 0),
  words text not null default '',
  who text not null default '',
  entered_us integer not null,
  unique (casting, sha256)
) strict;

create view casting_list as
select c.id, c.name as casting, c.piece, c.part, m.name as mould, f.name as firing, h.name as heat,
  h.alloy, m.section, i.outcome, i.who,
  strftime('%Y-%m-%dT%H:%M:%fZ', i.seen_us / 1e6, 'unixepoch') as seen_utc,
  (select group_concat(d.defect, ', ') from defects d where d.inspection = i.id) as defects, c.note
from castings c join moulds m on m.id = c.mould left join firings f on f.id = m.firing
  left join pours p on p.mould = m.id left join heats h on h.id = p.heat
  left join inspections i on i.id = (select max(x.id) from inspections x where x.casting = c.id);
"""


@migrations()
def fifth(db: Any) -> None:
    """Castings, what was seen on them, and photographs by hash."""
    for statement in _FIFTH.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for table in ("inspections", "defects", "photographs"):
        for event in ("update", "delete"):
            db.execute(
                f"create trigger {table}_keep_{event} before {event} on {table} begin"
                f" select raise(abort, '{table} are written once; look again instead'); end"
            )


@migrations()
def sixth(db: Any) -> None:
    """Imports that can be withdrawn, and corrections of what was entered."""
    for statement in schema_origins.TABLES.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for statement in schema_origins.TRIGGERS:
        db.execute(statement)
    for name, text in schema_origins.VIEWS.items():
        db.execute(f"create view {name} as {text}")


@migrations()
def seventh(db: Any) -> None:
    """Seals over the whole record, and the versions of settings."""
    for statement in schema_seals.TABLES.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for statement in schema_seals.AFTER:
        db.execute(statement)


_EIGHTH = """
-- How far off an instant of a heat or a pour may be, where that is its own and not its entry's.
-- Written once: the newest row of an instant stands.
create table noted_within (
  id integer primary key autoincrement,
  entry text not null check (entry in ('heat', 'pour')),
  number integer not null,
  instant text not null check (instant in ('lifted', 'out')),
  within_s real not null check (within_s >= 0),
  entered_us integer not null
) strict;
create index noted_within_by_entry on noted_within (entry, number, instant, id)
"""


@migrations()
def eighth(db: Any) -> None:
    """How far off the lift of a heat and the kiln-out of a mould may be."""
    for statement in _EIGHTH.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for event in ("update", "delete"):
        db.execute(
            f"create trigger noted_within_keep_{event} before {event} on noted_within begin"
            " select raise(abort, 'noted_within is written once; enter a later row'); end"
        )


@migrations()
def ninth(db: Any) -> None:
    """Second sources of a channel, and which source decides in a firing or a heat."""
    for statement in schema_sources.TABLES.split(";\n"):
        if statement.strip():
            db.execute(statement)
    for statement in schema_sources.TRIGGERS:
        db.execute(statement)


SCHEMA = 9


@functools.cache
def steps() -> set[tuple[str, str]]:
    """Return set and name of every step, as they are noted in the store."""
    library, made = _all_steps()
    with contextlib.closing(sqlite3.connect(":memory:")) as empty:
        return {(made.name, step.name) for step in made.pending(library.Database(empty))}


def apply(connection: Any) -> None:
    """Bring an open store to the newest schema; call inside one immediate transaction.

    An empty store takes the steps as they are, without the library: loading that took a sixth of
    the time of a first import. What it notes of the steps is written as the library does.
    """
    if connection.execute("select count(*) from sqlite_master").fetchone()[0]:
        library, made = _all_steps()
        made.apply(library.Database(connection))
    else:
        _make_new(connection)
    connection.execute(f"pragma application_id={APPLICATION_ID}")
    connection.execute(f"pragma user_version={SCHEMA}")


_NOTED = """CREATE TABLE "_sqlite_migrations" (
   "id" INTEGER PRIMARY KEY,
   "migration_set" TEXT,
   "name" TEXT,
   "applied_at" TEXT
)"""
_NOTED_ONCE = """CREATE UNIQUE INDEX "idx__sqlite_migrations_migration_set_name"
    ON "_sqlite_migrations" ("migration_set", "name")"""


def _make_new(connection: Any) -> None:
    connection.execute(_NOTED)
    connection.execute(_NOTED_ONCE)
    for step in _steps:
        step(connection)
        connection.execute(
            "insert into _sqlite_migrations(migration_set, name, applied_at) values (?,?,?)",
            ("firelog", step.__name__, str(datetime.now(UTC))),
        )


class _FasterError(Exception):
    """Another process has changed the schema, and keeps the copy."""


def keep_copy(connection: Any, path: Path, version: int) -> None:
    """Keep the store as it was before a change of schema, beside it, unless it is kept already."""
    copy = path.with_name(f"{path.name}.schema-{version}")
    if copy.exists():
        return
    with contextlib.suppress(_FasterError), safefile.filling(copy) as part:
        connection.execute("vacuum into ?", (str(part),))
        with contextlib.closing(connect(part, write=False)) as made:
            if made.execute("pragma user_version").fetchone()[0] != version:
                raise _FasterError


def check_ours(connection: Any, path: object) -> int:
    """Return the schema number of a store (0: empty file); refuse what is not ours or newer.

    Only reads, so that a file of somebody else's is left as it was.
    """
    application = connection.execute("pragma application_id").fetchone()[0]
    version = int(connection.execute("pragma user_version").fetchone()[0])
    tables = connection.execute("select count(*) from sqlite_master").fetchone()[0]
    if application == APPLICATION_ID:
        if version > SCHEMA:
            raise StoreError(
                f"{path}: written by a newer firelog (schema {version}, this one knows {SCHEMA}); "
                "install the newer version, nothing was changed"
            )
        return version
    if application == 0 and tables == 0:
        return 0
    raise StoreError(f"{path}: an SQLite file, but not a firelog store; name another --store")
