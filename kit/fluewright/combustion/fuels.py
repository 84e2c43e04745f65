"""Fuel gases: composition, and what follows from it by ISO 6976:2016 and by counting atoms."""

from __future__ import annotations

import functools
from collections.abc import Mapping
from dataclasses import InitVar, dataclass, field
from types import MappingProxyType
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion.air import dry_air
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.thermo import REFERENCE_TEMPERATURE, evaluate, fold, formation_enthalpy
from fluewright.combustion.water import saturation_pressure
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Array, Number, si

__all__ = [
    "Fuel",
    "FuelFactors",
    "GasProperties",
    "ReferenceConditions",
    "blend",
    "fuel",
    "fuel_from_heating_value",
    "fuel_names",
    "heating_value_thermochemical",
    "reference_conditions",
]

_SUM_TOLERANCE = 1e-6
_GRAM = 1e-3  # kg
_KILO = 1e3


@dataclass(frozen=True, slots=True, kw_only=True)
class ReferenceConditions:
    """At what temperature a heating value holds, and at what state a volume of gas is counted.

    ``combustion_temperature`` and ``metering_temperature`` [K] are among those tabulated by ISO 6976 (0, 15,
    15.55, 20, for combustion also 25 °C); ``pressure`` [Pa]; ``saturated``: the volume holds water vapor to
    saturation.
    """

    combustion_temperature: float = 288.15
    metering_temperature: float = 288.15
    pressure: float = 101325.0
    saturated: bool = False
    name: str = "as given"

    def __post_init__(self) -> None:
        """Check against the tables and the scope of ISO 6976."""
        reference = _iso()["reference"]
        _column(self.combustion_temperature, reference["gross_temperatures"], "combustion_temperature")
        _column(self.metering_temperature, reference["summation_temperatures"], "metering_temperature")
        if not reference["pressure_low"] <= self.pressure <= reference["pressure_high"]:
            raise InputError(
                f"pressure of the reference conditions is {self.pressure} Pa; ISO 6976 covers "
                f"{reference['pressure_low']} to {reference['pressure_high']} Pa. Give the base of the "
                "volume, absolute."
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class GasProperties:
    """Properties of a fuel gas at reference conditions, by ISO 6976:2016, as a real gas.

    Heating values [J/mol, J/kg, J/m³] with the water condensed (gross) or as vapor (net); ``wobbe_gross`` and
    ``wobbe_net`` [J/m³]; ``relative_density`` [-] to dry air at the same state; ``compression_factor`` [-];
    ``molar_volume`` [m³/mol]; ``density`` [kg/m³].
    """

    reference: ReferenceConditions
    gross_heating_value_molar: Values
    net_heating_value_molar: Values
    gross_heating_value_mass: Values
    net_heating_value_mass: Values
    gross_heating_value: Values
    net_heating_value: Values
    wobbe_gross: Values
    wobbe_net: Values
    relative_density: Values
    compression_factor: Values
    molar_volume: Values
    density: Values


@dataclass(frozen=True, slots=True, kw_only=True)
class FuelFactors:
    """Fuel factors in the manner of 40 CFR 60 Appendix A-7 Method 19, from a composition.

    ``dry`` (Fd) and ``wet`` (Fw): stoichiometric flue gas, ``carbon`` (Fc): carbon dioxide [m³ at 20 °C and
    101.325 kPa, per J of gross heat]; ``ratio`` (Fo) [-]: 20.9 % times Fd over Fc.
    """

    dry: Values
    wet: Values
    carbon: Values
    ratio: Values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Fuel:
    """A fuel gas of known composition.

    Parameters
    ----------
    composition : mapping of str to float or array [mol/mol]
        Mole fractions by component (``CH4``, ``n-C4H10`` …, or names such as "methane"); arrays broadcast,
        so that one fuel may stand for many draws. They sum to one.
    name : str
        What a report calls it.
    kind : str
        Which published ranges apply: "natural gas", "propane", "butane", or none.
    source, status : str
        Where the composition is from.
    assumed : str
        What had to be assumed of it; empty where nothing was.
    normalize : bool
        Scale the fractions to sum to one instead of refusing them.

    Raises
    ------
    InputError
        A fraction is negative, above one or no number, or the sum is not one.
    UnknownNameError
        A component is not in the data.

    Notes
    -----
    Heating values and volumes follow ISO 6976:2016, at 15 °C and 101.325 kPa unless `properties` is asked
    for other conditions. C6+ counts as n-hexane.

    Examples
    --------
    >>> gas = Fuel(composition={"CH4": 0.94, "C2H6": 0.04, "N2": 0.02}, name="pipeline gas")
    >>> round(gas.gross_heating_value / 1e6, 2)
    38.16
    """

    composition: Mapping[str, Number]
    name: str = "fuel as given"
    kind: str = ""
    source: str = "composition as given"
    status: str = "entered"
    assumed: str = ""
    normalize: InitVar[bool] = False
    _parts: Mapping[str, Array] = field(init=False, repr=False)
    _known: dict[Any, Any] = field(init=False, repr=False, default_factory=dict)  # what was asked for before

    def __post_init__(self, normalize: bool) -> None:
        """Check the composition and keep it under the symbols of the data."""
        parts: dict[str, Array] = {}
        for given, amount in self.composition.items():
            symbol = component_symbol(given)
            parts[symbol] = parts.get(symbol, np.float64(0)) + si(amount, "mol/mol", f"fraction of {given}")
        _check_fractions(parts, self.name, highest=np.inf if normalize else 1 + _SUM_TOLERANCE)
        total: Array = np.asarray(sum(parts.values()))
        if normalize and np.all(total > 0):
            parts = {symbol: part / total for symbol, part in parts.items()}
        elif not parts or np.any(np.abs(total - 1) > _SUM_TOLERANCE):
            worst = total.flat[np.argmax(np.abs(total - 1))] if parts else 0.0
            raise InputError(
                f"the composition of '{self.name}' sums to {worst:.6g}, not to 1; "
                "give mole fractions of the whole gas, or pass normalize=True to have them scaled."
            )
        object.__setattr__(self, "_parts", MappingProxyType(parts))
        object.__setattr__(
            self, "composition", MappingProxyType({symbol: plain(part) for symbol, part in parts.items()})
        )

    def __reduce__(self) -> tuple[Any, ...]:
        """Return how another process makes this fuel again: its read-only mappings cannot be sent."""
        given = (dict(self.composition), self.name, self.kind, self.source, self.status, self.assumed)
        return _made_again, given

    def atoms(self, element: str) -> Values:
        """Return the atoms of `element` ("C", "H", "O", "N", "S", "Ar") per mole of fuel."""
        if element not in self._known:
            self._known[element] = self._sum(lambda component: component["atoms"].get(element, 0))
        return self._known[element]

    @property
    def carbon(self) -> Values:
        """Carbon atoms per mole of fuel, those of carbon dioxide in it included."""
        return self.atoms("C")

    @property
    def hydrogen(self) -> Values:
        """Hydrogen atoms per mole of fuel."""
        return self.atoms("H")

    @property
    def oxygen(self) -> Values:
        """Oxygen atoms per mole of fuel."""
        return self.atoms("O")

    @property
    def nitrogen(self) -> Values:
        """Nitrogen atoms per mole of fuel."""
        return self.atoms("N")

    @property
    def sulfur(self) -> Values:
        """Sulfur atoms per mole of fuel."""
        return self.atoms("S")

    @property
    def molar_mass(self) -> Values:
        """Molar mass [kg/mol], ISO 6976:2016 equation 5."""
        return self._sum(lambda component: component["molar_mass"] * _GRAM)

    @property
    def oxygen_need(self) -> Values:
        """Oxygen molecules that burn one mole of fuel completely [mol/mol]."""
        if "O2 needed" not in self._known:
            self._known["O2 needed"] = self.carbon + self.hydrogen / 4 + self.sulfur - self.oxygen / 2
        return self._known["O2 needed"]

    @property
    def stoichiometric_air(self) -> Values:
        """Dry air that burns one mole of fuel completely [mol/mol]."""
        return self.oxygen_need / dry_air()["O2"]

    @property
    def dry_products_without_air(self) -> Values:
        """Dry flue gas less the dry air it took [mol/mol fuel]; negative for most fuels."""
        return self.carbon + self.sulfur + self.nitrogen / 2 + self.atoms("Ar") - self.oxygen_need

    @property
    def stoichiometric_dry_products(self) -> Values:
        """Dry flue gas at stoichiometric, complete burning in dry air [mol/mol fuel]."""
        return self.dry_products_without_air + self.stoichiometric_air

    @property
    def stoichiometric_wet_products(self) -> Values:
        """Flue gas with its water at stoichiometric, complete burning in dry air [mol/mol fuel]."""
        return self.stoichiometric_dry_products + self.hydrogen / 2

    @property
    def ultimate_carbon_dioxide(self) -> Values:
        """Carbon dioxide in dry flue gas at stoichiometric, complete burning [mol/mol]."""
        return (self.carbon + dry_air()["CO2"] * self.stoichiometric_air) / self.stoichiometric_dry_products

    @property
    def gross_heating_value_molar(self) -> Values:
        """Gross heating value at 25 °C [J/mol], ISO 6976:2016: what every loss is a share of."""
        return self.properties(_reference_25()).gross_heating_value_molar

    @property
    def net_heating_value_molar(self) -> Values:
        """Net heating value at 25 °C [J/mol], ISO 6976:2016."""
        return self.properties(_reference_25()).net_heating_value_molar

    @property
    def gross_heating_value_mass(self) -> Values:
        """Gross heating value at 15 °C [J/kg]."""
        return self.properties().gross_heating_value_mass

    @property
    def net_heating_value_mass(self) -> Values:
        """Net heating value at 15 °C [J/kg]."""
        return self.properties().net_heating_value_mass

    @property
    def gross_heating_value(self) -> Values:
        """Gross heating value at 15 °C of a real, dry cubic meter at 15 °C and 101.325 kPa [J/m³]."""
        return self.properties().gross_heating_value

    @property
    def net_heating_value(self) -> Values:
        """Net heating value at 15 °C of a real, dry cubic meter at 15 °C and 101.325 kPa [J/m³]."""
        return self.properties().net_heating_value

    @property
    def wobbe_gross(self) -> Values:
        """Gross Wobbe index at 15 °C and 101.325 kPa [J/m³]."""
        return self.properties().wobbe_gross

    @property
    def wobbe_net(self) -> Values:
        """Net Wobbe index at 15 °C and 101.325 kPa [J/m³]."""
        return self.properties().wobbe_net

    @property
    def relative_density(self) -> Values:
        """Density to that of dry air, both real, at 15 °C and 101.325 kPa [-]."""
        return self.properties().relative_density

    @property
    def compression_factor(self) -> Values:
        """Compression factor at 15 °C and 101.325 kPa [-]."""
        return self.properties().compression_factor

    @property
    def carbon_per_heat(self) -> Values:
        """Carbon dioxide from complete burning, per gross heat at 25 °C [mol/J]."""
        return self.carbon / self.gross_heating_value_molar

    @property
    def fuel_factors(self) -> FuelFactors:
        """Fuel factors Fd, Fw, Fc and Fo as Method 19 counts: air with 20.9 % oxygen, heat at 60 °F."""
        us = reference_conditions("US 60 °F, 14.696 psia")
        iso = _iso()["reference"]
        air_oxygen = sources.table("air")["trade"]["oxygen"]
        # Hydrogen has no Fo: it makes no carbon dioxide.
        volume = iso["gas_constant"] * iso["summation_temperatures"][-1] / iso["pressure"]
        per_heat = volume / self.properties(us).gross_heating_value_molar
        dry = self.dry_products_without_air + self.oxygen_need / air_oxygen
        with np.errstate(divide="ignore"):
            ratio = np.where(np.asarray(self.carbon) > 0, air_oxygen * dry / np.asarray(self.carbon), np.nan)
        return FuelFactors(
            dry=dry * per_heat,
            wet=(dry + self.hydrogen / 2) * per_heat,
            carbon=self.carbon * per_heat,
            ratio=plain(ratio),
        )

    def properties(self, reference: ReferenceConditions | None = None) -> GasProperties:
        """Return the properties at reference conditions by ISO 6976:2016.

        Without `reference`: combustion and volume at 15 °C, 101.325 kPa, dry.
        Saturated gas follows the practice of the United States (GPA 2172): the water dilutes the gas and is
        not counted as heat.
        """
        at = reference if reference is not None else ReferenceConditions(name="standard 15/15")
        if at not in self._known:
            self._known[at] = self._properties(at)
        known: GasProperties = self._known[at]
        return known

    def _properties(self, at: ReferenceConditions) -> GasProperties:
        iso = _iso()["reference"]
        heat = _column(at.combustion_temperature, iso["gross_temperatures"], "combustion_temperature")
        metering = _column(at.metering_temperature, iso["summation_temperatures"], "metering_temperature")
        water = saturation_pressure(at.metering_temperature) / at.pressure if at.saturated else 0.0
        gas = 1 - water
        gross = self._sum(lambda component: component["gross"][heat] * _KILO) * gas
        net = gross - self.hydrogen / 2 * iso["vaporization"][heat] * _KILO * gas
        vapor = _iso()["component"]["H2O"]
        mass = self.molar_mass * gas + vapor["molar_mass"] * _GRAM * water
        summed = (
            self._sum(lambda component: component["summation"][metering]) * gas
            + vapor["summation"][metering] * water
        )
        scale = at.pressure / iso["pressure"]
        factor = 1 - scale * summed**2
        volume = factor * iso["gas_constant"] * at.metering_temperature / at.pressure
        air = _iso()["air"]
        air_factor = 1 - scale * (1 - air["compression_factor"][metering])
        density = mass / (air["molar_mass"] * _GRAM) * air_factor / factor
        root = density**0.5
        return GasProperties(
            reference=at,
            gross_heating_value_molar=gross,
            net_heating_value_molar=net,
            gross_heating_value_mass=gross / mass,
            net_heating_value_mass=net / mass,
            gross_heating_value=gross / volume,
            net_heating_value=net / volume,
            wobbe_gross=gross / volume / root,
            wobbe_net=net / volume / root,
            relative_density=density,
            compression_factor=factor,
            molar_volume=volume,
            density=mass / volume,
        )

    def gross_heating_value_volume(self, reference: ReferenceConditions | None = None) -> Values:
        """Return the gross heating value of a real cubic meter at reference conditions [J/m³]."""
        return self.properties(reference).gross_heating_value

    def net_heating_value_volume(self, reference: ReferenceConditions | None = None) -> Values:
        """Return the net heating value of a real cubic meter at reference conditions [J/m³]."""
        return self.properties(reference).net_heating_value

    def sensible_enthalpy(self, *, temperature: Number) -> Values:
        """Return what the gas holds above 25 °C at `temperature` [K], by Cantera's data [J/mol]."""
        return plain(evaluate(fold(_thermochemical(self._parts)), si(temperature, "K", "temperature")))

    def _sum(self, value: Any) -> Values:
        components = _iso()["component"]
        return plain(sum(part * value(components[symbol]) for symbol, part in self._parts.items()))


def _made_again(composition: Mapping[str, Number], *words: str) -> Fuel:
    name, kind, source, status, assumed = words
    return Fuel(composition=composition, name=name, kind=kind, source=source, status=status, assumed=assumed)


def fuel(name: str) -> Fuel:
    """Return a fuel of the library by its name ("natural gas", "propane", "G20" …).

    Parameters
    ----------
    name : str
        See `fuel_names` for all of them.

    Returns
    -------
    Fuel
        With the source of its composition; the fractions as printed are scaled to sum to one.

    Raises
    ------
    UnknownNameError
        No fuel has that name; the nearest one is suggested.

    Examples
    --------
    >>> round(fuel("propane").stoichiometric_air, 2)
    23.88
    """
    entry = _library().get(name)
    if entry is None:
        raise UnknownNameError("fuel", name, _library())
    assumed = (
        f"composition of {entry['name']}: {entry['source']}"
        if entry["status"] in {"chosen", "memory", "read"}
        else ""
    )
    return Fuel(
        composition=entry["composition"],
        name=entry["name"],
        kind=entry["kind"],
        source=entry["source"],
        status=entry["status"],
        assumed=assumed,
        normalize=True,
    )


def fuel_names() -> tuple[str, ...]:
    """Return the names of the library's fuels, without their synonyms."""
    return tuple(sources.table("fuels"))


def blend(shares: Mapping[str | Fuel, Number], *, by: str, name: str = "") -> Fuel:
    """Return a mixture of fuels.

    Parameters
    ----------
    shares : mapping of str or Fuel to float or array
        Share of each fuel, named or given; they sum to one.
    by : {"volume", "energy", "mass"}
        What the shares count: moles (volumes as ideal gases), gross heat at 25 °C, or mass.
    name : str
        What a report calls it.

    Returns
    -------
    Fuel

    Raises
    ------
    InputError
        The shares do not sum to one, or a fuel without heat is counted by energy.
    UnknownNameError
        `by` or a fuel is unknown.

    Examples
    --------
    >>> mix = blend({"natural gas": 0.8, "hydrogen": 0.2}, by="volume")
    >>> round(mix.composition["H2"], 3)
    0.2
    """
    fuels = [
        (fuel(given) if isinstance(given, str) else given, si(share, "1", "share"))
        for given, share in shares.items()
    ]
    _check_fractions({f"part {n}, {gas.name},": share for n, (gas, share) in enumerate(fuels, 1)}, "blend")
    total: Array = np.asarray(sum(share for _, share in fuels))
    if not fuels or np.any(np.abs(total - 1) > _SUM_TOLERANCE):
        raise InputError(
            f"the shares of a blend sum to {np.max(total) if fuels else 0:.6g}, not to 1; give the share "
            "of every part."
        )
    parts: dict[str, Any] = {}
    for gas, share in fuels:
        moles = share / _per_mole(gas, by)
        for symbol, part in gas.composition.items():
            parts[symbol] = parts.get(symbol, 0.0) + moles * part
    kinds = {gas.kind for gas, _ in fuels}
    return Fuel(
        composition=parts,
        name=name or " + ".join(gas.name for gas, _ in fuels),
        kind=kinds.pop() if len(kinds) == 1 else "",
        source=f"blend by {by} of " + "; ".join(f"{gas.name} ({gas.source})" for gas, _ in fuels),
        status="derived",
        assumed="; ".join(gas.assumed for gas, _ in fuels if gas.assumed),
        normalize=True,
    )


def fuel_from_heating_value(
    gross_heating_value: Number,
    *,
    relative_density: Number | None = None,
    reference: ReferenceConditions | None = None,
    name: str = "natural gas by heating value",
) -> Fuel:
    """Return the pipeline gas that has a heating value and, if given, a relative density: what a bill states.

    Methane carries higher hydrocarbons and inert gas in the proportions of the library's natural gas; their
    two amounts are found from the two figures. With the heating value alone the inert share stays that of
    the library's gas. The composition is *assumed* and says so.

    Parameters
    ----------
    gross_heating_value : float or array [J/m³]
        Of a real cubic meter at `reference`.
    relative_density : float or array [-], optional
        To dry air, real.
    reference : ReferenceConditions, optional
        The base of the figure; default 15/15 °C, 101.325 kPa, dry.
    name : str
        What a report calls it.

    Returns
    -------
    Fuel

    Raises
    ------
    InputError
        No such pipeline gas has these figures.

    Examples
    --------
    >>> gas = fuel_from_heating_value(38.5e6, relative_density=0.59)
    >>> round(gas.gross_heating_value / 1e6, 3), round(gas.relative_density, 4)
    (38.5, 0.59)
    """
    at = reference if reference is not None else ReferenceConditions(name="standard 15/15")
    wanted = si(gross_heating_value, "J/m^3", "gross_heating_value")
    density = None if relative_density is None else si(relative_density, "1", "relative_density")
    methane, higher, inert = _families()
    inert_share: Any = _inert_share()
    higher_share: Any = np.zeros_like(wanted)
    for _ in range(_STEPS):  # the compression factor moves by 1e-4: each step gains three digits
        mix = _mixture(methane, higher, inert, higher_share, inert_share)
        now = mix.properties(at)
        gross = wanted * now.molar_volume
        mass = None if density is None else density * mix.molar_mass / now.relative_density
        higher_share, inert_share = _shares(methane, higher, inert, gross, mass, inert_share, at)
    possible = np.minimum(np.minimum(higher_share, inert_share), 1 - higher_share - inert_share)
    if not np.all(possible >= -_SHARE_TOLERANCE):
        raise InputError(
            f"no pipeline gas has a gross heating value of {_span(wanted)} J/m³"
            + (f" with a relative density of {_span(density)}" if density is not None else "")
            + ": methane with more or less of higher hydrocarbons and inert gas does not reach it. "
            "Check value, unit and base, or give the composition."
        )
    made = _mixture(methane, higher, inert, higher_share, inert_share)
    figures = "heating value" if density is None else "heating value and relative density"
    return Fuel(
        composition=made.composition,
        name=name,
        kind="natural gas",
        source=f"{figures} as given, at {at.name}",
        status="assumed",
        assumed=f"composition found from the {figures} alone: methane, with the higher hydrocarbons and the "
        "inert gas in the proportions of typical pipeline gas",
    )


def heating_value_thermochemical(gas: Fuel, *, basis: str = "gross") -> Values:
    """Return the heating value at 25 °C from Cantera's heats of formation [J/mol], beside that of ISO 6976.

    A check only: within one balance the two are never mixed. `basis` is "gross" or "net".

    Raises
    ------
    UnknownNameError
        The basis is neither.

    Examples
    --------
    >>> round(heating_value_thermochemical(fuel("methane")) / 1e3, 1)
    890.6
    """
    water = {"gross": "H2O(L)", "net": "H2O"}
    if basis not in water:
        raise UnknownNameError("basis", basis, water)
    reactants = sum(
        amount * formation_enthalpy(species) for species, amount in _thermochemical(gas._parts).items()
    )
    products = (
        gas.carbon * formation_enthalpy("CO2")
        + gas.hydrogen / 2 * formation_enthalpy(water[basis])
        + gas.sulfur * formation_enthalpy("SO2")
    )
    return plain(np.asarray(reactants - products))


def reference_conditions(name: str) -> ReferenceConditions:
    """Return reference conditions by name, such as "US 60 °F, 14.73 psia".

    Raises
    ------
    UnknownNameError
        No reference conditions have that name.
    """
    known = sources.table("reference_conditions")
    if name not in known:
        raise UnknownNameError("set of reference conditions", name, known)
    return ReferenceConditions(
        **{key: value for key, value in known[name].items() if key not in {"source", "status"}}, name=name
    )


def _per_mole(gas: Fuel, by: str) -> Any:
    """Return what one mole of a gas counts in a blend."""
    counts = {"volume": 1.0, "energy": gas.gross_heating_value_molar, "mass": gas.molar_mass}
    if by not in counts:
        raise UnknownNameError("way to count a blend", by, counts)
    if np.any(np.asarray(counts[by]) <= 0):
        raise InputError(
            f"'{gas.name}' has no heating value and cannot be a share by energy; blend by volume."
        )
    return counts[by]


_STEPS = 8
_SHARE_TOLERANCE = 1e-9


def _iso() -> Mapping[str, Any]:
    return sources.table("species")


@functools.cache
def _symbols() -> Mapping[str, str]:
    known = {}
    for symbol, component in _iso()["component"].items():
        for name in (symbol, component["name"], *component["also"]):
            known[name.lower()] = symbol
    return MappingProxyType(known)


def component_symbol(name: str) -> str:
    """Return the symbol of a fuel component by any of its names.

    Raises
    ------
    UnknownNameError
        No component has that name.
    """
    symbol = _symbols().get(str(name).lower())
    if symbol is None:
        raise UnknownNameError("fuel component", name, _iso()["component"])
    return symbol


@functools.cache
def _library() -> Mapping[str, Mapping[str, Any]]:
    named: dict[str, Mapping[str, Any]] = {}
    for name, entry in sources.table("fuels").items():
        for word in (name, *entry["also"]):
            named[word] = {**entry, "name": name}
    return MappingProxyType(named)


@functools.cache
def _reference_25() -> ReferenceConditions:
    return ReferenceConditions(combustion_temperature=REFERENCE_TEMPERATURE, name="25/15")


def _column(temperature: float, tabulated: list[float], name: str) -> int:
    nearest = int(np.argmin(np.abs(np.subtract(tabulated, temperature))))
    if not abs(tabulated[nearest] - temperature) <= _iso()["reference"]["temperature_tolerance"]:
        raise InputError(
            f"{name} is {temperature} K; ISO 6976 tabulates {', '.join(map(str, tabulated))} K. Choose "
            "one of these."
        )
    return nearest


def _check_fractions(parts: Mapping[str, Array], name: str, *, highest: float = 1 + _SUM_TOLERANCE) -> None:
    for symbol, part in parts.items():
        wrong = ~((part >= 0) & (part <= highest))
        if np.any(wrong):
            raise InputError(
                f"{symbol} in '{name}' is {np.asarray(part)[wrong].flat[0]:.6g}; a fraction lies between 0 and 1 "
                "(a percentage is divided by 100)."
            )


def _thermochemical(parts: Mapping[str, Array]) -> dict[str, Any]:
    """Return the amounts of Cantera's species that stand for the components."""
    stand_ins = sources.table("equilibrium")["component"]
    amounts: dict[str, Any] = {}
    for symbol, part in parts.items():
        for species, share in stand_ins[symbol].items():
            amounts[species] = amounts.get(species, 0.0) + share * part
    return amounts


def _families() -> tuple[Fuel, Fuel, Fuel]:
    """Return methane, and the higher hydrocarbons and the inert gas of the library's natural gas."""
    typical = fuel("natural gas").composition
    inert = {symbol: typical[symbol] for symbol in ("N2", "CO2")}
    higher = {symbol: part for symbol, part in typical.items() if symbol not in {"CH4", "N2", "CO2", "O2"}}
    return (
        fuel("methane"),
        Fuel(composition=higher, name="higher hydrocarbons", normalize=True),
        Fuel(composition=inert, name="inert gas", normalize=True),
    )


def _inert_share() -> float:
    typical = fuel("natural gas").composition
    return float(typical["N2"] + typical["CO2"])


def _mixture(methane: Fuel, higher: Fuel, inert: Fuel, higher_share: Any, inert_share: Any) -> Fuel:
    """Return the mixture, its shares kept between 0 and 1 while they are still being found (NaN as 1)."""
    shares = [np.fmax(0.0, np.fmin(1.0, share)) for share in (higher_share, inert_share)]
    shares.append(np.fmax(0.0, 1.0 - shares[0] - shares[1]))
    parts: dict[str, Any] = {}
    for gas, share in zip((higher, inert, methane), shares, strict=True):
        for symbol, part in gas.composition.items():
            parts[symbol] = parts.get(symbol, 0.0) + share * part
    return Fuel(composition=parts, normalize=True)


def _gross(gas: Fuel, at: ReferenceConditions) -> Values:
    return gas.properties(at).gross_heating_value_molar


def _shares(
    methane: Fuel, higher: Fuel, inert: Fuel, gross: Any, mass: Any, inert_share: Any, at: ReferenceConditions
) -> tuple[Any, Any]:
    """Solve for the two shares: molar heating value and molar mass are linear in them."""
    base, step = _gross(methane, at), _gross(higher, at) - _gross(methane, at)
    if mass is None:
        return (gross - base * (1 - inert_share)) / step, inert_share
    heavier, inert_mass = higher.molar_mass - methane.molar_mass, inert.molar_mass - methane.molar_mass
    determinant = step * inert_mass + base * heavier
    more_heat, more_mass = gross - base, mass - methane.molar_mass
    return (
        (more_heat * inert_mass + base * more_mass) / determinant,
        (step * more_mass - heavier * more_heat) / determinant,
    )


def _span(values: Any) -> str:
    low, high = float(np.min(values)), float(np.max(values))
    return f"{low:.6g}" if low == high else f"{low:.6g} to {high:.6g}"
