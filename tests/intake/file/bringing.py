"""One file into a store, as an import of several does it with each."""

from __future__ import annotations

import time
from collections.abc import Iterable

from firelog.foundry import ChannelSpec
from firelog.intake.file import importing
from firelog.intake.file.account import FileReport
from firelog.intake.file.plan import ReadPlan
from firelog.record.store import Store


def store_file(
    store: Store,
    plan: ReadPlan,
    kiln: str,
    specs: Iterable[ChannelSpec] = (),
    progress: importing.Progress | None = None,
) -> FileReport:
    """Take a file in and finish its import; returns the account, conflicts and all."""
    now_us = time.time_ns() // 1000
    report = importing.take_in(store, plan, kiln, specs, progress, now_us=now_us)
    importing.finish(store, report, now_us)
    return report
