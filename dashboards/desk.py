"""The alarm desk as HTML: one card an alarm, drawn here alone, for the first page and after it.

The desk stands at the foot of the window, so that a new alarm never pushes the page from under a
hand. It is apart from Dash on purpose: an alarm is shown, and answered, even where no picture is.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from markupsafe import Markup

SPANS = ("30 min", "2 h", "8 h")

_CARD = Markup(
    '<article class="alarm {state} {priority}" data-number="{number}">'
    '<div class="alarm-words"><p class="alarm-state">{head}</p>'
    '<p class="alarm-text">{text}</p><p class="alarm-remedy">{remedy}</p></div>{touch}</article>'
)
_SEEN = Markup(
    '<div class="alarm-touch"><button type="button" class="big" data-act="/acknowledge" '
    'data-alarm="{number}">{words}</button>{aside}</div>'
)
_BACK = Markup(
    '<div class="alarm-touch"><button type="button" data-act="/unshelve" '
    'data-alarm="{number}">take back</button></div>'
)
# Putting aside asks for an end and a reason; folded away, so that nobody does it in his sleep.
_ASIDE = Markup(
    '<details class="aside"><summary>put aside …</summary><form data-alarm="{number}">'
    '<select name="lasting" aria-label="for how long">{spans}</select>'
    '<input name="why" required maxlength="200" placeholder="why" '
    'aria-label="why it may be put aside"><button>put aside</button></form></details>'
)


def cards(told: Mapping[str, Any]) -> str:
    """Return the desk's content: a line where nobody watches, then each alarm."""
    watch = told.get("watch", "")
    line = Markup('<p class="desk-line warned">{}</p>').format(watch) if watch else Markup("")
    may_write = bool(told.get("may_write"))
    return str(line + Markup("").join(_card(one, may_write) for one in told["alarms"]))


def _card(one: Mapping[str, Any], may_write: bool) -> Markup:
    touch = Markup("")
    if may_write and one["state"] in ("unacknowledged", "returned"):
        words = "seen" if one["state"] == "returned" else "seen, I act"
        spans = Markup("").join(Markup("<option>{}</option>").format(span) for span in SPANS)
        aside = _ASIDE.format(number=one["number"], spans=spans)
        touch = _SEEN.format(number=one["number"], words=words, aside=aside)
    elif may_write and one["state"] == "shelved":
        touch = _BACK.format(number=one["number"])
    return _CARD.format(**{**one, "head": _head(one), "touch": touch})


def _head(one: Mapping[str, Any]) -> str:
    """How it stands, in a line: ``acknowledged · since 14 min · seen by Ines at 03:12``."""
    stands = f"put aside, {one['left']} left" if one["left"] else one["state"]
    said = [stands, f"since {one['since']}", one["answered"]]
    if one["called"]:
        said.append(f"called: {one['called']}")
    return " · ".join(word for word in said if word)
