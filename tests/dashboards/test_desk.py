"""The alarm desk's cards as HTML, without a browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from dashboards import desk
from dashboards.app import create_app
from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.record import alarms
from firelog.record.store import Store

T0 = 1_772_352_000_000_000


def _alarm(store: Store, text: str) -> int:
    return alarms.keep(
        store, key="k", kind="hot", kiln=None, firing=None, priority=Priority.HIGH, text=text,
        remedy="Turn it down.", act=AlarmAction.OCCUR, state=AlarmState.UNACKNOWLEDGED,
        present=True, t_us=T0,
    )  # fmt: skip


def _client(path: Path) -> Any:
    return create_app(path).server.test_client()


def test_an_alarm_stands_in_the_first_html(store_path: Path) -> None:
    """Before any script: the card is in the page that was asked for, its words escaped."""
    with Store.open(store_path, write=True) as store:
        _alarm(store, "40 K <b>too hot</b>")
    first = _client(store_path).get("/tonight", base_url="http://127.0.0.1").get_data(as_text=True)
    assert '<article class="alarm unacknowledged high" data-number="1">' in first
    assert "40 K &lt;b&gt;too hot&lt;/b&gt;" in first
    assert desk.SPANS[0] in first
    assert "__DESK__" not in first


def test_the_card_says_who_answered_and_when(store_path: Path) -> None:
    """Acknowledged: by whom and at what time of the foundry's clock; put aside: with the reason."""
    with Store.open(store_path, write=True) as store:
        store.set_setting("timezone", "America/Denver")
        number = _alarm(store, "40 K too hot")
        alarms.acknowledge(store, number, who="Ines", t_us=T0 + 60_000_000)
    told = _client(store_path).get("/alarms.json", base_url="http://127.0.0.1").get_json()
    (one,) = told["alarms"]
    assert one["answered"] == "seen by Ines at 01:01"  # 2026-03-01 08:01 UTC is 01:01 in Denver
    assert "seen by Ines at 01:01" in told["cards"]
    assert "seen, I act" not in told["cards"]


def test_who_may_only_look_is_given_no_button() -> None:
    """A card for a reader without the right to write has nothing to press."""
    one = {
        "number": 1, "state": "unacknowledged", "priority": "high", "text": "hot", "remedy": "",
        "since": "2 min", "called": "", "left": "", "answered": "",
    }  # fmt: skip
    assert "<button" not in desk.cards({"alarms": [one], "may_write": False})
    assert "seen, I act" in desk.cards({"alarms": [one], "may_write": True})


def test_only_the_paper_record_may_stand_in_a_frame(store_path: Path, yard: Path) -> None:
    """The report's HTML may be framed by the board itself; no other page by anybody."""
    client = _client(yard)
    paper = client.get("/print/firing/owl%20melt", base_url="http://127.0.0.1")
    assert paper.status_code == 200
    assert "<svg" in paper.get_data(as_text=True)
    assert paper.headers["X-Frame-Options"] == "SAMEORIGIN"
    assert "frame-ancestors 'self'" in paper.headers["Content-Security-Policy"]
    page = client.get("/firing/owl%20melt", base_url="http://127.0.0.1")
    assert page.headers["X-Frame-Options"] == "DENY"
    assert client.get("/print/firing/nix", base_url="http://127.0.0.1").status_code == 404
    assert client.get("/print/store/nix", base_url="http://127.0.0.1").status_code == 404
