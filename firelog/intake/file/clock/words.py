"""Names and units by which a heading says that its column is a time, a count, or in which zone."""

from __future__ import annotations

import re
from datetime import tzinfo

from firelog.intake.file.clock.zones import zone_or_offset

TIME_NAME = re.compile(
    r"(?i)(?:^|[\W_])(?:time|date|datetime|timestamp|stamp|elapsed|clock|zeit|datum|uhrzeit|"
    r"heure|temps|hora|fecha|tiempo|tempo|data|seconds?|secs?|minutes?|mins?|hours?|runtime|"
    r"duration|epoch|utc|日時|時刻|時間|日付)(?:$|[\W_\d])|(?:time|date|stamp|zeit|日時|時刻)(?:$|[\W_])"
    r"|^[tsh]$"
)
# Of these the ones that stand for a time even among other words: "min" in "Kiln min" does not.
_SURELY_TIME = re.compile(
    r"(?i)(?:^|[\W_])(?:time\d*|date|datetime|timestamp|stamp|elapsed|clock|zeit|datum|uhrzeit|"
    r"heure|temps|hora|fecha|tiempo|tempo|runtime|duration|epoch|utc|日時|時刻|時間|日付)"
    r"(?:$|[\W_])|(?:time|date|stamp|zeit|日時|時刻)(?:$|[\W_])"
)
COUNTER_NAME = re.compile(
    r"(?i)^(?:#|no\.?|nr\.?|n|num|number|record|rec|index|idx|id|scan|sample|row|count|counter|"
    r"line|entry|番号)(?:$|[\W_])"
)
ELAPSED_NAME = re.compile(
    r"(?i)elapsed|duration|run ?time|relative|since|test ?time|process ?time|mm:ss"
)
_UTC_NAME = re.compile(r"(?i)(?:^|[\W_])(?:utc|gmt|zulu)(?:$|[\W_])")
_OFFSET = re.compile(r"(?i)(?:UTC|GMT)\s*([-+−–])\s*(\d{1,2})(?::?(\d{2}))?")
_BARE_OFFSET = re.compile(r"[\[(]\s*([-+−])(\d{2}):(\d{2})\s*[\])]")
_UNITS_US = {
    **dict.fromkeys(("ms", "msec", "millis", "milliseconds"), 1e3),
    **dict.fromkeys(("us", "µs", "μs", "microseconds"), 1.0),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "sekunden", "seg"), 1e6),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten", "minutos", "mn"), 60e6),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "std", "stunden", "heures"), 3600e6),
    **dict.fromkeys(("d", "day", "days", "tage", "jours"), 86_400e6),
    "秒": 1e6,
    "分": 60e6,
    "時間": 3600e6,
}
_LETTERS = r"[a-zµμ秒分時間]+"
_OVER = re.compile(rf"^(?:t|τ|time|zeit|temps|elapsed)\s*/\s*({_LETTERS})$")
_BRACKETS = re.compile(rf"[\[(]\s*(?:in\s+)?({_LETTERS})\.?\s*[\])]\s*$")
_BEHIND = re.compile(rf"^(.*?)[\s,_.:-]+(?:in\s+)?({_LETTERS})\.?$")
_BEFORE = re.compile(r"^([a-z]+)\s+(?:since|from|after|elapsed|into|of|past)\b")
_SHORT_NAMES = re.compile(r"^(?:t|τ|run|test|log|total|exp|process|firing)$")


def time_unit_us(text: str) -> float:
    """Return the length in microseconds of the unit of time a heading states, 0 when it has none.

    Flows and rates ("l/min", "K per min") state none, and "min" behind a place is a minimum.

    >>> [time_unit_us(t) for t in ("Time (min)", "t/s", "Gas (l/min)", "Kiln min", "time_s")]
    [60000000.0, 1000000.0, 0.0, 0.0, 1000000.0]
    """
    bare = text.strip().strip("[]()").strip().lower().rstrip(".")
    if bare in _UNITS_US:
        return _UNITS_US[bare]
    lower = text.strip().lower()
    if found := _OVER.match(lower):
        return _UNITS_US.get(found[1], 0.0)
    if found := _BRACKETS.search(lower):
        return _UNITS_US.get(found[1], 0.0)
    if found := _BEFORE.match(lower):
        return _UNITS_US.get(found[1], 0.0)
    if (found := _BEHIND.match(lower)) and found[2] in _UNITS_US:
        stem = found[1].strip(" _,.:-")
        if _SURELY_TIME.search(stem) or _SHORT_NAMES.match(stem):
            return _UNITS_US[found[2]]
    return 0.0


def names_time(heading: str) -> int:
    """Return how surely a heading names a time: 3 when it is nothing but that, 2, or 0."""
    bare = re.sub(r"[\[(].*?[\])]", "", heading).strip().lower()
    if re.fullmatch(
        r"time|date|datetime|date[ _/.]*time|timestamp|zeit|elapsed(?:[ _]time)?", bare
    ):
        return 3
    if heading.strip() == "t" or _SURELY_TIME.search(heading):
        return 2
    return 2 if bare.rstrip(".") in _UNITS_US else 0


def stated_zone(text: str) -> tzinfo | None:
    """Return the offset from UTC that a heading or a title states, UTC included; None without one.

    >>> str(stated_zone("Date Time, GMT-04:00")), str(stated_zone("time_utc")), stated_zone("Time")
    ('UTC-04:00', 'UTC', None)
    """
    found = _OFFSET.search(text) or _BARE_OFFSET.search(text)
    if found:
        sign = "+" if found[1] == "+" else "-"
        return zone_or_offset(f"{sign}{int(found[2]):02d}:{found[3] or '00'}")
    return zone_or_offset("UTC") if _UTC_NAME.search(text) else None
