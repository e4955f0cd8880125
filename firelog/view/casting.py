"""Castings as they are shown: the list, and one casting audited, with its firing as a picture."""

from __future__ import annotations

import base64
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from firelog.audit import casting as audits
from firelog.audit import compare
from firelog.audit.casting import CastingAudit
from firelog.audit.catalogue import read_catalogue
from firelog.audit.compare import Comparison
from firelog.record import castings as record
from firelog.record.castings import Casting, Photograph
from firelog.record.heats import mould
from firelog.record.store import Store
from firelog.say.reader import Reader, reader_of
from firelog.units import us_after
from firelog.verdict import Verdict
from firelog.view.cache import Cache, file_identity
from firelog.view.heat import HeatView, heat_view
from firelog.view.picture import Note, Picture, picture_of

_FRESH_S = 30.0
_LARGEST = 6_000_000  # bytes of a photograph that a page carries


@dataclass(frozen=True)
class CastingEntry:
    """One casting in the list, with the firing and the heat it came of."""

    casting: Casting
    firing: str | None
    heat: str | None


@dataclass(frozen=True)
class CastingView:
    """One casting's page; ``picture`` is None where its mould was in no firing.

    ``poured`` is its own pour where what explains the defect lies there, not in the kiln.
    """

    audit: CastingAudit
    compared: Comparison | None
    picture: Picture | None
    photos: tuple[tuple[Photograph, str], ...]
    how: Reader
    poured: HeatView | None = None


_views: Cache[CastingView] = Cache(6)
_peers: Cache[CastingAudit] = Cache(200)  # slim ones: reading sixty castings takes some seconds
_PEERS_FRESH_S = 600.0


def read_castings(path: Path, unit: str | None = None) -> tuple[Reader, list[CastingEntry]]:
    """Return the castings, newest first."""
    with Store.open(path) as store:
        return reader_of(store, unit), [
            _entry(store, casting) for casting in record.castings(store)
        ]


def _entry(store: Store, casting: Casting) -> CastingEntry:
    poured = record.pour_of(store, casting)
    return CastingEntry(
        casting, mould(store, casting.mould).firing, poured[0].name if poured else None
    )


def read_casting(path: Path, name: str, unit: str | None = None) -> CastingView:
    """Return the page of a casting; raises :class:`NotFoundError` when there is none."""
    with Store.open(path) as store:
        casting, how = record.casting(store, name), reader_of(store, unit)
        photos = tuple(record.photos(store, casting))
        key = (*file_identity(store), casting.name, casting.inspections, photos, how)
        return _views.get(key, _FRESH_S, lambda: _view(store, casting, how))


def _view(store: Store, casting: Casting, how: Reader) -> CastingView:
    catalogue = read_catalogue()
    made = audits.audit(store, casting, catalogue, how.unit)
    compared = None
    if made.defects:
        others = audits.peers(store, made, catalogue, how.unit, _kept(store, how))
        compared = compare.compare(made, others)
    photos = tuple((photo, _data(store, photo)) for photo in record.photos(store, casting))
    picture = casting_picture(made, compared, how)
    shown = picture if picture and picture.traces else None
    return CastingView(made, compared, shown, photos, how, _poured(made, how))


def _poured(made: CastingAudit, how: Reader) -> HeatView | None:
    """Return the casting's pour as a picture, None where the firing is what to look at.

    What supports the likeliest cause decides: it lies in the pour, or in the kiln before it.
    """
    heat, pour = made.case.heat, made.case.pour
    if heat is None or pour is None or pour.verdict is Verdict.PASS:
        return None
    began_us = pour.pour.began_us if pour.pour.out_us is None else pour.pour.out_us
    at_us = _strongest_us(made)
    if at_us is None or at_us < began_us:
        return None
    view = heat_view(replace(heat, pours=(pour,)), how)
    return view if view.picture.traces else None


def _strongest_us(made: CastingAudit) -> int | None:
    """When that happened which speaks most strongly for the likeliest cause of the defects."""
    causes = sorted(
        (cause for defect in made.defects for cause in defect.causes),
        key=lambda cause: -cause.weight,
    )
    for cause in causes:
        found = [one for one in cause.findings if one.says == "for" and one.fact.at_us is not None]
        if found:
            return max(found, key=lambda one: one.ratio).fact.at_us
    return None


def _kept(store: Store, how: Reader) -> audits.Keep:
    """Return a keeper of the audits that castings are compared with."""
    where = (*file_identity(store), how.unit)

    def keep(casting: Casting, make: Callable[[], CastingAudit]) -> CastingAudit:
        return _peers.get((*where, casting.name, casting.inspections), _PEERS_FRESH_S, make)

    return keep


def casting_picture(made: CastingAudit, compared: Comparison | None, how: Reader) -> Picture | None:
    """Return the casting's firing, with the nearest sound one laid over it; None without one."""
    fired = made.case.fired
    if fired is None:
        return None
    overlay = (compared.overlay.trace,) if compared and compared.overlay else ()
    began_us, end_s = fired.firing.began_us, fired.end_s
    notes = _notes(made, began_us, us_after(began_us, end_s))
    traces = (*fired.traces, *overlay)
    return picture_of(how, began_us, traces, end_s, judged=fired, notes=notes)


def _notes(made: CastingAudit, began_us: int, until_us: int) -> list[Note]:
    """What was noted, and where findings lie, in order of time."""
    noted = [(event.t_us, event.kind, event.text) for event in made.case.kiln_events]
    return sorted([*noted, *audits.places(made, began_us, until_us)])


def _data(store: Store, photo: Photograph) -> str:
    """Return a photograph as a data address, empty where it is lost or too large for a page."""
    content = record.photo_bytes(store, photo)
    if content is None or len(content) > _LARGEST:
        return ""
    kind = "jpeg" if photo.kind == "jpg" else photo.kind
    return f"data:image/{kind};base64,{base64.b64encode(content).decode()}"
