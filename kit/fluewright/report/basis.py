"""How the numbers were formed, and by what source, as the table of methods that closes a report."""

from __future__ import annotations

from collections.abc import Iterator

from fluewright import sources, units
from fluewright.report import words
from fluewright.studies.audit import Audit
from fluewright.studies.numbers import DRAWS

_CAME_BY = {
    "read": "read in the source",
    "quoted": "as quoted",
    "memory": "value from memory",
    "chosen": "chosen here",
    "defined": "by definition",
    "derived": "derived",
}


def _of(table: str, *keys: str) -> str:
    """Return the source of an entry of the data, and how we came by it."""
    entry = sources.table(table)
    for key in keys:
        entry = entry[key]
    return _came_by(entry["title"] if "title" in entry else entry["source"], entry["status"])


def _came_by(named: str, status: str) -> str:
    """Return a source, and how we came by it where it does not say so itself."""
    told = _CAME_BY[status]
    return named if told.split()[0] in named else f"{named} ({told})"


def _rows(audit: Audit) -> Iterator[tuple[str, str, str]]:
    warm = "77 °F" if audit.visit.plan.report.units == "US" else "25 °C"
    condensing = audit.visit.plan.appliance.condensing
    criteria = audit.points[0].steadiness.criteria
    still = criteria.slope_length >= criteria.minimum_length  # as published definitions have it
    sway = "" if still else ", a gas that only sways included"
    yield (
        "Steady window",
        f"By the definition “{criteria.name}”: slope and spread of every channel judged "
        f"({_judged(audit) or 'none'}) within limits over at least {words.duration(criteria.minimum_length)}{sway}; "
        "the latest such stretch, less a margin after a warm-up; a person's is marked so.",
        _came_by(criteria.source, criteria.status),
    )
    if _formed(audit, "efficiency_gross", "heat_input_clocked"):
        yield (
            "Heat of the fuel",
            f"Gross and net heating value of the composition, burned at {warm}; heat input is gross unless net is "
            "said.",
            f"{_of('species', 'source')}; composition of {audit.fuel.name}: {audit.fuel.source}",
        )
    yield (
        "Flue gas",
        "Air ratio and flue composition from dry oxygen and carbon monoxide by the balance of carbon, hydrogen, oxygen "
        "and nitrogen on the fuel burned, with humid air; solved in closed form.",
        "conservation of elements",
    )
    yield (
        "Dry-oxygen rule",
        "Excess air is oxygen over 20.9 % less oxygen; air-free carbon monoxide is carbon monoxide times 20.9 % over "
        "20.9 % less oxygen. Limits in the trade are judged by this rule.",
        _of("air", "trade"),
    )
    if _formed(audit, "efficiency_gross"):
        yield (
            "Flue losses and flame",
            f"Sensible heat of each part of the flue gas from {warm}, latent heat of the water from the fuel's "
            "hydrogen, and heat of unburnt gas; heat that the combustion air brings or lacks is named. "
            + (
                "Latent heat is credited for what condenses, the gas being saturated at the flue temperature."
                if condensing
                else "No latent heat is credited: the appliance is not declared condensing."
            )
            + " The flame temperature is chemical equilibrium at constant enthalpy and pressure; no flue reading is at "
            "it.",
            _of("equilibrium", "data"),
        )
    if _formed(audit, "water_dew_point"):
        yield (
            "Water dew point",
            "Temperature at which the flue gas is saturated, at the site's pressure and with the moisture of the air.",
            _of("water", "saturation"),
        )
    if not condensing and any("loss_stack_european" in point.numbers for point in audit.points):
        yield (
            "European simple formula",
            "Stack loss on the net basis from temperatures and dry oxygen.",
            _of("stack_loss", "formula"),
        )
    yield (
        "Intervals",
        f"95 % coverage, probabilistically symmetric, from {DRAWS:,} draws through the same formulas; an instrument's "
        "error is drawn once for all its readings, so that averaging does not shrink it; noise is taken with its "
        "autocorrelation.",
        "JCGM 101:2008 (value from memory)",
    )
    yield (
        "Carbon monoxide",
        "Judged on every row with a reading, used or refused, as well as on the mean over the window; nothing is "
        "subtracted before a safety limit, and a reading above the range counts as at least that much. An air-free "
        f"value beyond its limit in the first {_minutes()} after a light-off that was seen is a note only, as limits "
        "hold after some minutes of operation; the level for stopping holds on every row.",
        _of("appliance", "light_off"),
    )


def _minutes() -> str:
    """Return in words after what time the air-free limits hold."""
    told = sources.table("appliance")["light_off"]["limits_hold_after"]
    return words.duration(units.parse(told, "s", "light_off"))


def _formed(audit: Audit, *names: str) -> bool:
    """Tell whether any of some results was formed, at a test point or in a burner cycle."""
    held = [point.numbers for point in audit.points] + [cycle.numbers for cycle in audit.cycles.cycles]
    return any(name in numbers for numbers in held for name in names)


def _judged(audit: Audit) -> str:
    """Return the channels that had a say in the steady window of any test point."""
    names = dict.fromkeys(name for point in audit.points for name in point.steadiness.judged)
    return words.joined(words.in_a_sentence(name) for name in names)


def methods(audit: Audit) -> tuple[str, ...]:
    """Return how each kind of number that was formed came to be, with its source, a paragraph each."""
    return tuple(f"{what}. {how} Source: {source.rstrip('.')}." for what, how, source in _rows(audit))
