"""Add a step to the schema of the store.

1. ``firelog/record/migrations.py``: the statements as a constant, and a function after the last
   one under ``@migrations()`` whose docstring says what the step adds. **Never edit a released
   step**: stores that ran it exist.
2. In the same file raise ``SCHEMA`` by one. Opening a store with ``write=True`` then keeps a copy
   of it as it was beside it, and runs the step in one immediate transaction; an older firelog
   refuses the store with a sentence.
3. ``firelog/record/rows.py`` and the module of the room that reads it: the new fields, with a value
   for records that were entered before. Tables are STRICT; what was entered is not updated but
   corrected by a later entry.
4. ``firelog/record/README.md``: the picture of the tables.

Test: a store of the version before, with data in it, is migrated and read, and so are all earlier
ones (``tests/record/test_format.py``, ``tests/record/test_store.py``).
"""

from __future__ import annotations

import re

from tests.recipes.conftest import CHECKOUT, Copy

OPEN = """
from pathlib import Path
from firelog.readings import Quality, Unit
from firelog.record.store import Store
with Store.open(Path({path!r}), write={write}) as store:
    {inside}
"""
STEP = '''@migrations()
def newest(db: Any) -> None:
    """Who built a kiln."""
    db.execute("alter table kilns add column builder text not null default ''")


SCHEMA = '''


def test_a_step_and_the_number(copy: Copy) -> None:
    """A store with a reading in it gets the new column, keeps the reading, and a copy as it was."""
    text = (CHECKOUT / "firelog/record/migrations.py").read_text("utf-8")
    schema = int(re.search(r"^SCHEMA = (\d+)$", text, re.MULTILINE)[1])  # type: ignore[index]
    fill = (
        "top = store.ensure_channel('gas kiln', 'top'); "
        "store.add_scan(1_772_352_000_000_000, [(top.id, 871.25, Unit.C, Quality.OK)])"
    )
    copy.python(OPEN.format(path=str(copy.store), write=True, inside=fill))
    copy.replace(
        "firelog/record/migrations.py", f"\nSCHEMA = {schema}\n", f"\n{STEP}{schema + 1}\n"
    )
    look = (
        "print(*store.connection.execute('select name, builder from kilns').fetchone(), "
        "store.reading_span(1)[0], store.connection.execute('pragma user_version').fetchone()[0])"
    )
    said = copy.python(OPEN.format(path=str(copy.store), write=True, inside=look))
    assert said == f"gas kiln  1772352000000000 {schema + 1}"
    assert copy.store.with_name(f"{copy.store.name}.schema-{schema}").exists()


def test_the_version_before_refuses_the_migrated_store(copy: Copy) -> None:
    """What a newer firelog wrote is left alone, with a sentence."""
    file = "firelog/record/migrations.py"
    text = (copy.folder / file).read_text("utf-8")
    schema = int(re.search(r"^SCHEMA = (\d+)$", text, re.MULTILINE)[1])  # type: ignore[index]
    copy.replace(file, f"\nSCHEMA = {schema}\n", f"\n{STEP}{schema + 1}\n")
    copy.python(OPEN.format(path=str(copy.store), write=True, inside="pass"))
    (copy.folder / file).write_text(text, "utf-8")
    refused = copy.firelog("channels")
    assert refused.returncode == 2
    assert "newer firelog" in refused.stderr
