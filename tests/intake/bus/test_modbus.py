"""Modbus against pymodbus's own server: over a pair of pseudo-terminals, and over TCP."""

from __future__ import annotations

import asyncio
import os
import select
import socket
import sys
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from pymodbus import FramerType
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

from firelog.errors import InputError, SourceError
from firelog.foundry import SourceSpec, parse_foundry
from firelog.intake.bus.modbus import (
    MOST_REGISTERS,
    ModbusSource,
    Register,
    blocks,
    decode,
    look,
)
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.intake.fields import LineFault, Scan
from firelog.readings import Quality, Unit
from firelog.record.store import Store
from tests.intake.collect.test_collector import running, said

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")

READ = [
    {"channel": "top", "device": 1, "register": 0, "scale": 0.1},
    {"channel": "low", "device": 1, "register": 1, "scale": 0.1},
    {"channel": "swapped", "device": 2, "register": 10, "type": "float32", "word_order": "little"},
    {"channel": "straight", "device": 2, "register": 12, "type": "float32"},
    {"channel": "long", "device": 2, "register": 20, "type": "int32", "table": "holding"},
]


def devices() -> list[SimDevice]:
    """Return two meters: tenths in 16 bits, and floats in both word orders."""
    first = [SimData(0, values=[8712, -400], datatype=DataType.INT16)]
    swapped = [0x6000, 0x4459]  # 869.5 as IEEE 754 single 0x44596000, low word first
    second = [
        SimData(10, values=swapped, datatype=DataType.REGISTERS),
        SimData(12, values=869.5, datatype=DataType.FLOAT32),
        SimData(20, values=-70000, datatype=DataType.INT32),
    ]
    return [SimDevice(1, simdata=first), SimDevice(2, simdata=second)]


class Bus:
    """Two pseudo-terminals joined by a wire that can be slow, broken, or noisy."""

    def __init__(self) -> None:
        import pty

        pairs = [pty.openpty() for _ in range(2)]
        for _, theirs in pairs:
            tty.setraw(theirs)
        self._ours = [ours for ours, _ in pairs]
        self._theirs = [theirs for _, theirs in pairs]
        self.server, self.client = (os.ttyname(theirs) for theirs in self._theirs)
        self.delay_s, self._stop = 0.0, False
        self.absent: set[int] = set()  # devices that no question reaches
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop:
            ready, _, _ = select.select(self._ours, [], [], 0.02)
            for end in ready:
                data = os.read(end, 4096)
                from_server = end == self._ours[0]
                if from_server and self.delay_s:
                    time.sleep(self.delay_s)
                if from_server or data[0] not in self.absent:
                    os.write(self._ours[1] if from_server else self._ours[0], data)

    def noise(self, data: bytes) -> None:
        """Put bytes on the client's side of the wire."""
        os.write(self._ours[1], data)

    def close(self) -> None:
        """Take the wire away."""
        self._stop = True
        self._thread.join()
        for end in self._ours + self._theirs:
            os.close(end)


@contextmanager
def serving(make: Any) -> Iterator[None]:
    """Run one of pymodbus's servers in a thread of its own."""
    ready, loop, made = threading.Event(), asyncio.new_event_loop(), []

    async def serve() -> None:
        server = make()
        made.append(server)
        await server.serve_forever(background=True)
        ready.set()

    def run() -> None:
        asyncio.set_event_loop(loop)
        loop.run_until_complete(serve())
        loop.run_forever()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    assert ready.wait(10)
    try:
        yield
    finally:
        asyncio.run_coroutine_threadsafe(made[0].shutdown(), loop).result(10)
        loop.call_soon_threadsafe(loop.stop)
        thread.join(10)
        loop.close()


@pytest.fixture
def bus() -> Iterator[Bus]:
    """Yield a bus with both meters on it."""
    made = Bus()

    def server() -> ModbusSerialServer:
        return ModbusSerialServer(
            devices(), framer=FramerType.RTU, port=made.server, baudrate=19200,
            ignore_missing_devices=True,
        )  # fmt: skip

    with serving(server):
        yield made
    made.close()


def source(port: str, read: list[dict[str, Any]] | None = None, **options: Any) -> ModbusSource:
    options = {"every": 0.05, "timeout": 0.3, "read": read or READ, **options}
    made = make_source(
        SourceSpec("bus", "kiln", port, 19200, "modbus", options=options), ArrivalClock()
    )
    assert isinstance(made, ModbusSource)
    return made


def poll(made: ModbusSource) -> list[Scan | LineFault]:
    """Return what the next poll hears."""
    while not (heard := made.listen()):
        pass
    return [one.said for one in heard]


def values(said_: list[Scan | LineFault]) -> dict[str, float | None]:
    return {v.column: v.value for scan in said_ if isinstance(scan, Scan) for v in scan.values}


EXPECTED = {"top": 871.2, "low": -40.0, "swapped": 869.5, "straight": 869.5}


def test_rtu(bus: Bus) -> None:
    """Two devices on one serial bus: tenths, negative numbers, floats in both word orders."""
    made = source(bus.client)
    made.open()
    said_ = poll(made)
    made.close()
    assert values(said_) == {**EXPECTED, "long": None}
    faults = [fault for fault in said_ if isinstance(fault, LineFault)]
    assert faults == []
    by_column = {v.column: v for scan in said_ if isinstance(scan, Scan) for v in scan.values}
    assert by_column["long"].quality == Quality.MISSING  # −70 000 °C is a code, not a reading


def test_tcp() -> None:
    """The same meters over TCP give the same values."""
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with serving(lambda: ModbusTcpServer(devices(), address=("127.0.0.1", port))):
        made = source(f"tcp://127.0.0.1:{port}")
        made.open()
        assert {k: v for k, v in values(poll(made)).items() if v is not None} == EXPECTED
        made.close()


def test_absent_device_and_absent_register(bus: Bus) -> None:
    """A device that is not there costs a timeout and a fault; one without the register says so."""
    read = [
        {"channel": "there", "device": 1, "register": 0, "scale": 0.1},
        {"channel": "nowhere", "device": 2, "register": 99},
        {"channel": "nobody", "device": 9, "register": 0},
    ]
    bus.absent = {9}
    made = source(bus.client, read)
    made.open()
    said_ = poll(made)
    assert values(said_) == {"there": 871.2}
    faults = {fault.raw: fault.reason for fault in said_ if isinstance(fault, LineFault)}
    assert "no such register" in faults["device 2"]
    assert "does not answer" in faults["device 9"]
    assert "device 9" not in {f.raw for f in poll(made) if isinstance(f, LineFault)}
    made.close()


def test_late_answer_is_not_the_next_answer(bus: Bus) -> None:
    """An answer that comes after its time is not taken for the answer to another question."""
    read = [
        {"channel": "top", "device": 2, "register": 12, "type": "float32", "table": "input"},
        {"channel": "long", "device": 2, "register": 10, "type": "float32", "table": "holding",
         "word_order": "little"},
    ]  # fmt: skip
    made = source(bus.client, read, timeout=0.2)
    made.open()
    poll(made)
    bus.delay_s = 0.35
    poll(made)
    bus.delay_s = 0.0
    deadline = time.monotonic() + 20
    seen: dict[str, float | None] = {}
    while len(seen) < 2 and time.monotonic() < deadline:
        heard = values(poll(made))
        assert set(heard.values()) <= {869.5}
        seen |= heard
    made.close()
    assert seen == {"top": 869.5, "long": 869.5}


def test_noise_costs_an_answer_at_most(bus: Bus) -> None:
    """Noise before an answer never becomes a value, and the next poll is good."""
    made = source(bus.client, READ[:2], timeout=0.2)
    made.open()
    assert values(poll(made)) == {"top": 871.2, "low": -40.0}
    deadline, good = time.monotonic() + 20, 0
    while good < 3 and time.monotonic() < deadline:
        bus.noise(b"\x01\x04\xff\x00")
        heard = values(poll(made))
        assert heard in ({}, {"top": 871.2, "low": -40.0})
        good += bool(heard)
    made.close()
    assert good == 3


def test_bus_to_store(bus: Bus, tmp_path: Path) -> None:
    """Polled through the collector, the meters' values are in the store."""
    path = tmp_path / "a.firelog"
    with running(path, [source(bus.client, READ[:2])]) as run:
        run.until(said("stored", 3))
    with Store.open(path) as store:
        top, low = (store.readings(channel.id) for channel in store.channels("kiln"))
    assert set(top.value.tolist()) == {871.2}
    assert set(low.value.tolist()) == {-40.0}


def test_bus_that_is_not_there() -> None:
    """A port that cannot be opened is a SourceError that names it and says what is wrong."""
    for port, why in (("/dev/ttyUSB987", "no such port"), ("tcp://127.0.0.1:1", "nobody answers")):
        with pytest.raises(SourceError, match=f"{port}: .*{why}"):
            source(port).open()


def test_blocks() -> None:
    """Registers of a device and table are one question, unless they lie too far apart."""
    far = [Register("a", 1, 0), Register("b", 1, 124), Register("c", 1, 125), Register("d", 2, 0)]
    made = blocks([*far, Register("e", 1, 5, "holding")])
    assert [(b.device, b.table, b.first, b.count) for b in made] == [
        (1, "holding", 5, 1), (1, "input", 0, MOST_REGISTERS), (1, "input", 125, 1),
        (2, "input", 0, 1),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("register", "words", "value", "quality"),
    [
        (Register("a", 1, 0, scale=0.1), [8712], 871.2, Quality.OK),
        (Register("a", 1, 0, type="uint16", scale=0.1), [65136], None, Quality.SATURATED),
        (Register("a", 1, 0, fault=32767), [32767], None, Quality.OPEN),
        (Register("a", 1, 0), [0x8000], None, Quality.MISSING),
        (Register("a", 1, 0, type="float32"), [0x7FC0, 0], None, Quality.MISSING),
        (Register("a", 1, 0, scale=0.1, offset=-100.0), [1250], 25.0, Quality.OK),
    ],
)
def test_decode(
    register: Register, words: list[int], value: float | None, quality: Quality
) -> None:
    """Raw words become values; codes for open, missing and too much become qualities."""
    got = decode(register, words, Unit.C)
    assert got.quality == quality
    if quality != Quality.SATURATED:
        assert got.value == value


def test_foundry_file() -> None:
    """The section as it stands in a foundry file makes the source."""
    foundry = parse_foundry(
        """
        [[source]]
        name = "meters"
        kiln = "gas kiln"
        port = "tcp://192.168.1.20"
        format = "modbus"
        [source.options]
        every = 2
        [[source.options.read]]
        channel = "kiln top"
        register = 3
        """
    )
    made = make_source(foundry.sources[0], ArrivalClock(), foundry.channels)
    assert [channel.name for channel in made.channels] == ["kiln top"]


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"read": []}, "read is missing"),
        ({"read": [{"register": 1}]}, "channel"),
        ({"read": [{"channel": "a", "registre": 1}]}, "register"),
        ({"read": [{"channel": "a", "type": "int8"}]}, "type"),
        ({"read": [{"channel": "a", "device": 300}]}, "device"),
        ({"read": [{"channel": "a"}, {"channel": "a", "register": 1}]}, "twice"),
        ({"every": 0}, "every"),
        ({"colour": 1}, "colour"),
    ],
)
def test_section_refused(options: dict[str, Any], says: str) -> None:
    """A section that cannot be meant is refused by a sentence that names source and key."""
    spec = SourceSpec("bus", "kiln", "x", format="modbus", options={"read": READ, **options})
    with pytest.raises(InputError, match=says) as caught:
        make_source(spec, ArrivalClock())
    assert "bus" in str(caught.value)


def test_looking_at_registers(bus: Bus) -> None:
    """``listen --modbus`` shows each register in every way, floats in both word orders."""
    rows = {(row["table"], row["register"]): row for row in look(bus.client, 19200, 2, 10)}
    assert rows["input", 10]["float_little"] == "869.5"
    assert rows["input", 10]["float_big"] != "869.5"
    assert rows["input", 12]["float_big"] == "869.5"
    meter = {row["register"]: row["int16"] for row in look(bus.client, 19200, 1, 0)}
    assert meter == {0: 8712, 1: -400}
