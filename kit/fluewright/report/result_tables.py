"""The tables of results: main numbers, flue gas, losses, changes, firing rate and pressures."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from fluewright import sources
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.abreast import (
    NOT_TESTED,
    Line,
    Yardstick,
    absent,
    cell,
    footnoted,
    heading_line,
    known,
    line_of,
    names_of,
    number_of,
    side_by_side,
    yardstick,
)
from fluewright.report.objects import Emphasis, Section, Table
from fluewright.report.words import Printed
from fluewright.sources import limits as safety
from fluewright.studies.audit import Audit, PointAudit
from fluewright.visit import SpotReading

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


# ---------------------------------------------------------------------------- main numbers

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
    shown = list(dict.fromkeys(name for name in _HEADLINE if name in _ALWAYS or name in set(known(audit, _HEADLINE))))
    lines = [line_of(audit, name, label=_LABELS.get(name, "")) for name in shown]
    at = shown.index(_AIR_FREE) + 1
    worst = _worst_line(audit)
    if worst is not None:
        lines.insert(at, worst)
        shown.insert(at, _AIR_FREE)
    texts, notes = footnoted([yardstick(audit, name) for name in shown])
    lines = [replace(line, remark=text) for line, text in zip(lines, texts, strict=True)]
    return side_by_side(names_of(audit), lines, remarks="Limit or usual range", notes=notes)


def _worst_line(audit: Audit) -> Line | None:
    """Return the worst air-free carbon monoxide of all rows as a line, where any was read."""
    if all(point.carbon_monoxide is None for point in audit.points):
        return None
    system = audit.visit.plan.report.units
    return Line(
        label="Carbon monoxide, air-free, by the dry-oxygen rule; worst of all rows",
        sign=words.sign(_AIR_FREE, system),
        cells=tuple(
            NOT_TESTED
            if point.carbon_monoxide is None
            else words.printed(point.carbon_monoxide.air_free, system)
            for point in audit.points
        ),
    )


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
    read = set(known(audit, _MEASURED))
    wanted = [name for name in _MEASURED if name in read or name in {"carbon_monoxide_dry", "flue_temperature"}]
    if not read & set(_OXYGEN):
        wanted.insert(0, "oxygen_dry")
    lines = [heading_line("Measured: mean over the window"), *(line_of(audit, name) for name in wanted)]
    worst = _worst_line(audit)
    if worst is not None:
        lines += [heading_line("Worst of all rows, used or refused"), _worst_dry(audit), worst]
    lines += [heading_line("Computed from the means"), *(line_of(audit, name) for name in known(audit, _COMPUTED))]
    flame = _flame_line(audit)
    inside = dict.fromkeys(name for point in audit.points for name in point.readings if name.endswith("_instrument"))
    apart = [heading_line("Computed inside the instrument, not used"), *(line_of(audit, name) for name in inside)]
    return side_by_side(
        names_of(audit),
        [*lines, *([flame] if flame else []), *(apart if inside else [])],
        caption="Flue gas.",
        notes=_worst_notes(audit),
    )


def _worst_dry(audit: Audit) -> Line:
    system = audit.visit.plan.report.units
    return Line(
        label=sources.quantity("carbon_monoxide_dry").label,
        sign=words.sign("carbon_monoxide_dry", system),
        cells=tuple(
            NOT_TESTED
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
    for name in (name for name in _COMPARED if name in found and _is_something(points, (before, after), name)):
        difference = words.printed(found[name], system, change=True)
        held = [cell(points[point], name, system).value for point in (before, after)]
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
            *(["Points are percentage points."] if any(row[-1] == "points" for row in rows) else []),
        ],
    )


def _is_something(points: Mapping[str, PointAudit], pair: Sequence[str], name: str) -> bool:
    """Return whether a result is other than zero at either test point."""
    numbers = (points[point].numbers.get(name) for point in pair)
    return any(number is not None and number.value != 0 for number in numbers)


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
        cells = (NOT_TESTED,) * len(audit.points)
        lines.append(Line(label=label, sign="", cells=cells))
        yardsticks.append(Yardstick(text=""))
    texts, notes = footnoted(yardsticks)
    lines = [replace(line, remark=text) for line, text in zip(lines, texts, strict=True)]
    return side_by_side(
        names_of(audit),
        lines,
        remarks="Nameplate or limit",
        caption="Firing rate, pressures, air or water side, and the room.",
        notes=[*notes, *_clockings(audit)],
    )


def _plate_or_limit(audit: Audit, name: str) -> Yardstick:
    plate = audit.visit.plan.appliance.manifold_pressure
    if name == "manifold_pressure" and plate is not None:
        return Yardstick(text=f"nameplate {words.bare(name, plate, audit.visit.plan.report.units)}")
    return yardstick(audit, name)


def _spot_line(audit: Audit, name: str) -> Line:
    system = audit.visit.plan.report.units

    def cell(point: PointAudit) -> Printed:
        taken = point.spots.get(name, ())
        if len(taken) > 1 or any(one.bound for one in taken):
            return Printed(value=_range_of(audit, taken), interval=f"{len(taken)} read by hand", sign="")
        if taken and name not in point.readings:
            return Printed(value=_bare(audit, taken[0]), interval="", sign="")
        return cell(point, name, system)

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


