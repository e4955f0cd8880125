"""Castings in the store: what came out of a mould, what was seen on it, and its photographs.

Functions over an open :class:`Store`. An inspection is written once; who looks again adds one,
and the newest stands. A photograph lies beside the store under the SHA-256 of its bytes.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from firelog import safefile
from firelog.errors import InputError, StoreError
from firelog.record import driver, heats, migrations
from firelog.record.heats import Heat, Pour
from firelog.record.missing import not_found
from firelog.record.store import Store

# What may be noted of how a piece was made, and what each number is.
NOTED = {
    "coats": "layers of the shell",
    "wall_mm": "thickness of the casting's wall, mm",
    "drying_h": "hours the shell dried before dewaxing",
    "humidity_pct": "relative humidity of the drying room, %",
    "wax_kg": "weight of the wax, kg",
    "head_mm": "height of metal over the highest point of the piece, mm",
}
PICTURES = {b"\xff\xd8\xff": "jpg", b"\x89PNG\r\n\x1a\n": "png", b"RIFF": "webp"}
_STAMP = re.compile(r"-\d{8}T\d{6}Z\.firelog$")
_PHOTO = re.compile(r"[0-9a-f]{64}\.(jpg|png|webp)")
LARGEST = 40_000_000  # bytes of one photograph
_CASTING = """select c.id, c.name, c.piece, c.part, m.name, c.details, c.note, c.entered_us,
  c.voided_us from castings c join moulds m on m.id = c.mould"""


@dataclass(frozen=True)
class Defect:
    """One defect: its name as ``shared/defects.toml`` has it, where on the piece, how big."""

    name: str
    place: str = ""
    size_mm: float | None = None
    note: str = ""


@dataclass(frozen=True)
class Inspection:
    """What somebody saw: ``outcome`` is sound or defects."""

    id: int
    seen_us: int
    outcome: str
    who: str
    note: str
    defects: tuple[Defect, ...] = ()


@dataclass(frozen=True)
class Photograph:
    """A photograph by the hash of its bytes; ``kind`` is the ending of its file."""

    sha256: str
    kind: str
    size: int
    words: str
    who: str


@dataclass(frozen=True)
class Casting:
    """One piece, or one part of it, as it came out of one mould.

    ``details`` are numbers of :data:`NOTED` and the text ``sprue``.
    """

    id: int
    name: str
    piece: str
    part: str
    mould: str
    details: dict[str, Any]
    note: str
    entered_us: int
    inspections: tuple[Inspection, ...] = field(default=(), repr=False)
    voided_us: int | None = None

    @property
    def seen(self) -> Inspection | None:
        """The newest inspection, which stands; None while nobody has looked."""
        return self.inspections[-1] if self.inspections else None

    @property
    def outcome(self) -> str:
        """Sound, defects, or not judged."""
        return self.seen.outcome if self.seen else "not judged"

    @property
    def defects(self) -> tuple[Defect, ...]:
        """The defects that stand."""
        return self.seen.defects if self.seen else ()


# ---------------------------------------------------------------- castings
def add(
    store: Store,
    name: str,
    mould: str,
    *,
    piece: str = "",
    part: str = "",
    details: dict[str, Any] | None = None,
    note: str = "",
) -> Casting:
    """Enter a casting from a mould; raises InputError for a number that cannot be."""
    filled = heats.mould(store, mould)
    kept = checked(details or {})
    with store.writing():
        if _all(store, "select 1 from castings where name=?", (name,)):
            raise StoreError(f"there is a casting {name!r} already; choose another name")
        _run(
            store,
            "insert into castings(name,piece,part,mould,details,note,entered_us)"
            f" values (?,?,?,?,?,?,{migrations.NOW_US})",
            (name, piece, part, filled.id, json.dumps(kept), note),
        )
    return casting(store, name)


def castings(store: Store) -> list[Casting]:
    """Return all castings that stand, with their inspections, newest first."""
    return _castings(store, "where c.voided_us is null order by c.id desc", ())


def casting(store: Store, name: str) -> Casting:
    """Return the casting of that name; raises :class:`NotFoundError` naming those there are."""
    found = _castings(store, "where c.name=?", (name,))
    if not found:
        raise not_found(
            "casting", name, str(store.path), [casting.name for casting in castings(store)]
        )
    return found[0]


def pour_of(store: Store, known: Casting) -> tuple[Heat, Pour] | None:
    """Return the heat and the pour that filled the casting's mould, None where neither is known."""
    rows = _all(
        store,
        "select h.name from pours p join heats h on h.id=p.heat join moulds m on m.id=p.mould"
        " where m.name=? and p.voided_us is null",
        (known.mould,),
    )
    if not rows:
        return None
    heat = heats.heat(store, rows[0][0])
    return heat, next(pour for pour in heats.pours(store, heat) if pour.mould == known.mould)


def checked(details: dict[str, Any]) -> dict[str, Any]:
    """Return ``details`` as they are; raises InputError for a number that cannot be."""
    for key, value in details.items():
        if key == "sprue":
            continue
        if key not in NOTED:
            raise InputError(f"{key!r} is nothing that is noted; known: {', '.join(NOTED)}, sprue")
        if not isinstance(value, int | float) or not 0.0 <= value < 1e6:
            raise InputError(f"{key} = {value!r} cannot be; it is {NOTED[key]}")
    return details


def _castings(store: Store, tail: str, values: Sequence[Any]) -> list[Casting]:
    rows = _all(store, f"{_CASTING} {tail}", values)
    seen = _inspections(store)
    return [
        Casting(
            row[0],
            row[1],
            row[2],
            row[3],
            row[4],
            json.loads(row[5]),
            row[6],
            row[7],
            tuple(seen.get(row[0], ())),
            row[8],
        )
        for row in rows
    ]


# ---------------------------------------------------------------- inspections
def inspect(
    store: Store,
    known: Casting,
    *,
    outcome: str,
    who: str,
    seen_us: int,
    defects: Sequence[Defect] = (),
    note: str = "",
) -> Casting:
    """Enter what somebody saw on a casting; raises InputError when it contradicts itself."""
    if outcome not in ("sound", "defects"):
        raise InputError(f"an outcome is sound or defects, not {outcome!r}")
    if (outcome == "sound") == bool(defects):
        raise InputError("a sound casting has no defect, and one with defects names them")
    if not who.strip():
        raise InputError("say who looked at the casting")
    with store.writing():
        row = _all(
            store,
            "insert into inspections(casting,seen_us,outcome,who,note,entered_us)"
            f" values (?,?,?,?,?,{migrations.NOW_US}) returning id",
            (known.id, seen_us, outcome, who, note),
        )[0]
        for defect in defects:
            if defect.size_mm is not None and not 0.0 < defect.size_mm < 1e5:
                raise InputError(f"a defect of {defect.size_mm:g} mm cannot be; write millimetres")
            _run(
                store,
                "insert into defects(inspection,defect,place,size_mm,note) values (?,?,?,?,?)",
                (row[0], defect.name, defect.place, defect.size_mm, defect.note),
            )
    return casting(store, known.name)


def _inspections(store: Store) -> dict[int, list[Inspection]]:
    defects: dict[int, list[Defect]] = {}
    for row in _all(store, "select inspection,defect,place,size_mm,note from defects order by id"):
        defects.setdefault(row[0], []).append(Defect(*row[1:]))
    found: dict[int, list[Inspection]] = {}
    for row in _all(
        store, "select casting,id,seen_us,outcome,who,note from inspections order by id"
    ):
        found.setdefault(row[0], []).append(
            Inspection(row[1], row[2], row[3], row[4], row[5], tuple(defects.get(row[1], ())))
        )
    return found


# ---------------------------------------------------------------- photographs
def photo_folder(store: Store) -> Path:
    """Return the folder beside the store in which its photographs lie."""
    return photos_beside(store.path)


def photos_beside(path: Path) -> Path:
    """Return the folder of photographs that belongs to a store's file, or to a copy of it.

    Copies of one store, which bear the time in their name, share one: a photograph never changes.
    """
    return path.with_name(_STAMP.sub(".firelog", path.name) + ".photos")


def copy_photos(source: Path, target: Path) -> int:
    """Copy the photographs that are whole and not there yet; return how many that were."""
    count = 0
    for path in sorted(source.glob("*.*")) if source.is_dir() else ():
        there = target / path.name
        if not _PHOTO.fullmatch(path.name) or there.exists():
            continue
        content = path.read_bytes()
        if hashlib.sha256(content).hexdigest() == path.stem:
            _lay_down(there, content)
            count += 1
    return count


def add_photo(
    store: Store, known: Casting, source: Path, *, words: str = "", who: str = ""
) -> Photograph:
    """Copy a photograph beside the store under its hash, and note it with the casting."""
    try:
        content = source.read_bytes()
    except OSError as error:
        raise InputError(f"{source}: cannot be read ({error.strerror}); check the name") from error
    kind = next((k for start, k in PICTURES.items() if content.startswith(start)), None)
    if kind is None or (kind == "webp" and content[8:12] != b"WEBP"):
        raise InputError(f"{source}: is no JPEG, PNG or WebP picture")
    if len(content) > LARGEST:
        raise InputError(f"{source}: larger than {LARGEST // 1_000_000} MB; make it smaller first")
    made = Photograph(hashlib.sha256(content).hexdigest(), kind, len(content), words, who)
    _lay_down(photo_folder(store) / f"{made.sha256}.{kind}", content)
    with store.writing():
        _run(
            store,
            "insert or ignore into photographs(casting,sha256,kind,bytes,words,who,entered_us)"
            f" values (?,?,?,?,?,?,{migrations.NOW_US})",
            (known.id, made.sha256, kind, made.size, words, who),
        )
    return made


def _lay_down(target: Path, content: bytes) -> None:
    """Keep a picture under its hash; what bears that name may be a torn copy, and is replaced."""
    try:
        target.parent.mkdir(exist_ok=True)
    except OSError as error:
        raise StoreError(f"{target}: cannot be written ({error.strerror})") from error
    safefile.write_bytes(target, content, replace=True)


def photos(store: Store, known: Casting) -> list[Photograph]:
    """Return the photographs of a casting in the order they were entered."""
    rows = _all(
        store,
        "select sha256,kind,bytes,words,who from photographs where casting=? order by id",
        (known.id,),
    )
    return [Photograph(*row) for row in rows]


def photo_bytes(store: Store, photo: Photograph) -> bytes | None:
    """Return a photograph's bytes, None where the file is gone or is no longer what it was."""
    try:
        content = (photo_folder(store) / f"{photo.sha256}.{photo.kind}").read_bytes()
    except OSError:
        return None
    return content if hashlib.sha256(content).hexdigest() == photo.sha256 else None


# ---------------------------------------------------------------- helpers
def _run(store: Store, sql: str, values: Sequence[Any] = ()) -> None:
    with driver.speaking(store.path):
        store.connection.execute(sql, tuple(values))


def _all(store: Store, sql: str, values: Sequence[Any] = ()) -> list[Any]:
    with driver.speaking(store.path):
        return list(store.connection.execute(sql, tuple(values)).fetchall())
