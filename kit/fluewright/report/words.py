"""Numbers, limits, times and sources in the words a reader of the report knows.

Every number is rounded to its uncertainty: at most two significant digits of the half-width of its interval, and
never more decimals than the nomenclature allows. A difference of temperatures is scaled and never shifted.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Judgement, Number
from fluewright.sources.limits import Citation
from fluewright.steady.words import System, channel_words, digits, duration
from fluewright.studies.audit import Audit, PointAudit
from fluewright.visit import SpotReading, StatedAccuracy

__all__ = [
    "Printed",
    "System",
    "accuracy",
    "amount",
    "bound",
    "clock",
    "day",
    "duration",
    "joined",
    "limit",
    "on_page",
    "outcome",
    "printed",
    "sentence",
    "short_source",
    "sign",
    "source",
    "span",
]

_SIGNIFICANT = 2
_LOPSIDED = 0.1  # of the half-width: a value farther from the middle of its interval is printed without "±"
_POINTS = "points"  # percentage points, so that a difference of percentages is not read as a share
_LONGEST_NAME = 40
_FUZZ = 1e-9  # so that 4,000 is not rounded down for an error of conversion in the last digit


@dataclass(frozen=True, slots=True, kw_only=True)
class Printed:
    """A number as text, in parts that a table sets in columns."""

    value: str
    interval: str
    sign: str

    @property
    def words(self) -> str:
        """The whole on one line: "84.6 (84.1 to 85.1) %"."""
        inner = f" ({self.interval})" if self.interval else ""
        return f"{self.value}{inner} {self.sign}".rstrip()


# ---------------------------------------------------------------------------- numbers


def sign(quantity: str, system: System, *, change: bool = False) -> str:
    """Return the unit of a quantity as printed; of a difference where `change` is true."""
    shown = sources.quantity(quantity).shown(system)
    if not change:
        return shown.sign
    if shown.unit == "percent":
        return _POINTS
    return "K" if shown.unit in {"degC", "delta_degC"} else shown.sign


def on_page(quantity: str, value: units.Number, system: System, *, change: bool = False) -> units.Number:
    """Return a plain number or array [SI] in the unit shown; a difference is scaled and not shifted."""
    entry = sources.quantity(quantity)
    slope, offset = units.factor(entry.unit, entry.shown(system).unit, quantity)
    return value * slope + (0.0 if change else offset)


def _rounded(value: float, decimals: int) -> str:
    text = f"{round(value, decimals):,.{max(decimals, 0)}f}"
    if not text.strip("-0.,"):
        return text.lstrip("-")
    return text.replace("-", "−")


def _floored(value: float) -> float:
    """Return `value` rounded down to three significant digits: a least value must not grow by rounding."""
    if not value > 0:
        return value
    step = 10.0 ** (math.floor(math.log10(value)) - 2)
    return math.floor(value / step + _FUZZ) * step


def _trimmed(value: float, decimals: int) -> str:
    text = _rounded(value, decimals)
    return text.rstrip("0").rstrip(".") if "." in text else text


def _decimals(half_width: float, most: int) -> int:
    """Return the decimals at which `half_width` keeps two significant digits, at most `most`."""
    if not half_width > 0 or math.isinf(half_width):
        return most
    leading = math.floor(math.log10(float(f"{half_width:.1e}")))
    return min(_SIGNIFICANT - 1 - leading, most)


def printed(number: Number, system: System, *, change: bool = False) -> Printed:
    """Return a number as text, rounded to its interval; with its sign before it where it is a `change`."""
    most = sources.quantity(number.quantity).shown(system).decimals
    unit = sign(number.quantity, system, change=change)

    def shown(value: float) -> float:
        return float(on_page(number.quantity, value, system, change=change))

    if number.is_lower_bound:
        least = number.value if math.isnan(number.low) else max(number.value, number.low)
        return Printed(value=f"at least {_trimmed(_floored(shown(least)), most)}", interval="", sign=unit)
    if not number.has_interval:
        return Printed(value=_plus(_trimmed(shown(number.value), most), change), interval="", sign=unit)
    low, high = sorted((shown(number.low), shown(number.high)))
    decimals = _decimals((high - low) / 2, most)
    value = _plus(_rounded(shown(number.value), decimals), change)
    return Printed(
        value=value, interval=f"{_rounded(low, decimals)} to {_rounded(high, decimals)}", sign=unit
    )


def _plus(text: str, change: bool) -> str:
    return f"+{text}" if change and text.strip("0.,") and not text.startswith("−") else text


def amount(number: Number, system: System, *, change: bool = False) -> str:
    """Return a number with interval and unit: "84.6 (84.1 to 85.1) %", "at least 4,000 ppm"."""
    return printed(number, system, change=change).words


def with_reach(number: Number, system: System) -> str:
    """Return a number with its interval in one cell: "84.6 ± 0.5", or "3 (0 to 12)" where the two sides differ."""
    text = printed(number, system)
    if not text.interval:
        return text.value
    half = (number.high - number.low) / 2
    if abs(number.low + half - number.value) > _LOPSIDED * half:
        return f"{text.value} ({text.interval})"
    most = sources.quantity(number.quantity).shown(system).decimals
    shown = abs(float(on_page(number.quantity, half, system, change=True)))
    return f"{text.value} ± {_rounded(shown, _decimals(shown, most))}"


def bare(quantity: str, value: float, system: System) -> str:
    """Return a number without interval [SI] and without its unit, such as a limit or an entry: "400"."""
    most = sources.quantity(quantity).shown(system).decimals
    return _trimmed(float(on_page(quantity, value, system)), most)


def bound(quantity: str, value: float, system: System) -> str:
    """Return a number without interval [SI] and its unit, such as a limit or an entry: "400 ppm"."""
    return f"{bare(quantity, value, system)} {sign(quantity, system)}".rstrip()


def level(quantity: str, value: float, system: System, *, change: bool = False) -> str:
    """Return a mean or a difference without interval [SI], at least in tenths: "0.9 ppm", "−0.01 points"."""
    most = max(sources.quantity(quantity).shown(system).decimals, 1)
    text = _plus(_trimmed(float(on_page(quantity, value, system, change=change)), most), change)
    return f"{text} {sign(quantity, system, change=change)}".rstrip()


def bare_span(quantity: str, low: float, high: float, system: System) -> str:
    """Return what a number may lie between [SI], without its unit: "35 to 65", "at most 400", "at least 0"."""
    ends = [bare(quantity, end, system) for end in (low, high) if math.isfinite(end)]
    if len(ends) == 2:
        return " to ".join(ends)
    return f"{'at least' if math.isfinite(low) else 'at most'} {ends[0]}"


def span(quantity: str, low: float, high: float, system: System) -> str:
    """Return what a number may lie between [SI]: "35 to 65 °F", "at most 400 ppm", "at least 0 °F"."""
    return f"{bare_span(quantity, low, high, system)} {sign(quantity, system)}".rstrip()


def spot(reading: SpotReading, system: System) -> str:
    """Return a reading taken by hand: "3.5 in. w.c.", "above 2,000 ppm"."""
    side = {">": "above ", "<": "below "}.get(reading.bound, "")
    return f"{side}{bound(reading.quantity, reading.value, system)}"


def half_width(quantity: str, value: float, system: System) -> str:
    """Return a half-width [SI] as a difference with its unit: "0.31 points", "12 ppm"."""
    shown = float(on_page(quantity, value, system, change=True))
    return f"{digits(shown)} {sign(quantity, system, change=True)}".rstrip()


def accuracy(stated: StatedAccuracy, quantity: str, system: System) -> str:
    """Return what a maker states for one quantity, of which the greatest holds: "± 10 ppm or 5 % of reading"."""
    parts = [_difference(value, quantity, system) for value in (stated.absolute, stated.of_span) if value > 0]
    if stated.of_reading > 0:
        parts.append(f"{digits(100 * stated.of_reading)} % of reading")
    return f"± {' or '.join(parts)}" if parts else "no figure stated"


def _difference(value: float, quantity: str, system: System) -> str:
    unit = sources.quantity(quantity).shown(system).unit
    mark = "%" if unit == "percent" else sign(quantity, system, change=True)
    return f"{digits(float(on_page(quantity, value, system, change=True)))} {mark}".rstrip()


_STATE = re.compile(r"(\d+(?:\.\d+)?) (°C|kPa)")


def in_system(text: str, system: System) -> str:
    """Return the basis of a number, in which states stand in SI, as readers of either system know them: "77 °F"."""
    if system == "SI":
        return text

    def customary(found: re.Match[str]) -> str:
        value = float(found[1])
        if found[2] == "kPa":
            return f"{units.convert(value, 'kPa', 'psi'):.3f} psia"
        return f"{units.convert(value, 'degC', 'degF'):.0f} °F"

    return _STATE.sub(customary, text)


# ---------------------------------------------------------------------------- judgements and their sources


def limit(judgement: Judgement, system: System) -> str:
    """Return the bounds a judgement used: a limit by what keeps it, a trigger by what sets it off."""
    if judgement.measured is None:
        return ""
    if math.isnan(judgement.limit_low) and math.isnan(judgement.limit_high):
        return ""
    low, high = judgement.limit_low, judgement.limit_high
    quantity = judgement.measured.quantity
    if judgement.role != "trigger":
        return span(quantity, low, high, system)
    if low == high:
        return f"other than {bound(quantity, high, system)}"
    if math.isfinite(low) and math.isfinite(high):
        return f"outside {span(quantity, low, high, system)}"
    side, end = ("below", low) if math.isfinite(low) else ("above", high)
    return f"{side} {bound(quantity, end, system)}"


def outcome(judgement: Judgement) -> str:
    """Return the outcome in words; not reaching a trigger proves nothing, and is not called within a limit."""
    if judgement.outcome == "within" and judgement.role == "trigger":
        return "not exceeded"
    return judgement.outcome


def source(citation: Citation) -> str:
    """Return where a value stands, in full: source, edition, jurisdiction, place, and how we came by it."""
    status = citation.status_words
    if citation.status == "chosen":
        own = citation.jurisdiction.startswith("none")
        named = f"{citation.source}, no authority stands behind it" if own else citation.source
        return sentence(f"{named}; {citation.place}: {citation.note}")
    return sentence(
        f"{citation.source}; {citation.edition}; {citation.jurisdiction}; {citation.place} ({status})"
    )


_SHORT_STATUS = {
    "quoted": "as quoted",
    "memory": "value from memory: to be checked against the edition in force",
    "entered": "entered in the visit",
}


def short_source(citation: Citation) -> str:
    """Return the source on half a line, with a warning where its text was not seen."""
    dated = any(letter.isdigit() for letter in citation.edition) and citation.edition not in citation.source
    named = f"{citation.source}, {citation.edition}" if dated else citation.source
    status = _SHORT_STATUS.get(citation.status, "")
    return f"{named} ({status})" if status else named


# ---------------------------------------------------------------------------- time and sentences


def clock(moment: pd.Timestamp, zone: str) -> str:
    """Return the local clock time of the visit's zone: "10:04:30"."""
    return str(moment.tz_convert(zone).strftime("%H:%M:%S"))


def day(when: date, system: System) -> str:
    """Return a date in full, the way readers of either system of units write it."""
    return f"{when:%B} {when.day}, {when.year}" if system == "US" else f"{when.day} {when:%B} {when.year}"


def together(*parts: str) -> str:
    """Return the parts that hold something, with semicolons between."""
    return "; ".join(part for part in parts if part)


def joined(items: Iterable[str], *, last: str = "and") -> str:
    """Return a list in words: "oxygen, flue temperature and draft"."""
    words = list(items)
    return f"{', '.join(words[:-1])} {last} {words[-1]}" if len(words) > 1 else "".join(words)


def sentence(text: str) -> str:
    """Return `text` with a capital at its beginning and a stop at its end."""
    text = capital(text.strip())
    return text if not text or text.endswith((".", "!", "?", ":")) else f"{text}."


def short_name(text: str) -> str:
    """Return a name a person typed, on one line and no longer than a heading can bear."""
    line = " ".join(text.split())
    return line if len(line) <= _LONGEST_NAME else f"{line[: _LONGEST_NAME - 1]}…"


def capital(text: str) -> str:
    """Return `text` with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def heading(text: str) -> str:
    """Return a name a person typed as the head of a column."""
    return capital(short_name(text))


def brief(text: str, longest: int) -> str:
    """Return `text`, cut with an ellipsis where it is longer than a page can bear at this place."""
    return text if len(text) <= longest else f"{text[: longest - 1].rstrip()}…"


def in_a_sentence(quantity: str) -> str:
    """Return what a sentence calls a quantity."""
    return channel_words(quantity)


def matters_most(audit: Audit, point: PointAudit) -> str:
    """Return which instrument to improve for the first result that was formed, and what that gives."""
    name = next(one for one in ("efficiency_gross", *point.contributions) if point.contributions.get(one))
    ranked, label = point.contributions[name], sources.quantity(name).label
    first = ranked[0]
    tools = {one.group: _tool(audit, point, one.group) for one in ranked}
    share = f"{100 * first.share:.0f} % of the variance of the {label[0].lower()}{label[1:]}"
    narrower = _without(audit, point, name, first.share)
    if tools[first.group]:
        return (
            f"the instrument to improve is the one that read {_lowered(first.group)} ({tools[first.group]}): {share}. "
            f"{narrower}"
        ).rstrip()
    second = next((one for one in ranked if tools[one.group]), None)
    said = f"no instrument matters most, but {_lowered(first.group)}: {share}. {narrower}"
    if second is None:
        return said
    of = f"{_lowered(second.group)} ({tools[second.group]}), {100 * second.share:.0f} %"
    return f"{said} Of the instruments it is the one that read {of}."


def _lowered(label: str) -> str:
    return f"{label[:1].lower()}{label[1:]}"


def _tool(audit: Audit, point: PointAudit, group: str) -> str:
    """Return the instrument that read the quantity of a contribution, or nothing where none did."""
    quantity = next((one.name for one in sources.quantities().values() if one.label == group), "")
    mean = point.settled.means.get(quantity) if point.settled is not None else None
    tool = audit.visit.plan.instruments.get(mean.instrument) if mean is not None else None
    return brief(tool.description, 120) if tool is not None else ""


def _without(audit: Audit, point: PointAudit, name: str, share: float) -> str:
    """Return what the interval of a result would be without a contribution; variances add."""
    if name not in point.numbers:  # its draws gave numbers, its central value none
        return ""
    number, system = point.numbers[name], audit.visit.plan.report.units
    half = (number.high - number.low) / 2
    now, then = (half_width(name, value, system) for value in (half, half * math.sqrt(1 - share)))
    return f"Without its error the interval would be about ± {then} instead of ± {now}."


def plain(name: str) -> str:
    """Return an inner name that has no label as words."""
    return capital(name.replace("_", " "))
