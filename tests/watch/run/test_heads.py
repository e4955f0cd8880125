"""The head of each new seal is mailed to whoever the foundry file names."""

from __future__ import annotations

import time
from pathlib import Path

import pytest

from firelog.errors import InputError
from firelog.record import outbox
from firelog.record.seal import seal, seals
from firelog.record.store import Store
from firelog.watch.plan import Person, WatchPlan, Way, read_plan
from firelog.watch.run.rounds import RoundRunner
from tests.watch.conftest import Hands, Inbox

pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated")  # Apprise's own import


def test_each_new_head_is_mailed_once(tmp_path: Path, hands: Hands, inbox: Inbox) -> None:
    """Nothing while nothing is sealed, then one mail a seal, also after the watch began anew."""
    ines = Person("Ines", (Way("mail 1", inbox.address("ines")),))
    plan = WatchPlan((ines,), heads_to="Ines")
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        walk(store, plan, hands)
        assert inbox.mails == []
        for number in (1, 2):
            store.add_event(number, "note", "swept")
            seal(store, None, now_us=number, version="0.1")
            walk(store, plan, hands)
            walk(store, plan, hands)
            assert len(inbox.mails) == number
            text = inbox.mails[-1][1].replace("=\r\n", "").replace("=\n", "")
            assert seals(store)[-1].head in text


def test_nobody_is_mailed_unasked(tmp_path: Path, hands: Hands, inbox: Inbox) -> None:
    """Without ``heads_to`` a seal stays at home."""
    ines = Person("Ines", (Way("mail 1", inbox.address("ines")),))
    with Store.open(tmp_path / "s.firelog", write=True) as store:
        seal(store, None, now_us=1, version="0.1")
        walk(store, WatchPlan((ines,)), hands)
        assert outbox.open_calls(store) == []
    assert inbox.mails == []


def test_a_person_who_is_none_is_refused_with_file_and_line(tmp_path: Path) -> None:
    """A slip in the name is told when the watch starts, not when a head should have arrived."""
    path = tmp_path / "foundry.toml"
    path.write_text(
        '[watch]\nheads_to = "Inez"\n[[person]]\nname = "Ines"\nways = ["mailto://a@b.c"]\n'
    )
    with pytest.raises(InputError, match=r"foundry.toml.*2.*'Inez'.*'Ines'"):
        read_plan(path)


def walk(store: Store, plan: WatchPlan, hands: Hands) -> None:
    """Walk rounds with a runner of its own until nothing is on its way."""
    runner = RoundRunner(store, plan, hands.clock())
    try:
        for _ in range(600):
            hands.move(0.1)
            runner.round()
            if not outbox.open_calls(store):
                return
            time.sleep(0.02)  # delivery has threads of its own
    finally:
        runner.stop()
