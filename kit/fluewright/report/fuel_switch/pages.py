"""The sections of a fuel-switch study's report, in the order of its pages."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator, Mapping

from fluewright import sources
from fluewright.appliance.altitude import altitude_citation
from fluewright.report import words
from fluewright.report.fuel_switch import figures, tables
from fluewright.report.objects import (
    Attachment,
    Attachments,
    Callout,
    Document,
    Facts,
    Figure,
    Paragraph,
    Section,
    Table,
)
from fluewright.sources import limits as safety
from fluewright.studies.fuel_switch import FuelCase, FuelSwitch, results_text
from fluewright.studies.fuel_switch.convert import Conversion
from fluewright.studies.fuel_switch.givens import percent

_ON_PAGE_ONE = 2  # conclusions that leave room for the table below them


def document(study: FuelSwitch) -> Document:
    """Return the title, the running head and the paper of the report."""
    request = study.request
    made = dt.datetime.combine(request.study.date, dt.time(12), tzinfo=dt.UTC)
    return Document(
        title="Fuel-switch study",
        subtitle=f"From {study.present.name} to {words.joined(case.name for case in study.proposed)}",
        header=(request.site.name, request.appliance.description or "appliance"),
        date=words.day(request.study.date, study.givens.system),
        made=made,
        paper="letter" if request.report.paper == "letter" else "a4",
    )


# ---------------------------------------------------------------------------- page one


def page_one(study: FuelSwitch) -> Section:
    """Return what was asked, what the answer is for each fuel, the few numbers that decide, and what comes first."""
    warning = (
        [
            Callout(
                "stop", "The appliance as it was found comes first.", text=study.request.warning, word="Stop"
            )
        ]
        if study.request.warning
        else []
    )
    first = sources.table("fuel_switch")["steps"][0]
    parts: list[Facts | Callout | Table | Section] = [
        tables.facts(study),
        *warning,
        *_conclusions(study),
        Callout(
            "plain",
            f"{first['title']}: only its listed kit converts an appliance, and people licensed for it.",
        ),
        tables.at_a_glance(study),
        *([Section("", new_page=True)] if len(study.proposed) <= _ON_PAGE_ONE else []),
    ]
    return Section("", parts)


def _conclusions(study: FuelSwitch) -> Iterator[Callout]:
    for case in study.proposed:
        kept = case.unchanged
        assert kept is not None
        yield Callout(
            kept.weight,
            case.conclusion,
            text="If nothing were changed:" if kept.reasons else "",
            points=[one.text for one in kept.reasons],
            word="Conclusion" if kept.weight == "note" else kept.weight,
        )


def steps(study: FuelSwitch) -> Facts:
    """Return what must be done, in order."""
    listed = sources.table("fuel_switch")["steps"]
    return Facts([(f"{number}. {one['title']}", one["text"]) for number, one in enumerate(listed, start=1)])


# ---------------------------------------------------------------------------- the evidence


def comparison(study: FuelSwitch) -> Section:
    """Return the fuels beside each other, and how they burn at the same heat input."""
    return Section(
        "",
        [
            figures.compared(study),
            tables.properties(study),
            figures.oxygen_curves(study),
            tables.same_oxygen(study),
            tables.same_air(study),
        ],
    )


def flames(study: FuelSwitch) -> Section:
    """Return the flames: temperature, species, nitric oxide, speed."""
    return Section("", [tables.flames(study), tables.species(study)])


def changes(study: FuelSwitch) -> Section:
    """Return what must change in appliance, supply and room."""
    optional = [one for one in (tables.sizes(study), tables.pressures(study)) if one is not None]
    parts: list[Table | Section | Paragraph] = [tables.conversion(study), *optional, tables.openings(study)]
    return Section("", [*parts, Paragraph(points=list(_consequences(study)))])


def _consequences(study: FuelSwitch) -> Iterator[str]:
    for case in study.proposed:
        yield _vent(study, case)
        assert case.conversion is not None
        yield _pipe(case.name, case.conversion)
        now = case.same_oxygen.numbers
        air = case.conversion.numbers.get("primary_air_relative")
        if air is not None:
            yield (
                f"Primary air, {case.name}: with the same throat and ports the burner would draw "
                f"{words.amount(air, study.givens.system)} of the primary air it draws today, as a share of the "
                "fuel's need. Shutter or restrictor by the kit's instructions, the flame by eye: no lifting, no "
                "yellow tips, and carbon monoxide by test."
            )
        if study.givens.burner == "ratio-controlled":
            dioxide = words.bound("carbon_dioxide_dry", now["carbon_dioxide_dry"].value, study.givens.system)
            yield (
                f"Ratio control, {case.name}: there is no manifold pressure to set. The gas valve's throttle and "
                "offset are set at the highest and lowest rate by oxygen, or by carbon dioxide for this fuel (at "
                f"the same oxygen, {dioxide})."
            )


def _vent(study: FuelSwitch, case: FuelCase) -> str:
    """Return what the vent gets: flue gas, water, dew point."""
    was, now, system = study.present.same_oxygen.numbers, case.same_oxygen.numbers, study.givens.system
    mass = now["stack_mass_flow"].value / was["stack_mass_flow"].value
    before, after = (one.properties["condensate_per_heat"].value for one in (study.present, case))
    water = f"{percent(after / before)} of the water" if before > 0 else "water, where there was none"
    said = f"Vent, {case.name}: {percent(mass)} of today's flue gas by mass, {water}"
    dew, dew_before = (one["water_dew_point"].value for one in (now, was))
    if not math.isfinite(dew):
        return f"{said}."
    margin = float(study.givens.flue_temperature[0]) - dew
    side = "below" if margin > 0 else "above"
    said += f"; the dew point is {words.half_width('water_dew_point', abs(margin), system)} {side} the flue temperature"
    if math.isfinite(dew_before):
        change = words.half_width("water_dew_point", abs(dew - dew_before), system)
        said += f", {change} {'higher' if dew > dew_before else 'lower'} than today"
    if study.givens.condensing:
        return f"{said}. The drain and neutralizer must take the condensate stated above."
    if dew > dew_before:
        return f"{said}. A chimney or connector that was just dry may now run wet: check sizing and lining."
    return f"{said}. Its sizing goes by the maker's and the code's tables."


def _pipe(name: str, changes: Conversion) -> str:
    """Return what the same pipe does with the new gas flow."""
    drop = changes.numbers["pipe_pressure_drop_relative"].value
    flow = changes.numbers["gas_volume_flow"].value / changes.numbers["gas_volume_flow_present"].value
    next_step = (
        "Check the pipe size by the code's table before anything else."
        if drop > 1
        else "The pipe is large enough by this count; the code's table decides."
    )
    return (
        f"Piping, {name}: {percent(flow)} of today's gas flow by volume and {percent(drop)} of its pressure drop "
        f"in the same pipe. {next_step}"
    )


def interchange(study: FuelSwitch) -> Section:
    """Return what happens if nothing is changed, and what the published criteria say."""
    parts: list[Figure | Table | Section | Paragraph] = [
        figures.unchanged(study),
        tables.unchanged(study),
        figures.wobbe(study),
        tables.groups(study),
    ]
    for case in study.proposed:
        assert case.unchanged is not None
        if any(one.value is not None and one.outcome != "says nothing" for one in case.unchanged.indices):
            parts.append(tables.indices(study, case))
        if case.unchanged.scope:
            parts.append(
                Paragraph(
                    f"The indices of Bulletin 36 and of Weaver say nothing of {case.name} here: "
                    f"{case.unchanged.scope}.",
                    quiet=True,
                )
            )
    return Section("", parts)


def sweeps(study: FuelSwitch) -> Section | Paragraph:
    """Return the sweeps as figures."""
    if not study.sweeps:
        return Paragraph("No sweep was asked for.")
    return Section("", [figures.sweep(study, one) for one in study.sweeps])


# ---------------------------------------------------------------------------- the proof


def assumptions(study: FuelSwitch) -> Table | Paragraph:
    """Return everything that was assumed."""
    return tables.assumptions(study) if study.assumptions else Paragraph("Nothing had to be assumed.")


def methods(study: FuelSwitch) -> Paragraph:
    """Return how the numbers were formed, and by which sources."""
    data = sources.table
    interchange_data, speed = data("interchange"), data("flame_speed")
    practice = altitude_citation(study.request.site.altitude_practice)
    points = [
        f"Heating values, Wobbe index, relative density: {data('species')['source']['title']}.",
        "Air, flue gas, losses, dew point: balance of carbon, hydrogen, oxygen and nitrogen on the fuel, "
        f"humid air; heat input is the gross heating value {words.in_system('at 25 °C', study.givens.system)}, "
        "sensible heat Cantera's species data, "
        "saturation IAPWS.",
        "Flames: Cantera's equilibrium at constant enthalpy and pressure. Thermal nitric oxide: "
        f"{tables.came_by(data('nitric_oxide')['rate'])}.",
        f"Laminar flame speed: {speed['grid']['source']}. Where that mechanism is unsuited: "
        f"{speed['measured']['propane']['source']} ({speed['measured']['propane']['note']}). Without "
        "either, none is shown.",
        "Orifices: mass flow n C A √(2 ρ Δp), with the gas's density before the hole; the present orifice "
        "known, the coefficient C cancels. Heat input at one pressure goes as the gross Wobbe index, "
        "pressure as the square of heat input.",
        "Primary air: momentum of the gas jet equals that of the mixture in the throat; derived here, "
        "ports and friction unchanged.",
        "Nothing changed: heat input as the Wobbe index, air as today, combustion by the balance; starved "
        "gas by equilibrium.",
        f"Altitude, “{study.request.site.altitude_practice}”: {words.source(practice)}",
        f"US guideline: {tables.came_by(interchange_data['guideline'])}. Bulletin 36: "
        f"{tables.came_by(interchange_data['bulletin_36'])}. Weaver: "
        f"{tables.came_by(interchange_data['weaver'])}; {interchange_data['weaver']['place']}.",
        "Intervals: 95 %, by draws of composition, oxygen, temperatures, pressure setting and weather "
        "(JCGM 101). What has no interval has none that could be given.",
    ]
    return Paragraph(points=points, quiet=True)


def provenance(study: FuelSwitch) -> Facts:
    """Return versions and settings, and how to repeat the study."""
    made = study.results["provenance"]
    assert isinstance(made, Mapping)
    libraries = ", ".join(f"{name} {version}" for name, version in made["libraries"].items())
    return Facts(
        [
            ("Computed with", f"Python {made['python']}, {libraries}"),
            ("Settings", f"{made['draws']:,} draws, seed {made['seed']}"),
            (
                "To repeat it",
                "Install the same version and run its fuel-switch command on the attached request.",
            ),
        ]
    )


def attachments(study: FuelSwitch) -> Attachments:
    """Return the files that travel inside the PDF."""
    request = study.request.model_dump_json(indent=2, exclude_none=True).encode() + b"\n"
    return Attachments(
        [
            Attachment(
                name="results.json",
                description="every number, machine-readable",
                content=results_text(study).encode(),
            ),
            Attachment(name="request.json", description="the request as read, in SI units", content=request),
        ]
    )


def cautions(study: FuelSwitch) -> Paragraph:
    """Return the cautions of a switch of fuel, and those that go with every report."""
    own = [f"{one['title']}. {one['text']}" for one in sources.table("fuel_switch")["cautions"]]
    return Paragraph(points=[*own, *(f"{one.title}. {one.text}" for one in safety.cautions())])
