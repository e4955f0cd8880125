"""The bench's thermocouples: how far each reads from the truth, and how sure a fair judge can be.

Tolerances are those printed in IEC 60584-1:2013 and ASTM E230 (from memory and the project's table
of facts). Every couple gets an error inside its class, unless a shape says otherwise.
"""

from dataclasses import dataclass, field

import numpy as np

# type, standard, class -> least K, share of t; S has a kink of its own and is written out below.
LIMITS = {
    ("K", "IEC", "1"): (1.5, 0.004),
    ("K", "IEC", "2"): (2.5, 0.0075),
    ("N", "IEC", "2"): (2.5, 0.0075),
    ("S", "IEC", "2"): (1.5, 0.0025),
    ("K", "ASTM", "standard"): (2.2, 0.0075),
    ("K", "ASTM", "special"): (1.1, 0.004),
}
COLD_JUNCTION_K = 0.7  # typical amplifier chip; the part that is drawn stays inside it
WAVE_SHARE = 0.12  # of the tolerance: how far the error bends with temperature


@dataclass(frozen=True)
class Couple:
    """One thermocouple as installed: what is stated of it, and its error drawn inside that.

    `stated` holds further allowances in K written into the foundry file (logger, cable ...);
    `offset_k` is what the shape adds on top of an honest couple.
    """

    name: str
    role: str = "kiln"
    letter: str = "K"
    standard: str = "IEC"
    klass: str = "2"
    stated: dict = field(default_factory=dict)
    lean: float = 0.0  # -1..1: share of the tolerance
    wave_phase: float = 0.0
    constant_k: float = 0.0  # logger, cable, cold junction: drawn inside what is stated
    offset_k: float = 0.0

    def error_k(self, true_c):
        """Error in K of this couple at `true_c` °C (array)."""
        tol = self.tolerance_k(true_c)
        wave = WAVE_SHARE * np.sin(2 * np.pi * np.asarray(true_c) / 700.0 + self.wave_phase)
        return tol * (self.lean * (1 - WAVE_SHARE) + wave) + self.constant_k + self.offset_k

    def tolerance_k(self, true_c):
        """Tolerance of new wire in K at `true_c` °C (array)."""
        least, share = LIMITS[(self.letter, self.standard, self.klass)]
        return np.maximum(least, share * np.abs(true_c))

    def u_k(self, true_c, noise_k, interval_s, digit_k):
        """Expanded uncertainty (k = 2) in K a fair judge would state.

        Tolerance and stated allowances rectangular, the cold junction too, the last digit, and
        the noise of five minutes' readings (JCGM 100:2008, 4.3.7 and 5.1.2).
        """
        rect = [self.tolerance_k(true_c), COLD_JUNCTION_K, *self.stated.values()]
        var = sum(np.square(a) / 3.0 for a in rect) + digit_k**2 / 12.0
        n = max(1.0, 300.0 / interval_s)
        return 2.0 * np.sqrt(var + noise_k**2 / n)


def draw(rng, name, role="kiln", sensor=("K", "IEC", "2"), stated=None, **other):
    """An honest couple with an error drawn inside its class and inside what is stated."""
    stated = dict(stated or {})
    constant = sum(rng.uniform(-0.9, 0.9) * a for a in stated.values())
    constant += rng.uniform(-0.5, 0.5) * COLD_JUNCTION_K
    letter, standard, klass = sensor
    return Couple(
        name=name,
        role=role,
        letter=letter,
        standard=standard,
        klass=klass,
        stated=stated,
        lean=rng.uniform(-0.95, 0.95),
        wave_phase=rng.uniform(0, 6.28),
        constant_k=constant,
        **other,
    )
