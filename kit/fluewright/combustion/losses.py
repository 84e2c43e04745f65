"""Where the heat goes: losses of a flue gas as shares of gross and of net heat input, and the credits."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion.air import dry_air
from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.combustion.flue import FlueGas, GasState, flue_gas
from fluewright.combustion.fuels import Fuel
from fluewright.combustion.thermo import LIQUID_WATER, evaluate, fold, formation_enthalpy
from fluewright.combustion.water import saturation_pressure_kernel
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import Number, si

__all__ = ["NetShares", "StackLosses", "loss_map", "stack_loss_european", "stack_losses"]

_LIMITS = sources.table("flue_gas")["temperature"]
_FRESH_AIR = sources.table("flue_gas")["fresh_air"]["oxygen_dry"]
_GRAM = 1e-3  # kg
_KILO = 1e3


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class NetShares:
    """The losses of `StackLosses` as shares of net heat input; latent heat counts where water condensed."""

    dry_gas: Values
    water_latent: Values
    water_sensible: Values
    air_moisture: Values
    carbon_monoxide: Values
    unburnt: Values
    casing: Values
    credit_air: Values
    credit_fuel: Values
    efficiency: Values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StackLosses:
    """Losses and credits as shares of the gross heat input [-], floats or read-only arrays.

    Everything counts from 25 °C. `dry_gas`: sensible heat of the dry flue gas; `water_latent`: heat of
    vaporization of the water from the fuel's hydrogen, less what condensed; `water_sensible`: sensible heat
    of that water; `air_moisture`: sensible heat of the moisture of the air; `carbon_monoxide`, `unburnt`:
    heating value of carbon monoxide and of other unburnt gas; `casing`: as entered. `credit_air` and
    `credit_fuel` are the enthalpies that moist air and fuel bring (negative when they are colder than 25
    °C).

    `efficiency_gross` and `efficiency_net` are steady-state combustion efficiencies: flue losses and credits
    only. `efficiency_thermal_gross` takes the casing off as well. `condensed_fraction` is the share of all
    flue water that condensed; `dew_point_margin` [K] is how far the flue is above its dew point; `state`
    holds codes of `GasState`.
    """

    dry_gas: Values
    water_latent: Values
    water_sensible: Values
    air_moisture: Values
    carbon_monoxide: Values
    unburnt: Values
    casing: Values
    credit_air: Values
    credit_fuel: Values
    condensed_fraction: Values
    efficiency_gross: Values
    state: Values
    condensing: bool
    condensation: str
    flue: FlueGas
    flue_temperature: Values

    @property
    def total(self) -> Values:
        """All flue losses, casing left out, credits not taken off [-]."""
        parts = (
            self.dry_gas,
            self.water_latent,
            self.water_sensible,
            self.air_moisture,
            self.carbon_monoxide,
            self.unburnt,
        )
        return plain(sum(np.asarray(part) for part in parts))

    @property
    def efficiency_net(self) -> Values:
        """Steady-state combustion efficiency, net [-]; above one where enough water condenses."""
        return plain(np.asarray(self.efficiency_gross) * self._ratio)

    @property
    def efficiency_thermal_gross(self) -> Values:
        """Useful heat to gross heat input: flue losses and the casing taken off [-]."""
        return plain(np.asarray(self.efficiency_gross) - self.casing)

    @property
    def dew_point_margin(self) -> Values:
        """Flue temperature less the water dew point of the gas [K]; below zero the flue runs wet."""
        return plain(np.asarray(self.flue_temperature) - self.flue.water_dew_point)

    @property
    def net(self) -> NetShares:
        """The same losses as shares of the net heat input."""
        ratio = self._ratio
        never_water = _unburnt_latent(self.flue)
        latent = np.asarray(self.water_latent) - (1 - 1 / np.asarray(ratio)) + never_water

        def share(part: Any) -> Values:
            return plain(np.asarray(part) * ratio)

        return NetShares(
            dry_gas=share(self.dry_gas),
            water_latent=share(latent),
            water_sensible=share(self.water_sensible),
            air_moisture=share(self.air_moisture),
            carbon_monoxide=share(self.carbon_monoxide),
            unburnt=share(np.asarray(self.unburnt) - never_water),
            casing=share(self.casing),
            credit_air=share(self.credit_air),
            credit_fuel=share(self.credit_fuel),
            efficiency=self.efficiency_net,
        )

    @property
    def _ratio(self) -> Values:
        fuel = self.flue.fuel
        return fuel.gross_heating_value_molar / fuel.net_heating_value_molar


def stack_losses(
    flue: FlueGas,
    *,
    flue_temperature: Number,
    air_temperature: Number,
    fuel_temperature: Number | None = None,
    condensing: bool = False,
    condensate_measured: Number | None = None,
    casing_loss: Number = 0.0,
) -> StackLosses:
    """Return the losses of a flue gas.

    Heat input is the ISO 6976 heating value at 25 °C, sensible heat is Cantera's species data from 25 °C,
    latent heat is the standard enthalpy of vaporization at 25 °C that ISO 6976 takes from IAPWS; the
    mechanism's heats of formation stay out (but for nitric oxide, which ISO 6976 does not know).

    Parameters
    ----------
    flue : FlueGas
        The balanced gas.
    flue_temperature : float or array [K]
        At the sampling point, 0 to 1,500 °C.
    air_temperature : float or array [K]
        Combustion air at the intake, -60 to 1,000 °C.
    fuel_temperature : float or array [K], optional
        Without it the fuel is taken at 25 °C: its credit is zero.
    condensing : bool
        The appliance is made to condense and was sampled at its outlet. Only then is latent heat credited:
        the gas is taken as saturated at the flue temperature, and the condensate as leaving at that
        temperature.
    condensate_measured : float or array [kg/J], optional
        Condensate collected per gross heat input, preferred to the assumption of saturation; needs
        `condensing`.
    casing_loss : float or array [-]
        Share of the gross heat input lost by the casing, entered or assumed.

    Returns
    -------
    StackLosses

    Raises
    ------
    InputError
        A scalar temperature is out of range or no number; condensate for an appliance that is not
        condensing, or more of it than the flue gas held water. Rows of arrays are NaN instead, labeled in
        `state`.

    Examples
    --------
    >>> from fluewright.combustion import flue_gas, fuel, stack_losses
    >>> flue = flue_gas(fuel("natural gas"), oxygen_dry=0.068)
    >>> loss = stack_losses(flue, flue_temperature=396.5, air_temperature=295.4)
    >>> round(loss.efficiency_gross, 3)
    0.852
    """
    if condensate_measured is not None and not condensing:
        raise InputError(
            "condensate was measured, but the appliance is not declared condensing; latent heat is "
            "credited only to an "
            "appliance made to condense and sampled at its outlet. Pass condensing=True if it is one."
        )
    flue_kelvin = si(flue_temperature, "K", "flue_temperature")
    measured = None if condensate_measured is None else si(condensate_measured, "kg/J", "condensate_measured")
    operands, has_unburnt = _operands(flue)
    fuel_credit, fuel_wrong = _fuel_credit(flue.fuel, fuel_temperature)
    results = blockwise(
        _kernel(condensing, measured is not None, has_unburnt),
        flue_kelvin,
        si(air_temperature, "K", "air_temperature"),
        fuel_credit,
        fuel_wrong,
        0.0 if measured is None else measured,
        *operands,
        kinds=(*(float,) * 9, np.uint8),
    )
    dry_gas, latent, sensible, moisture, monoxide, unburnt, credit_air, condensed, efficiency, state = results
    if state.ndim == 0 and state > GasState.TOO_DILUTE:
        _refuse(GasState(int(state)), flue_kelvin, air_temperature, measured)
    return StackLosses(
        dry_gas=plain(dry_gas),
        water_latent=plain(latent),
        water_sensible=plain(sensible),
        air_moisture=plain(moisture),
        carbon_monoxide=plain(monoxide),
        unburnt=plain(unburnt),
        casing=plain(_casing(casing_loss)),
        credit_air=plain(credit_air),
        credit_fuel=plain(fuel_credit),
        condensed_fraction=plain(condensed),
        efficiency_gross=plain(efficiency),
        state=GasState(int(state)) if state.ndim == 0 else plain(state),
        condensing=condensing,
        condensation=_condensation(condensing, measured is not None),
        flue=flue,
        flue_temperature=plain(flue_kelvin),
    )


def _operands(flue: FlueGas) -> tuple[list[Any], bool]:
    """Return what the kernel takes of a flue gas and its fuel, and whether there is unburnt gas beside CO."""
    fuel = flue.fuel
    further = (flue.hydrogen_dry, flue.methane_dry, flue.nitric_oxide_dry)
    products = {
        "CO2": fuel.carbon,
        "SO2": fuel.sulfur,
        "N2": fuel.nitrogen / 2,
        "Ar": fuel.atoms("Ar"),
        "O2": -fuel.oxygen_need,
    }
    # A term of zero would cost a polynomial per species and row for nothing.
    folded = fold({name: part for name, part in products.items() if np.any(np.asarray(part) != 0)})
    operands = [
        flue.air_ratio,
        flue.dry_moles,
        flue.carbon_monoxide_dry,
        *further,
        flue.air_water_fraction,
        flue.pressure,
        np.asarray(flue.state, dtype=np.uint8),
        fuel.hydrogen / 2,
        fuel.stoichiometric_air,
        fuel.gross_heating_value_molar,
        *folded,
    ]
    return operands, any(np.any(np.asarray(part) != 0) for part in further)


# What a mole of unburnt gas changes in the dry products of complete burning.
_UNBURNT = MappingProxyType(
    {
        "CO": {"CO": 1.0, "CO2": -1.0, "O2": 0.5},
        "H2": {"H2": 1.0, "O2": 0.5},
        "CH4": {"CH4": 1.0, "CO2": -1.0, "O2": 2.0},
        "NO": {"NO": 1.0, "N2": -0.5, "O2": -0.5},
    }
)


def _kernel(condensing: bool, measured: bool, has_unburnt: bool) -> Callable[..., tuple[Any, ...]]:
    """Return the losses of one block of rows, every share of the gross heat input."""
    heat = _heating_values()
    air, vapor, liquid = fold(dry_air()), fold({"H2O": 1.0}), fold({LIQUID_WATER: 1.0})
    changes = {name: fold(change) for name, change in _UNBURNT.items()}

    def kernel(
        flue_temperature: Any, air_temperature: Any, fuel_credit: Any, fuel_wrong: Any, condensate: Any,
        ratio: Any, dry: Any, co: Any, h2: Any, ch4: Any, no: Any, water: Any, pressure: Any, gas_state: Any,
        half: Any, stoichiometric: Any, gross: Any, *products: Any,
    ) -> tuple[Any, ...]:  # fmt: skip
        state = _state(flue_temperature, air_temperature, fuel_wrong, gas_state)
        air_moles = ratio * stoichiometric
        air_water = air_moles * (water / (1 - water))
        unburnt = {"CO": co * dry}
        fuel_water = half
        if has_unburnt:
            unburnt |= {"H2": h2 * dry, "CH4": ch4 * dry, "NO": no * dry}
            fuel_water = half - unburnt["H2"] - 2 * unburnt["CH4"]
        dry_gas = evaluate(products, flue_temperature) + air_moles * evaluate(air, flue_temperature)
        for name, amount in unburnt.items():
            dry_gas += amount * evaluate(changes[name], flue_temperature)
        condensed: Any = 0.0
        if measured:
            condensed = condensate * gross / heat["water_mass"]
            contradiction = ~((condensed >= 0) & (condensed <= fuel_water + air_water))
            state = np.where(contradiction & (state <= GasState.TOO_DILUTE), GasState.IMPOSSIBLE, state)
        elif condensing:
            condensed = _condensed(fuel_water + air_water, dry, flue_temperature, pressure)
        vapor_heat = evaluate(vapor, flue_temperature)
        sensible = (fuel_water - condensed) * vapor_heat
        if condensing:
            sensible += condensed * evaluate(liquid, flue_temperature)
        per_heat = np.where(state <= GasState.TOO_DILUTE, 1 / gross, np.nan)
        losses = [
            dry_gas * per_heat,
            (fuel_water - condensed) * (heat["vaporization"] * per_heat),
            sensible * per_heat,
            air_water * vapor_heat * per_heat,
            unburnt["CO"] * (heat["CO"] * per_heat),
            sum(amount * heat[name] for name, amount in unburnt.items() if name != "CO") * per_heat,
        ]
        brought = air_moles * evaluate(air, air_temperature) + air_water * evaluate(vapor, air_temperature)
        credit = brought * per_heat
        efficiency = 1 + (credit + fuel_credit)
        for loss in losses:
            efficiency -= loss
        share = condensed / (fuel_water + air_water) if condensing else 0.0
        return *losses, credit, share + 0 * per_heat, efficiency, state

    return kernel


def _condensed(water: Any, dry: Any, temperature: Any, pressure: Any) -> Any:
    """Return the moles of water that condense when the gas is saturated at its temperature."""
    saturation = saturation_pressure_kernel(temperature)
    vapor = np.where(saturation < pressure, dry * saturation / (pressure - saturation), water)
    return np.maximum(water - vapor, 0.0)


def _state(flue_temperature: Any, air_temperature: Any, fuel_wrong: Any, gas_state: Any) -> Any:
    flue_wrong = (flue_temperature < _LIMITS["flue_low"]) | (flue_temperature > _LIMITS["flue_high"])
    air_wrong = (air_temperature < _LIMITS["air_low"]) | (air_temperature > _LIMITS["air_high"]) | fuel_wrong
    number = (flue_temperature + air_temperature) == (
        flue_temperature + air_temperature
    )  # NaN differs from itself
    state = np.where(air_wrong, GasState.AIR_TEMPERATURE_OUT_OF_RANGE, gas_state)
    state = np.where(flue_wrong, GasState.FLUE_TEMPERATURE_OUT_OF_RANGE, state)
    state = np.where(number, state, GasState.NOT_A_NUMBER)
    return np.where(gas_state > GasState.TOO_DILUTE, gas_state, state)


def _heating_values() -> dict[str, float]:
    """Return gross heating values and heat of vaporization at 25 °C [J/mol], molar mass of water [kg/mol]."""
    iso = sources.table("species")
    column = len(iso["reference"]["gross_temperatures"]) - 1  # 25 °C
    values = {name: iso["component"][name]["gross"][column] * _KILO for name in ("CO", "H2", "CH4")}
    return {
        **values,
        "NO": formation_enthalpy("NO"),
        "vaporization": iso["reference"]["vaporization"][column] * _KILO,
        "water_mass": iso["component"]["H2O"]["molar_mass"] * _GRAM,
    }


def _fuel_credit(fuel: Fuel, temperature: Number | None) -> tuple[Any, Any]:
    """Return the fuel's sensible heat as a share of the gross input, and where its temperature is wrong."""
    if temperature is None:
        return 0.0, False
    kelvin = si(temperature, "K", "fuel_temperature")
    wrong = ~((kelvin >= _LIMITS["fuel_low"]) & (kelvin <= _LIMITS["fuel_high"]))
    if kelvin.ndim == 0 and wrong:
        raise InputError(
            f"fuel_temperature is {float(kelvin)} K; a fuel gas comes between {_LIMITS['fuel_low']} and "
            f"{_LIMITS['fuel_high']} K. Check the value and its unit."
        )
    share = (
        np.asarray(fuel.sensible_enthalpy(temperature=np.where(wrong, np.nan, kelvin)))
        / fuel.gross_heating_value_molar
    )
    return share, wrong


def _casing(casing_loss: Number) -> Any:
    share = si(casing_loss, "1", "casing_loss")
    if np.any(~((share >= 0) & (share < 1))):
        raise InputError(
            "casing_loss is a share of the gross heat input, from 0 to 1; check the value (a percentage "
            "is divided by 100)."
        )
    return share


def _unburnt_latent(flue: FlueGas) -> Values:
    """Return the vaporization heat that unburnt gas never took, as a share of the gross input."""
    missing = (np.asarray(flue.hydrogen_dry) + 2 * np.asarray(flue.methane_dry)) * flue.dry_moles
    return plain(
        missing * (_heating_values()["vaporization"] / np.asarray(flue.fuel.gross_heating_value_molar))
    )


def _condensation(condensing: bool, measured: bool) -> str:
    if not condensing:
        return "no latent heat is credited: the appliance is not declared condensing"
    return "measured condensate" if measured else "assumed: gas saturated at the flue temperature"


def _refuse(state: GasState, flue_temperature: Any, air_temperature: Any, measured: Any) -> None:
    if state is GasState.IMPOSSIBLE and measured is not None:
        raise InputError(
            f"condensate_measured is {float(measured):.6g} kg/J, which is negative or more than the flue "
            "gas held water; "
            "check the collecting time and the heat input."
        )
    raise InputError(
        f"flue_temperature is {float(flue_temperature):.6g} K and air_temperature "
        f"{float(si(air_temperature, 'K', 'air_temperature')):.6g} K: "
        f"{state.words}."
    )


def loss_map(
    fuel: Fuel,
    *,
    oxygen_dry: Number,
    flue_temperature: Number,
    air_temperature: Number = 298.15,
    carbon_monoxide_dry: Number = 0.0,
    air_water_fraction: Number = 0.0,
    pressure: Number = 101325.0,
    condensing: bool = False,
) -> StackLosses:
    """Return the losses over a grid of oxygen and flue temperature.

    Parameters
    ----------
    fuel : Fuel
        One composition.
    oxygen_dry : array, shape (n,) [mol/mol]
        Rows of the map.
    flue_temperature : array, shape (m,) [K]
        Columns of the map.
    air_temperature, carbon_monoxide_dry, air_water_fraction, pressure : float
        As in `flue_gas` and `stack_losses`; the same all over the map.
    condensing : bool
        As in `stack_losses`.

    Returns
    -------
    StackLosses
        Each share of shape (n, m); cells without numbers are NaN and labeled.

    Examples
    --------
    >>> from fluewright.combustion import fuel, loss_map
    >>> table = loss_map(fuel("natural gas"), oxygen_dry=[0.03, 0.07], flue_temperature=[400.0, 450.0, 500.0])
    >>> table.efficiency_gross.shape
    (2, 3)
    """
    rows = si(oxygen_dry, "mol/mol", "oxygen_dry").reshape(-1, 1)
    columns = si(flue_temperature, "K", "flue_temperature").reshape(1, -1)
    flue = flue_gas(
        fuel,
        oxygen_dry=rows,
        carbon_monoxide_dry=carbon_monoxide_dry,
        air_water_fraction=air_water_fraction,
        pressure=pressure,
    )
    return stack_losses(
        flue, flue_temperature=columns, air_temperature=air_temperature, condensing=condensing
    )


def stack_loss_european(
    oxygen_dry: Number, *, flue_temperature: Number, air_temperature: Number, fuel_kind: str
) -> Values:
    """Return the stack loss by the simple formula of European practice, as a share of the *net* heat input.

    Its coefficients stand for a typical fuel of the kind; it is not for condensing operation. Up to 10 % oxygen
    and 250 °C it lies within a point of one less the net efficiency of `stack_losses`, below it and further
    below the hotter and leaner the gas: it counts one mean heat capacity, 21 % oxygen in dry air, complete
    burning, and the sensible heat of water in the constant B.

    Parameters
    ----------
    oxygen_dry : float or array [mol/mol]
        Oxygen in dry flue gas, below 0.21.
    flue_temperature, air_temperature : float or array [K]
        As read.
    fuel_kind : str
        "natural gas", "propane", "butane" or "light oil".

    Returns
    -------
    float or array [-]
        NaN where an array leaves the range of readings.

    Raises
    ------
    InputError
        A scalar reading is out of range.
    UnknownNameError
        No coefficients for that kind of fuel.

    Notes
    -----
    ``(t_flue − t_air) · (A2 / (21 − O2) + B)`` in percent, with temperatures in °C and oxygen in percent
    [1]_.

    References
    ----------
    .. [1] 1. BImSchV (German ordinance on small firing installations), Annex; EN 50379.

    Examples
    --------
    >>> loss = stack_loss_european(
    ...     0.05, flue_temperature=453.15, air_temperature=293.15, fuel_kind="natural gas"
    ... )
    >>> round(loss, 4)
    0.0804
    """
    data = sources.table("stack_loss")
    if fuel_kind not in data["coefficients"]:
        raise UnknownNameError("kind of fuel with stack-loss coefficients", fuel_kind, data["coefficients"])
    a2, b = data["coefficients"][fuel_kind]["A2"], data["coefficients"][fuel_kind]["B"]
    percent = 100.0
    readings: Sequence[Any] = (
        si(oxygen_dry, "mol/mol", "oxygen_dry"),
        si(flue_temperature, "K", "flue_temperature"),
        si(air_temperature, "K", "air_temperature"),
    )

    def kernel(oxygen: Any, flue: Any, air: Any) -> tuple[Any]:
        loss = (flue - air) * (a2 / (data["formula"]["oxygen_of_air"] - percent * oxygen) + b) / percent
        valid = (oxygen >= 0) & (oxygen < _FRESH_AIR) & (_state(flue, air, False, np.uint8(0)) == GasState.OK)
        return (np.where(valid, loss, np.nan),)

    (loss,) = blockwise(kernel, *readings)
    if loss.ndim == 0 and np.isnan(loss):
        oxygen, flue, air = (float(reading) for reading in readings)
        raise InputError(
            f"oxygen_dry {oxygen:.6g}, flue_temperature {flue:.6g} K, air_temperature {air:.6g} K are no "
            "readings of a flue: "
            "oxygen from 0 to below 20.9 %, flue 0 to 1,500 °C, air -60 to 1,000 °C. Check values and units."
        )
    return plain(loss)
