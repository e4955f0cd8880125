"""The alloy cards and mould materials that come with firelog, and files that people break."""

from __future__ import annotations

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
    assert card.solidus_c[0] == pytest.approx((solidus_f - 32) * K_PER_F, abs=0.01)
    assert card.liquidus_c[0] == pytest.approx((liquidus_f - 32) * K_PER_F, abs=0.01)
    assert card.density[0].value == pytest.approx(lb_per_in3 * 27680.0, abs=2.0)


def test_disputed_figures_stay_disputed():
    """C87300's solidus and liquidus are intervals, because its sources disagree."""
    card = alloy("C87300")
    assert card.disputed
    assert card.solidus_c == pytest.approx((821.1, 865.6), abs=0.1)
    assert card.liquidus_c == pytest.approx((971.1, 976.7), abs=0.1)
    assert not alloy("C87500").disputed


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
