"""Flue gas from a reading: a closed balance of carbon, hydrogen, oxygen and nitrogen on the real fuel."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import IntEnum
from types import MappingProxyType
from typing import Any

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
        return self._air_free(lambda made, dry, _: made * dry / stoichiometric)

    @property
    def carbon_monoxide_air_free_oxygen_rule(self) -> Values:
        """Carbon monoxide, dry, air-free, by the trade's rule CO · 20.9 / (20.9 − O2) [mol/mol]."""
        return self._air_free(lambda made, _, oxygen: made * _TRADE_OXYGEN / (_TRADE_OXYGEN - oxygen))

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

    def _air_free(self, rule: Callable[[Array, Array, Array], Array]) -> Values:
        state = np.asarray(self.state)
        with np.errstate(all="ignore"):
            made = np.maximum(np.asarray(self.carbon_monoxide_dry) - self.ambient_carbon_monoxide, 0.0)
            value = rule(made, np.asarray(self.dry_moles), np.asarray(self.oxygen_dry))
        return plain(np.where(state <= GasState.OXYGEN_STARVED, value, np.nan))


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
    unburnt = [
        si(value, "mol/mol", name)
        for name, value in (
            ("carbon_monoxide_dry", carbon_monoxide_dry),
            ("hydrogen_dry", hydrogen_dry),
            ("methane_dry", methane_dry),
            ("nitric_oxide_dry", nitric_oxide_dry),
        )
    ]
    water = si(air_water_fraction, "mol/mol", "air_water_fraction")
    pascal = si(pressure, "Pa", "pressure")
    ambient = si(ambient_carbon_monoxide, "mol/mol", "ambient_carbon_monoxide")
    if sample_dew_point is not None:
        drying = _drying(sample_dew_point, pascal)
        unburnt = [value * drying for value in unburnt]
        reading = reading * drying if mode in {"oxygen_dry", "carbon_dioxide_dry"} else reading
    return _balance(fuel, mode, reading, unburnt, water, pascal, ambient)


def _balance(
    fuel: Fuel, mode: str, reading: Array, unburnt: list[Array], water: Array, pressure: Array, ambient: Array
) -> FlueGas:
    constants = _constants(fuel)
    operands = [reading, *unburnt, water, pressure, ambient, *constants]
    ratio, dry, oxygen, state = blockwise(_kernel(mode), *operands, kinds=(float, float, float, np.uint8))
    hydrogen = unburnt[1]
    starved = state == GasState.OXYGEN_STARVED
    if hydrogen.ndim == 0 and hydrogen == 0 and np.any(starved):
        hydrogen = np.zeros(state.shape)
        rows = [
            operand if operand.ndim == 0 else np.broadcast_to(operand, state.shape)[starved]
            for operand in map(np.asarray, operands)
        ]
        rows[2] = hydrogen[starved] = _water_gas_hydrogen(_VOLUMES[mode], *rows)
        again = blockwise(_kernel(mode), *rows, kinds=(float, float, float, np.uint8))
        ratio[starved], dry[starved], oxygen[starved] = again[:3]
        state[starved] = np.where(again[3] <= GasState.TOO_DILUTE, GasState.OXYGEN_STARVED, again[3])
    if state.ndim == 0 and state > GasState.TOO_DILUTE:
        _refuse(GasState(int(state)), fuel, mode, reading, unburnt, water, pressure)
    return FlueGas(
        fuel=fuel,
        air_ratio=plain(ratio),
        dry_moles=plain(dry),
        oxygen_dry=plain(reading if mode == "oxygen_dry" and reading.shape == state.shape else oxygen),
        carbon_monoxide_dry=plain(unburnt[0]),
        hydrogen_dry=plain(hydrogen),
        methane_dry=plain(unburnt[2]),
        nitric_oxide_dry=plain(unburnt[3]),
        ambient_carbon_monoxide=plain(ambient),
        air_water_fraction=plain(water),
        pressure=plain(pressure),
        state=GasState(int(state)) if state.ndim == 0 else plain(state),
    )


def _constants(fuel: Fuel) -> tuple[Any, ...]:
    """Return what the balance needs: carbon, half the hydrogen, oxygen need, dry products less air."""
    return fuel.carbon, fuel.hydrogen / 2, fuel.oxygen_need, fuel.dry_products_without_air


def _rest(monoxide: Any, hydrogen: Any, methane: Any) -> Any:
    """Return λA + D0 per dry mole: one, less what incomplete burning adds to the dry gas."""
    return 1 - monoxide / 2 - 1.5 * hydrogen - 2 * methane


def _spare(monoxide: Any, hydrogen: Any, methane: Any, nitric_oxide: Any) -> Any:
    """Return the oxygen per dry mole that incomplete burning left over."""
    return monoxide / 2 + hydrogen / 2 + 2 * methane - nitric_oxide / 2


# Each of these returns moles of fuel per mole of dry gas; all are linear in `hydrogen`.


def _by_oxygen_dry(
    reading: Any, co: Any, h2: Any, ch4: Any, no: Any, damp: Any, carbon: Any, half: Any, need: Any, base: Any
) -> Any:
    oxygen = dry_air()["O2"]
    return (_rest(co, h2, ch4) - (reading - _spare(co, h2, ch4, no)) / oxygen) / (base + need / oxygen)


def _by_oxygen_wet(
    reading: Any, co: Any, h2: Any, ch4: Any, no: Any, damp: Any, carbon: Any, half: Any, need: Any, base: Any
) -> Any:
    oxygen = dry_air()["O2"]
    rest = _rest(co, h2, ch4)
    wet = reading * (1 - h2 - 2 * ch4 + damp * rest)
    return (oxygen * rest + _spare(co, h2, ch4, no) - wet) / (
        need + oxygen * base + reading * (half - damp * base)
    )


def _by_carbon_dioxide(
    reading: Any, co: Any, h2: Any, ch4: Any, no: Any, damp: Any, carbon: Any, half: Any, need: Any, base: Any
) -> Any:
    in_air = dry_air()["CO2"]
    return (reading + co + ch4 - in_air * _rest(co, h2, ch4)) / (carbon - in_air * base)


def _by_excess_air(
    reading: Any, co: Any, h2: Any, ch4: Any, no: Any, damp: Any, carbon: Any, half: Any, need: Any, base: Any
) -> Any:
    return _rest(co, h2, ch4) / (base + (1 + reading) * need / dry_air()["O2"])


_VOLUMES: Mapping[str, Callable[..., Any]] = MappingProxyType(
    {
        "oxygen_dry": _by_oxygen_dry,
        "oxygen_wet": _by_oxygen_wet,
        "carbon_dioxide_dry": _by_carbon_dioxide,
        "excess_air": _by_excess_air,
    }
)


def _kernel(mode: str) -> Callable[..., tuple[Any, ...]]:
    """Return the balance of one block of rows: air ratio, dry moles, oxygen, state."""
    solve, oxygen_of_air, carbon_of_air = _VOLUMES[mode], dry_air()["O2"], dry_air()["CO2"]

    def kernel(
        reading: Any, co: Any, h2: Any, ch4: Any, no: Any, water: Any, pressure: Any, ambient: Any,
        carbon: Any, half: Any, need: Any, base: Any,
    ) -> tuple[Any, ...]:  # fmt: skip
        damp = water / (1 - water)
        per_dry = solve(reading, co, h2, ch4, no, damp, carbon, half, need, base)
        air = _rest(co, h2, ch4) - base * per_dry
        if mode == "oxygen_dry":
            oxygen = reading + 0 * per_dry
        else:
            oxygen = oxygen_of_air * air - need * per_dry + _spare(co, h2, ch4, no)
        dry = 1 / per_dry
        ratio = air * oxygen_of_air * dry / need
        least = np.minimum(
            carbon * per_dry + carbon_of_air * air - co - ch4, half * per_dry - h2 - 2 * ch4 + damp * air
        )
        least = np.minimum(least, oxygen)
        wrong = (
            (least < -_ROUNDING) | (per_dry <= 0) | (co < 0) | (h2 < 0) | (ch4 < 0) | (no < 0) | (ambient < 0)
        )
        wrong |= (water < 0) | (water >= 1) | (pressure <= 0) | (co + h2 + ch4 + no > 1)
        wrong |= reading < (-1 if mode == "excess_air" else 0)
        fresh = (oxygen >= FRESH_AIR) | ((mode == "carbon_dioxide_dry") & (per_dry <= 0) & (reading >= 0))
        if mode in ("oxygen_dry", "oxygen_wet"):
            fresh = (fresh | (reading >= FRESH_AIR)) & (reading <= _IMPOSSIBLE_OXYGEN) & (reading >= 0)
        numbers = reading + co + h2 + ch4 + no + water + pressure + ambient
        state = np.where(oxygen > _DILUTE, GasState.TOO_DILUTE, GasState.OK)
        state = np.where(ratio < 1 - _ROUNDING, GasState.OXYGEN_STARVED, state)
        state = np.where(wrong, GasState.IMPOSSIBLE, state)
        state = np.where(
            fresh & ~((co < 0) | (water < 0) | (water >= 1) | (pressure <= 0)), GasState.NO_FLUE_GAS, state
        )
        state = np.where(numbers == numbers, state, GasState.NOT_A_NUMBER)  # NaN differs from itself
        good = state <= GasState.TOO_DILUTE
        return np.where(good, ratio, np.nan), np.where(good, dry, np.nan), oxygen, state

    return kernel


def _water_gas_hydrogen(
    solve: Callable[..., Any], reading: Any, co: Any, h2: Any, ch4: Any, no: Any, water: Any, pressure: Any,
    ambient: Any, carbon: Any, half: Any, need: Any, base: Any,
) -> Any:  # fmt: skip
    """Return the hydrogen [mol/mol dry] at which CO · H2O = K · CO2 · H2 and the balance holds."""
    damp, carbon_of_air = water / (1 - water), dry_air()["CO2"]

    def at(hydrogen: float) -> tuple[Any, Any]:
        """Return CO2 and H2O per dry mole; both are linear in the hydrogen."""
        per_dry = solve(reading, co, hydrogen, ch4, no, damp, carbon, half, need, base)
        air = _rest(co, hydrogen, ch4) - base * per_dry
        dioxide = carbon * per_dry + carbon_of_air * air - co - ch4
        return dioxide, half * per_dry - hydrogen - 2 * ch4 + damp * air

    constant = _DATA["water_gas"]["constant"]
    (dioxide, vapor), (dioxide_1, vapor_1) = at(0.0), at(1.0)
    square = constant * (dioxide_1 - dioxide)
    linear = constant * dioxide - co * (vapor_1 - vapor)
    with np.errstate(all="ignore"):
        return 2 * co * vapor / (linear + np.sqrt(linear**2 + 4 * square * co * vapor))


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


def _refuse(
    state: GasState,
    fuel: Fuel,
    mode: str,
    reading: Array,
    unburnt: list[Array],
    water: Array,
    pressure: Array,
) -> None:
    ultimate = float(np.max(np.asarray(fuel.ultimate_carbon_dioxide)))
    rules = {
        "oxygen_dry": f"fresh air holds 20.9 %, and flue gas of {fuel.name} less",
        "oxygen_wet": f"fresh air holds 20.9 %, and flue gas of {fuel.name} less",
        "carbon_dioxide_dry": f"{fuel.name} reaches at most {100 * ultimate:.2f} % at complete burning",
        "excess_air": "with less air than stoichiometric there is carbon monoxide, and it must be given",
    }
    others = zip(
        ("carbon_monoxide_dry", "hydrogen_dry", "methane_dry", "nitric_oxide_dry"), unburnt, strict=True
    )
    further = "".join(f", {name} {float(value):.6g}" for name, value in others if value != 0)
    raise InputError(
        f"{mode} is {float(reading):.6g}{further} (mole fractions; air_water_fraction {float(water):.4g}, "
        f"pressure {float(pressure):.6g} Pa): {state.words}. {rules[mode][0].upper()}{rules[mode][1:]}."
    )
