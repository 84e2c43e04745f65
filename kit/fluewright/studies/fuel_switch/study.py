"""The fuel-switch study as values: the fuels compared, what must change, what happens if nothing does, and sweeps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from fluewright import combustion, sources
from fluewright.appliance import Number
from fluewright.studies.fuel_switch.compare import (
    Burned,
    Flames,
    burned,
    flames,
    properties,
    same_air_setting,
)
from fluewright.studies.fuel_switch.convert import Conversion, Opening, check_orifices, conversion, openings
from fluewright.studies.fuel_switch.givens import Gas, Givens, gather
from fluewright.studies.fuel_switch.request import Request
from fluewright.studies.fuel_switch.sweeps import Sweep, sweeps
from fluewright.studies.fuel_switch.unchanged import Unchanged, Weight, unchanged
from fluewright.studies.inputs import Assumption
from fluewright.units import Array

_CURVE_POINTS = 49


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OxygenCurves:
    """What dry oxygen goes with in this fuel's flue gas: carbon dioxide, dew point [K] and gross efficiency."""

    oxygen_dry: Array
    carbon_dioxide_dry: Array
    water_dew_point: Array
    efficiency_gross: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FuelCase:
    """One fuel of the study.

    ``same_oxygen`` burns it at the oxygen of the appliance, ``same_air`` with the air of the present fuel; both at
    the same heat input and flue temperature. ``unchanged`` and ``conversion`` are None for the present fuel.
    """

    gas: Gas
    properties: Mapping[str, Number]
    same_oxygen: Burned
    same_air: Burned
    flames: Flames
    curves: OxygenCurves
    unchanged: Unchanged | None
    conversion: Conversion | None

    @property
    def name(self) -> str:
        """What the report calls the fuel."""
        return self.gas.name

    @property
    def conclusion(self) -> str:
        """The conclusion in one sentence; empty for the present fuel."""
        if self.unchanged is None:
            return ""
        sentence = sources.table("fuel_switch")["conclusions"][self.unchanged.weight]["sentence"]
        text = str(sentence).format(fuel=self.name)
        return text[:1].upper() + text[1:]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class FuelSwitch:
    """A fuel-switch study; a report only shows it."""

    request: Request
    givens: Givens
    cases: tuple[FuelCase, ...]
    openings: tuple[Opening, ...]
    room: Number
    openings_source: str
    sweeps: tuple[Sweep, ...]

    @property
    def present(self) -> FuelCase:
        """The fuel burned today."""
        return self.cases[0]

    @property
    def proposed(self) -> tuple[FuelCase, ...]:
        """The fuels to go to."""
        return self.cases[1:]

    @property
    def weight(self) -> Weight:
        """The gravest weight among the proposed fuels left unchanged."""
        weights = [case.unchanged.weight for case in self.proposed if case.unchanged is not None]
        return "stop" if "stop" in weights else "correct" if "correct" in weights else "note"

    @property
    def assumptions(self) -> tuple[Assumption, ...]:
        """What was taken because the request did not say."""
        return self.givens.assumptions

    @property
    def results(self) -> Mapping[str, object]:
        """What results.json holds."""
        from fluewright.studies.fuel_switch.results import results_of  # results_of takes a FuelSwitch

        return results_of(self)


def fuel_switch(request: Request) -> FuelSwitch:
    """Return the study of a request.

    Parameters
    ----------
    request : Request
        Of `read_request` or `request_from_visit`.

    Returns
    -------
    FuelSwitch
        Every number with its interval where one can be given; every limit with its source.

    Raises
    ------
    InputError
        The conditions are no running appliance, the orifices cannot pass the heat input, a price cannot be counted.
    UnknownNameError
        A fuel or a drill size is not known.
    """
    givens, gases = gather(request)
    present = gases[0]
    check_orifices(present, givens)
    running = burned(present, givens)
    air_ratio = running.air_ratio
    ways, room, source = openings(givens)
    return FuelSwitch(
        request=request,
        givens=givens,
        cases=tuple(_case(present, gas, givens, running) for gas in gases),
        openings=ways,
        room=room,
        openings_source=source,
        sweeps=sweeps(givens, gases, float(air_ratio[0])),
    )


def _case(present: Gas, gas: Gas, givens: Givens, running: Burned) -> FuelCase:
    own = gas is present
    same_oxygen = running if own else burned(gas, givens)
    air = same_air_setting(present, gas, running.air_ratio)
    return FuelCase(
        gas=gas,
        properties=properties(gas, givens),
        same_oxygen=same_oxygen,
        same_air=running if own else burned(gas, givens, air_ratio=air),
        flames=flames(gas, givens, same_oxygen.numbers["excess_air"].value),
        curves=_curves(gas, givens),
        unchanged=None if own else unchanged(present, gas, givens, running),
        conversion=None if own else conversion(present, gas, givens),
    )


def _curves(gas: Gas, givens: Givens) -> OxygenCurves:
    oxygen = np.linspace(0.0, 0.12, _CURVE_POINTS)
    flue = combustion.flue_gas(
        gas.fuel,
        oxygen_dry=oxygen,
        air_water_fraction=float(givens.air_water_fraction[0]),
        pressure=float(givens.pressure[0]),
    )
    losses = combustion.stack_losses(
        flue,
        flue_temperature=float(givens.flue_temperature[0]),
        air_temperature=float(givens.air_temperature[0]),
        condensing=givens.condensing,
    )
    return OxygenCurves(
        oxygen_dry=oxygen,
        carbon_dioxide_dry=np.asarray(flue.carbon_dioxide_dry),
        water_dew_point=np.asarray(flue.water_dew_point),
        efficiency_gross=np.asarray(losses.efficiency_gross),
    )
