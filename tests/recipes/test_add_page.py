"""Add a page to the board.

1. ``dashboards/pages/``: a module with ``page(asked)`` that returns a ``Page``
   (``dashboards/page.py``): title, what stands above and below the picture, the picture. What is
   read and how it is said stands in ``firelog/view/``, where the report finds it too; the page only
   lays it out, with the parts of ``dashboards/pages/parts.py``.
2. ``dashboards/routes.py``: a row in ``ROUTES`` with its address; ``<name:name>`` for a name in it,
   ``changes`` where the page is to follow what happens, ``thing`` for the sentence that there is no
   such thing.
3. A link to it from a page that is there.

Test: in ``tests/dashboards/test_pages.py`` by calling it, and in a real browser where it moves.
Nobody reads the board by colour alone: sign and word beside it.
"""

from __future__ import annotations

from tests.recipes.conftest import Copy

PAGE = '''"""The page of the kilns: which there are."""

from __future__ import annotations

from dash import html

from dashboards.page import Page, Request
from firelog.record.store import Store


def page(asked: Request) -> Page:
    """Return the list of kilns."""
    with Store.open(asked.store) as store:
        names = store.kilns()
    return Page("Kilns", [html.H1("Kilns"), html.Ul([html.Li(name) for name in names])])
'''
TRY = """
from pathlib import Path
from dashboards import live
from firelog.record.store import Store
path = Path({store!r})
with Store.open(path, write=True) as store:
    store.ensure_channel("gas kiln", "top")
made = live.page(path, "/kilns", None)
print(made["watch"]["title"], made["top"][1].children[0].children, sep=", ")
print(live.page(path, "/klins", None)["watch"]["title"])
path.unlink()
print(live.page(path, "/kilns", None)["watch"]["title"])
"""


def test_a_module_and_a_row(copy: Copy) -> None:
    """The address finds the page, the page says what the store holds, and says when it cannot."""
    copy.write("dashboards/pages/kilns.py", PAGE)
    routes = "dashboards/routes.py"
    copy.after(routes, "from dashboards.page import Page\n", "from dashboards.pages import kilns\n")
    copy.after(routes, "ROUTES = (\n", '    Route("/kilns", kilns.page),\n')
    assert copy.python(TRY.format(store=str(copy.store))).splitlines() == [
        "Kilns · firelog, gas kiln",
        "no such page · firelog",
        "the record cannot be read · firelog",
    ]
