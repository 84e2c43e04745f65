"""The tables of a fuel-switch study: a study in, a table of text out."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence

from fluewright import sources, units
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.abreast import Line, heading_line, side_by_side
from fluewright.report.objects import Align, Facts, Section, Table
from fluewright.report.words import Printed
from fluewright.sources import table as data
from fluewright.studies.fuel_switch import FuelCase, FuelSwitch
from fluewright.studies.fuel_switch.givens import percent
from fluewright.studies.fuel_switch.unchanged import Index

_ABREAST = 3  # fuels whose intervals fit beside them
_NONE = Printed(value="–", interval="", sign="")
_EMPTY = Printed(value="", interval="", sign="")
_CAME_BY = {
    "read": "read in the source",
    "quoted": "as quoted",
    "memory": "value from memory: to be checked against the edition in force",
    "chosen": "chosen here",
    "derived": "computed here",
}
_OUTCOMES = {
    "within": "within",
    "beyond preferable": "beyond what is preferable",
    "beyond": "BEYOND",
    "says nothing": "says nothing here",
}


def came_by(entry: Mapping[str, object]) -> str:
    """Return the source of an entry of the data, and how we came by it."""
    status = str(entry["status"])
    return f"{entry['source']} ({_CAME_BY.get(status, status)})"


def _lines(
    study: FuelSwitch,
    names: Iterable[str],
    of: Callable[[FuelCase], Mapping[str, Number]],
    *,
    labels: Mapping[str, str] | None = None,
    cases: Sequence[FuelCase] | None = None,
) -> list[Line]:
    """Return one line for each quantity that any fuel has."""
    system, chosen = study.givens.system, study.cases if cases is None else cases
    made = []
    for name in names:
        found = [of(case).get(name) for case in chosen]
        known = next((one for one in found if one is not None), None)
        if known is not None:
            made.append(
                Line(
                    label=(labels or {}).get(name, sources.quantity(known.quantity).label),
                    sign=words.sign(known.quantity, system),
                    cells=tuple(words.printed(one, system) if one is not None else _NONE for one in found),
                )
            )
    return made


def _beside(
    cases: Sequence[FuelCase], lines: Sequence[Line], *, caption: str, notes: Sequence[str] = ()
) -> Table | Section:
    """Return the lines as a table of the fuels; with many fuels the intervals are left to results.json."""
    names = _names(cases)
    if len(names) <= _ABREAST:
        return side_by_side(names, lines, caption=caption, notes=notes)
    return Table(
        columns=("", "Unit", *names),
        rows=[
            (one.label, one.sign, *(cell.value for cell in one.cells or (_EMPTY,) * len(names)))
            for one in lines
        ],
        caption=caption,
        align=("left", "left", *_columns("right", len(names))),
        emphasis={number: "strong" for number, one in enumerate(lines) if not one.cells},
        notes=(*notes, "The 95 % intervals stand in the attached results.json."),
    )


def _columns(align: Align, count: int) -> tuple[Align, ...]:
    return (align,) * count


def _names(cases: Sequence[FuelCase]) -> list[str]:
    return [case.name for case in cases]


# ---------------------------------------------------------------------------- page one


def facts(study: FuelSwitch) -> Facts:
    """Return what was studied, where, when and by whom."""
    request, system = study.request, study.givens.system
    appliance = request.appliance
    rated = words.bound("heat_input_rated", study.givens.rated_input, system)
    derated = (
        ""
        if study.givens.rating_share == 1
        else f"; {words.bound('heat_input_rated', study.givens.heat_input, system)} at the site's elevation"
    )
    pairs = [
        ("Site", request.site.name),
        ("Appliance", f"{appliance.description or 'appliance'}, {_burner(study)}; {rated}, gross{derated}"),
        ("Fuel today", study.present.name),
        ("Asked about", "; ".join(case.name for case in study.proposed)),
        (
            "Prepared",
            ", ".join(filter(None, (words.day(request.study.date, system), request.study.prepared_by))),
        ),
        ("For", request.study.client),
        ("Purpose", request.study.purpose),
    ]
    return Facts([(name, text) for name, text in pairs if text])


def _burner(study: FuelSwitch) -> str:
    kind = {
        "atmospheric": "atmospheric burner",
        "fan": "fan burner",
        "ratio-controlled": "premix burner with ratio control",
    }[study.givens.burner]
    return f"{kind}{', condensing' if study.givens.condensing else ''}"


def at_a_glance(study: FuelSwitch) -> Table:
    """Return the few numbers that decide, without their intervals, which stand further on."""

    def numbers(case: FuelCase) -> Mapping[str, Number]:
        kept = dict(case.same_oxygen.numbers) | dict(case.properties)
        if case.unchanged is not None:
            kept["unchanged_heat"] = case.unchanged.numbers["heat_input_relative"]
            kept["unchanged_oxygen"] = case.unchanged.numbers["oxygen_dry"]
        if case.conversion is not None:
            kept["orifice_area_relative"] = case.conversion.numbers["orifice_area_relative"]
        return kept

    labels = {
        "wobbe_gross": "Wobbe index, gross",
        "relative_density": "Relative density to air",
        "unchanged_heat": "Heat input if nothing is changed, against today",
        "unchanged_oxygen": "Oxygen in flue gas if nothing is changed",
        "orifice_area_relative": "Orifice area needed, against today",
        "efficiency_gross": "Gross efficiency, same oxygen and flue temperature",
        "carbon_dioxide_per_heat_delivered": "Carbon dioxide per heat delivered",
        "cost_per_heat_delivered": f"Fuel cost per heat delivered{_currencies(study)}",
        "cost_per_year": f"Fuel cost per year{_currencies(study)}",
    }
    lines = _lines(study, labels, numbers, labels=labels)
    return Table(
        columns=("", "Unit", *_names(study.cases)),
        rows=[(line.label, line.sign, *(cell.value for cell in line.cells)) for line in lines],
        caption="At a glance, at "
        f"{words.bound('heat_input_rated', study.givens.heat_input, study.givens.system)} gross; intervals "
        "stand in the tables below.",
        align=("left", "left", *_columns("right", len(study.cases))),
    )


def _currencies(study: FuelSwitch) -> str:
    found = dict.fromkeys(case.gas.currency for case in study.cases if case.gas.currency)
    return f", {'/'.join(found)}" if found else ""


# ---------------------------------------------------------------------------- the comparison


def properties(study: FuelSwitch) -> Table | Section:
    """Return what each fuel is."""
    names = (
        "gross_heating_value_volume",
        "net_heating_value_volume",
        "gross_heating_value_mass",
        "wobbe_gross",
        "wobbe_net",
        "relative_density",
        "stoichiometric_air",
        "air_per_heat",
        "flue_gas_dry_per_heat",
        "flue_gas_wet_per_heat",
        "ultimate_carbon_dioxide",
        "condensate_per_heat",
        "carbon_dioxide_per_heat",
        "flammability_lower",
        "flammability_upper",
    )
    base = "60 °F and 14.696 psia" if study.givens.system == "US" else "15 °C and 101.325 kPa"
    limits = data("flammability")
    return _beside(
        study.cases,
        _lines(study, names, lambda case: case.properties),
        caption="The fuels, whatever burns them.",
        notes=(
            f"Heating values and Wobbe indices by ISO 6976:2016, dry, at {base}, as a real gas.",
            f"Flammability: {came_by(limits['limits'])}. {limits['mixing']['note']}",
            "; ".join(f"{case.name}: {case.gas.fuel.source}" for case in study.cases) + ".",
        ),
    )


_BURNED = (
    "oxygen_dry",
    "carbon_dioxide_dry",
    "excess_air",
    "efficiency_gross",
    "efficiency_net",
    "water_dew_point",
    "stack_mass_flow",
    "stack_volume_flow",
    "combustion_air_flow",
    "gas_volume_flow",
    "condensed_fraction",
    "condensate_rate",
    "carbon_dioxide_per_heat_delivered",
    "carbon_dioxide_per_year",
    "cost_per_heat_delivered",
    "cost_per_year",
)


def same_oxygen(study: FuelSwitch) -> Table | Section:
    """Return how each fuel burns at the same heat input and the same oxygen."""
    system = study.givens.system
    flue = words.amount(study.givens.numbers["flue_temperature"], system)
    air = words.amount(study.givens.numbers["air_temperature"], system)
    return _beside(
        study.cases,
        _lines(study, _BURNED, lambda case: case.same_oxygen.numbers, labels=_burned_labels(study)),
        caption=f"At the same oxygen, at {words.bound('heat_input_rated', study.givens.heat_input, system)} "
        f"gross, with flue gas at {flue} and combustion air at {air}.",
        notes=(
            "The flue temperature is taken the same for all fuels: with the same heat and nearly the same "
            "flue gas it hardly moves. Efficiencies count flue losses only, in steady state; they are not "
            "seasonal.",
            "Carbon dioxide is that of the burner; what it took to bring the fuel there is not counted.",
        ),
    )


def same_air(study: FuelSwitch) -> Table | Section:
    """Return how each fuel burns at the same heat input with the air that the present fuel gets."""
    return _beside(
        study.cases,
        _lines(study, _BURNED[:6], lambda case: case.same_air.numbers, labels=_burned_labels(study)),
        caption=f"With the air that {study.present.name} gets today: the air setting left alone, the heat "
        "input the same.",
    )


def _burned_labels(study: FuelSwitch) -> Mapping[str, str]:
    return {
        "gas_volume_flow": "Gas flow, at the conditions of the heating value",
        "efficiency_gross": "Steady-state efficiency, gross",
        "efficiency_net": "Steady-state efficiency, net",
        "cost_per_heat_delivered": f"Fuel cost per heat delivered{_currencies(study)}",
        "cost_per_year": f"Fuel cost per year{_currencies(study)}",
    }


def flames(study: FuelSwitch) -> Table | Section:
    """Return the flames: temperature, nitric oxide, carbon monoxide, speed."""
    ends = (
        "flame_temperature_adiabatic",
        "nitric_oxide_equilibrium",
        "nitric_oxide_rate",
        "carbon_monoxide_equilibrium",
    )
    labels = {
        name: f"{sources.quantity(name.removesuffix('_running')).label}{tail}"
        for base in ends
        for name, tail in ((base, ""), (f"{base}_running", ""))
    }
    lines = [
        heading_line("With no excess air"),
        *_lines(study, (*ends, "flame_speed"), lambda case: case.flames.numbers, labels=labels),
        heading_line("At the oxygen of the appliance"),
        *_lines(study, [f"{name}_running" for name in ends], lambda case: case.flames.numbers, labels=labels),
    ]
    spoken: dict[str, list[str]] = {}
    for case in study.cases:
        said = f"{case.flames.speed_origin}, {case.flames.speed_note}".removeprefix(", ")
        spoken.setdefault(said, []).append(case.name)
    return _beside(
        study.cases,
        lines,
        caption="The flames, adiabatic and at equilibrium: bounds, not readings.",
        notes=(
            "Flue gas freezes while it cools and never reaches the equilibrium of its last temperature. "
            "The rate at which thermal nitric oxide begins to form sets fuels beside each other; it "
            "forecasts no reading.",
            *(f"Flame speed of {words.joined(names)}: {said}." for said, names in spoken.items()),
        ),
    )


def species(study: FuelSwitch) -> Table:
    """Return the species of the flames at equilibrium."""
    names = list(study.present.flames.species)
    rows = []
    for case in study.cases:
        for place, state in enumerate(("no excess air", "at the appliance's oxygen")):
            shares = [case.flames.species[name][place] for name in names]
            rows.append((case.name if place == 0 else "", state, *(f"{100 * share:.3f}" for share in shares)))
    return Table(
        columns=("Fuel", "Air", *(f"{name} %" for name in names)),
        rows=rows,
        caption="Flame gas at equilibrium, wet, by volume.",
        align=("left", "left", *_columns("decimal", len(names))),
    )


# ---------------------------------------------------------------------------- what must change


def conversion(study: FuelSwitch) -> Table | Section:
    """Return the engineering numbers of a conversion to each fuel."""
    cases = study.proposed
    labels = {
        "manifold_pressure": "Manifold pressure to be set",
        "orifice_area_relative": "Orifice area against the present one",
        "orifice_diameter_present": "Orifice diameter today",
        "orifice_diameter": "Orifice diameter needed",
        "manifold_pressure_same_orifice": "Pressure that today's orifices would need instead",
        "primary_air_relative": "Primary air drawn, as a share of the fuel's need, against today",
        "gas_volume_flow_present": "Gas flow today",
        "gas_volume_flow": "Gas flow then",
        "pipe_pressure_drop_relative": "Pressure drop in today's pipe, against today",
    }

    def numbers(case: FuelCase) -> Mapping[str, Number]:
        return case.conversion.numbers if case.conversion is not None else {}

    discharge = data("orifices")["discharge"]
    known = study.request.appliance.orifice is not None
    how = (
        f"From today's orifices, {study.request.appliance.orifice}: the discharge coefficient cancels."
        if known
        else f"From heat input and a discharge coefficient of {discharge['value']:.2f} ({discharge['low']:.2f} to "
        f"{discharge['high']:.2f}): {discharge['source']}."
    )
    return _beside(
        cases,
        _lines(study, labels, numbers, labels=labels, cases=cases),
        caption="What a conversion to the same heat input needs. To check the maker's kit by, not to drill by.",
        notes=(
            how,
            "Intervals carry the fuel's composition, the setting of the pressure, the weather and, where "
            "it does not cancel, the discharge coefficient.",
        ),
    )


def sizes(study: FuelSwitch) -> Table | None:
    """Return the drill sizes nearest to what is needed, or None where the orifices are not known."""
    system = study.givens.system
    rows = [
        (
            case.name,
            size.drill.series,
            size.drill.name,
            words.bound("orifice_diameter", size.drill.diameter, system),
            words.amount(size.heat_input, system),
            words.amount(size.relative, system),
        )
        for case in study.proposed
        if case.conversion is not None
        for size in case.conversion.sizes
    ]
    if not rows:
        return None
    return Table(
        columns=("Fuel", "Series", "Nearest", "Diameter", "Heat input with it", "Of what is wanted"),
        rows=rows,
        caption="Drill sizes nearest to the orifice needed, at the manifold pressure to be set.",
        notes=(
            "Sizes: number and letter drills, metric drills of BS 328. An orifice is bought to size, never reamed.",
        ),
    )


def pressures(study: FuelSwitch) -> Table | None:
    """Return the usual supply pressures of each fuel, least, usual and most; None where none is known."""
    cases = [case for case in study.proposed if case.conversion is not None and case.conversion.supply]
    if not cases:
        return None
    system = study.givens.system
    rows = []
    for case in cases:
        assert case.conversion is not None
        shown = [
            words.bound("gas_inlet_pressure", units.parse(one, "Pa", "supply pressure"), system)
            for one in case.conversion.supply
        ]
        rows.append((case.name, case.conversion.gas_kind, *shown))
    notes = dict.fromkeys(case.conversion.supply_source for case in cases if case.conversion is not None)
    return Table(
        columns=("Fuel", "Supplied like", "Least", "Usual", "Most"),
        rows=rows,
        caption="Supply pressure at the appliance's inlet. The rating plate and the kit come first.",
        notes=tuple(notes),
    )


def openings(study: FuelSwitch) -> Table:
    """Return the ways to bring in combustion air, which go by heat input and so hardly change with the fuel."""
    system = study.givens.system
    rows = [
        (one.words[:1].upper() + one.words[1:], words.bound("opening_area", one.area.value, system))
        for one in study.openings
    ]
    room = data("fuel_switch")["openings"]["room"]["words"]
    rows.append((room[:1].upper() + room[1:], words.bound("room_volume", study.room.value, system)))
    return Table(
        columns=("Air for combustion, one of these", "Free area or volume"),
        rows=rows,
        caption="For this appliance alone, at "
        f"{words.bound('heat_input_rated', study.givens.rated_input, system)}; others in the same room "
        "count too.",
        notes=(study.openings_source,),
    )


# ---------------------------------------------------------------------------- if nothing is changed


def unchanged(study: FuelSwitch) -> Table | Section:
    """Return what each fuel does in the appliance as it is."""
    cases = study.proposed
    names = (
        "heat_input_relative",
        "air_ratio",
        "excess_air",
        "oxygen_dry",
        "carbon_dioxide_dry",
        "carbon_monoxide_equilibrium",
        "efficiency_gross",
        "water_dew_point",
    )
    labels = {
        "carbon_monoxide_equilibrium": "Carbon monoxide of the starved gas, dry, at equilibrium",
        "efficiency_gross": "Steady-state efficiency, gross, at today's flue temperature",
    }

    def numbers(case: FuelCase) -> Mapping[str, Number]:
        return case.unchanged.numbers if case.unchanged is not None else {}

    return _beside(
        cases,
        _lines(study, names, numbers, labels=labels, cases=cases),
        caption="The appliance as it is set, with another fuel.",
        notes=(
            "Heat input goes as the Wobbe index; the air stays what the draft, the inducer or the fan "
            "moves today. How much carbon monoxide a burner makes with air left cannot be computed: it is "
            "tested.",
            f"Thresholds: {data('fuel_switch')['thresholds']['source']}.",
        ),
    )


def groups(study: FuelSwitch) -> Table:
    """Return the groups of EN 437 that each fuel lies in."""
    rows = []
    for case in study.cases:
        kept = case.unchanged
        own = kept.groups if kept is not None else study.proposed[0].unchanged.present_groups  # type: ignore[union-attr]
        wobbe = words.bound("wobbe_gross", case.properties["wobbe_gross"].value, study.givens.system)
        rows.append((case.name, wobbe, "; ".join(own) or "none"))
    return Table(
        columns=("Fuel", "Wobbe index, gross", "Group of EN 437"),
        rows=rows,
        caption="Families and groups of gas by Wobbe index.",
        notes=(
            came_by(data("interchange")["en_437"]),
            f"With more than {percent(data('interchange')['en_437']['hydrogen_high'])} hydrogen, that of the limit gas "
            "for light-back, a gas belongs to no group.",
        ),
    )


def indices(study: FuelSwitch, case: FuelCase) -> Table:
    """Return the published criteria of interchangeability for one fuel."""
    assert case.unchanged is not None
    found = [one for one in case.unchanged.indices if one.value is not None and one.outcome != "says nothing"]
    system = study.givens.system
    rows = []
    for one in found:
        assert one.value is not None
        rows.append(
            (
                one.family,
                one.criterion,
                words.amount(one.value, system),
                _limit(one, system),
                _OUTCOMES[one.outcome],
            )
        )
    validity = {name: data("interchange")[name]["validity"] for name in ("bulletin_36", "weaver")}
    return Table(
        columns=("", "Criterion", "Value", "Accepted", "Outcome"),
        rows=rows,
        caption=f"{case.name} in place of {study.present.name}: published criteria.",
        align=("left", "left", "right", "left", "left"),
        emphasis={n: "strong" for n, one in enumerate(found) if one.outcome == "beyond"},
        notes=(
            *_source_notes(found),
            f"Bulletin 36 is made for {validity['bulletin_36']}. Weaver's indices are made for {validity['weaver']}.",
        ),
    )


def _source_notes(found: Sequence[Index]) -> list[str]:
    """Return each source once, with how its values were come by; what differs within a source is named."""
    notes = []
    for source in dict.fromkeys(one.source for one in found):
        own = [one for one in found if one.source == source]
        first = own[0].status
        apart = [f"{one.criterion}: {_CAME_BY[one.status]}" for one in own if one.status != first]
        notes.append(f"{source} ({'; '.join((_CAME_BY[first], *apart))}).")
    return notes


def _limit(one: Index, system: words.System) -> str:
    assert one.value is not None
    text = words.span(one.value.quantity, one.low, one.high, system)
    if math.isnan(one.preferable):
        return text
    return f"{text}, preferably {words.bound(one.value.quantity, one.preferable, system)}"


# ---------------------------------------------------------------------------- the proof


def assumptions(study: FuelSwitch) -> Table:
    """Return what was assumed, and why."""
    system = study.givens.system
    rows = []
    named = {
        "fuel_spread": "Composition of the fuels",
        "pressure_setting": "Setting of manifold pressures",
        "primary_aeration": "Primary air today",
    }
    for one in study.assumptions:
        label = named.get(one.subject) or sources.quantity(one.subject).label
        shown = words.amount(one.number, system) if one.number is not None else ""
        text = "; ".join(filter(None, (one.text, shown)))
        rows.append((label, text, words.sentence(one.why)))
    return Table(columns=("Assumed", "What was taken", "Because"), rows=rows)
