"""From a channel as recorded to temperatures with U: unit, type, certificate, quality."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from firelog.judge import measured, recorded
from firelog.physics.thermometry import calibration
from firelog.physics.thermometry.calibration import Certificate, CertificatePoint
from firelog.physics.thermometry.uncertainty import DEFAULT_CHAIN, MeasurementChain
from firelog.readings import Quality, Role, Unit
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace

T0 = 1_772_352_000_000_000


def read(path: Path, value: list[float], unit: Unit, **channel: object) -> ChannelTrace:
    """Return readings a minute apart as they are judged, through a store of their own."""
    certificate = channel.pop("certificate", None)
    with Store.open(path, write=True) as store:
        top = store.ensure_channel("kiln", "top", role=Role.KILN, **channel)  # type: ignore[arg-type]
        for n, one in enumerate(value):
            quality = Quality.OPEN if math.isnan(one) else Quality.OK
            given = None if math.isnan(one) else one
            store.add_scan(T0 + n * 60_000_000, [(top.id, given, unit, quality)])
        if isinstance(certificate, Certificate):
            kept = calibration.as_record(certificate)
            store.add_calibration(top.id, "2026-01-01", kept, T0, "Ines")
        chain = recorded.measurement_chain(store, top)
        trace = store.readings(top.id, T0, T0 + 3_600_000_000)
        return measured.corrected(top, chain, trace, T0)


def test_fahrenheit_and_millivolts_become_celsius(tmp_path: Path) -> None:
    """1600 °F are 871.11 °C; 41.276 mV of type K are 1000 °C (NIST SRD 60, printed table)."""
    assert read(tmp_path / "f", [1600.0], Unit.F).temp_c[0] == pytest.approx(871.111, abs=1e-3)
    emf = read(tmp_path / "k", [41.276], Unit.MV, letter="K")
    assert emf.temp_c[0] == pytest.approx(1000.0, abs=0.02)
    assert emf.t_s == pytest.approx([0.0])


def test_the_type_stated_decides_what_an_emf_means(tmp_path: Path) -> None:
    """9.587 mV are 1000 °C of type S, and 236 °C of type K (NIST SRD 60, printed tables)."""
    s = read(tmp_path / "s", [9.587], Unit.MV, letter="S").temp_c[0]
    k = read(tmp_path / "k", [9.587], Unit.MV, letter="K").temp_c[0]
    assert s == pytest.approx(1000.0, abs=0.1)
    assert k == pytest.approx(236.0, abs=1.0)


def test_a_certificate_is_added_and_narrows_u(tmp_path: Path) -> None:
    """+3 K at 900 °C is added to the reading (JCGM 200:2012, 2.53); U is less than the class's."""
    points = (CertificatePoint(800.0, 1.0, 2.0), CertificatePoint(1000.0, 5.0, 2.0))
    bare = read(tmp_path / "a", [900.0], Unit.C, letter="K")
    none = {"logger_k": 0.0, "cable_k": 0.0, "immersion_k": 0.0, "drift_k": 0.0}
    sure = read(
        tmp_path / "b", [900.0], Unit.C,
        letter="K", certificate=Certificate(points), measurement=none,
    )  # fmt: skip
    assert sure.temp_c[0] - bare.temp_c[0] == pytest.approx(3.0)
    # IEC 60584-1:2013: 6.75 K at 900 °C in class 2, rectangular: 2·6.75/√3 = 7.79 K and more.
    assert bare.expanded_k[0] > 7.79
    assert sure.expanded_k[0] < 3.0


def test_an_open_circuit_is_no_temperature(tmp_path: Path) -> None:
    """A reading without a value is NaN, with its quality kept, between two that count."""
    found = read(tmp_path / "o", [500.0, math.nan, 510.0], Unit.C)
    assert np.isnan(found.temp_c).tolist() == [False, True, False]
    assert found.quality.tolist() == [Quality.OK, Quality.OPEN, Quality.OK]


def test_an_unstated_channel_is_type_k_class_2_and_says_so(tmp_path: Path) -> None:
    """Nobody stated the type: U is that of type K, IEC class 2, and the trace says so."""
    silent = read(tmp_path / "n", [900.0], Unit.C)
    stated = read(tmp_path / "y", [900.0], Unit.C, letter="K", standard="IEC", tolerance_class="2")
    assert silent.expanded_k == pytest.approx(stated.expanded_k)
    assert "type K, IEC class 2" in silent.assumed
    assert stated.assumed == ""


def test_what_was_stated_of_the_chain_reaches_it(tmp_path: Path) -> None:
    """Class and measurement of the channel are the chain's; the rest is the default."""
    with Store.open(tmp_path / "s", write=True) as store:
        top = store.ensure_channel(
            "kiln", "top", letter="N", standard="IEC", tolerance_class="1",
            measurement={"logger_k": 1.5},
        )  # fmt: skip
        chain = recorded.measurement_chain(store, top)
    assert chain == MeasurementChain(
        letter="N", tolerance_class="1", logger_k=1.5, allow=True, in_wall=True
    )
    assert chain.digit_k == DEFAULT_CHAIN.digit_k


@pytest.mark.parametrize("role", [Role.KILN, Role.MOULD, Role.CRUCIBLE, Role.LANCE])
def test_whose_wire_lies_in_a_wall(tmp_path: Path, role: Role) -> None:
    """A couple in a kiln, core or furnace passes a wall for hours; a dipped lance does not."""
    with Store.open(tmp_path / "s", write=True) as store:
        chain = recorded.measurement_chain(store, store.ensure_channel("kiln", "a", role=role))
    assert chain.in_wall is (role is not Role.LANCE)


def test_the_mean_of_channels_is_on_the_fullest_ones_clock() -> None:
    """100 and 110 °C give 105 °C, spread by ± 5 K at the end; the sparser one is drawn between."""
    full = np.arange(0.0, 601.0, 60.0)
    one = ChannelTrace("a", "kiln", full, np.full(11, 100.0), np.ones(11), np.zeros(11, np.uint8))
    two = ChannelTrace("b", "kiln", full[::5], np.full(3, 110.0), np.ones(3), np.zeros(3, np.uint8))
    t_s, temp_c, half_k = measured.mean_of([two, one])
    assert t_s == pytest.approx(full)
    assert temp_c == pytest.approx(np.full(11, 105.0))
    assert half_k == pytest.approx(5.0)
