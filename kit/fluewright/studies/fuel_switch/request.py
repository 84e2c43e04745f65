"""What a fuel-switch study is asked: a few lines of TOML, or a visit and the fuels to go to."""

from __future__ import annotations

import datetime as dt
import tomllib
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, ValidationError, model_validator

from fluewright import combustion, sources, units
from fluewright.appliance.altitude import DEFAULT_PRACTICE, PRACTICES
from fluewright.appliance.orifice import drill
from fluewright.combustion import Fuel
from fluewright.errors import FluewrightError, InputError, UnknownNameError
from fluewright.studies.audit import Audit, audit
from fluewright.visit import open_visit
from fluewright.visit.problems import RefusalError, shown
from fluewright.visit.schema import (
    Filled,
    HeatPerVolume,
    Length,
    Power,
    Pressure,
    Ratio,
    ReportSettings,
    Temperature,
    Text,
)

__all__ = [
    "FuelAsked",
    "Request",
    "read_request",
    "request_from_visit",
    "request_schema",
]

SWEEPS = ("hydrogen", "propane-air", "inert", "altitude")
_MOST_FUELS = 4  # beside the present one: more do not fit abreast on a page


def _energy(value: object) -> float:
    if not isinstance(value, str):
        raise RefusalError(
            f"{shown(value)} has no unit",
            rule="a number here is text with its unit",
            way_out=f'Write it in quotes with its unit, such as "{value} MMBtu"',
        )
    return units.parse(value, "J", "heat")


def _refused_here(make: Callable[[], object]) -> None:
    """Turn an unknown name into the kind of error that the schema gathers, so that all problems come at once."""
    try:
        make()
    except UnknownNameError as error:
        raise ValueError(str(error)) from error


Energy: TypeAlias = Annotated[float, BeforeValidator(_energy)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Price(_Part):
    """What the fuel costs: an amount per unit of heat (gross), mass, gas volume, or liquid volume."""

    amount: float = Field(ge=0)
    per: Filled = Field(description="'therm', 'kWh', 'gallon', 'kg', 'm^3'; heat counts gross")
    currency: Filled
    sold_as: Literal["gas", "liquid"] = "gas"

    @model_validator(mode="after")
    def _can_be_counted(self) -> Price:
        if self.kind is None:
            raise RefusalError(
                f"a price per {shown(self.per)} says nothing of heat",
                rule="fuel is sold by heat, mass or volume",
                way_out='Write per = "therm", "kWh", "kg", "m^3" or "gallon"',
            )
        if self.sold_as == "liquid" and self.kind != "m^3":
            raise RefusalError(
                f"a liquid is priced per {shown(self.per)}",
                rule="sold_as = 'liquid' goes with a volume",
                way_out='Write per = "gallon", or leave sold_as out',
            )
        return self

    @property
    def kind(self) -> str | None:
        """The SI unit of what the price is per: J, kg or m^3; None where it is none of these."""
        for unit in ("J", "kg", "m^3"):
            try:
                units.factor(self.per, unit, "price")
            except FluewrightError:
                continue
            return unit
        return None


class FuelAsked(_Part):
    """One fuel: a named one, a composition, a blend of named ones, or what a bill states of a pipeline gas."""

    name: Filled | None = None
    composition: Mapping[str, float] | None = None
    blend: Mapping[str, float] | None = Field(default=None, description="share of each named fuel")
    blend_by: Literal["volume", "energy", "mass"] = "volume"
    heating_value: HeatPerVolume | None = Field(default=None, description="gross, at 15/15 °C")
    relative_density: float | None = None
    label: Text = Field(default="", description="what the report calls it")
    source: Text = ""
    manifold_pressure: Pressure | None = Field(default=None, description="to be set with this fuel")
    price: Price | None = None

    @model_validator(mode="after")
    def _one_way(self) -> FuelAsked:
        ways = ("name", "composition", "blend", "heating_value")
        given = [way for way in ways if getattr(self, way) is not None]
        if len(given) != 1:
            raise RefusalError(
                f"a fuel is given by {' and '.join(given) or 'nothing'}",
                rule=f"it is given in one of four ways: {', '.join(ways)}",
                way_out='Write name = "natural gas", or blend = { "natural gas" = 0.8, hydrogen = 0.2 }',
            )
        _refused_here(self.fuel)  # an unknown fuel or a blend over 100 % is found while the file is read
        return self

    def fuel(self, drawn: Callable[[Fuel], Fuel] = lambda named: named) -> Fuel:
        """Return the fuel; `drawn` may put draws about the composition of each named fuel that goes into it.

        The shares of a blend, an analysis as entered and a bill's figures stay as they are.
        """
        if self.name is not None:
            return drawn(combustion.fuel(self.name))
        if self.blend is not None:
            parts = " + ".join(f"{100 * share:.0f} % {name}" for name, share in self.blend.items())
            named: dict[str | Fuel, float] = {
                drawn(combustion.fuel(name)): share for name, share in self.blend.items()
            }
            return combustion.blend(named, by=self.blend_by, name=self.label or parts)
        if self.heating_value is not None:
            return combustion.fuel_from_heating_value(
                self.heating_value,
                relative_density=self.relative_density,
                name=self.label or "gas by the bill",
            )
        return Fuel(
            composition=dict(self.composition or {}),
            name=self.label or "fuel as entered",
            source=self.source or "composition as entered",
        )

    @property
    def called(self) -> str:
        """What the report calls it."""
        return self.label or self.fuel().name


class Made(_Part):
    """When the study was made, by whom and for whom."""

    date: dt.date
    prepared_by: Text = ""
    organization: Text = ""
    client: Text = ""
    purpose: Text = ""


class SiteAsked(_Part):
    """Where the appliance stands."""

    name: Filled
    elevation: Length | None = None
    barometric_pressure: Pressure | None = None
    altitude_practice: Literal[PRACTICES] = DEFAULT_PRACTICE  # type: ignore[valid-type]


class ApplianceAsked(_Part):
    """The appliance: its nameplate, its burner, and its orifices where they are known."""

    description: Text = ""
    rated_input: Power = Field(description="on the nameplate, gross basis")
    burner: Literal["atmospheric", "fan", "ratio-controlled"] = "atmospheric"
    condensing: bool = False
    manifold_pressure: Pressure | None = Field(default=None, description="with the present fuel")
    orifice: str | None = Field(default=None, description="present size: '#54', 'F', '1.40 mm'")
    orifices: int | None = Field(default=None, ge=1, description="how many")

    @model_validator(mode="after")
    def _can_fire(self) -> ApplianceAsked:
        if self.rated_input <= 0:
            raise RefusalError(
                f"the rated input is {self.rated_input:g} W",
                rule="it is above zero",
                way_out="Write what the nameplate says",
            )
        if self.orifice is not None:
            size = self.orifice
            _refused_here(lambda: drill(size))
        return self


class ConditionsAsked(_Part):
    """How the appliance runs with the present fuel; what is not given is assumed, and the report says so."""

    oxygen_dry: Ratio | None = None
    flue_temperature: Temperature | None = None
    air_temperature: Temperature | None = None
    relative_humidity: Ratio | None = None
    primary_aeration: Ratio | None = Field(
        default=None, description="primary air, as a share of stoichiometric"
    )
    accuracy: Mapping[str, str] = Field(
        default={}, description="half-width of any of these, such as { oxygen_dry = '0.3 percent' }"
    )
    source: Text = "as entered"

    @model_validator(mode="after")
    def _accuracies_are_of_these(self) -> ConditionsAsked:
        known = set(type(self).model_fields) - {"accuracy", "source"}
        for name, text in self.accuracy.items():
            if name not in known:
                raise RefusalError(
                    f"an accuracy of {shown(name)} is given",
                    rule="accuracies are of the conditions",
                    way_out=f"Known are {', '.join(sorted(known))}",
                )
            half_width(text, name)
        return self


def half_width(text: str, name: str) -> float:
    """Return a half-width as text in the SI unit of its quantity: a difference, so a kelvin stays a kelvin."""
    unit = "1" if name == "primary_aeration" else sources.quantity(name).unit
    return units.parse(text, "delta_degC" if unit == "K" else unit, name)


class YearAsked(_Part):
    """What is wanted of the appliance in a year."""

    heat_delivered: Energy


class Request(_Part):
    """A fuel-switch study as asked."""

    layout: Literal[1] = 1
    study: Made
    report: ReportSettings = ReportSettings()
    site: SiteAsked
    appliance: ApplianceAsked
    present: FuelAsked
    proposed: tuple[FuelAsked, ...] = Field(min_length=1, max_length=_MOST_FUELS)
    conditions: ConditionsAsked = ConditionsAsked()
    year: YearAsked | None = None
    sweeps: tuple[Literal["hydrogen", "propane-air", "inert", "altitude"], ...] = SWEEPS  # type: ignore[assignment]
    warning: Text = Field(
        default="", description="what the reader must know first, such as a verdict to stop"
    )

    @model_validator(mode="after")
    def _fuels_differ(self) -> Request:
        names = [one.called for one in (self.present, *self.proposed)]
        twice = next((name for name in names if names.count(name) > 1), None)
        if twice is not None:
            raise RefusalError(
                f"two fuels are called {shown(twice)}",
                rule="the fuels of a study go by different names",
                way_out="Give one of them a label, or leave it out",
            )
        return self


def request_schema() -> Mapping[str, Any]:
    """Return the JSON Schema of a request file."""
    return Request.model_json_schema()


def read_request(path: Path | str) -> Request:
    """Return the request that a TOML file holds.

    Raises
    ------
    InputError
        There is no such file, or it is not a request: every problem is listed at once.
    """
    where = Path(path)
    if where.is_dir():
        raise InputError(f"{where} is a folder; name the file of the request, or give a visit with --visit")
    try:
        raw = tomllib.loads(where.read_text(encoding="utf-8-sig"))
    except OSError as error:
        raise InputError(
            f"the request {where} cannot be read: {error.strerror}; put the path right"
        ) from error
    except UnicodeDecodeError as error:
        raise InputError(f"the request {where} is not UTF-8 text; save it as UTF-8") from error
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"the request {where} is not TOML: {error}; put that line right") from error
    return _checked(raw, where.name)


def _checked(raw: Mapping[str, Any], name: str) -> Request:
    try:
        return Request.model_validate(raw)
    except ValidationError as error:
        found = error.errors(include_url=False)
        listed = [_worded(finding) for finding in found if not _is_hollow(finding, found)]
        listing = "; ".join(f"{number}. {line}" for number, line in enumerate(listed, start=1))
        count = f"{len(listed)} to put right: " if len(listed) > 1 else ""
        raise InputError(f"{name}: {count}{listing if len(listed) > 1 else listed[0]}") from error
    except FluewrightError as error:
        raise InputError(f"{name}: {error}") from error


def _is_hollow(finding: Any, found: Sequence[Any]) -> bool:
    """Tell a list called too short only because what it holds has faults of its own."""
    place = finding["loc"]
    return finding["type"] == "too_short" and any(
        len(other["loc"]) > len(place) and other["loc"][: len(place)] == place for other in found
    )


def _worded(finding: Any) -> str:
    """Return one finding of the schema in words: where, what, and the way out."""
    place = ".".join(str(part) for part in finding["loc"] if not str(part).startswith("function-"))
    cause = finding.get("ctx", {}).get("error")
    if isinstance(cause, Exception):
        return f"{place}: {cause}" if place else str(cause)
    if finding["type"] == "missing":
        hint = "; the study needs the input on the nameplate" if place.endswith("rated_input") else ""
        return f"{place} is missing{hint}"
    if finding["type"] == "extra_forbidden":
        return f"{place} is not known here; a key that is not known would be overlooked"
    return f"{place} is {shown(finding['input'])}: {finding['msg'][:1].lower()}{finding['msg'][1:]}"


# ---------------------------------------------------------------------------- from a visit


def request_from_visit(folder: Path | str, *, to: Sequence[str]) -> Request:
    """Return the request of a switch of a visited appliance, at the conditions as it was tested.

    The last test point with a steady window gives oxygen, flue and air temperature; without one they are assumed.

    Parameters
    ----------
    folder : Path or str
        A visit folder.
    to : sequence of str
        Names of the fuels to go to.

    Raises
    ------
    InputError
        The visit cannot be used, has no nameplate input, or no fuel to go to is named.
    UnknownNameError
        A fuel is not known.
    """
    if not to:
        raise InputError('no fuel to go to is named; name one, such as: --to "natural gas"')
    visited = audit(open_visit(folder))
    plan = visited.visit.plan
    if plan.appliance.rated_input is None:
        raise InputError(
            f"{Path(folder).name}: rated_input is missing in [appliance] of visit.toml; a switch of fuel is "
            "sized by the input on the nameplate. Add what it says."
        )
    for name in to:
        if name not in combustion.fuel_names():
            combustion.fuel(name)  # raises with the nearest name, or accepts a synonym
    return _checked(
        {
            "study": {
                "date": plan.visit.date,
                "prepared_by": plan.visit.tested_by,
                "organization": plan.visit.organization,
                "client": plan.visit.client,
                "purpose": f"Switch of fuel after the visit of {plan.visit.date}.",
            },
            "report": plan.report.model_dump(),
            "site": _without_none(
                name=plan.site.name,
                elevation=_text(plan.site.elevation, "m"),
                barometric_pressure=_text(plan.site.barometric_pressure, "Pa"),
            ),
            "appliance": _without_none(
                description=plan.appliance.description,
                rated_input=_text(plan.appliance.rated_input, "W"),
                burner="atmospheric" if plan.appliance.draft in {"natural", "induced", ""} else "fan",
                condensing=plan.appliance.condensing,
                manifold_pressure=_text(plan.appliance.manifold_pressure, "Pa"),
            ),
            "present": _present(visited),
            "proposed": [{"name": name} for name in to],
            "conditions": _tested(visited),
            "warning": _warning(visited),
        },
        Path(folder).name,
    )


def _without_none(**values: object) -> dict[str, object]:
    return {name: value for name, value in values.items() if value is not None}


def _text(value: float | None, unit: str) -> str | None:
    return None if value is None else f"{value!r} {unit}"


def _present(visited: Audit) -> dict[str, object]:
    stated = visited.visit.plan.fuel
    if stated.name is not None:
        return {"name": stated.name}
    return {
        "composition": dict(stated.composition or {}),
        "source": stated.source,
        "label": "fuel of the visit",
    }


def _tested(visited: Audit) -> dict[str, object]:
    """Return the conditions of the last test point that has results; the balance's oxygen where it was not read."""
    wanted = {"oxygen_dry": "1", "flue_temperature": "K", "air_temperature": "K", "relative_humidity": "1"}
    for point in reversed(visited.points):
        known = {**point.readings, **point.numbers}
        if "excess_air" in known and "flue_temperature" in known and "oxygen_dry" in known:
            found = {name: known[name] for name in wanted if name in known}
            return {
                **{name: _text(one.value, wanted[name]) for name, one in found.items()},
                "accuracy": {
                    name: _text(
                        (one.high - one.low) / 2, "delta_degC" if wanted[name] == "K" else wanted[name]
                    )
                    for name, one in found.items()
                    if one.has_interval
                },
                "source": f"as tested, {point.name}",
            }
    return {}


def _warning(visited: Audit) -> str:
    verdict = visited.verdict
    said = f"The visit of {visited.visit.plan.visit.date} ended in: {verdict.sentence}"
    settled = any("excess_air" in point.numbers for point in visited.points)
    state = (
        "" if settled else " No test point settled, so the running conditions below are assumed, not tested."
    )
    if verdict.name == "leave_off":
        reasons = "; ".join(verdict.because[:3])
        return (
            f"{said} {reasons}. A switch of fuel puts none of this right: the appliance stays off until it "
            f"has been repaired and tested.{state}"
        )
    if verdict.name == "correct":
        return f"{said} What was found is put right before any switch of fuel.{state}"
    return state.strip()
