"""A mould as a body of layered materials around a plane, an axis or a point, cut into cells.

A mould is a plate, a cylinder or a sphere of one or more layers, listed from the inside out: a
plaster block is one layer, a ceramic shell around its wax and core is three. Lengths in m, heat
in J per m³; a plate counts per m² of face, a cylinder per m of length, a sphere whole.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from firelog.errors import InputError
from firelog.readings import FloatArray

Shape = Literal["plate", "cylinder", "sphere"]
SIGMA_W_PER_M2_K4 = 5.670374419e-8  # Stefan-Boltzmann constant, CODATA 2018
_POWER: dict[str, int] = {"plate": 0, "cylinder": 1, "sphere": 2}
_LARGEST_M = 5.0  # no mould of this trade is thicker; more is a slip of the unit


@dataclass(frozen=True)
class Uptake:
    """Heat [J/m³] that is taken once between two temperatures [°C] and never given back.

    Water that boils off, gypsum that gives up its own, wax that melts and runs out: on cooling none
    of them returns. Raises InputError for a range that falls or heat below zero.
    """

    name: str
    from_c: float
    to_c: float
    heat_j_per_m3: float

    def __post_init__(self) -> None:
        if not self.from_c < self.to_c or not self.heat_j_per_m3 >= 0.0:
            raise InputError(
                f"{self.name!r} takes {self.heat_j_per_m3:g} J/m³ from {self.from_c:g} to "
                f"{self.to_c:g} °C; the heat must not be negative and the range must rise"
            )


@dataclass(frozen=True)
class Material:
    """Density [kg/m³] and tables of conductivity [W/mK] and heat capacity [J/kgK] against [°C].

    Between the table's temperatures both are straight lines, outside they stay at the last value.
    Raises InputError for tables that do not rise or values that are not above zero.
    """

    name: str
    density: float
    k: tuple[tuple[float, float], ...]
    c: tuple[tuple[float, float], ...]
    uptakes: tuple[Uptake, ...] = ()

    def __post_init__(self) -> None:
        if not 0.0 < self.density < 3e4:
            raise InputError(f"{self.name!r}: a density of {self.density:g} kg/m³ is impossible")
        for what, table in (("conductivity", self.k), ("heat capacity", self.c)):
            temps = [t for t, _ in table]
            if not table or sorted(set(temps)) != temps or any(not v > 0.0 for _, v in table):
                raise InputError(
                    f"{self.name!r}: the {what} must be a table of rising temperatures with "
                    "values above zero"
                )


def plain(name: str, density: float, k: float, c: float, *uptakes: Uptake) -> Material:
    """Return a material whose conductivity [W/mK] and heat capacity [J/kgK] never change.

    ``density`` [kg/m³], ``uptakes`` [J/m³] as in ``Material``.
    """
    return Material(name, density, ((20.0, k),), ((20.0, c),), tuple(uptakes))


@dataclass(frozen=True)
class Layer:
    """One material and how thick it is [m]."""

    material: Material
    thickness_m: float


@dataclass(frozen=True)
class Body:
    """Layers from the inside out around a plane, an axis or a point; lengths in [m].

    ``hollow_m`` is the radius that stays empty inside (0: solid). Nothing flows through the inner
    end: it is the middle of a symmetric body, or the cavity's face. A plate heated from both faces
    is given by half its thickness. Raises InputError for lengths that no mould has.
    """

    shape: Shape
    layers: tuple[Layer, ...]
    hollow_m: float = 0.0

    def __post_init__(self) -> None:
        if self.shape not in _POWER:
            raise InputError(f"a mould is a plate, a cylinder or a sphere, not {self.shape!r}")
        if not self.layers:
            raise InputError("a mould needs at least one layer of some thickness")
        for layer in self.layers:
            if not 0.0 < layer.thickness_m < _LARGEST_M:
                raise InputError(
                    f"a layer of {layer.material.name} cannot be {layer.thickness_m:g} m thick; "
                    "give its thickness in metres, such as 0.01"
                )
        if not 0.0 <= self.hollow_m < _LARGEST_M:
            raise InputError(f"a hollow of {self.hollow_m:g} m is not possible; give it in metres")

    @property
    def outer_m(self) -> float:
        """Distance of the outer face from the middle [m]."""
        return self.hollow_m + math.fsum(layer.thickness_m for layer in self.layers)


@dataclass(frozen=True)
class Surface:
    """What carries heat to the outer face: grey radiation [0 to 1] and convection [W/m²K].

    ``emissivity`` is the effective one between the face and what it sees. Defaults: 0.85 for fired
    silica and investment (handbook tables of total emissivity, from memory), 10 W/m²K for the air
    in a kiln (common practice, no source). Raises InputError for values that cannot be.
    """

    emissivity: float = 0.85
    convection_w_per_m2k: float = 10.0

    def __post_init__(self) -> None:
        if not 0.0 <= self.emissivity <= 1.0:
            raise InputError(f"an emissivity of {self.emissivity:g} is impossible; it is 0 to 1")
        if not self.convection_w_per_m2k >= 0.0:
            raise InputError("a convection coefficient cannot be negative")


@dataclass(frozen=True)
class Cells:
    """A body cut into cells: arrays (cells,) from the inside out.

    ``layer`` is each layer's slice of them, ``half_m`` half a cell's thickness [m], ``middle_m``
    where its middle lies [m], ``volume`` [m³] and ``area`` [m²] (of its outer face) per m² of a
    plate, per m of a cylinder, whole for a sphere.
    """

    layer: tuple[slice, ...]
    half_m: FloatArray
    middle_m: FloatArray
    volume: FloatArray
    area: FloatArray


def cut(body: Body, cells: int) -> Cells:
    """Cut a body into about ``cells`` cells of even thickness [m], at least four in every layer.

    Method: finite volumes with faces at the layers' joints (Patankar, Numerical Heat Transfer and
    Fluid Flow, 1980, chapter 4, from memory).
    """
    thick_m = [layer.thickness_m for layer in body.layers]
    counts = [max(4, round(cells * part / sum(thick_m))) for part in thick_m]
    edges = [np.array([body.hollow_m])]
    slices, first = [], 0
    for part, count in zip(thick_m, counts, strict=True):
        edges.append(edges[-1][-1] + part * np.arange(1, count + 1) / count)
        slices.append(slice(first, first + count))
        first += count
    edge_m = np.concatenate(edges)
    power = _POWER[body.shape]
    around = (1.0, 2.0 * math.pi, 4.0 * math.pi)[power]
    return Cells(
        tuple(slices),
        np.diff(edge_m) / 2.0,
        (edge_m[1:] + edge_m[:-1]) / 2.0,
        around * np.diff(edge_m ** (power + 1)) / (power + 1),
        around * edge_m[1:] ** power,
    )


def cavity(gap_m: float, *, emissivity: float = 0.85) -> tuple[tuple[float, float], ...]:
    """Return the conductivity [W/mK] against [°C] that an empty gap between two faces amounts to.

    ``gap_m`` [m], ``emissivity`` [0 to 1] of both faces. Air at rest, 0.026 W/mK at 20 °C rising to
    0.076 at 1000 °C (dry air at 1 bar, from memory), and grey radiation between parallel planes
    linearised, 4·σ·T³·gap / (2/ε − 1) (Incropera et al., Fundamentals of Heat and Mass Transfer,
    13.3, from memory).
    """
    table = []
    for temp_c in (20.0, 100.0, 200.0, 400.0, 600.0, 800.0, 1000.0, 1200.0):
        air = 0.026 + 0.05 * (temp_c - 20.0) / 980.0
        across = 4.0 * SIGMA_W_PER_M2_K4 * (temp_c + 273.15) ** 3 * gap_m
        table.append((temp_c, air + across / (2.0 / emissivity - 1.0)))
    return tuple(table)


def wax(gap_m: float) -> Material:
    """Return a layer of wax that melts, runs out and leaves a cavity of ``gap_m`` [m].

    Wax 930 kg/m³, 2.4 kJ/kgK, 190 kJ/kg of fusion over 55 to 80 °C, out by 100 °C (paraffin-type
    waxes, from memory): all of it is heat taken once. What stays is air with some residue.
    """
    density, c, fusion = 930.0, 2400.0, 190e3
    uptakes = (
        Uptake("wax warming", -50.0, 55.0, density * c * 105.0),
        Uptake("wax melting", 55.0, 80.0, density * (fusion + c * 25.0)),
        Uptake("wax running out", 80.0, 100.0, density * c * 20.0),
    )
    hot = tuple((t, k) for t, k in cavity(gap_m) if t >= 200.0)
    return Material("wax", 30.0, ((80.0, 0.25), *hot), ((20.0, 1000.0),), uptakes)
