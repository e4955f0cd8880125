"""A sealed record: whatever changes in it afterwards is found and named."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
import subprocess
import sys

import numpy as np
import pytest

from firelog.errors import FirelogError, InputError, StoreError
from firelog.readings import Quality, Role, Unit
from firelog.record import signing
from firelog.record.rows import StoredVerdict
from firelog.record.seal import message_of, seal, seals
from firelog.record.store import Store
from firelog.record.verify import verify

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z
SECOND = 1_000_000
LATER = T0 + 86_400 * SECOND
PLAN = 'title = "short"\n[[segment]]\nname = "flash"\nto = 700\n'


def add_night(store, name="night", began_us=T0):
    """Add an invented firing with two channels, calibrations, events, a schedule, a verdict."""
    t_us = began_us + np.arange(2_000) * SECOND
    rng = np.random.default_rng(4)
    for number, (tag, role) in enumerate((("top", Role.KILN), ("core", Role.MOULD))):
        channel = store.ensure_channel("shell kiln", tag, role=role, letter="K")
        value = np.round(20 + 0.4 * np.arange(2_000) + rng.normal(0, 1, 2_000), 1)
        quality = np.where(np.arange(2_000) == 700 + number, Quality.OPEN, Quality.OK)
        store.add_readings(channel.id, t_us, value, quality.astype(np.uint8), Unit.C)
        if not store.calibrations(channel.id):
            store.add_calibration(channel.id, "2026-01-15", {"number": tag}, T0, "Oda Brandvik")
    firing = store.add_firing(
        name, "shell kiln", began_us=began_us, schedule_title="short", schedule_text=PLAN
    )
    store.add_event(began_us + 60 * SECOND, "burner lit", kiln="shell kiln", firing_id=firing.id)
    store.add_event(began_us + 90 * SECOND, "door open", kiln="shell kiln")
    store.close_firing(firing.id, int(t_us[-1]))
    store.save_verdict(StoredVerdict(firing.id, LATER, "0.1", "pass", {"checks": []}))
    return store.firing(name)


def seal_night(store, name="night", **kw):
    """Seal a firing as the command does."""
    return seal(store, store.firing(name), now_us=LATER, version="0.1", who="Oda Brandvik", **kw)


@pytest.fixture
def store(tmp_path):
    """A store with one sealed firing, open for writing."""
    with Store.open(tmp_path / "night.firelog", write=True) as opened:
        add_night(opened)
        seal_night(opened)
        yield opened


def words(verification):
    """Return the findings as one text."""
    return "\n".join(f"{f.firing}: {f.item}: {f.what}" for f in verification.findings)


def tamper(store, *statements):
    """Edit the store as somebody would who knows SQL and removes the guards first."""
    connection = store.connection
    for (name,) in connection.execute(
        "select name from sqlite_master where type='trigger' and name like '%_keep_%'"
    ).fetchall():
        connection.execute(f"drop trigger {name}")
    connection.execute("pragma foreign_keys=off")
    for statement in statements:
        connection.execute(statement)


# ---------------------------------------------------------------- published vectors
@pytest.mark.parametrize(
    ("message", "expected"),
    [
        (b"abc", "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"),
        (
            b"abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq",
            "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1",
        ),
    ],
)
def test_sha256_gives_the_published_digests(message, expected):
    """The library's SHA-256 is that of FIPS 180-4 (NIST example values for SHA-256)."""
    assert hashlib.sha256(message).hexdigest() == expected


# RFC 8032, section 7.1, tests 1 to 3: seed, public key, message, signature
RFC_8032 = [
    (
        "9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60",
        "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a",
        "",
        (
            "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701c"
            "f9b46bd25bf5f0595bbe24655141438e7a100b"
        ),
    ),
    (
        "4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb",
        "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c",
        "72",
        (
            "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0"
            "f11d8c387b2eaeb4302aeeb00d291612bb0c00"
        ),
    ),
    (
        "c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7",
        "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025",
        "af82",
        (
            "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f76098"
            "4dc6594a7c15e9716ed28dc027beceea1ec40a"
        ),
    ),
]


@pytest.mark.parametrize(("seed", "public", "message", "signature"), RFC_8032)
def test_signatures_are_those_of_the_rfc(seed, public, message, signature):
    """Keys and signatures are those of RFC 8032, section 7.1, and check as such."""
    pytest.importorskip("cryptography")
    key = signing.PrivateKey.from_seed(bytes.fromhex(seed))
    assert key.public_hex() == public
    assert key.sign(bytes.fromhex(message)).hex() == signature
    assert signing.check(public, signature, bytes.fromhex(message))
    assert not signing.check(public, signature, bytes.fromhex(message) + b"\0")


# ---------------------------------------------------------------- unchanged
def test_a_sealed_record_is_unchanged(store):
    """Right after sealing nothing is found and nothing noted."""
    found = verify(store)
    assert (found.findings, found.notes) == ((), ())
    kinds = [item.kind for item in found.seals[0].listed()]
    assert sorted(set(kinds)) == [
        "blocks",
        "calibrations",
        "channel_versions",
        "events",
        "firings",
        "kilns",
        "schedules",
        "verdicts",
    ]


def test_a_copy_is_as_unchanged_as_its_original(store, tmp_path):
    """A vacuumed copy verifies with the same head: the seal is over content, not over pages."""
    copy = tmp_path / "copy.firelog"
    store.connection.execute("vacuum into ?", (str(copy),))
    with Store.open(copy) as other:
        found = verify(other, head=seals(store)[0].head)
    assert found.unchanged


def test_what_comes_later_openly_is_noted_not_found(store):
    """Corrections, new certificates and new verdicts leave the seal valid, and are listed."""
    event = store.events(store.firing("night"))[0]
    store.correct_event(event.id, text="pilot only", who="Oda Brandvik", why="wrong burner")
    store.add_calibration(1, "2026-06-01", {"number": "new"}, LATER, "Oda Brandvik")
    store.save_verdict(StoredVerdict(1, LATER + 1, "0.2", "not proven", {"checks": []}))
    store.ensure_channel("shell kiln", "top", letter="N")
    found = verify(store)
    assert found.unchanged
    assert [note.item.split()[0] for note in found.notes] == [
        "description",
        "calibration",
        "event",
        "verdict",
    ]


def test_a_correction_keeps_what_it_corrects(store):
    """The old event stays; the new one says who, when and why, and which it supersedes."""
    old = store.events(store.firing("night"))[0]
    number = store.correct_event(old.id, text="pilot only", who="Oda Brandvik", why="wrong burner")
    firing = store.firing("night")
    events = {event.id: event for event in store.events(firing, superseded=True)}
    assert events[old.id] == old
    assert old.id not in {event.id for event in store.events(firing)}
    new = events[number]
    assert (new.corrects, new.why, new.who) == (old.id, "wrong burner", "Oda Brandvik")
    assert new.entered_us is not None
    with pytest.raises(InputError, match="who makes it and why"):
        store.correct_event(old.id, text="x", who="", why="y")
    with pytest.raises(InputError, match="no event 99"):
        store.correct_event(99, text="x", who="y", why="z")


def test_sealing_again_covers_what_was_added(store):
    """Late readings are found until a further seal covers them; the first seal stays."""
    t_us = T0 + 500 + np.arange(100) * SECOND
    store.add_readings(1, t_us, np.full(100, 20.0), np.zeros(100, np.uint8), Unit.C)
    store.add_scan(T0 + 7, [(2, 21.0, Unit.C, Quality.OK)])
    assert "were added after the seal" in words(verify(store))
    assert "1 were added" in words(verify(store))
    seal_night(store)
    found = verify(store)
    assert found.unchanged
    assert len(found.seals) == 2


def test_neighbouring_firings_do_not_disturb(store):
    """The next firing of the same kiln, imported later, changes nothing in the sealed one."""
    add_night(store, "second night", began_us=T0 + 5_000 * SECOND)
    assert verify(store).unchanged
    seal_night(store, "second night")
    assert verify(store).unchanged
    assert verify(store, [store.firing("second night")]).unchanged


def test_a_running_firing_cannot_be_sealed(store):
    """Only an ended firing has a record to close."""
    store.add_firing("now", "shell kiln", began_us=LATER)
    with pytest.raises(StoreError, match="still running"):
        seal_night(store, "now")


# ---------------------------------------------------------------- altered
EDITS = {
    "firing's end": ("update firings set ended_us = ended_us - 1", "firing 'night'.*altered"),
    "firing's kiln": ("update kilns set name = 'other kiln'", "altered"),
    "schedule": ("update schedules set text = text || ' '", "schedule 'short'.*altered"),
    "channel": ("update channel_versions set description = '{}'", "channel 'top'.*altered"),
    "calibration": ("update calibrations set certificate = '{}'", "calibration of 'top'.*altered"),
    "event's text": ("update events set text = 'x' where id = 1", "event 'burner lit'.*altered"),
    "event gone": ("delete from events where id = 2", "event 'door open'.*missing"),
    "verdict": ("update verdicts set verdict = 'fail'", "verdict of 2026-03-02.*altered"),
    "block's summary": ("update blocks set maximum = 1000 where id = 1", "readings of 'top'.*alt"),
    "block's bytes": (
        "update blocks set packet = zeroblob(length(packet)) where id = 2",
        "readings of 'core' at 2026-03-01T08:00:00Z.*altered.*checksum",
    ),
    "times": ("update block_times set packet = zeroblob(9)", "readings of 'top'.*altered.*cut off"),
    "block gone": ("delete from blocks where id = 1", "readings of 'top'.*missing"),
    "list": ("update seals set manifest = replace(manifest, 'top', 'tip')", "seal itself was alt"),
    "list cut": (
        "update seals set manifest = substr(manifest, 1, instr(manifest, char(10)) - 1)",
        "another length",
    ),
    "who": ("update seals set who = 'somebody else'", "seal itself was altered"),
    "seal gone": ("delete from seals", "1 seals were made; the last are missing"),
    "firing gone": ("delete from firings", "firing 1: is gone"),
}


@pytest.mark.parametrize("name", EDITS)
def test_every_edit_is_named(store, name):
    """Whoever edits one thing of a sealed record is found, and the thing is named."""
    statement, expected = EDITS[name]
    tamper(store, statement)
    found = verify(store)
    assert not found.unchanged
    assert re.search(expected, words(found), re.DOTALL)


def test_a_channel_changed_without_a_trace_is_named(store):
    """A description that no version tells of is found; one changed through firelog is not."""
    tamper(store, "drop trigger channels_update_versioned", "update channels set letter = 'S'")
    assert "described anew without a trace" in words(verify(store))


def test_exchanged_readings_are_named_even_when_well_made(store):
    """A block put in place of another, with a valid checksum, is altered all the same."""
    tamper(
        store,
        "update blocks set packet = (select packet from blocks where id = 2) where id = 1",
    )
    assert "readings of 'top'" in words(verify(store))
    assert "can still be read" in words(verify(store))


def test_a_chain_made_anew_has_another_head(store):
    """Sealing an edited record anew satisfies the chain, but not the head on the printed report."""
    printed = seals(store)[0].head
    tamper(store, "delete from seals", "update sqlite_sequence set seq=0 where name='seals'")
    tamper(store, "update events set text = 'x' where id = 1")
    seal_night(store)
    assert verify(store).unchanged
    assert printed in words(verify(store, head=printed))


def test_a_mistyped_head_is_no_forgery(store):
    """What cannot be a head is refused as mistyped; an older one is told from the newest."""
    first = seals(store)[0].head
    for wrong in (first[:-1], first + "0", "g" + first[1:], ""):
        with pytest.raises(InputError, match="is not a head"):
            verify(store, head=wrong)
    assert verify(store, head=f" {first.upper()} ").notes == ()
    newest = seal_night(store).head
    (note,) = verify(store, head=first).notes
    assert f"1 came after it, the newest head is {newest}" in note.what


def test_a_chain_with_a_seal_left_out_is_named(store):
    """A seal taken out of the middle leaves a gap that shows."""
    for number in range(2):
        add_night(store, f"n {number}", began_us=T0 + (number + 1) * 5_000 * SECOND)
        seal_night(store, f"n {number}")
    assert verify(store).unchanged
    tamper(store, "delete from seals where id = 2")
    assert "does not follow the seal before it" in words(verify(store))


def test_an_unsealed_firing_asked_for_is_a_finding(store):
    """Asked for a firing by name, verify does not pass one that was never sealed."""
    add_night(store, "open", began_us=T0 + 9_000 * SECOND)
    assert "never sealed" in words(verify(store, [store.firing("open")]))
    assert verify(store).unchanged


# ---------------------------------------------------------------- a flipped byte, anywhere
def content(store):
    """Return all that a sealed record says, through the door that judging uses."""
    firing = store.firing("night")
    return json.dumps(
        [
            repr(firing),
            store.schedule_text(firing),
            repr(store.events(firing)),
            repr(store.verdict(firing)),
            [repr(channel) for channel in store.channels("shell kiln")],
            [repr(store.calibrations(channel.id)) for channel in store.firing_channels(firing)],
            [
                [trace.t_us.tobytes().hex(), trace.value.tobytes().hex(), trace.quality.tolist()]
                for channel in store.firing_channels(firing)
                for trace in [store.readings(channel.id, firing.began_us, firing.ended_us)]
            ],
        ]
    )


def test_a_flipped_byte_anywhere_is_named_or_harmless(tmp_path):
    """A byte flipped at any place of the file is named, or the record says exactly the same."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal_night(store)
        before = content(store)
        page = store.connection.execute("pragma page_size").fetchone()[0]
    good = path.read_bytes()  # closed: a plain file
    rng = np.random.default_rng(9)
    used = np.flatnonzero(np.frombuffer(good, np.uint8))
    places = np.concatenate([rng.choice(used, 150), rng.integers(0, len(good), 50), np.arange(100)])
    named = 0
    for number, place in enumerate(places):
        bad = bytearray(good)
        bad[place] ^= 1 << int(rng.integers(8))
        copy = tmp_path / f"{number}.firelog"
        copy.write_bytes(bad)
        try:
            with Store.open(copy) as store:
                found = verify(store)
                if found.unchanged:
                    assert content(store) == before, f"byte {place} of page {place // page}"
                    assert found.seals, f"byte {place}: the seal vanished without a word"
                else:
                    assert words(found)
                    named += 1
        except FirelogError as error:
            named += str(copy) in str(error)
        copy.unlink()
    assert named > 100


# ---------------------------------------------------------------- signatures
@pytest.fixture
def key_path(tmp_path):
    """A fresh key file."""
    pytest.importorskip("cryptography")
    signing.PrivateKey.create(tmp_path / "foundry.key")
    return tmp_path / "foundry.key"


def test_a_signed_seal_fits_its_key_only(store, key_path, tmp_path):
    """A signature holds for the foundry's key, and no other key's signature passes for it."""
    key = signing.PrivateKey.load(key_path)
    done = seal_night(store, key=key)
    assert signing.check(key.public_hex(), done.signature, message_of(done.head))
    found = verify(store, public_key=key.public_hex())
    assert (found.findings, found.notes) == ((), ())
    assert key.public_hex() in verify(store).notes[0].what
    other = signing.PrivateKey.create(tmp_path / "other.key")
    assert "another key" in words(verify(store, public_key=other.public_hex()))
    tamper(store, "update seals set signature = replace(signature, 'a', 'b') where id = 2")
    assert "does not fit" in words(verify(store, public_key=key.public_hex()))


def test_an_unsigned_seal_does_not_pass_for_a_signed_one(store):
    """Where a public key is named, a seal without signature is a finding."""
    assert "there is none" in words(verify(store, public_key="00" * 32))


def test_a_key_is_for_its_owner_only(key_path):
    """A key file is made private, refused when others may read it, and never overwritten."""
    assert key_path.stat().st_mode & 0o777 == 0o600
    with pytest.raises(InputError, match="never overwritten"):
        signing.PrivateKey.create(key_path)
    key_path.chmod(0o640)
    with pytest.raises(InputError, match="chmod 600"):
        signing.PrivateKey.load(key_path)


@pytest.mark.parametrize("text", ["", "abc", "zz" * 32, "00" * 31])
def test_what_is_no_public_key_is_refused(text):
    """A public key is 64 hexadecimal digits, or a file of them."""
    with pytest.raises(InputError, match="64 hexadecimal digits"):
        signing.public_key(text)


def test_a_file_that_is_no_key_is_refused(tmp_path):
    """Files that are missing, or no key, are named with what is wrong."""
    pytest.importorskip("cryptography")
    path = tmp_path / "no.key"
    with pytest.raises(InputError, match="cannot be read"):
        signing.PrivateKey.load(path)
    path.write_text("hello")
    path.chmod(0o600)
    with pytest.raises(InputError, match="no key file"):
        signing.PrivateKey.load(path)


# ---------------------------------------------------------------- the commands
def firelog(*arguments):
    """Run the real command."""
    return subprocess.run(
        [sys.executable, "-c", "from firelog.cli import main; main()", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_the_commands_seal_and_verify(tmp_path):
    """Seal and verify end with 0; a copy that was tampered with ends with 1 and a name."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
    done = firelog("seal", "night", "--store", path, "--who", "Oda Brandvik", "--json")
    assert done.returncode == 0, done.stderr
    head = json.loads(done.stdout)["seals"][0]["head"]
    done = firelog("verify", "--store", path, "--head", head, "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)["unchanged"] is True
    copy = tmp_path / "copy.firelog"
    shutil.copy(path, copy)
    with Store.open(copy, write=True) as store:
        tamper(store, "update events set t_us = t_us + 1 where id = 1")
    done = firelog("verify", "night", "--store", copy)
    assert done.returncode == 1
    assert "ALTERED  night: event 'burner lit' at 2026-03-01T08:01:00Z: was altered" in done.stdout
    done = firelog("seal", "no such night", "--store", path)
    assert done.returncode == 2
    assert "there is no firing" in done.stderr


def test_the_commands_list_and_correct_events(tmp_path):
    """A correction through the command supersedes, keeps who and why, and needs both."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal_night(store)
    words_ = ("--who", "Oda Brandvik", "--why", "wrong burner", "--store", path)
    done = firelog("firings", "correct", "night", "1", "pilot only", *words_)
    assert done.returncode == 0, done.stderr
    done = firelog("firings", "events", "night", "--store", path, "--json")
    rows = json.loads(done.stdout)["events"]
    assert [(r["number"], r["corrects"], r["superseded_by"]) for r in rows] == [
        (1, None, 3),
        (3, 1, None),
        (2, None, None),
    ]
    assert firelog("firings", "correct", "night", "1", "x", *words_).returncode == 2
    done = firelog("firings", "correct", "night", "2", "x", "--store", path)
    assert done.returncode == 2
    assert firelog("verify", "--store", path).returncode == 0
