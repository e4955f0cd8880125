"""The sixth step of the schema: where readings came from, and how an entry is put right.

Kept apart from :mod:`firelog.record.migrations`, which runs it. A released step is never edited.
"""

from __future__ import annotations

from firelog.record.views import utc

# Tables and columns. ``import`` is NULL for readings of before this step and for those that a
# program brought without saying whence.
TABLES = """
-- Where readings came from: one file brought in once, or one run of the collector. ``done_us`` is
-- NULL while it is being brought in, and stays so when that was cut short.
create table imports (
  id integer primary key autoincrement,
  kind text not null check (kind in ('file', 'collector')),
  kiln integer references kilns(id),
  file text not null default '',
  sha256 text,
  bytes integer,
  options text not null default '{}' check (json_valid(options)),
  shift_us integer not null default 0,
  entered_us integer not null,
  done_us integer,
  counts text not null default '{}' check (json_valid(counts))
) strict;
create index imports_by_hash on imports (sha256);

-- An import that was taken out again: by whom, why, and how much that was.
create table withdrawals (
  import integer primary key references imports(id),
  withdrawn_us integer not null,
  who text not null,
  why text not null,
  readings integer not null,
  blocks integer not null
) strict;

alter table blocks add column import integer references imports(id);
alter table readings add column import integer references imports(id);
create index blocks_by_import on blocks (import);

-- The imports that a firing stands on, channel by channel; 0 is for readings without an import. A
-- firing without a row here stands on all readings of its kiln in its time.
create table firing_sources (
  firing integer not null references firings(id),
  channel integer not null references channels(id),
  import integer not null,
  primary key (firing, channel, import)
) strict, without rowid;

-- An entry put right or made void: the row as it was and as it became, who did it and why.
create table corrections (
  id integer primary key autoincrement,
  kind text not null check (kind in ('firing', 'heat', 'mould', 'pour', 'casting')),
  number integer not null,
  act text not null check (act in ('edit', 'void')),
  before text not null check (json_valid(before)),
  after text not null check (json_valid(after)),
  who text not null check (who <> ''),
  why text not null check (why <> ''),
  entered_us integer not null
) strict;
create index corrections_by_entry on corrections (kind, number, id);

alter table firings add column voided_us integer;
alter table heats add column voided_us integer;
alter table moulds add column voided_us integer;
alter table castings add column voided_us integer;

drop trigger pours_keep_update;
drop trigger pours_keep_delete;
drop view heat_list;
drop view pour_list;
drop view casting_list;
drop view firing_list;
drop view block_list;
drop trigger blocks_keep_delete;

-- As before, but a mould whose pour was void can be poured again.
create table pours_new (
  id integer primary key autoincrement,
  heat integer not null references heats(id),
  mould integer not null references moulds(id),
  out_us integer,
  began_us integer not null,
  ended_us integer check (ended_us is null or ended_us >= began_us),
  within_s real not null default 5 check (within_s >= 0),
  note text not null default '',
  entered_us integer not null,
  voided_us integer,
  check (out_us is null or out_us <= began_us)
) strict;
insert into pours_new
  select id, heat, mould, out_us, began_us, ended_us, within_s, note, entered_us, null from pours;
drop table pours;
alter table pours_new rename to pours;
create index pours_by_heat on pours (heat, began_us);
create unique index pours_by_mould on pours (mould) where voided_us is null
"""

# What is written once, and how it may change all the same: openly, with its entry beside it.
TRIGGERS = (
    *(
        f"create trigger {table}_keep_{event} before {event} on {table} begin"
        f" select raise(abort, '{table} are written once'); end"
        for table in ("withdrawals", "corrections")
        for event in ("update", "delete")
    ),
    (
        "create trigger imports_keep_update before update on imports when old.done_us is not null"
        " or new.id is not old.id or new.kind is not old.kind or new.sha256 is not old.sha256"
        " begin select raise(abort, 'imports are written once; withdraw one instead'); end"
    ),
    (
        "create trigger imports_keep_delete before delete on imports"
        " when old.done_us is not null begin"
        " select raise(abort, 'imports are written once; withdraw one instead'); end"
    ),
    (
        "create trigger pours_keep_update before update on pours when not exists (select 1 from"
        " corrections where kind = 'pour' and number = old.id"
        " and json_extract(before, '$.heat') is old.heat"
        " and json_extract(before, '$.mould') is old.mould"
        " and json_extract(before, '$.out_us') is old.out_us"
        " and json_extract(before, '$.began_us') is old.began_us"
        " and json_extract(before, '$.voided_us') is old.voided_us) begin"
        " select raise(abort, 'pours are written once; enter a correction'); end"
    ),
    (
        "create trigger pours_keep_delete before delete on pours begin"
        " select raise(abort, 'pours are written once; make one void instead'); end"
    ),
    # What an import brought before it was cut short was never acknowledged, and may go.
    (
        "create trigger blocks_keep_delete before delete on blocks"
        " when not exists (select 1 from removals where block = old.id)"
        " and not exists (select 1 from imports i where i.id = old.import"
        " and i.kind = 'file' and i.done_us is null) begin"
        " select raise(abort, 'blocks leave by a rule of keeping only'); end"
    ),
)

VIEWS = {
    "import_list": f"""
select i.id as import, i.kind, k.name as kiln, i.file, i.sha256, i.options,
  i.shift_us / 1e6 as shift_s, {utc("i.entered_us")} as entered_utc,
  (select coalesce(sum(b.count), 0) from blocks b where b.import = i.id)
  + (select count(*) from readings r where r.import = i.id) as readings,
  {utc("w.withdrawn_us")} as withdrawn_utc, w.who as withdrawn_by, w.why as withdrawn_why
from imports i left join kilns k on k.id = i.kiln left join withdrawals w on w.import = i.id""",
    "correction_list": f"""
select c.id as correction, c.kind, coalesce(f.name, h.name, m.name, pm.name, x.name) as entry,
  c.act, c.before, c.after, c.who, c.why, {utc("c.entered_us")} as entered_utc
from corrections c
  left join firings f on c.kind = 'firing' and f.id = c.number
  left join heats h on c.kind = 'heat' and h.id = c.number
  left join moulds m on c.kind = 'mould' and m.id = c.number
  left join pours p on c.kind = 'pour' and p.id = c.number left join moulds pm on pm.id = p.mould
  left join castings x on c.kind = 'casting' and x.id = c.number""",
    "block_list": f"""
select b.id as block, k.name as kiln, c.name as channel, {utc("b.first_us")} as first_utc,
  {utc("b.last_us")} as last_utc, b.count as readings, b.ok_count as usable,
  b.minimum as lowest, b.maximum as highest, b.total / nullif(b.ok_count, 0) as mean,
  u.name as unit, length(b.packet) as bytes, b.import
from blocks b join channels c on c.id = b.channel join kilns k on k.id = c.kiln
  join units u on u.code = b.unit""",
    "firing_list": f"""
select f.id, f.name as firing, k.name as kiln, {utc("f.began_us")} as began_utc,
  {utc("f.ended_us")} as ended_utc, s.title as schedule,
  (select v.verdict from verdicts v where v.firing = f.id order by v.id desc limit 1) as verdict,
  (select x.head from seals x where x.firing = f.id order by x.id desc limit 1) as seal, f.note,
  {utc("f.voided_us")} as void_utc
from firings f join kilns k on k.id = f.kiln left join schedules s on s.sha256 = f.schedule""",
    "heat_list": f"""
select h.id, h.name as heat, k.name as furnace, h.alloy, h.crucible, h.metal_kg,
  {utc("h.began_us")} as began_utc, {utc("h.lifted_us")} as lifted_utc,
  (select count(*) from pours p where p.heat = h.id and p.voided_us is null) as pours, h.note,
  {utc("h.voided_us")} as void_utc
from heats h join kilns k on k.id = h.furnace""",
    "pour_list": f"""
select p.id, h.name as heat, m.name as mould, f.name as firing, m.section,
  {utc("p.out_us")} as out_of_kiln_utc, {utc("p.began_us")} as began_utc,
  {utc("p.ended_us")} as ended_utc, p.within_s, p.note, {utc("p.voided_us")} as void_utc
from pours p join heats h on h.id = p.heat join moulds m on m.id = p.mould
  left join firings f on f.id = m.firing""",
    "casting_list": f"""
select c.id, c.name as casting, c.piece, c.part, m.name as mould, f.name as firing, h.name as heat,
  h.alloy, m.section, i.outcome, i.who, {utc("i.seen_us")} as seen_utc,
  (select group_concat(d.defect, ', ') from defects d where d.inspection = i.id) as defects,
  c.note, {utc("c.voided_us")} as void_utc
from castings c join moulds m on m.id = c.mould left join firings f on f.id = m.firing
  left join pours p on p.mould = m.id and p.voided_us is null left join heats h on h.id = p.heat
  left join inspections i on i.id = (select max(x.id) from inspections x where x.casting = c.id)""",
}
