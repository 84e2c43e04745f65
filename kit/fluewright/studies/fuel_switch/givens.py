"""What a study calculates with: every input as its value and draws about it, and what had to be assumed.

Each array holds the central value first and draws of the input after it, so that one pass through the formulas
gives a result and its interval.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from fluewright import combustion, sources, units
from fluewright.appliance import Number
from fluewright.appliance.altitude import altitude_rating
from fluewright.appliance.numbers import Origin
from fluewright.combustion import Fuel, GasProperties, ReferenceConditions
from fluewright.combustion.atmosphere import standard_atmosphere_pressure
from fluewright.combustion.interchange import gas_groups
from fluewright.errors import InputError
from fluewright.studies.fuel_switch.request import FuelAsked, Price, Request, half_width
from fluewright.studies.inputs import Assumption
from fluewright.studies.numbers import interval
from fluewright.units import Array

DRAWS = 2_000
SEED = 20_260_210  # any fixed number: the same request must give the same report


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gas:
    """One fuel of the study: as asked, as it is, and with draws of its composition about it."""

    name: str
    fuel: Fuel
    drawn: Fuel
    manifold_pressure: Array
    manifold_origin: Origin
    price_per_heat: float | None
    currency: str
    pressure_kind: str


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Givens:
    """What all fuels of the study share; arrays hold the central value and then the draws."""

    request: Request
    reference: ReferenceConditions
    heat_input: float
    rated_input: float
    rating_share: float
    burner: Literal["atmospheric", "fan", "ratio-controlled"]
    condensing: bool
    oxygen_dry: Array
    flue_temperature: Array
    air_temperature: Array
    air_water_fraction: Array
    pressure: Array
    primary_aeration: Array
    discharge_coefficient: Array
    numbers: Mapping[str, Number]
    assumptions: tuple[Assumption, ...]

    @property
    def system(self) -> Literal["US", "SI"]:
        """The system of units of the report."""
        return self.request.report.units

    def drawn_properties(self, gas: Gas) -> GasProperties:
        """Return the properties of a fuel and its draws at the reference conditions of the report."""
        return gas.drawn.properties(self.reference)


def number(
    quantity: str, values: Array, *, basis: str = "", origin: Origin = "computed", source: str = ""
) -> Number:
    """Return a result from its array: the central value first, the interval from the draws after it."""
    flat = np.broadcast_to(np.asarray(values, dtype=np.float64), (1 + DRAWS,))
    moved = np.ptp(flat[1:]) > 1e-12 * abs(flat[0])
    low, high = interval(flat[1:]) if moved else (np.nan, np.nan)
    return Number(
        quantity=quantity, value=float(flat[0]), low=low, high=high, origin=origin, basis=basis, source=source
    )


def percent(share: float) -> str:
    """Return a share in percent, without decimals."""
    return f"{100 * share:.0f} %"


def gather(request: Request) -> tuple[Givens, tuple[Gas, ...]]:
    """Return the shared inputs and the fuels, the present one first.

    Raises
    ------
    InputError
        The conditions are no running appliance, or a price cannot be counted.
    """
    rng = np.random.default_rng(SEED)
    made = _Inputs(rng)
    asked = request.conditions
    given = {
        "oxygen_dry": asked.oxygen_dry,
        "flue_temperature": asked.flue_temperature,
        "air_temperature": asked.air_temperature,
        "relative_humidity": asked.relative_humidity,
        "primary_aeration": asked.primary_aeration,
    }
    arrays = {
        name: made.add(
            name, value, accuracy=asked.accuracy.get(name, ""), condensing=request.appliance.condensing
        )
        for name, value in given.items()
    }
    pressure = made.pressure(request)
    _check_running(arrays, request)
    water = combustion.moist_air_water_fraction(
        arrays["relative_humidity"], temperature=arrays["air_temperature"], pressure=pressure
    )
    discharge = sources.table("orifices")["discharge"]
    coefficient = made.spread(discharge["value"], discharge["low"], discharge["high"])
    rated, share = request.appliance.rated_input, _rating_share(request)
    gases = tuple(
        _gas(asked_fuel, request, made, present=place == 0)
        for place, asked_fuel in enumerate((request.present, *request.proposed))
    )
    made.spreads([name for name, value in given.items() if value is not None and name not in asked.accuracy])
    givens = Givens(
        request=request,
        reference=combustion.reference_conditions(
            "US 60 °F, 14.696 psia" if request.report.units == "US" else "standard 15/15"
        ),
        heat_input=rated * share,
        rated_input=rated,
        rating_share=share,
        burner=request.appliance.burner,
        condensing=request.appliance.condensing,
        oxygen_dry=arrays["oxygen_dry"],
        flue_temperature=arrays["flue_temperature"],
        air_temperature=arrays["air_temperature"],
        air_water_fraction=np.asarray(water),
        pressure=pressure,
        primary_aeration=arrays["primary_aeration"],
        discharge_coefficient=coefficient,
        numbers=made.numbers,
        assumptions=tuple(made.assumptions),
    )
    return givens, gases


class _Inputs:
    """Gathers inputs as arrays, and notes what was assumed."""

    def __init__(self, rng: np.random.Generator) -> None:
        self.rng = rng
        self.numbers: dict[str, Number] = {}
        self.assumptions: list[Assumption] = []

    def spread(self, value: float, low: float, high: float) -> Array:
        return np.concatenate([[value], self.rng.uniform(low, high, DRAWS)])

    def add(self, name: str, given: float | None, *, accuracy: str = "", condensing: bool = False) -> Array:
        """Return an input as given or assumed; its spread is the accuracy given, else that of the data."""
        table = sources.table("fuel_switch")["assumptions"]
        entry = table[f"{name}_condensing" if condensing and f"{name}_condensing" in table else name]
        unit = "1" if name == "primary_aeration" else sources.quantity(name).unit
        half = half_width(accuracy or entry["half"], name)
        value = units.parse(entry["value"], unit, name) if given is None else given
        low, high = value - half, value + half
        if unit in {"1", "mol/mol"}:
            low, high = max(low, 0.0), min(high, 1.0)
        if name != "primary_aeration":
            self._note(name, value, low, high, given is None, entry)
        elif given is None:
            self.assumptions.append(
                Assumption(
                    subject=name, number=None, text="primary air of half the stoichiometric", why=entry["why"]
                )
            )
        return self.spread(value, low, high)

    def pressure(self, request: Request) -> Array:
        name = "barometric_pressure"
        entry = sources.table("fuel_switch")["assumptions"][name]
        half, site = half_width(entry["half"], name), request.site
        if site.barometric_pressure is not None:
            value = site.barometric_pressure
            self._note(name, value, value, value, False, entry)
            return np.full(1 + DRAWS, value)
        value = float(standard_atmosphere_pressure(site.elevation or 0.0))
        why = entry["why" if site.elevation is None else "why_elevation"]
        self._note(name, value, value - half, value + half, True, {**entry, "why": why})
        return self.spread(value, value - half, value + half)

    def spreads(self, entered: Iterable[str]) -> None:
        """Note how far what was entered without an accuracy may be off, and the fuels' compositions."""
        table = sources.table("fuel_switch")["assumptions"]
        why = "entered without an accuracy: so much was taken"
        self.assumptions += [
            Assumption(subject=name, number=self.numbers[name], text="", why=why)
            for name in entered
            if name in self.numbers
        ]
        for name, text in (("fuel_spread", "each minor part of a named fuel"), ("pressure_setting", "each")):
            entry = table[name]
            self.assumptions.append(
                Assumption(subject=name, number=None, text=f"{text} ± {entry['half']}", why=entry["why"])
            )

    def _note(
        self, name: str, value: float, low: float, high: float, assumed: bool, entry: Mapping[str, str]
    ) -> None:
        origin: Origin = "assumed" if assumed else "entered"
        low, high = (low, high) if high > low else (np.nan, np.nan)
        made = Number(quantity=name, value=value, low=low, high=high, origin=origin, source=entry["source"])
        self.numbers[name] = made
        if assumed:
            self.assumptions.append(Assumption(subject=name, number=made, text="", why=entry["why"]))


def _rating_share(request: Request) -> float:
    if request.site.elevation is None:
        return 1.0
    return float(altitude_rating(request.site.elevation, practice=request.site.altitude_practice))


def _check_running(arrays: Mapping[str, Array], request: Request) -> None:
    oxygen, flue = float(arrays["oxygen_dry"][0]), float(arrays["flue_temperature"][0])
    if not 0.0 <= oxygen < combustion.dry_air()["O2"] - 0.01:
        raise InputError(
            f"conditions.oxygen_dry is {oxygen:.1%}; an appliance that burns has between 0 and 20 % oxygen "
            "in its dry flue gas. Check the value and its unit."
        )
    if flue < float(arrays["air_temperature"][0]):
        raise InputError(
            f"conditions.flue_temperature is {flue:.4g} K, below that of the combustion air; check values and units"
        )
    if flue > 1273.15 or (request.appliance.condensing and flue > 373.15):
        raise InputError(
            f"conditions.flue_temperature is {flue:.4g} K; that is no flue of such an appliance. Check its "
            "unit, and whether the appliance is a condensing one."
        )


def _gas(asked: FuelAsked, request: Request, made: _Inputs, *, present: bool) -> Gas:
    fuel = asked.fuel()
    kind = _pressure_kind(fuel)
    entered = asked.manifold_pressure or (request.appliance.manifold_pressure if present else None)
    pressure = entered if entered is not None else _usual_manifold(kind, request, present=present)
    setting = sources.table("fuel_switch")["assumptions"]["pressure_setting"]
    half = pressure * units.parse(setting["half"], "1", "half-width")
    origin: Origin = "entered" if entered is not None else "assumed"
    if entered is None:
        used = Number(quantity="manifold_pressure", value=pressure, origin="assumed")
        today = not present and pressure == _todays_manifold(request)
        usual = "as with the present fuel" if today else f"usual of burners for {kind}"
        made.assumptions.append(
            Assumption(
                subject="manifold_pressure",
                number=used,
                text=f"{asked.called}: {usual}",
                why="no manifold pressure was given for this fuel",
            )
        )
    price = _price_per_heat(asked.price, fuel, kind, request) if asked.price else None
    spread = units.parse(
        sources.table("fuel_switch")["assumptions"]["fuel_spread"]["half"], "1", "half-width"
    )
    return Gas(
        name=asked.called,
        fuel=fuel,
        drawn=asked.fuel(lambda named: _drawn(named, spread, made.rng)),
        manifold_pressure=made.spread(pressure, pressure - half, pressure + half),
        manifold_origin=origin,
        price_per_heat=price,
        currency=asked.price.currency if asked.price else "",
        pressure_kind=kind,
    )


def _pressure_kind(fuel: Fuel) -> str:
    """Return the kind of fuel whose pressures a gas is supplied at: its own, or that of its family by Wobbe index."""
    known = sources.table("fuel_switch")["pressures"]
    if fuel.kind in known:
        return fuel.kind
    families = " ".join(gas_groups(fuel))
    return "natural gas" if "second" in families else "propane" if "third" in families else ""


def _usual_manifold(kind: str, request: Request, *, present: bool) -> float:
    """Return the pressure for a fuel where none was given: today's for a like fuel, else what is usual of its kind."""
    known = sources.table("fuel_switch")["pressures"]
    like = kind == _pressure_kind(request.present.fuel()) or request.appliance.burner == "ratio-controlled"
    if not present and (like or kind not in known):
        return _todays_manifold(request)
    if kind not in known:
        raise InputError(
            f"no usual manifold pressure is known for {request.present.called}; give manifold_pressure in [appliance]"
        )
    return units.parse(known[kind]["manifold"], "Pa", "manifold_pressure")


def _todays_manifold(request: Request) -> float:
    entered = request.present.manifold_pressure or request.appliance.manifold_pressure
    kind = _pressure_kind(request.present.fuel())
    return entered if entered is not None else _usual_manifold(kind, request, present=True)


def _drawn(fuel: Fuel, spread: float, rng: np.random.Generator) -> Fuel:
    """Return the fuel with draws of its composition: each minor part varies, the main one takes up the rest."""
    parts = {name: float(part) for name, part in fuel.composition.items()}
    main = max(parts, key=parts.__getitem__)
    drawn: dict[str, Array] = {}
    for name, part in parts.items():
        if name != main:
            drawn[name] = part * np.concatenate([[1.0], 1 + spread * rng.uniform(-1.0, 1.0, DRAWS)])
    drawn[main] = np.ones(1 + DRAWS) - sum(drawn.values(), start=np.zeros(1 + DRAWS))
    return Fuel(composition=drawn, name=fuel.name, kind=fuel.kind)


def _price_per_heat(price: Price, fuel: Fuel, kind: str, request: Request) -> float:
    """Return a price per gross heat [1/J]."""
    per = price.kind
    size = units.factor(price.per, per, "price")[0] if per else 1.0
    if per == "J":
        return price.amount / size
    if per == "kg":
        return price.amount / (size * float(fuel.gross_heating_value_mass))
    if price.sold_as == "gas":
        base = "US 60 °F, 14.73 psia" if request.report.units == "US" else "standard 15/15"
        heat = float(fuel.properties(combustion.reference_conditions(base)).gross_heating_value)
        return price.amount / (size * heat)
    if kind not in sources.table("fuel_switch")["liquid"]:
        raise InputError(
            f"the heat of a liquid volume of {fuel.name} is not known here; price it per kg or per heat"
        )
    heat = units.parse(sources.table("fuel_switch")["liquid"][kind], "J/m^3", "heat of liquid")
    return price.amount / (size * heat)
