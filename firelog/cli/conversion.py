"""The work of ``firelog convert``: read what was asked, convert, print."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import click
import numpy as np
from numpy.typing import NDArray
from rich.table import Table

from firelog.cli.common import emit_json
from firelog.cli.show import console
from firelog.errors import InputError, RangeError
from firelog.physics.thermometry import thermocouple, tolerance, uncertainty
from firelog.physics.thermometry.uncertainty import Budget, MeasurementChain
from firelog.readings import FloatArray, Quality, QualityArray
from firelog.say.numbers import show_temperature
from firelog.units import from_celsius, parse_temperature

_EMF = re.compile(r"([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(mV|µV|μV|uV|V)?")
_TO_MV = {"V": 1e3, "mV": 1.0, None: 1.0}  # all others are microvolts
_ENDS_IN_TEMPERATURE_UNIT = re.compile(r"[CFKcfk℃℉]$")


# ---------------------------------------------------------------- what was asked
def stated_chain(
    letter: str, standard: str | None, grade: str | None, cold: str | None
) -> tuple[MeasurementChain, float]:
    """Return the sensor the options describe, and the cold junction's °C (0 unless stated).

    A class name alone tells its standard. Raises InputError or RangeError for what cannot be.
    """
    if standard is None:
        standard = "ASTM" if grade in ("standard", "special") else "IEC"
    chain = MeasurementChain(letter=letter, standard=standard.upper(), tolerance_class=grade)
    if cold is None:
        return chain, 0.0
    cold_c = parse_temperature(cold, "C")
    return replace(chain, cold_junction_c=cold_c), cold_c


def _parsed(text: str, option: str) -> tuple[bool, float]:
    """Return whether ``text`` is an emf, and its number in mV or °C."""
    text = text.strip()
    if option == "mv" and (emf := _EMF.fullmatch(text)):
        return True, float(emf[1]) * _TO_MV.get(emf[2], 1e-3)
    with_unit = _ENDS_IN_TEMPERATURE_UNIT.search(text) is not None
    if option == "mv" and not with_unit:
        raise InputError(f"{text!r} is not an emf; write mV like 41.276, with a point")
    if option == "at" and not with_unit:
        raise InputError(f"{text!r} has no unit; write it like 1100C or 2000F")
    return False, parse_temperature(text, "F" if option == "f" else "C")


# ---------------------------------------------------------------- the conversion
@dataclass(frozen=True)
class _Converted:
    """Arrays of equal length; NaN in all of them where the quality is not OK."""

    emf_mv: FloatArray
    temp_c: FloatArray
    tolerance_k: FloatArray
    expanded_k: FloatArray
    quality: QualityArray


def _converted(
    chain: MeasurementChain, cold_c: float, is_emf: NDArray[np.bool_], values: FloatArray
) -> _Converted:
    cold_mv = thermocouple.emf_mv(chain.letter, cold_c)
    compensated_mv = thermocouple.compensated_mv(chain.letter, values, cold_c)
    hot_mv = np.where(is_emf, compensated_mv, thermocouple.emf_mv(chain.letter, values))
    temp_c = np.where(is_emf, thermocouple.temperature_c(chain.letter, hot_mv), values)
    refused = np.isnan(hot_mv) | np.isnan(temp_c)
    quality = np.where(refused, Quality.SATURATED, Quality.OK).astype(np.uint8)
    quality[np.isnan(values)] = Quality.MISSING
    temp_c[refused] = np.nan
    return _Converted(
        # an emf that was given stays as it was given, also where it is impossible
        emf_mv=np.where(is_emf, values, hot_mv - cold_mv),
        temp_c=temp_c,
        tolerance_k=tolerance.tolerance_k(chain.letter, chain.standard, chain.sensor_class, temp_c),
        expanded_k=uncertainty.expanded_k(chain, temp_c),
        quality=quality,
    )


# ---------------------------------------------------------------- one value
def answer_one(
    chain: MeasurementChain, cold_c: float, option: str, text: str, *, budget: bool, as_json: bool
) -> None:
    """Convert one value and print it; raises RangeError when the type cannot give it."""
    is_emf, value = _parsed(text, option)
    one = _converted(chain, cold_c, np.array([is_emf]), np.array([value]))
    if one.quality[0] != Quality.OK:
        raise RangeError(_refusal(chain.letter, cold_c, is_emf=is_emf, value=value))
    found = uncertainty.budget(chain, float(one.temp_c[0])) if budget else None
    answer = _record(chain, cold_c, one)
    if as_json:
        emit_json({**answer, "budget": None if found is None else found.as_dict()})
        return
    _print_one(chain, answer)
    if found is not None:
        print_budget(found)


def _refusal(letter: str, cold_c: float, *, is_emf: bool, value: float) -> str:
    if not is_emf:
        low, high = thermocouple.valid_range_c(letter)
        return f"type {letter} is defined from {low:g} to {high:g} °C, not at {value:g} °C"
    cold_mv = thermocouple.emf_mv(letter, cold_c)
    low, high = thermocouple.valid_range_mv(letter)
    return (
        f"type {letter} with its cold junction at {cold_c:g} °C gives {low - cold_mv:.3f} to "
        f"{high - cold_mv:.3f} mV, never {value:g} mV: check the type, the unit and the wiring"
    )


def _record(chain: MeasurementChain, cold_c: float, one: _Converted) -> dict[str, Any]:
    temp_c = float(one.temp_c[0])
    return {
        "type": chain.letter,
        "emf_mv": _finite(one.emf_mv[0]),
        "cold_junction_c": cold_c,
        "temperature_c": _finite(temp_c),
        "temperature_f": _finite(from_celsius(temp_c, "F")),
        "sensitivity_uv_per_k": _finite(thermocouple.seebeck_uv_per_k(chain.letter, temp_c)),
        "standard": chain.standard,
        "class": chain.sensor_class,
        "tolerance_k": _finite(one.tolerance_k[0]),
        "uncertainty_k": _finite(one.expanded_k[0]),
        "quality": Quality(one.quality[0]).word,
        "remark": uncertainty.why_undefined(chain, temp_c),
    }


def _print_one(chain: MeasurementChain, answer: dict[str, Any]) -> None:
    temp_c = answer["temperature_c"]
    shown = f"{show_temperature(temp_c, 'C', 2)} = {show_temperature(temp_c, 'F', 2)}"
    click.echo(
        f"type {chain.letter}: {answer['emf_mv']:.4f} mV with the cold junction at "
        f"{answer['cold_junction_c']:g} °C is {shown}"
    )
    click.echo(f"sensitivity {answer['sensitivity_uv_per_k']:.3f} µV/K")
    if answer["tolerance_k"] is None:
        click.echo(answer["remark"])
    else:
        click.echo(
            f"tolerance ± {answer['tolerance_k']:.2f} K ({uncertainty.class_name(chain)}, new "
            f"wire); U = {answer['uncertainty_k']:.2f} K (k = 2)"
        )


def print_budget(budget: Budget) -> None:
    """Print an uncertainty budget as a table, and what it leaves out."""
    head, *rows = budget.table()
    table = Table(title=f"{budget.sensor}, at {budget.temp_c:g} °C", title_justify="left")
    for name in head:
        table.add_column(name, justify="left" if name in _WORDY else "right")
    for row in rows:
        table.add_row(*row)
    console().print(table)
    for left_out in budget.not_counted:
        click.echo(f"not stated, not counted: {left_out}")


_WORDY = ("contribution", "distribution", "source")


# ---------------------------------------------------------------- a column
def answer_column(
    chain: MeasurementChain, cold_c: float, option: str, lines: Iterable[str], *, as_json: bool
) -> None:
    """Convert a column and print it as one JSON object of lists, or as tab-separated rows.

    What cannot be converted keeps its place: empty (null in JSON), with the quality that says why.
    """
    is_emf, values = _read_column(lines, option)
    found = _converted(chain, cold_c, is_emf, values)
    columns = {
        "emf_mv": _listed(found.emf_mv),
        "temperature_c": _listed(found.temp_c),
        "temperature_f": _listed(from_celsius(found.temp_c, "F")),
        "tolerance_k": _listed(found.tolerance_k),
        "uncertainty_k": _listed(found.expanded_k),
        "quality": [Quality(code).word for code in found.quality.tolist()],
    }
    if as_json:
        about = {"type": chain.letter, "cold_junction_c": cold_c, "standard": chain.standard}
        emit_json({**about, "class": chain.sensor_class, **columns})
        return
    click.echo("\t".join(columns))
    for row in zip(*columns.values(), strict=True):
        click.echo("\t".join("" if cell is None else str(cell) for cell in row))


def _read_column(lines: Iterable[str], option: str) -> tuple[NDArray[np.bool_], FloatArray]:
    """Return which lines hold an emf, and the numbers; an empty line is a missing value."""
    is_emf: list[bool] = []
    values: list[float] = []
    for number, line in enumerate(lines, start=1):
        text = line.strip()
        if text.startswith("#"):
            continue
        if text.lower() in ("", "nan"):
            quantity, value = option == "mv", math.nan
        else:
            try:
                quantity, value = _parsed(text, option)
            except InputError as error:
                if number == 1 and not re.search(r"\d", text):
                    continue  # the column's heading
                raise InputError(f"standard input, line {number}: {error}") from error
        is_emf.append(quantity)
        values.append(value)
    if not values:
        raise InputError("there was nothing to convert on standard input; send numbers, one a line")
    return np.array(is_emf), np.array(values)


def _listed(values: FloatArray) -> list[float | None]:
    return [_finite(value) for value in values.tolist()]


def _finite(value: float) -> float | None:
    # Nine digits behind the point are 1 pV and 1 nK: far below any thermocouple.
    return round(float(value), 9) if math.isfinite(value) else None
