"""The tables of the visit itself: what was tested and how, instruments, stretches, assumptions, rows."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date

import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.abreast import letter
from fluewright.report.objects import Emphasis, Facts, Paragraph, Table
from fluewright.sources import limits as safety
from fluewright.steady import Stretch, Window
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.inputs import Assumption, base_words, heating_value_base
from fluewright.studies.instrument_checks import CheckedReading
from fluewright.visit import Cell, SetAsideRows, SpotReading, accuracy_of

_BRIEF = 220  # characters of a typed text that page one bears
_MOST_LETTERED = 24  # refused stretches that figure and table tell one by one: the longest with flue gas
_WITHOUT_GAS = frozenset({"fresh air", "pre-purge", "off", "no flue gas reading"})


def facts(audit: Audit) -> Facts:
    """Return what was tested, where, when, by whom, and with what fuel, as short as page one needs it."""
    return Facts([(name, words.brief(text, _BRIEF)) for name, text in _identity(audit)])


def _identity(audit: Audit) -> list[tuple[str, str]]:
    plan = audit.visit.plan
    kind = safety.appliance_type(plan.appliance.type).label
    named = " ".join(filter(None, (plan.appliance.make, plan.appliance.model)))
    serial = f"serial {plan.appliance.serial}" if plan.appliance.serial else ""
    day = words.day(plan.visit.date, plan.report.units)
    hours = words.together(*(_hours(audit, point) for point in audit.points))
    who = [
        plan.visit.tested_by,
        f"license {plan.visit.licence}" if plan.visit.licence else "",
        plan.visit.organization,
    ]
    pairs = [
        (
            "Appliance",
            words.together(plan.appliance.description or kind, named, serial, plan.appliance.location),
        ),
        ("Where", words.together(plan.site.name, plan.site.address)),
        ("When", f"{day}: {hours} ({plan.visit.time_zone.replace('_', ' ')})"),
        ("Tested by", words.together(*who) or "not stated"),
        ("For", plan.visit.client),
        ("Fuel", words.capital(audit.fuel.name)),
    ]
    return [(name, text) for name, text in pairs if text]


def _hours(audit: Audit, point: PointAudit) -> str:
    zone = audit.visit.plan.visit.time_zone
    return (
        f"{point.name}, {words.clock(point.rows.start, zone)[:5]} to {words.clock(point.rows.end, zone)[:5]}"
    )


# ---------------------------------------------------------------------------- conditions and instruments


def conditions(audit: Audit) -> Facts:
    """Return what the test was made under, and what the nameplate says."""
    plan, system = audit.visit.plan, audit.visit.plan.report.units
    site, sampling = plan.site, plan.sampling

    pressure = site.barometric_pressure
    entered = (
        ""
        if pressure is None
        else f"barometric pressure {words.bound('barometric_pressure', pressure, system)}"
    )
    shared = [_spot_words(audit, quantity, taken) for quantity, taken in audit.visit.spots.items()]
    pairs = [
        ("Purpose", plan.visit.purpose),
        ("Air at the site", words.capital(words.together(entered, *shared))),
        ("Elevation", _elevation(site.elevation, system)),
        (
            "Sampling",
            words.together(sampling.port or "Sampling port not stated", sampling.position, sampling.notes),
        ),
        ("Nameplate", words.capital(_nameplate(audit))),
        ("Vent", words.together(f"Draft {plan.appliance.draft or 'not stated'}", plan.appliance.vent)),
        ("Appliance notes", plan.appliance.notes),
        ("Fuel", words.capital(_fuel(audit))),
        *((f"Before {point.name}", point.changed) for point in plan.test_points),
        *((f"Notes, {point.name}", point.notes) for point in plan.test_points),
        ("Notes", plan.visit.notes),
        *((f"{name}, in full", text) for name, text in _identity(audit) if len(text) > _BRIEF),
    ]
    return Facts([(words.short_name(name), text) for name, text in pairs if text])


def _elevation(elevation: float | None, system: words.System) -> str:
    if elevation is None:
        return ""
    feet = units.convert(elevation, "m", "foot", "elevation")
    return f"{feet:,.0f} ft" if system == "US" else f"{elevation:,.0f} m"


def _spot_words(audit: Audit, quantity: str, taken: Sequence[SpotReading]) -> str:
    label = sources.quantity(quantity).label
    values = words.joined(words.spot(one, audit.visit.plan.report.units) for one in taken)
    return f"{label[0].lower()}{label[1:]} {values}"


def _nameplate(audit: Audit) -> str:
    plate, system = audit.visit.plan.appliance, audit.visit.plan.report.units

    def figure(name: str, quantity: str, value: float | None) -> str:
        return f"{name} {words.bound(quantity, value, system)}" if value is not None else ""

    rise = plate.temperature_rise
    return words.together(
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
        f"{name.translate(_SUBSCRIPTS)} {100 * float(share):.2f} %"
        for name, share in fuel.composition.items()
    )
    heat = plan.fuel.heating_value
    stated = heat is not None and (
        f"gross heating value {words.bound('gross_heating_value_volume', heat, system)} at "
        f"{words.in_system(base_words(heating_value_base(audit.visit)), system)}"
        f" ({plan.fuel.heating_value_source or 'source not stated'})"
    )
    return words.together(f"{fuel.name}: {parts} by volume", stated or "")


def instruments(audit: Audit) -> Table:
    """Return the instruments, their calibration, and their accuracy as stated or assumed."""
    plan = audit.visit.plan
    rows = [
        (
            words.together(
                words.brief(instrument.description, _BRIEF),
                instrument.serial and f"serial {instrument.serial}",
            ),
            instrument.calibrated.isoformat() if instrument.calibrated else "not stated",
            _due(instrument.calibration_due, plan.visit.date),
            " ".join(map(words.sentence, _accuracies(audit, name))) or "Used for nothing in this audit.",
        )
        for name, instrument in plan.instruments.items()
    ]
    return Table(
        columns=("Instrument", "Calibrated", "Due", "Accuracy as stated; of two figures the greater holds"),
        rows=rows,
        caption="Instruments.",
        align=("left",) * 4,
        notes=[_tests_of_instruments(audit), *_clocks(audit), *_unnamed_spots(audit)],
    )


def _tests_of_instruments(audit: Audit) -> str:
    """Return whether the instruments themselves were tested, as recorded."""
    checks = audit.visit.plan.checks

    def recorded(name: str) -> str:
        record = checks.get(name)
        return "not tested" if record is None else record.result + (record.note and f" ({record.note})")

    known = any(instrument.drift_checks for instrument in audit.visit.plan.instruments.values())
    return words.sentence(
        words.together(
            f"leak test of probe and hose: {recorded('probe_leak')}",
            f"bump test of the carbon monoxide cell: {recorded('bump_test')}",
            f"zero and span checks: {'below' if known else 'not tested'}",
        )
    )


def _clocks(audit: Audit) -> Iterator[str]:
    """Yield how the clock of each log was put right, where it was."""
    for account in audit.visit.readings.accounts:
        if account.clock is not None:
            yield f"Clock of {account.file}: {words.sentence(_note(account.clock.words))}"


def _note(text: str) -> str:
    """Return a note on a log with a minus where a number has a hyphen before it."""
    return re.sub(r"(?<!\S)-(?=\d)", "−", text)


def instrument_checks(audit: Audit) -> Table | None:
    """Return what the instruments showed of something known, and what that did to their readings."""
    plan = audit.visit.plan
    by_instrument: dict[str, list[CheckedReading]] = {}
    for one in audit.instrument_checks:
        by_instrument.setdefault(one.instrument, []).append(one)
    rows: list[tuple[str, ...]] = []
    emphasis: dict[int, Emphasis] = {}
    for name, found in by_instrument.items():
        if len(by_instrument) > 1:
            emphasis[len(rows)] = "strong"
            tool = plan.instruments.get(name)
            rows.append((words.brief(tool.description if tool else name, 60), "", "", "", ""))
        rows += [row for one in found for row in _checks_of(one, plan.report.units)]
    if not rows:
        return None
    return Table(
        columns=("Checked", "Read", "Should read", "Difference", "Error counted, half-width"),
        rows=rows,
        caption="Instruments held against what is known, and what that did to their readings; corrected where said.",
        align=("left",) * 5,
        emphasis=emphasis,
    )


def _checks_of(one: CheckedReading, system: words.System) -> Iterator[tuple[str, ...]]:
    for number, check in enumerate(one.checks):
        yield (
            words.capital(f"{words.in_a_sentence(one.quantity)}; {check.kind}"),
            words.level(one.quantity, check.shown, system),
            ", ".join(filter(None, (words.level(one.quantity, check.reference, system), check.by))),
            words.level(one.quantity, check.shown - check.reference, system, change=True),
            words.sentence(_effect(one, system)) if number == 0 else "",
        )


def _effect(one: CheckedReading, system: words.System) -> str:
    """Return what the checks of a reading did to it: whether it was corrected, and how much wider it became."""
    if not one.test_point:
        return "no reading to widen"
    stated, widened = (words.half_width(one.quantity, half, system) for half in (one.stated, one.widened))
    wider = f"± {widened}, no wider" if stated == widened else f"± {widened} instead of ± {stated}"
    if not one.corrected:
        return wider
    return f"{wider}; {words.level(one.quantity, one.added, system, change=True)} added, as asked"


def _due(due: date | None, tested: date) -> str:
    if due is None:
        return "not stated"
    return f"{due.isoformat()}, OVERDUE at the test" if due < tested else due.isoformat()


_SWITCHES = frozenset({"blower_on", "burner_on"})  # on or off: no accuracy to state


def _used(audit: Audit, instrument: str) -> Iterator[str]:
    """Yield the quantities that an instrument read in this visit."""
    for channel in audit.visit.readings.channels.values():
        if (
            channel.instrument == instrument
            and channel.origin == "measured"
            and channel.quantity not in _SWITCHES
        ):
            yield channel.quantity
    spots = [audit.visit.spots, *(point.rows.spots for point in audit.points)]
    for taken in (one for found in spots for group in found.values() for one in group):
        if taken.instrument == instrument:
            yield taken.quantity


def _accuracies(audit: Audit, instrument: str) -> Iterator[str]:
    """Yield the accuracies of an instrument, quantities of one accuracy together; their names may hold commas."""
    system = audit.visit.plan.report.units
    wanted = dict.fromkeys(_used(audit, instrument)) or audit.visit.plan.instruments[instrument].accuracy
    alike: dict[str, list[str]] = {}
    for quantity in wanted:
        stated = accuracy_of(audit.visit.plan, quantity, instrument=instrument)
        text = (
            words.accuracy(stated, quantity, system) if stated.stated else _assumed_accuracy(audit, quantity)
        )
        alike.setdefault(text, []).append(words.in_a_sentence(quantity))
    for text, names in alike.items():
        yield f"{'; '.join(names)}: {text}"


def _assumed_accuracy(audit: Audit, quantity: str) -> str:
    for point in audit.points:
        mean = point.settled.means.get(quantity) if point.settled is not None else None
        if mean is not None and not mean.accuracy_stated and mean.bias > 0:
            half = words.half_width(quantity, mean.bias, audit.visit.plan.report.units)
            return f"not stated, assumed ± {half}"
    return "not stated, assumed"


def _unnamed_spots(audit: Audit) -> list[str]:
    spots = [audit.visit.spots, *(point.rows.spots for point in audit.points)]
    unnamed = dict.fromkeys(
        one.quantity for found in spots for group in found.values() for one in group if not one.instrument
    )
    listed = words.joined(words.in_a_sentence(name) for name in unnamed)
    return (
        [f"Read by hand with an instrument that was not named, accuracy not stated: {listed}."]
        if unnamed
        else []
    )


# ---------------------------------------------------------------------------- stabilization


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """A stretch of a test point as figure and table name it: a letter, "window", or "" for a short one of very many."""

    letter: str
    test_point: str
    part: Stretch | Window


def marks(points: Sequence[PointAudit]) -> tuple[Mark, ...]:
    """Return every stretch of the test points in order of time: refused ones by letter, windows by name."""
    refused = sorted(_weight(part) for point in points for part in point.steadiness.refused)
    least = refused[-_MOST_LETTERED] if len(refused) > _MOST_LETTERED else (False, 0)
    made: list[Mark] = []
    count = 0
    for point in points:
        steady = point.steadiness
        parts: list[Stretch | Window] = [*steady.refused, *([steady.window] if steady.window else [])]
        for part in sorted(parts, key=lambda one: one.start):
            told = isinstance(part, Stretch) and _weight(part) >= least and count < _MOST_LETTERED
            name = "window" if isinstance(part, Window) else letter(count) if told else ""
            count += told
            made.append(Mark(letter=name, test_point=point.name, part=part))
    return tuple(made)


def _weight(part: Stretch) -> tuple[bool, int]:
    """Return how much a refused stretch is worth telling: one with flue gas before one without, then by its rows."""
    return part.phase not in _WITHOUT_GAS, part.rows


def stretches(audit: Audit, points: Sequence[PointAudit]) -> Table:
    """Return every stretch of the test points with its rows and why it was taken or refused; the rows add up."""
    zone = audit.visit.plan.visit.time_zone
    found = marks(points)
    rows: list[tuple[str, ...]] = []
    emphasis: dict[int, Emphasis] = {}
    for point in points:
        emphasis[len(rows)] = "strong"
        ends = words.clock(point.rows.start, zone), words.clock(point.rows.end, zone)
        rows.append(("", *ends, f"{point.steadiness.rows:,}", f"{words.capital(point.name)}: all rows"))
        own = [one for one in found if one.test_point == point.name]
        for mark in (one for one in own if one.letter):
            if mark.letter == "window":
                emphasis[len(rows)] = "note"
            rows.append((mark.letter, *_when(mark.part, zone), f"{mark.part.rows:,}", _why(mark.part)))
        short = [one.part for one in own if not one.letter and isinstance(one.part, Stretch)]
        for kind, left in (
            (
                "without flue gas: fresh air, the burner off or no reading",
                [p for p in short if not _weight(p)[0]],
            ),
            ("with flue gas, none longer", [p for p in short if _weight(p)[0]]),
        ):
            if left:
                told = (
                    f"{len(left):,} more stretches {kind}: not drawn, each with its reason in results.json."
                )
                rows.append(("", "", "", f"{sum(part.rows for part in left):,}", told))
    return Table(
        columns=("", "From", "To", "Rows", "What it is, and why it was taken or refused"),
        rows=rows,
        caption="Every row of each test point: the window, and what was refused.",
        align=("left", "left", "left", "decimal", "left"),
        emphasis=emphasis,
    )


def _when(part: Stretch | Window, zone: str) -> tuple[str, str]:
    return words.clock(part.start, zone), words.clock(part.end, zone)


def _why(part: Stretch | Window) -> str:
    if isinstance(part, Stretch):
        told = part.reason.startswith(part.phase) or part.phase in part.reason
        return words.sentence(part.reason if told else f"{part.phase}: {part.reason}")
    if part.chosen_by == "person":
        return words.sentence(f"window chosen by a person: {part.because}")
    return words.sentence(f"steady: {part.because}")


def window_lines(audit: Audit, point: PointAudit) -> Table | None:
    """Return the lines that accept the least bad window of a test point, where one is on offer."""
    offered = point.steadiness.least_bad
    if offered is None:
        return None
    start, end = (_moment(audit, moment) for moment in (offered.start, offered.end))
    line = f'window = {{ start = {start}, end = {end}, because = "why a person accepts it" }}'
    return Table(
        columns=(f"To accept it: a line for visit.toml, below the name of {words.short_name(point.name)}",),
        rows=[(line,)],
        align=("left",),
    )


def _moment(audit: Audit, moment: pd.Timestamp) -> str:
    local = moment.tz_convert(audit.visit.plan.visit.time_zone).tz_localize(None)
    same_day = local.date() == audit.visit.plan.visit.date
    return str(local.time().isoformat() if same_day else local.isoformat())


# ---------------------------------------------------------------------------- assumptions and rows


def assumptions(audit: Audit) -> Table:
    """Return what was taken because the visit did not say, and what it moves; accuracies that nobody stated as one."""
    system = audit.visit.plan.report.units
    unstated = [one for one in audit.assumptions if one.unstated]
    rows = [_assumption(one, system) for one in audit.assumptions if not one.unstated]
    return Table(
        columns=("Assumed", "Taken", "Why", "Effect"),
        rows=[*rows, *([_unstated(unstated, system)] if unstated else [])],
        caption="What was taken because the visit does not say. Effect: what it alone moves the gross efficiency by.",
        align=("left",) * 4,
    )


def _assumption(one: Assumption, system: words.System) -> tuple[str, str, str, str]:
    name = one.number.quantity if one.number is not None else one.subject
    label = sources.quantity(name).label if name in sources.quantities() else words.plain(one.subject)
    number = words.amount(one.number, system) if one.number is not None else ""
    basis = words.in_system(one.number.basis, system) if one.number is not None else ""
    taken = words.together(", ".join(filter(None, (number, basis))), one.text)
    return label, taken or "–", words.sentence(one.why), _moved(one.effect, system)


def _moved(effect: Number | None, system: words.System) -> str:
    return "–" if effect is None else f"± {words.half_width(effect.quantity, effect.value, system)}"


def _unstated(found: Sequence[Assumption], system: words.System) -> tuple[str, str, str, str]:
    """Return the accuracies that were assumed as one row, those that move most first."""

    def size(one: Assumption) -> float:
        return 0.0 if one.effect is None else one.effect.value

    ranked = sorted(found, key=size, reverse=True)
    whole = Number(quantity="efficiency_gross", value=math.hypot(*map(size, ranked)), origin="computed")
    names = (
        words.in_a_sentence(one.subject)
        + (f" ({_moved(one.effect, system)})" if one.effect is not None else "")
        for one in ranked
    )
    return (
        "Accuracy of instruments",
        f"a cautious one for {words.joined(names)}",
        words.sentence(found[0].why),
        f"{_moved(whole, system)} together" if whole.value else "–",
    )


def account_of_rows(audit: Audit) -> Table:
    """Return what became of every row of each log, and of each test point; every line adds up."""
    return Table(
        columns=("Log", "Rows read", "Used", "Set aside", "Why, and what else was done to the log"),
        rows=[
            (
                account.file,
                f"{account.read:,}",
                f"{account.used:,}",
                f"{account.read - account.used:,}",
                words.sentence(
                    words.together(*map(_set_aside, account.set_aside), *map(_note, account.notes))
                ),
            )
            for account in audit.visit.readings.accounts
        ],
        caption="Account of rows: what was read was used or set aside.",
        align=("left", "decimal", "decimal", "decimal", "left"),
        notes=[_rows_of(point) for point in audit.points],
    )


def column_map(audit: Audit) -> Paragraph:
    """Return what each column of each log was read as, a paragraph for each log."""
    by_log: dict[str, list[str]] = {}
    for name, channel in audit.visit.readings.channels.items():
        apart = ", computed inside the instrument, not used" if channel.origin == "instrument" else ""
        apart += ", interpolated as asked" if channel.interpolated else ""
        apart += _not_numbers(audit.visit.readings.cells(name))
        read = f"“{channel.column}” [{channel.unit}] as {words.in_a_sentence(name)}{apart}"
        by_log.setdefault(channel.file, []).append(read)
    return Paragraph(
        "What each column of the logs was read as, with its unit as the visit states it:",
        points=[f"{file}: {words.together(*read)}." for file, read in by_log.items()],
        quiet=True,
    )


_CELLS = {
    Cell.OVER_RANGE: "over range",
    Cell.UNDER_RANGE: "under range",
    Cell.NO_NUMBER: "with a word or mark for no reading",
    Cell.EMPTY: "empty",
}


def _not_numbers(counts: Mapping[Cell, int]) -> str:
    """Return on how many rows there was no number, by what stood there instead, or nothing."""
    told = words.joined(f"{counts[cell]:,} {text}" for cell, text in _CELLS.items() if counts[cell])
    return f" (of {sum(counts.values()):,} rows {told})" if told else ""


def _rows_of(point: PointAudit) -> str:
    steady = point.steadiness
    taken = steady.window.rows if steady.window else 0
    return words.sentence(
        f"{point.name}: {steady.rows:,} rows on the common time axis, {taken:,} in the window and "
        f"{steady.rows - taken:,} refused, as listed under stabilization"
    )


def _set_aside(part: SetAsideRows) -> str:
    example = f", such as “{part.example}”" if part.example else ""
    return f"{part.rows:,} set aside: {part.reason}, first at row {part.first_row:,}{example}"


def versions(provenance: Mapping[str, object]) -> str:
    """Return the versions of what computed the audit, in words."""
    libraries = provenance["libraries"]
    assert isinstance(libraries, Mapping)
    return words.joined(
        [f"Python {provenance['python']}", *(f"{name} {version}" for name, version in libraries.items())]
    )
