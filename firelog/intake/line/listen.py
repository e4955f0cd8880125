"""What does this port say? Try speeds, recognise the lines, write the foundry file's section.

Recognising is pure: lines in, a format out, with how many of the lines it understands.
"""

from __future__ import annotations

import json
import time
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

from firelog.errors import InputError
from firelog.intake.clock import stamp_doubt
from firelog.intake.fields import SKIP, TIME, Scan, Value, read_time, read_value
from firelog.intake.line import which_unit
from firelog.intake.line.evidence import ASK, decimal_mark, is_sensor
from firelog.intake.line.port import Port, PortSettings
from firelog.intake.line.text import (
    CHIP_DIGITS,
    COLD,
    Layout,
    LineBuffer,
    LineFormat,
    fields_of,
    json_fields,
    pairs_of,
    read_frame,
    read_line,
)
from firelog.readings import Quality, Unit

SPEEDS = (115_200, 9_600, 57_600, 38_400, 19_200, 4_800, 2_400, 230_400)
ENOUGH_LINES = 24  # sensors that take turns show it when each has spoken twice
SENSOR = "sensor"


@dataclass(frozen=True)
class Guess:
    """A format that fits, how many of the lines it reads, and whether they name their unit.

    ``question``: what only a person can say, where the lines can be read in two ways; the format
    is then one of the two. ``unit_question`` asks for the unit, with what speaks for which.
    ``notes``: what should be known of fields left out and of clocks.
    """

    form: LineFormat
    understood: int
    of: int
    unit_said: bool
    question: str = ""
    unit_question: str = ""
    notes: tuple[str, ...] = ()


# ---------------------------------------------------------------- recognising
def recognise(
    lines: Sequence[bytes],
    decimal: str = "",
    arrived_us: int | None = None,
    unit: Unit | None = None,
) -> Guess | None:
    """Return the format that reads most of ``lines``, or None when none reads half of them.

    ``decimal`` is the decimal mark, ``unit`` that of fields without one, where a person has said
    it. ``arrived_us`` is when the last line
    came, to hold stamps against.
    """
    texts = [line.decode("utf-8", "replace").strip() for line in lines]
    mark = decimal or decimal_mark(texts)
    best = _best(lines, texts, "" if mark == ASK else mark)
    if best is None and mark == ASK:
        best = _best(lines, texts, ",")
    if best is None:
        return None
    plain = best.form.layout is Layout.VALUES and not best.form.chip
    question = _comma_question(texts) if mark == ASK and plain else ""
    notes = (*_left_out(texts, best.form), *_clock(lines, best.form, arrived_us))
    best = replace(best, question=question, notes=notes)
    if best.unit_said:
        return best
    if unit is not None:
        return replace(best, form=replace(best.form, unit=unit), unit_said=True)
    return replace(best, unit_question=_which_unit(lines, best.form))


def _which_unit(lines: Sequence[bytes], form: LineFormat) -> str:
    """Return the question for the unit; "" where not one number was heard."""
    odd = replace(form, unit=Unit.MV)  # fields that say their unit do not follow it
    scans = [scan for line in lines if isinstance(scan := read_line(line, odd), Scan)]
    bare = {value.column for scan in scans for value in scan.values if value.unit is Unit.MV}
    plain = [scan for line in lines if isinstance(scan := read_line(line, form), Scan)]
    numbers = [
        value.value
        for scan in plain
        for value in scan.values
        if value.value is not None and not value.quality and value.column in bare
    ]
    return which_unit.ask(numbers) if numbers else ""


def _best(lines: Sequence[bytes], texts: Sequence[str], decimal: str) -> Guess | None:
    candidates = [_json(texts), _pairs(texts, decimal), *_frames(texts), _values(texts, decimal)]
    guesses = [_judged(form, lines) for form in candidates if form is not None]
    fitting = [guess for guess in guesses if 2 * guess.understood > guess.of]
    return max(fitting, key=lambda guess: guess.understood, default=None)


def _comma_question(texts: Sequence[str]) -> str:
    shown = next(text for text in texts if "," in text)[:40]
    return (
        f"In {shown!r}, is the comma a decimal mark, or does it part two fields? The lines fit "
        "both. Listen again with --decimal comma or with --decimal point."
    )


def _left_out(texts: Sequence[str], form: LineFormat) -> list[str]:
    """Say which fields are read past, with what they hold, where they hold more than one thing."""
    if form.layout is not Layout.VALUES:
        return _names_left_out(texts, form)
    rows = [fields_of(text, form.decimal) for text in texts]
    rows = [row for row in rows if len(row) == len(form.columns)]
    notes = []
    for place, column in enumerate(form.columns):
        held = list(dict.fromkeys(row[place] for row in rows))
        if column == SKIP and any(held):
            shown = ", ".join(repr(field[:16]) for field in held[:3])
            notes.append(
                f"field {place + 1} is left out: it holds {shown}; if it says which sensor a line "
                f"is of, write id = {place + 1} in the options"
            )
    return notes


def _names_left_out(texts: Sequence[str], form: LineFormat) -> list[str]:
    named = [field for text in texts for field in _fields_by_name(text, form)]
    known = {*form.columns, form.time, form.id}
    other = {name: content for name, content in named if name not in known}
    return [
        f"{name!r} is left out: it holds {content[:16]!r}; name it in columns if it is a couple"
        for name, content in other.items()
        if _is_reading(content, form.decimal)
    ]


def _fields_by_name(text: str, form: LineFormat) -> list[tuple[str, str]]:
    if form.layout is Layout.PAIRS:
        return _named(text, form.decimal)
    try:
        return [(name, _plain(content)) for name, content in json_fields(text)]
    except InputError:
        return []


def _clock(lines: Sequence[bytes], form: LineFormat, arrived_us: int | None) -> list[str]:
    """Say what is wrong with the source's clock, in the words of the collector."""
    scans = [scan for line in lines if isinstance(scan := read_line(line, form), Scan)]
    if not scans or (arrived_us is None and not scans[-1].clock):
        return []
    doubt = stamp_doubt(scans[-1].t_us, scans[-1].clock, arrived_us or 0)
    return [doubt.text] if doubt else []


def _judged(form: LineFormat, lines: Sequence[bytes]) -> Guess:
    scans = [scan for line in lines if isinstance(scan := read_line(line, form), Scan)]
    odd = replace(form, unit=Unit.K)
    said = not form.chip and bool(scans)
    for line in lines:  # a field that says its unit does not follow the default
        scan = read_line(line, odd)
        if isinstance(scan, Scan):
            said = said and all(v.unit is not Unit.K for v in scan.values if v.value is not None)
    return Guess(form, len(scans), len(lines), said or bool(form.chip))


def _json(texts: Sequence[str]) -> LineFormat | None:
    lines = []
    for text in texts:
        try:
            lines.append([(name, _plain(content)) for name, content in json_fields(text)])
        except InputError:
            continue
    return _named_format(Layout.JSON, lines)


def _plain(content: object) -> str:
    return content if isinstance(content, str) else json.dumps(content)


def _pairs(texts: Sequence[str], decimal: str) -> LineFormat | None:
    return _named_format(Layout.PAIRS, [_named(text, decimal) for text in texts], decimal)


def _named_format(
    layout: Layout, lines: Sequence[Sequence[tuple[str, str]]], decimal: str = ""
) -> LineFormat | None:
    """Return the format of lines whose fields have names: which are readings, which the time."""
    contents: dict[str, list[str]] = {}
    for line in lines:
        for name, content in line:
            contents.setdefault(name, []).append(content)
    times = [name for name, said in contents.items() if all(map(_is_time, said))]
    most = max((len(said) for said in contents.values()), default=0)
    sensors = [
        name
        for name, said in contents.items()
        if name not in times and is_sensor([field.strip('"') for field in said], name)
    ]
    columns = tuple(
        name
        for name, said in contents.items()
        if name not in (*times, *sensors[:1], SKIP)
        and 2 * sum(_is_reading(field, decimal) for field in said) >= most
        and not (_counts(said) or _stands(said))
    )
    if not columns:
        return None
    return LineFormat(
        layout,
        columns,
        time=times[0] if times else TIME,
        decimal=decimal,
        id=sensors[0] if sensors else "",
    )


def _named(text: str, decimal: str) -> list[tuple[str, str]]:
    """Return name and content of each pair in a line."""
    found = []
    for field in pairs_of(text, decimal):
        name, mark, content = field.partition("=" if "=" in field else ":")
        if mark and name.strip():
            found.append((name.strip(), content.strip()))
    return found


def _frames(texts: Sequence[str]) -> list[LineFormat]:
    """Return a format for each chip whose frames the fields could be."""
    made = []
    for chip in CHIP_DIGITS:
        counts = Counter(
            len(fields)
            for text in texts
            if (fields := fields_of(text)) and _are_frames(fields, chip)
        )
        if counts:
            columns = tuple(f"channel {n + 1}" for n in range(counts.most_common(1)[0][0]))
            made.append(LineFormat(columns=columns, chip=chip))
    return made


def _are_frames(fields: Sequence[str], chip: str) -> bool:
    if not any(set(field.lower()) & set("abcdefx") for field in fields):
        return False  # plain digits are far likelier a number than a frame
    try:
        return all(read_frame("", field, chip)[0].quality != Quality.SUSPECT for field in fields)
    except InputError:
        return False


def _values(texts: Sequence[str], decimal: str) -> LineFormat | None:
    rows = [fields for text in texts if (fields := fields_of(text, decimal))]
    if not rows:
        return None
    width = Counter(map(len, rows)).most_common(1)[0][0]
    rows = [row for row in rows if len(row) == width]
    columns: list[str] = []
    for place in range(width):
        column = [row[place] for row in rows]
        if all(map(_is_time, column)) and TIME not in columns:
            columns.append(TIME)
        elif SENSOR not in columns and is_sensor(column):
            columns.append(SENSOR)
        elif _mostly_readings(column, decimal) and not _counts(column) and not _stands(column):
            columns.append(f"channel {sum(c.startswith('channel') for c in columns) + 1}")
        else:
            columns.append(SKIP)
    if not any(column.startswith("channel") for column in columns):
        return None
    sensor = SENSOR if SENSOR in columns else ""
    return LineFormat(columns=tuple(columns), decimal=decimal, id=sensor)


def _mostly_readings(column: Sequence[str], decimal: str) -> bool:
    return 2 * sum(_is_reading(field, decimal) for field in column) >= len(column)


def _stands(column: Sequence[str]) -> bool:
    """True for a clock or state that stands: 0, or a whole number no couple shows, throughout."""
    same = len(column) > 2 and len(set(column)) == 1 and column[0].isdigit()
    return same and (int(column[0]) == 0 or int(column[0]) > 2400)


def _is_reading(field: str, decimal: str = "") -> bool:
    try:
        value = read_value("", field.strip('"'), Unit.C, decimal)
    except InputError:
        return False
    return value.value is not None or value.quality != Quality.MISSING or field == "null"


def _is_time(field: str) -> bool:
    try:
        read_time(field)
    except InputError:
        return False
    return True


def _counts(column: Sequence[str]) -> bool:
    """True for a running number: whole, rising, and farther than any temperature goes."""
    if len(column) < 3 or not all(field.isdigit() for field in column):
        return False
    numbers = [int(field) for field in column]
    steps = {later - earlier for earlier, later in pairwise(numbers)}
    return min(steps) > 0 and (len(steps) == 1 or numbers[-1] > 5000)


# ---------------------------------------------------------------- writing the section
def section(guess: Guess, *, name: str, kiln: str, port: str, baud: int) -> str:
    """Return the ``[[source]]`` of a foundry file that reads these lines."""
    form = guess.form
    lines = [
        "[[source]]",
        f"name = {_quoted(name)}",
        f"kiln = {_quoted(kiln)}",
        f"port = {_quoted(port)}",
    ]
    if "://" not in port:
        lines.append(f"baud = {baud}")
    lines.append(f"format = {_quoted(form.layout.value)}")
    lines.append(f"columns = [{', '.join(map(_quoted, form.columns))}]")
    doubt = "" if guess.unit_said else "  # the lines do not say: C, F or K?"
    lines.append(f"unit = {_quoted(form.unit.value)}{doubt}")
    options = {
        "chip": form.chip,
        "time": "" if form.time == TIME else form.time,
        "decimal": form.decimal,
        "id": form.id,
    }
    if said := ", ".join(f"{key} = {_quoted(value)}" for key, value in options.items() if value):
        lines.append(f"options = {{ {said} }}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def understood(line: bytes, form: LineFormat) -> str:
    """Return in words what one line says in ``form``."""
    said = read_line(line, form)
    if not isinstance(said, Scan):
        return f"not understood: {said.reason}"
    return ", ".join(_word(value) for value in said.values if not value.column.endswith(COLD))


def _word(value: Value) -> str:
    if value.value is None:
        return f"{value.column} {value.quality.word}"
    return f"{value.column} {value.value:g} {value.unit.value}"


# ---------------------------------------------------------------- listening
@dataclass(frozen=True)
class PortSample:
    """What was heard at one speed: whole lines, and how many bytes there were in all."""

    baud: int
    lines: tuple[bytes, ...]
    bytes_heard: int

    @property
    def readable(self) -> int:
        """How many of the lines are text."""
        return sum(line.isascii() and line.decode().isprintable() for line in self.lines)


def hear(settings: PortSettings, seconds: float, *, enough: int = ENOUGH_LINES) -> PortSample:
    """Listen for some seconds, or until enough lines have come; raises :class:`SourceError`."""
    buffer, lines, heard = LineBuffer(cut=True), list[bytes](), 0
    until_s = time.monotonic() + seconds
    with Port(settings) as port:
        while time.monotonic() < until_s and len(lines) < enough:
            data = port.read()
            heard += len(data)
            lines += buffer.feed(data)
    return PortSample(settings.baud, tuple(lines), heard)


def try_speeds(
    name: str,
    speeds: Sequence[int],
    seconds: float,
    tell: Callable[[PortSample], None] = lambda _: None,
) -> PortSample:
    """Return the first sample with readable lines, else the one with most bytes."""
    samples = []
    for baud in speeds:
        sample = hear(PortSettings(name, baud), seconds)
        tell(sample)
        samples.append(sample)
        if sample.readable >= 2 and 2 * sample.readable >= len(sample.lines):
            return sample
    return max(samples, key=lambda sample: (sample.readable, sample.bytes_heard))


def has_speed(name: str) -> bool:
    """False for network ports and pseudo-terminals, where any speed is the right one."""
    return "://" not in name and not Path(name).resolve().is_relative_to("/dev/pts")
