"""The page on live sources: every example on it is read and makes its source."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from firelog.foundry import parse_foundry
from firelog.intake import source
from firelog.intake.bus import modbus, mqtt
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.sources import make_source
from firelog.intake.line import source as line_source
from firelog.intake.line import text
from firelog.readings import Quality

PAGE = (Path(__file__).parents[2] / "firelog" / "intake" / "README.md").read_text("utf-8")
EXAMPLES = re.findall(r"```toml\n(.*?)```", PAGE, re.DOTALL)


@pytest.mark.parametrize("example", EXAMPLES)
def test_example(example: str) -> None:
    """Each example is a foundry file whose sources can be made."""
    if '"mqtt"' in example:
        pytest.importorskip("paho.mqtt.client", reason="paho-mqtt is not installed")
    foundry = parse_foundry(example)
    made = [make_source(spec, ArrivalClock(), foundry.channels) for spec in foundry.sources]
    assert all(source.channels for source in made)


def test_nothing_is_left_out() -> None:
    """Every layout, chip, option and quality there is stands on the page."""
    words = [layout.value for layout in text.Layout] + list(text.CHIP_DIGITS)
    words += [*line_source._PORT_OPTIONS, *line_source._LINE_OPTIONS, *source.COMMON_OPTIONS]
    words += [*modbus._OPTIONS, *modbus._READ_KEYS, *mqtt._OPTIONS]
    words += [quality.word for quality in Quality if quality]
    missing = [word for word in words if not re.search(rf"\b{word}\b", PAGE)]
    assert missing == []
