"""What visit.toml states about an instrument: its accuracy and span for a quantity, and its drift, in SI."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence

from fluewright import sources, units
from fluewright.visit.problems import RefusalError, shown
from fluewright.visit.readings import Drift, StatedAccuracy
from fluewright.visit.schema import Accuracy, Instrument, KnownGas, VisitFile, not_below_zero
from fluewright.visit.wordings import read_number

_ROUNDED = 1e-9  # relative: a limit survives a change of unit


def stated_accuracy(instruments: Mapping[str, Instrument], instrument: str, quantity: str) -> StatedAccuracy:
    """Return what is stated for one quantity of an instrument; `stated` is False where nothing is.

    Raises
    ------
    UnitError, RefusalError
        A unit is unknown or of the wrong kind, or a share of the span is given without a span.
    """
    known = instruments.get(instrument)
    accuracy = known.accuracy.get(quantity) if known is not None else None
    if accuracy is None:
        return StatedAccuracy(instrument=instrument, stated=False)
    known_as = sources.quantity(quantity)
    step, usual = known_as.unit, known_as.usual_units
    if step == "K":
        step, usual = "delta_degC", tuple(f"delta_{one}" for one in usual)
    span = _span(accuracy, quantity)
    if accuracy.of_span is not None and span is None:
        raise RefusalError(
            f"the accuracy of {quantity} is a share of the span, and no span is given",
            rule="a share of the span needs the span",
            way_out="Give span, the lowest and highest reading with unit",
        )
    absolute = _parsed(accuracy.absolute, step, "absolute", usual)
    if span is not None and absolute > span[1] - span[0]:
        raise RefusalError(
            f"the accuracy of {quantity} is {shown(str(accuracy.absolute))}, more than its whole span",
            rule="an instrument reads its span better than that",
            way_out="Check number and unit; percent of reading is of_reading, percent of span of_span",
        )
    return StatedAccuracy(
        instrument=instrument,
        absolute=absolute,
        of_reading=accuracy.of_reading or 0.0,
        of_span=(accuracy.of_span or 0.0) * (span[1] - span[0] if span else 0.0),
        resolution=_parsed(accuracy.resolution, step, "resolution", usual),
        response_time=accuracy.response_time or 0.0,
        stated=any(part is not None for part in (accuracy.absolute, accuracy.of_reading, accuracy.of_span)),
        span=span,
    )


def _parsed(text: str | None, unit: str, name: str, usual: Sequence[str]) -> float:
    bare = re.sub(r"^\s*(±|\+/-|\+-)", "", text or "")  # as a data sheet writes an accuracy
    return not_below_zero(read_number(bare, unit, name, usual=usual), name, text) if bare else 0.0


def _read(text: str, quantity: str, name: str) -> float:
    """Return a reading of a quantity, written as text, in SI."""
    known = sources.quantity(quantity)
    return read_number(text, known.unit, name, usual=known.usual_units)


def possible(quantity: str, accuracy: StatedAccuracy) -> tuple[float, float]:
    """Return between what a reading [SI] can be: what the quantity can, and more by the instrument's error."""
    known = sources.quantity(quantity)
    allowed = max(accuracy.absolute, accuracy.of_span, accuracy.resolution)
    low = -math.inf if known.low is None else known.low - allowed - abs(known.low) * _ROUNDED
    high = math.inf if known.high is None else known.high + allowed + abs(known.high) * _ROUNDED
    return low, high


def on_display(quantity: str, reading: float) -> float:
    """Return a reading [SI] as the display shows it, of which accuracies are a share: degrees Celsius, not kelvins."""
    return reading - units.convert(0.0, "degC", "K") if sources.quantity(quantity).unit == "K" else reading


def _span(accuracy: Accuracy, quantity: str) -> tuple[float, float] | None:
    if accuracy.span is None:
        return None
    low, high = (_read(text, quantity, "span") for text in accuracy.span)
    if not low < high:
        raise RefusalError(
            f"the span of {quantity} runs from {accuracy.span[0]} to {accuracy.span[1]}",
            rule="the lowest reading comes first",
            way_out="Write the lowest and the highest reading the instrument can show",
        )
    return low, high


def accuracy_of(plan: VisitFile, quantity: str, *, instrument: str | None = None) -> StatedAccuracy:
    """Return the stated accuracy [SI] of the instrument that logged `quantity`, or of the one named.

    Parameters
    ----------
    plan : VisitFile
        The visit.
    quantity : str
        A quantity of the nomenclature.
    instrument : str, optional
        For a spot reading: the instrument it was taken with.
    """
    named = _logged_with(plan, quantity) if instrument is None else instrument
    return stated_accuracy(plan.instruments, named, quantity)


def _logged_with(plan: VisitFile, quantity: str) -> str:
    return next(
        (
            column.instrument or log.instrument
            for log in plan.logs
            for column in log.columns.values()
            if column.quantity == quantity
        ),
        "",
    )


def drift_of(plan: VisitFile, quantity: str, *, instrument: str | None = None) -> Drift:
    """Return what zero and span checks found [SI] of the instrument that logged `quantity`, or of the one named.

    Without any check there is none, which is not to say that the instrument did not drift.
    """
    named = _logged_with(plan, quantity) if instrument is None else instrument
    return stated_drift(plan.instruments, named, quantity)


def stated_drift(instruments: Mapping[str, Instrument], instrument: str, quantity: str) -> Drift:
    """Return what the checks of one quantity of an instrument found.

    Raises
    ------
    UnitError, RefusalError
        A unit is unknown or of the wrong kind, or zero and span are the same.
    """
    known = instruments.get(instrument)
    checks = known.drift_checks.get(quantity) if known is not None else None
    if checks is None:
        return Drift()
    return Drift(
        before=_found(quantity, checks.zero_before, checks.span_before),
        after=_found(quantity, checks.zero_after, checks.span_after),
        correct=checks.correct,
    )


def _found(quantity: str, *checks: KnownGas | None) -> tuple[tuple[float, float], ...]:
    found = []
    for check in checks:
        if check is not None:
            shown = _read(check.shown, quantity, "shown")
            found.append((shown, shown - _read(check.applied, quantity, "applied")))
    if len(found) > 1 and not found[0][0] < found[1][0]:
        raise RefusalError(
            f"the span check of {quantity} shows no more than the zero check",
            rule="zero is checked low and span is checked high",
            way_out="Put the two right",
        )
    return tuple(found)
