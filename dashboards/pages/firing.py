"""The page of one firing: whole at first, then new readings and what has changed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dashboards.page import Page, Request, digest, now_us
from dashboards.pages import firing_evidence, firing_head
from dashboards.pages.parts import firing_path
from firelog.say.numbers import show_temperature
from firelog.view.chain import Link, of_firing
from firelog.view.figure.firing import firing_figure
from firelog.view.firing import FiringView, as_heard, read_firing, read_new_readings

EVERY_S = 1.0
LATEST_US = 2**62  # what SQLite can compare


def page(asked: Request, name: str) -> Page:
    """Return the page of a firing; raises :class:`NotFoundError` when there is none."""
    view = read_firing(asked.store, name, asked.unit)
    return _page(as_heard(view, view.newest_us, now_us()), of_firing(asked.store, name))


def _page(view: FiringView, links: Sequence[Link]) -> Page:
    picture, running = view.picture, view.firing.running
    return Page(
        f"{view.firing.name}: {firing_head.verdict_word(view) or 'no verdict'}",
        firing_head.head(view),
        firing_evidence.body(view, links),
        _drawn(view) if picture.traces else None,
        unit=picture.how.unit,
        every_s=EVERY_S if running else 0.0,
        alive=running,
        newest_us=view.newest_us,
        seen={"page": _page_digest(view), "shape": _shape_digest(view)},
        value=_newest_value(view),
    )


def _drawn(view: FiringView) -> dict[str, Any]:
    return firing_figure(view.picture, switched=True, of=firing_path(view.firing.name))


def changes(asked: Request, question: Mapping[str, Any], name: str) -> dict[str, Any]:
    """Return new readings, and the words when they changed; the whole when the picture's shape did.

    ``question``: ``seen`` digests, and ``after``: the instant up to which the browser has readings.
    """
    read, seen = read_firing(asked.store, name, asked.unit), question["seen"]
    asked_us = question.get("after")
    after_us = asked_us if isinstance(asked_us, int) else read.newest_us or 0
    after_us = min(max(after_us, 0), LATEST_US)
    new = read_new_readings(asked.store, read, after_us)
    cursor_us = max(after_us, new.newest_us or 0)
    view = as_heard(read, cursor_us or read.newest_us, now_us())
    if _shape_digest(view) != seen.get("shape"):
        links = of_firing(asked.store, name)
        return _page(view, links).as_dict(asked.address) | {"newest_us": view.newest_us}
    changed: dict[str, Any] = {"newest_us": cursor_us, "now_us": now_us()}
    leading = view.picture.highlighted[0].name if view.picture.highlighted else ""
    if (newest_c := new.newest_c.get(leading)) is not None:
        changed["value"] = show_temperature(newest_c, view.picture.how.unit)
    if new.points:
        changed["points"] = {"after": after_us, "cursor": cursor_us, "lines": new.points}
    if (words := _page_digest(view)) != seen.get("page"):
        changed |= {
            "top": firing_head.head(view),
            "bottom": firing_evidence.body(view, of_firing(asked.store, name)),
            "seen": {"page": words, "shape": seen["shape"]},
        }
    return changed


def _newest_value(view: FiringView) -> str:
    for trace in view.picture.highlighted:
        usable = trace.temp_c[trace.temp_c == trace.temp_c]
        if len(usable):
            return show_temperature(float(usable[-1]), view.picture.how.unit)
    return ""


# ---------------------------------------------------------------- digests
def _page_digest(view: FiringView) -> str:
    """Fingerprint of the words above and below the picture."""
    judgement = view.picture.judgement
    checks = judgement.checks if judgement else ()
    segments = judgement.segments if judgement else ()
    # While it runs, reasons and times soaked move with every reading: once a minute is enough.
    still = not view.firing.running
    said = [(c.verdict, c.requirement, c.channel, still and c.why) for c in checks]
    runs = [(r.name, r.began_s is None, r.complete_s is None, r.ended_s is None) for r in segments]
    minutes = int((view.picture.end_s + (view.silent_s or 0.0)) // 60)
    told = (minutes, view.events, view.kept, view.trouble, view.firing, view.seal)
    return digest(said, runs, _progress(view), *told)


def _shape_digest(view: FiringView) -> str:
    """Fingerprint of what appended readings cannot change: a new one fetches the picture anew."""
    picture = view.picture
    runs = picture.judgement.segments if picture.judgement else ()
    # In minutes: where a step began is told better with each reading, which moves no line visibly.
    began = [(run.name, _minute(run.began_s), _minute(run.ended_s)) for run in runs]
    names = ([t.name for t in picture.highlighted], len(picture.traces))
    # What lies ahead, and a bar that grows, is drawn anew every ten minutes.
    lately = int(picture.end_s // 600) if picture.running else 0
    told = (len(view.events), view.firing, picture.how, _progress(view), lately)
    return digest(began, names, *told)


def _progress(view: FiringView) -> list[Any]:
    """How the firing stands and which departures from the plan it had, to the minute."""
    outlook, judgement = view.picture.outlook, view.picture.judgement
    incidents = judgement.happenings if judgement else ()
    state = outlook.state if outlook else ""
    if view.silent_s is not None:
        state = "silent"
    return [state, *((one.kind, _minute(one.from_s)) for one in incidents)]


def _minute(seconds: float | None) -> int | None:
    return None if seconds is None else round(seconds / 60)
