"""The alloy cards and mould materials that come with firelog, and files that people break."""

from __future__ import annotations

import tomllib

import pytest

from firelog.errors import InputError
from firelog.judge.mould import (
    MouldShape,
    body_of,
    mould_material,
    read_materials,
    shape_from,
)
from firelog.pouring.alloys import alloy, read_alloys
from firelog.reference import shared_folder
from firelog.units import K_PER_F


def test_at_least_ten_alloys_each_number_with_its_source():
    """Thirteen cards, and every figure of each says where it stands."""
    cards = read_alloys()
    assert len(cards) >= 10
    for card in cards.values():
        for figures in (
            card.solidus,
            card.liquidus,
            card.density,
            card.conductivity,
            card.heat_capacity,
            card.latent,
        ):
            assert all(len(figure.source) > 5 for figure in figures), card.name


# Published figures, °F and lb/in³: data sheets found in print (see the cards' sources).
@pytest.mark.parametrize(
    ("name", "solidus_f", "liquidus_f", "lb_per_in3"),
    [
        ("C87200", 1580, 1780, 0.302),
        ("C87500", 1510, 1683, 0.299),
        ("C83600", 1570, 1850, 0.318),
        ("C90300", 1570, 1832, 0.318),
        ("C90700", 1528, 1830, 0.317),
        ("C95400", 1880, 1900, 0.269),
        ("C85300", 1680, 1730, 0.308),
    ],
)
def test_cards_hold_the_published_figures(name, solidus_f, liquidus_f, lb_per_in3):
    """Solidus, liquidus and density are those of the published sheets."""
    card = alloy(name)
    assert card.solidus[0].value == pytest.approx((solidus_f - 32) * K_PER_F, abs=0.01)
    assert card.liquidus[0].value == pytest.approx((liquidus_f - 32) * K_PER_F, abs=0.01)
    assert card.density[0].value == pytest.approx(lb_per_in3 * 27680.0, abs=2.0)


def test_disputed_figures_stay_disputed():
    """C87300's solidus and liquidus are intervals, because its sources disagree."""
    card = alloy("C87300")
    assert card.disputed
    assert card.solidus_c == pytest.approx((821.1, 865.6), abs=0.1)
    assert card.liquidus_c == pytest.approx((971.1, 976.7), abs=0.1)
    assert not alloy("C87500").disputed


# Second readings: CC491K and CC481K after EN 1982, makers' data sheets.
@pytest.mark.parametrize(
    ("name", "solidus_c", "liquidus_c"),
    [("C83600", (854.4, 860.0), (1010.0, 1030.0)), ("C90700", (830.0, 831.1), (998.9, 1010.0)),
     ("C92200", (825.6, 825.6), (987.8, 987.8)), ("C92300", (854.4, 854.4), (998.9, 998.9)),
     ("C87800", (820.0, 820.0), (920.0, 920.0)), ("C87850", (855.0, 855.0), (880.0, 880.0))],
)  # fmt: skip
def test_second_readings_make_intervals(name, solidus_c, liquidus_c):
    """Where two sheets differ the card holds both: C83600's liquidus is 1010 to 1030 °C."""
    card = alloy(name)
    assert card.solidus_c == pytest.approx(solidus_c, abs=0.1)
    assert card.liquidus_c == pytest.approx(liquidus_c, abs=0.1)


# Composition limits of the alloys in print: lead allowed up to so many per cent.
@pytest.mark.parametrize(
    ("name", "element"),
    [("C83600", "lead"), ("C85300", "lead"), ("C87200", "lead"), ("C87500", "lead"),
     ("C90300", "lead"), ("C90500", "lead"), ("C92200", "lead"), ("C92300", "lead"),
     ("C87200", "manganese"), ("C87300", "manganese"), ("C85300", "cadmium"),
     ("C87500", "cadmium"), ("C83600", "cadmium"), ("C87850", "cadmium")],
)  # fmt: skip
def test_fumes_follow_the_composition(name, element):
    """What the composition allows, or zinc may carry, is named among the fumes."""
    assert any(element in fume for fume in alloy(name).fumes)


@pytest.mark.parametrize("name", ["C83600", "C90300", "C90500", "C90700"])
def test_leaded_and_tin_bronze_stay_below_the_fume_line(name):
    """2200 °F is the highest pour found in print; above 2300 °F lead and zinc fume."""
    light = alloy(name).light
    assert light is not None
    assert light.high_c == pytest.approx(1204.4, abs=0.1)


@pytest.mark.parametrize(
    ("said", "card"),
    [("LG2", "C83600"), ("cc491k", "C83600"), ("85-5-5-5", "C83600"), ("CuSn5Zn5Pb5", "C83600"),
     ("CC481K", "C90700"), ("G1", "C90500"), ("c 87300", "C87300"), ("LM25", "A356"),
     ("Sterling Silver", "sterling"), ("C10100", "copper"), ("Navy M", "C92200")],
)  # fmt: skip
def test_names_of_both_continents_find_the_same_card(said, card):
    """American numbers, European numbers and the trade's names lead to one card."""
    assert alloy(said).name == card


@pytest.mark.parametrize(
    ("said", "why"),
    [("silicon bronze", "C87300.*C87500"), ("AB2", "C95500.*C95800"),
     ("beryllium copper", "0.2 µg/m³.*not for a small foundry"), ("C17200", "lungs"),
     ("cadmium copper", "not for a small foundry"), ("LG3", "sources differ"),
     ("nickel silver", "no melting range")],
)  # fmt: skip
def test_what_is_no_single_card_is_refused_in_words(said, why):
    """A name of several alloys is asked back; beryllium, cadmium and the unprinted are refused."""
    with pytest.raises(InputError, match=why):
        alloy(said)


def test_no_name_means_two_cards():
    """Every name and number leads to one card, one choice or one refusal only."""
    text = tomllib.loads((shared_folder() / "alloys.toml").read_text("utf-8"))
    names = [n for card in text["alloy"] for n in (card["name"], *card.get("names", ()))]
    names += [n for kind in ("several", "refused") for row in text[kind] for n in row["names"]]
    assert len({name.casefold() for name in names}) == len(names)


def test_fixed_points():
    """Pure copper freezes at 1084.62 °C (ITS-90)."""
    assert alloy("copper").liquidus_c == (1084.62, 1084.62)


def test_pouring_ranges():
    """C87500's printed pouring ranges are 1900-2000 °F light and 1800-1900 °F heavy."""
    card = alloy("C87500")
    assert card.light is not None
    assert card.heavy is not None
    assert (card.light.low_c, card.light.high_c) == pytest.approx((1037.8, 1093.3), abs=0.1)
    assert (card.heavy.low_c, card.heavy.high_c) == pytest.approx((982.2, 1037.8), abs=0.1)
    with pytest.raises(InputError, match="light or heavy"):
        card.pouring("medium")


def test_unknown_alloy_names_the_nearest():
    """A mistyped alloy is answered with the one that was probably meant."""
    with pytest.raises(InputError, match="did you mean 'C87300'"):
        alloy("C8730")


@pytest.mark.parametrize(
    ("text", "complaint"),
    [
        ("solidus = 1510", "list of figures"),
        ("solidus = [{ value = 1510 }]", "value and a source"),
        ('solidus = [{ value = "warm", source = "s" }]', "not a temperature"),
        ("melting = 5", "unknown key"),
    ],
)
def test_broken_cards_name_file_and_line(tmp_path, text, complaint):
    """A broken card is refused with file, line and what is wrong."""
    path = tmp_path / "own.toml"
    path.write_text(f'unit = "F"\n[[alloy]]\nname = "own"\ntitle = "own"\n{text}\n')
    with pytest.raises(InputError, match=rf"own.toml, line 5.*{complaint}"):
        read_alloys(path)


def test_mould_materials():
    """Plaster takes heat for its water, a fired shell does not; both say where they come from."""
    materials = read_materials()
    plaster, shell = materials["plaster-silica"], materials["ceramic-shell"]
    assert sum(one.heat_j_per_m3 for one in plaster.material.uptakes) > 9e8
    assert shell.material.uptakes == ()
    assert {one.name for one in plaster.ranges} >= {"cristobalite", "quartz"}
    assert all(len(one.source) > 10 for one in materials.values())


def test_shapes_make_bodies():
    """A block, a shell and a shell with a core become bodies; a dry one has no free water."""
    plaster = mould_material("plaster-silica")
    block = body_of(MouldShape("plaster-silica", size_m=0.12), plaster)
    assert block.outer_m == 0.12
    dry = body_of(MouldShape("plaster-silica", dry=True), plaster)
    assert [one.name for one in dry.layers[0].material.uptakes] == [
        "water of the gypsum",
        "last water of the gypsum",
    ]
    shell = mould_material("ceramic-shell")
    hollow = body_of(MouldShape("ceramic-shell", "shell", size_m=0.0095, hollow_m=0.06), shell)
    assert hollow.outer_m == pytest.approx(0.0695)
    cored = body_of(
        MouldShape("ceramic-shell", "shell with core", size_m=0.0095, core_m=0.03), shell
    )
    assert [layer.material.name for layer in cored.layers] == [
        "ceramic-shell",
        "wax",
        "ceramic-shell",
    ]


@pytest.mark.parametrize(
    "details",
    [
        {},
        {"material": "plaster-silica", "weight": 4},
        {"material": "plaster-silica", "form": "bag"},
        {"material": "plaster-silica", "shape": "star"},
    ],
)
def test_impossible_moulds_are_refused(details):
    """A mould without material, of unknown form, shape or key, is refused."""
    with pytest.raises(InputError, match=r"\w+ \w+ \w+"):
        shape_from(details)


def test_a_shape_comes_back_as_it_was_kept():
    """The plain keys of a mould give the same mould back."""
    shape = MouldShape("ceramic-shell", "shell", size_m=0.01, hollow_m=0.05, wind_m_per_s=1.0)
    assert shape_from(shape.details()) == shape
