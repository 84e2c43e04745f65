"""Emissions in the units that limits are written in, and back.

A concentration is a mole fraction of dry gas; an emission is a mass per heat. What links them is the dry
flue gas made per heat, taken from a published fuel factor (:func:`dry_flue_by_factor`) or from the balance
on the fuel's composition (:func:`dry_flue_by_composition`). Everything is SI: kg/m³ and kg/J;
``fluewright.units.convert`` turns kg/J into ng/J, mg/kWh or lb/MMBtu. NOx counts as nitrogen dioxide.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fluewright import sources
from fluewright.combustion.air import dry_air
from fluewright.combustion.blocks import Values, plain
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Array, Number, convert, parse, si

if TYPE_CHECKING:
    from fluewright.combustion.flue import FlueGas
    from fluewright.combustion.fuels import Fuel

__all__ = [
    "GreenhouseFactor",
    "GreenhouseGas",
    "annual_mass",
    "carbon_dioxide_per_heat",
    "dry_flue_by_composition",
    "dry_flue_by_factor",
    "emission_per_heat",
    "emission_per_output",
    "fraction_at_reference_oxygen",
    "fraction_from_emission",
    "fraction_from_mass_concentration",
    "greenhouse_factor",
    "greenhouse_gas",
    "mass_concentration",
    "published_fuel_factor",
]


def fraction_at_reference_oxygen(
    fraction_dry: Number, *, oxygen_dry: Number, reference_oxygen: Number, air_oxygen: str = "epa"
) -> Values:
    """Return a dry fraction diluted, or concentrated, to a stated oxygen content.

    Parameters
    ----------
    fraction_dry, oxygen_dry : float or array, shape (n,)
        The gas and the oxygen measured with it [mol/mol, dry].
    reference_oxygen : float
        Oxygen content of the statement [mol/mol]: 0 (air-free), 0.03, or any below that of air.
    air_oxygen : {"epa", "europe", "real"}
        Whose oxygen content of air: 20.9 %, 21 %, or that of the balance.

    Returns
    -------
    float or array
        The fraction at the reference oxygen [mol/mol, dry]; NaN where the sample is air.

    Raises
    ------
    InputError
        A scalar oxygen at or above that of air, or a reference that is.

    References
    ----------
    40 CFR 60 Appendix A-7, Method 19: the dilution term of Equation 19-1.

    Examples
    --------
    >>> ppm = fraction_at_reference_oxygen(43.2e-6, oxygen_dry=0.042, reference_oxygen=0.15) * 1e6
    >>> round(float(ppm), 1)
    15.3
    """
    fraction = si(fraction_dry, "mol/mol", "fraction_dry")
    return plain(
        fraction
        / _dilution(reference_oxygen, air_oxygen, "reference_oxygen")
        * _dilution(oxygen_dry, air_oxygen, "oxygen_dry")
    )


def mass_concentration(
    fraction: Number, *, species: str, temperature: Number = 273.15, pressure: Number = 101325.0
) -> Values:
    """Return the mass of a gas in a volume of ideal gas at a stated temperature and pressure.

    Parameters
    ----------
    fraction : float or array
        Mole fraction [mol/mol], wet or dry; the result is on the same basis.
    species : str
        "NOx" (as nitrogen dioxide), "NO", "NO2", "CO", "CO2", "SO2", "CH4" or "N2O".
    temperature, pressure : float, optional
        State of the volume [K], [Pa]: European rules use 0 °C, US rules 68 °F, both one atmosphere.

    Returns
    -------
    float or array
        Mass concentration [kg/m³].

    Raises
    ------
    UnknownNameError
        The species is none of these.

    Examples
    --------
    >>> round(mass_concentration(1e-6, species="NOx") * 1e6, 3)  # mg/m³ of 1 ppm
    2.053
    """
    return plain(
        si(fraction, "mol/mol", "fraction") * _molar_mass(species) * _molar_density(temperature, pressure)
    )


def fraction_from_mass_concentration(
    concentration: Number, *, species: str, temperature: Number = 273.15, pressure: Number = 101325.0
) -> Values:
    """Return the mole fraction [mol/mol] of a mass concentration [kg/m³]; see `mass_concentration`."""
    return plain(
        si(concentration, "kg/m^3", "concentration")
        / (_molar_mass(species) * _molar_density(temperature, pressure))
    )


def published_fuel_factor(fuel_name: str, kind: str = "dry") -> float:
    """Return a published fuel factor: flue gas per gross heat at zero excess air [m³/J, 68 °F, 29.92 inHg].

    Parameters
    ----------
    fuel_name : {"natural gas", "propane", "butane", "oil"}
        The fuel, as the table has it.
    kind : {"dry", "wet", "carbon"}
        All dry gas (Fd), all wet gas (Fw), or carbon dioxide alone (Fc).

    Raises
    ------
    UnknownNameError
        No such fuel or kind in the table.

    References
    ----------
    40 CFR 60 Appendix A-7, Method 19, Table 19-2, the English column: the metric column of natural gas does
    not convert exactly from it. Factors from a composition differ by 1 to 2 %.
    """
    table = _data("fuel_factor")
    factors = _lookup("published fuel factor", table["fuels"], fuel_name)
    return float(convert(_lookup("kind of fuel factor", factors, kind), table["unit"], "m^3/J"))


def dry_flue_by_factor(fuel_factor_dry: Number, *, oxygen_dry: Number) -> Values:
    """Return the dry flue gas made per gross heat, by a dry fuel factor and the measured oxygen.

    Parameters
    ----------
    fuel_factor_dry : float or array
        Fd [m³/J at 68 °F and 29.92 inHg], published or from the composition.
    oxygen_dry : float or array, shape (n,)
        Oxygen measured with the gas to be judged [mol/mol, dry].

    Returns
    -------
    float or array
        Dry flue gas per gross heat [mol/J]; NaN where the sample is air.

    Raises
    ------
    InputError
        A scalar oxygen at or above that of air.

    References
    ----------
    40 CFR 60 Appendix A-7, Method 19, Equation 19-1.
    """
    table = _data("fuel_factor")
    return plain(
        si(fuel_factor_dry, "m^3/J", "fuel_factor_dry")
        * _molar_density(table["temperature"], table["pressure"])
        * _dilution(oxygen_dry, "epa", "oxygen_dry")
    )


def dry_flue_by_composition(flue: FlueGas, *, basis: str = "gross") -> Values:
    """Return the dry flue gas made per heat, by the balance on the fuel's composition [mol/J].

    Parameters
    ----------
    flue : FlueGas
        The balanced flue gas; it knows its fuel.
    basis : {"gross", "net"}
        Which heat: European classes of appliances are on the gross basis, older ones on the net.

    Raises
    ------
    UnknownNameError
        The basis is neither.
    """
    heat = _lookup(
        "basis",
        {"gross": flue.fuel.gross_heating_value_molar, "net": flue.fuel.net_heating_value_molar},
        basis,
    )
    return plain(flue.dry_moles / heat)


def emission_per_heat(fraction_dry: Number, *, species: str, dry_flue: Number) -> Values:
    """Return the mass emitted per heat [kg/J] from a dry mole fraction.

    Parameters
    ----------
    fraction_dry : float or array, shape (n,)
        The gas measured [mol/mol, dry].
    species : str
        As in `mass_concentration`.
    dry_flue : float or array, shape (n,)
        Dry flue gas per heat [mol/J], at the oxygen at which the gas was measured.

    Examples
    --------
    >>> from fluewright.units import convert
    >>> flue = dry_flue_by_factor(published_fuel_factor("natural gas"), oxygen_dry=0.03)
    >>> nox = emission_per_heat(100e-6, species="NOx", dry_flue=flue)
    >>> round(float(convert(nox, "kg/J", "lb/MMBtu")), 4)
    0.1214
    """
    return plain(
        si(fraction_dry, "mol/mol", "fraction_dry") * _molar_mass(species) * si(dry_flue, "mol/J", "dry_flue")
    )


def fraction_from_emission(emission: Number, *, species: str, dry_flue: Number) -> Values:
    """Return the dry mole fraction [mol/mol] that an emission per heat [kg/J] stands for."""
    return plain(
        si(emission, "kg/J", "emission") / (_molar_mass(species) * si(dry_flue, "mol/J", "dry_flue"))
    )


def emission_per_output(emission: Number, *, efficiency: Number) -> Values:
    """Return the mass emitted per useful heat [kg/J], from that per heat input on the efficiency's basis.

    Parameters
    ----------
    emission : float or array
        Mass per heat input [kg/J].
    efficiency : float or array
        Useful heat per heat input [-], above 0; above 1 only on the net basis of a condensing appliance.

    Raises
    ------
    InputError
        An efficiency that is not above zero.
    """
    share = si(efficiency, "1", "efficiency")
    if np.any(share <= 0):
        raise InputError(f"efficiency is {share}; an emission per output needs an efficiency above 0")
    return plain(si(emission, "kg/J", "emission") / share)


def annual_mass(emission: Number, *, annual_heat: Number) -> Values:
    """Return the mass emitted in a year [kg], from the mass per heat [kg/J] and the year's heat input [J]."""
    return plain(si(emission, "kg/J", "emission") * si(annual_heat, "J", "annual_heat"))


def carbon_dioxide_per_heat(fuel: Fuel, *, basis: str = "gross") -> Values:
    """Return the carbon dioxide of complete burning per heat, by the fuel's composition [kg/J]."""
    heat = _lookup(
        "basis", {"gross": fuel.gross_heating_value_molar, "net": fuel.net_heating_value_molar}, basis
    )
    return plain(fuel.carbon * _molar_mass("CO2") / heat)


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenhouseFactor:
    """Published greenhouse-gas factors of a fuel, per gross heat [kg/J], and the heating value they go with.

    ``heating_value`` is the default of the same table, as text with its unit: factors are per heat, so it
    serves only where fuel is known by volume and its own heating value is not.
    """

    fuel_name: str
    carbon_dioxide: float
    methane: float
    nitrous_oxide: float
    heating_value: str
    source: str
    status: str

    def heat_in(self, volume: Number) -> Values:
        """Return the gross heat [J] in a volume of fuel [m³], liquid or gas as the factor has it."""
        return plain(si(volume, "m^3", "volume") * parse(self.heating_value, "J/m^3", "heating_value"))


@dataclass(frozen=True, slots=True, kw_only=True)
class GreenhouseGas:
    """Greenhouse gas of a heat input [kg], with the edition of the warming potentials that joined it."""

    carbon_dioxide: Values
    methane: Values
    nitrous_oxide: Values
    carbon_dioxide_equivalent: Values
    potentials: str
    source: str


def greenhouse_factor(fuel_name: str) -> GreenhouseFactor:
    """Return the published greenhouse-gas factors of a fuel.

    Raises
    ------
    UnknownNameError
        No such fuel; propane has two entries, "propane, liquid" and "propane, gas".

    References
    ----------
    40 CFR 98 Subpart C, Tables C-1 and C-2.
    """
    table = _data("greenhouse")
    entry = _lookup("greenhouse-gas factor", table["fuels"], fuel_name)

    def per_heat(gas: str) -> float:
        return float(convert(entry[gas], table[f"{gas}_unit"], "kg/J"))

    return GreenhouseFactor(
        fuel_name=fuel_name,
        carbon_dioxide=per_heat("carbon_dioxide"),
        methane=per_heat("methane"),
        nitrous_oxide=per_heat("nitrous_oxide"),
        heating_value=entry["heating_value"],
        source=table["source"],
        status=table["status"],
    )


def greenhouse_gas(heat: Number, *, factor: GreenhouseFactor, potentials: str = "AR5") -> GreenhouseGas:
    """Return the greenhouse gas of a gross heat input, such as a year's.

    Parameters
    ----------
    heat : float or array
        Gross heat input [J].
    factor : GreenhouseFactor
        Per-heat factors of the fuel.
    potentials : {"AR4", "AR5", "AR6"}
        Edition of the 100-year warming potentials.

    Raises
    ------
    UnknownNameError
        No such edition.
    """
    warming = _lookup("edition of warming potentials", _data("warming_potential"), potentials)
    joules = si(heat, "J", "heat")
    equivalent = (
        factor.carbon_dioxide
        + factor.methane * warming["methane"]
        + factor.nitrous_oxide * warming["nitrous_oxide"]
    )
    return GreenhouseGas(
        carbon_dioxide=plain(joules * factor.carbon_dioxide),
        methane=plain(joules * factor.methane),
        nitrous_oxide=plain(joules * factor.nitrous_oxide),
        carbon_dioxide_equivalent=plain(joules * equivalent),
        potentials=potentials,
        source=f"{factor.source}; {warming['source']}",
    )


def _data(name: str) -> Mapping[str, Any]:
    entry: Mapping[str, Any] = sources.table("emission_factors")[name]
    return entry


def _lookup(kind: str, entries: Any, name: str) -> Any:
    try:
        return entries[name]
    except KeyError:
        raise UnknownNameError(kind, name, entries) from None


def _molar_mass(species: str) -> float:
    masses = {name: value for name, value in _data("molar_mass").items() if isinstance(value, float)}
    return float(_lookup("gas with a molar mass here", masses, species)) / 1000.0


def _molar_density(temperature: Number, pressure: Number) -> Array:
    kelvin, pascal = si(temperature, "K", "temperature"), si(pressure, "Pa", "pressure")
    return np.asarray(pascal / (_data("gas_constant")["value"] * kelvin))


def _air_oxygen() -> Mapping[str, float]:
    """Return the oxygen that air is taken to hold, by who says so."""
    return {
        "epa": sources.table("air")["trade"]["oxygen"],
        "europe": sources.table("stack_loss")["formula"]["oxygen_of_air"] / 100.0,
        "real": dry_air()["O2"],
    }


def _dilution(oxygen: Number, air_oxygen: str, name: str) -> Array:
    """Return air-free gas per gas at this oxygen content, inverted: a / (a - O2)."""
    air = float(_lookup("oxygen content of air", _air_oxygen(), air_oxygen))
    fraction = si(oxygen, "mol/mol", name)
    is_air = fraction >= air
    if fraction.ndim == 0 and is_air:
        raise InputError(
            f"{name} is {100 * float(fraction):.4g} %; this rule counts air as {100 * air:.4g} % oxygen, so "
            "there is no flue gas in the sample to refer to"
        )
    return np.asarray(air / np.where(is_air, np.nan, air - fraction))
