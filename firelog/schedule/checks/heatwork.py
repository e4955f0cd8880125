"""Heat work: time at other temperatures expressed as time at one, for a process with a known
activation energy (burning out carbon, sintering silica).

The rate of such a process follows Arrhenius, k ∝ exp(−E/RT); the equivalent time at T_ref is the
integral of k(T)/k(T_ref). Source: S. Arrhenius, Z. phys. Chem. 4 (1889) 226; for the use in
firing, equivalent isothermal time as in any text on sintering. R: CODATA 2018, exact in the SI.
"""

from __future__ import annotations

import numpy as np

from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

GAS_J_PER_MOL_K = 8.314462618


def speed(temp_c: FloatArray, activation_j_per_mol: float, equivalent_at_c: float) -> FloatArray:
    """Return how many times faster [no unit] the process runs than at ``equivalent_at_c`` [°C].

    ``temp_c`` [°C] (n,), ``activation_j_per_mol`` [J/mol]. Source: S. Arrhenius, Z. phys. Chem. 4
    (1889) 226; the gas constant of CODATA 2018.

    exp(250 000 / 8.314 · (1 / 1123.15 − 1 / 1143.15)) = 1.60:

    >>> speed(np.array([850.0, 870.0]), 250_000.0, 850.0).round(2)
    array([1. , 1.6])
    """
    temp_k = np.maximum(np.asarray(temp_c, dtype=np.float64) + ZERO_C_IN_K, 1.0)
    reference_k = equivalent_at_c + ZERO_C_IN_K
    exponent = activation_j_per_mol / GAS_J_PER_MOL_K * (1.0 / reference_k - 1.0 / temp_k)
    return np.asarray(np.exp(np.clip(exponent, -700.0, 50.0)))


def equivalent_steps_s(
    t_s: FloatArray, temp_c: FloatArray, activation_j_per_mol: float, equivalent_at_c: float
) -> FloatArray:
    """Return the equivalent time [s] of each step between readings (trapezoid), (n − 1,).

    ``t_s`` [s] and ``temp_c`` [°C] are (n,); ``activation_j_per_mol`` [J/mol] and
    ``equivalent_at_c`` [°C] as in ``speed``. Source: S. Arrhenius, Z. phys. Chem. 4 (1889) 226.
    """
    at = speed(temp_c, activation_j_per_mol, equivalent_at_c)
    return np.asarray(np.diff(t_s) * (at[1:] + at[:-1]) / 2.0)
