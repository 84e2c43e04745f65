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
    nameplate,
    names_of,
    number_of,
    quantity_of,
    side_by_side,
    yardstick,
)
from fluewright.report.objects import Emphasis, Section, Table
from fluewright.report.words import Printed
from fluewright.sources import limits as safety
from fluewright.steady import DILUTION
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.numbers import Contribution
from fluewright.visit import SpotReading

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
_ALWAYS = frozenset(
    {"efficiency_gross", "excess_air_oxygen_rule", "excess_air", _AIR_FREE, "flue_temperature"}
)
_WORST = "Carbon monoxide, air-free, by the dry-oxygen rule; worst of all rows"
_LABELS = {
    "efficiency_gross": "Steady-state combustion efficiency, gross; flue losses only",
    "carbon_monoxide_air_free_oxygen_rule": "Carbon monoxide, air-free, by the dry-oxygen rule; mean",
    "flue_temperature": "Flue-gas temperature",
    "temperature_rise": "Temperature rise, supply less return",
    "heat_input_clocked": "Heat input by meter, gross",
}


def headline_numbers(audit: Audit) -> Table | Section:
    """Return the numbers of page one, with what they are held against."""
    settled = any(point.settled is not None for point in audit.points)
    read = set(known(audit, _HEADLINE))
    shown = [name for name in _HEADLINE if name in read or (settled and name in _ALWAYS)]
    lines = [line_of(audit, name, label=_LABELS.get(name, "")) for name in shown]
    if _monoxide_was_read(audit):
        at = shown.index(_AIR_FREE) + 1 if _AIR_FREE in shown else 0
        lines.insert(at, _worst_line(audit, _AIR_FREE, label=_WORST))
        shown.insert(at, _AIR_FREE)
    texts, notes = footnoted([yardstick(audit, name) for name in shown])
    lines = [replace(line, remark=text) for line, text in zip(lines, texts, strict=True)]
    if not settled:
        notes.append("No steady window: efficiency, excess air and the other means were not formed.")
    notes += [
        words.sentence(f"{point.name}, cannot tell: {point.state}") for point in audit.points if point.state
    ]
    return side_by_side(names_of(audit), lines, remarks="Limit or usual range", notes=notes)


def _worst_line(audit: Audit, name: str, *, label: str) -> Line:
    """Return the worst carbon monoxide of all rows, air-free or as measured."""
    system = audit.visit.plan.report.units
    found = [point.carbon_monoxide for point in audit.points]
    worst = [None if one is None else one.air_free if name == _AIR_FREE else one.dry for one in found]
    cells = tuple(NOT_TESTED if number is None else words.printed(number, system) for number in worst)
    return Line(label=label, sign=words.sign(name, system), cells=cells)


def _monoxide_was_read(audit: Audit) -> bool:
    return any(point.carbon_monoxide is not None for point in audit.points)


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
    _AIR_FREE,
    "carbon_monoxide_air_free",
    "carbon_dioxide_dry_computed",
    "carbon_dioxide_difference",
    "air_water_fraction",
    "water_dew_point",
    "acid_dew_point",
    "nox_reference_oxygen",
    "nox_per_heat_input",
)


def flue_gas(audit: Audit) -> Table | Section:
    """Return what was measured in the flue, the worst rows, and what is computed from it, both rules named."""
    read = set(known(audit, _MEASURED))
    wanted = [
        name for name in _MEASURED if name in read or name in {"carbon_monoxide_dry", "flue_temperature"}
    ]
    if not read & set(DILUTION):
        wanted.insert(0, "oxygen_dry")
    inside = dict.fromkeys(
        name for point in audit.points for name in point.readings if name.endswith("_instrument")
    )
    worst = [
        _worst_line(audit, name, label=sources.quantity(name).label)
        for name in ("carbon_monoxide_dry", _AIR_FREE)
        if _monoxide_was_read(audit)
    ]
    means = [line_of(audit, name) for name in wanted]
    inner = [line_of(audit, name) for name in inside]
    flame = _flame_line(audit)
    computed = [*(line_of(audit, name) for name in known(audit, _COMPUTED)), *([flame] if flame else [])]
    measured = _grouped({"Mean over the window": means, "Worst of all rows, used or refused": worst})
    formed = _grouped({"From the means": computed, "Computed inside the instrument, not used": inner})
    names = names_of(audit)
    tables = [side_by_side(names, measured, caption="Flue gas, measured.", notes=_worst_notes(audit))]
    if formed:
        tables.append(side_by_side(names, formed, caption="Flue gas, computed."))
    return Section("", tables)


def _grouped(groups: Mapping[str, Sequence[Line]]) -> list[Line]:
    """Return the lines with a heading over each group that has any."""
    return [line for head, lines in groups.items() if lines for line in (heading_line(head), *lines)]


def _worst_notes(audit: Audit) -> list[str]:
    """Return when carbon monoxide was worst, and how many rows could only be told in part."""
    zone = audit.visit.plan.visit.time_zone
    notes = []
    for point in audit.points:
        rows = point.carbon_monoxide
        if rows is None:
            continue
        when = words.clock(rows.when, zone)
        text = f"{point.name}: worst air-free value at {when}, of {rows.rows:,} rows with a reading"
        if rows.over_range:
            text += f"; {rows.over_range:,} rows above the range of the instrument, so at least so much"
        if rows.dilute:
            text += f"; {rows.dilute:,} rows too dilute for an air-free value, judged as measured"
        if rows.unread:
            text += f"; {rows.unread:,} rows whose dilution was not read, judged as measured"
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
        name
        for name in CREDITS
        if any(name in point.numbers and point.numbers[name].value != 0 for point in points)
    ]
    rows = [row(name, label=sources.quantity(name).label) for name in shown]
    warm = "77 °F" if system == "US" else "25 °C"
    rows += [row(name, label=f"{CREDITS[name]}, against {warm}", flip=True) for name in credits]
    rows.append(row("efficiency_gross", label="Left for use: combustion efficiency"))
    rows.append(["Heat input", *("100.00", "", "100.00") * len(points)])
    heads = (
        head
        for point in points
        for head in (f"{words.heading(point.name)}, % of gross", "95 % interval", "% of net")
    )
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
    lost = [(point.name, point.numbers["loss_casing"]) for point in points if "loss_casing" in point.numbers]
    told = [
        words.sentence(
            f"{name}: the casing takes a further {words.amount(loss, system)} of the gross input, as entered"
        )
        for name, loss in lost
        if loss.value > 0
    ]
    return told or ["No casing loss was entered: what the casing loses is not in this table."]


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
    rows: list[tuple[str, ...]] = []
    quiet: dict[int, Emphasis] = {}
    for name in (
        name for name in _COMPARED if name in found and _is_something(points, (before, after), name)
    ):
        difference = words.printed(found[name], system, change=True)
        held = [cell(points[point], name, system).value for point in (before, after)]
        if found[name].low <= 0 <= found[name].high:
            quiet[len(rows)] = "quiet"
        label = sources.quantity(found[name].quantity).label
        rows.append((label, *held, difference.value, difference.interval, difference.sign))
    return Table(
        columns=("", words.heading(before), words.heading(after), "Difference", "95 % interval", "Unit"),
        rows=rows,
        caption=f"{words.heading(after)} less {words.short_name(before)}.",
        align=("left", "decimal", "decimal", "decimal", "left", "left"),
        emphasis=quiet,
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

_FIRING = (
    "firing_rate_setting",
    "heat_input_clocked",
    "heat_input_ratio",
    "heat_input_manifold",
    "heat_input_clock_to_manifold",
    "gas_volume_flow",
    "gas_inlet_pressure",
    "gas_lockup_pressure",
    "manifold_pressure",
    "manifold_pressure_target",
    "orifice_diameter",
    "burner_box_pressure",
    "flame_current",
    "oxygen_intake",
    "carbon_dioxide_intake",
    "meter_pressure",
    "meter_temperature",
)
_MOVING = (
    "supply_temperature",
    "return_temperature",
    "temperature_rise",
    "return_dew_point_margin",
    "air_volume_flow",
    "air_volume_flow_computed",
    "airflow_per_heating_capacity",
    "airflow_per_cooling_capacity",
    "water_volume_flow",
    "heat_output",
    "heat_output_by_losses",
    "efficiency_thermal_gross",
    "electric_power",
    "electricity_per_heat",
    "blower_air_power",
    "blower_efficiency",
    "supply_static_pressure",
    "return_static_pressure",
    "external_static_pressure",
    "draft_theoretical",
    "draft_to_theoretical",
    "draft_hood",
    "draft_breech",
    "draft_overfire",
    "draft_inducer",
    "zone_pressure",
    "carbon_monoxide_ambient",
    "carbon_monoxide_ambient_rise",
    "carbon_monoxide_supply",
    "carbon_monoxide_return",
)
_TARGET_NOTE = (
    "The manifold pressure for the rated input is what a person qualified for gas valves would consider, after the "
    "maker's instructions, and only where meter and manifold pressure agree.",
)
_ROOM_NOTE = ("Carbon monoxide in room, supply and return air is the worst reading.",)


def rates(audit: Audit) -> Section:
    """Return firing rate, pressures, air or water side and room readings; what the type usually needs and lacks."""
    firing = [name for name in _FIRING if any(_was_read(point, name) for point in audit.points)]
    moving = [name for name in _MOVING if any(_was_read(point, name) for point in audit.points)]
    texts, notes = footnoted([_plate_or_limit(audit, name) for name in (*firing, *moving)])
    table = side_by_side(
        names_of(audit),
        [
            heading_line("Gas and firing rate"),
            *_held(audit, firing, texts[: len(firing)], _missing(audit, _FIRING)),
            heading_line("Air or water side, draft, and the room"),
            *_held(audit, moving, texts[len(firing) :], _missing(audit, _MOVING)),
        ],
        remarks="Nameplate or limit",
        caption="Gas and firing rate, air or water side, draft, and the room.",
        notes=[
            *notes,
            *(_TARGET_NOTE if "manifold_pressure_target" in firing else ()),
            *_ROOM_NOTE,
            *_clockings(audit),
        ],
    )
    return Section("", [table])


def _held(audit: Audit, read: Sequence[str], texts: Sequence[str], missing: Sequence[str]) -> Iterator[Line]:
    """Yield readings with the nameplate's figure or limit, and what was not tested below them."""
    for name, text in zip(read, texts, strict=True):
        yield replace(_spot_line(audit, name), remark=text)
    for label in missing:
        yield Line(label=label, sign="", cells=(NOT_TESTED,) * len(audit.points))


def _plate_or_limit(audit: Audit, name: str) -> Yardstick:
    orifices = audit.visit.plan.appliance.orifices
    if name == "orifice_diameter" and orifices is not None:
        return Yardstick(text=f"entered {words.brief(orifices.size, 20)}")
    plate = nameplate(audit, name, name) if name == "manifold_pressure" else Yardstick(text="")
    return plate if plate.text else yardstick(audit, name)


_BREATHED = frozenset({"carbon_monoxide_ambient", "carbon_monoxide_supply", "carbon_monoxide_return"})


def _spot_line(audit: Audit, name: str) -> Line:
    system = audit.visit.plan.report.units

    def one(point: PointAudit) -> Printed:
        taken = point.spots.get(name, ())
        worst = _worst_judged(audit, point, name) if name in _BREATHED else None
        if worst is not None:
            return words.printed(worst, system)
        if (len(taken) > 1 and name not in point.readings) or any(reading.bound for reading in taken):
            return Printed(value=_range_of(audit, taken), interval=f"{len(taken)} read by hand", sign="")
        if taken and name not in point.readings:
            return Printed(value=_bare(audit, taken[0]), interval="", sign="")
        return cell(point, name, system)

    quantity = quantity_of(name)
    return Line(
        label=sources.quantity(quantity).label + (", inferred" if name != quantity else ""),
        sign=words.sign(quantity, system),
        cells=tuple(one(point) for point in audit.points),
    )


def _worst_judged(audit: Audit, point: PointAudit, name: str) -> Number | None:
    """Return the greatest reading of a quantity that was judged at a test point."""
    read = (one.measured for one in audit.judgements if one.test_point == point.name and one.role == "limit")
    mine = [number for number in read if number is not None and number.quantity == name]
    return max(mine, key=lambda number: number.value, default=None)


def _was_read(point: PointAudit, name: str) -> bool:
    logged = name in point.frame and bool(point.frame[name].notna().any())
    return logged or name in point.spots or number_of(point, name) is not None


def _bare(audit: Audit, one: SpotReading) -> str:
    system = audit.visit.plan.report.units
    return words.spot(one, system).removesuffix(words.sign(one.quantity, system)).strip()


def _range_of(audit: Audit, taken: Sequence[SpotReading]) -> str:
    ends = [_bare(audit, extreme(taken, key=lambda one: one.value)) for extreme in (min, max)]
    return ends[1] if ends[0] == ends[1] else f"{ends[0]} to {ends[1]}"


def _missing(audit: Audit, names: Sequence[str]) -> list[str]:
    """Return the tests by any of `names` that this type of appliance usually gets and that no test point has."""
    appliance = audit.visit.plan.appliance
    wanted = [
        test
        for tests in (safety.required_tests, safety.recommended_tests)
        for test in tests(appliance.type, condensing=appliance.condensing, draft=appliance.draft)
    ]
    return [
        test.label
        for test in wanted
        if (mine := set(test.any_of).intersection(names))
        and not any(_was_read(point, name) for point in audit.points for name in mine)
    ]


_OTHER_LOADS = {
    True: "other gas loads were off",
    False: "other gas loads were ON",
    None: "whether other gas loads were off was not recorded",
}


def _clockings(audit: Audit) -> Iterator[str]:
    """Yield how the meter was clocked, by test point."""
    system = audit.visit.plan.report.units

    def stated(quantity: str, value: float | None) -> str:
        text = words.bound(quantity, value, system) if value is not None else "not stated"
        return f"{words.in_a_sentence(quantity)} {text}"

    for point in audit.visit.plan.test_points:
        if (meter := point.meter) is None or meter.dial is None:
            continue
        tries = words.joined(f"{seconds:g}" for seconds in meter.seconds)
        volume = words.bound("gas_volume", meter.dial * meter.revolutions, system)
        yield words.sentence(
            words.together(
                f"{point.name}, meter clocked: {volume} in {tries} s",
                stated("meter_pressure", meter.pressure),
                stated("meter_temperature", meter.temperature),
                "the meter compensates" if meter.compensated else "the meter does not compensate",
                _OTHER_LOADS[meter.other_loads_off],
            )
        )


# ---------------------------------------------------------------------------- uncertainty

RANKED = {
    "efficiency_gross": "Gross efficiency",
    "excess_air": "Excess air, by balance",
    _AIR_FREE: "Carbon monoxide, air-free",
}
_LEAST_SHARE = 0.02  # of the variance; less is not listed


def ranked_point(audit: Audit) -> PointAudit | None:
    """Return the last test point whose uncertainty is known."""
    return next((point for point in reversed(audit.points) if any(point.contributions.values())), None)


def contributions(point: PointAudit) -> Mapping[str, Mapping[str, Contribution]]:
    """Return what each input adds to each of the main results, by input, greatest first; small shares are left out."""
    by_input: dict[str, dict[str, Contribution]] = {}
    for name in RANKED:
        for one in point.contributions.get(name, ()):
            if one.share >= _LEAST_SHARE:
                by_input.setdefault(one.group, {})[name] = one
    return by_input


def uncertainty(audit: Audit, point: PointAudit) -> Table:
    """Return what each input alone adds to the intervals of the main results, greatest first."""
    system = audit.visit.plan.report.units
    by_input = contributions(point)
    results = [name for name in RANKED if point.contributions.get(name)]

    def told(found: Mapping[str, Contribution], name: str) -> str:
        if name not in found:
            return "–"
        half = words.half_width(name, found[name].half_width, system)
        return f"± {half} ({100 * found[name].share:.0f} %)"

    return Table(
        columns=["What it comes from", *(RANKED[name] for name in results)],
        rows=[
            [words.capital(group), *(told(found, name) for name in results)]
            for group, found in by_input.items()
        ],
        caption=f"{words.heading(point.name)}: what each input alone adds to the interval, and share of the variance.",
        align=["left"] * (1 + len(results)),
    )
