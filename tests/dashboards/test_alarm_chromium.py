"""An alarm at the board in a real Chromium: put aside with a reason, and taken back."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from firelog.alarm import AlarmAction, AlarmState, Priority
from firelog.record import alarms
from firelog.record.store import Store
from tests.dashboards.test_chromium import (  # noqa: F401  (the fixtures are used by name)
    CHROMIUM,
    PHONE,
    Server,
    Visit,
    chromium,
    serve,
)

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here"),
]
T0 = 1_772_352_000_000_000


def test_an_alarm_is_put_aside_and_taken_back(
    serve: Callable[[Path], Server],  # noqa: F811
    chromium: Callable[..., Visit],  # noqa: F811
    store_path: Path,
) -> None:
    """On a phone: a reason, 'put aside', then 'take back', and the alarm stands again."""
    with Store.open(store_path, write=True) as store:
        alarms.keep(
            store, key="k/too hot", kind="too hot", kiln=None, firing=None,
            priority=Priority.HIGH, text="40 K too hot", remedy="Turn it down.",
            act=AlarmAction.OCCUR, state=AlarmState.UNACKNOWLEDGED, present=True, t_us=T0,
        )  # fmt: skip
    visit = chromium(serve(store_path).address, **PHONE)
    page = visit.go("/tonight")
    page.locator(".alarm.unacknowledged").wait_for()
    assert page.get_by_role("button", name="take back").count() == 0
    page.locator(".aside summary").tap()
    page.get_by_label("why it may be put aside").fill("wet load, we stand beside it")
    page.get_by_role("button", name="put aside").tap()
    page.locator(".alarm.shelved").wait_for()
    button = page.get_by_role("button", name="take back")
    button.wait_for()
    box = button.bounding_box()
    assert box is not None
    assert box["height"] >= 40  # a thumb at night
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    button.tap()
    page.locator(".alarm.unacknowledged").wait_for()
    assert page.get_by_role("button", name="take back").count() == 0
    with Store.open(store_path) as store:
        acts = [step.act for step in alarms.steps(store, alarm_id=1)]
    assert acts == [AlarmAction.OCCUR, AlarmAction.SHELVE, AlarmAction.UNSHELVE]
    assert visit.complaints == []
    assert visit.foreign() == []
