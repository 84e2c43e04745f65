"""Test points beside each other in one table: what each read or came to, its interval, and what it is held against."""

from __future__ import annotations

import math
import string
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from fluewright import sources
from fluewright.appliance import Judgement, Number
from fluewright.report import words
from fluewright.report.objects import Align, Section, Table
from fluewright.report.words import Printed
from fluewright.sources import limits as safety
from fluewright.sources.limits import Citation
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.heat_settings import plate_of

_ABREAST = 3  # test points beside each other in one table
_FROM_GAS = ("efficiency_", "excess_air", "loss_")  # what follows from the flue gas as a whole
NOT_TESTED = Printed(value="not tested", interval="", sign="")


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
    aligns: list[Align] = ["left", "left", *(("decimal", "left") * len(names)), "left"]
    rows = []
    for line in lines:
        cells = line.cells or (Printed(value="", interval="", sign=""),) * len(names)
        row = [line.label, line.sign, *(text for cell in cells for text in (cell.value, cell.interval))]
        rows.append([*row, line.remark] if remarks else row)
    return Table(
        columns=["", "Unit", *heads, *([remarks] if remarks else [])],
        rows=rows,
        caption=caption,
        align=aligns if remarks else aligns[:-1],
        emphasis={number: "strong" for number, line in enumerate(lines) if not line.cells},
        notes=notes,
    )


def names_of(audit: Audit) -> tuple[str, ...]:
    """Return the names of the test points."""
    return tuple(point.name for point in audit.points)


def number_of(point: PointAudit, name: str) -> Number | None:
    """Return a result or a mean of a test point by its name, or None."""
    return point.numbers.get(name, point.readings.get(name))


def quantity_of(name: str) -> str:
    """Return the quantity that a number of a test point is one of: "carbon_dioxide_dry_computed" is computed."""
    return name.removesuffix("_net").removesuffix("_computed").removesuffix("_instrument")


def absent(point: PointAudit, name: str) -> str:
    """Return in a word or two why a test point has no such number."""
    if name.endswith("_instrument"):
        return "–"
    if name.startswith("carbon_monoxide_air_free") and point.state:
        return "cannot tell"
    if name.startswith(_FROM_GAS) and point.state and point.settled is not None:
        return "cannot tell"
    formed = name.endswith("_computed") or sources.quantity(quantity_of(name)).kind == "result"
    read = formed or name in point.frame or name in point.spots
    return "no window" if point.settled is None and read else "not tested"


def cell(point: PointAudit, name: str, system: words.System) -> Printed:
    """Return a number of a test point as printed, or why there is none."""
    number = number_of(point, name)
    if number is None:
        return Printed(value=absent(point, name), interval="", sign="")
    return words.printed(number, system)


def line_of(audit: Audit, name: str, *, label: str = "") -> Line:
    """Return one quantity at all test points."""
    system = audit.visit.plan.report.units
    quantity = quantity_of(name)
    return Line(
        label=label or sources.quantity(quantity).label,
        sign=words.sign(quantity, system),
        cells=tuple(cell(point, name, system) for point in audit.points),
    )


def heading_line(label: str) -> Line:
    """Return a heading inside a table."""
    return Line(label=label, sign="", cells=())


def known(audit: Audit, names: Iterable[str]) -> Iterator[str]:
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
    spans = [_strictest(one for one in mine if one.test_point == name) for name in names_of(audit)]
    texts = dict.fromkeys(words.bare_span(quantity, *span, system) for span in spans if span is not None)
    if texts:  # more than one where each stage has its own
        bounds = {bound for span in spans if span is not None for bound in span if math.isfinite(bound)}
        strictest = (one for one in mine if not bounds.isdisjoint((one.limit_low, one.limit_high)))
        return Yardstick(text="; ".join(texts), citation=next(strictest).citation)
    if any(one.subject == quantity and one.outcome == "no limit known" for one in audit.judgements):
        return Yardstick(text="no limit known")
    usual = safety.usual_range(quantity, appliance_type=appliance.type, condensing=appliance.condensing)
    if usual is not None:
        text = words.bare_span(quantity, usual.low, usual.high, system)
        return Yardstick(text=f"usually {text}", citation=usual.citation)
    return (
        nameplate(audit, quantity, "rated_input") if quantity == "heat_input_clocked" else Yardstick(text="")
    )


def _strictest(judged: Iterable[Judgement]) -> tuple[float, float] | None:
    """Return the bounds that hold at a test point, NaN on a side without one; None where there is none at all."""
    mine = tuple(judged)
    low = max((one.limit_low for one in mine if math.isfinite(one.limit_low)), default=math.nan)
    high = min((one.limit_high for one in mine if math.isfinite(one.limit_high)), default=math.nan)
    return (low, high) if math.isfinite(low) or math.isfinite(high) else None


def nameplate(audit: Audit, quantity: str, name: str) -> Yardstick:
    """Return what the nameplate says of a quantity, at the stages that were tested."""
    plates = [plate_of(audit.visit, name, point.stage) for point in audit.points]
    system = audit.visit.plan.report.units
    texts = dict.fromkeys(words.bare(quantity, plate, system) for plate in plates if plate is not None)
    return Yardstick(text=f"nameplate {'; '.join(texts)}" if texts else "")


def footnoted(yardsticks: Sequence[Yardstick]) -> tuple[list[str], list[str]]:
    """Return the yardsticks with a letter for each source, and the sources by letter."""
    letters: dict[str, str] = {}
    texts = [
        f"{one.text} ({letter_of(one.citation, letters)})" if one.citation is not None else one.text
        for one in yardsticks
    ]
    return texts, notes_of(letters)


def notes_of(letters: Mapping[str, str]) -> list[str]:
    """Return the sources behind the letters as one note, or none."""
    told = " ".join(f"({letter}) {named}." for named, letter in letters.items())
    return [told] if told else []


def letter_of(citation: Citation, letters: dict[str, str]) -> str:
    """Return the letter of a source in `letters`, a new one where it has none yet."""
    return letters.setdefault(words.short_source(citation), letter(len(letters)))


def letter(number: int) -> str:
    """Return a letter for 0 to 25, then two."""
    rest, place = divmod(number, 26)
    return (letter(rest - 1) if rest else "") + string.ascii_lowercase[place]
