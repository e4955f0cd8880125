"""Castings in the store: inspections that stay, defects, photographs by their hash."""

from __future__ import annotations

import hashlib

import pytest

from firelog.errors import InputError, StoreError
from firelog.record import castings, heats
from firelog.record.castings import Defect
from firelog.record.store import Store

T0 = 1_772_352_000_000_000
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(64))


@pytest.fixture
def store(tmp_path):
    """Return an open store with a firing, a heat and a poured mould."""
    with Store.open(tmp_path / "s.firelog", write=True) as made:
        made.add_firing("night", "kiln", began_us=T0, ended_us=T0 + 3_600_000_000)
        heat = heats.add_heat(made, "heat 1", "furnace", "C87300", began_us=T0)
        mould = heats.add_mould(made, "shell 1", firing="night")
        heats.add_pour(made, heat, mould, began_us=T0 + 60_000_000)
        yield made


def test_a_casting_comes_back_with_what_was_noted(store):
    """A casting keeps piece, part, numbers and words, and finds the heat it was poured from."""
    made = castings.add(
        store, "wing", "shell 1", piece="heron", part="left", details={"coats": 9, "sprue": "top"}
    )
    assert castings.casting(store, "wing") == made
    assert (made.piece, made.part, made.details) == ("heron", "left", {"coats": 9, "sprue": "top"})
    assert made.outcome == "not judged"
    poured = castings.pour_of(store, made)
    assert poured is not None
    assert (poured[0].name, poured[1].mould) == ("heat 1", "shell 1")


def test_the_newest_look_stands_and_the_earlier_stays(store):
    """Looking again changes the outcome; what was seen first is still in the record."""
    made = castings.add(store, "wing", "shell 1")
    made = castings.inspect(store, made, outcome="sound", who="Ines", seen_us=T0)
    assert made.outcome == "sound"
    defect = Defect("misrun", "feather tips", 12.0)
    made = castings.inspect(
        store, made, outcome="defects", who="Ruy", seen_us=T0 + 1, defects=[defect]
    )
    assert made.outcome == "defects"
    assert made.defects == (defect,)
    assert [one.outcome for one in made.inspections] == ["sound", "defects"]
    for table in ("inspections", "defects"):
        with (
            pytest.raises(StoreError, match="written once"),
            store.writing(),
        ):
            store.connection.execute(f"delete from {table}")


def test_what_contradicts_itself_is_refused(store):
    """Sound with a defect, defects without one, nobody who looked, an impossible number."""
    made = castings.add(store, "wing", "shell 1")

    def look(**given):
        return castings.inspect(store, made, **{"who": "Ines", "seen_us": T0, **given})

    for given in (
        {"outcome": "sound", "defects": [Defect("misrun")]},
        {"outcome": "defects"},
        {"outcome": "sound", "who": " "},
        {"outcome": "fine"},
        {"outcome": "defects", "defects": [Defect("misrun", size_mm=-3.0)]},
    ):
        with pytest.raises(InputError):
            look(**given)
    assert castings.casting(store, "wing").inspections == ()
    for details in ({"coats": -1}, {"moon": 3}, {"coats": "nine"}):
        with pytest.raises(InputError):
            castings.add(store, "other", "shell 1", details=details)
    with pytest.raises(StoreError, match="already"):
        castings.add(store, "wing", "shell 1")
    with pytest.raises(StoreError, match="no casting"):
        castings.casting(store, "nobody")


def test_a_photograph_lies_beside_the_store_under_its_hash(store, tmp_path):
    """The bytes come back as they were; of a changed or lost file nothing comes back."""
    source = tmp_path / "tip.png"
    source.write_bytes(PNG)
    made = castings.add(store, "wing", "shell 1")
    photo = castings.add_photo(store, made, source, words="the tip")
    assert photo.sha256 == hashlib.sha256(PNG).hexdigest()
    assert castings.photos(store, made) == [photo]
    assert castings.photo_bytes(store, photo) == PNG
    castings.add_photo(store, made, source)
    assert len(castings.photos(store, made)) == 1
    kept = castings.photo_folder(store) / f"{photo.sha256}.png"
    kept.write_bytes(PNG + b"!")
    assert castings.photo_bytes(store, photo) is None
    kept.unlink()
    assert castings.photo_bytes(store, photo) is None


def test_what_is_no_picture_is_refused(store, tmp_path):
    """A text with a picture's name is not kept."""
    source = tmp_path / "tip.png"
    source.write_bytes(b"<svg onload='x'/>")
    with pytest.raises(InputError, match="no JPEG, PNG or WebP"):
        castings.add_photo(store, castings.add(store, "wing", "shell 1"), source)
    assert not castings.photo_folder(store).exists()


def test_photographs_travel_with_a_backup(store, tmp_path, firelog):
    """A backup holds each whole photograph, and a restored store finds it again."""
    source = tmp_path / "tip.png"
    source.write_bytes(PNG)
    made = castings.add(store, "wing", "shell 1")
    photo = castings.add_photo(store, made, source)
    (castings.photo_folder(store) / f"{'0' * 64}.png").write_bytes(PNG)
    folder = tmp_path / "copies"
    folder.mkdir()
    store.checkpoint()
    done = firelog("backup", str(folder), "--store", str(store.path))
    assert done.returncode == 0, done.stderr
    (copy,) = folder.glob("*.firelog")
    kept = list(castings.photos_beside(copy).iterdir())
    assert [path.name for path in kept] == [f"{photo.sha256}.png"]
    target = tmp_path / "again" / "s.firelog"
    target.parent.mkdir()
    done = firelog("restore", str(copy), "--store", str(target))
    assert done.returncode == 0, done.stderr
    with Store.open(target) as again:
        (same,) = castings.photos(again, castings.casting(again, "wing"))
        assert castings.photo_bytes(again, same) == PNG
