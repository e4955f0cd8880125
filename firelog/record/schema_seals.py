"""The seventh step of the schema: seals over the whole record, and what settings were before.

Kept apart from :mod:`firelog.record.migrations`, which runs it. A released step is never edited.
"""

from __future__ import annotations

from firelog.record.schema_origins import VIEWS

NOW_US = "cast((julianday('now') - 2440587.5) * 86400000 as integer) * 1000"

TABLES = """
-- What a setting was, and from when on; written by the triggers.
create table setting_versions (
  id integer primary key,
  key text not null,
  since_us integer not null,
  value text
) strict;
create index setting_versions_by_key on setting_versions (key, id);
drop view firing_list;

-- As before, but a seal may be of the whole record (no firing), and says how its head is made.
create table seals_new (
  id integer primary key autoincrement,
  firing integer references firings(id),
  sealed_us integer not null,
  who text not null,
  version text not null,
  items integer not null,
  manifest text not null,
  previous text not null,
  head text not null unique,
  public_key text,
  signature text,
  format integer not null default 1
) strict;
insert into seals_new select id, firing, sealed_us, who, version, items, manifest, previous, head,
  public_key, signature, 1 from seals;
delete from sqlite_sequence where name = 'seals_new';
insert into sqlite_sequence(name, seq) select 'seals_new', seq from sqlite_sequence
  where name = 'seals';
drop table seals;
alter table seals_new rename to seals
"""

_VERSION = f"select new.key, {NOW_US}, new.value"
AFTER = (
    f"insert into setting_versions(key, since_us, value) select key, {NOW_US}, value from settings",
    (
        "create trigger settings_insert_versioned after insert on settings begin"
        f" insert into setting_versions(key, since_us, value) {_VERSION}; end"
    ),
    (
        "create trigger settings_update_versioned after update on settings"
        " when new.value is not old.value or new.key is not old.key begin"
        f" insert into setting_versions(key, since_us, value) {_VERSION}; end"
    ),
    (
        "create trigger settings_delete_versioned after delete on settings begin"
        f" insert into setting_versions(key, since_us, value) select old.key, {NOW_US}, null; end"
    ),
    *(
        f"create trigger {table}_keep_{event} before {event} on {table} begin"
        f" select raise(abort, '{table} are written once'); end"
        for table in ("seals", "setting_versions", "removals")
        for event in ("update", "delete")
    ),
    f"create view firing_list as {VIEWS['firing_list']}",
)
