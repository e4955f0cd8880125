"""Add a kind of live source.

1. ``firelog/intake/line/`` or ``firelog/intake/bus/``: a module with a class that is a ``Source``
   (``firelog/intake/source.py``): ``spec``, ``channels``, ``open``, ``listen``, ``close``.
   ``listen`` waits a moment and returns what was heard, each with its time of arrival from the
   clock handed in; ``SourceError`` means the wire is gone, and the collector then waits for it
   without end. A line that cannot be read is a ``LineFault``, never an exception.
2. In that module a function ``(spec, clock, channels)`` that checks the options with
   ``firelog/intake/options.py`` and returns it. A text format only needs a ``Layout`` in
   ``firelog/intake/line/text.py`` instead.
3. ``firelog/intake/collect/sources.py``: its format's name in ``make_source``. Import an optional
   library there, inside the branch.
4. ``firelog/intake/README.md``: the section of the foundry file as people write it.

Test: hostile bytes, the wire pulled and put back, and ``firelog collect`` on it, in
``tests/intake/``.
"""

from __future__ import annotations

from tests.recipes.conftest import Copy

SOURCE = '''"""A thermometer that the system shows as a file with one number in it."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from firelog.errors import InputError, SourceError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.fields import LineFault, Scan, read_value
from firelog.intake.options import only
from firelog.intake.source import COMMON_OPTIONS, Heard


class NumberFile:
    """Reads its file at each question."""

    def __init__(self, spec: SourceSpec, clock: ArrivalClock, channel: ChannelSpec) -> None:
        self.spec, self.channels, self._clock = spec, (channel,), clock

    def open(self) -> None:
        """Look whether the file is there; raises :class:`SourceError`."""
        if not Path(self.spec.port).is_file():
            raise SourceError(f"{self.spec.port} is not there; plug the thermometer in")

    def listen(self) -> list[Heard]:
        """Return the number of this moment; raises :class:`SourceError` when the file is gone."""
        try:
            text = Path(self.spec.port).read_text("ascii", "replace").strip()
        except OSError as error:
            raise SourceError(f"{self.spec.port} has gone ({error.strerror})") from error
        t_us = self._clock.now_us()
        try:
            value = read_value(self.channels[0].name, text, self.spec.unit)
        except InputError as error:
            return [Heard(t_us, LineFault(str(error), text))]
        return [Heard(t_us, Scan(None, (value,)))]

    def close(self) -> None:
        """Nothing is held open."""


def number_file(
    spec: SourceSpec, clock: ArrivalClock, stated: Mapping[str, ChannelSpec]
) -> NumberFile:
    """Return the source of a section with ``format = "number file"``."""
    only(spec.options, COMMON_OPTIONS)
    if len(spec.columns) != 1:
        raise InputError("a number file fills one channel; name it in columns")
    name = spec.columns[0]
    return NumberFile(spec, clock, stated.get(name) or ChannelSpec(name, spec.kiln))
'''
BRANCH = """        if spec.format == "number file":
            from firelog.intake.line.numberfile import number_file

            return number_file(spec, clock, stated)
"""
TRY = """
from pathlib import Path
from firelog.errors import InputError, SourceError
from firelog.foundry import SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.readings import Unit
file = Path("temperature")
columns = ("top",)
spec = SourceSpec(
    "probe", "gas kiln", str(file), format="number file", columns=columns, unit=Unit.F
)
source = make_source(spec, ArrivalClock())
try:
    source.open()
except SourceError as error:
    print(error)
file.write_text("1600.25\\n")
source.open()
print(*((v.column, v.value, v.unit.value) for v in source.listen()[0].said.values))
file.write_text("garbage\\n")
print(type(source.listen()[0].said).__name__)
file.write_text("open\\n")
print(source.listen()[0].said.values[0].quality.word)
file.unlink()
try:
    source.listen()
except SourceError:
    print("gone")
try:
    make_source(SourceSpec("probe", "gas kiln", "x", format="number file"), ArrivalClock())
except InputError as error:
    print(error)
"""


def test_a_class_a_function_and_a_branch(copy: Copy) -> None:
    """A number is a scan in the section's unit, garbage a fault, a missing file a lost source."""
    copy.write("firelog/intake/line/numberfile.py", SOURCE)
    copy.after(
        "firelog/intake/collect/sources.py",
        "            return line_source(spec, clock, stated)\n",
        BRANCH,
    )
    assert copy.python(TRY).splitlines() == [
        "temperature is not there; plug the thermometer in",
        "('top', 1600.25, 'F')",
        "LineFault",
        "open",
        "gone",
        "source 'probe': a number file fills one channel; name it in columns",
    ]
