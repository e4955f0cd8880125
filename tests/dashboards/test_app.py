from __future__ import annotations

import json
import re
from collections.abc import Iterator
from importlib.resources import files
from pathlib import Path

import plotly.offline
import pytest
from click.testing import CliRunner

from dashboards import access
from dashboards.app import create_app
from firelog.cli import root
from firelog.errors import InputError
from tests.dashboards.nights import three_nights

ASSETS = files("dashboards") / "assets"


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Iterator:
    path = tmp_path_factory.mktemp("app") / "three.firelog"
    three_nights(path)
    app = create_app(path)
    with app.server.test_client() as client:
        client.app = app
        yield client


def ask(client, output: str, inputs: list[dict], **headers: str):
    body = {"output": output, "inputs": inputs, "changedPropIds": [], "outputs": []}
    ids = [one.split(".") for one in output.strip(".").split("...")]
    body["outputs"] = [{"id": name, "property": prop} for name, prop in ids]
    if len(ids) == 1:
        body["outputs"] = body["outputs"][0]
    return client.post("/_dash-update-component", json=body, headers=headers)


def test_every_id_of_a_callback_is_on_the_page(board) -> None:
    """No callback listens to, or writes to, something that is not in the layout."""
    layout = board.get("/_dash-layout").get_json()
    ids = set(re.findall(r'"id": ?"([^"]+)"', json.dumps(layout)))
    wired = board.get("/_dash-dependencies").get_json()
    assert len(wired) >= 6
    for one in wired:
        named = [entry["id"] for entry in one["inputs"] + one["state"]]
        named += re.findall(r"([a-z-]+)\.[a-zA-Z]+", one["output"])
        assert set(named) <= ids


def test_a_page_comes_through_the_front_door(board) -> None:
    """The page callback, posted as the browser posts it, answers with the firing's page."""
    answer = ask(
        board,
        "..page-top.children...page-bottom.children...drawn.data...watch.data..",
        [
            {"id": "url", "property": "pathname", "value": "/firing/sound%20night"},
            {"id": "unit", "property": "data", "value": None},
        ],
    )
    assert answer.status_code == 200
    response = answer.get_json()["response"]
    assert "hot enough, long enough" in json.dumps(response["page-bottom"])
    assert response["watch"]["data"]["title"] == "sound night: pass · firelog"
    line = next(x for x in response["drawn"]["data"]["data"] if x["name"] == "top")
    assert isinstance(line["x"], list)
    assert isinstance(line["y"], list)


def test_the_frame_names_its_language_and_fits_a_phone(board) -> None:
    """lang, viewport, and nothing loaded from anywhere else."""
    page = board.get("/").get_data(as_text=True)
    assert '<html lang="en">' in page
    assert "width=device-width" in page
    loaded = re.findall(r'(?:src|href)="([^"]+)"', page)
    assert len(loaded) > 8
    assert all(one.startswith(("/", "#")) and not one.startswith("//") for one in loaded)


def test_foreign_names_and_origins_are_refused(board) -> None:
    """A forged Host gets 400; a question posted from another site gets 403."""
    assert board.get("/", headers={"Host": "evil.example"}).status_code == 400
    assert board.get("/_dash-layout", headers={"Host": "evil.example"}).status_code == 400
    for header in (
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ):
        assert board.post("/_dash-update-component", json={}, headers=header).status_code == 403
    own = {"Origin": "http://localhost", "Sec-Fetch-Site": "same-origin"}
    output = "..page-top.children...page-bottom.children...drawn.data...watch.data.."
    inputs = [
        {"id": "url", "property": "pathname", "value": "/"},
        {"id": "unit", "property": "data", "value": None},
    ]
    assert ask(board, output, inputs, **own).status_code == 200


def test_a_question_too_large_is_refused(board) -> None:
    """A megabyte posted to the board gets 413, not memory."""
    answer = board.post(
        "/_dash-update-component", data=b"x" * 1_000_000, content_type="application/json"
    )
    assert answer.status_code == 413


def test_headers_keep_strangers_out_of_the_page(board) -> None:
    """No eval, no foreign script, no frame: the policy says so on every answer."""
    for path in ("/", "/_dash-layout", "/assets/board.css", "/status.json"):
        answer = board.get(path)
        answer.close()  # a file is sent from an open handle
        headers = answer.headers
        policy = headers["Content-Security-Policy"]
        assert "default-src 'self'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe-eval" not in policy
        script = next(part for part in policy.split("; ") if part.startswith("script-src"))
        assert "unsafe-inline" not in script
        assert headers["X-Content-Type-Options"] == "nosniff"


def test_health_and_status_are_told_apart(board) -> None:
    """healthz: the server answers; status.json: the record is read, and how old it is."""
    assert board.get("/healthz").get_data(as_text=True) == "OK"
    status = board.get("/status.json")
    assert status.status_code == 200
    assert status.get_json()["running"] == []


def test_status_warns_when_the_store_is_gone(tmp_path: Path) -> None:
    """A monitor sees 503 and the sentence when the record cannot be read."""
    with create_app(tmp_path / "none.firelog").server.test_client() as client:
        answer = client.get("/status.json")
    assert answer.status_code == 503
    assert "there is no store here" in answer.get_json()["trouble"]


def test_the_small_chart_library_is_of_the_bundled_version() -> None:
    """plotly-basic in the assets is the very plotly.js that the Python package was made for."""
    text = (ASSETS / "plotly-basic.min.js").read_text(encoding="utf-8")[:400]
    assert f"v{plotly.offline.get_plotlyjs_version()}" in text
    assert "MIT" in (ASSETS / "plotly-basic.LICENSE.txt").read_text(encoding="utf-8")


def test_own_assets_name_no_other_host() -> None:
    """Stylesheet and scripts of ours fetch nothing."""
    for name in ("board.css", "board.js", "early.js", "mark.svg"):
        text = (ASSETS / name).read_text(encoding="utf-8").replace("http://www.w3.org/2000/svg", "")
        assert "//" not in re.sub(r"(^|\s)//.*", "", text)
        assert "@import" not in text


@pytest.mark.parametrize("host", ["127.0.0.1", "localhost"])
def test_this_machine_may(host: str) -> None:
    """Loopback addresses are accepted as they are."""
    assert access.only_loopback(host) == host


@pytest.mark.parametrize("host", ["0.0.0.0", "192.168.1.5", "::", "::1", "foundry.local", ""])
def test_other_machines_may_not_yet(host: str) -> None:
    """Any other address is refused with a sentence that says why."""
    with pytest.raises(InputError, match="passphrase"):
        access.only_loopback(host)


def test_the_command_refuses_before_it_listens(tmp_path: Path) -> None:
    """`firelog board` to the world, or without a store, ends with a sentence."""
    store = str(tmp_path / "none.firelog")
    for arguments, words in (
        (["--host", "0.0.0.0"], "does not open on 0.0.0.0"),
        ([], "there is no store here"),
    ):
        result = CliRunner().invoke(root, ["board", "--store", store, "--no-open", *arguments])
        assert isinstance(result.exception, Exception)
        assert words in str(result.exception)
