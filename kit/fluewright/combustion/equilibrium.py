"""Flames at equilibrium: adiabatic flame temperature, products at a temperature, cooling, thermal NO.

Every call builds its own small ideal-gas phase from Cantera's bundled species data and returns frozen
results: nothing is shared, so calls may run in threads and processes side by side. The equilibrium of a
flame is a bound, not a reading: a flue gas freezes while it cools and is never at equilibrium.
"""

from __future__ import annotations

import functools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from fluewright import sources
from fluewright.combustion.air import dry_air as standard_air
from fluewright.combustion.blocks import Values, plain
from fluewright.combustion.thermo import formation_enthalpy, sensible_enthalpy
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Array, Number, si

if TYPE_CHECKING:
    from fluewright.combustion.fuels import Fuel

__all__ = [
    "AdiabaticFlame",
    "Cooling",
    "ProductGas",
    "ThermalNitricOxide",
    "adiabatic_flame",
    "cooling",
    "equilibrium_products",
    "thermal_nitric_oxide",
]

_ELEMENTS = ("C", "H", "O", "N", "Ar", "S")
_MAJORS = ("CO2", "H2O", "N2", "O2", "Ar", "CO", "H2")  # these hold a burn without dissociation
_MINORS = ("OH", "H", "O", "NO", "HO2", "NO2", "CH4")
_SULFUR = ("SO3", "SO", "H2S")
_DATA_NAME = {"Ar": "AR"}  # as the products' data file has it
_KILO = 1000.0  # Cantera counts in kmol


@dataclass(frozen=True, slots=True, kw_only=True)
class ProductGas:
    """Combustion products at a temperature: wet mole fractions by species.

    ``temperature`` [K], ``pressure`` [Pa] and each array of ``wet`` [mol/mol] have the broadcast shape of the
    inputs; NaN marks an element outside of the limits in ``sources/equilibrium.toml``.
    """

    temperature: Values
    pressure: Values
    wet: Mapping[str, Values]

    @property
    def dry(self) -> Mapping[str, Values]:
        """Mole fractions without the water [mol/mol, dry]."""
        return _dry(self.wet)


@dataclass(frozen=True, slots=True, kw_only=True)
class AdiabaticFlame:
    """A flame that loses no heat, at equilibrium and, beside it, burnt completely without dissociation.

    ``temperature`` [K] and ``composition`` (wet mole fractions by species) are those of equilibrium;
    ``frozen_temperature`` and ``frozen_composition`` leave dissociation out. Those are NaN with less air than
    stoichiometric, where complete burning does not exist. All is NaN for an element outside of the limits in
    ``sources/equilibrium.toml``.
    """

    excess_air: Values
    pressure: Values
    temperature: Values
    composition: Mapping[str, Values]
    frozen_temperature: Values
    frozen_composition: Mapping[str, Values]

    @property
    def dry(self) -> Mapping[str, Values]:
        """Equilibrium composition without the water [mol/mol, dry]."""
        return _dry(self.composition)


@dataclass(frozen=True, slots=True, kw_only=True)
class Cooling:
    """Flame gas on its way down, if its composition froze in the flame and if it followed equilibrium.

    Arrays have the shape of ``temperature`` [K], one-dimensional. ``heat_frozen`` and ``heat_equilibrium``
    are the heat given up since the flame [J per mol of fuel]: what they differ by stays in the gas as carbon
    monoxide, hydrogen and radicals if the gas freezes.
    """

    flame_temperature: float
    temperature: Array
    frozen: Mapping[str, Array]
    equilibrium: Mapping[str, Array]
    heat_frozen: Array
    heat_equilibrium: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class ThermalNitricOxide:
    """Nitric oxide of flame gas held at its adiabatic state: a kinetic estimate beside equilibrium.

    For teaching. ``kinetic_dry`` [mol/mol, dry] at each ``residence_time`` [s] starts from flame gas at
    equilibrium but for its nitrogen oxides; prompt NO, heat loss and mixing are left out, so it is no
    forecast of a reading. ``equilibrium_dry`` is the level that unlimited time would reach.
    """

    flame_temperature: float
    residence_time: Array
    kinetic_dry: Array
    equilibrium_dry: float
    note: str


def adiabatic_flame(
    fuel: Fuel,
    *,
    excess_air: Number = 0.0,
    air_temperature: Number = 298.15,
    fuel_temperature: Number = 298.15,
    air_water_fraction: Number = 0.0,
    pressure: Number = 101325.0,
    dry_air: Mapping[str, float] | None = None,
) -> AdiabaticFlame:
    """Return the adiabatic flame at constant enthalpy and pressure, at equilibrium and without dissociation.

    Ideal gas; no heat loss, no soot. All inputs broadcast against one another and against arrays in the
    fuel's composition, so a map over air and fuel is one call.

    Parameters
    ----------
    fuel : Fuel
        The fuel; its composition may hold arrays.
    excess_air : float or array
        Air beyond the stoichiometric, as a fraction of it [-]; negative for a rich flame.
    air_temperature, fuel_temperature : float or array
        Temperatures at which air and fuel arrive [K].
    air_water_fraction : float or array
        Water vapor in the combustion air [mol/mol of humid air].
    pressure : float or array
        Absolute pressure [Pa].
    dry_air : mapping of str to float, optional
        Composition of the dry air [mol/mol], such as ``{"O2": 0.21, "N2": 0.79}``; default the standard
        atmosphere. Excess air counts by oxygen, so it holds for enriched air as well.

    Returns
    -------
    AdiabaticFlame

    Raises
    ------
    InputError
        A scalar outside of the limits, or so little air that soot would form.

    Notes
    -----
    Cantera minimizes the Gibbs energy over 14 species (18 with sulfur), from a start at complete products
    that already hold the target enthalpy.

    Examples
    --------
    >>> from fluewright.combustion.fuels import fuel
    >>> round(adiabatic_flame(fuel("methane")).temperature)
    2224
    """
    charge = _flames(
        fuel, dry_air, excess_air, air_temperature, fuel_temperature, air_water_fraction, pressure
    )
    names = charge.products()
    solved = _solve(names, charge, "HP", _enthalpy_of_reactants(charge) / charge.mass)
    complete = charge.valid & (charge.given["air_ratio"] >= 1.0)
    return AdiabaticFlame(
        excess_air=charge.shaped(charge.given["air_ratio"] - 1.0),
        pressure=charge.shaped(charge.given["pressure"]),
        temperature=charge.shaped(solved.temperature),
        composition=_by_name(charge, names, solved.fractions),
        frozen_temperature=charge.shaped(np.where(complete, solved.start_temperature, np.nan)),
        frozen_composition=_by_name(
            charge, charge.majors(), np.where(complete[:, None], charge.start / charge.start_moles, np.nan)
        ),
    )


def equilibrium_products(
    fuel: Fuel,
    *,
    air_ratio: Number,
    temperature: Number,
    pressure: Number = 101325.0,
    air_water_fraction: Number = 0.0,
    dry_air: Mapping[str, float] | None = None,
) -> ProductGas:
    """Return the combustion products at chemical equilibrium at a temperature and pressure.

    Ideal gas without soot; an equilibrium value, not what a flue holds.

    Parameters
    ----------
    fuel : Fuel
        The fuel; its composition may hold arrays.
    air_ratio : float or array
        Air per stoichiometric air [-].
    temperature : float or array
        Temperature of the products [K].
    pressure, air_water_fraction, dry_air
        As in `adiabatic_flame`.

    Returns
    -------
    ProductGas

    Raises
    ------
    InputError
        A scalar outside of the limits, or so little air that soot would form.
    """
    charge = _charge(
        fuel,
        dry_air,
        air_ratio=si(air_ratio, "1", "air_ratio"),
        temperature=si(temperature, "K", "temperature"),
        pressure=si(pressure, "Pa", "pressure"),
        air_water_fraction=si(air_water_fraction, "mol/mol", "air_water_fraction"),
    )
    names = charge.products()
    solved = _solve(names, charge, "TP", charge.given["temperature"])
    return ProductGas(
        temperature=charge.shaped(solved.temperature),
        pressure=charge.shaped(charge.given["pressure"]),
        wet=_by_name(charge, names, solved.fractions),
    )


def cooling(
    fuel: Fuel,
    *,
    temperature: Number,
    excess_air: Number = 0.0,
    air_temperature: Number = 298.15,
    fuel_temperature: Number = 298.15,
    air_water_fraction: Number = 0.0,
    pressure: Number = 101325.0,
) -> Cooling:
    """Return flame gas on its way down, frozen in the flame against at equilibrium all the way.

    Parameters
    ----------
    fuel : Fuel
        The fuel.
    temperature : array, shape (n,)
        Temperatures at which to look, at or below the flame's [K].
    excess_air, air_temperature, fuel_temperature, air_water_fraction, pressure : float
        One flame, as in `adiabatic_flame`.

    Returns
    -------
    Cooling

    Raises
    ------
    InputError
        The flame is not a single one, or a temperature lies above it.
    """
    charge = _one_flame(fuel, excess_air, air_temperature, fuel_temperature, air_water_fraction, pressure)
    kelvin = np.atleast_1d(si(temperature, "K", "temperature"))
    names, absolute = charge.products(), float(charge.given["pressure"][0])
    enthalpy = _enthalpy_of_reactants(charge) / charge.mass
    flame = _solve(names, charge, "HP", enthalpy)
    if np.any(kelvin > flame.temperature[0]):
        raise InputError(
            f"temperature goes up to {kelvin.max():.0f} K, above the flame's {flame.temperature[0]:.0f} K; "
            "cooling starts at the flame"
        )
    many = _charge(
        fuel,
        None,
        **{name: value[0] for name, value in charge.given.items()} | {"temperature": kelvin},
    )
    settled = _solve(names, many, "TP", kelvin)

    def heat_given_up(fractions: Array) -> Values:
        return plain(charge.mass[0] * (enthalpy[0] - _specific_enthalpy(names, kelvin, absolute, fractions)))

    frozen = np.broadcast_to(flame.fractions, (kelvin.size, len(names)))
    return Cooling(
        flame_temperature=float(flame.temperature[0]),
        temperature=plain(kelvin.copy()),
        frozen=_by_name(many, names, frozen),
        equilibrium=_by_name(many, names, settled.fractions),
        heat_frozen=heat_given_up(frozen),
        heat_equilibrium=heat_given_up(settled.fractions),
    )


def thermal_nitric_oxide(
    fuel: Fuel,
    *,
    residence_time: Number,
    excess_air: Number = 0.0,
    air_temperature: Number = 298.15,
    air_water_fraction: Number = 0.0,
    pressure: Number = 101325.0,
) -> ThermalNitricOxide:
    """Return the nitric oxide that flame gas makes while it stays at its adiabatic temperature.

    A labelled estimate for teaching. A constant-pressure adiabatic reactor with the bundled mechanism starts
    from flame gas at equilibrium but for its nitrogen oxides. Prompt NO, fuel nitrogen, heat loss and
    mixing are left out.

    Parameters
    ----------
    fuel : Fuel
        Methane or natural gas: at least 90 % of what burns must be methane, since the bundled mechanism
        (GRI-Mech 3.0) was made for it, and none of it sulfur, which the mechanism lacks.
    residence_time : float or array, shape (n,)
        Times at the flame's temperature [s], ascending.
    excess_air, air_temperature, air_water_fraction, pressure : float
        One flame, as in `adiabatic_flame`.

    Returns
    -------
    ThermalNitricOxide

    Raises
    ------
    InputError
        An unfit fuel, several flames at once, or times that do not ascend from zero.
    """
    share, rule = _methane_share(fuel), _data("thermal_nitric_oxide")
    if share < rule["methane_share_low"] or np.any(np.asarray(fuel.sulfur) > 0):
        raise InputError(
            f"methane is {100 * share:.3g} % of what burns in '{fuel.name}'; the kinetic estimate holds from "
            f"{100 * rule['methane_share_low']:.3g} %, for methane and natural gas only, without sulfur "
            f"({rule['source']})"
        )
    seconds = np.atleast_1d(si(residence_time, "s", "residence_time"))
    if np.any(seconds < 0) or np.any(np.diff(seconds) <= 0):
        raise InputError("residence_time must ascend and start at zero or later")
    charge = _one_flame(fuel, excess_air, air_temperature, 298.15, air_water_fraction, pressure)
    names = charge.products()
    enthalpy = _enthalpy_of_reactants(charge) / charge.mass
    settled = _solve(names, charge, "HP", enthalpy)
    without = tuple(name for name in names if name not in ("NO", "NO2"))
    start = _solve(without, charge, "HP", enthalpy)
    equilibrium = dict(zip(names, settled.fractions[0], strict=True))
    return ThermalNitricOxide(
        flame_temperature=float(settled.temperature[0]),
        residence_time=plain(seconds.copy()),
        kinetic_dry=plain(_react(without, start, float(charge.given["pressure"][0]), seconds)),
        equilibrium_dry=float(equilibrium["NO"] / (1.0 - equilibrium["H2O"])),
        note="Estimate for teaching: flame gas at its adiabatic state by GRI-Mech 3.0, methane and natural "
        "gas only; no prompt NO, no heat loss, no mixing.",
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Charge:
    """Fuel and air per mole of fuel, flattened to rows."""

    shape: tuple[int, ...]
    given: Mapping[str, Array]  # inputs, one value a row
    fuel: Mapping[str, Array]  # moles by component
    air: Mapping[str, Array]  # moles by species, humid
    start: Array  # moles of `majors`, complete or water-gas products [rows, species]
    valid: NDArray[np.bool_]
    sulfur: bool

    def shaped(self, rows: Array) -> Values:
        return plain(np.ascontiguousarray(rows).reshape(self.shape))

    def products(self) -> tuple[str, ...]:
        return self.majors() + _MINORS + (_SULFUR if self.sulfur else ())

    def majors(self) -> tuple[str, ...]:
        return _MAJORS + (("SO2",) if self.sulfur else ())

    @property
    def start_moles(self) -> Array:
        return np.asarray(self.start.sum(axis=1, keepdims=True))

    @property
    def mass(self) -> Array:
        """Mass [kg] per mole of fuel."""
        return np.asarray(self.start @ _masses(self.majors()))


@dataclass(frozen=True, slots=True, kw_only=True)
class _Solved:
    temperature: Array
    start_temperature: Array
    fractions: Array


def _one_flame(
    fuel: Fuel,
    excess_air: Number,
    air_temperature: Number,
    fuel_temperature: Number,
    air_water_fraction: Number,
    pressure: Number,
) -> _Charge:
    charge = _flames(fuel, None, excess_air, air_temperature, fuel_temperature, air_water_fraction, pressure)
    if charge.shape != ():
        raise InputError("this follows one flame: give single numbers for fuel, air, temperature, pressure")
    return charge


def _flames(
    fuel: Fuel,
    dry_air: Mapping[str, float] | None,
    excess_air: Number,
    air_temperature: Number,
    fuel_temperature: Number,
    air_water_fraction: Number,
    pressure: Number,
) -> _Charge:
    return _charge(
        fuel,
        dry_air,
        air_ratio=1.0 + si(excess_air, "1", "excess_air"),
        air_temperature=si(air_temperature, "K", "air_temperature"),
        fuel_temperature=si(fuel_temperature, "K", "fuel_temperature"),
        air_water_fraction=si(air_water_fraction, "mol/mol", "air_water_fraction"),
        pressure=si(pressure, "Pa", "pressure"),
    )


def _charge(fuel: Fuel, dry_air: Mapping[str, float] | None, **inputs: Array) -> _Charge:
    components = {name: np.asarray(part, dtype=np.float64) for name, part in fuel.composition.items()}
    rows = np.broadcast_arrays(*inputs.values(), *components.values())
    shape = rows[0].shape
    flat = [row.reshape(-1) for row in rows]
    given = dict(zip(inputs, flat[: len(inputs)], strict=True))
    parts = dict(zip(components, flat[len(inputs) :], strict=True))
    atoms = {element: _atoms_of_fuel(parts, element) for element in _ELEMENTS}
    burns = 2 * atoms["C"] + atoms["H"] / 2 + 2 * atoms["S"] - atoms["O"]
    air = _humid_air(dry_air, given["air_ratio"] * burns / 2, given["air_water_fraction"])
    atoms = {e: n + sum(m * _atoms(species, e) for species, m in air.items()) for e, n in atoms.items()}
    short = np.maximum(2 * atoms["C"] + atoms["H"] / 2 + 2 * atoms["S"] - atoms["O"], 0.0)
    monoxide = np.minimum(atoms["C"], short)
    hydrogen = short - monoxide
    start = {
        "CO2": atoms["C"] - monoxide,
        "H2O": atoms["H"] / 2 - hydrogen,
        "N2": atoms["N"] / 2,
        "O2": np.maximum(atoms["O"] - 2 * atoms["C"] - atoms["H"] / 2 - 2 * atoms["S"], 0.0) / 2,
        "Ar": atoms["Ar"],
        "CO": monoxide,
        "H2": hydrogen,
        "SO2": atoms["S"],
    }
    valid = _judge(given, shape, burns=burns, oxygen_for_carbon=atoms["O"] - atoms["C"] - 2 * atoms["S"])
    sulfur = bool(np.any(atoms["S"] > 0))
    majors = _MAJORS + (("SO2",) if sulfur else ())
    return _Charge(
        shape=shape,
        given=given,
        fuel=parts,
        air=air,
        start=np.stack([start[name] for name in majors], axis=1),
        valid=valid,
        sulfur=sulfur,
    )


def _humid_air(dry_air: Mapping[str, float] | None, oxygen: Array, water: Array) -> Mapping[str, Array]:
    """Return air that brings so much oxygen, in moles by species; `water` per mole of humid air."""
    composition = standard_air() if dry_air is None else dry_air
    if abs(sum(composition.values()) - 1.0) > 1e-6 or composition.get("O2", 0.0) <= 0:
        raise InputError(f"dry_air is {dict(composition)}; it must hold oxygen and sum to one")
    dry = oxygen / composition["O2"]
    air = {name: dry * share for name, share in composition.items()}
    return air | {"H2O": dry * water / (1.0 - water)}


def _judge(given: Mapping[str, Array], shape: tuple[int, ...], **balance: Array) -> NDArray[np.bool_]:
    """Return which rows are within the limits; a scalar that is not is an error."""
    limits = _data("limits")
    rules: list[tuple[str, NDArray[np.bool_], str]] = [
        ("fuel", balance["burns"] > 0, "it has nothing to burn; name a fuel with carbon, hydrogen or sulfur"),
        ("air_ratio", given["air_ratio"] > 0, "air must be more than none"),
        ("air_ratio", balance["oxygen_for_carbon"] > 0, "so little air leaves soot, which is not modeled"),
        _within(given, "pressure", limits["pressure_low"], limits["pressure_high"], "Pa"),
        _within(given, "air_water_fraction", 0.0, limits["air_water_high"], "mol/mol"),
    ]
    for name in ("air_temperature", "fuel_temperature", "temperature"):
        if name in given:
            kind = "temperature" if name == "temperature" else "preheat"
            rules.append(_within(given, name, limits[f"{kind}_low"], limits[f"{kind}_high"], "K"))
    if shape == ():
        for name, holds, why in rules:
            if not holds.all():
                value = f" is {float(given[name][0]):g}" if name in given else ""
                raise InputError(f"{name}{value}: {why}")
    return np.asarray(np.logical_and.reduce([holds for _, holds, _ in rules]))


def _within(
    given: Mapping[str, Array], name: str, low: float, high: float, unit: str
) -> tuple[str, NDArray[np.bool_], str]:
    holds = (given[name] >= low) & (given[name] <= high)
    return name, holds, f"the equilibrium is worked out from {low:g} to {high:g} {unit} only"


def _solve(names: Sequence[str], charge: _Charge, fixed: str, target: Array) -> _Solved:
    """Return equilibrium row by row, Cantera's solver taking one state at a time.

    `fixed` is "HP" with `target` the specific enthalpy [J/kg], or "TP" with `target` the temperature [K].
    """
    gas = _phase(names)
    pressure = charge.given["pressure"]
    start = np.zeros((len(target), len(names)))
    start[:, [names.index(name) for name in charge.majors()]] = charge.start / charge.start_moles
    temperature = np.full(len(target), np.nan)
    start_temperature, fractions = temperature.copy(), np.full_like(start, np.nan)
    for row in np.flatnonzero(charge.valid):
        if fixed == "HP":
            gas.HPX = target[row], pressure[row], start[row]
        else:
            gas.TPX = target[row], pressure[row], start[row]
        start_temperature[row] = gas.T
        gas.equilibrate(fixed)
        temperature[row], fractions[row] = gas.T, gas.X
    return _Solved(temperature=temperature, start_temperature=start_temperature, fractions=fractions)


def _react(names: Sequence[str], start: _Solved, pressure: float, seconds: Array) -> Array:
    """Return nitric oxide [mol/mol, dry] after each time in an adiabatic reactor at constant pressure."""
    ct = _cantera()
    gas = ct.Solution(_data("thermal_nitric_oxide")["mechanism"])
    gas.TPX = (
        start.temperature[0],
        pressure,
        {_DATA_NAME.get(name, name): x for name, x in zip(names, start.fractions[0], strict=True)},
    )
    reactor = ct.IdealGasConstPressureReactor(gas, clone=False)
    network = ct.ReactorNet([reactor])
    nitric_oxide = np.empty(len(seconds))
    for step, second in enumerate(seconds):
        if second > 0:
            network.advance(second)
        gas.TPY = reactor.T, pressure, reactor.Y
        nitric_oxide[step] = gas["NO"].X[0] / (1.0 - gas["H2O"].X[0])
    return nitric_oxide


def _specific_enthalpy(names: Sequence[str], temperature: Array, pressure: float, fractions: Array) -> Array:
    gas = _phase(names)
    enthalpy = np.empty(len(temperature))
    for row, (kelvin, x) in enumerate(zip(temperature, fractions, strict=True)):
        gas.TPX = kelvin, pressure, x
        enthalpy[row] = gas.enthalpy_mass
    return enthalpy


def _enthalpy_of_reactants(charge: _Charge) -> Array:
    """Return the enthalpy [J] that fuel and air bring per mole of fuel, formation included."""
    fuel = sum(
        moles * _enthalpy(_stand_ins(component), charge.given["fuel_temperature"])
        for component, moles in charge.fuel.items()
    )
    return np.asarray(fuel + _enthalpy(charge.air, charge.given["air_temperature"]))


def _enthalpy(moles: Mapping[str, Any], temperature: Array) -> Array:
    formation = sum(amount * formation_enthalpy(species) for species, amount in moles.items())
    return np.asarray(formation + sensible_enthalpy(moles, temperature=temperature))


def _by_name(charge: _Charge, names: Sequence[str], fractions: Array) -> dict[str, Values]:
    return {name: charge.shaped(x) for name, x in zip(names, fractions.T, strict=True)}


def _dry(wet: Mapping[str, Values]) -> dict[str, Values]:
    return {name: x / (1.0 - wet["H2O"]) for name, x in wet.items() if name != "H2O"}


def _methane_share(fuel: Fuel) -> float:
    """Return methane per combustible, by moles."""
    inert = ("N2", "CO2", "O2", "H2O", "Ar")
    burning = sum(np.asarray(part) for name, part in fuel.composition.items() if name not in inert)
    return float(np.min(np.asarray(fuel.composition.get("CH4", 0.0)) / burning))


def _atoms_of_fuel(parts: Mapping[str, Array], element: str) -> Array:
    return np.asarray(
        sum(
            moles * share * _atoms(species, element)
            for component, moles in parts.items()
            for species, share in _stand_ins(component).items()
        )
    )


def _stand_ins(component: str) -> Mapping[str, float]:
    """Return the data species, with their shares, that a component of a fuel counts as."""
    known = _data("component")
    if component not in known:
        raise UnknownNameError("fuel component with species data", component, known)
    stand_ins: Mapping[str, float] = known[component]
    return stand_ins


def _atoms(species: str, element: str) -> float:
    return float(_species(species).composition.get(element, 0.0))


def _masses(names: Sequence[str]) -> Array:
    return np.array([_species(name).molecular_weight for name in names]) / _KILO


def _phase(names: Sequence[str]) -> Any:
    return _cantera().Solution(thermo="ideal-gas", species=[_species(name) for name in names])


@functools.cache
def _species_data() -> Mapping[str, Any]:
    """Return every species of the bundled data that is used here; read only, hence safe to share."""
    data, load = _data("data"), _cantera().Species.list_from_file
    nasa = {species.name: species for species in load(data["fuels"])}
    gri = {species.name: species for species in load(data["products"])}
    products = {name: gri[_DATA_NAME.get(name, name)] for name in _MAJORS + _MINORS}
    return MappingProxyType(nasa | products)


def _species(name: str) -> Any:
    return _species_data()[name]


@functools.cache
def _cantera() -> Any:
    """Return Cantera, imported only when a flame is asked for: it takes longer than all else here."""
    import cantera

    return cantera


def _data(name: str) -> Mapping[str, Any]:
    entry: Mapping[str, Any] = sources.table("equilibrium")[name]
    return entry
