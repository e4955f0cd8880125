"""Superheat with its uncertainty, and how much metal a wax needs."""

from __future__ import annotations

import math

import pytest

from firelog.errors import InputError
from firelog.physics.metal.metals import AlloyCard, Figure, metal_for, superheat_k
from firelog.pouring.alloys import alloy


def card(density=8360.0, liquidus=(971.0,)):
    """Return a card with the figures a test needs."""
    figure = (Figure(1.0, "test"),)
    return AlloyCard(
        "x",
        "x",
        (Figure(800.0, "test"),),
        tuple(Figure(value, "test") for value in liquidus),
        (Figure(density, "test"),),
        figure,
        figure,
        figure,
    )


@pytest.mark.parametrize(
    ("wax_g", "factor", "metal_g"), [(5.5, 13.5, 74.25), (5.5, 13.07, 71.89), (9.0, 10.4, 93.6)]
)
def test_wax_weight_as_jewellers_charts_have_it(wax_g, factor, metal_g):
    """Wax times the ratio of densities is the metal: worked figures of three suppliers' charts.

    (romanoff.com, riogrande.com and a makers' space's page: 74.25, 71.89 and 93.6 g.)
    """
    need = metal_for(card(density=factor * 1000.0), wax_kg=wax_g / 1000.0, wax_kg_per_m3=1000.0)
    assert need.piece_kg * 1000.0 == pytest.approx(metal_g, abs=0.01)


@pytest.mark.parametrize(
    ("name", "ratio"), [("C87300", 8.80), ("C83600", 9.23), ("C95400", 7.84), ("A356", 2.82)]
)
def test_ratio_of_metal_to_wax(name, ratio):
    """At 950 kg/m³ of wax the ratios of the common alloys are those computed by hand."""
    need = metal_for(alloy(name), wax_kg=1.0)
    assert need.piece_kg == pytest.approx(ratio, rel=0.003)


def test_charge_counts_sprues_cup_loss_and_heel():
    """What goes into the crucible is the mould's metal, what is lost, and what stays."""
    need = metal_for(
        card(density=8000.0),
        wax_kg=1.0,
        sprue_wax_kg=0.2,
        cup_l=0.5,
        wax_kg_per_m3=1000.0,
        melt_loss=0.05,
        heel_kg=2.0,
    )
    assert need.poured_kg == pytest.approx(8.0 + 1.6 + 4.0)
    assert need.charge_kg == pytest.approx(13.6 / 0.95 + 2.0)


def test_superheat_carries_what_sources_dispute():
    """For a disputed liquidus U grows by the interval as a rectangle (GUM, 4.3.7)."""
    plain, plain_u = superheat_k(card(liquidus=(971.0,)), 1000.0, 5.0)
    assert (plain, plain_u) == (29.0, 5.0)
    disputed, u = superheat_k(card(liquidus=(966.0, 976.0)), 1000.0, 5.0)
    assert disputed == 29.0
    assert u == pytest.approx(math.hypot(5.0, 2 * 5.0 / math.sqrt(3)))


def test_superheat_of_27_k_hangs_on_the_sheet():
    """1003 °C of C87300 is proven above the liquidus; 980 °C hangs on whose sheet is right."""
    card_ = alloy("C87300")
    value, u = superheat_k(card_, 980.0, 6.0)
    assert value - u < 0.0 < value + u
    value, u = superheat_k(card_, 1003.0, 6.0)
    assert value - u > 15.0


@pytest.mark.parametrize(
    "wrong",
    [
        {"wax_kg": 0.0},
        {"wax_kg": -1.0},
        {"wax_kg": 1.0, "wax_kg_per_m3": 95.0},
        {"wax_kg": 1.0, "melt_loss": 1.5},
        {"wax_kg": 1.0, "heel_kg": -1.0},
    ],
)
def test_impossible_weights_are_refused(wrong):
    """Weights and densities that cannot be are refused with a sentence."""
    with pytest.raises(InputError, match=r"\w+ \w+ \w+"):
        metal_for(card(), **wrong)
