"""Alarms on every page: those that stand, acknowledged, shelved or taken back with one touch.

Plain routes beside Dash's, so that an alarm is shown and answered even where a picture is not.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

from flask import Flask, Response, abort, jsonify, request
from markupsafe import escape

from dashboards import access, desk
from dashboards.page import now_us
from firelog.alarm import AlarmAction, AlarmState
from firelog.errors import FirelogError, InputError
from firelog.record import alarms, outbox
from firelog.record.rows import Call, StoredAlarm, StoredStep
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.say.instants import clock, show_instant
from firelog.say.reader import Reader, reader_of
from firelog.units import parse_duration, seconds_since
from firelog.watch.calls import links
from firelog.watch.run import rounds
from firelog.watch.run.tonight import WATCH_S


def add_alarm_routes(server: Flask, store: Path) -> None:
    """Add the addresses at which alarms are listed and answered to the board's server."""

    def listed() -> tuple[Response, int]:
        try:
            told = _list(store)
            return jsonify(told | {"cards": desk.cards(told)}), 200
        except FirelogError as error:
            return jsonify(trouble=str(error)), 503

    def acknowledge() -> tuple[Response, int]:
        access.need_write()
        return _act(store, _acknowledge)

    def shelve() -> tuple[Response, int]:
        access.need_write()
        return _act(store, _shelve)

    def unshelve() -> tuple[Response, int]:
        access.need_write()
        return _act(store, _unshelve)

    server.add_url_rule("/alarms.json", "alarms", listed)
    server.add_url_rule("/acknowledge", "acknowledge", acknowledge, methods=["POST"])
    server.add_url_rule("/shelve", "shelve", shelve, methods=["POST"])
    server.add_url_rule("/unshelve", "unshelve", unshelve, methods=["POST"])
    server.add_url_rule(
        "/seen/<token>", "seen", lambda token: _seen(store, token), methods=["GET", "POST"]
    )


def desk_now(path: Path) -> str:
    """Return the desk's cards as HTML for the first page: an alarm does not wait for a script."""
    if not access.role_here():
        return ""
    try:
        return desk.cards(_list(path))
    except FirelogError as error:
        return desk.cards({"alarms": [], "watch": f"Alarms cannot be read: {error}"})


# ---------------------------------------------------------------- what stands
def _list(path: Path) -> dict[str, Any]:
    t_us = now_us()
    with Store.open(path) as store:
        found = [alarm for alarm in alarms.open_alarms(store) if _shown(alarm)]
        age_s = rounds.age_s(store, t_us)
        running = any(firing.running for firing in store.firings())
        called = outbox.calls_for(store, [one.id for one in found])
        steps = {one.id: alarms.steps(store, alarm_id=one.id) for one in found}
        how = reader_of(store)
    walking = age_s is not None and age_s < WATCH_S
    watch = ""
    if running and not walking:
        ago = "" if age_s is None else f" since {show_duration(age_s)}"
        watch = f"No night watch is walking{ago}: nobody will be called."
    return {
        "alarms": [
            _told(one, t_us, called) | {"answered": _answered(one, steps[one.id], how)}
            for one in found
        ],
        "watch": watch,
        "may_write": access.role_here() == "write",
    }


def _shown(alarm: StoredAlarm) -> bool:
    return alarm.state.standing or alarm.state is AlarmState.SHELVED


def _told(alarm: StoredAlarm, t_us: int, called: list[Call]) -> dict[str, Any]:
    people = dict.fromkeys(call.person for call in called if call.alarm_id == alarm.id)
    left_s = 0.0 if alarm.shelved_until_us is None else seconds_since(t_us, alarm.shelved_until_us)
    return {
        "number": alarm.id,
        "state": alarm.state.value,
        "priority": alarm.priority.word,
        "text": alarm.text,
        "remedy": alarm.remedy,
        "since": show_duration(max(0.0, seconds_since(alarm.began_us, t_us))),
        "called": ", ".join(people),
        "left": show_duration(max(0.0, left_s)) if alarm.state is AlarmState.SHELVED else "",
    }


def _answered(alarm: StoredAlarm, steps: list[StoredStep], how: Reader) -> str:
    """Who answered an alarm as it now stands, and when: ``seen by Ines at 03:12``."""
    acts = {
        AlarmState.ACKNOWLEDGED: (AlarmAction.ACKNOWLEDGE, "seen by"),
        AlarmState.SHELVED: (AlarmAction.SHELVE, "put aside by"),
    }
    if alarm.state not in acts:
        return ""
    act, words = acts[alarm.state]
    last = next((step for step in reversed(steps) if step.act is act), None)
    if last is None:
        return ""
    when = clock(last.t_us, how, weekday_from=alarm.began_us)
    return f"{words} {last.who} at {when}{f': {last.note}' if last.note else ''}"


# ---------------------------------------------------------------- what people do
def _act(path: Path, act: Any) -> tuple[Response, int]:
    asked = request.get_json(silent=True)
    if not isinstance(asked, dict) or not isinstance(asked.get("number"), int):
        abort(400)
    if not 0 < asked["number"] < 2**62:
        abort(400)
    try:
        with Store.open(path, write=True) as store:
            one = act(store, asked)
    except InputError as error:
        return jsonify(trouble=str(error)), 409
    except FirelogError as error:
        return jsonify(trouble=str(error)), 503
    return jsonify(state=one.state.value), 200


def _acknowledge(store: Store, asked: dict[str, Any]) -> StoredAlarm:
    return alarms.acknowledge(store, asked["number"], who=_who(asked), t_us=now_us())


def _shelve(store: Store, asked: dict[str, Any]) -> StoredAlarm:
    t_us = now_us()
    until_us = t_us + round(parse_duration(str(asked.get("lasting", ""))) * 1e6)
    note = str(asked.get("why", ""))
    return alarms.shelve(
        store, asked["number"], who=_who(asked), t_us=t_us, until_us=until_us, note=note
    )


def _unshelve(store: Store, asked: dict[str, Any]) -> StoredAlarm:
    return alarms.unshelve(store, asked["number"], who=_who(asked), t_us=now_us())


def _who(asked: dict[str, Any]) -> str:
    return str(asked.get("who", "")).strip()[:80] or "somebody at the board"


# ---------------------------------------------------------------- the link in a message
def _seen(path: Path, token: str) -> Any:
    """Show the alarm of a link and, when its button is pressed, acknowledge it.

    Looking changes nothing: mail programs follow links on their own.
    """
    try:
        invitation = links.read_token(links.secret_key(path), token)
        with Store.open(path, write=request.method == "POST") as store:
            if request.method == "POST":
                alarms.acknowledge(store, invitation.alarm_id, who=invitation.person, t_us=now_us())
            one = alarms.one(store, invitation.alarm_id)
            tz = reader_of(store).tz
    except FirelogError as error:
        return access.plain_page("This link opens nothing", f"<p>{escape(str(error))}</p>"), 410
    waiting = one.state in (AlarmState.UNACKNOWLEDGED, AlarmState.RETURNED)
    words = f"seen, I act ({escape(invitation.person)})"
    button = f'<form method="post"><button class="big">{words}</button></form>'
    return access.plain_page(
        one.kind if waiting else f"{one.kind}: {one.state.value}",
        f"<p class='loud'>{escape(one.text)}</p><p>{escape(one.remedy)}</p>"
        f"<p class='soft'>{escape(one.state.value)}, since "
        f"{escape(show_instant(one.began_us, tz))}</p>{button if waiting else ''}"
        "<p class='soft'>firelog switches nothing and is no safety device.</p>",
    )
