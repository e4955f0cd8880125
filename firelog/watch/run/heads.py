"""Giving the heads of seals away: each new one is sent to the person the foundry file names."""

from __future__ import annotations

from firelog.record import alarms, outbox, seal
from firelog.record.seal import Seal
from firelog.record.store import Store
from firelog.units import iso_utc
from firelog.watch.plan import WatchPlan


def send_newest(store: Store, plan: WatchPlan, now_us: int) -> str:
    """Put the newest head into the outbox for whoever is to keep it; return what was done, or ''.

    Once for each seal, whatever becomes of the watch in between; a seal that was followed by
    another before it could be sent is held by the later one's head. ``now_us`` [µs UTC].
    """
    person = next((one for one in plan.people if one.name == plan.heads_to), None)
    if person is None:
        return ""
    [(number,)] = alarms.query(store, "select max(id) from seals")
    why = f"head of seal {number}"
    if number is None or alarms.query(store, "select 1 from calls where why=? limit 1", (why,)):
        return ""
    newest = seal.seals(store)[-1]
    title, body = _message(newest)
    with store.writing():
        for way in person.ways:
            outbox.add_call(
                store,
                alarm_id=None,
                person=person.name,
                way=way.label,
                why=why,
                title=title,
                body=body,
                made_us=now_us,
            )
    return f"sending the {why} to {person.name}"


def _message(newest: Seal) -> tuple[str, str]:
    sealed = iso_utc(newest.sealed_us // 1_000_000 * 1_000_000)
    body = (
        f"Seal {newest.id} of {sealed}\nhead {newest.head}\n"
        "Keep this message. `firelog verify --head` with this head tells the record as it was then "
        "from one that was sealed anew."
    )
    return f"firelog: head of seal {newest.id}", body
