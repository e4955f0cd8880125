"""``firelog doctor``, quick and thorough: what each finds, and that damage never stops it."""

from __future__ import annotations

import json

import numpy as np
import pytest
from click.testing import CliRunner

from firelog.cli.doctor import doctor
from firelog.record.castings import photo_folder
from firelog.record.examine import examine, glance, photographs
from firelog.record.store import Store
from tests.record.test_forging import fill
from tests.record.test_seal import tamper

PHOTO = b"\xff\xd8\xff\xe0 an invented picture"


def look(path, *options):
    """Run the command in this process; whatever it raised beside its exit status is re-raised."""
    done = CliRunner().invoke(doctor, ["--store", str(path), *options])
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        raise done.exception
    return done


@pytest.fixture
def path(tmp_path):
    """A sealed store with a row in every table, and the photograph that one of them names."""
    path = tmp_path / "s.firelog"
    fill(path)
    with Store.open(path, write=True) as store:
        tamper(store, f"update photographs set bytes={len(PHOTO)}")
        folder = photo_folder(store)
        folder.mkdir()
        (folder / f"{'ab' * 32}.jpeg").write_bytes(PHOTO)
    return path


def test_a_quick_look_reads_the_newest_and_a_thorough_one_everything(path):
    """An old block that was changed is found by the thorough look, the newest by both."""
    with Store.open(path, write=True) as store:
        assert list(glance(store)) == []
        tamper(store, "update events set text='another' where id=2")
        assert list(glance(store)) == []
        assert any("altered" in one for one in examine(store))
        tamper(store, "update blocks set total=total+1 where id=1")
        assert any("summary of other readings" in one for one in glance(store))


def test_a_quick_look_computes_the_newest_heads(path):
    """A seal whose list was changed is named by the quick look too."""
    with Store.open(path, write=True) as store:
        tamper(store, "update seals set manifest=manifest || ' '")
        assert any("its head does not fit" in one for one in glance(store))


def test_photographs_are_held_against_their_rows(path):
    """Gone and cut are found by both looks; changed bytes of the same size by the thorough one."""
    with Store.open(path) as store:
        photo = next(photo_folder(store).iterdir())
        assert list(photographs(store, thorough=False)) == []
        assert ["no longer what was entered" in p for p in photographs(store, thorough=True)] == [
            True
        ]
        photo.write_bytes(PHOTO[:-1])
        assert ["bytes" in one for one in photographs(store, thorough=False)] == [True]
        photo.unlink()
        assert ["cannot be read" in one for one in glance(store)] == [True]


def test_the_command_says_which_look_it_was(path):
    """The quick look proposes the thorough one; the thorough one reads the photographs."""
    quick = json.loads(look(path, "--json").stdout)
    assert any("--thorough" in note for note in quick["notes"])
    whole = json.loads(look(path, "--thorough", "--json").stdout)
    assert not any("--thorough" in note for note in whole["notes"])
    assert any("photograph" in problem for problem in whole["problems"])


@pytest.mark.parametrize("option", [(), ("--thorough",)], ids=["quick", "thorough"])
def test_no_damage_ends_it_in_a_traceback(path, tmp_path, option):
    """Cut anywhere, zeroed pages, noise, text: sentences and exit status 1, never an exception."""
    good = path.read_bytes()
    rng = np.random.default_rng(5)
    damaged = [good[:size] for size in (0, 1, 16, 99, 100, 1_000, 4_096, len(good) // 2)]
    damaged += [b"not a store\n" * 50, rng.bytes(8_192)]
    for start in rng.integers(0, len(good) // 4_096, 12) * 4_096:
        damaged.append(good[:start] + bytes(4_096) + good[start + 4_096 :])
        damaged.append(good[:start] + rng.bytes(4_096) + good[start + 4_096 :])
    statuses = []
    for number, content in enumerate(damaged):
        copy = tmp_path / f"{number}.firelog"
        copy.write_bytes(content)
        done = look(copy, *option)
        statuses.append(done.exit_code)
        assert done.exit_code == 0 or "WRONG" in done.output or "mend" in done.output
    assert statuses[:10] == [1] * 10
    assert set(statuses) <= {0, 1}
