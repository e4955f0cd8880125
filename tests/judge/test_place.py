"""How far a place may be from the mean of a kiln's couples: on open logs, each couple hidden."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.stats import t as student  # type: ignore[import-untyped]

from firelog.errors import InputError
from firelog.foundry import parse_foundry
from firelog.judge import place
from firelog.judge.place import left_out_k, place_k, surveyed_k
from firelog.record.stated import keep_settings
from firelog.record.store import Store
from tests.judge.nights import night, read, write


def columns(file: Path, prefixes: tuple[str, ...]) -> np.ndarray:
    """Return the °C columns (couples, instants) of a log above 100 °C, read by pandas alone."""
    table = pd.read_csv(file, skiprows=[1], index_col=0)
    units = pd.read_csv(file, nrows=1).iloc[0]
    named = [c for c in table.columns if units[c] == "C" and c.startswith(prefixes)]
    rows = table[named].astype(float).to_numpy().T
    return np.asarray(rows[:, rows.mean(axis=0) > 100.0])


def coverage(rows: np.ndarray) -> float:
    """Return how often a hidden couple lies within U of the mean of the others."""
    inside = []
    for hidden in range(len(rows)):
        seen = np.delete(rows, hidden, axis=0)
        missed_k = left_out_k(seen)
        calm_k = float(np.sqrt(np.mean(missed_k**2)))
        u_k = [place_k(max(one, calm_k), len(seen)) for one in missed_k]
        inside.append(np.abs(rows[hidden] - seen.mean(axis=0)) <= np.hypot(u_k, 7.0))
    return float(np.mean(inside))


RIGS = {
    "room": ("nist_e119_compartment_test_1.csv", ("TC",), 0.93),
    # nine couples along one heated beam, two of them at its cold ends
    "beam": ("nist_e119_compartment_test_1.csv", ("BeamTC",), 0.88),
    "trees": ("nist_e119_compartment_test_1.csv", ("T1_", "T2_"), 0.93),
    "compartment": ("nist_e119_compartment_test_1.csv", ("",), 0.93),
    "trainers": ("delco_trainers_test_2.csv", ("",), 0.93),
}


@pytest.mark.parametrize("rig", RIGS)
def test_a_hidden_couple_lies_within_the_place(open_data: Path, rig: str) -> None:
    """Open fire tests (NIST, Fire Research Division): 95 % is meant, half the spread gives less."""
    file, prefixes, least = RIGS[rig]
    assert coverage(columns(open_data / file, prefixes)) >= least


@pytest.mark.parametrize("count", [1, 2, 3, 5, 8])
def test_kilns_like_the_default_are_covered(count: int) -> None:
    """Places drawn with σ 7 K around the kiln's mean: 93 to 99.9 % of hidden ones are covered."""
    rng = np.random.default_rng(count)
    inside = []
    for _ in range(4000):
        drawn = rng.normal(0.0, 7.0, count + 1)
        missed_k = float(left_out_k(drawn[1:, None])[0]) if count > 1 else 0.0
        inside.append(abs(drawn[0] - drawn[1:].mean()) <= place_k(missed_k, count))
    assert 0.93 <= np.mean(inside) <= 0.999


def test_students_t_is_students_t() -> None:
    """The table against scipy.stats.t to its last digit."""
    for free in range(1, 26):
        assert place._t(free) == pytest.approx(student.ppf(0.975, free), abs=0.006)
    assert place._t(60) == pytest.approx(student.ppf(0.975, 60), abs=0.06)


def test_a_kilns_past_widens_the_place(tmp_path: Path) -> None:
    """Four couples agree tonight; in the firing before they stood 52 K apart: not forgotten."""
    t_s, level = night(every_s=60.0)
    with Store.open(tmp_path / "s", write=True) as store:
        agree = {name: read(level, seed=n) for n, name in enumerate("abcd")}
        write(store, "tonight", t_s, agree)
        firing = store.firing("tonight")
        alone_k = place.place_of(store, firing, place.kiln_traces(store, firing))
        uneven = {name: read(level * (1 + 0.02 * n)) for n, name in enumerate("abcd")}
        write(store, "before", t_s, uneven, began_us=firing.began_us - 86_400_000_000)
        known_k = place.place_of(store, firing, place.kiln_traces(store, firing))
    assert alone_k < 2.0
    # steps of 17.4 K: s = 22.5 K, times t(3) = 3.18 and √1.25: 80 K
    assert known_k == pytest.approx(80.0, rel=0.05)


SURVEY = """
unit = "C"
[[survey]]
kiln = "kiln one"
date = "{}"
places = {{ left = -12, right = 8, door = "-20 K", back = 3, middle = 6 }}
"""


def test_a_survey_of_the_kiln_says_its_places(tmp_path: Path) -> None:
    """Five places, mean −3 K, s = 12.5 K: 3 + 2.776·12.5·√1.2 = 41 K; not before, nor too old."""
    off_k = np.array([-12.0, 8.0, -20.0, 3.0, 6.0])
    by_hand_k = abs(off_k.mean()) + student.ppf(0.975, 4) * off_k.std(ddof=1) * np.sqrt(1.2)
    t_s, level = night(every_s=60.0)
    for folder, day, counts in (
        ("a", "2026-02-20", True), ("b", "2026-04-01", False), ("c", "2024-12-01", False),
    ):  # fmt: skip
        (tmp_path / folder).mkdir()
        with Store.open(tmp_path / folder / "s", write=True) as store:
            write(store, "tonight", t_s, {name: read(level, seed=n) for n, name in enumerate("ab")})
            firing = store.firing("tonight")
            traces = place.kiln_traces(store, firing)
            learnt_k = place.place_of(store, firing, traces)
            keep_settings(store, parse_foundry(SURVEY.format(day)))
            found_k = place.place_of(store, firing, traces)
        assert found_k == pytest.approx(by_hand_k if counts else learnt_k, rel=1e-3)


@pytest.mark.parametrize("count", [3, 5, 9])
def test_surveyed_kilns_are_covered(count: int) -> None:
    """Places drawn with σ 9 K about a mean 5 K off the couples': 94 to 99.9 % within U."""
    rng = np.random.default_rng(count)
    inside = []
    for _ in range(4000):
        drawn = rng.normal(5.0, 9.0, count + 1)
        inside.append(abs(drawn[0]) <= surveyed_k(drawn[1:]))
    assert 0.94 <= np.mean(inside) <= 0.999


@pytest.mark.parametrize(
    ("places", "said"),
    [
        ("{ a = 1, b = 2 }", "2 places"),
        ("{ a = 870, b = 861, c = 880 }", "not its temperature"),
        ('{ a = "warm", b = 2, c = 3 }', "warm"),
    ],
)
def test_what_is_no_survey_is_refused(places: str, said: str) -> None:
    """Too few places, temperatures in place of differences, and words are named with the line."""
    text = f'[[survey]]\nkiln = "k"\ndate = "2026-03-01"\nplaces = {places}\n'
    with pytest.raises(InputError, match=said):
        parse_foundry(text)
