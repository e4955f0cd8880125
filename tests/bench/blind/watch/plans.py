"""The schedules the bench fires by: two that ship or shipped, two of the bench's own, a melt.

Each plan carries what a founder knows: the schedule (a shipped name, or text for a file), the
kiln's own programme in °C, and the few truths that the bench needs to judge by.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from kilns import Step

HOUR = 3600.0
SHIPPED = Path(__file__).with_name("shipped")  # as it came with firelog when the kilns were made


@dataclass(frozen=True)
class Plan:
    """A schedule and what the bench knows of it."""

    name: str
    text: str | None  # None: it comes with firelog under this name
    steps: list[Step]
    band: float  # K, of its holds
    ceiling: float  # °C
    top: float  # °C, the hottest aim
    soaks: tuple[tuple[int, float, float, float], ...]  # step, at least, at most, seconds
    gap: float  # s, longest that its own text allows
    unit: str = "C"
    cooling_limit: float | None = None  # K/h
    heating_limit: float | None = None  # K/h on the main ramp
    main_ramp: int = 0  # step that a fault on a ramp falls into
    main_hold: int = 1


FLASH = Plan(
    "ceramic-shell",
    None,
    [
        Step("flash", 873),
        Step("burn out", 873, hold=1.05 * HOUR),
        Step("down to preheat", 818),
        Step("preheat", 818, hold=0.6 * HOUR),
    ],
    band=27.8,
    ceiling=1037.8,
    top=871.1,
    soaks=((1, 815.6, 9e9, 1800), (3, 760, 9e9, 900)),
    gap=300,
    unit="F",
    main_ramp=0,
    main_hold=1,
)

BLOCK = Plan(
    "investment-block",
    (SHIPPED / "investment-block.toml").read_text(encoding="utf-8"),
    [
        Step("to drying", 152, rate=65),
        Step("drying", 152, hold=4.05 * HOUR),
        Step("slow ramp", 733, rate=100),
        Step("burn out", 733, hold=3.1 * HOUR),
        Step("down to casting", 541, rate=100),
        Step("casting temperature", 541, hold=2.1 * HOUR),
    ],
    band=15,
    ceiling=788,
    top=730,
    soaks=((1, 120, 9e9, 3.5 * HOUR), (3, 700, 9e9, 2.5 * HOUR), (5, 515, 565, HOUR)),
    gap=300,
    heating_limit=150,
    main_ramp=2,
    main_hold=3,
)

SLOW_SHELL_TEXT = """\
# A shell fired from cold. Numbers are the bench's own. CAUTION: wax vapour burns, a starved burnout
# makes carbon monoxide; this file switches nothing and protects nobody; local codes decide.
title = "Shell from cold: smoke off, sinter, down"
unit = "C"
start = 20
follow = "kiln"
longest_gap = "15 min"

[[segment]]
name = "to smoke"
to = 600
rate = "200 K/h"
band = 25
[[segment]]
name = "smoke off"
hold = "1 h"
band = 25
[[segment]]
name = "to sinter"
to = 880
rate = "150 K/h"
band = 25
[[segment]]
name = "sinter"
hold = "2 h"
band = 25
[[segment]]
name = "down"
to = 650
rate = "150 K/h"
band = 25
[[segment]]
name = "keep warm"
hold = "1 h"
band = 25

[[require]]
name = "sintered"
kind = "soak"
segment = "sinter"
at_least = 850
lasting = "1 h 30 min"
cumulative = true
[[require]]
name = "not too hot"
kind = "ceiling"
at_most = 960
[[require]]
name = "heated gently"
kind = "ramp"
segment = "to smoke"
at_most = "330 K/h"
over = "30 min"
[[require]]
name = "cooled gently"
kind = "ramp"
segment = "down"
direction = "either"
at_most = "330 K/h"
over = "20 min"
[[require]]
name = "warm for the pour"
kind = "soak"
segment = "keep warm"
at_least = 600
at_most = 700
lasting = "40 min"
cumulative = true
"""

SLOW_SHELL = Plan(
    "shell-from-cold",
    SLOW_SHELL_TEXT,
    [
        Step("to smoke", 602, rate=200),
        Step("smoke off", 602, hold=1.05 * HOUR),
        Step("to sinter", 882, rate=150),
        Step("sinter", 882, hold=2.05 * HOUR),
        Step("down", 650, rate=150),
        Step("keep warm", 650, hold=1.1 * HOUR),
    ],
    band=25,
    ceiling=960,
    top=880,
    soaks=((3, 850, 9e9, 1.5 * HOUR), (5, 600, 700, 2400)),
    gap=900,
    cooling_limit=330,
    heating_limit=330,
    main_ramp=0,
    main_hold=3,
)

HAND_BLOCK_TEXT = """\
# A plaster block in a kiln fired by hand: wide bands. Numbers are the bench's own. CAUTION: water
# in the core turns to steam under the metal; a starved burnout makes carbon monoxide; plaster
# heated too far gives off sulphur dioxide. This file switches nothing; local codes decide.
title = "Block by hand: dry, burn out, down"
unit = "F"
start = 70
follow = "kiln"
longest_gap = "15 min"

[[segment]]
name = "to dry"
to = 320
rate = "110 F/h"
band = 45
[[segment]]
name = "dry"
hold = "3 h"
band = 45
[[segment]]
name = "up"
to = 1300
rate = "170 F/h"
band = 45
[[segment]]
name = "burn"
hold = "3 h"
band = 45
[[segment]]
name = "down"
to = 950
rate = "150 F/h"
band = 45
[[segment]]
name = "stand"
hold = "2 h"
band = 45

[[require]]
name = "dry"
kind = "soak"
segment = "dry"
at_least = 240
lasting = "2 h"
cumulative = true
[[require]]
name = "clean"
kind = "soak"
segment = "burn"
at_least = 1220
lasting = "2 h"
cumulative = true
[[require]]
name = "plaster kept"
kind = "ceiling"
at_most = 1450
[[require]]
name = "gently up"
kind = "ramp"
segment = "up"
at_most = "330 F/h"
over = "45 min"
[[require]]
name = "stood"
kind = "soak"
segment = "stand"
at_least = 850
at_most = 1050
lasting = "1 h"
cumulative = true
"""

HAND_BLOCK = Plan(
    "block-by-hand",
    HAND_BLOCK_TEXT,
    [
        Step("to dry", 162, rate=61),
        Step("dry", 162, hold=3.1 * HOUR),
        Step("up", 708, rate=94),
        Step("burn", 708, hold=3.1 * HOUR),
        Step("down", 510, rate=83),
        Step("stand", 510, hold=2.1 * HOUR),
    ],
    band=25,
    ceiling=787.8,
    top=704.4,
    soaks=((1, 115.6, 9e9, 2 * HOUR), (3, 660, 9e9, 2 * HOUR), (5, 454.4, 565.6, HOUR)),
    gap=900,
    unit="F",
    heating_limit=183,
    main_ramp=2,
    main_hold=3,
)

MELT = Plan(
    "bronze-melt",
    None,
    [],
    band=13.9,
    ceiling=1260,
    top=1232,
    soaks=((0, 1221, 9e9, 10),),
    gap=60,
    unit="F",
)
