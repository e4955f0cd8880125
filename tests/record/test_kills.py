"""Killed at any instant, every kind of work leaves a store that is right and can go on."""

from __future__ import annotations

import os

import pytest

from tests.record.kills import KINDS, kill
from tests.record.victims import Victims

KILLS = 3  # of each kind; the bench of kills does fifty


@pytest.fixture(scope="module")
def victims():
    """A server of jobs to kill."""
    if not hasattr(os, "fork"):
        pytest.skip("needs fork")
    server = Victims()
    yield server
    server.close()


@pytest.mark.slow
@pytest.mark.parametrize("job", KINDS)
def test_killed_work_leaves_a_sound_store(victims, tmp_path, job):
    """kill -9 early, in the middle and late: nothing lost, doubled or half done, and it goes on."""
    kill(victims, job, tmp_path, KILLS)
