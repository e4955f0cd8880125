"""The eighth step of the schema: one thermocouple heard by two sources, and which of them decides.

Kept apart from :mod:`firelog.record.migrations`, which runs it. A released step is never edited.
"""

from __future__ import annotations

TABLES = """
-- An import that is kept beside what its channels have: the same thermocouples, heard a second
-- time. Nothing counts its readings unless a firing or a heat chooses them.
create table second_sources (
  import integer primary key references imports(id)
) strict;

-- Which source of a channel decides in a firing or a heat, and which fill its holes, in this order.
-- ``decides`` and ``fills`` are numbers of second sources; 0 is the channel's own record. A hole is
-- longer than ``hole_us``. The newest row counts, the earlier ones stay.
create table source_choices (
  id integer primary key autoincrement,
  firing integer references firings(id),
  heat integer references heats(id),
  channel integer not null references channels(id),
  decides integer not null,
  fills text not null default '[]' check (json_valid(fills)),
  hole_us integer not null check (hole_us > 0),
  who text not null check (who <> ''),
  why text not null check (why <> ''),
  entered_us integer not null,
  check ((firing is null) <> (heat is null))
) strict;
create index source_choices_of on source_choices (firing, heat, channel, id)
"""

TRIGGERS = (
    *(
        f"create trigger source_choices_keep_{event} before {event} on source_choices begin"
        " select raise(abort, 'source_choices are written once; enter another one'); end"
        for event in ("update", "delete")
    ),
    (
        "create trigger second_sources_keep_update before update on second_sources begin"
        " select raise(abort, 'second_sources are written once'); end"
    ),
    # What was cut short was never acknowledged, and may go.
    (
        "create trigger second_sources_keep_delete before delete on second_sources"
        " when exists (select 1 from imports where id = old.import and done_us is not null) begin"
        " select raise(abort, 'second_sources are written once'); end"
    ),
)
