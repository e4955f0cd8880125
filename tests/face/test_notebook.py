"""The notebook that comes with firelog answers what it shows."""

from __future__ import annotations

import importlib.util
import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import nbformat

from tests.conftest import CHECKOUT

FOLDER = CHECKOUT / "fixtures/notebooks"
NOTEBOOK = FOLDER / "first-firing.ipynb"


def said(notebook: Any) -> list[tuple[str, list[str]]]:
    """Return each code cell with all that it answers in words."""
    return [
        (cell["source"], [text for output in cell["outputs"] for text in words(output)])
        for cell in notebook["cells"]
        if cell["cell_type"] == "code"
    ]


def words(output: dict[str, Any]) -> list[str]:
    """Return the text of one output: what was printed, or how a value reads."""
    if output["output_type"] == "stream":
        return [output["text"]]
    kept = [kind for kind in ("text/plain", "text/html") if kind in output["data"]]
    return [output["data"][kind] for kind in kept]


def test_the_notebook_answers_what_it_shows(tmp_path: Path) -> None:
    """Run afresh in a process of its own, every cell gives the text that was kept with it."""
    answer = tmp_path / "fresh.json"
    script = (
        "import json, pathlib, sys\n"
        "from execute import executed\n"
        "pathlib.Path(sys.argv[1]).write_text(json.dumps(executed()))"
    )
    command = [sys.executable, "-c", script, str(answer)]
    paths = os.pathsep.join([str(CHECKOUT), str(FOLDER)])
    done = subprocess.run(
        command, capture_output=True, text=True, check=False, env=os.environ | {"PYTHONPATH": paths}
    )
    assert done.returncode == 0, done.stderr
    kept = nbformat.read(NOTEBOOK, as_version=4)
    assert said(json.loads(answer.read_text())) == said(kept), (
        "run `python fixtures/notebooks/execute.py`, look at what changed, and keep it"
    )
    assert sum(len(found) for _, found in said(kept)) >= 12


def test_the_notebook_shows_pictures_and_no_fault() -> None:
    """A drawing that needs no script, a plotly figure, no error, and cautions."""
    kept = nbformat.read(NOTEBOOK, as_version=4)
    outputs = [o for cell in kept["cells"] for o in cell.get("outputs", [])]
    kinds = {kind for output in outputs for kind in output.get("data", {})}
    assert {"image/svg+xml", "application/vnd.plotly.v1+json", "text/html"} <= kinds
    assert "error" not in {output["output_type"] for output in outputs}
    assert "no safety device" in kept["cells"][0]["source"]
    assert NOTEBOOK.stat().st_size < 150_000


def test_the_logs_of_the_notebook_can_be_written_again(tmp_path: Path) -> None:
    """The script that made them makes the same ones."""
    spec = importlib.util.spec_from_file_location("make_logs", FOLDER / "make_logs.py")
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    script.HERE = tmp_path
    script.main()
    for name in ("egret-base.csv", "egret-neck.csv"):
        assert (tmp_path / name).read_text() == (FOLDER / name).read_text()
