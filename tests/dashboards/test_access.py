"""The locked door: who comes in from a phone, and who does not."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from dashboards import access, door
from dashboards.app import create_app
from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.errors import InputError
from firelog.record import alarms
from firelog.record.store import Store
from firelog.units import parse_duration
from firelog.watch.calls import links

T0 = 1_772_352_000_000_000
LOOK, WRITE = "heron on one leg", "two crucibles of tin"
BASE = "https://kiln.lan"
OWN = {"Origin": BASE, "Sec-Fetch-Site": "same-origin"}


@pytest.fixture(scope="module")
def hashes(tmp_path_factory: pytest.TempPathFactory) -> str:
    """The file of both passphrases' hashes, made once: each is dear to make."""
    store = tmp_path_factory.mktemp("door") / "s.firelog"
    door.set_passphrase(store, "look", LOOK)
    door.set_passphrase(store, "write", WRITE)
    return door.passphrase_path(store).read_text()


@pytest.fixture
def path(store_path: Path, hashes: str) -> Path:
    """A store with one unacknowledged alarm, and the passphrases."""
    with Store.open(store_path, write=True) as store:
        alarms.keep(
            store, key="k/too hot", kind="too hot", kiln=None, firing=None,
            priority=Priority.HIGH, text="40 K <b>too hot</b>", remedy="Turn it down.",
            act=AlarmAction.OCCUR, state=AlarmState.UNACKNOWLEDGED, present=True, t_us=T0,
        )  # fmt: skip
    door.passphrase_path(store_path).write_text(hashes)
    return store_path


@pytest.fixture
def visit(path: Path) -> Callable[[], Any]:
    """Return browsers of their own at the locked door."""
    at = door.at(path, "192.168.7.20", names=("kiln.lan",), certificate=True)
    server = create_app(path, at).server

    def come() -> Any:
        return server.test_client()

    return come


def get(client: Any, where: str, **headers: str) -> Any:
    answer = client.get(where, base_url=BASE, headers=headers)
    answer.close()
    return answer


def enter(client: Any, words: str, **headers: str) -> Any:
    return client.post("/login", base_url=BASE, data={"passphrase": words}, headers=OWN | headers)


def acknowledge(client: Any, **headers: str) -> Any:
    told = {"number": 1, "who": "Ines"}
    return client.post("/acknowledge", base_url=BASE, json=told, headers=headers or OWN)


def state(path: Path) -> AlarmState:
    with Store.open(path) as store:
        return alarms.one(store, 1).state


# ---------------------------------------------------------------- no way round
@pytest.mark.parametrize(
    "where",
    ["/", "/tonight", "/firing/x", "/_dash-layout", "/_dash-dependencies", "/alarms.json",
     "/status.json", "/_dash-component-suites/dash/deps/react.js", "/_reload-hash"],
)  # fmt: skip
def test_without_the_passphrase_nothing_is_shown(visit: Callable[[], Any], where: str) -> None:
    """Pages lead to the door, everything else answers 401: no layout, no alarm, no name."""
    answer = get(visit(), where)
    assert answer.status_code in (302, 401)
    if answer.status_code == 302:
        assert answer.headers["Location"] == "/login"


def test_posting_without_a_session_changes_nothing(visit: Callable[[], Any], path: Path) -> None:
    """Neither an acknowledgement nor a question to Dash is answered."""
    client = visit()
    assert acknowledge(client).status_code == 401
    asked = client.post("/_dash-update-component", base_url=BASE, json={}, headers=OWN)
    assert asked.status_code == 401
    assert state(path) is AlarmState.UNACKNOWLEDGED


def test_roles_look_and_write(visit: Callable[[], Any], path: Path) -> None:
    """Who may look sees the alarm and cannot touch it; who may write can."""
    looker, writer = visit(), visit()
    assert enter(looker, LOOK).headers["Location"] == "/tonight"
    told = looker.get("/alarms.json", base_url=BASE).get_json()
    assert [one["text"] for one in told["alarms"]] == ["40 K <b>too hot</b>"]
    assert told["may_write"] is False
    assert acknowledge(looker).status_code == 403
    assert state(path) is AlarmState.UNACKNOWLEDGED
    enter(writer, WRITE)
    assert acknowledge(writer).status_code == 200
    assert state(path) is AlarmState.ACKNOWLEDGED


# ---------------------------------------------------------------- attacks
def test_brute_force_is_slowed_and_the_right_words_must_wait_too(
    visit: Callable[[], Any],
) -> None:
    """After five wrong ones the address waits, whatever it says, in whatever session."""
    answers = [enter(visit(), f"wrong {n}").status_code for n in range(7)]
    assert answers[:5] == [401] * 5
    assert set(answers[5:]) == {429}
    assert enter(visit(), WRITE).status_code == 429


def test_waiting_doubles_and_ends() -> None:
    """5, 10, 20 … seconds up to five minutes; another address does not wait."""
    at_s = [0.0]
    throttle = access.LoginThrottle(lambda: at_s[0])
    waits = []
    for _ in range(14):
        throttle.failed("a")
        waits.append(throttle.wait_s("a"))
        at_s[0] += waits[-1]
    assert waits[:7] == [0.0, 0.0, 0.0, 0.0, 5.0, 10.0, 20.0]
    assert waits[-1] == access.LONGEST_WAIT_S
    assert throttle.wait_s("a") == 0.0
    assert throttle.wait_s("b") == 0.0
    for number in range(5000):
        throttle.failed(str(number))
    assert len(throttle._wrong) <= access.MOST_ADDRESSES


def test_a_session_planted_before_entering_is_thrown_away(visit: Callable[[], Any]) -> None:
    """Session fixation: what stood in the cookie before is gone after entering, and is another."""
    client = visit()
    with client.session_transaction(base_url=BASE) as planted:
        planted["planted"] = "by somebody"
    before = client.get_cookie("__Host-firelog", domain="kiln.lan").value
    enter(client, LOOK)
    assert client.get_cookie("__Host-firelog", domain="kiln.lan").value != before
    with client.session_transaction(base_url=BASE) as now:
        assert "planted" not in now
        assert now["role"] == "look"


def test_a_forged_or_edited_cookie_opens_nothing(visit: Callable[[], Any]) -> None:
    """A cookie signed with another key, or with one sign changed, is no session."""
    from flask import Flask
    from flask.sessions import SecureCookieSessionInterface

    forger = Flask("forger")
    forger.secret_key = "another"
    signer = SecureCookieSessionInterface().get_signing_serializer(forger)
    assert signer is not None
    client = visit()
    forged = signer.dumps({"role": "write", "mark": "x", "since": 2**31})
    client.set_cookie("__Host-firelog", forged, domain="kiln.lan", secure=True)
    assert get(client, "/alarms.json").status_code == 401
    client = visit()
    enter(client, LOOK)
    good = client.get_cookie("__Host-firelog", domain="kiln.lan").value
    client.set_cookie("__Host-firelog", good[:-2] + "AA", domain="kiln.lan", secure=True)
    assert get(client, "/alarms.json").status_code == 401


def test_the_cookie_is_for_this_site_and_no_script(visit: Callable[[], Any]) -> None:
    """HttpOnly, Secure, SameSite=Strict, host only."""
    cookie = enter(visit(), LOOK).headers["Set-Cookie"]
    for word in ("__Host-firelog=", "HttpOnly", "Secure", "SameSite=Strict", "Path=/"):
        assert word in cookie
    assert "Domain" not in cookie


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "https://evil.example", "Sec-Fetch-Site": "cross-site"},
        {"Origin": "https://evil.example"},
        {"Origin": "null", "Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"X-Nothing": "says where it comes from"},
    ],
)
def test_a_cross_site_post_with_a_good_session_is_refused(
    visit: Callable[[], Any], path: Path, headers: dict[str, str]
) -> None:
    """The reader's own session does not help a page elsewhere, to acknowledge or to enter."""
    client = visit()
    enter(client, WRITE)
    assert acknowledge(client, **headers).status_code == 403
    assert state(path) is AlarmState.UNACKNOWLEDGED
    other = client.post("/login", base_url=BASE, data={"passphrase": LOOK}, headers=headers)
    assert other.status_code == 403


@pytest.mark.parametrize("host", ["evil.example", "kiln.lan.evil.example", "192.168.7.21"])
def test_a_forged_host_is_refused(visit: Callable[[], Any], host: str) -> None:
    """A foreign name that was made to lead here reaches neither page nor door."""
    client = visit()
    for where in ("/login", "/tonight", "/alarms.json", "/seen/x", "/assets/board.css"):
        answer = client.get(where, base_url=f"https://{host}")
        answer.close()
        assert answer.status_code == 400, where


def test_a_new_passphrase_ends_old_sessions(visit: Callable[[], Any], path: Path) -> None:
    """A lost phone is locked out by setting another passphrase and starting the board again."""
    client = visit()
    enter(client, LOOK)
    cookie = client.get_cookie("__Host-firelog", domain="kiln.lan").value
    door.set_passphrase(path, "look", "another three words")
    at = door.at(path, "192.168.7.20", names=("kiln.lan",), certificate=True)
    fresh = create_app(path, at).server.test_client()
    fresh.set_cookie("__Host-firelog", cookie, domain="kiln.lan", secure=True)
    assert get(fresh, "/alarms.json").status_code == 401


def test_the_server_keeps_no_passphrase(path: Path) -> None:
    """The file holds scrypt hashes only, and only its owner may read it."""
    kept = door.passphrase_path(path).read_text()
    assert LOOK not in kept
    assert all(value.startswith("scrypt:") for value in json.loads(kept).values())
    door.set_passphrase(path, "look", "another three words")
    assert door.passphrase_path(path).stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ({"host": "192.168.7.20"}, "unencrypted"),
        ({"host": "0.0.0.0"}, "unencrypted"),
        ({"host": "127.0.0.1", "behind_proxy": True}, "needs --name"),
        ({"host": ""}, "empty"),
    ],
)
def test_an_open_door_is_refused_with_a_sentence(
    path: Path, asked: dict[str, Any], words: str
) -> None:
    """No passphrase, no encryption or no name: the board does not open there, and says why."""
    host = asked.pop("host")
    with pytest.raises(InputError, match=words):
        door.at(path, host, **asked)
    door.passphrase_path(path).unlink()
    with pytest.raises(InputError, match="empty" if not host else "without a passphrase"):
        door.at(path, host or "", certificate=True, **asked)


@pytest.mark.parametrize(("role", "words"), [("look", "short"), ("look", WRITE)])
def test_weak_passphrases_are_refused(path: Path, role: str, words: str) -> None:
    """Too short, or the same for both roles."""
    with pytest.raises(InputError):
        door.set_passphrase(path, role, words)


# ---------------------------------------------------------------- the link in a message
def test_the_link_acknowledges_only_when_its_button_is_pressed(
    visit: Callable[[], Any], path: Path
) -> None:
    """A mail program that looks at the link changes nothing; the person's button does; once."""
    token = links.token(links.secret_key(path), links.Invitation(1, "Ines"))
    client = visit()
    page = client.get(f"/seen/{token}", base_url=BASE).get_data(as_text=True)
    assert "40 K &lt;b&gt;too hot" in page
    assert "Turn it down." in page
    assert state(path) is AlarmState.UNACKNOWLEDGED
    assert client.post(f"/seen/{token}", base_url=BASE, headers=OWN).status_code == 200
    assert state(path) is AlarmState.ACKNOWLEDGED
    with Store.open(path) as store:
        assert alarms.steps(store, alarm_id=1)[-1].who == "Ines"
    assert client.get("/alarms.json", base_url=BASE).status_code == 401  # it opens nothing else


@pytest.mark.parametrize("token", ["x", "WzEsIkluZXMiXQ.aaaa.bbbb", "a/b"])
def test_a_link_of_somebody_elses_making_opens_nothing(
    visit: Callable[[], Any], path: Path, token: str
) -> None:
    """Forged tokens are refused and change nothing."""
    client = visit()
    assert client.get(f"/seen/{token}", base_url=BASE).status_code in (302, 404, 410)
    posted = client.post(f"/seen/{token}", base_url=BASE, headers=OWN)
    assert posted.status_code in (401, 404, 405, 410)
    assert state(path) is AlarmState.UNACKNOWLEDGED


@pytest.fixture
def open_desk(path: Path) -> Iterator[Any]:
    """The board on loopback, where nobody is asked."""
    with create_app(path).server.test_client() as client:
        yield client


@pytest.mark.parametrize(
    "told", [None, [], {}, {"number": "1"}, {"number": -1}, {"number": 2**63}, {"number": True}]
)
def test_nonsense_at_the_desk_is_refused(open_desk: Any, path: Path, told: Any) -> None:
    """Whatever is posted: 400 or a sentence, never a fault, and no alarm moves."""
    answer = open_desk.post("/acknowledge", json=told)
    assert answer.status_code in (400, 200)
    if told != {"number": True}:
        assert answer.status_code == 400
        assert state(path) is AlarmState.UNACKNOWLEDGED


def test_shelving_at_the_desk_needs_an_end_and_a_reason(open_desk: Any, path: Path) -> None:
    """Refused with a sentence; with both it is put aside."""
    assert open_desk.post("/shelve", json={"number": 1, "lasting": "2 h"}).status_code == 409
    assert open_desk.post("/shelve", json={"number": 1, "why": "wet load"}).status_code == 409
    done = open_desk.post("/shelve", json={"number": 1, "lasting": "2 h", "why": "wet load"})
    assert (done.status_code, state(path)) == (200, AlarmState.SHELVED)


def test_a_shelved_alarm_is_taken_back_at_the_desk(open_desk: Any, path: Path) -> None:
    """It is on the list with what is left of its time, and speaks again once it is taken back."""
    open_desk.post("/shelve", json={"number": 1, "lasting": "2 h", "why": "wet load"})
    (one,) = open_desk.get("/alarms.json").get_json()["alarms"]
    assert one["state"] == "shelved"
    assert 7000.0 < parse_duration(one["left"]) <= 7200.0
    done = open_desk.post("/unshelve", json={"number": 1, "who": "Ines"})
    assert (done.status_code, done.get_json()) == (200, {"state": "unacknowledged"})
    with Store.open(path) as store:
        last = alarms.steps(store, alarm_id=1)[-1]
    assert (last.act, last.who) == (AlarmAction.UNSHELVE, "Ines")


def test_taking_back_what_is_not_shelved_changes_nothing(open_desk: Any, path: Path) -> None:
    """The alarm stays as it is, no step is written; a number of no alarm is refused."""
    assert open_desk.post("/unshelve", json={"number": 1}).status_code == 200
    with Store.open(path) as store:
        assert [step.act for step in alarms.steps(store, alarm_id=1)] == [AlarmAction.OCCUR]
    assert open_desk.post("/unshelve", json={"number": 99}).status_code == 409
    assert open_desk.post("/unshelve", json={"number": "1"}).status_code == 400


def test_only_who_may_write_takes_an_alarm_back(visit: Callable[[], Any], path: Path) -> None:
    """With the passphrase to look: 403, and it stays shelved; with the one to write it is back."""
    with Store.open(path, write=True) as store:
        until_us = T0 + 3_600_000_000
        alarms.shelve(store, 1, who="Ines", t_us=T0, until_us=until_us, note="wet load")
    looker, writer, stranger = visit(), visit(), visit()
    enter(looker, LOOK)
    enter(writer, WRITE)

    def take_back(client: Any) -> int:
        told = {"number": 1, "who": "Ines"}
        return client.post("/unshelve", base_url=BASE, json=told, headers=OWN).status_code

    assert take_back(stranger) == 401
    assert take_back(looker) == 403
    assert state(path) is AlarmState.SHELVED
    assert take_back(writer) == 200
    assert state(path) is AlarmState.UNACKNOWLEDGED
