"""``firelog tonight``: how the night stands, in a terminal."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING, Any

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from rich.console import Group

    from firelog.watch.facts import KilnNow
    from firelog.watch.run.tonight import Tonight

_SIGNS = {3: "▲▲", 2: "▲", 1: "·"}


@click.command()
@click.option("--follow", is_flag=True, help="Stay, and renew it every two seconds.")
@json_option
@common_options
@pass_settings
def tonight(settings: Settings, *, follow: bool, as_json: bool) -> None:
    """Show running firings, their thermocouples, what comes next, and alarms.

    Status 1 when an alarm stands unacknowledged, or a firing runs and no watch does.
    """
    from firelog.cli.show import console, shown_settings
    from firelog.record.store import Store
    from firelog.watch.run.tonight import TonightReader

    with Store.open(settings.store_path()) as store:
        reader = TonightReader(store)
        _, tz = shown_settings(store)
        now = reader.look()
        if as_json:
            emit_json(_answer(now))
        elif follow:
            _stay(reader, tz)
        else:
            console().print(_page(now, tz))
    unseen = any(alarm.state == "unacknowledged" for alarm in now.alarms)
    if unseen or (now.facts.kilns and not now.walking):
        raise SystemExit(1)


def _stay(reader: Any, tz: ZoneInfo) -> None:
    from rich.live import Live

    with Live(_page(reader.look(), tz), auto_refresh=False, screen=True) as live:
        while True:
            time.sleep(2.0)
            live.update(_page(reader.look(), tz), refresh=True)


# ---------------------------------------------------------------- for programs
def _answer(now: Tonight) -> dict[str, Any]:
    from firelog.units import iso_utc
    from firelog.watch.run.tonight import estimates, health, newest_ago_s, where

    return {
        "now": iso_utc(now.now_us),
        "watch_ago_s": now.watch_ago_s,
        "heartbeat": None if now.heartbeat is None else vars(now.heartbeat),
        "idle": [
            {"kiln": one.kiln, "temp_c": one.temp_c, "gained_k": one.gained_k}
            for one in now.facts.idle
        ],
        "firings": [
            {
                "kiln": kiln.kiln,
                "firing": kiln.firing,
                "newest_ago_s": newest_ago_s(kiln),
                "where": where(kiln, now.alarms),
                "late_s": kiln.course.late_s if kiln.course else None,
                "milestones": [
                    {
                        "segment": one.segment,
                        "in_s": one.finish_s - kiln.now_s,
                        "early_s": one.early_s - kiln.now_s,
                        "late_s": one.late_s - kiln.now_s,
                    }
                    for one in estimates(kiln, now.alarms)
                ],
                "channels": [
                    {
                        "name": channel.name,
                        "temp_c": channel.temp_c,
                        "health": health(channel),
                        "ago_s": channel.heard_ago_s,
                    }
                    for channel in kiln.channels
                ],
            }
            for kiln in now.facts.kilns
        ],
        "alarms": [
            {
                "number": alarm.id,
                "kind": alarm.kind,
                "state": alarm.state.value,
                "priority": alarm.priority.word,
                "kiln": alarm.kiln,
                "text": alarm.text,
                "remedy": alarm.remedy,
                "began": iso_utc(alarm.began_us),
            }
            for alarm in now.alarms
            if alarm.state.standing or alarm.state == "shelved"
        ],
    }


# ---------------------------------------------------------------- for people
def _page(now: Tonight, tz: ZoneInfo) -> Group:
    from rich.console import Group
    from rich.text import Text

    from firelog.say.instants import show_instant
    from firelog.watch.run.tonight import watch_words

    style = "bold" if now.walking or not now.facts.kilns else "bold yellow"
    parts: list[Any] = [
        Text(f"{show_instant(now.now_us, tz)}   {watch_words(now)}", style=style),
        *_alarm_lines(now, tz),
    ]
    for kiln in now.facts.kilns:
        parts += ["", *_kiln_lines(now, kiln, tz)]
    if not now.facts.kilns:
        parts += ["", "No firing is running."]
    parts += ["", "firelog switches nothing and is no safety device."]
    return Group(*parts)


def _alarm_lines(now: Tonight, tz: ZoneInfo) -> list[Any]:
    from rich.text import Text

    from firelog.watch.run.tonight import clock_time

    lines: list[Any] = []
    for alarm in now.alarms:
        if not (alarm.state.standing or alarm.state == "shelved"):
            continue
        loud = alarm.state == "unacknowledged"
        since = clock_time(alarm.began_us, tz)
        head = f"{_SIGNS[alarm.priority]} {alarm.id}  {alarm.state}, since {since}"
        lines.append(Text(f"{head}  {alarm.text}", style="bold yellow" if loud else ""))
        lines.append(Text(f"      {alarm.remedy}"))
        if loud:
            lines.append(Text(f"      firelog watch acknowledge {alarm.id} --who YOUR-NAME"))
    return ["", *lines] if lines else [Text("no alarm stands")]


def _kiln_lines(now: Tonight, kiln: KilnNow, tz: ZoneInfo) -> list[Any]:
    from rich.table import Table
    from rich.text import Text

    from firelog.say.durations import show_duration
    from firelog.say.numbers import show_temperature
    from firelog.watch.run.tonight import estimates, health, milestone, newest_ago_s, stale, where

    ago_s = newest_ago_s(kiln)
    old = "no reading yet" if ago_s is None else f"newest reading {show_duration(ago_s)} old"
    lines: list[Any] = [
        Text(f"{kiln.kiln}: {kiln.firing}, {show_duration(kiln.now_s)} in, {old}", style="bold"),
        Text(where(kiln, now.alarms)),
    ]
    if kiln.course is not None and not stale(kiln):
        ahead = estimates(kiln, now.alarms)
        ends = ahead[:1] + ahead[-1:] if len(ahead) > 1 else ahead
        lines += [Text(milestone(kiln, one, now.now_us, tz)) for one in ends]
        late_s = kiln.course.late_s
        if late_s is not None and late_s > 300.0:
            lines.append(Text(f"at least {show_duration(late_s)} behind the plan"))
    table = Table(box=None, pad_edge=False, show_header=False)
    for channel in kiln.channels:
        temp = "–" if channel.temp_c is None else show_temperature(channel.temp_c, now.facts.unit)
        rose = channel.rose_k[600]
        trend = "" if rose is None else ("↗" if rose > 2 else "↘" if rose < -2 else "→")
        word = health(channel)
        sign = "●" if word == "alive" else "▲"
        table.add_row(channel.name, Text(temp, justify="right"), trend, f"{sign} {word}")
    return [*lines, table]
