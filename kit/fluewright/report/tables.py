"""The tables of an audit: an audit in, a table of text out."""

from __future__ import annotations

import math
import string
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Judgement, Number
from fluewright.report import words
from fluewright.report.objects import Facts, Paragraph, Section, Table
from fluewright.report.words import Printed
from fluewright.sources import limits as safety
from fluewright.sources.limits import Citation
from fluewright.steady import Stretch, Window
from fluewright.studies.audit import Audit, PointAudit
from fluewright.visit import SpotReading, accuracy_of

_ABREAST = 3  # test points beside each other in one table
_BRIEF = 220  # characters of a typed text that page one bears
_OXYGEN = ("oxygen_dry", "oxygen_wet", "carbon_dioxide_dry")
_AIR_FREE = "carbon_monoxide_air_free_oxygen_rule"
LOSSES = (
    "loss_dry_gas",
    "loss_water_latent",
    "loss_water_sensible",
    "loss_air_moisture",
    "loss_carbon_monoxide",
    "loss_unburnt",
)
# What air and fuel lack in warmth is a loss; where they are warmer than the reference, it is less than zero.
CREDITS = {"credit_air": "Cold of the combustion air", "credit_fuel": "Cold of the fuel"}


# ---------------------------------------------------------------------------- test points beside each other


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One row of a table of test points: a label, a unit, a number per test point, and a remark."""

    label: str
    sign: str
    cells: tuple[Printed, ...]
    remark: str = ""


def side_by_side(
    names: Sequence[str],
    lines: Sequence[Line],
    *,
    remarks: str = "",
    caption: str = "",
    notes: Sequence[str] = (),
) -> Table | Section:
    """Return the lines as a table with two columns per test point, or as several where there are many points.

    A line without cells is a heading inside the table; `remarks` heads a last column.
    """
    starts = range(0, len(names), _ABREAST)
    tables = [
        _abreast(
            names[start : start + _ABREAST],
            [replace(line, cells=line.cells[start : start + _ABREAST]) for line in lines],
            remarks=remarks,
            caption=caption if start == 0 else f"{caption.rstrip('.')}, continued." if caption else "",
            notes=notes if start == starts[-1] else (),
        )
        for start in starts
    ]
    return tables[0] if len(tables) == 1 else Section("", tables)


def _abreast(
    names: Sequence[str], lines: Sequence[Line], *, remarks: str, caption: str, notes: Sequence[str]
) -> Table:
    heads = [head for name in names for head in (words.heading(name), "95 % interval")]
    rows = []
    for line in lines:
        cells = line.cells or (Printed(value="", interval="", sign=""),) * len(names)
        row = [line.label, line.sign, *(text for cell in cells for text in (cell.value, cell.interval))]
        rows.append([*row, line.remark] if remarks else row)
    return Table(
        columns=["", "Unit", *heads, *([remarks] if remarks else [])],
        rows=rows,
        caption=caption,
        align=["left", "left", *("decimal", "left") * len(names), *(["left"] if remarks else [])],
        emphasis={number: "strong" for number, line in enumerate(lines) if not line.cells},
        notes=notes,
    )


def _names(audit: Audit) -> tuple[str, ...]:
    return tuple(point.name for point in audit.points)


def number_of(point: PointAudit, name: str) -> Number | None:
    """Return a result or a mean of a test point by its name, or None."""
    return point.numbers.get(name, point.readings.get(name))


def absent(point: PointAudit, name: str) -> str:
    """Return in a word or two why a test point has no such number."""
    if name.startswith("carbon_monoxide_air_free") and point.state:
        return "cannot tell"
    if point.settled is None and (name in point.frame or sources.quantity(name).kind == "result"):
        return "no window"
    return "not tested"


def _cell(point: PointAudit, name: str, system: words.System) -> Printed:
    number = number_of(point, name)
    if number is None:
        return Printed(value=absent(point, name), interval="", sign="")
    return words.printed(number, system)


def _line(audit: Audit, name: str, *, label: str = "", remark: str = "") -> Line:
    system = audit.visit.plan.report.units
    quantity = name.removesuffix("_net").removesuffix("_computed").removesuffix("_instrument")
    return Line(
        label=label or sources.quantity(quantity).label,
        sign=words.sign(quantity, system),
        cells=tuple(_cell(point, name, system) for point in audit.points),
        remark=remark,
    )


def _heading(label: str) -> Line:
    return Line(label=label, sign="", cells=())


def _known(audit: Audit, names: Iterable[str]) -> Iterator[str]:
    """Yield the names that any test point has a number for."""
    return (name for name in names if any(number_of(point, name) is not None for point in audit.points))


# ---------------------------------------------------------------------------- usual ranges and limits


@dataclass(frozen=True, slots=True, kw_only=True)
class Yardstick:
    """What a number is held against, in words, and where that stands."""

    text: str
    citation: Citation | None = None


def yardstick(audit: Audit, quantity: str) -> Yardstick:
    """Return the limit a quantity is judged by, else its usual range, else the nameplate's figure, else nothing."""
    system, appliance = audit.visit.plan.report.units, audit.visit.plan.appliance
    mine = [one for one in audit.judgements if one.subject == quantity and one.role == "limit"]
    low = max((one.limit_low for one in mine if math.isfinite(one.limit_low)), default=math.nan)
    high = min((one.limit_high for one in mine if math.isfinite(one.limit_high)), default=math.nan)
    if math.isfinite(low) or math.isfinite(high):
        return Yardstick(text=words.span(quantity, low, high, system), citation=mine[0].citation)
    if any(one.subject == quantity and one.outcome == "no limit known" for one in audit.judgements):
        return Yardstick(text="no limit known")
    usual = safety.usual_range(quantity, appliance_type=appliance.type, condensing=appliance.condensing)
    if usual is not None:
        text = words.span(quantity, usual.low, usual.high, system)
        return Yardstick(text=f"usually {text}", citation=usual.citation)
    if quantity == "heat_input_clocked" and appliance.rated_input is not None:
        return Yardstick(text=f"nameplate {words.bound(quantity, appliance.rated_input, system)}")
    return Yardstick(text="")


def _footnoted(yardsticks: Sequence[Yardstick]) -> tuple[list[str], list[str]]:
    """Return the yardsticks with a letter for each source, and the sources by letter."""
    letters: dict[str, str] = {}
    texts = []
    for one in yardsticks:
        mark = ""
        if one.citation is not None:
            named = words.short_source(one.citation)
            mark = f" ({letters.setdefault(named, string.ascii_lowercase[len(letters) % 26])})"
        texts.append(one.text + mark)
    return texts, [f"({letter}) {named}." for named, letter in letters.items()]


# ---------------------------------------------------------------------------- page one


def facts(audit: Audit) -> Facts:
    """Return what was tested, where, when, by whom, and with what fuel."""
    plan = audit.visit.plan
    kind = safety.appliance_type(plan.appliance.type).label
    named = " ".join(filter(None, (plan.appliance.make, plan.appliance.model)))
    serial = f"serial {plan.appliance.serial}" if plan.appliance.serial else ""
    start = min(point.rows.start for point in audit.points)
    end = max(point.rows.end for point in audit.points)
    zone = plan.visit.time_zone
    when = f"{words.day(plan.visit.date, plan.report.units)}, {words.clock(start, zone)[:5]} to {words.clock(end, zone)[:5]}"
    who = [plan.visit.tested_by, f"license {plan.visit.licence}" if plan.visit.licence else "", plan.visit.organization]
    pairs = [
        ("Appliance", _together(plan.appliance.description or kind, named, serial, plan.appliance.location)),
        ("Where", _together(plan.site.name, plan.site.address)),
        ("When", f"{when} ({zone})"),
        ("Tested by", _together(*who) or "not stated"),
        ("For", plan.visit.client),
        ("Fuel", audit.fuel.name),
        ("Test points", "; ".join(_point_words(audit, point) for point in audit.points)),
    ]
    return Facts([(name, words.brief(text, _BRIEF)) for name, text in pairs if text])


def _together(*parts: str) -> str:
    return "; ".join(part for part in parts if part)


def _point_words(audit: Audit, point: PointAudit) -> str:
    zone = audit.visit.plan.visit.time_zone
    return f"{point.name}, {words.clock(point.rows.start, zone)[:5]} to {words.clock(point.rows.end, zone)[:5]}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Judgements that say the same of one or several test points."""

    judgements: tuple[Judgement, ...]

    @property
    def first(self) -> Judgement:
        """The one that speaks for all."""
        return self.judgements[0]

    @property
    def test_points(self) -> tuple[str, ...]:
        """The test points it was found at."""
        return tuple(dict.fromkeys(one.test_point for one in self.judgements if one.test_point))


def findings(audit: Audit) -> tuple[Finding, ...]:
    """Return the findings, gravest first, those alike at several test points as one."""
    alike: dict[tuple[str, str, str, bool], list[Judgement]] = {}
    for one in audit.findings:
        alike.setdefault((one.weight, one.headline, one.action, one.put_right), []).append(one)
    return tuple(Finding(judgements=tuple(group)) for group in alike.values())


def headline(finding: Finding) -> str:
    """Return a finding in one line: what, where, and whether it was put right."""
    first = finding.first
    where = f" ({words.joined(finding.test_points)})" if finding.test_points else ""
    since = "; put right, as the test after it shows" if first.put_right else ""
    return f"{first.headline}{where}{since}"


def measured(finding: Finding, system: words.System) -> str:
    """Return the measured numbers of a finding, by test point."""
    seen: dict[str, str] = {}
    for one in finding.judgements:
        if one.measured is not None:
            basis = f", {one.measured.basis}" if one.measured.basis else ""
            seen.setdefault(f"{words.amount(one.measured, system)}{basis}", one.test_point)
    several = len(finding.test_points) > 1
    return "; ".join(f"{point}: {text}" if several and point else text for text, point in seen.items())


def findings_table(audit: Audit) -> Table:
    """Return the findings by weight, one line each with what to do."""
    found = findings(audit)
    system = audit.visit.plan.report.units

    def line(finding: Finding) -> str:
        one = finding.first
        value = words.amount(one.measured, system) if one.measured is not None else ""
        held = words.limit(one, system)
        numbers = _together(value, held and f"{'usually' if _is_usual(one) else 'limit:'} {held}")
        return words.brief(words.sentence(headline(finding)), _BRIEF) + (f" {words.sentence(numbers)}" if numbers else "")

    return Table(
        columns=("Weight", "Finding", "What to do"),
        rows=[(one.first.weight.upper(), line(one), _to_do(one.first)) for one in found],
        caption="Findings, gravest first.",
        align=("left", "left", "left"),
        emphasis={number: one.first.weight for number, one in enumerate(found) if one.first.weight},
    )


def _to_do(one: Judgement) -> str:
    done = one.put_right and one.weight == "note"
    return "Nothing more: put right in this visit. Kept for the record." if done else one.action


def _is_usual(one: Judgement) -> bool:
    return one.rule in safety.usual_ranges()


_HEADLINE = (
    "efficiency_gross",
    "excess_air_oxygen_rule",
    "excess_air",
    _AIR_FREE,
    "flue_temperature",
    "oxygen_dry",
    "oxygen_wet",
    "temperature_rise",
    "heat_input_clocked",
)
_ALWAYS = frozenset({"efficiency_gross", "excess_air_oxygen_rule", "excess_air", _AIR_FREE, "flue_temperature"})
_LABELS = {
    "efficiency_gross": "Steady-state combustion efficiency, gross; flue losses only",
    "carbon_monoxide_air_free_oxygen_rule": "Carbon monoxide, air-free, by the dry-oxygen rule; mean",
    "flue_temperature": "Flue-gas temperature",
    "temperature_rise": "Temperature rise, supply less return",
    "heat_input_clocked": "Heat input by meter, gross",
}


def headline_numbers(audit: Audit) -> Table | Section:
    """Return the numbers of page one, with what they are held against."""
    shown = list(dict.fromkeys(name for name in _HEADLINE if name in _ALWAYS or name in set(_known(audit, _HEADLINE))))
    lines = [_line(audit, name, label=_LABELS.get(name, "")) for name in shown]
    at = shown.index(_AIR_FREE) + 1
    worst = _worst_line(audit)
    if worst is not None:
        lines.insert(at, worst)
        shown.insert(at, _AIR_FREE)
    texts, notes = _footnoted([yardstick(audit, name) for name in shown])
    lines = [replace(line, remark=text) for line, text in zip(lines, texts, strict=True)]
    return side_by_side(_names(audit), lines, remarks="Limit or usual range", notes=notes)


def _worst_line(audit: Audit) -> Line | None:
    """Return the worst air-free carbon monoxide of all rows as a line, where any was read."""
    if all(point.carbon_monoxide is None for point in audit.points):
        return None
    system = audit.visit.plan.report.units
    return Line(
        label="Carbon monoxide, air-free, by the dry-oxygen rule; worst of all rows",
        sign=words.sign(_AIR_FREE, system),
        cells=tuple(
            Printed(value="not tested", interval="", sign="")
            if point.carbon_monoxide is None
            else words.printed(point.carbon_monoxide.air_free, system)
            for point in audit.points
        ),
    )


# ---------------------------------------------------------------------------- conditions and instruments


def conditions(audit: Audit) -> Facts:
    """Return what the test was made under, and what the nameplate says."""
    plan, system = audit.visit.plan, audit.visit.plan.report.units
    site, sampling = plan.site, plan.sampling

    def entered(quantity: str, value: float | None, *, change: bool = False) -> str:
        return "" if value is None else words.bound(quantity, value, system, change=change)

    pressure = entered("barometric_pressure", site.barometric_pressure)
    shared = [_spot_words(audit, quantity, taken) for quantity, taken in audit.visit.spots.items()]
    pairs = [
        ("Purpose", plan.visit.purpose),
        ("Air at the site", _together(pressure and f"barometric pressure {pressure}", *shared)),
        ("Elevation", _elevation(site.elevation, system)),
        ("Sampling", _together(sampling.port or "sampling port not stated", sampling.position, sampling.notes)),
        ("Nameplate", _nameplate(audit)),
        ("Vent", _together(plan.appliance.vent, f"{plan.appliance.draft} draft" if plan.appliance.draft else "draft not stated")),
        ("Appliance notes", plan.appliance.notes),
        ("Fuel", _fuel(audit)),
        *((f"Before {point.name}", point.changed) for point in plan.test_points),
        *((f"Notes, {point.name}", point.notes) for point in plan.test_points),
        ("Notes", plan.visit.notes),
        *_in_full(audit),
    ]
    return Facts([(words.short_name(name), text) for name, text in pairs if text])


def _in_full(audit: Audit) -> Iterator[tuple[str, str]]:
    """Yield what page one had to shorten."""
    plan = audit.visit.plan
    for name, text in (
        ("Site, in full", plan.site.name),
        ("Address, in full", plan.site.address),
        ("Appliance, in full", plan.appliance.description),
        ("Location, in full", plan.appliance.location),
        ("Client, in full", plan.visit.client),
        ("Tested by, in full", plan.visit.tested_by),
        ("Organization, in full", plan.visit.organization),
    ):
        if len(text) > _BRIEF // 3:
            yield name, text


def _elevation(elevation: float | None, system: words.System) -> str:
    if elevation is None:
        return ""
    feet = units.convert(elevation, "m", "foot", "elevation")
    return f"{feet:,.0f} ft" if system == "US" else f"{elevation:,.0f} m"


def _spot_words(audit: Audit, quantity: str, taken: Sequence[SpotReading]) -> str:
    label = sources.quantity(quantity).label
    values = words.joined(_spot_value(audit, one) for one in taken)
    return f"{label[0].lower()}{label[1:]} {values}"


def _spot_value(audit: Audit, one: SpotReading) -> str:
    text = words.bound(one.quantity, one.value, audit.visit.plan.report.units)
    return f"{'above ' if one.bound == '>' else 'below ' if one.bound == '<' else ''}{text}"


def _nameplate(audit: Audit) -> str:
    plate, system = audit.visit.plan.appliance, audit.visit.plan.report.units

    def figure(name: str, quantity: str, value: float | None) -> str:
        return f"{name} {words.bound(quantity, value, system)}" if value is not None else ""

    rise = plate.temperature_rise
    return _together(
        "condensing" if plate.condensing else "non-condensing",
        figure("input", "heat_input_rated", plate.rated_input) or "input not stated",
        figure("output", "heat_output", plate.rated_output),
        f"temperature rise {words.span('temperature_rise', *rise, system)}" if rise is not None else "",
        figure("manifold pressure", "manifold_pressure", plate.manifold_pressure),
        figure("highest flue temperature", "flue_temperature", plate.maximum_flue_temperature),
    )


_SUBSCRIPTS = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")


def _fuel(audit: Audit) -> str:
    plan, fuel, system = audit.visit.plan, audit.fuel, audit.visit.plan.report.units
    parts = ", ".join(
        f"{name.translate(_SUBSCRIPTS)} {100 * float(share):.2f} %" for name, share in fuel.composition.items()
    )
    heat = plan.fuel.heating_value
    stated = heat is not None and (
        f"gross heating value {words.bound('gross_heating_value_volume', heat, system)}"
        f" ({plan.fuel.heating_value_source or 'source not stated'})"
    )
    origin = plan.fuel.source or (fuel.source if plan.fuel.name else "source not stated")
    return _together(f"{fuel.name}: {parts} by volume ({origin})", stated or "")


def instruments(audit: Audit) -> Table:
    """Return the instruments, their calibration, and their accuracy as stated or assumed."""
    plan = audit.visit.plan
    rows = [
        (
            words.brief(instrument.description, _BRIEF) + (f", serial {instrument.serial}" if instrument.serial else ""),
            instrument.calibrated.isoformat() if instrument.calibrated else "not stated",
            _due(instrument.calibration_due, plan.visit.date),
            words.sentence("; ".join(_accuracies(audit, name))) or "Used for nothing in this audit.",
        )
        for name, instrument in plan.instruments.items()
    ]
    return Table(
        columns=("Instrument", "Calibrated", "Due", "Accuracy as stated"),
        rows=rows,
        caption="Instruments.",
        align=("left",) * 4,
        notes=_unnamed_spots(audit),
    )


def _due(due: object, tested: object) -> str:
    if due is None:
        return "not stated"
    return f"{due}, OVERDUE at the test" if due < tested else str(due)  # type: ignore[operator]


def _used(audit: Audit, instrument: str) -> Iterator[str]:
    """Yield the quantities that an instrument read in this visit."""
    for channel in audit.visit.readings.channels.values():
        if channel.instrument == instrument and channel.origin == "measured":
            yield channel.quantity
    spots = [audit.visit.spots, *(point.rows.spots for point in audit.points)]
    for taken in (one for found in spots for group in found.values() for one in group):
        if taken.instrument == instrument:
            yield taken.quantity


def _accuracies(audit: Audit, instrument: str) -> Iterator[str]:
    system = audit.visit.plan.report.units
    stated_for = dict.fromkeys((*_used(audit, instrument), *audit.visit.plan.instruments[instrument].accuracy))
    for quantity in stated_for:
        stated = accuracy_of(audit.visit.plan, quantity, instrument=instrument)
        name = words.in_a_sentence(quantity)
        if stated.stated:
            yield f"{name} {words.accuracy(stated, quantity, system)}"
        else:
            yield f"{name}: accuracy not stated{_assumed_accuracy(audit, quantity)}"


def _assumed_accuracy(audit: Audit, quantity: str) -> str:
    for point in audit.points:
        mean = point.settled.means.get(quantity) if point.settled is not None else None
        if mean is not None and not mean.accuracy_stated and mean.bias > 0:
            half = words.half_width(quantity, mean.bias, audit.visit.plan.report.units)
            return f", assumed ± {half}"
    return ": assumed"


def _unnamed_spots(audit: Audit) -> list[str]:
    spots = [audit.visit.spots, *(point.rows.spots for point in audit.points)]
    unnamed = dict.fromkeys(
        one.quantity for found in spots for group in found.values() for one in group if not one.instrument
    )
    listed = words.joined(words.in_a_sentence(name) for name in unnamed)
    return [f"Read by hand with an instrument that was not named, accuracy not stated: {listed}."] if unnamed else []


# ---------------------------------------------------------------------------- stabilization


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A stretch of a test point as figure and table name it: a letter, or "window"."""

    letter: str
    test_point: str
    part: Stretch | Window


def marks(points: Sequence[PointAudit]) -> tuple[Mark, ...]:
    """Return every stretch of the test points in order of time: refused ones by letter, windows by name."""
    made = []
    count = 0
    for point in points:
        steady = point.steadiness
        parts: list[Stretch | Window] = [*steady.refused, *([steady.window] if steady.window else [])]
        for part in sorted(parts, key=lambda one: one.start):
            letter = "window" if isinstance(part, Window) else _letter(count)
            count += isinstance(part, Stretch)
            made.append(Mark(letter=letter, test_point=point.name, part=part))
    return tuple(made)


def _letter(number: int) -> str:
    rest, place = divmod(number, 26)
    return (_letter(rest - 1) if rest else "") + string.ascii_lowercase[place]


def stretches(audit: Audit, points: Sequence[PointAudit]) -> Table:
    """Return every stretch of the test points with its rows and why it was taken or refused; the rows add up."""
    zone = audit.visit.plan.visit.time_zone
    rows: list[tuple[str, ...]] = []
    emphasis = {}
    for point in points:
        for mark in marks(points):
            if mark.test_point != point.name:
                continue
            if mark.letter == "window":
                emphasis[len(rows)] = "strong"
            rows.append((mark.letter, point.name, *_when(mark.part, zone), f"{mark.part.rows:,}", _why(mark.part)))
        emphasis[len(rows)] = "quiet"
        rows.append(("", point.name, "", "", f"{point.steadiness.rows:,}", "All rows of the test point"))
    return Table(
        columns=("", "Test point", "From", "To", "Rows", "What it is, and why it was taken or refused"),
        rows=rows,
        caption="Every row of each test point: the window and the stretches that were refused.",
        align=("left", "left", "left", "left", "decimal", "left"),
        emphasis=emphasis,  # type: ignore[arg-type]
    )


def _when(part: Stretch | Window, zone: str) -> tuple[str, str]:
    return words.clock(part.start, zone), words.clock(part.end, zone)


def _why(part: Stretch | Window) -> str:
    if isinstance(part, Stretch):
        told = part.reason.startswith(part.phase) or part.phase in part.reason
        return words.sentence(part.reason if told else f"{part.phase}: {part.reason}")
    if part.chosen_by == "person":
        return words.sentence(f"window chosen by a person: {part.because}")
    return words.sentence(f"steady window, found by the rules: {part.because}")


def window_lines(audit: Audit, point: PointAudit) -> Table | None:
    """Return the lines that accept the least bad window of a test point, where one is on offer."""
    offered = point.steadiness.least_bad
    if offered is None:
        return None
    start, end = (_moment(audit, moment) for moment in (offered.start, offered.end))
    lines = ["[test_points.window]", f"start = {start}", f"end = {end}", 'because = "why a person accepts it"']
    return Table(
        columns=(f"To accept it: lines for visit.toml, below test point {words.short_name(point.name)}",),
        rows=[(line,) for line in lines],
        align=("left",),
    )


def _moment(audit: Audit, moment: pd.Timestamp) -> str:
    local = moment.tz_convert(audit.visit.plan.visit.time_zone).tz_localize(None)
    same_day = local.date() == audit.visit.plan.visit.date
    return str(local.time().isoformat() if same_day else local.isoformat())


# ---------------------------------------------------------------------------- flue gas

_MEASURED = (
    "oxygen_dry",
    "oxygen_wet",
    "carbon_dioxide_dry",
    "carbon_monoxide_dry",
    "nitric_oxide_dry",
    "nitrogen_dioxide_dry",
    "nitrogen_oxides_dry",
    "hydrogen_dry",
    "methane_dry",
    "sulfur_dioxide_dry",
    "flue_temperature",
    "air_temperature",
)
_COMPUTED = (
    "excess_air_oxygen_rule",
    "excess_air",
    "air_ratio",
    _AIR_FREE,
    "carbon_monoxide_air_free",
    "carbon_dioxide_dry_computed",
    "air_water_fraction",
    "water_dew_point",
    "acid_dew_point",
    "nox_reference_oxygen",
    "nox_per_heat_input",
)


def flue_gas(audit: Audit) -> Table | Section:
    """Return what was measured in the flue, the worst rows, and what is computed from it, both rules named."""
    read = set(_known(audit, _MEASURED))
    wanted = [name for name in _MEASURED if name in read or name in {"carbon_monoxide_dry", "flue_temperature"}]
    if not read & set(_OXYGEN):
        wanted.insert(0, "oxygen_dry")
    lines = [_heading("Measured: mean over the window"), *(_line(audit, name) for name in wanted)]
    worst = _worst_line(audit)
    if worst is not None:
        lines += [_heading("Worst of all rows, used or refused"), _worst_dry(audit), worst]
    lines += [_heading("Computed from the means"), *(_line(audit, name) for name in _known(audit, _COMPUTED))]
    flame = _flame_line(audit)
    return side_by_side(
        _names(audit),
        [*lines, *([flame] if flame else [])],
        caption="Flue gas.",
        notes=_worst_notes(audit),
    )


def _worst_dry(audit: Audit) -> Line:
    system = audit.visit.plan.report.units
    return Line(
        label=sources.quantity("carbon_monoxide_dry").label,
        sign=words.sign("carbon_monoxide_dry", system),
        cells=tuple(
            Printed(value="not tested", interval="", sign="")
            if point.carbon_monoxide is None
            else words.printed(point.carbon_monoxide.dry, system)
            for point in audit.points
        ),
    )


def _worst_notes(audit: Audit) -> list[str]:
    """Return when carbon monoxide was worst, and how many rows could only be told in part."""
    zone = audit.visit.plan.visit.time_zone
    notes = []
    for point in audit.points:
        rows = point.carbon_monoxide
        if rows is None:
            continue
        text = f"{point.name}: worst air-free value at {words.clock(rows.when, zone)}, of {rows.rows:,} rows with a reading"
        if rows.over_range:
            text += f"; {rows.over_range:,} rows above the range of the instrument, so at least so much"
        if rows.dilute:
            text += f"; {rows.dilute:,} rows too dilute for an air-free value, judged as measured"
        notes.append(words.sentence(text))
    return notes


def _flame_line(audit: Audit) -> Line | None:
    if all(point.flame is None for point in audit.points):
        return None
    system = audit.visit.plan.report.units
    name = "flame_temperature_adiabatic"
    cells = []
    for point in audit.points:
        if point.flame is None:
            cells.append(Printed(value=absent(point, name), interval="", sign=""))
        else:
            number = Number(quantity=name, value=float(point.flame.temperature), origin="computed")
            cells.append(words.printed(number, system))
    label = f"{sources.quantity(name).label}, at equilibrium, with this excess air"
    return Line(label=label, sign=words.sign(name, system), cells=tuple(cells))


def instrument_values(audit: Audit) -> Table | Section | None:
    """Return what an instrument computed inside itself, or None; shown apart and used for nothing."""
    names = dict.fromkeys(name for point in audit.points for name in point.readings if name.endswith("_instrument"))
    if not names:
        return None
    lines = [_line(audit, name) for name in names]
    return side_by_side(_names(audit), lines, caption="Computed inside the instrument, not used.")


# ---------------------------------------------------------------------------- where the heat goes


def burned_points(audit: Audit) -> tuple[PointAudit, ...]:
    """Return the test points whose losses are known."""
    return tuple(point for point in audit.points if "efficiency_gross" in point.numbers)


def losses(audit: Audit) -> Table | Section:
    """Return where the heat goes as shares of the gross and of the net heat input; each column adds to 100."""
    points = burned_points(audit)
    tables = [_losses(audit, points[start : start + 2]) for start in range(0, len(points), 2)]
    return tables[0] if len(tables) == 1 else Section("", tables)


def _losses(audit: Audit, points: Sequence[PointAudit]) -> Table:
    system = audit.visit.plan.report.units

    def row(name: str, *, label: str, flip: bool = False) -> list[str]:
        cells = [label]
        net = "efficiency_net" if name == "efficiency_gross" else f"{name}_net"
        for point in points:
            gross = _share(point.numbers[name], system, flip=flip)
            cells += [gross.value, gross.interval, _share(point.numbers[net], system, flip=flip).value]
        return cells

    shown = [name for name in LOSSES if any(point.numbers[name].value != 0 for point in points)]
    credits = [
        name for name in CREDITS if any(name in point.numbers and point.numbers[name].value != 0 for point in points)
    ]
    rows = [row(name, label=sources.quantity(name).label) for name in shown]
    warm = "77 °F" if system == "US" else "25 °C"
    rows += [row(name, label=f"{CREDITS[name]}, against {warm}", flip=True) for name in credits]
    rows.append(row("efficiency_gross", label="Left for use: combustion efficiency"))
    rows.append(["Heat input", *("100.00", "", "100.00") * len(points)])
    heads = [head for point in points for head in (f"{words.heading(point.name)}, % of gross", "95 % interval", "% of net")]
    return Table(
        columns=["", *heads],
        rows=rows,
        caption=f"Where the heat goes, as shares of the heat input. Flue losses only, heat counted from {warm}.",
        align=["left", *("decimal", "left", "decimal") * len(points)],
        emphasis={len(rows) - 2: "strong", len(rows) - 1: "total"},
        notes=_casing_notes(points, system),
    )


def _share(number: Number, system: words.System, *, flip: bool) -> Printed:
    if flip:
        number = replace(number, value=-number.value, low=-number.high, high=-number.low)
    return words.printed(replace(number, quantity="loss_dry_gas"), system)


def _casing_notes(points: Sequence[PointAudit], system: words.System) -> list[str]:
    lost = [point for point in points if point.numbers.get("loss_casing") and point.numbers["loss_casing"].value > 0]
    return [
        words.sentence(
            f"{point.name}: the casing takes a further {words.amount(point.numbers['loss_casing'], system)} of the gross input, as entered"
        )
        for point in lost
    ] or ["No casing loss was entered: what the casing loses is not in this table."]


# ---------------------------------------------------------------------------- changes

_COMPARED = (
    "efficiency_gross",
    "excess_air_oxygen_rule",
    "excess_air",
    _AIR_FREE,
    "carbon_monoxide_air_free",
    "flue_temperature",
    "water_dew_point",
    "dew_point_margin",
    "condensed_fraction",
    "temperature_rise",
    "heat_input_clocked",
    "heat_input_ratio",
)


def change(audit: Audit, before: str, after: str) -> Table:
    """Return how the results changed from one test point to the one that replaces it."""
    system = audit.visit.plan.report.units
    found = audit.differences[before, after]
    points = {point.name: point for point in audit.points}
    rows, quiet = [], {}
    for name in (name for name in _COMPARED if name in found):
        difference = words.printed(found[name], system, change=True)
        held = [_cell(points[point], name, system).value for point in (before, after)]
        if found[name].low <= 0 <= found[name].high:
            quiet[len(rows)] = "quiet"
        rows.append((sources.quantity(found[name].quantity).label, *held, difference.value, difference.interval, difference.sign))
    return Table(
        columns=("", words.heading(before), words.heading(after), "Difference", "95 % interval", "Unit"),
        rows=rows,
        caption=f"{words.heading(after)} less {words.short_name(before)}.",
        align=("left", "decimal", "decimal", "decimal", "left", "left"),
        emphasis=quiet,  # type: ignore[arg-type]
        notes=[
            "An error that an instrument makes at both test points alike drops out of the difference.",
            *(["Printed in grey: the interval holds zero, so no change can be told."] if quiet else []),
            "Points are percentage points." if any(row[-1] == "points" for row in rows) else "",
        ],
    )


# ---------------------------------------------------------------------------- firing rate, air or water, draft

_MECHANICAL = (
    "heat_input_clocked",
    "heat_input_ratio",
    "heat_input_manifold",
    "heat_output",
    "gas_inlet_pressure",
    "gas_lockup_pressure",
    "manifold_pressure",
    "burner_box_pressure",
    "meter_pressure",
    "meter_temperature",
    "gas_volume_flow",
    "supply_temperature",
    "return_temperature",
    "temperature_rise",
    "supply_static_pressure",
    "return_static_pressure",
    "external_static_pressure",
    "air_volume_flow",
    "water_volume_flow",
    "electric_power",
    "draft_hood",
    "draft_breech",
    "draft_overfire",
    "draft_inducer",
    "zone_pressure",
    "carbon_monoxide_ambient",
    "carbon_monoxide_supply",
    "carbon_monoxide_return",
    "firing_rate_setting",
)


def rates(audit: Audit) -> Table | Section:
    """Return firing rate, pressures, air or water side and room readings; what the type usually needs and lacks."""
    yardsticks = []
    lines = []
    for name in _MECHANICAL:
        if not any(number_of(point, name) is not None or name in point.spots for point in audit.points):
            continue
        lines.append(_spot_line(audit, name))
        yardsticks.append(_plate_or_limit(audit, name))
    for label in _usual_but_missing(audit):
        cells = (Printed(value="not tested", interval="", sign=""),) * len(audit.points)
        lines.append(Line(label=label, sign="", cells=cells))
        yardsticks.append(Yardstick(text=""))
    texts, notes = _footnoted(yardsticks)
    lines = [replace(line, remark=text) for line, text in zip(lines, texts, strict=True)]
    return side_by_side(
        _names(audit),
        lines,
        remarks="Nameplate or limit",
        caption="Firing rate, pressures, air or water side, and the room.",
        notes=[*notes, *_clockings(audit)],
    )


def _plate_or_limit(audit: Audit, name: str) -> Yardstick:
    plate = audit.visit.plan.appliance.manifold_pressure
    if name == "manifold_pressure" and plate is not None:
        return Yardstick(text=f"nameplate {words.bound(name, plate, audit.visit.plan.report.units)}")
    return yardstick(audit, name)


def _spot_line(audit: Audit, name: str) -> Line:
    system = audit.visit.plan.report.units

    def cell(point: PointAudit) -> Printed:
        taken = point.spots.get(name, ())
        if len(taken) > 1 or any(one.bound for one in taken):
            return Printed(value=_range_of(audit, taken), interval=f"{len(taken)} read by hand", sign="")
        if taken and name not in point.readings:
            return Printed(value=_bare(audit, taken[0]), interval="", sign="")
        return _cell(point, name, system)

    return Line(
        label=sources.quantity(name).label,
        sign=words.sign(name, system),
        cells=tuple(cell(point) for point in audit.points),
    )


def _bare(audit: Audit, one: SpotReading) -> str:
    return _spot_value(audit, one).removesuffix(words.sign(one.quantity, audit.visit.plan.report.units)).strip()


def _range_of(audit: Audit, taken: Sequence[SpotReading]) -> str:
    ends = [_bare(audit, extreme(taken, key=lambda one: one.value)) for extreme in (min, max)]
    return ends[1] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _usual_but_missing(audit: Audit) -> Iterator[str]:
    """Yield the readings that this type of appliance is usually tested by and that no test point has."""
    appliance = audit.visit.plan.appliance
    kind = {"condensing": appliance.condensing, "draft": appliance.draft}
    wanted = (
        *safety.required_tests(appliance.type, **kind),  # type: ignore[arg-type]
        *safety.recommended_tests(appliance.type, **kind),  # type: ignore[arg-type]
    )
    for test in wanted:
        mechanical = [name for name in test.any_of if name in _MECHANICAL]
        if mechanical and not any(
            number_of(point, name) is not None or name in point.spots for point in audit.points for name in mechanical
        ):
            yield test.label


def _clockings(audit: Audit) -> Iterator[str]:
    """Yield how the meter was clocked, by test point."""
    system = audit.visit.plan.report.units
    for point in audit.visit.plan.test_points:
        meter = point.meter
        if meter is None:
            continue
        tries = words.joined(f"{seconds:g}" for seconds in meter.seconds)
        volume = words.bound("gas_volume", meter.dial * meter.revolutions, system)
        at = [
            words.bound("meter_pressure", meter.pressure, system) if meter.pressure is not None else "pressure not stated",
            words.bound("meter_temperature", meter.temperature, system)
            if meter.temperature is not None
            else "temperature not stated",
        ]
        compensated = "the meter compensates" if meter.compensated else "the meter does not compensate"
        others = {True: "other gas loads were off", False: "other gas loads were ON", None: "whether other gas loads were off was not recorded"}
        yield words.sentence(
            f"{point.name}, meter clocked: {volume} in {tries} s; at the meter {words.joined(at)}; {compensated}; "
            f"{others[meter.other_loads_off]}"
        )


# ---------------------------------------------------------------------------- judgements


def reasoning(audit: Audit, finding: Finding) -> Facts:
    """Return one finding in full: measured, limit, source, what it means, what to do, who may do it."""
    system = audit.visit.plan.report.units
    one = finding.first
    held = words.limit(one, system)
    name = "Usual range" if _is_usual(one) else "Limit" if one.role == "limit" else "Trigger"
    judged = words.sentence(words.outcome(one) + ("; put right, as the test after it shows" if one.put_right else ""))
    pairs = [
        ("Measured", words.sentence(measured(finding, system))),
        (name, words.sentence(_together(held, one.conditions)) if held else ""),
        ("Judged", judged),
        ("Source", words.source(one.citation) if one.citation is not None else ""),
        ("It means", one.meaning),
        ("What to do", one.action),
        ("Who may", words.sentence(one.who)),
    ]
    return Facts([(title, text) for title, text in pairs if text])


def notes(audit: Audit, found: Sequence[Finding]) -> Table:
    """Return the findings that are notes, one row each with all that belongs to it."""
    system = audit.visit.plan.report.units

    def held(one: Judgement) -> str:
        text = words.limit(one, system)
        where = words.source(one.citation) if one.citation is not None else ""
        return " ".join(filter(None, (words.sentence(f"{'usually ' if _is_usual(one) else ''}{text}"), where))) or "–"

    return Table(
        columns=("Note", "Measured", "Held against", "It means; what to do; who may"),
        rows=[
            (
                words.sentence(headline(one)),
                words.sentence(measured(one, system)) or "–",
                held(one.first),
                " ".join((one.first.meaning, _to_do(one.first), words.sentence(one.first.who))).strip(),
            )
            for one in found
        ],
        caption="Findings that are notes.",
        align=("left",) * 4,
    )


def judged_within(audit: Audit) -> Table | Paragraph:
    """Return every measured quantity that was held against a limit and raised no finding."""
    system = audit.visit.plan.report.units
    alike: dict[tuple[str, str, str], list[Judgement]] = {}
    for one in audit.judgements:
        if one.measured is not None and not one.weight:
            alike.setdefault((_subject(one), words.limit(one, system), words.outcome(one)), []).append(one)
    rows = [
        (subject, _measured_by_point(group, system), held or "–", outcome, _source_of(group[0]))
        for (subject, held, outcome), group in alike.items()
    ]
    if not rows:
        return Paragraph("Nothing that was measured lies within a limit.")
    return Table(
        columns=("Measured, and no finding", "Value", "Limit or trigger", "Outcome", "Source"),
        rows=rows,
        caption="Held against a limit or a trigger, and no finding.",
        align=("left",) * 5,
        notes=["A trigger raises a finding when it is exceeded; one that is not exceeded proves nothing."],
    )


def checks(audit: Audit) -> Table | Paragraph:
    """Return what was looked at, and what was seen."""
    made = [(safety.checks()[name], record) for name, record in audit.visit.plan.checks.items() if name in safety.checks()]
    if not made:
        return Paragraph("No check by eye was recorded.")
    return Table(
        columns=("Looked for", "Outcome", "Remark"),
        rows=[(check.label, record.result, record.note or "–") for check, record in made],
        caption="Checks by eye.",
        align=("left",) * 3,
        emphasis={number: "strong" for number, (_, record) in enumerate(made) if record.result == "fault seen"},
        notes=["No fault seen is no proof that there is none."],
    )


def _subject(one: Judgement) -> str:
    if one.subject in sources.quantities():
        rise = "; its rise over the burn" if one.measured is not None and one.measured.basis.startswith("rise") else ""
        return sources.quantity(one.subject).label + rise
    return safety.checks()[one.subject].label if one.subject in safety.checks() else one.subject


def _measured_by_point(group: Sequence[Judgement], system: words.System) -> str:
    """Return the numbers of alike judgements by test point, the higher of two."""
    texts: dict[str, Judgement] = {}
    for one in group:
        if one.measured is None:
            continue
        other = texts.get(one.test_point)
        if other is None or other.measured is None or one.measured.value > other.measured.value:
            texts[one.test_point] = one
    return "; ".join(
        f"{point} {words.amount(one.measured, system)}".strip() for point, one in texts.items() if one.measured is not None
    )


def _source_of(one: Judgement) -> str:
    return words.short_source(one.citation) if one.citation is not None else "–"


def not_tested(audit: Audit) -> Table:
    """Return what was not tested, required first, and why it should have been."""
    kinds = ((audit.not_tested, "required"), (audit.not_tested_recommended, "recommended"))
    rows = [
        (test.label, kind, test.because, words.short_source(test.citation)) for tests, kind in kinds for test in tests
    ]
    return Table(
        columns=("Not tested", "", "Why it matters", "Asked for by"),
        rows=rows,
        caption="Not tested.",
        align=("left",) * 4,
        emphasis={number: "strong" for number in range(len(audit.not_tested))},
    )


# ---------------------------------------------------------------------------- uncertainty, assumptions, rows

RANKED = ("efficiency_gross", "excess_air", _AIR_FREE)


def ranked_point(audit: Audit) -> PointAudit | None:
    """Return the last test point whose uncertainty is known."""
    return next((point for point in reversed(audit.points) if any(point.contributions.values())), None)


def assumptions(audit: Audit) -> Table:
    """Return what was taken because the visit did not say, and what it moves."""
    system = audit.visit.plan.report.units

    def row(one: object) -> tuple[str, str, str, str]:
        subject, number, text = one.subject, one.number, one.text  # type: ignore[attr-defined]
        name = number.quantity if number is not None else subject
        label = sources.quantity(name).label if name in sources.quantities() else _plain(subject)
        taken = _together(words.amount(number, system) if number is not None else "", text)
        effect = one.effect  # type: ignore[attr-defined]
        moved = "± " + words.half_width(effect.quantity, effect.value, system) if effect is not None else "–"
        return label, taken or "–", words.sentence(one.why), moved  # type: ignore[attr-defined]

    return Table(
        columns=("Assumed", "Taken", "Why", "Moves gross efficiency by"),
        rows=[row(one) for one in audit.assumptions],
        caption="Assumptions.",
        align=("left",) * 4,
    )


def _plain(subject: str) -> str:
    return words.sentence(subject.replace("_", " ")).rstrip(".")


def account_of_rows(audit: Audit) -> Table:
    """Return what became of every row of each log; read is used plus set aside."""
    rows: list[tuple[str, str, str, str]] = []
    emphasis = {}
    for account in audit.visit.readings.accounts:
        rows.append((account.file, "Rows read", f"{account.read:,}", "; ".join(account.notes)))
        rows.append(("", "used", f"{account.used:,}", ""))
        for part in account.set_aside:
            example = f", such as {part.example}" if part.example else ""
            rows.append(("", "set aside", f"{part.rows:,}", f"{part.reason}, first at row {part.first_row:,}{example}"))
        if len(audit.visit.readings.accounts) > 1:
            emphasis[len(rows) - 2 - len(account.set_aside)] = "strong"
    return Table(
        columns=("Log", "", "Rows", "Why"),
        rows=rows,
        caption="Account of rows: what was read is what was used and what was set aside.",
        align=("left", "left", "decimal", "left"),
        emphasis=emphasis,  # type: ignore[arg-type]
    )


def limit_sources(audit: Audit) -> Table:
    """Return the sources of the limits this visit was judged by, and how far their text was seen."""
    used: dict[tuple[str, str, str, str], dict[str, None]] = {}
    for one in audit.judgements:
        if one.citation is not None and not one.citation.jurisdiction.startswith("none"):
            key = (one.citation.source, one.citation.edition, one.citation.jurisdiction, one.citation.status_words)
            used.setdefault(key, {})[_subject(one)] = None
    return Table(
        columns=("Source", "Edition", "Jurisdiction", "How its text was seen", "Judged by it"),
        rows=[(*key, "; ".join(subjects)) for key, subjects in used.items()],
        caption="Sources of the limits.",
        align=("left",) * 5,
        notes=["Limits marked as chosen here have no authority behind them; the reason stands beside each finding."],
    )


def versions(provenance: Mapping[str, object]) -> str:
    """Return the versions of what computed the audit, in words."""
    libraries = provenance["libraries"]
    assert isinstance(libraries, Mapping)
    return words.joined([*(f"{name} {version}" for name, version in libraries.items()), f"Python {provenance['python']}"])
