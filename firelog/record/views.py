"""Views for people who query the store by hand; names and columns are a promise.

Times are ISO 8601 in UTC. Values are as received, in the unit beside them. A block's readings are
compressed and do not show in SQL: ``block_list`` says what is where, ``firelog export`` writes it.
"""

from __future__ import annotations


def utc(column: str) -> str:
    """Return SQL that shows microseconds as an instant; the fraction keeps its three digits."""
    return f"strftime('%Y-%m-%dT%H:%M:%fZ', {column} / 1e6, 'unixepoch')"


VIEWS = {
    "channel_list": """
select c.id, k.name as kiln, c.name as channel, c.role, c.letter as thermocouple, c.standard,
  c.tolerance_class
from channels c join kilns k on k.id = c.kiln""",
    "live_readings": f"""
select k.name as kiln, c.name as channel, {utc("r.t_us")} as time_utc, r.value, u.name as unit,
  q.word as quality
from readings r join channels c on c.id = r.channel join kilns k on k.id = c.kiln
  join units u on u.code = r.unit join qualities q on q.code = r.quality""",
    "block_list": f"""
select b.id as block, k.name as kiln, c.name as channel, {utc("b.first_us")} as first_utc,
  {utc("b.last_us")} as last_utc, b.count as readings, b.ok_count as usable,
  b.minimum as lowest, b.maximum as highest, b.total / nullif(b.ok_count, 0) as mean,
  u.name as unit, length(b.packet) as bytes
from blocks b join channels c on c.id = b.channel join kilns k on k.id = c.kiln
  join units u on u.code = b.unit""",
    "firing_list": f"""
select f.id, f.name as firing, k.name as kiln, {utc("f.began_us")} as began_utc,
  {utc("f.ended_us")} as ended_utc, s.title as schedule,
  (select v.verdict from verdicts v where v.firing = f.id order by v.id desc limit 1) as verdict,
  (select x.head from seals x where x.firing = f.id order by x.id desc limit 1) as seal, f.note
from firings f join kilns k on k.id = f.kiln left join schedules s on s.sha256 = f.schedule""",
    "event_list": f"""
select e.id, {utc("e.t_us")} as time_utc, e.kind, e.text, e.who, k.name as kiln,
  f.name as firing, e.corrects, e.why,
  exists (select 1 from events n where n.corrects = e.id) as superseded
from events e left join kilns k on k.id = e.kiln left join firings f on f.id = e.firing""",
}
