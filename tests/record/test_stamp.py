"""A time stamp (RFC 3161) of a head, made by openssl with a service of the test's own."""

from __future__ import annotations

import shutil
import subprocess

import pytest

from firelog.errors import InputError
from firelog.record.seal import seal, seals
from firelog.record.stamp import bytes_of
from firelog.record.store import Store
from firelog.record.verify import verify, with_stamp
from tests.record.test_seal import LATER, add_night, seal_night, tamper

CONFIG = """
[tsa]
default_tsa = service
[service]
dir = .
serial = ./serial
signer_cert = ./tsa.pem
certs = ./root.pem
signer_key = ./tsa.key
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256, sha384, sha512
ess_cert_id_chain = no
ess_cert_id_alg = sha256
[req]
distinguished_name = who
[who]
[root]
basicConstraints = critical,CA:true
keyUsage = critical,keyCertSign
subjectKeyIdentifier = hash
[stamping]
basicConstraints = CA:false
keyUsage = critical,digitalSignature
extendedKeyUsage = critical,timeStamping
subjectKeyIdentifier = hash
authorityKeyIdentifier = keyid
"""


def openssl(folder, *words):
    """Run the openssl command in a folder."""
    done = subprocess.run(
        ["openssl", *words], cwd=folder, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr


@pytest.fixture(scope="module")
def service(tmp_path_factory):
    """A time stamping service of the test's own, with its root."""
    if shutil.which("openssl") is None:
        pytest.skip("needs the openssl command")
    folder = tmp_path_factory.mktemp("service")
    (folder / "tsa.cnf").write_text(CONFIG)
    (folder / "serial").write_text("01\n")
    for name in ("root", "other"):
        openssl(
            folder, "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", f"{name}.key",
            "-out", f"{name}.pem", "-days", "3650", "-subj", f"/CN=Lantern Yard {name}",
            "-config", "tsa.cnf", "-extensions", "root",
        )  # fmt: skip
    openssl(
        folder, "req", "-newkey", "rsa:2048", "-nodes", "-keyout", "tsa.key", "-out", "tsa.csr",
        "-subj", "/CN=Lantern Yard stamps", "-config", "tsa.cnf",
    )  # fmt: skip
    openssl(
        folder, "x509", "-req", "-in", "tsa.csr", "-CA", "root.pem", "-CAkey", "root.key",
        "-CAcreateserial", "-days", "3650", "-out", "tsa.pem", "-extfile", "tsa.cnf",
        "-extensions", "stamping",
    )  # fmt: skip
    return folder


def stamped(service, content, digest="-sha256"):
    """Return the service's answer for some bytes."""
    (service / "head.txt").write_bytes(content)
    openssl(service, "ts", "-query", "-data", "head.txt", digest, "-cert", "-out", "head.tsq")
    openssl(
        service, "ts", "-reply", "-config", "tsa.cnf", "-queryfile", "head.tsq", "-out", "head.tsr"
    )
    return service / "head.tsr"


@pytest.fixture
def store(tmp_path):
    """A store with two seals."""
    with Store.open(tmp_path / "s.firelog", write=True) as opened:
        add_night(opened)
        seal_night(opened)
        opened.add_event(LATER, "note", "swept", kiln="shell kiln")
        seal(opened, None, now_us=LATER + 1, version="0.1")
        yield opened


@pytest.mark.parametrize("digest", ["-sha256", "-sha384", "-sha512"])
def test_a_stamp_of_a_head_is_told_with_its_seal(service, store, digest):
    """The stamp of an earlier seal holds, and openssl says so as well."""
    first = seals(store)[0]
    token = stamped(service, bytes_of(first), digest)
    openssl(service, "ts", "-verify", "-data", "head.txt", "-in", "head.tsr", "-CAfile", "root.pem")
    answer = with_stamp(verify(store), token, service / "root.pem")
    assert answer.unchanged
    assert answer.notes[-1].what.startswith("holds: the head of seal 1 existed then")


def test_a_record_sealed_anew_does_not_fit_its_stamp(service, store):
    """Whoever rewrites the record and seals everything anew has other heads than the stamped."""
    token = stamped(service, bytes_of(seals(store)[-1]))
    tamper(
        store,
        "update events set text='lit early' where id=1",
        "delete from seals",
        "delete from sqlite_sequence where name='seals'",
    )
    seal_night(store)
    seal(store, None, now_us=LATER + 1, version="0.1")
    assert verify(store).unchanged  # by itself the forged record is whole
    answer = with_stamp(verify(store), token, service / "root.pem")
    assert [one.what for one in answer.findings] == ["is of no head that this record has"]


def test_a_stamp_of_another_service_proves_nothing(service, store):
    """A token whose chain does not lead to the trusted root is a finding."""
    token = stamped(service, bytes_of(seals(store)[-1]))
    answer = with_stamp(verify(store), token, service / "other.pem")
    assert "does not hold against other.pem" in answer.findings[0].what


def test_an_altered_token_proves_nothing(service, store):
    """Any changed byte of a token makes it no token, or one that does not hold."""
    token = stamped(service, bytes_of(seals(store)[-1]))
    whole = token.read_bytes()
    said = verify(store)
    for place in range(40, len(whole), 211):
        token.write_bytes(whole[:place] + bytes([whole[place] ^ 1]) + whole[place + 1 :])
        try:
            answer = with_stamp(said, token, service / "root.pem")
        except InputError:
            continue
        moved = [one for one in answer.notes if one not in said.notes]
        assert answer.findings or _same_time(whole, token, service, said, moved), place


def _same_time(whole, token, service, said, moved):
    """A byte outside what is signed (an unused certificate, say) changes nothing that is said."""
    token.write_bytes(whole)
    return moved == [with_stamp(said, token, service / "root.pem").notes[-1]]


def test_what_is_no_stamp_is_said_so(service, store, tmp_path):
    """Another file than a token, or than certificates, is refused with a sentence."""
    (tmp_path / "x").write_text("no token")
    with pytest.raises(InputError, match="is no time stamp's answer"):
        with_stamp(verify(store), tmp_path / "x", service / "root.pem")
    token = stamped(service, bytes_of(seals(store)[-1]))
    with pytest.raises(InputError, match="holds no certificate"):
        with_stamp(verify(store), token, tmp_path / "x")
