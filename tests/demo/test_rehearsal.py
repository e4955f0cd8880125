"""The simulated kiln against closed forms, its mishaps, and its voice on a pseudo-terminal."""

from __future__ import annotations

import sys
from itertools import pairwise
from math import exp, pi

import numpy as np
import pytest

from firelog.demo import firesim, kilnsim, pty_logger
from firelog.demo.firesim import Fault, Mishap, Scene
from firelog.demo.kilnsim import AMBIENT, SIGMA_W_PER_M2_K4, HeatPath, LumpedMass, Network, Sensor
from firelog.intake.fields import Scan
from firelog.intake.line.port import Port, PortSettings
from firelog.intake.line.text import LineFormat, read_line
from firelog.readings import Quality
from firelog.schedule.plan.model import Segment

SHELL = (Segment("flash", 870.0, within_s=1200.0), Segment("burn out", 870.0, hold_s=3600.0))
BLOCK = (
    Segment("to the drying hold", 150.0, rate_k_per_h=60.0),
    Segment("drying hold", 150.0, hold_s=4 * 3600.0),
    Segment("to burn-out", 732.0, rate_k_per_h=80.0),
)
MELT = (Segment("melt", 1180.0), Segment("hold", 1180.0, hold_s=900.0))


# ---------------------------------------------------------------- laws
def test_lump_cools_exponentially() -> None:
    """One lump with one conductance follows exp(−t/τ), the lumped-capacitance solution."""
    lump = Network((LumpedMass("lump", 5000.0, 900.0),), (HeatPath(0, AMBIENT, 10.0),))
    temps_c = [900.0]
    for _ in range(1000):
        lump.advance(temps_c, [0.0], 0.5)
    assert temps_c[0] == pytest.approx(20.0 + 880.0 * exp(-500.0 / 500.0), abs=0.5)


@pytest.mark.parametrize(("t_s", "temp_k"), [(60, 970.6), (120, 860.7)])
def test_lump_radiates(t_s: int, temp_k: float) -> None:
    """Radiation alone follows T⁻³ = T0⁻³ + 3εσt/(ρcL), here a shell wall of 9.5 mm at 900 °C.

    The closed form is the textbook integral of the radiating lump (from memory); values by hand.
    """
    heat_j_per_m2k, emissivity = 1750.0 * 1100.0 * 0.0095, 0.85
    path = HeatPath(0, AMBIENT, 0.0, emissivity * SIGMA_W_PER_M2_K4)
    lump = Network((LumpedMass("shell", heat_j_per_m2k, 900.0),), (path,), ambient_c=-273.15)
    temps_c = [900.0]
    for _ in range(t_s * 10):
        lump.advance(temps_c, [0.0], 0.1)
    assert temps_c[0] + 273.15 == pytest.approx(temp_k, abs=0.5)


def test_slab_lags_behind_a_ramp() -> None:
    """A slab's middle lags a ramp at its face as the exact series says.

    Slab of half-thickness 50 mm, α = 5e-7 m²/s, 100 K/h: lag = βL²/2α·(1 − Σ…); Carslaw and
    Jaeger, Conduction of Heat in Solids, 2nd ed., section 3.5 (from memory).
    """
    beta_k_per_s, half_m, alpha, count = 100.0 / 3600.0, 0.05, 5e-7, 20
    slice_m, conductivity = half_m / count, 1.0
    heat = conductivity / alpha * slice_m
    slab = tuple(LumpedMass(f"slice {n}", heat) for n in range(count))
    face = LumpedMass("face", 1e9)
    paths = [HeatPath(0, 1, 2 * conductivity / slice_m)]
    paths += [HeatPath(n, n + 1, conductivity / slice_m) for n in range(1, count)]
    network = Network((face, *slab), tuple(paths))
    temps_c = [20.0] * (count + 1)
    t_s = 0.0
    for at_s in (600, 1800, 3600, 7200):
        while t_s < at_s:
            network.advance(temps_c, [1e9 * beta_k_per_s, *[0.0] * count], 5.0)
            t_s += 5.0
        orders = np.arange(200)
        odd = 2 * orders + 1
        series = (-1.0) ** orders / odd**3 * np.exp(-(odd**2) * pi**2 * alpha * t_s / 4 / half_m**2)
        exact_k = beta_k_per_s * half_m**2 / 2 / alpha * (1 - 32 / pi**3 * series.sum())
        assert temps_c[0] - temps_c[-1] == pytest.approx(exact_k, abs=0.3)
    assert exact_k == pytest.approx(67.39, abs=0.01)


def test_wall_loses_what_its_resistances_allow() -> None:
    """In the steady state a lining passes (T − Ta)/(L/kA + 1/hA), resistances in series."""
    bodies, paths = kilnsim.wall(
        (0,), 1, area_m2=3.0, thick_m=0.12, k_w_per_mk=0.3, heat_j_per_m3k=1e4
    )
    network = Network((LumpedMass("chamber", 1e4), *bodies), paths)
    temps_c = [20.0] * 4
    lost_j = 0.0
    for _ in range(3000):
        lost_j = network.advance(temps_c, [5000.0, 0.0, 0.0, 0.0], 60.0)
    assert temps_c[0] - 20.0 == pytest.approx(5000.0 * (0.12 / 0.9 + 1 / 36.0), rel=1e-3)
    assert lost_j / 60.0 == pytest.approx(5000.0, rel=1e-3)


@pytest.mark.parametrize("furnace", [kilnsim.shell_kiln(), kilnsim.block_kiln()])
def test_energy_balance(furnace: kilnsim.Furnace) -> None:
    """Heat put in equals heat stored plus heat lost, the evaporated water included."""
    network = furnace.network
    temps_c = [body.start_c for body in network.bodies]
    heating = [0.0] * len(temps_c)
    for body, share in furnace.heated:
        heating[body] = share * 0.4 * furnace.power_w
    lost_j, put_j = 0.0, 0.0
    for _ in range(4000):
        lost_j += network.advance(temps_c, heating, 5.0)
        put_j += sum(heating) * 5.0
    stored_j = 0.0
    for body, temp_c in zip(network.bodies, temps_c, strict=True):
        stored_j += body.heat_capacity_j_per_k * (temp_c - body.start_c)
        if body.change:
            span_k = body.change.to_c - body.change.from_c
            share = min(max((temp_c - body.change.from_c) / span_k, 0.0), 1.0)
            stored_j += share * body.change.heat_j
    assert stored_j + lost_j == pytest.approx(put_j, rel=5e-3)


@pytest.mark.parametrize(("taus", "share"), [(1, 0.6321), (2, 0.8647), (3, 0.9502), (5, 0.9933)])
def test_sensor_step(taus: int, share: float) -> None:
    """A thermocouple shows 63.2 % of a step after one time constant, 86.5 % after two, ..."""
    sensor, shown_c = Sensor("lance", 0, lag_s=6.0), 0.0
    for _ in range(taus * 6):
        shown_c = sensor.follow(shown_c, 1.0, 1.0)
    assert shown_c == pytest.approx(share, abs=5e-5)


def test_sensor_ramp() -> None:
    """On a ramp it runs τ·rate behind: 35 s at 300 K/h is 2.92 K."""
    sensor, shown_c, true_c = Sensor("kiln", 0, lag_s=35.0), 0.0, 0.0
    for _ in range(5000):
        true_c += 300.0 / 3600.0 * 0.1
        shown_c = sensor.follow(shown_c, true_c, 0.1)
    assert true_c - shown_c == pytest.approx(2.917, abs=0.01)


# ---------------------------------------------------------------- firings
def test_good_firing_holds() -> None:
    """A healthy gas kiln reaches 870 °C and keeps it within the band for the whole hold."""
    record = firesim.simulate(Scene(kilnsim.shell_kiln(start_c=850.0), SHELL))
    held = record.values_c["kiln top"][-360:]
    assert np.abs(held - 870.0).max() < 15.0
    assert record.values_c["mould"][0] < 30.0


def test_same_seed_same_record() -> None:
    """The same seed gives the same record to the last digit, another seed another."""
    records = [
        firesim.simulate(Scene(kilnsim.shell_kiln(), SHELL, seed=seed)).values_c["kiln top"]
        for seed in (7, 7, 8)
    ]
    assert np.array_equal(records[0], records[1])
    assert not np.array_equal(records[0], records[2])


def test_wet_core_waits_at_100() -> None:
    """The core of a wet block stands near 100 °C for hours while the kiln climbs past it."""
    record = firesim.simulate(Scene(kilnsim.block_kiln(), BLOCK, every_s=60.0))
    core = record.values_c["mould"]
    standing = (core > 94.0) & (core < 106.0)
    assert standing.sum() * 60.0 > 2 * 3600.0
    assert record.values_c["kiln top"][standing].max() > 300.0


def test_melt_pauses_in_its_freezing_range() -> None:
    """The metal climbs more slowly between solidus and liquidus than before and after."""
    record = firesim.simulate(Scene(kilnsim.melting_furnace(), MELT, every_s=5.0))
    melt = record.values_c["crucible"]

    def spent_s(low_c: float, high_c: float) -> float:
        return float(np.argmax(melt > high_c) - np.argmax(melt > low_c)) * 5.0

    assert spent_s(870, 1000) / 130 > 1.5 * spent_s(700, 830) / 130
    assert spent_s(870, 1000) / 130 > 1.5 * spent_s(1030, 1090) / 60
    assert abs(melt[-60:] - 1180.0).max() < 20.0


def test_lance_comes_up_late() -> None:
    """A dipped lance nears the metal's temperature from below and is cold between dips."""
    record = firesim.simulate(Scene(kilnsim.melting_furnace(), MELT, every_s=5.0))
    lance, melt = record.values_c["lance"], record.values_c["crucible"]
    late = record.t_s > record.t_s[-1] - 960
    assert lance[late].min() < 60.0
    assert -25.0 < lance[late].max() - melt[late].max() < 5.0


def test_weak_element_stalls() -> None:
    """With a tenth of its power the kiln never comes near, and the controller goes on by clock."""
    fault = Fault(Mishap.WEAK_ELEMENT, 300.0, size=0.1)
    record = firesim.simulate(Scene(kilnsim.shell_kiln(), SHELL, (fault,)))
    assert record.values_c["kiln top"].max() < 700.0
    assert record.target_c[-1] == 870.0


def test_unplugged_thermocouple_reads_open() -> None:
    """An unplugged channel has no value and the quality open, its neighbours go on."""
    fault = Fault(Mishap.UNPLUGGED, 600.0, 1200.0, channel="mould")
    record = firesim.simulate(Scene(kilnsim.shell_kiln(), SHELL, (fault,)))
    out = (record.t_s >= 600.0) & (record.t_s < 1200.0)
    assert (record.quality["mould"] == Quality.OPEN).tolist() == out.tolist()
    assert np.isnan(record.values_c["mould"]).tolist() == out.tolist()
    assert (record.quality["kiln top"] == Quality.OK).all()


@pytest.mark.parametrize("mishap", [Mishap.SILENCE, Mishap.POWER_CUT])
def test_hole_in_the_record(mishap: Mishap) -> None:
    """Silence and a power cut leave a hole; only the power cut lets the kiln cool in it."""
    faults = (Fault(mishap, 3000.0, 3600.0),)
    record = firesim.simulate(Scene(kilnsim.shell_kiln(start_c=850.0), SHELL, faults))
    steps_s = np.diff(record.t_s)
    at = int(np.argmax(steps_s))
    assert (steps_s[at], record.t_s[at]) == (610.0, 2990.0)
    fell_k = record.values_c["kiln top"][at] - record.values_c["kiln top"][at + 1]
    assert (fell_k > 50.0) == (mishap == Mishap.POWER_CUT)


def test_open_door_cools() -> None:
    """Opening the door for two minutes pulls the chamber down, the mould far less."""
    faults = (Fault(Mishap.DOOR_OPEN, 3600.0, 3720.0),)
    record = firesim.simulate(Scene(kilnsim.shell_kiln(start_c=850.0), SHELL, faults))
    after = (record.t_s >= 3600.0) & (record.t_s < 3900.0)
    assert record.values_c["kiln top"][after].min() < 860.0
    assert record.values_c["mould"][after].min() > record.values_c["kiln top"][after].min()


# ---------------------------------------------------------------- the voice
@pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
def test_speaks_over_a_pseudo_terminal() -> None:
    """What is read from the port is line for line what the rehearsal says it sent."""
    scene = Scene(kilnsim.shell_kiln(), SHELL[:1], (Fault(Mishap.UNPLUGGED, 60, channel="mould"),))
    start_us = 1_772_352_000_000_000
    sent: list[bytes] = []
    said = pty_logger.lines(scene, start_us)
    with (
        pty_logger.PtyLogger(said, factor=1e6, on_line=sent.append) as speaker,
        Port(PortSettings(speaker.path)) as port,
    ):
        speaker.start()
        got = b""
        while not (speaker.finished.is_set() and got.count(b"\n") > len(sent)):
            got += port.read()
    assert got == b"\n" + b"".join(sent)
    scans = [read_line(line, LineFormat(columns=scene.names)) for line in got.split()]
    assert all(isinstance(scan, Scan) for scan in scans)
    stamps = [scan.t_us for scan in scans if isinstance(scan, Scan) and scan.t_us is not None]
    assert stamps[0] == start_us
    assert all(later - earlier == 10_000_000 for earlier, later in pairwise(stamps))
