"""firelog: the kiln-burnout and metal-melt log of a lost-wax bronze foundry.

For a notebook or a script::

    import firelog

    foundry = firelog.open("foundry.firelog")
    firing = foundry.firings["fox knocker"]
    firing.judge().verdict      # pass, fail or not proven
    firing.readings()           # a pandas table, in the foundry's unit, with U beside each channel
    firing.plot()               # a plotly figure

What ``__all__`` lists is promised; it is loaded when it is first asked for, so that the command
line need not wait for it. Everything else may change from one version to the next.
"""

from importlib import import_module

TYPE_CHECKING = False  # typing's own would cost more than the rest of this module
if TYPE_CHECKING:
    from firelog.errors import FirelogError, InputError, NotFoundError, StoreError
    from firelog.face.answers import Audit, Judgement, Verification
    from firelog.face.casting import Casting, Castings
    from firelog.face.firing import Firing, Firings
    from firelog.face.foundry import Foundry, open  # noqa: A004
    from firelog.face.heat import Heat, Heats
    from firelog.face.logs import Import, read_log
    from firelog.verdict import Verdict

__version__ = "0.1.0"

_HOMES = {
    "errors": ("FirelogError", "InputError", "NotFoundError", "StoreError"),
    "face.answers": ("Audit", "Judgement", "Verification"),
    "face.casting": ("Casting", "Castings"),
    "face.firing": ("Firing", "Firings"),
    "face.foundry": ("Foundry", "open"),
    "face.heat": ("Heat", "Heats"),
    "face.logs": ("Import", "read_log"),
    "verdict": ("Verdict",),
}
_HOME = {name: home for home, names in _HOMES.items() for name in names}

__all__ = [
    "Audit",
    "Casting",
    "Castings",
    "FirelogError",
    "Firing",
    "Firings",
    "Foundry",
    "Heat",
    "Heats",
    "Import",
    "InputError",
    "Judgement",
    "NotFoundError",
    "StoreError",
    "Verdict",
    "Verification",
    "__version__",
    "open",
    "read_log",
]


if not TYPE_CHECKING:  # else a type checker would believe in any name

    def __getattr__(name: str) -> object:
        if name not in _HOME:
            raise AttributeError(f"module 'firelog' has no attribute {name!r}")
        found = getattr(import_module(f"firelog.{_HOME[name]}"), name)
        globals()[name] = found
        return found


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
