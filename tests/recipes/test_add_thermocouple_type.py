"""Add a thermocouple type.

1. ``firelog/physics/thermometry/its90.py``: its reference function in ``REFERENCE``, in pieces
   that join, digit by digit; the standard in the docstring at the top.
2. ``firelog/physics/thermometry/thermocouple.py``: its letter in ``LETTERS``. A function that is
   not monotonic needs a lower end of its own, as type B has.
3. ``firelog/foundry.py``: its letter in ``LETTERS``, so that a foundry file may state it.
4. ``firelog/physics/thermometry/tolerance.py``: its classes in ``_IEC`` or ``_ASTM``. Without one
   a channel of this type proves nothing until it has a certificate.

Test: printed table values and joins in ``tests/published/test_thermocouple_tables.py`` from a
source that the coefficients were not copied from, limits in ``tests/published/test_tolerances.py``.
"""

from __future__ import annotations

import json

import pytest

from tests.recipes.conftest import Copy

PHYSICS = "firelog/physics/thermometry"


@pytest.fixture
def with_type_z(copy: Copy) -> Copy:
    """An invented type Z: 0.04 mV/°C from 0 to 1000 °C, ± the greater of 2 K and 1 %."""
    copy.after(
        f"{PHYSICS}/its90.py",
        "REFERENCE: dict[str, tuple[PolynomialPiece, ...]] = {\n",
        '    "Z": (PolynomialPiece(0.0, 1000.0, (0.0, 0.04)),),\n',
    )
    copy.replace(f"{PHYSICS}/thermocouple.py", '"ABCEJKNRST"', '"ABCEJKNRSTZ"')
    copy.replace("firelog/foundry.py", '"S", "T")', '"S", "T", "Z")')
    copy.after(
        f"{PHYSICS}/tolerance.py",
        "_IEC: dict[str, dict[str, tuple[ToleranceLimit, ...]]] = {\n",
        '    "Z": {"2": (ToleranceLimit(0, 1000, 2.0, 0.01),)},\n',
    )
    return copy


def test_the_new_type_converts_with_its_tolerance(with_type_z: Copy) -> None:
    """20 mV at 0.04 mV/°C is 500 °C, and 1 % of it is 5 K (both by hand)."""
    done = with_type_z.firelog("convert", "--type", "Z", "--mv", "20", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["temperature_c"] == pytest.approx(500.0, abs=1e-6)
    tolerance = with_type_z.python(
        "import numpy as np\n"
        "from firelog.physics.thermometry.tolerance import tolerance_k\n"
        "print(*tolerance_k('Z', 'IEC', '2', np.array([100.0, 500.0, 1001.0])))"
    )
    assert tolerance == "2.0 5.0 nan"


def test_a_foundry_file_may_state_it(with_type_z: Copy) -> None:
    """The letter is accepted where a channel is described."""
    said = with_type_z.python(
        "from pathlib import Path\nfrom firelog.foundry import read_foundry\n"
        'Path(\'f.toml\').write_text(\'[[channel]]\\nname = "top"\\nkiln = "k"\\ntype = "Z"\')\n'
        "print(read_foundry(Path('f.toml')).channels[0].letter)"
    )
    assert said == "Z"
