"""What is known of the instruments of a visit by test: zero and span checks, fresh air in the log, calibration."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from fluewright import combustion, sources
from fluewright.appliance import Judgement, Number, Outcome
from fluewright.sources.limits import chosen_here
from fluewright.steady import OXYGEN, ChannelMean, stated_or_assumed
from fluewright.studies.fresh_air import fresh_air_checks
from fluewright.studies.inputs import drift_half_width
from fluewright.visit import Visit, accuracy_of, drift_of, read_number

_MONOXIDE = "carbon_monoxide_dry"
_KINDS = {
    "zero_before": "zero, before",
    "zero_after": "zero, after",
    "span_before": "span, before",
    "span_after": "span, after",
}
_FRESH = {
    "before": "fresh air in the log, before",
    "after": "fresh air in the log, after",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentCheck:
    """One check of one quantity of an instrument [SI]: what it showed of something known.

    `by` says what the reference was, where it was not a gas or a temperature applied on purpose.
    """

    kind: str
    shown: float
    reference: float
    by: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckedReading:
    """The checks of one quantity of an instrument, and what they did to its mean at the last test point that has one.

    `added` is what the mean was corrected by, as asked; `stated` and `widened` are the half-widths [SI] of the sensor's
    error without and with what the checks found, NaN where no test point has a mean.
    """

    instrument: str
    quantity: str
    checks: tuple[InstrumentCheck, ...]
    corrected: bool
    test_point: str = ""
    added: float = 0.0
    stated: float = math.nan
    widened: float = math.nan


def checked_readings(
    visit: Visit, means: Iterable[tuple[str, Mapping[str, ChannelMean]]]
) -> tuple[CheckedReading, ...]:
    """Return every quantity that was checked with its checks.

    Parameters
    ----------
    visit : Visit
        The visit.
    means : iterable of (str, mapping)
        The test points that have settled, in their order: name, and means by quantity as they were used.
    """
    found: dict[tuple[str, str], list[InstrumentCheck]] = {}
    for name, instrument in visit.plan.instruments.items():
        for quantity, checks in instrument.drift_checks.items():
            unit = sources.quantity(quantity).unit
            for kind, words in _KINDS.items():
                if (gas := getattr(checks, kind)) is not None:
                    shown, applied = (read_number(text, unit, quantity) for text in (gas.shown, gas.applied))
                    found.setdefault((name, quantity), []).append(
                        InstrumentCheck(kind=words, shown=shown, reference=applied, by=gas.note)
                    )
    for quantity in visit.readings.channels:
        for air in fresh_air_checks(visit, quantity):
            found.setdefault((air.instrument, quantity), []).append(
                InstrumentCheck(kind=_FRESH[air.when], shown=air.shown, reference=air.reference, by=air.by)
            )
    settled = tuple(means)
    return tuple(_checked(visit, *key, tuple(checks), settled) for key, checks in found.items())


def _checked(
    visit: Visit,
    instrument: str,
    quantity: str,
    checks: tuple[InstrumentCheck, ...],
    settled: tuple[tuple[str, Mapping[str, ChannelMean]], ...],
) -> CheckedReading:
    drift = drift_of(visit.plan, quantity, instrument=instrument)
    made = CheckedReading(instrument=instrument, quantity=quantity, checks=checks, corrected=drift.correct)
    means = ((name, means[quantity]) for name, means in reversed(settled) if quantity in means)
    name, mean = next(((name, one) for name, one in means if one.instrument == instrument), ("", None))
    if mean is None:
        return made
    added = drift.correction(mean.mean - drift.correction(mean.mean))
    found = drift_half_width(visit, quantity, instrument, reading=mean.mean - added)
    stated = math.sqrt(max(mean.bias**2 - found**2, 0.0))
    return replace(made, test_point=name, added=added, stated=stated, widened=mean.bias)


def calibration_judgements(visit: Visit) -> Iterator[Judgement]:
    """Yield a note for each instrument whose calibration was overdue on the day of the visit."""
    told = sources.table("appliance")["calibration"]
    for instrument in visit.plan.instruments.values():
        due, last = instrument.calibration_due, instrument.calibrated
        words = "" if due is None else f"due {due.isoformat()}"
        if due is None and last is not None:
            due = last + dt.timedelta(days=told["usual_days"])
            words = f"last {last.isoformat()}, no due date given"
        if due is not None and due < visit.plan.visit.date:
            yield Judgement(
                rule="calibration_overdue",
                subject="calibration",
                test_point="",
                outcome="fault seen",
                weight="note",
                headline=f"{told['headline']}: {instrument.description}, {words}",
                meaning=told["meaning"],
                action=told["action"],
                who=told["who"],
                citation=chosen_here(told["place"], note=told["reason"]),
            )


def fresh_air_judgements(visit: Visit) -> Iterator[Judgement]:
    """Yield whether the cells read fresh air as what it is, within the accuracy stated or assumed for them."""
    errors = [one.error for one in fresh_air_checks(visit, _MONOXIDE)]
    if errors:
        worst = max(errors, key=lambda one: abs(one.value))
        yield _fresh_air_judgement(visit, _MONOXIDE, worst, "zero", rule="carbon_monoxide_zero")
    for quantity in OXYGEN:
        for one in fresh_air_checks(visit, quantity):
            if one.when == "before":
                yield _fresh_air_judgement(visit, quantity, one.error, "air", rule="oxygen_fresh_air")


def _fresh_air_judgement(visit: Visit, quantity: str, worst: Number, kind: str, *, rule: str) -> Judgement:
    stated = stated_or_assumed(accuracy_of(visit.plan, quantity), quantity)
    air = combustion.dry_air()["O2"] if quantity in OXYGEN else 0.0
    half = stated.half_width(air)
    beyond = worst.low > half or worst.high < -half
    outcome: Outcome = (
        "beyond" if beyond else "within" if -half <= worst.low and worst.high <= half else "cannot tell"
    )
    words = sources.table("appliance")["fresh_air_check"][kind]
    return Judgement(
        rule=rule,
        subject=worst.quantity,
        test_point="",
        outcome=outcome,
        weight="note" if beyond else "",
        headline=words[{"beyond": "headline", "within": "within", "cannot tell": "doubtful"}[outcome]],
        measured=worst,
        limit_low=-half,
        limit_high=half,
        role="trigger",
        conditions=words["conditions"],
        meaning=words["meaning"] if beyond else "",
        action=words["action"] if beyond else "",
        who=words["who"] if beyond else "",
        citation=chosen_here(words["place"], note=words["reason"]),
    )
