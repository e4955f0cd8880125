"""MQTT against a real broker (mosquitto from Debian), skipped where there is none."""

from __future__ import annotations

import shutil
import socket
import subprocess
import threading
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from firelog.errors import InputError, SourceError
from firelog.foundry import SourceSpec
from firelog.intake.bus.mqtt import MqttSource
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.intake.fields import LineFault, Scan
from firelog.record.store import Store
from tests.intake.collect.test_collector import event_kinds, running, said

mqtt = pytest.importorskip("paho.mqtt.client", reason="paho-mqtt is not installed")
BROKER = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin:/usr/local/sbin")
needs_broker = pytest.mark.skipif(BROKER is None, reason="there is no mosquitto here")


class Broker:
    """A mosquitto on a free loopback port that can be stopped and started again."""

    def __init__(self, folder: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as free:
            self.port = free.getsockname()[1]
        self._config = folder / "broker.conf"
        self._config.write_text(f"listener {self.port} 127.0.0.1\nallow_anonymous true\n")
        self.start()

    def start(self) -> None:
        """Start it and wait until it answers."""
        assert BROKER is not None
        self._process = subprocess.Popen(
            [BROKER, "-c", str(self._config)], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL
        )
        for _ in range(200):
            try:
                socket.create_connection(("127.0.0.1", self.port), 1).close()
            except OSError:
                time.sleep(0.05)
            else:
                return
        pytest.fail("the broker did not start")

    def stop(self) -> None:
        """Stop it."""
        self._process.terminate()
        self._process.wait()

    def say(self, topic: str, payload: bytes | str, *, retain: bool = False) -> None:
        """Publish one message and wait until the broker has it."""
        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        client.connect("127.0.0.1", self.port)
        client.loop_start()
        client.publish(topic, payload, qos=1, retain=retain).wait_for_publish(10)
        client.disconnect()
        client.loop_stop()


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    """Yield a running broker."""
    made = Broker(tmp_path)
    yield made
    made.stop()


def source(port: int, columns: tuple[str, ...] = (), **options: Any) -> MqttSource:
    spec = SourceSpec(
        "broker",
        "kiln",
        f"mqtt://127.0.0.1:{port}",
        format="mqtt",
        columns=columns,
        options=options,
    )
    made = make_source(spec, ArrivalClock())
    assert isinstance(made, MqttSource)
    return made


def next_said(made: MqttSource) -> Scan | LineFault:
    for _ in range(100):
        if heard := made.listen():
            return heard[0].said
    pytest.fail("nothing came")


@needs_broker
def test_numbers_by_topic(broker: Broker) -> None:
    """A bare number under a topic is a reading of its channel; a retained one is old and left."""
    broker.say("kiln/top", "999", retain=True)
    made = source(broker.port, topics={"kiln/top": "top"})
    made.open()
    broker.say("kiln/top", "871.2C")
    scan = next_said(made)
    assert isinstance(scan, Scan)
    assert [(v.column, v.value) for v in scan.values] == [("top", 871.2)]
    broker.say("kiln/top", b"\xff")
    assert isinstance(next_said(made), LineFault)
    broker.say("kiln/top", "1_000")
    assert isinstance(next_said(made), LineFault)
    made.close()


@needs_broker
def test_decimal_commas_and_sensors(broker: Broker) -> None:
    """A decimal comma is read where it is stated, and a field may say which sensor speaks."""
    made = source(broker.port, topics={"kiln/top": "top"}, decimal=",")
    made.open()
    broker.say("kiln/top", "871,25")
    scan = next_said(made)
    assert isinstance(scan, Scan)
    assert scan.values[0].value == 871.25
    made.close()
    made = source(broker.port, ("id", "t"), topic="box", payload="pairs", id="id", decimal=",")
    made.open()
    broker.say("box", "id=low; t=869,5")
    scan = next_said(made)
    assert isinstance(scan, Scan)
    assert [(v.column, v.value) for v in scan.values] == [("low", 869.5)]
    made.close()


@needs_broker
def test_a_lone_number_amid_garbage_is_no_reading(broker: Broker) -> None:
    """What a topic says between garbage waits for its like, and is told when none comes."""
    made = source(broker.port, topics={"kiln/top": "top", "kiln/low": "low"})
    made.open()
    broker.say("kiln/top", b"\xff\xfe")
    assert isinstance(next_said(made), LineFault)
    broker.say("kiln/top", "42")
    broker.say("kiln/low", "20.5")
    said = next_said(made)
    assert isinstance(said, Scan)
    assert said.values[0].column == "low"
    assert [type(heard.said) for heard in made.rest()] == [LineFault]
    made.close()


def _careless_broker(server: socket.socket) -> None:
    """Answer one client and publish to it, first under a topic that is no UTF-8 (MQTT 3.1.1)."""
    peer, _ = server.accept()
    with peer:
        peer.recv(1024)  # CONNECT
        peer.sendall(b"\x20\x02\x00\x00")
        subscribed = peer.recv(1024)
        peer.sendall(b"\x90\x03" + subscribed[2:4] + b"\x00")
        for topic, payload in ((b"kiln/\xff\xfe", b"1"), (b"kiln/top", b"871.25")):
            body = len(topic).to_bytes(2, "big") + topic + payload
            peer.sendall(b"\x30" + bytes([len(body)]) + body)
        while peer.recv(1024):
            pass  # until it leaves


def test_a_topic_that_is_not_text_ends_nothing() -> None:
    """A broken topic is told as not understood; what comes after it is read."""
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.settimeout(30)
        broker = threading.Thread(target=_careless_broker, args=(server,), daemon=True)
        broker.start()
        made = source(server.getsockname()[1], topics={"kiln/top": "top"})
        made.open()
        assert isinstance(next_said(made), LineFault)
        said = next_said(made)
        made.close()
        broker.join(10)
    assert isinstance(said, Scan)
    assert said.values[0].value == 871.25


def test_a_library_thread_that_ended_is_noticed() -> None:
    """Without its listening thread the source says that it is lost, so that it connects anew."""
    made = source(1, topics={"a": "top"})
    with pytest.raises(SourceError, match="connecting anew"):
        made.listen()


@needs_broker
def test_json_through_a_restart(broker: Broker, tmp_path: Path) -> None:
    """JSON messages reach the store; a broker that restarts is one outage, and reading goes on."""
    path = tmp_path / "a.firelog"
    made = source(broker.port, ("top", "low"), topic="kiln/box")
    with running(path, [made]) as run:
        run.until(said("connected"))
        broker.say("kiln/box", '{"top": 871.2, "low": 860}')
        run.until(said("stored"))
        broker.stop()
        run.until(said("lost"))
        broker.start()
        run.until(said("connected", 2))
        broker.say("kiln/box", '{"top": 872.2, "low": 861}')
        run.until(said("stored", 2))
    with Store.open(path) as store:
        assert store.readings(store.channels("kiln")[0].id).value.tolist() == [871.2, 872.2]
    assert event_kinds(path)[1:3] == ["source lost", "source back"]


def test_no_broker() -> None:
    """Where no broker answers the sentence names the address."""
    with pytest.raises(SourceError, match=r"mqtt://127\.0\.0\.1:1: no broker"):
        source(1, topics={"a": "b"}).open()


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({}, "topics is missing"),
        ({"topics": {"kiln/+": "a"}}, "one whole topic"),
        ({"topic": "kiln", "payload": "xml"}, "payload"),
        ({"topic": "kiln"}, "columns"),
        ({"topics": {"a": "b"}, "password_file": "/nowhere"}, "password_file"),
    ],
)
def test_section_refused(options: dict[str, Any], says: str) -> None:
    """A section that cannot be meant is refused by name."""
    with pytest.raises(InputError, match=says):
        source(1, **options)
