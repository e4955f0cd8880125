"""Add a command.

1. ``firelog/cli/``: one thin module: parse with click, call one function of a room below, say it.
   Import what it needs inside the function, so that ``--help`` answers at once.
   ``firelog/cli/common.py`` has ``common_options``, ``json_option``, ``pass_settings`` and
   ``emit_json``: one JSON object on stdout, everything else on stderr.
2. ``firelog/cli/__init__.py``: a row in ``COMMANDS`` with module, attribute and one line of help.
3. ``README.md``: a row in its table of commands. Raise a FirelogError where it cannot be done: that
   is exit status 2 with its sentence; ``ctx.exit(1)`` says answered, but not a pass.

Test: through the real command, in ``tests/cli/``; ``tests/test_docs.py`` holds that README
names it.
"""

from __future__ import annotations

import json

from tests.recipes.conftest import Copy

MODULE = '''"""``firelog kilns``: the kilns of the store."""

from __future__ import annotations

import click

from firelog.cli.common import Settings, common_options, emit_json, json_option, pass_settings


@click.command()
@json_option
@common_options
@pass_settings
def kilns(settings: Settings, *, as_json: bool) -> None:
    """List the kilns of the store."""
    from firelog.record.store import Store

    with Store.open(settings.store_path()) as store:
        names = store.kilns()
    if as_json:
        emit_json({"kilns": names})
    else:
        click.echo("\\n".join(names))
'''


def test_one_module_and_one_row(copy: Copy) -> None:
    """The new command is listed, answers in JSON, and fails with a sentence and status 2."""
    copy.write("firelog/cli/kilns.py", MODULE)
    row = '\n    "kilns": ("firelog.cli.kilns", "kilns", "List the kilns of the store."),'
    copy.after("firelog/cli/__init__.py", "COMMANDS = {", row)
    assert "List the kilns of the store." in copy.firelog("--help").stdout
    missing = copy.firelog("kilns", "--json")
    assert missing.returncode == 2
    assert json.loads(missing.stdout)["error"] in missing.stderr
    assert missing.stderr.startswith("firelog: ")
    copy.python(
        "from pathlib import Path\nfrom firelog.record.store import Store\n"
        f"with Store.open(Path({str(copy.store)!r}), write=True) as store:\n"
        "    store.ensure_channel('gas kiln', 'top')"
    )
    assert json.loads(copy.firelog("kilns", "--json").stdout) == {"kilns": ["gas kiln"]}
