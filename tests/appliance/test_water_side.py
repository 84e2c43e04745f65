"""Water and glycol against other libraries and correlations, and what lies outside of them."""

from __future__ import annotations

import iapws
import numpy as np
import pytest

from fluewright import sources
from fluewright.appliance.water_side import (
    freezing_temperature,
    liquid_density,
    property_spread,
    water_heat_output,
)
from fluewright.errors import InputError, UnknownNameError

CELSIUS = [1.0, 20.0, 40.0, 60.0, 80.0, 95.0]

# M. Conde, Thermophysical properties of brines (2011), as quoted by two open-source programs: a correlation of its own,
# P = A1 + A2 w + A3 q + A4 w q + A5 q², q = 273.15 K / T; density [kg/m³] and specific heat [kJ/(kg K)].
CONDE = {
    "ethylene glycol": (
        (658.49825, -54.81501, 664.71643, 232.72605, -322.61661),
        (5.36449, 0.78863, -2.59001, -2.73187, 1.43759),
        (1.0, -0.06982, -0.35780),
    ),
    "propylene glycol": (
        (508.41109, -182.40820, 965.76507, 280.29104, -472.22510),
        (4.47642, 0.60863, -0.71497, -1.93855, 0.47873),
        (1.0, -0.03736, -0.40050),
    ),
}


def conde(coefficients: tuple[float, ...], share: float, kelvin: float) -> float:
    q = 273.15 / kelvin
    return float(np.dot(coefficients, [1.0, share, q, share * q, q * q]))


@pytest.mark.law
@pytest.mark.parametrize("celsius", CELSIUS)
@pytest.mark.parametrize(("pressure", "of_density", "of_heat"), [(0.101325, 5e-5, 2e-4), (0.6, 3e-4, 1e-3)])
def test_water_agrees_with_iapws_95(
    celsius: float, pressure: float, of_density: float, of_heat: float
) -> None:
    cool = iapws.IAPWS95(T=celsius + 273.15, P=pressure)
    warm = iapws.IAPWS95(T=celsius + 277.15, P=pressure)
    assert float(liquid_density(celsius + 273.15)) == pytest.approx(cool.rho, rel=of_density)
    heat = water_heat_output(
        1e-3,
        supply_temperature=celsius + 277.15,
        return_temperature=celsius + 273.15,
        flow_temperature=celsius + 273.15,
    )
    assert float(heat) == pytest.approx(1e-3 * cool.rho * (warm.h - cool.h) * 1e3, rel=of_heat)


@pytest.mark.law
@pytest.mark.parametrize("fluid", list(CONDE))
@pytest.mark.parametrize("share", [0.2, 0.3, 0.4, 0.5])
@pytest.mark.parametrize("celsius", [20.0, 40.0, 60.0, 80.0])
def test_glycol_heat_agrees_with_a_second_correlation_within_its_stated_spread(
    fluid: str, share: float, celsius: float
) -> None:
    density, heat, _ = CONDE[fluid]
    kelvin = celsius + 273.15
    ours = water_heat_output(
        1.0,
        supply_temperature=kelvin + 0.5,
        return_temperature=kelvin - 0.5,
        flow_temperature=kelvin,
        fluid=fluid,
        glycol_share=share,
    )
    theirs = conde(density, share, kelvin) * conde(heat, share, kelvin) * 1e3
    assert float(ours) == pytest.approx(theirs, rel=property_spread(fluid) + 1e-3)
    assert float(liquid_density(kelvin, fluid=fluid, glycol_share=share)) == pytest.approx(
        conde(density, share, kelvin), rel=0.016
    )


@pytest.mark.law
@pytest.mark.parametrize("fluid", list(CONDE))
@pytest.mark.parametrize("share", [0.2, 0.3, 0.4, 0.5])
def test_freezing_point_agrees_with_a_second_correlation(fluid: str, share: float) -> None:
    a0, a1, a2 = CONDE[fluid][2]
    theirs = 273.15 * (a0 + a1 * share + a2 * share**2)
    assert float(freezing_temperature(fluid, glycol_share=share)) == pytest.approx(theirs, abs=2.5)


@pytest.mark.law
@pytest.mark.parametrize("fluid", list(CONDE))
def test_the_heat_of_a_mixture_adds_up_over_its_steps(fluid: str) -> None:
    def heat(cool: float, warm: float) -> float:
        return float(
            water_heat_output(
                1e-3,
                supply_temperature=warm,
                return_temperature=cool,
                flow_temperature=300.0,
                fluid=fluid,
                glycol_share=0.35,
            )
        )

    assert heat(300.0, 350.0) == pytest.approx(heat(300.0, 323.0) + heat(323.0, 350.0), rel=1e-12)


@pytest.mark.law
@pytest.mark.slow  # the library takes seconds to load
def test_the_glycol_tables_are_the_ones_quoted() -> None:
    # The same numbers stand, per percent and per fraction, in two libraries; an independent one evaluates them.
    coolprop = pytest.importorskip("CoolProp.CoolProp")
    for fluid, name in (("ethylene glycol", "MEG"), ("propylene glycol", "MPG")):
        for share in (0.0, 0.25, 0.5, 0.6):
            for kelvin in (288.15, 313.15, 353.15):
                theirs = coolprop.PropsSI("D", "T", kelvin, "P", 3e5, f"INCOMP::{name}[{share}]")
                assert float(liquid_density(kelvin, fluid=fluid, glycol_share=share)) == pytest.approx(
                    theirs, rel=1e-6
                )


def test_what_is_outside_of_the_equations_is_refused() -> None:
    with pytest.raises(InputError, match=r"water at 400\.00 K is outside"):
        liquid_density(400.0)
    with pytest.raises(InputError, match="known up to 60% by mass"):
        liquid_density(300.0, fluid="propylene glycol", glycol_share=0.7)
    with pytest.raises(InputError, match="ethylene glycol at 250"):
        liquid_density(250.0, fluid="ethylene glycol", glycol_share=0.3)
    assert np.isnan(liquid_density(np.array([300.0, 400.0]))).tolist() == [False, True]
    with pytest.raises(InputError, match="name the glycol"):
        liquid_density(300.0, glycol_share=0.3)
    with pytest.raises(UnknownNameError, match="did you mean 'ethylene glycol'"):
        liquid_density(300.0, fluid="ethylene glycole")
    assert all(
        entry["status"] == "quoted" and entry["quoted_in"] for entry in sources.table("liquids").values()
    )
