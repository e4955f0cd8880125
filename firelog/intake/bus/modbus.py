"""Modbus meters and controllers, on a serial bus (RTU) or over TCP, polled through pymodbus (BSD).

RTU answers carry no number: one that comes after its time is taken for the answer to the next
question to that device. So the registers of a device are asked for in as few questions as
possible, and after a missed answer the bus is left to fall silent and one answer is thrown away.
"""

from __future__ import annotations

import logging
import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any
from urllib.parse import urlsplit

from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ConnectionException, ModbusException

from firelog.errors import InputError, SourceError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.fields import LineFault, Scan, Value, judged
from firelog.intake.line.port import LOST, device, why_not
from firelog.intake.options import choice, number, only, whole
from firelog.intake.source import Heard
from firelog.readings import Quality, Unit

# What goes wrong reaches us as exceptions; said a second time on stderr it only confuses.
logging.getLogger("pymodbus.logging").setLevel(logging.CRITICAL)

TYPES = {
    "int16": 1, "uint16": 1, "int32": 2, "uint32": 2, "float32": 2, "float64": 4,
}  # fmt: skip
MOST_REGISTERS = 125  # of one answer; MODBUS Application Protocol 1.1b3, section 6.3
_TROUBLE: tuple[type[BaseException], ...] = (ModbusException, *LOST)
_REST_S = 0.2  # how long a pause between polls may go on before a stop is noticed
_SKIP_FIRST_S, _SKIP_LONGEST_S = 2.0, 60.0  # a device that does not answer is asked less often
_REASONS = {
    1: "does not know the function: try table = 'input' or 'holding'",
    2: "has no such register",
    3: "refuses the number of registers",
    4: "reports a failure of its own",
    6: "is busy",
    10: "is not reached by the gateway",
    11: "does not answer the gateway",
}


@dataclass(frozen=True)
class Register:
    """One channel: where its number stands and what it is worth, ``raw × scale + offset``.

    ``fault`` is the raw number by which the device says that the thermocouple is open.
    """

    channel: str
    device: int
    register: int
    table: str = "input"
    type: str = "int16"
    scale: float = 1.0
    offset: float = 0.0
    word_order: str = "big"
    fault: int | None = None

    @property
    def size(self) -> int:
        """How many registers the number takes."""
        return TYPES[self.type]


@dataclass(frozen=True)
class RegisterBlock:
    """Registers of one device that are read in one question."""

    device: int
    table: str
    first: int
    count: int
    registers: tuple[Register, ...]


def blocks(registers: Sequence[Register]) -> tuple[RegisterBlock, ...]:
    """Return as few questions as the protocol allows, in order of device, table and address."""
    made: list[list[Register]] = []
    for register in sorted(registers, key=lambda r: (r.device, r.table, r.register)):
        last = made[-1] if made else None
        if (
            last
            and (last[0].device, last[0].table) == (register.device, register.table)
            and register.register + register.size - last[0].register <= MOST_REGISTERS
        ):
            last.append(register)
        else:
            made.append([register])
    return tuple(
        RegisterBlock(
            group[0].device,
            group[0].table,
            group[0].register,
            max(r.register + r.size for r in group) - group[0].register,
            tuple(group),
        )
        for group in made
    )


def decode(register: Register, words: Sequence[int], unit: Unit) -> Value:
    """Return what the words of one register say in ``unit``."""
    kind = getattr(ModbusTcpClient.DATATYPE, register.type.upper())
    order: Any = register.word_order
    raw = ModbusTcpClient.convert_from_registers(list(words), kind, word_order=order)
    assert isinstance(raw, int | float)
    if register.fault is not None and raw == register.fault:
        return Value(register.channel, None, unit, Quality.OPEN)
    value = raw * register.scale + register.offset
    if not math.isfinite(value):
        return Value(register.channel, None, unit, Quality.MISSING)
    # A scale of 0.1 has no exact double: 8712 × 0.1 must be 871.2, not 871.2000000000001.
    return judged(register.channel, float(f"{value:.9g}"), unit)


# ---------------------------------------------------------------- the source
@dataclass
class _RetryDelay:
    """How often a device that does not answer is still asked."""

    late: bool = False
    wait_s: float = 0.0
    until_s: float = field(default=-math.inf)

    def missed(self, now_s: float) -> None:
        self.late = True
        self.wait_s = min(max(2 * self.wait_s, _SKIP_FIRST_S), _SKIP_LONGEST_S)
        self.until_s = now_s + self.wait_s

    def answered(self) -> None:
        self.late, self.wait_s, self.until_s = False, 0.0, -math.inf


class ModbusSource:
    """Polls the devices of one bus every ``every_s``; each answer is a scan of its own."""

    def __init__(
        self,
        spec: SourceSpec,
        clock: ArrivalClock,
        *,
        registers: Sequence[Register],
        every_s: float = 1.0,
        timeout_s: float = 0.5,
        connect: Callable[[float], Any],
        channels: tuple[ChannelSpec, ...] = (),
        rest: Callable[[float], None] = time.sleep,
    ) -> None:
        self.spec, self.channels = spec, channels
        self._clock, self._every_s, self._timeout_s = clock, every_s, timeout_s
        self._blocks, self._connect, self._rest = blocks(registers), connect, rest
        self._client: Any = None
        self._due_s = 0.0
        self._patience: dict[int, _RetryDelay] = {}

    def open(self) -> None:
        """Open the bus; whether devices answer is seen when they are asked."""
        name = self.spec.port
        try:
            self._client = self._connect(self._timeout_s)
            opened = self._client.connect()
        except _TROUBLE as error:
            raise SourceError(
                f"{name}: cannot be opened ({error}); check port and cable"
            ) from error
        if not opened and "://" in name:
            raise SourceError(f"{name}: nobody answers there; check address, port and network")
        if not opened:
            raise SourceError(why_not(name))
        self._due_s = self._clock.steady_s()
        self._patience = {block.device: _RetryDelay() for block in self._blocks}

    def rest(self) -> list[Heard]:
        """Return nothing: each answer has a checksum and is told at once."""
        return []

    def close(self) -> None:
        """Close the bus."""
        if self._client is not None:
            client, self._client = self._client, None
            try:
                client.close()
            except _TROUBLE:
                return

    def listen(self) -> list[Heard]:
        """Poll when the time has come, else rest a moment."""
        wait_s = self._due_s - self._clock.steady_s()
        if wait_s > 0:
            self._rest(min(wait_s, _REST_S))
            return []
        self._due_s = max(self._due_s + self._every_s, self._clock.steady_s())
        heard = []
        for block in self._blocks:
            patience = self._patience[block.device]
            if self._clock.steady_s() >= patience.until_s:
                said = self._ask(block, patience)
                heard.append(Heard(self._clock.now_us(), said))
        return heard

    def words(self) -> list[int]:
        """Return the words of the first block, fewer where the device has fewer, for looking."""
        block = self._blocks[0]
        for count in range(block.count, 0, -1):
            read = self._read(replace(block, count=count))
            if read is None:
                return []
            if isinstance(read, list):
                return read
        return []

    def _ask(self, block: RegisterBlock, patience: _RetryDelay) -> Scan | LineFault:
        if patience.late:
            self._read(block)  # may be the late answer to the question before: not to be used
            patience.late = False
        words = self._read(block)
        if words is None:
            patience.missed(self._clock.steady_s())
            self._rest(self._timeout_s)
            return LineFault("does not answer", f"device {block.device}")
        patience.answered()
        if isinstance(words, str):
            return LineFault(words, f"device {block.device}")
        return Scan(
            None,
            tuple(
                decode(
                    register,
                    words[register.register - block.first :][: register.size],
                    self.spec.unit,
                )
                for register in block.registers
            ),
        )

    def _read(self, block: RegisterBlock) -> list[int] | str | None:
        """Return the words, a sentence when the device refuses, or None when it does not answer."""
        ask = {
            "input": self._client.read_input_registers,
            "holding": self._client.read_holding_registers,
        }[block.table]
        try:
            answer = ask(block.first, count=block.count, device_id=block.device)
        except ConnectionException as error:
            raise SourceError(
                f"{self.spec.port}: the bus is gone; check cable and power"
            ) from error
        except ModbusException:
            return None
        except LOST as error:
            raise SourceError(
                f"{self.spec.port}: the bus is gone; check cable and power"
            ) from error
        if answer.isError():  # an error reply has an empty list of registers, not an exception
            code = getattr(answer, "exception_code", 0)
            return f"{_REASONS.get(code, 'refuses')} (exception {code})"
        if len(answer.registers) != block.count:
            return f"answers {len(answer.registers)} registers where {block.count} were asked for"
        return list(answer.registers)


# ---------------------------------------------------------------- from the foundry file
_OPTIONS = ("every", "timeout", "parity", "bytesize", "stopbits", "silent_after", "read")
_READ_KEYS = (
    "channel", "device", "register", "table", "type", "scale", "offset", "word_order", "fault",
)  # fmt: skip


def modbus_source(
    spec: SourceSpec, clock: ArrivalClock, stated: Mapping[str, ChannelSpec]
) -> ModbusSource:
    """Return the source that a section with ``format = "modbus"`` describes.

    ``port`` is a serial port, ``tcp://host:port`` or, for RTU frames through a serial server,
    ``rtu+tcp://host:port``. Raises :class:`InputError`.
    """
    only(spec.options, _OPTIONS)
    entries = spec.options.get("read")
    if not isinstance(entries, list) or not entries:
        raise InputError(
            "read is missing: one [[source.options.read]] for each channel, with channel, "
            "device and register"
        )
    registers = [_register(entry, spec.columns) for entry in entries]
    names = [register.channel for register in registers]
    if len(set(names)) != len(names):
        raise InputError("a channel is read twice; give each its own name")
    return ModbusSource(
        spec,
        clock,
        registers=registers,
        every_s=number(spec.options, "every", 1.0, above=0.0),
        timeout_s=number(spec.options, "timeout", 0.5, above=0.0),
        connect=_connector(spec),
        channels=tuple(stated.get(name, ChannelSpec(name, spec.kiln)) for name in names),
    )


def _register(entry: Any, columns: tuple[str, ...]) -> Register:
    if not isinstance(entry, dict) or not isinstance(entry.get("channel"), str):
        raise InputError('each read needs its channel, like channel = "kiln top"')
    only(entry, _READ_KEYS)
    fault = whole(entry, "fault", 0, -(2**31), 2**32) if "fault" in entry else None
    return Register(
        channel=entry["channel"],
        device=whole(entry, "device", 1, 0, 247),
        register=whole(entry, "register", 0, 0, 65535),
        table=choice(entry, "table", "input", ("input", "holding")),
        type=choice(entry, "type", "int16", tuple(TYPES)),
        scale=number(entry, "scale", 1.0),
        offset=number(entry, "offset", 0.0),
        word_order=choice(entry, "word_order", "big", ("big", "little")),
        fault=fault,
    )


def _connector(spec: SourceSpec) -> Callable[[float], Any]:
    """Return what makes a client; retries are ours, for a late answer must not be used."""
    url = urlsplit(spec.port)
    if url.scheme in ("tcp", "rtu+tcp"):
        try:
            host, port = url.hostname or "", url.port or 502
        except ValueError as error:
            raise InputError(
                f"port = {spec.port!r}; write it like tcp://192.168.1.20:502"
            ) from error
        framer = FramerType.SOCKET if url.scheme == "tcp" else FramerType.RTU
        return lambda timeout_s: ModbusTcpClient(
            host, port=port, framer=framer, timeout=timeout_s, retries=0
        )
    parity = choice(spec.options, "parity", "N", ("N", "E", "O"))
    bits = whole(spec.options, "bytesize", 8, 7, 8)
    stop = whole(spec.options, "stopbits", 1, 1, 2)
    return lambda timeout_s: ModbusSerialClient(
        device(spec.port),
        baudrate=spec.baud,
        parity=parity,
        bytesize=bits,
        stopbits=stop,
        timeout=timeout_s,
        retries=0,
    )


# ---------------------------------------------------------------- looking at a device
def look(port: str, baud: int, device_id: int, first: int, count: int = 10) -> list[dict[str, Any]]:
    """Return registers of a device with each way to read them, for ``firelog listen``.

    A float with its words swapped reads as a tiny number, not as an error: so both are shown.
    Raises :class:`SourceError`.
    """
    spec = SourceSpec(port, "", port, baud, "modbus")
    rows: list[dict[str, Any]] = []
    for table in ("input", "holding"):
        registers = [Register("", device_id, first + n, table) for n in range(count)]
        source = ModbusSource(spec, ArrivalClock(), registers=registers, connect=_connector(spec))
        source.open()
        try:
            rows += _rows(table, first, source.words())
        finally:
            source.close()
    return rows


def _rows(table: str, first: int, words: list[int]) -> list[dict[str, Any]]:
    return [
        {
            "table": table,
            "register": first + n,
            "int16": word - 65536 if word > 32767 else word,
            "float_big": _float(words[n : n + 2], "big"),
            "float_little": _float(words[n : n + 2], "little"),
        }
        for n, word in enumerate(words)
    ]


def _float(words: list[int], order: Any) -> str | None:
    if len(words) < TYPES["float32"]:
        return None
    kind = ModbusTcpClient.DATATYPE.FLOAT32
    return f"{ModbusTcpClient.convert_from_registers(words, kind, word_order=order):.6g}"
