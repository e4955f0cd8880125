"""The metal as it comes into the mould: what the lip had, less what stream and cup take."""

from __future__ import annotations

import math

from firelog.physics.metal.metals import AlloyCard, middle
from firelog.physics.metal.stream import cup_loss_k, stream_loss_k
from firelog.quantity import How, Quantity, Unknown
from firelog.record.heats import Mould

_USUAL_KG = 5.0  # where nobody weighed it; common practice, no source


def in_mould(
    card: AlloyCard, lip: Quantity | Unknown, mould: Mould, mould_c: Quantity | Unknown
) -> Quantity | Unknown:
    """Return the metal's temperature [°C] in the mould, ± U (k = 2) [K]: shown, never judged.

    The loss is rectangular between its least and its most (JCGM 100:2008, 4.3.7).
    """
    if isinstance(lip, Unknown):
        return lip
    heat_capacity = middle(card.heat_capacity)
    least, most = stream_loss_k(lip.value, middle(card.density), heat_capacity)
    assumed = [*lip.assumed]
    kg = mould.metal_kg
    if kg is None:
        kg = _USUAL_KG
        assumed.append(f"{kg:.0f} kg in the mould: nobody said its weight")
    if isinstance(mould_c, Quantity):
        cup = cup_loss_k(lip.value, mould_c.value, kg, heat_capacity)
        least, most = least + cup[0], most + cup[1]
    half = (most - least) / 2.0
    why = f"computed: the lip less {least:.0f} to {most:.0f} K in stream and cup; {lip.why}"
    how = How.COMPUTED if lip.how is How.MEASURED else lip.how
    return Quantity(
        lip.value - (least + most) / 2.0,
        "C",
        math.hypot(lip.expanded, 2.0 * half / math.sqrt(3.0)),
        how,
        why,
        lip.sensor,
        tuple(assumed),
        (*lip.counted, "stream of 8 to 25 mm falling 5 to 45 cm, and a cup"),
        ("what the runners take",),
    )
