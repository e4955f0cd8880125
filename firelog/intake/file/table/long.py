"""Tables with one reading a row: a column says which channel, another holds the value."""

from __future__ import annotations

import re
from collections.abc import Sequence

from firelog.errors import InputError
from firelog.intake.file.plan import Column, Dialect, ImportOptions, LongLayout, Skipped
from firelog.intake.file.table import header as heading
from firelog.intake.file.table.cells import is_value, number
from firelog.intake.file.table.columns import ColumnChoice, as_unit, role_of
from firelog.intake.file.table.header import Header
from firelog.intake.file.table.sample import RowSample
from firelog.readings import Unit
from firelog.units import temperature_unit

_NAME = re.compile(
    r"(?i)^(?:channel|ch|chan|sensor|probe|point|location|tag|series|thermocouple|tc|measurement|"
    r"position|name|input|variable|parameter|quantity|kanal|チャンネル)(?:$|[\W_])"
)
_VALUE = re.compile(r"(?i)value|reading|temp|measured|wert|result|data|値|温度")
_UNIT = re.compile(r"(?i)^(?:unit|units|uom|einheit|単位)$")


def find(
    sample: RowSample, header: Header, dialect: Dialect, clocks: Sequence[int]
) -> LongLayout | None:
    """Return the layout of a long table, None for a wide one."""
    free = [i for i in range(sample.width) if i not in clocks and sample.column(i)]
    unit = next((i for i in free if _UNIT.search(header.names[i])), None)
    name = next((i for i in free if i != unit and _names_channels(sample, header, i)), None)
    if name is None:
        return None
    values = [
        i
        for i in free
        if i not in (name, unit)
        and sample.share(i, lambda c: is_value(c, dialect.decimal, dialect.thousands)) > 0.5
    ]
    called = [i for i in values if _VALUE.search(header.names[i])]
    if len(values) != 1 and len(called) != 1:
        return None
    return LongLayout(name, called[0] if len(called) == 1 else values[0], unit)


def choose(
    sample: RowSample,
    header: Header,
    options: ImportOptions,
    *,
    layout: LongLayout,
    file: str,
) -> ColumnChoice:
    """Return the channels met in the sample; others may still turn up further down."""
    stated = settled_unit(header, options, layout)
    met: dict[tuple[str, str], None] = {}
    for row in sample.body:
        unit = row.cells[layout.unit] if layout.unit is not None else ""
        if row.cells[layout.name]:
            met[row.cells[layout.name], unit] = None
    columns: list[Column] = []
    skipped: list[Skipped] = []
    for name, unit in met:
        outcome = channel(name, unit, stated, options, layout.value)
        if isinstance(outcome, Column):
            columns.append(outcome)
        else:
            skipped.append(outcome)
    if not columns and all(not s.unit for s in skipped):
        raise InputError(
            f"{file}: nothing in it says what the readings are in; name it with --unit C, "
            "--unit F or --unit K"
        )
    return ColumnChoice(tuple(columns), tuple(skipped), ())


def settled_unit(header: Header, options: ImportOptions, layout: LongLayout) -> str:
    """Return the unit that holds for all rows that state none."""
    _, behind = heading.split_unit(header.names[layout.value])
    return (
        heading.unit_of(header.units[layout.value] or behind)
        or header.file_unit
        or (options.unit or "")
    )


def channel(
    name: str, unit: str, stated: str, options: ImportOptions, value_index: int
) -> Column | Skipped:
    """Return the column that stands for one channel of a long table, or why it is left out."""
    bare, own = heading.split_unit(name)
    text = heading.unit_of(unit or own or stated)
    if name in options.skip or (options.only and name not in options.only):
        return Skipped(name, text, "left out as asked")
    known = as_unit(text)
    if known is None:
        why = (
            f"in {text}, not a temperature" if text else "no unit stated; --unit says what it is in"
        )
        return Skipped(bare, text, why)
    return Column(value_index, name, options.channels.get(name, bare), Unit(known), role_of(name))


def _names_channels(sample: RowSample, header: Header, index: int) -> bool:
    cells = sample.column(index)
    different = len(set(cells))
    if different > 200 or (len(cells) > 4 and different > 0.7 * len(cells)):
        return False
    called = bool(_NAME.search(header.names[index]))
    digits = all(number(cell) is not None for cell in cells)
    units = all(temperature_unit(cell) for cell in cells)
    if digits:
        whole = all((number(cell) or 0.5) % 1 == 0 for cell in cells)
        return called and whole
    return called and not units and sum(1 for c in cells if number(c) is not None) == 0
