"""One casting with all of the record that belongs to it, read once."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

from firelog.errors import FirelogError
from firelog.judge import core
from firelog.judge import firing as judging
from firelog.judge.core import CoreStory
from firelog.judge.firing import Assessment
from firelog.pouring import verify
from firelog.pouring.verify import HeatAssessment, PourAssessment
from firelog.readings import Role
from firelog.record import castings, heats
from firelog.record.castings import Casting
from firelog.record.heats import Mould
from firelog.record.rows import Event
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit

MOST_KEPT = 3
MOST_POINTS = 1500


@dataclass(frozen=True)
class Case:
    """A casting, its mould, and what is known of its firing, its pour and its core.

    What is None is not in the record; ``why_no_core`` and ``why_no_pour`` say why a core or a pour
    that is in the record could not be computed.
    """

    casting: Casting
    mould: Mould
    material: str | None
    fired: Assessment | None
    kiln_events: tuple[Event, ...]
    heat: HeatAssessment | None
    pour: PourAssessment | None
    story: CoreStory | None
    why_no_core: str
    why_no_pour: str = ""
    words_in: TemperatureUnit = "C"

    @property
    def out_us(self) -> int | None:
        """When the mould left the kiln, None where nobody noted it."""
        return self.pour.pour.out_us if self.pour else None

    @property
    def kind(self) -> tuple[str | None, str, str | None]:
        """Alloy, section and mould material: what castings must share to be compared."""
        alloy = self.heat.heat.alloy if self.heat else None
        return alloy, self.mould.section, self.material


@dataclass
class CaseCache:
    """The firings and heats read last, for reading many castings that share them.

    Only a few: the traces of a night are megabytes, and castings of one day stand together.
    """

    fired: dict[str, Assessment] = field(default_factory=dict)
    heats: dict[str, HeatAssessment] = field(default_factory=dict)

    def tidy(self) -> None:
        """Let the oldest go."""
        for kept in (self.fired, self.heats):
            while len(kept) > MOST_KEPT:
                del kept[next(iter(kept))]


def read(
    store: Store,
    casting: Casting,
    words_in: TemperatureUnit | None = None,
    shelf: CaseCache | None = None,
) -> Case:
    """Read all that the record holds of a casting."""
    shelf = shelf or CaseCache()
    mould = heats.mould(store, casting.mould)
    fired: Assessment | None = None
    events: tuple[Event, ...] = ()
    if mould.firing is not None:
        firing = store.firing(mould.firing)
        if firing.name not in shelf.fired:
            shelf.fired[firing.name] = judging.assess(store, firing, words_in)
        fired = shelf.fired[firing.name]
        events = tuple(store.events(firing))
    heat, pour, why_no_pour = _poured(store, casting, shelf)
    shelf.tidy()
    story, why = _core(store, mould)
    details = mould.details or {}
    return Case(
        casting, mould, details.get("material"), fired, events, heat, pour, story, why,
        why_no_pour, words_in or "C",
    )  # fmt: skip


def kind_of(store: Store, casting: Casting) -> tuple[str | None, str, str | None]:
    """Return a casting's alloy, section and mould material without reading its traces."""
    mould, poured = heats.mould(store, casting.mould), castings.pour_of(store, casting)
    return poured[0].alloy if poured else None, mould.section, (mould.details or {}).get("material")


def _poured(
    store: Store, casting: Casting, shelf: CaseCache
) -> tuple[HeatAssessment | None, PourAssessment | None, str]:
    found = castings.pour_of(store, casting)
    if found is None:
        return None, None, ""
    name = found[0].name
    try:
        if name not in shelf.heats:
            shelf.heats[name] = verify.assess_heat(store, found[0])
    except FirelogError as error:  # an alloy without a card must not hide what the kiln shows
        return None, None, f"the heat {name!r} cannot be verified: {error}"
    heat = shelf.heats[name]
    return heat, next(pour for pour in heat.pours if pour.pour.mould == casting.mould), ""


def _core(store: Store, mould: Mould) -> tuple[CoreStory | None, str]:
    try:
        return core.core_of(store, mould), ""
    except FirelogError as error:
        return None, str(error)


def slim(case: Case) -> Case:
    """Return a case with what a comparison needs of it: kiln traces thinned, the rest let go."""
    fired, heat = case.fired, case.heat
    if fired is not None:
        kept = tuple(_thinned(trace) for trace in fired.traces if trace.role == Role.KILN)
        fired = replace(fired, traces=kept)
    if heat is not None:
        heat = replace(heat, traces=(), pours=(), dips=())
    return replace(case, fired=fired, heat=heat, pour=None, story=None)


def _thinned(trace: ChannelTrace) -> ChannelTrace:
    step = max(1, -(-len(trace) // MOST_POINTS))
    return replace(
        trace,
        t_s=trace.t_s[::step].copy(),
        temp_c=trace.temp_c[::step].copy(),
        expanded_k=trace.expanded_k[::step].copy(),
        quality=trace.quality[::step].copy(),
    )
