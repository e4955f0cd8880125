"""Readings that come through an MQTT broker, by paho-mqtt (EPL-2.0 or BSD-3; an optional extra).

Messages a broker kept from earlier ("retained") look like fresh readings and are not: they are
left out. paho's own thread only puts messages into a queue; an exception in its callback would end
it without a word.
"""

from __future__ import annotations

import queue
import ssl
import threading
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

from firelog.errors import InputError, SourceError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.fields import SKIP, TIME, LineFault, Scan, read_value
from firelog.intake.line.noise import NoiseGuard
from firelog.intake.line.source import line_format
from firelog.intake.line.text import LineFormat, read_line
from firelog.intake.options import choice, only, text
from firelog.intake.source import Heard

CONNECT_S, _WAIT_S = 10.0, 0.2
_MOST_BYTES = 4096
_OPTIONS = (
    *("topic", "topics", "payload", "user", "password_file", "silent_after"),
    *("decimal", "id", "time"),
)
_MOST_GUARDS = 64  # topics that were heard


class MqttSource:
    """Listens to topics. ``topics`` maps a topic to the channel its bare numbers are for;
    with ``form`` each message is a line in that format instead. ``decimal`` is the decimal mark of
    bare numbers. What a topic garbles is kept out as it is on a serial line.
    """

    def __init__(
        self,
        spec: SourceSpec,
        clock: ArrivalClock,
        *,
        topics: Mapping[str, str],
        form: LineFormat | None,
        decimal: str = "",
        password: str | None = None,
        channels: tuple[ChannelSpec, ...] = (),
    ) -> None:
        self.spec, self.channels = spec, channels
        self._clock, self._topics, self._form = clock, dict(topics), form
        self._decimal, self._password = decimal, password
        self._guards: dict[str, NoiseGuard] = {}
        self._client: Any = None
        self._thread: threading.Thread | None = None
        self._heard: queue.SimpleQueue[tuple[int, str, bytes] | None] = queue.SimpleQueue()

    def open(self) -> None:
        """Connect and subscribe; raises :class:`SourceError`."""
        mqtt = _paho()
        url, answered = urlsplit(self.spec.port), threading.Event()
        refusal: list[str] = []
        heard: queue.SimpleQueue[tuple[int, str, bytes] | None] = queue.SimpleQueue()
        self._heard = heard

        def connected(client: Any, _u: Any, _f: Any, reason: Any, _p: Any) -> None:
            if reason.is_failure:
                refusal.append(str(reason))
                answered.set()
            else:
                client.subscribe([(topic, 1) for topic in self._topics])

        def received(_c: Any, _u: Any, message: Any) -> None:
            # What is raised here would end the library's thread without a word.
            try:
                topic = message.topic
            except UnicodeDecodeError:
                topic = ""  # no topic that anybody asked for; told as not understood
            if not message.retain:
                heard.put((self._clock.now_us(), topic, bytes(message.payload)))

        client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
        client.on_connect = connected
        client.on_subscribe = lambda *_: answered.set()
        client.on_disconnect = lambda *_: heard.put(None)
        client.on_message = received
        if user := text(self.spec.options, "user"):
            client.username_pw_set(user, self._password)
        if url.scheme == "mqtts":
            client.tls_set_context(ssl.create_default_context())
        self._client = client
        try:
            client.connect(url.hostname, url.port or (8883 if url.scheme == "mqtts" else 1883))
            self._thread = threading.Thread(target=client.loop_forever, daemon=True)
            self._thread.start()
        except (OSError, ValueError) as error:
            raise SourceError(
                f"{self.spec.port}: no broker answers there ({error}); check address and network"
            ) from error
        if not answered.wait(CONNECT_S):
            raise SourceError(f"{self.spec.port}: the broker does not answer; is it one?")
        if refusal:
            raise SourceError(
                f"{self.spec.port}: the broker refuses ({refusal[0]}); check user and password"
            )

    def listen(self) -> list[Heard]:
        """Return the next message, read; raises :class:`SourceError` when the broker is gone."""
        try:
            message = self._heard.get(timeout=_WAIT_S)
        except queue.Empty:
            if self._thread is None or not self._thread.is_alive():
                raise SourceError(
                    f"{self.spec.port}: the connection's listener has ended; connecting anew"
                ) from None
            return []
        if message is None:
            raise SourceError(f"{self.spec.port}: the broker is gone; check network and broker")
        t_us, topic, payload = message
        heard = Heard(t_us, self._read(topic, payload))
        if topic not in self._guards and len(self._guards) >= _MOST_GUARDS:
            return [heard]
        return self._guards.setdefault(topic, NoiseGuard()).passed(payload, heard)

    def rest(self) -> list[Heard]:
        """Return the messages that waited for others like them, as faults: none will come."""
        return [one for guard in self._guards.values() for one in guard.end()]

    def _read(self, topic: str, payload: bytes) -> Scan | LineFault:
        if len(payload) > _MOST_BYTES:
            return LineFault("a message of more than 4 kB", topic)
        if self._form is not None:
            return read_line(payload, self._form)
        try:
            field = payload.decode("utf-8").strip()
            return Scan(
                None, (read_value(self._topics[topic], field, self.spec.unit, self._decimal),)
            )
        except (UnicodeDecodeError, InputError, KeyError) as error:
            return LineFault(str(error)[:120], f"{topic}: {payload[:60]!r}")

    def close(self) -> None:
        """Leave the broker."""
        if self._client is not None:
            client, self._client = self._client, None
            client.on_disconnect = None
            client.disconnect()
        if self._thread is not None:
            self._thread.join(CONNECT_S)
            self._thread = None


def _paho() -> Any:
    try:
        import paho.mqtt.client as mqtt  # noqa: PLC0415  # an extra, not always there
    except ImportError as error:
        raise InputError(
            'MQTT needs the package paho-mqtt; install it with: pip install "firelog[mqtt]"'
        ) from error
    return mqtt


# ---------------------------------------------------------------- from the foundry file
def mqtt_source(
    spec: SourceSpec, clock: ArrivalClock, stated: Mapping[str, ChannelSpec]
) -> MqttSource:
    """Return the source that a section with ``format = "mqtt"`` describes.

    ``port`` is ``mqtt://host`` or ``mqtts://host``. Either ``topics`` maps topics to channels, or
    ``topic`` carries lines in the format ``payload`` (values, pairs or json) with ``columns``.
    """
    only(spec.options, _OPTIONS)
    if urlsplit(spec.port).scheme not in ("mqtt", "mqtts") or not urlsplit(spec.port).hostname:
        raise InputError(f"port = {spec.port!r}; write it like mqtt://192.168.1.20")
    _paho()
    topics, form = _topics(spec), None
    names = list(topics.values())
    if "topic" in spec.options:
        payload = choice(spec.options, "payload", "json", ("json", "pairs", "values"))
        form = line_format(replace(spec, format=payload))
        names = [c for c in spec.columns if c not in (TIME, SKIP, form.time)]
        names = [] if form.id else names  # what the sensors are called shows when they speak
    return MqttSource(
        spec,
        clock,
        topics=topics,
        form=form,
        decimal=choice(spec.options, "decimal", "", ("", ",", ".")),
        password=_password(spec),
        channels=tuple(stated.get(name, ChannelSpec(name, spec.kiln)) for name in names),
    )


def _topics(spec: SourceSpec) -> dict[str, str]:
    if topic := text(spec.options, "topic"):
        return {topic: ""}
    topics = spec.options.get("topics")
    if not isinstance(topics, dict) or not topics:
        raise InputError('topics is missing, like topics = { "kiln/top" = "kiln top" }')
    for topic, channel in topics.items():
        if not isinstance(channel, str) or "#" in topic or "+" in topic:
            raise InputError(f"topics: {topic!r} must be one whole topic with its channel's name")
    return topics


def _password(spec: SourceSpec) -> str | None:
    named = text(spec.options, "password_file")
    if not named:
        return None
    try:
        return Path(named).read_text("utf-8").strip()
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(f"password_file {named!r} cannot be read; check its name") from error
