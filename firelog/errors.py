"""Everything that firelog refuses, as one family of exceptions.

    FirelogError
    ├── InputError      something handed in (a file, a line, an option) cannot be read as meant
    │   └── ScheduleError   a schedule file that says something impossible or unknown
    ├── RangeError      a number outside the range in which its formula holds
    ├── SourceError     a port, a bus or a cable
    │   └── PortTakenError  another program, perhaps another collector, reads that port
    └── StoreError      the SQLite file
        └── NotFoundError   a firing, heat, mould, casting or channel of that name is not in it

The message is for the person at the kiln at three in the morning: what happened, to what, and
what to do next. The command line prints it on stderr and ends with status 2.
"""

from __future__ import annotations


class FirelogError(Exception):
    """Base of all errors that firelog raises on purpose; the message says what to do next."""


class InputError(FirelogError):
    """A file, a line or an option cannot be read as it was meant."""


class ScheduleError(InputError):
    """A schedule says something impossible, or uses a key that does not exist."""


class RangeError(FirelogError):
    """A value lies outside the range in which its formula or standard holds."""


class SourceError(FirelogError):
    """A serial port or other live source cannot be opened or has gone away."""


class PortTakenError(SourceError):
    """Another program has the port open; two readers of one port each get half of the bytes."""


class StoreError(FirelogError):
    """The SQLite store cannot be opened, is not ours, or refuses to keep something."""


class NotFoundError(StoreError, KeyError):
    """Nothing of that name is kept; the message names what there is, and the nearest.

    A :class:`KeyError` too, because ``foundry.firings["..."]`` is looked up like a dictionary.
    """

    __str__ = Exception.__str__  # a KeyError would put the sentence in quotation marks
