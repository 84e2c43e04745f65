"""Flue gas from a reading: a closed balance of carbon, hydrogen, oxygen and nitrogen on the real fuel."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from types import MappingProxyType
from typing import Any, NamedTuple

import numpy as np

from fluewright import sources
from fluewright.combustion.air import dry_air
from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.combustion.fuels import Fuel
from fluewright.combustion.water import saturation_pressure, saturation_temperature_kernel
from fluewright.errors import InputError
from fluewright.units import Array, Number, si

__all__ = ["FlueGas", "GasState", "flue_gas"]

_DATA = sources.table("flue_gas")
FRESH_AIR = _DATA["fresh_air"]["oxygen_dry"]
_IMPOSSIBLE_OXYGEN = _DATA["impossible"]["oxygen"]
_DILUTE = _DATA["dilute"]["oxygen_dry"]
_TRADE_OXYGEN = sources.table("air")["trade"]["oxygen"]
_READ_DRY = ("oxygen_dry", "carbon_dioxide_dry")
_LOWEST = {"oxygen_dry": 0.0, "oxygen_wet": 0.0, "carbon_dioxide_dry": 0.0, "excess_air": -1.0}
_ROUNDING = 1e-9  # mole fraction; below it a negative product is rounding, not a contradiction


class GasState(IntEnum):
    """What a row of readings allows to be said; `words` explains it."""

    OK = 0
    OXYGEN_STARVED = 1
    TOO_DILUTE = 2
    NO_FLUE_GAS = 3
    IMPOSSIBLE = 4
    NOT_A_NUMBER = 5
    FLUE_TEMPERATURE_OUT_OF_RANGE = 6
    AIR_TEMPERATURE_OUT_OF_RANGE = 7

    @property
    def words(self) -> str:
        """The state in words, with the way out."""
        return _WORDS[self]

    @property
    def has_numbers(self) -> bool:
        """Whether the balance gives numbers at all."""
        return self <= GasState.TOO_DILUTE


_WORDS = {
    GasState.OK: "flue gas",
    GasState.OXYGEN_STARVED: (
        "starved of oxygen: less air than the fuel needs; hydrogen is estimated by water-gas equilibrium"
    ),
    GasState.TOO_DILUTE: (
        "too dilute for an air-free value: oxygen is above 15 %; cannot tell, sample nearer to the burner"
    ),
    GasState.NO_FLUE_GAS: (
        "no flue gas: the sample is fresh air; check burner, probe and hose, or set the rows aside"
    ),
    GasState.IMPOSSIBLE: (
        "impossible: no burning of this fuel in air gives these readings; check the sensors and the fuel"
    ),
    GasState.NOT_A_NUMBER: "a reading is missing or no number",
    GasState.FLUE_TEMPERATURE_OUT_OF_RANGE: (
        "the flue temperature is outside of 0 to 1,500 °C; check the value and its unit"
    ),
    GasState.AIR_TEMPERATURE_OUT_OF_RANGE: (
        "the air or fuel temperature is outside of its range, for air -60 to 1,000 °C; "
        "check the value and its unit"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FlueGas:
    """A balanced flue gas, per mole of fuel; floats for scalar readings, read-only arrays for array readings.

    Stored are `air_ratio` [-], `dry_moles` [mol dry gas per mol fuel], the true dry mole fractions
    `oxygen_dry`, `carbon_monoxide_dry`, `hydrogen_dry`, `methane_dry`, `nitric_oxide_dry` [mol/mol], the
    air's `air_water_fraction` [mol/mol], `pressure` [Pa] and `state` (codes of `GasState`). Everything else
    follows from them. A row without numbers is NaN and its state says why; its readings are kept.
    """

    fuel: Fuel
    air_ratio: Values
    dry_moles: Values
    oxygen_dry: Values
    carbon_monoxide_dry: Values
    hydrogen_dry: Values
    methane_dry: Values
    nitric_oxide_dry: Values
    ambient_carbon_monoxide: Values
    air_water_fraction: Values
    pressure: Values
    state: Values

    @property
    def excess_air(self) -> Values:
        """Air beyond the stoichiometric, by the carbon–oxygen balance [-]."""
        return plain(np.asarray(self.air_ratio) - 1)

    @property
    def equivalence_ratio(self) -> Values:
        """Fuel to air, over the stoichiometric [-]."""
        return plain(1 / np.asarray(self.air_ratio))

    @property
    def excess_air_oxygen_rule(self) -> Values:
        """Excess air by the dry-oxygen rule of the trade, O2 / (20.9 − O2) [-]."""
        return self._where_numbers(lambda oxygen: oxygen / (_TRADE_OXYGEN - oxygen), self.oxygen_dry)

    @property
    def carbon_dioxide_dry(self) -> Values:
        """Carbon dioxide in the dry gas, by the balance [mol/mol]."""
        return plain(np.asarray(self.moles["CO2"]) / self.dry_moles)

    @property
    def carbon_monoxide_air_free(self) -> Values:
        """Carbon monoxide, dry, air-free, by the carbon balance [mol/mol]; NaN in gas too dilute for it.

        Ambient carbon monoxide is subtracted only if it was given.
        """
        stoichiometric = self.fuel.stoichiometric_dry_products
        return self._air_free(lambda made, dry, least: made * dry / least, self.dry_moles, stoichiometric)

    @property
    def carbon_monoxide_air_free_oxygen_rule(self) -> Values:
        """Carbon monoxide, dry, air-free, by the trade's rule CO · 20.9 / (20.9 − O2) [mol/mol]."""
        return self._air_free(
            lambda made, oxygen: made * _TRADE_OXYGEN / (_TRADE_OXYGEN - oxygen), self.oxygen_dry
        )

    @property
    def air_moles(self) -> Values:
        """Dry combustion air [mol per mol fuel]."""
        return plain(np.asarray(self.air_ratio) * self.fuel.stoichiometric_air)

    @property
    def air_water_moles(self) -> Values:
        """Water that the combustion air brought [mol per mol fuel]."""
        water = np.asarray(self.air_water_fraction)
        return plain(np.asarray(self.air_moles) * water / (1 - water))

    @property
    def fuel_water_moles(self) -> Values:
        """Water from the fuel's hydrogen, what stayed unburnt left out [mol per mol fuel]."""
        unburnt = np.asarray(self.hydrogen_dry) + 2 * np.asarray(self.methane_dry)
        return plain(self.fuel.hydrogen / 2 - unburnt * self.dry_moles)

    @property
    def water_moles(self) -> Values:
        """Water in the flue gas [mol per mol fuel]."""
        return plain(np.asarray(self.fuel_water_moles) + self.air_water_moles)

    @property
    def water_fraction(self) -> Values:
        """Water in the wet flue gas [mol/mol]."""
        water = np.asarray(self.water_moles)
        return plain(water / (water + self.dry_moles))

    @property
    def water_dew_point(self) -> Values:
        """Dew point of the water in the flue gas at its pressure [K]; NaN for gas without water."""
        fuel = self.fuel

        def kernel(
            ratio: Any, dry: Any, hydrogen: Any, methane: Any, water: Any, pressure: Any, half: Any, air: Any
        ) -> tuple[Any]:
            vapor = half - (hydrogen + 2 * methane) * dry + ratio * air * (water / (1 - water))
            return (saturation_temperature_kernel(pressure * (vapor / (vapor + dry))),)

        (kelvin,) = blockwise(
            kernel,
            self.air_ratio,
            self.dry_moles,
            self.hydrogen_dry,
            self.methane_dry,
            self.air_water_fraction,
            self.pressure,
            fuel.hydrogen / 2,
            fuel.stoichiometric_air,
        )
        return plain(kelvin)

    @property
    def moles(self) -> Mapping[str, Values]:
        """Amount of each species in the wet gas [mol per mol fuel]."""
        fuel, air = self.fuel, np.asarray(self.air_moles)
        dry = np.asarray(self.dry_moles)
        monoxide, hydrogen, methane, nitric_oxide = (
            np.asarray(part) * dry
            for part in (self.carbon_monoxide_dry, self.hydrogen_dry, self.methane_dry, self.nitric_oxide_dry)
        )
        parts = {
            "CO2": fuel.carbon + air * dry_air()["CO2"] - monoxide - methane,
            "H2O": self.water_moles,
            "O2": air * dry_air()["O2"]
            - fuel.oxygen_need
            + monoxide / 2
            + hydrogen / 2
            + 2 * methane
            - nitric_oxide / 2,
            "N2": fuel.nitrogen / 2 + air * dry_air()["N2"] - nitric_oxide / 2,
            "Ar": fuel.atoms("Ar") + air * dry_air()["Ar"],
            "SO2": fuel.sulfur + 0 * dry,
            "CO": monoxide,
            "H2": hydrogen,
            "CH4": methane,
            "NO": nitric_oxide,
        }
        return MappingProxyType({species: plain(part) for species, part in parts.items()})

    @property
    def dry(self) -> Mapping[str, Values]:
        """Mole fraction of each species in the dry gas [mol/mol]."""
        parts = self.moles.items()
        return MappingProxyType(
            {name: plain(np.asarray(part) / self.dry_moles) for name, part in parts if name != "H2O"}
        )

    @property
    def wet(self) -> Mapping[str, Values]:
        """Mole fraction of each species in the wet gas [mol/mol]."""
        parts = self.moles
        total = np.asarray(parts["H2O"]) + self.dry_moles
        return MappingProxyType({name: plain(np.asarray(part) / total) for name, part in parts.items()})

    def _where_numbers(self, rule: Callable[[Array], Array], values: Values) -> Values:
        with np.errstate(all="ignore"):
            return plain(np.where(np.isnan(self.air_ratio), np.nan, rule(np.asarray(values))))

    def _air_free(self, rule: Callable[..., Any], *operands: Values) -> Values:
        def kernel(monoxide: Any, ambient: Any, state: Any, *block: Any) -> tuple[Any]:
            made = np.maximum(monoxide - ambient, 0.0)
            return (np.where(state <= GasState.OXYGEN_STARVED, rule(made, *block), np.nan),)

        readings = self.carbon_monoxide_dry, self.ambient_carbon_monoxide, self.state
        (value,) = blockwise(kernel, *readings, *operands)
        return plain(value)


def flue_gas(
    fuel: Fuel,
    *,
    oxygen_dry: Number | None = None,
    oxygen_wet: Number | None = None,
    carbon_dioxide_dry: Number | None = None,
    excess_air: Number | None = None,
    carbon_monoxide_dry: Number = 0.0,
    hydrogen_dry: Number = 0.0,
    methane_dry: Number = 0.0,
    nitric_oxide_dry: Number = 0.0,
    air_water_fraction: Number = 0.0,
    pressure: Number = 101325.0,
    sample_dew_point: Number | None = None,
    ambient_carbon_monoxide: Number = 0.0,
) -> FlueGas:
    """Return the flue gas that a reading stands for.

    Exactly one of `oxygen_dry`, `oxygen_wet`, `carbon_dioxide_dry` and `excess_air` is given. With the
    unburnt gases as read, the balance is linear in the dry flue gas per mole of fuel and is solved in closed
    form. Dilution by air that leaks into the flue is invisible to it. Soot and unburnt gases that are not
    given are left out.

    Parameters
    ----------
    fuel : Fuel
        What burns; its composition may hold arrays.
    oxygen_dry, oxygen_wet : float or array [mol/mol]
        Oxygen in dried gas (extractive instruments) or in wet gas (in-situ cells).
    carbon_dioxide_dry : float or array [mol/mol]
        Only where oxygen was not measured.
    excess_air : float or array [-]
        Air beyond the stoichiometric, as a fraction of it.
    carbon_monoxide_dry, hydrogen_dry, methane_dry, nitric_oxide_dry : float or array [mol/mol]
        Unburnt gas and nitric oxide, as read in dried gas. Where the balance finds less air than
        stoichiometric and no hydrogen was given, hydrogen is estimated by water-gas equilibrium and the row
        is flagged.
    air_water_fraction : float or array [mol/mol]
        Water vapor in the (moist) combustion air; see `moist_air_water_fraction`.
    pressure : float or array [Pa]
        Absolute pressure at the site.
    sample_dew_point : float or array [K], optional
        Dew point of the gas as the instrument reads it; dry readings are then raised to truly dry gas.
    ambient_carbon_monoxide : float or array [mol/mol]
        Carbon monoxide of the room, taken off air-free values. Never give it where a safety limit is judged.

    Returns
    -------
    FlueGas

    Raises
    ------
    InputError
        Not exactly one reading is given; or scalar readings are no flue gas, impossible or no number. Rows
        of arrays are NaN instead, labeled in `state`.

    Notes
    -----
    Per mole of fuel, with λ the air ratio, D the dry flue gas, and X the dry fractions:
    ``λ A = D (1 − X_CO/2 − 3 X_H2/2 − 2 X_CH4) − D0`` counts all dry moles, and
    ``X_O2 D = a (λ − 1) + D (X_CO/2 + X_H2/2 + 2 X_CH4 − X_NO/2)`` the oxygen; A is the stoichiometric dry
    air, a its oxygen, D0 the dry products less the oxygen they took.

    Examples
    --------
    >>> from fluewright.combustion import flue_gas, fuel
    >>> flue = flue_gas(fuel("methane"), oxygen_dry=0.05)
    >>> round(flue.excess_air, 3), round(flue.excess_air_oxygen_rule, 3)
    (0.281, 0.314)
    """
    readings = {
        "oxygen_dry": oxygen_dry,
        "oxygen_wet": oxygen_wet,
        "carbon_dioxide_dry": carbon_dioxide_dry,
        "excess_air": excess_air,
    }
    given = [name for name, reading in readings.items() if reading is not None]
    if len(given) != 1:
        raise InputError(
            f"flue_gas needs exactly one of {', '.join(readings)}; it was given "
            f"{', '.join(given) or 'none'}. "
            "Oxygen goes first; carbon dioxide is used only where oxygen was not measured."
        )
    mode = given[0]
    _check_fuel(fuel, mode)
    reading = si(readings[mode], "1", mode)
    pascal = si(pressure, "Pa", "pressure")
    rows = _Rows(
        reading=reading,
        monoxide=si(carbon_monoxide_dry, "mol/mol", "carbon_monoxide_dry"),
        hydrogen=si(hydrogen_dry, "mol/mol", "hydrogen_dry"),
        methane=si(methane_dry, "mol/mol", "methane_dry"),
        nitric_oxide=si(nitric_oxide_dry, "mol/mol", "nitric_oxide_dry"),
        water=si(air_water_fraction, "mol/mol", "air_water_fraction"),
        pressure=pascal,
        ambient=si(ambient_carbon_monoxide, "mol/mol", "ambient_carbon_monoxide"),
        carbon=fuel.carbon,
        half=fuel.hydrogen / 2,
        need=fuel.oxygen_need,
        base=fuel.dry_products_without_air,
    )
    if sample_dew_point is not None:
        dried = (
            "monoxide",
            "hydrogen",
            "methane",
            "nitric_oxide",
            *(("reading",) if mode in _READ_DRY else ()),
        )
        drying = _drying(sample_dew_point, pascal)
        rows = rows._replace(**{name: np.asarray(getattr(rows, name) * drying) for name in dried})
    return _balance(fuel, mode, rows)


def _balance(fuel: Fuel, mode: str, rows: _Rows) -> FlueGas:
    wanted = (float, float, np.uint8) if mode == "oxygen_dry" else (float, float, np.uint8, float)
    hydrogen_given = rows.hydrogen.ndim > 0 or rows.hydrogen != 0
    ratio, dry, state, *computed = blockwise(_kernel(mode, whole=hydrogen_given), *rows, kinds=wanted)
    oxygen = computed[0] if computed else np.broadcast_to(rows.reading, state.shape)
    hydrogen = rows.hydrogen
    starved = state == GasState.OXYGEN_STARVED
    if not hydrogen_given and np.any(starved):
        rich = _Rows(
            *(part if np.ndim(part) == 0 else np.broadcast_to(part, state.shape)[starved] for part in rows)
        )
        hydrogen = np.zeros(state.shape)
        hydrogen[starved] = _water_gas_hydrogen(_FUEL_PER_DRY[mode], rich)
        solved = blockwise(
            _kernel(mode, whole=True), *rich._replace(hydrogen=hydrogen[starved]), kinds=wanted
        )
        for whole, part in zip((ratio, dry, state, *computed), solved, strict=True):
            whole[starved] = part
    if state.ndim == 0 and state > GasState.TOO_DILUTE:
        _refuse(GasState(int(state)), fuel, mode, rows)
    return FlueGas(
        fuel=fuel,
        air_ratio=plain(ratio),
        dry_moles=plain(dry),
        oxygen_dry=plain(oxygen),
        carbon_monoxide_dry=plain(rows.monoxide),
        hydrogen_dry=plain(hydrogen),
        methane_dry=plain(rows.methane),
        nitric_oxide_dry=plain(rows.nitric_oxide),
        ambient_carbon_monoxide=plain(rows.ambient),
        air_water_fraction=plain(rows.water),
        pressure=plain(rows.pressure),
        state=GasState(int(state)) if state.ndim == 0 else plain(state),
    )


class _Rows(NamedTuple):
    """The readings and the fuel of one block of rows; fractions in dry gas [mol/mol], fuel per mole of it.

    `damp` is the water of the air per mole of dry air, `half` half of the fuel's hydrogen atoms, `need` the
    oxygen that burns it, `base` its dry products less the dry air they took.
    """

    reading: Any
    monoxide: Any
    hydrogen: Any
    methane: Any
    nitric_oxide: Any
    water: Any
    pressure: Any
    ambient: Any
    carbon: Any
    half: Any
    need: Any
    base: Any

    @property
    def damp(self) -> Any:
        return self.water / (1 - self.water)

    def rest(self, hydrogen: Any) -> Any:
        """Return λA + D0 per dry mole: one, less what incomplete burning adds to the dry gas."""
        return 1 - self.monoxide / 2 - 1.5 * hydrogen - 2 * self.methane

    def spare(self, hydrogen: Any) -> Any:
        """Return the oxygen per dry mole that incomplete burning left over."""
        return self.monoxide / 2 + hydrogen / 2 + 2 * self.methane - self.nitric_oxide / 2

    def air(self, fuel_per_dry: Any, hydrogen: Any) -> Any:
        """Return the dry air per dry mole."""
        return self.rest(hydrogen) - self.base * fuel_per_dry

    def dioxide(self, fuel_per_dry: Any, hydrogen: Any) -> Any:
        """Return the carbon dioxide per dry mole."""
        in_air = dry_air()["CO2"] * self.air(fuel_per_dry, hydrogen)
        return self.carbon * fuel_per_dry + in_air - self.monoxide - self.methane

    def vapor(self, fuel_per_dry: Any, hydrogen: Any) -> Any:
        """Return the water per dry mole."""
        from_air = self.damp * self.air(fuel_per_dry, hydrogen)
        return self.half * fuel_per_dry - hydrogen - 2 * self.methane + from_air


# Each of these returns moles of fuel per mole of dry gas; all are linear in the hydrogen.


def _by_oxygen_dry(rows: _Rows, hydrogen: Any) -> Any:
    oxygen = dry_air()["O2"]
    used = rows.rest(hydrogen) - (rows.reading - rows.spare(hydrogen)) / oxygen
    return used / (rows.base + rows.need / oxygen)


def _by_oxygen_wet(rows: _Rows, hydrogen: Any) -> Any:
    oxygen, rest, damp = dry_air()["O2"], rows.rest(hydrogen), rows.damp
    in_wet_gas = rows.reading * (1 - hydrogen - 2 * rows.methane + damp * rest)
    used = oxygen * rest + rows.spare(hydrogen) - in_wet_gas
    return used / (rows.need + oxygen * rows.base + rows.reading * (rows.half - damp * rows.base))


def _by_carbon_dioxide(rows: _Rows, hydrogen: Any) -> Any:
    in_air = dry_air()["CO2"]
    from_fuel = rows.reading + rows.monoxide + rows.methane - in_air * rows.rest(hydrogen)
    return from_fuel / (rows.carbon - in_air * rows.base)


def _by_excess_air(rows: _Rows, hydrogen: Any) -> Any:
    return rows.rest(hydrogen) / (rows.base + (1 + rows.reading) * rows.need / dry_air()["O2"])


_FUEL_PER_DRY: Mapping[str, Callable[[_Rows, Any], Any]] = MappingProxyType(
    {
        "oxygen_dry": _by_oxygen_dry,
        "oxygen_wet": _by_oxygen_wet,
        "carbon_dioxide_dry": _by_carbon_dioxide,
        "excess_air": _by_excess_air,
    }
)


def _kernel(mode: str, *, whole: bool) -> Callable[..., tuple[Any, ...]]:
    """Return the balance of a block of rows: air ratio, dry moles, state, oxygen where it was not read.

    Until the unburnt gases are whole, oxygen may seem short where hydrogen is still missing beside monoxide.
    """

    def kernel(*operands: Any) -> tuple[Any, ...]:
        rows = _Rows(*operands)
        fuel_per_dry = _FUEL_PER_DRY[mode](rows, rows.hydrogen)
        dry = 1 / fuel_per_dry
        air = rows.air(fuel_per_dry, rows.hydrogen)
        ratio = air * dry * (dry_air()["O2"] / rows.need)
        oxygen = rows.reading
        if mode != "oxygen_dry":
            oxygen = dry_air()["O2"] * air - rows.need * fuel_per_dry + rows.spare(rows.hydrogen)
        surplus = oxygen if whole else np.where(rows.monoxide > 0, np.maximum(oxygen, 0.0), oxygen)
        state = _judge(rows, mode, fuel_per_dry, ratio, surplus)
        good = state <= GasState.TOO_DILUTE
        parts = np.where(good, ratio, np.nan), np.where(good, dry, np.nan), state
        return parts if mode == "oxygen_dry" else (*parts, np.where(good, oxygen, np.nan))

    return kernel


def _judge(rows: _Rows, mode: str, fuel_per_dry: Any, ratio: Any, oxygen: Any) -> Any:
    """Return the state of each row; the later of these rules outweighs the earlier."""
    fractions = (rows.monoxide, rows.hydrogen, rows.methane, rows.nitric_oxide, rows.ambient, rows.water)
    lowest, sum_of_all = rows.pressure, rows.reading + rows.pressure
    for fraction in fractions:
        lowest = np.minimum(lowest, fraction)
        sum_of_all = sum_of_all + fraction
    absurd = (lowest < 0) | (rows.water >= 1) | (rows.pressure <= 0) | (rows.reading < _LOWEST[mode])
    products = np.minimum(rows.dioxide(fuel_per_dry, rows.hydrogen), rows.vapor(fuel_per_dry, rows.hydrogen))
    impossible = absurd | (np.minimum(products, oxygen) < -_ROUNDING) | (fuel_per_dry <= 0)
    fresh = oxygen >= FRESH_AIR
    if mode == "carbon_dioxide_dry":
        fresh |= fuel_per_dry <= 0
    elif mode == "oxygen_wet":
        fresh |= rows.reading >= FRESH_AIR
    if mode in ("oxygen_dry", "oxygen_wet"):
        fresh &= rows.reading <= _IMPOSSIBLE_OXYGEN
    state = np.where(oxygen > _DILUTE, GasState.TOO_DILUTE, GasState.OK)
    state = np.where(ratio < 1 - _ROUNDING, GasState.OXYGEN_STARVED, state)
    state = np.where(impossible, GasState.IMPOSSIBLE, state)
    state = np.where(fresh & ~absurd, GasState.NO_FLUE_GAS, state)
    return np.where(np.isnan(sum_of_all), GasState.NOT_A_NUMBER, state)


def _water_gas_hydrogen(solve: Callable[[_Rows, Any], Any], rows: _Rows) -> Any:
    """Return the hydrogen [mol/mol dry] at which CO · H2O = K · CO2 · H2 and the balance holds."""
    ends = [(solve(rows, hydrogen), hydrogen) for hydrogen in (0.0, 1.0)]  # linear in between
    (dioxide, dioxide_1), (vapor, vapor_1) = (
        [part(*end) for end in ends] for part in (rows.dioxide, rows.vapor)
    )
    constant = _DATA["water_gas"]["constant"]
    square = constant * (dioxide_1 - dioxide)
    linear = constant * dioxide - rows.monoxide * (vapor_1 - vapor)
    with np.errstate(all="ignore"):  # rows that turn out impossible
        root = np.sqrt(linear**2 + 4 * square * rows.monoxide * vapor)
        return 2 * rows.monoxide * vapor / (linear + root)


def _drying(sample_dew_point: Number, pressure: Array) -> Array:
    """Return the factor from a reading in gas of a dew point to the reading in dry gas."""
    water = np.asarray(saturation_pressure(si(sample_dew_point, "K", "sample_dew_point"))) / pressure
    if np.ndim(water) == 0 and not 0 <= water < 1:
        raise InputError(
            "sample_dew_point is at or above the boiling point of water at this pressure; check the "
            "value and its unit."
        )
    with np.errstate(all="ignore"):
        return np.asarray(np.where(water < 1, 1 / (1 - water), np.nan))


def _check_fuel(fuel: Fuel, mode: str) -> None:
    if not np.all(np.asarray(fuel.oxygen_need) > 0):
        raise InputError(f"'{fuel.name}' does not burn: it needs no oxygen. Check its composition.")
    if mode == "carbon_dioxide_dry" and not np.all(np.asarray(fuel.carbon) > 0):
        raise InputError(
            f"'{fuel.name}' holds no carbon, so carbon dioxide says nothing of its air; measure oxygen."
        )


def _refuse(state: GasState, fuel: Fuel, mode: str, rows: _Rows) -> None:
    ultimate = float(np.max(np.asarray(fuel.ultimate_carbon_dioxide)))
    rules = {
        "oxygen_dry": f"Fresh air holds 20.9 %, flue gas of {fuel.name} less",
        "oxygen_wet": f"Fresh air holds 20.9 %, flue gas of {fuel.name} less",
        "carbon_dioxide_dry": f"{fuel.name} reaches at most {100 * ultimate:.2f} % at complete burning",
        "excess_air": "With less air than stoichiometric there is carbon monoxide, and it must be given",
    }
    others = {
        "carbon_monoxide_dry": rows.monoxide,
        "hydrogen_dry": rows.hydrogen,
        "methane_dry": rows.methane,
        "nitric_oxide_dry": rows.nitric_oxide,
    }
    given = {mode: rows.reading} | {name: value for name, value in others.items() if value != 0}
    listed = ", ".join(f"{name} is {float(value):.6g}" for name, value in given.items())
    raise InputError(
        f"{listed} (mole fractions), with air_water_fraction {float(rows.water):.4g} at "
        f"{float(rows.pressure):.6g} Pa: {state.words}. {rules[mode]}."
    )
