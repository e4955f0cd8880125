"""kill -9 at fifty instants, spread over the time it takes, of each kind of work on a store.

``FIRELOG_KILLS`` says how many of each kind (50). Prints how far the work had come at the kill.
"""

from __future__ import annotations

import os

import pytest

from tests.record.kills import KINDS, kill
from tests.record.victims import Victims

KILLS = int(os.environ.get("FIRELOG_KILLS", "50"))


@pytest.fixture(scope="module")
def victims():
    """A server of jobs to kill."""
    if not hasattr(os, "fork"):
        pytest.skip("needs fork")
    server = Victims()
    yield server
    server.close()


@pytest.mark.bench
@pytest.mark.parametrize("job", KINDS)
def test_fifty_kills_of_each_kind(victims, tmp_path, capsys, job):
    """After every kill the store is sound, what was acknowledged is there, and work goes on."""
    whole_s, stood = kill(victims, job, tmp_path, KILLS)
    with capsys.disabled():
        print(f"\n{job}: {stood.total()} kills over {1000 * whole_s:.0f} ms: {dict(stood)}")
    assert stood.total() == KILLS
