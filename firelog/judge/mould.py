"""What a mould is, as the computation needs it: its material, its shape and its handling.

Materials stand in ``shared/moulds.toml``; what one mould is like is said when it is entered and
kept with the record as plain keys.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from pathlib import Path
from typing import Any

from firelog import tomlfile
from firelog.errors import InputError
from firelog.physics.metal.cooling import Handling
from firelog.physics.mould.body import Body, Layer, Material, Surface, Uptake, wax
from firelog.physics.mould.core import Unknowns
from firelog.reference import shared_folder
from firelog.tomlfile import TomlTable

SHAPES = ("plate", "cylinder", "sphere")
FORMS = ("block", "shell", "shell with core")
_WATER_J_PER_KG = 2.2564e6  # heat of evaporation at 100 °C, IAPWS-95, from memory
# Gypsum to hemihydrate and on to anhydrite, water as vapour: 83.3 and 117 kJ/mol in all at 25 °C,
# of 172.17 g/mol; from memory.
_GYPSUM_J_PER_KG = (484e3, 196e3)
_KEYS = (
    "name", "title", "density", "conductivity", "heat_capacity", "water", "gypsum", "emissivity",
    "burnt_c", "source", "note", "range", "conductivity_doubt",
)  # fmt: skip


@dataclass(frozen=True)
class CriticalRange:
    """A range of temperatures [°C] that a mould should cross slowly, and why."""

    name: str
    from_c: float
    to_c: float
    source: str


@dataclass(frozen=True)
class MouldMaterial:
    """A material of moulds: its heat, its surface, its critical ranges and burn-out temperature.

    ``emissivity`` [0 to 1], ``burnt_c`` [°C]; ``source`` says where its numbers come from, ``note``
    what whoever enters such a mould should know; ``conductivity_doubt`` is the relative standard
    uncertainty of its conductivity, wide where the only figure is of another material.
    """

    name: str
    title: str
    material: Material
    emissivity: float
    burnt_c: float
    ranges: tuple[CriticalRange, ...]
    source: str
    note: str = ""
    conductivity_doubt: float = Unknowns().conductivity


@dataclass(frozen=True)
class MouldShape:
    """One mould as it was entered: material, form, shape, sizes [m] and how it is handled.

    ``size_m`` is the wall of a shell, or the radius (plate: half the thickness) of a block;
    ``hollow_m`` the radius of the cavity inside a round shell; ``core_m`` the radius of a core and
    ``gap_m`` the wax between core and shell, 6 mm unless stated (the 3/16 to 1/4 inch that art
    foundries give for wall thickness: common practice, no source). ``wind_m_per_s`` [m/s] blows at
    the pour. ``dry`` moulds have no free water left. ``probe`` is the channel of a thermocouple
    embedded in its core, empty without one.
    """

    material: str
    form: str = "block"
    shape: str = "cylinder"
    size_m: float = 0.1
    hollow_m: float = 0.0
    core_m: float = 0.0
    gap_m: float = 0.006
    dry: bool = False
    in_sand: bool = False
    wind_m_per_s: float = 0.5
    probe: str = ""

    def details(self) -> dict[str, Any]:
        """Return the mould as plain keys, to be kept."""
        return dict(vars(self))


def shape_from(details: Mapping[str, Any]) -> MouldShape:
    """Return a mould from the plain keys it was kept as; raises InputError for what cannot be."""
    unknown = set(details) - set(MouldShape.__dataclass_fields__)
    if unknown or "material" not in details:
        raise InputError(f"a mould needs a material and knows no {', '.join(sorted(unknown))}")
    shape = MouldShape(**details)
    if shape.form not in FORMS:
        raise InputError(f"{shape.form!r} is no form of mould; it is one of {', '.join(FORMS)}")
    if shape.shape not in SHAPES:
        raise InputError(f"{shape.shape!r} is no shape; it is one of {', '.join(SHAPES)}")
    return shape


def body_of(shape: MouldShape, known: MouldMaterial) -> Body:
    """Return the body whose heat is computed; raises InputError for impossible geometry."""
    material = known.material
    if shape.dry:
        kept = tuple(one for one in material.uptakes if one.name != "free water")
        material = Material(material.name, material.density, material.k, material.c, kept)
    wall = Layer(material, shape.size_m)
    form: Any = shape.shape
    if shape.form == "shell with core":
        core = Layer(material, shape.core_m)
        return Body(form, (core, Layer(wax(shape.gap_m), shape.gap_m), wall))
    hollow = shape.hollow_m if shape.form == "shell" and shape.shape != "plate" else 0.0
    if shape.form == "shell" and shape.shape != "plate" and hollow <= 0.0:
        raise InputError(
            "a round shell needs the radius of its cavity; give it with --hollow, or call it a "
            "plate"
        )
    return Body(form, (wall,), hollow)


def in_kiln(known: MouldMaterial) -> Surface:
    """Return the outer face in a kiln."""
    return Surface(known.emissivity, 10.0)


def out_of_kiln_handling(shape: MouldShape, known: MouldMaterial) -> Handling:
    """Return how the mould stands between kiln and pour."""
    return Handling(shape.wind_m_per_s, shape.in_sand, 25.0, known.emissivity)


# ---------------------------------------------------------------- the file
def read_materials(path: Path | None = None) -> dict[str, MouldMaterial]:
    """Return the materials by name; raises :class:`InputError` with file and line."""
    return dict(_read(path or shared_folder() / "moulds.toml"))


def mould_material(name: str) -> MouldMaterial:
    """Return one material; raises :class:`InputError` naming those there are."""
    known = read_materials()
    if name in known:
        return known[name]
    near = get_close_matches(name, known, n=1, cutoff=0.4)
    advice = f"did you mean {near[0]!r}?" if near else f"there are: {', '.join(known)}"
    raise InputError(f"there is no mould material {name!r}; {advice}")


@lru_cache(maxsize=8)
def _read(path: Path) -> tuple[tuple[str, MouldMaterial], ...]:
    table = tomlfile.read_file(path)
    table.only(("material",))
    found = [_material(row) for row in table.tables("material")]
    return tuple((one.name, one) for one in found)


def _material(row: TomlTable) -> MouldMaterial:
    row.only(_KEYS)
    name = row.need("name", tomlfile.text)
    water, gypsum = row.need("water", tomlfile.number), row.need("gypsum", tomlfile.number)
    if water < 0.0 or gypsum < 0.0:
        raise row.fail("water and gypsum are kilograms in a cubic metre", "water")
    uptakes = [
        Uptake("free water", 97.0, 103.0, water * _WATER_J_PER_KG),
        Uptake("water of the gypsum", 110.0, 150.0, gypsum * _GYPSUM_J_PER_KG[0]),
        Uptake("last water of the gypsum", 150.0, 180.0, gypsum * _GYPSUM_J_PER_KG[1]),
    ]
    try:
        material = Material(
            name,
            row.need("density", tomlfile.number),
            row.need("conductivity", _rows),
            row.need("heat_capacity", _rows),
            tuple(one for one in uptakes if one.heat_j_per_m3 > 0.0),
        )
    except InputError as error:
        raise row.fail(str(error)) from error
    return MouldMaterial(
        name,
        row.need("title", tomlfile.text),
        material,
        row.need("emissivity", tomlfile.number),
        row.need("burnt_c", tomlfile.number),
        tuple(_range(table) for table in row.tables("range")),
        row.need("source", tomlfile.text),
        row.get("note", tomlfile.text, ""),
        row.get("conductivity_doubt", tomlfile.number, Unknowns().conductivity),
    )


def _range(row: TomlTable) -> CriticalRange:
    row.only(("name", "from", "to", "source"))
    return CriticalRange(
        row.need("name", tomlfile.text),
        row.need("from", tomlfile.number),
        row.need("to", tomlfile.number),
        row.need("source", tomlfile.text),
    )


def _rows(value: Any) -> tuple[tuple[float, float], ...]:
    if not isinstance(value, list) or not all(isinstance(r, list) and len(r) == 2 for r in value):
        raise InputError(f"{value!r} is not a table; write [[20, 0.45], [1000, 0.6]]")
    return tuple((tomlfile.number(a), tomlfile.number(b)) for a, b in value)
