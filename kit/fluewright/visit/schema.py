"""What visit.toml may say: the schema, with units as text and every key by its one name.

Numbers with a unit are text ("80000 Btu/h") and arrive here as plain SI floats. Quantities are named by the
nomenclature. A key that is not listed is refused.
"""

from __future__ import annotations

import contextlib
import datetime as dt
import difflib
from collections.abc import Iterable, Mapping, Sequence
from typing import Annotated, Any, Literal, TypeAlias
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationInfo,
    WithJsonSchema,
    field_validator,
    model_validator,
)

from fluewright import sources, units
from fluewright.errors import UnitError
from fluewright.sources import limits
from fluewright.visit.problems import RefusalError, shown
from fluewright.visit.wordings import (
    read_number,
    refuse_impossible,
    refuse_thousand_or_million,
    unit_in_pint,
    unit_of,
    wordings,
)

LAYOUT = 1
_NAMES_LISTED = 16

# What a message suggests for a number in an SI unit that is no quantity's own, as the field writes it in either system.
_USUAL = {
    "W": ("Btu/hour", "kW"),
    "Pa": ("inH2O", "hPa"),
    "m": ("foot", "m"),
    "K": ("degF", "degC"),
    "delta_degC": ("delta_degF", "delta_degC"),
    "m^3": ("ft^3", "m^3"),
    "J/m^3": ("Btu/ft^3", "MJ/m^3"),
    "J": ("therm", "kW*hour"),
}


def _number(unit: str, *, signed: bool = False) -> Any:
    """Return the type of a number with a unit, written as text, read into SI [unit]; below zero only if `signed`."""
    example = "kelvin" if unit == "K" else "percent" if unit == "1" else unit

    def read(value: object, info: ValidationInfo) -> float:
        name = str(info.field_name)
        known = sources.quantities().get(name)
        usual = known.usual_units if known is not None else _USUAL.get(unit, (example,))
        text = _with_unit(value, usual[0])
        number = read_number(text, unit, name, usual=usual)
        refuse_impossible(number, text, name, unit)
        _refuse_no_share(number, text, name)
        return number if signed else not_below_zero(number, name, value)

    return Annotated[
        float,
        BeforeValidator(read),
        WithJsonSchema({"type": "string", "description": f"number, space, unit (convertible to {example})"}),
    ]


_TRIES_ALIKE = 1.5  # times the shortest: more is another number of revolutions, or a comma for a point
_SHARES = ("of_reading", "of_span")
_LEAST_SHARE = 1e-4  # of a reading: an instrument better than this is none of the trade's
_IS_SHARE = "an accuracy of reading or of span is a share of it"


def _refuse_no_share(number: float, text: str, name: str) -> None:
    """Refuse ppm, or nearly nothing, as a share of a reading or of a span."""
    if name in _SHARES and not (number == 0 or _LEAST_SHARE <= number <= 1):
        raise RefusalError(
            f"{name} is {shown(text)}",
            rule=_IS_SHARE,
            way_out='Write it such as "5 percent"; an error in ppm or degrees is absolute',
        )


def not_below_zero(number: float, name: str, value: object) -> float:
    """Return a number that was written as `value`.

    Raises
    ------
    RefusalError
        It is below zero.
    """
    if number < 0:
        raise RefusalError(
            f"{name} is {shown(value)}", rule="it is not below zero", way_out="Write it without the minus"
        )
    return number


def _with_unit(value: object, example: str) -> str:
    if not isinstance(value, str):
        raise RefusalError(
            f"{shown(value)} has no unit",
            rule="a number here is text with its unit",
            way_out=f'Write it in quotes with its unit, such as "{value} {example}"',
        )
    return value


Power: TypeAlias = _number("W")  # type: ignore[valid-type]
Pressure: TypeAlias = _number("Pa", signed=True)  # type: ignore[valid-type]
Length: TypeAlias = _number("m", signed=True)  # type: ignore[valid-type]
Temperature: TypeAlias = _number("K")  # type: ignore[valid-type]
TemperatureDifference: TypeAlias = _number("delta_degC", signed=True)  # type: ignore[valid-type]
Volume: TypeAlias = _number("m^3")  # type: ignore[valid-type]
Duration: TypeAlias = _number("s")  # type: ignore[valid-type]
Ratio: TypeAlias = _number("1")  # type: ignore[valid-type]
HeatPerVolume: TypeAlias = _number("J/m^3")  # type: ignore[valid-type]
Energy: TypeAlias = _number("J")  # type: ignore[valid-type]

Text = Annotated[str, Field(max_length=20_000)]
Filled = Annotated[str, Field(min_length=1, max_length=20_000)]


def _moment(value: object) -> object:
    if isinstance(value, str):
        for kind in (dt.time, dt.datetime):
            with contextlib.suppress(ValueError):
                return _moment(kind.fromisoformat(value.strip()))
    if isinstance(value, dt.datetime) or (isinstance(value, dt.time) and value.tzinfo is None):
        return value
    raise RefusalError(
        f"{shown(value)} is no time",
        rule="a time is a clock time of the visit's day, or a date and a time",
        way_out="Write 10:04:30 or 2026-01-31T10:04:30, without quotes",
    )


Moment: TypeAlias = Annotated[dt.datetime | dt.time, BeforeValidator(_moment)]


class _Part(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, populate_by_name=True)


def _name_of(kind: str, known: Iterable[str], *, rule: str) -> Any:
    """Return the type of a name out of a list; the nearest is suggested for one that is not in it."""
    names = sorted(known)

    def read(name: str) -> str:
        if name not in names:
            near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
            raise RefusalError(
                f"there is no {kind} {shown(name)}",
                rule=rule,
                way_out=f"Did you mean {_apart(near[0])}?" if near else f"Known are {_some(names)}",
            )
        return name

    return Annotated[str, AfterValidator(read), WithJsonSchema({"type": "string", "enum": names})]


def _some(names: Sequence[str]) -> str:
    shortened = names if len(names) <= _NAMES_LISTED else [*names[:_NAMES_LISTED], "others"]
    return ", ".join(map(_apart, shortened))


def _apart(name: str) -> str:
    """Return a name as it may stand in a list: in quotes where it holds a comma itself."""
    return shown(name) if "," in name else name


_RULE = "quantities go by their names in the nomenclature"
_READINGS = [name for name, entry in sources.quantities().items() if entry.kind == "reading"]
ReadingName: TypeAlias = _name_of("quantity to read", _READINGS, rule=_RULE)  # type: ignore[valid-type]
_SAID = [name for name, entry in sources.quantities().items() if entry.kind != "study"]
QuantityName: TypeAlias = _name_of("quantity", _SAID, rule=_RULE)  # type: ignore[valid-type]
ApplianceTypeName: TypeAlias = _name_of(  # type: ignore[valid-type]
    "appliance type", limits.appliance_types(), rule="limits are tabulated by type"
)
_PRACTICES = tuple(sources.table("altitude")["practices"])
AltitudePractice: TypeAlias = _name_of(  # type: ignore[valid-type]
    "altitude practice", _PRACTICES, rule="practices of rating at altitude go by their names"
)
StepName: TypeAlias = _name_of(  # type: ignore[valid-type]
    "step", sources.table("safe_order")["order"], rule="steps of a visit go by the names of the safe order"
)
BaseName: TypeAlias = _name_of(  # type: ignore[valid-type]
    "set of reference conditions",
    sources.table("reference_conditions"),
    rule="the base of a heating value goes by its name",
)
_DEFINITIONS = tuple(sources.table("steady")["criteria"])
CriteriaName: TypeAlias = _name_of(  # type: ignore[valid-type]
    "definition of steady", _DEFINITIONS, rule="definitions of steady go by their names"
)
CheckName: TypeAlias = _name_of("check", limits.checks(), rule="checks go by their names")  # type: ignore[valid-type]


class ReportSettings(_Part):
    """How the report is printed."""

    units: Literal["US", "SI"] = "US"
    paper: Literal["letter", "A4"] = "letter"


class Attendance(_Part):
    """When the test was made, and who made it."""

    date: dt.date
    time_zone: str = Field(description="IANA name of the clock on the logs, such as 'America/New_York'")
    tested_by: Text = ""
    licence: Text = Field(default="", description="licence or certificate number of who tested")
    organization: Text = ""
    client: Text = ""
    purpose: Text = ""
    notes: Text = ""

    @field_validator("time_zone")
    @classmethod
    def _zone_exists(cls, value: str) -> str:
        try:
            ZoneInfo(value)
        except (ZoneInfoNotFoundError, ValueError, OSError) as error:
            raise RefusalError(
                f"{shown(value)} is no time zone",
                rule="the time zone is that of the clock on the logs",
                way_out="Write an IANA name such as 'America/New_York' or 'Europe/Berlin'",
            ) from error
        return value


class Site(_Part):
    """Where the appliance stands."""

    name: Filled
    address: Text = ""
    elevation: Length | None = None
    barometric_pressure: Pressure | None = Field(
        default=None, description="absolute pressure at the site, not reduced to sea level"
    )


class Orifices(_Part):
    """The burner's gas orifices."""

    count: int = Field(gt=0)
    size: Filled = Field(description="a drill size such as '#45' or '2.00 mm'")


class Appliance(_Part):
    """The appliance and its nameplate."""

    type: ApplianceTypeName
    description: Text = ""
    location: Text = ""
    make: Text = Field(default="", description="as on the nameplate")
    model: Text = ""
    serial: Text = ""
    condensing: bool = False
    vent: Text = Field(default="", description="vent category or material, as found")
    draft: Literal["natural", "induced", "forced", "sealed", ""] = ""
    rated_input: Power | None = Field(default=None, description="on the nameplate, gross basis")
    rated_input_low: Power | None = Field(
        default=None, description="of the low stage or lowest rate, gross basis"
    )
    rated_output: Power | None = None
    altitude_practice: AltitudePractice = Field(
        default=_PRACTICES[0],
        description="how the rating is reduced at altitude; 'as rated' where the maker says so",
    )
    burner: Literal["fixed orifice", "ratio control", ""] = Field(
        default="",
        description="what sets the gas flow; a ratio-controlled burner is judged by oxygen or carbon dioxide",
    )
    orifices: Orifices | None = None
    manifold_pressure: Pressure | None = Field(default=None, description="on the nameplate")
    manifold_pressure_low: Pressure | None = Field(
        default=None, description="of the low stage, on the nameplate"
    )
    gas_inlet_range: tuple[Pressure, Pressure] | None = Field(
        default=None,
        description="lowest (firing) and highest (no flow) gas pressure at the inlet, on the nameplate",
    )
    oxygen_range: tuple[Ratio, Ratio] | None = Field(
        default=None, description="of the maker, dry, at the highest rate of a ratio-controlled burner"
    )
    oxygen_range_low: tuple[Ratio, Ratio] | None = Field(
        default=None, description="the same at the lowest rate"
    )
    carbon_dioxide_range: tuple[Ratio, Ratio] | None = Field(
        default=None, description="of the maker, dry, at the highest rate of a ratio-controlled burner"
    )
    carbon_dioxide_range_low: tuple[Ratio, Ratio] | None = Field(
        default=None, description="the same at the lowest rate"
    )
    heat_carrier: Literal["air", "water", "ethylene glycol", "propylene glycol", ""] = Field(
        default="", description="what the appliance heats; by its type where this says nothing"
    )
    glycol_share: Ratio | None = Field(default=None, description="by mass")
    temperature_rise: tuple[TemperatureDifference, TemperatureDifference] | None = Field(
        default=None, description="lowest and highest on the nameplate, in delta_degF or delta_degC"
    )
    temperature_rise_low: tuple[TemperatureDifference, TemperatureDifference] | None = Field(
        default=None, description="of the low stage, on the nameplate"
    )
    maximum_static_pressure: Pressure | None = Field(
        default=None, description="highest total external static pressure, on the nameplate"
    )
    cooling_capacity: Power | None = Field(default=None, description="of a cooling coil in the same airflow")
    blower_motor_in_air: bool = Field(
        default=True, description="the blower's motor stands in the air it moves"
    )
    vent_category: Literal["I", "II", "III", "IV", ""] = Field(default="", description="on the nameplate")
    chimney_height: Length | None = Field(default=None, description="from where draft is read to the outlet")
    maximum_flue_temperature: Temperature | None = Field(default=None, description="maker's figure, if any")
    casing_loss: Ratio | None = Field(default=None, description="share of gross input, if known")
    notes: Text = ""


_COMPOSITION_CLOSES_WITHIN = 2e-3  # chosen here: a printed analysis is rounded to 0.1 % per gas


class FuelStated(_Part):
    """The fuel: a named one, or a composition in mole fractions."""

    name: Filled | None = None
    composition: Mapping[str, float] | None = None
    spread: Mapping[str, float] | None = Field(
        default=None, description="half-width of each mole fraction, where known"
    )
    source: Text = Field(default="", description="where the composition was taken from")
    heating_value: HeatPerVolume | None = Field(
        default=None, description="gross, as the supplier states it, for the metered firing rate"
    )
    heating_value_base: BaseName | None = Field(
        default=None,
        description="temperature and pressure at which its volume counts; 60 °F dry if not given",
    )
    heating_value_source: Text = ""

    @model_validator(mode="after")
    def _one_of_two(self) -> FuelStated:
        if (self.name is None) == (self.composition is None):
            raise RefusalError(
                "[fuel] names no fuel" if self.name is None else "[fuel] gives a name and a composition",
                rule="the fuel is a named one or a composition, and not both",
                way_out='Write name = "natural gas", or composition = { CH4 = 0.95, C2H6 = 0.03, N2 = 0.02 }',
            )
        for name, part in (self.composition or {}).items():
            if not 0.0 <= part <= 1.0:
                raise RefusalError(
                    f"the mole fraction of {shown(name)} is {part:g}",
                    rule="a mole fraction lies between 0 and 1",
                    way_out="Write 94 % as 0.94",
                )
        total = sum((self.composition or {"whole": 1.0}).values())
        if abs(total - 1.0) > _COMPOSITION_CLOSES_WITHIN:
            raise RefusalError(
                f"the mole fractions of the fuel add up to {total:g}",
                rule="they add up to 1",
                way_out="Put the composition right, or add the share that is missing",
            )
        return self


class Accuracy(_Part):
    """What an instrument's maker promises for one quantity; where two are given, the greater holds."""

    absolute: str | None = Field(default=None, description="such as '0.2 percent' or '2 delta_degF'")
    of_reading: Ratio | None = None
    of_span: Ratio | None = None
    span: tuple[str, str] | None = Field(default=None, description="lowest and highest reading, with unit")
    resolution: str | None = None
    response_time: Duration | None = Field(default=None, description="to 90 % of a step")


class KnownGas(_Part):
    """What an instrument showed of something known: fresh air, a gas from a bottle, ice water."""

    applied: str = Field(description="what it was, with unit")
    shown: str = Field(description="what the instrument showed, with unit")
    at: Moment | None = None
    note: Text = Field(default="", description="such as the bottle's certificate")


class DriftChecks(_Part):
    """Zero and span of one quantity, checked before and after the visit; what they show is always in the interval."""

    zero_before: KnownGas | None = None
    zero_after: KnownGas | None = None
    span_before: KnownGas | None = None
    span_after: KnownGas | None = None
    correct: bool = Field(
        default=False, description="take the mean of the errors before and after from the settled readings"
    )

    @model_validator(mode="after")
    def _before_and_after(self) -> DriftChecks:
        pairs = ((self.zero_before, self.zero_after), (self.span_before, self.span_after))
        if not any(one for pair in pairs for one in pair):
            raise RefusalError(
                "the drift checks hold no check",
                rule="a check is of zero or span, before or after",
                way_out='Write such as zero_before = { applied = "0 ppm", shown = "1 ppm" }',
            )
        if self.correct and any((before is None) != (after is None) for before, after in pairs):
            raise RefusalError(
                "drift is to be corrected, and a check was made on one side only",
                rule="a drift is known from a check before and one after",
                way_out="Add the other check, or leave correct out: the error found is in the interval all the same",
            )
        return self


class Instrument(_Part):
    """One instrument, what is known of its accuracy, and how it was checked."""

    description: Filled
    serial: Text = ""
    calibrated: dt.date | None = None
    calibration_due: dt.date | None = None
    sample_dew_point: Temperature | None = Field(
        default=None, description="dew point of the gas after the instrument's dryer"
    )
    accuracy: Mapping[ReadingName, Accuracy] = Field(default_factory=dict)
    drift_checks: Mapping[ReadingName, DriftChecks] = Field(default_factory=dict)


class Column(_Part):
    """What one column of a log holds."""

    quantity: QuantityName
    unit: str = Field(description="such as percent, ppm, degF, inH2O")
    origin: Literal["measured", "instrument"] = Field(
        default="measured", description="'instrument' where the instrument computed it instead of measuring"
    )
    instrument: str | None = Field(default=None, description="where it is not the log's instrument")
    despite_heading: Text | None = Field(
        default=None,
        min_length=3,
        description="why it holds this, where its heading or its unit in the log says otherwise",
    )

    @field_validator("unit")
    @classmethod
    def _unit_as_pint_has_it(cls, unit: str, info: ValidationInfo) -> str:
        refuse_thousand_or_million(f" {unit}", "unit")
        return unit_in_pint(unit, info.data["quantity"]) if "quantity" in info.data else unit

    @model_validator(mode="after")
    def _unit_fits(self) -> Column:
        column_scale(self.unit, self.quantity)
        if sources.quantity(self.quantity).kind == "result" and self.origin == "measured":
            raise RefusalError(
                f"{self.quantity} is declared as measured",
                rule="it can only be computed, here by the instrument",
                way_out="Write origin = 'instrument'; it is shown and never used as evidence",
            )
        return self


def column_scale(unit: str, quantity: str) -> tuple[float, float]:
    """Return (slope, offset) from a unit written in visit.toml to the SI unit of a quantity.

    Raises
    ------
    RefusalError, UnitError
        The unit is unknown, missing, or of the wrong kind for the quantity.
    """
    wanted = sources.quantity(quantity)
    example = " or ".join(wanted.usual_units)
    if not unit.strip():
        raise RefusalError(
            f"{quantity} has no unit",
            rule="every number has a unit",
            way_out=f"Write {example}, or 1 for a plain ratio",
        )
    if wanted.unit == "K" and unit.startswith("delta_"):
        raise RefusalError(
            f"{quantity} is given in {unit}",
            rule="it is a temperature and not a difference of two",
            way_out=f"Write {example} if that is what the column holds; a difference has no place here",
        )
    try:
        return units.factor(unit_in_pint(unit, quantity), wanted.unit, quantity)
    except UnitError as error:
        if unit_of(unit) in wordings()["without_factor"]:
            raise RefusalError(
                f"{quantity} is given in {shown(unit)}",
                rule="no factor turns that into a unit of it: it takes a temperature and a pressure, or the fuel",
                way_out=f"Have the instrument write it in {example}",
            ) from error
        unknown = "is not a unit" in str(error)
        raise RefusalError(
            f"{shown(unit)} is not a known unit" if unknown else f"{quantity} is given in {shown(unit)}",
            rule="units go by pint's names" if unknown else f"that is not a unit of {wanted.label.lower()}",
            way_out=f"Write a unit such as {example}",
        ) from error


def _check_pattern(pattern: str, *, dated: bool) -> None:
    """Refuse a way of writing time that cannot be read, or that lacks the hour or a needed date."""
    if pattern in {"ISO", "epoch", "elapsed", "serial"}:
        return
    example = "%d.%m.%Y %H:%M:%S" if dated else "%H:%M:%S"
    moment = dt.datetime(2021, 12, 23, 16, 45, 51, tzinfo=dt.UTC)
    try:
        kept = dt.datetime.strptime(moment.strftime(pattern), pattern)
    except ValueError:
        kept = None
    # The hour is then read as of 24, and AM and PM overlooked.
    halved = "%p" in pattern and "%I" not in pattern
    if halved or kept is None or kept.hour != moment.hour or (dated and kept.date() != moment.date()):
        raise RefusalError(
            f"{shown(pattern)} is no way to write a {'date and time' if dated else 'clock time'}",
            rule="time.format is ISO, epoch, elapsed, serial, or a pattern in which %d is the day, %m the month, "
            "%Y the year, %H the hour (%I with %p for 12 hours), %M the minute and %S the second",
            way_out=f"Write a pattern such as {example}"
            + (", or give time_column where the cells hold no date" if dated else ""),
        )


def _offset(value: object) -> object:
    return value if value == "estimate" else units.parse(_with_unit(value, "s"), "s", "offset")


Offset: TypeAlias = Annotated[
    float | Literal["estimate"],
    BeforeValidator(_offset),
    WithJsonSchema(
        {"type": "string", "description": "number, space, unit (convertible to s), or 'estimate'"}
    ),
]


class LogTime(_Part):
    """Where a log keeps its time, and how it is written."""

    column: str | None = None
    date_column: str | None = None
    time_column: str | None = None
    format: str = Field(
        default="ISO",
        description="'ISO', 'epoch', 'elapsed', 'serial' (days, as workbooks count), or a strptime pattern",
    )
    unit: Literal["s", "ms", "min", "h"] = Field(
        default="s", description="of 'elapsed' time; 10:04 is 10 min 4 s, with 'h' it is 10 h 4 min"
    )
    start: dt.datetime | None = Field(default=None, description="start of the clock, for 'elapsed'")
    spread: bool = Field(
        default=False,
        description="rows of one time are spread evenly to the next, where the clock tells less than the rows",
    )
    offset: Offset | None = Field(
        default=None,
        description="added to the log's time, to correct its clock; 'estimate' takes it from events that this log "
        "and the first log both saw",
    )
    despite_heading: Text | None = Field(
        default=None,
        min_length=3,
        description="why 'elapsed' time is in this unit, where its heading in the log says otherwise",
    )

    @model_validator(mode="after")
    def _one_way(self) -> LogTime:
        if (self.column is None) == (self.time_column is None):
            raise RefusalError(
                "the log's time names no column" if self.column is None else "the log's time is named twice",
                rule="time stands in one column, or in a time column with or without a date column",
                way_out="Give column, or time_column (and date_column)",
            )
        if self.format != "elapsed" and self.unit != "s":
            raise RefusalError(
                f"the log's time has the unit {self.unit}",
                rule="only elapsed time has one",
                way_out='Leave unit out, or write format = "elapsed"',
            )
        if self.format == "elapsed" and self.start is None:
            raise RefusalError(
                "elapsed time has no start",
                rule="elapsed time counts from a moment",
                way_out="Write start = 2026-01-31T10:00:00, the moment at which it was zero",
            )
        _check_pattern(self.format, dated=self.column is not None or self.date_column is not None)
        return self


class SetAside(_Part):
    """A stretch of a log, by time or by row numbers, that a person sets aside, and why."""

    start: Moment | None = Field(
        default=None,
        description="as corrected by time.offset; where that is estimated, by the log's own clock",
    )
    end: Moment | None = None
    rows: tuple[int, int] | None = Field(
        default=None, description="first and last row, as an editor counts lines"
    )
    because: Text = Field(min_length=3)

    @model_validator(mode="after")
    def _bounded(self) -> SetAside:
        by_time = self.start is not None and self.end is not None
        if by_time == (self.rows is not None) or (self.start is None) != (self.end is None):
            raise RefusalError(
                "the stretch to set aside is not bounded",
                rule="a stretch has a start and an end, or a first and a last row, and not both",
                way_out="Write start and end, or rows = [118, 118]",
            )
        if self.rows is not None and self.rows[0] > self.rows[1]:
            raise RefusalError(
                f"the stretch to set aside runs from row {self.rows[0]} to row {self.rows[1]}",
                rule="the first row comes first",
                way_out=f"Write rows = [{self.rows[1]}, {self.rows[0]}]",
            )
        return self


class Log(_Part):
    """One log file, as the instrument wrote it."""

    file: Filled = Field(description="name inside the visit folder: delimited text, .xlsx or Parquet")
    instrument: str
    sheet: Filled | None = Field(default=None, description="in a workbook with several sheets")
    time: LogTime
    delimiter: Literal[",", ";", "\t", "|"] = ","
    decimal: Literal[".", ","] = "."
    thousands: Literal["", ",", ".", " ", "'"] = Field(
        default="", description="mark between thousands, if any"
    )
    encoding: str = "utf-8"
    words: Mapping[Filled, Literal["over range", "under range", "no reading"]] = Field(
        default_factory=dict,
        description="what the instrument writes instead of a reading, such as { ALARM = 'over range' }",
    )
    header_row: int = Field(
        default=1, ge=0, le=1000, description="line number of the column names; 0 where there are none"
    )
    columns: Mapping[str, Column] = Field(
        min_length=1, description="by the name in the header, or 'column 3' for the third"
    )
    set_aside: tuple[SetAside, ...] = ()
    within: Duration | None = Field(
        default=None,
        description="joined to the first log's times by the nearest reading within this; half of its own interval "
        "where not given",
    )
    interpolate: bool = Field(
        default=False, description="between the readings before and after a time, instead of the nearest"
    )

    @field_validator("encoding")
    @classmethod
    def _encoding_is_of_text(cls, value: str) -> str:
        sample = "10:04:30;5,1\n"
        try:
            known = sample.encode(value).decode(value) == sample
        except (LookupError, ValueError):
            known = False
        if not known:
            raise RefusalError(
                f"there is no text encoding {shown(value)}",
                rule="the encoding is that in which the instrument wrote its letters",
                way_out="Write utf-8, utf-16, cp1252 or latin-1",
            )
        return value

    @model_validator(mode="after")
    def _marks_differ(self) -> Log:
        if self.thousands == self.decimal:
            raise RefusalError(
                f"{shown(self.decimal)} is the decimal mark and the mark between thousands",
                rule="the two differ",
                way_out="Put decimal or thousands right",
            )
        return self

    @model_validator(mode="after")
    def _each_quantity_once(self) -> Log:
        taken: dict[str, str] = {}
        for name, column in self.columns.items():
            other = taken.setdefault(column.quantity, name)
            if other != name:
                raise RefusalError(
                    f"{column.quantity} is given to the columns {shown(other)} and {shown(name)}",
                    rule="a log holds each quantity once",
                    way_out="Take one of them out of the column map",
                )
        return self


class Spot(_Part):
    """A reading taken once, by hand; '> 2000 ppm' where the instrument was over its range."""

    value: str
    instrument: str | None = None
    note: Text = ""


def _one_or_several(value: object) -> object:
    several = value if isinstance(value, list | tuple) else (value,)
    for one in several:
        if not isinstance(one, str | dict | Spot):
            raise RefusalError(
                f"{shown(one)} is no reading",
                rule="a reading is text, a number with its unit",
                way_out=f'Write it in quotes with its unit, such as "{one} percent" or "{one} ppm"',
            )
    return tuple({"value": one} if isinstance(one, str) else one for one in several)


Spots: TypeAlias = Annotated[
    tuple[Spot, ...],
    BeforeValidator(_one_or_several, json_schema_input_type=str | Spot | tuple[str | Spot, ...]),
]


class MeterClock(_Part):
    """The gas meter: clocked by hand, or its state where its pulses were logged (gas_volume, gas_volume_flow)."""

    dial: Volume | None = Field(
        default=None, description="volume of one revolution of the dial that was timed"
    )
    seconds: tuple[float, ...] = Field(default=(), description="seconds for the revolutions, each try")
    revolutions: float = Field(default=1.0, gt=0)
    pressure: Pressure | None = Field(default=None, description="gauge pressure at the meter")
    temperature: Temperature | None = Field(default=None, description="gas temperature at the meter")
    compensated: bool = Field(default=False, description="the meter corrects to its base by itself")
    other_loads_off: bool | None = None

    @model_validator(mode="after")
    def _clocked_or_not(self) -> MeterClock:
        if (self.dial is None) != (not self.seconds):
            raise RefusalError(
                "the meter's dial has no times" if self.seconds == () else "the meter's times have no dial",
                rule="a clocked meter has the volume of its dial and the seconds of each try",
                way_out="Write dial and seconds, or neither where the gas was logged",
            )
        return self

    @field_validator("seconds")
    @classmethod
    def _positive(cls, value: tuple[float, ...]) -> tuple[float, ...]:
        if any(not 0 < second < 3600 for second in value):
            raise RefusalError(
                f"a revolution of the meter's dial took {max(value, key=abs):g} s",
                rule="each time lies between 0 and 3600 seconds",
                way_out="Write the seconds of each try as numbers",
            )
        if value and max(value) > _TRIES_ALIKE * min(value):
            raise RefusalError(
                f"the tries at the meter took {min(value):g} s and {max(value):g} s",
                rule="they time the same revolutions, so they are alike; decimals have a point",
                way_out="Write one number for each try, and leave out a try that went wrong",
            )
        return value


class ManualWindow(_Part):
    """A window chosen by a person instead of the one the rules find."""

    start: Moment
    end: Moment
    because: Text = Field(min_length=3)


class TestPoint(_Part):
    """One settled condition within the visit: as found, as left, or a firing rate."""

    __test__ = False  # not a test class

    name: Filled
    start: Moment
    end: Moment
    firing_rate: Ratio | None = None
    stage: Literal["low", "high", ""] = Field(
        default="", description="of a two-stage or modulating appliance"
    )
    airflow_at: Literal["return", "supply"] = Field(
        default="return", description="where the airflow or water flow was read: its volume counts there"
    )
    blower_started: Moment | None = Field(
        default=None, description="when the blower started while the burner ran, where no log holds it"
    )
    changed: Text = Field(default="", description="what was changed before this test point")
    replaces: Text = Field(
        default="", description="name of the test point that this one repeats after the change"
    )
    window: ManualWindow | None = None
    readings: Mapping[ReadingName, Spots] = Field(default_factory=dict)
    meter: MeterClock | None = None
    notes: Text = ""


class Sampling(_Part):
    """How the flue gas was sampled."""

    port: Text = ""
    position: Literal["before draft hood", "after draft hood", "no draft hood", ""] = ""
    at_outlet: bool = Field(default=False, description="sampled at the appliance's own outlet")
    subtract_ambient_carbon_monoxide: bool = False
    notes: Text = ""


class SteadyBy(_Part):
    """What counts as steady."""

    criteria: CriteriaName = Field(
        default=_DEFINITIONS[0],
        description="limits per channel, chosen here or of a published test procedure",
    )


class CheckRecord(_Part):
    """A check that is seen rather than measured."""

    result: str
    note: Text = ""


def _check_record(value: object) -> object:
    return {"result": value} if isinstance(value, str) else value


Check: TypeAlias = Annotated[
    CheckRecord, BeforeValidator(_check_record, json_schema_input_type=str | CheckRecord)
]


class LimitOverride(_Part):
    """A limit that holds here instead of the tabulated one, with its own source."""

    value: str
    holds: Literal["at most", "at least"] | None = Field(
        default=None, description="may be left out where all tabulated limits of the quantity are of one side"
    )
    weight: Literal["note", "correct", "stop"] = "correct"
    source: Text = Field(min_length=3)


class Price(_Part):
    """What the fuel costs."""

    amount: float = Field(gt=0)
    per: Energy = Field(description="amount of gross heat it buys, such as '1 therm' or '1 kW*hour'")
    currency: Filled


class SavingsBasis(_Part):
    """What a year's savings are reckoned from: the heat delivered, or the fuel used before the change."""

    annual_heat: Energy | None = None
    annual_fuel: Energy | None = Field(default=None, description="gross, as on the bills, before the change")
    source: Text = Field(default="", description="where the year's figure was taken from")
    price: Price | None = None
    cost_of_work: float | None = Field(default=None, gt=0, description="in the currency of the price")

    @model_validator(mode="after")
    def _one_of_two(self) -> SavingsBasis:
        if (self.annual_heat is None) == (self.annual_fuel is None):
            raise RefusalError(
                "[savings] gives neither the heat nor the fuel of a year, or both",
                rule="savings are reckoned from the heat delivered in a year or the fuel used in a year",
                way_out='Write annual_fuel = "900 therm", or annual_heat = "20 MW*hour"',
            )
        return self


class Conditions(_Part):
    """What the tests were made under."""

    doors: Text = ""
    dampers: Text = ""
    fans: Text = Field(default="", description="exhaust fans, dryer, range hood: which ran")
    other_appliances: Text = ""
    all_appliances_firing: bool | None = Field(
        default=None, description="every gas appliance fired while the inlet pressure was read"
    )
    warm_up: Duration | None = Field(default=None, description="burner on before the first settled reading")
    weather: Text = ""
    notes: Text = ""


class StepMade(_Part):
    """A step of the visit, and when it was made."""

    step: StepName
    at: Moment


class Abort(_Part):
    """The tests were broken off."""

    at: Moment
    because: Text = Field(min_length=3)


class Alarm(_Part):
    """A carbon monoxide alarm in the building."""

    place: Filled
    made: int | None = Field(default=None, ge=1980, le=2200, description="year of manufacture, on its back")
    works: bool | None = Field(default=None, description="its test button was pressed")


class LeftBehind(_Part):
    """In what condition the appliance was left, and who knows."""

    taps_leak_tested: bool | None = Field(default=None, description="pressure taps closed and leak-tested")
    gas_off: bool | None = None
    tag: Text = Field(default="", description="the tag or notice left on the appliance")
    told: Text = Field(default="", description="who was told of the findings, and how")
    refused: Text = Field(default="", description="what the owner refused")
    notes: Text = ""


class Record(_Part):
    """The record of the visit: conditions, steps and their times, alarms, and what was left behind."""

    conditions: Conditions = Conditions()
    steps: tuple[StepMade, ...] = ()
    aborted: Abort | None = None
    alarms: tuple[Alarm, ...] | None = Field(default=None, description="an empty list: there is none")
    left: LeftBehind = LeftBehind()


class VisitFile(_Part):
    """The whole of visit.toml."""

    layout: Literal[1] = Field(description="edition of this layout")
    report: ReportSettings = ReportSettings()
    visit: Attendance
    site: Site
    appliance: Appliance
    fuel: FuelStated
    sampling: Sampling = Sampling()
    steady: SteadyBy = SteadyBy()
    instruments: Mapping[str, Instrument]
    logs: tuple[Log, ...] = Field(min_length=1)
    readings: Mapping[ReadingName, Spots] = Field(
        default_factory=dict, description="spot readings that hold for the whole visit"
    )
    test_points: tuple[TestPoint, ...] = Field(min_length=1)
    checks: Mapping[CheckName, Check] = Field(default_factory=dict)
    record: Record = Record()
    savings: SavingsBasis | None = None
    limits: Mapping[QuantityName, LimitOverride] = Field(default_factory=dict)


def visit_schema() -> dict[str, Any]:
    """Return the JSON Schema of visit.toml, as published in the package."""
    schema = VisitFile.model_json_schema(mode="validation")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


__all__ = [
    "LAYOUT",
    "Accuracy",
    "Appliance",
    "Attendance",
    "CheckRecord",
    "Column",
    "DriftChecks",
    "FuelStated",
    "Instrument",
    "KnownGas",
    "LimitOverride",
    "Log",
    "LogTime",
    "ManualWindow",
    "MeterClock",
    "Moment",
    "ReportSettings",
    "Sampling",
    "SetAside",
    "Site",
    "Spot",
    "SteadyBy",
    "TestPoint",
    "VisitFile",
    "column_scale",
    "not_below_zero",
    "visit_schema",
]
