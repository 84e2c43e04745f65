"""The appliance around the flame: whether its numbers agree, heat exchanger, a year's savings, the visit's record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from fluewright import sources, units
from fluewright.appliance import Number
from fluewright.report import words
from fluewright.report.drawing import COLORS, Drawing, drawing_style, figure, text_width
from fluewright.report.objects import Facts, Figure, Paragraph, Section, Table
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.balancing import Balance, CorrectedReading
from fluewright.studies.visit_record import NOT_RECORDED

_FIT = {
    "fits": "The readings fit together within their uncertainties.",
    "cannot tell": "The readings fit together badly: beyond the 95 % of VDI 2048, not beyond the 99 % of a finding.",
    "does not fit": "The readings do NOT fit together: at least one of them is wrong.",
}
_AGREEMENT = "Do the numbers agree"
_SIGN = {
    "seen": "SEEN",
    "not seen": "not seen; that proves nothing",
    "cannot tell": "cannot tell",
    "not tested": "not tested",
}
_SHORT = 60  # characters of a name and what was noted of it, of which two have room abreast


# ---------------------------------------------------------------------------- do the numbers agree


def agreement(audit: Audit) -> Section | Paragraph:
    """Return the balance of each test point: what agrees, how closely, and the readings as corrected."""
    balanced = [(point, point.balance) for point in audit.points if point.balance is not None]
    if not balanced:
        return Paragraph(
            f"{_AGREEMENT}: nothing was read in two independent ways, so the numbers check one another nowhere; heat "
            "input by meter against manifold pressure, and heat delivered against input and losses, are not tested."
        )
    drawn = _heat_flows(audit, [point for point, _ in balanced])
    parts: list[Section | Paragraph | Table | Figure | Facts] = [drawn] if drawn is not None else []
    for number, (point, balance) in enumerate(balanced):
        parts += _point_balance(audit, point, balance, explained=number > 0)
    return Section(_AGREEMENT, [*parts, _unseparated([balance for _, balance in balanced])])


def _point_balance(
    audit: Audit, point: PointAudit, balance: Balance, *, explained: bool
) -> Iterator[Facts | Table]:
    system = audit.visit.plan.report.units
    closure = "" if balance.closure is None else words.amount(balance.closure, system)
    count = balance.degrees_of_freedom
    pairs = [
        (words.heading(point.name), _FIT[balance.fit]),
        ("Compared", "; ".join(balance.conditions)),
        ("Closure", f"{closure} of what input and losses account for" if closure else ""),
        (
            "Chi-square",
            f"{balance.chi_square.value:.2f} for {count} {'condition' if count == 1 else 'conditions'}; VDI 2048 "
            f"allows {balance.quality_limit:.2f} (95 %), a finding is raised above {balance.alpha_limit:.2f} (99 %)",
        ),
        ("Suspected", _suspected(balance)),
    ]
    yield Facts([(name, text) for name, text in pairs if text])
    yield _corrected(audit, point, balance, explained=explained)


def _unseparated(balances: Sequence[Balance]) -> Paragraph:
    """Return what the readings cannot tell apart, and what nothing checks; once for all test points."""
    alike = dict.fromkeys(one for balance in balances for one in balance.alike)
    unchecked = dict.fromkeys(label for balance in balances for label in balance.unchecked)
    unchecked = {label: None for label in unchecked if all(label in one.unchecked for one in balances)}
    said = [
        f"An error of one of these cannot be told from the others': {words.joined(_lowered(one))}."
        for one in alike
    ]
    if unchecked:
        said.append(f"Nothing checks: {words.joined(_lowered(tuple(unchecked)))}.")
    return Paragraph(points=said or ["Every reading is checked by the others."], quiet=True)


def _lowered(labels: Sequence[str]) -> list[str]:
    """Return labels as they stand inside a sentence; a comma within one becomes a bracket."""
    return [
        f"{head[:1].lower()}{head[1:]}{f' ({tail})' if tail else ''}"
        for head, _, tail in (label.partition(", ") for label in labels)
    ]


def _suspected(balance: Balance) -> str:
    if not balance.suspects:
        return ""
    named = words.joined(_lowered(balance.suspects), last="or")
    return named if balance.explained else f"{named}; one wrong reading alone does not explain it"


def _corrected(audit: Audit, point: PointAudit, balance: Balance, *, explained: bool) -> Table:
    """Return results and readings as measured and as reconciled, and the error that would have been found.

    How that was done is said once, unless a table above has `explained` it.
    """
    system = audit.visit.plan.report.units
    rows = [
        _row(sources.quantity(name).label, before, after, "", system)
        for name, (before, after) in balance.results.items()
    ]
    rows += [
        _row(words.capital(one.label), one.measured, one.corrected, _detectable(one, system), system)
        for one in balance.readings
        if one.measured is not None and one.corrected is not None
    ]
    others = [
        f"{_lowered([one.label])[0]} {_detectable(one, system)}"
        for one in balance.readings
        if one.measured is None
    ]
    how = (
        "Weighted least squares after VDI 2048; everywhere else in this report the measured values stand. Would "
        "show: the gross error that is found with 90 % probability."
    )
    rest = f"Would show, of what is no reading by itself: {'; '.join(others)}." if others else ""
    return Table(
        columns=["", "Unit", "Measured", "95 % interval", "Reconciled", "95 % interval", "Would show"],
        rows=rows,
        caption=f"{words.heading(point.name)}: as measured, and moved within what each is uncertain until they agree.",
        align=["left", "left", "decimal", "left", "decimal", "left", "left"],
        notes=[" ".join(filter(None, ("" if explained else how, rest)))] if rest or not explained else [],
    )


def _row(label: str, before: Number, after: Number, detectable: str, system: words.System) -> list[str]:
    first, second = words.printed(before, system), words.printed(after, system)
    return [label, first.sign, first.value, first.interval, second.value, second.interval, detectable]


def _detectable(one: CorrectedReading, system: words.System) -> str:
    if one.measured is not None and sources.quantity(one.measured.quantity).unit == "K":
        return f"± {words.half_width(one.measured.quantity, one.detectable, system)}"
    return f"± {100 * one.detectable_share:.0f} %"


def _heat_flows(audit: Audit, points: Sequence[PointAudit]) -> Figure | None:
    """Return the heat that goes in, by each way it was told, over what comes out of it, by test point."""
    system = audit.visit.plan.report.units
    shown = [
        point
        for point in points
        if "efficiency_gross" in point.numbers and any(name in point.numbers for name in _IN)
    ]
    if not shown:
        return None
    sign = words.sign("heat_input_clocked", system)
    bars = max(1 + sum(name in point.numbers for name in _IN) for point in shown)
    with drawing_style():
        drawing = Drawing(figsize=(text_width(_paper(audit)), 0.75 + (0.25 + 0.2 * bars) * len(shown)))
        axes = drawing.subplots(len(shown), 1, sharex=True, squeeze=False)[:, 0]
        drawing.subplots_adjust(
            left=0.27,
            right=0.985,
            top=1 - 0.25 / drawing.get_figheight(),
            bottom=0.42 / drawing.get_figheight(),
            hspace=1.2 / bars,
        )
        for ax, point in zip(axes, shown, strict=True):
            _draw_flows(ax, point, system)
            ax.set_title(words.heading(point.name), fontsize=8.5, loc="left")
        axes[-1].set_xlabel(f"Heat flow, {sign}", loc="left")
    return figure(drawing, alt=_flows_alt(shown, system), caption=_flows_caption(shown))


def _paper(audit: Audit) -> str:
    return "letter" if audit.visit.plan.report.paper == "letter" else "a4"


_IN = {"heat_input_clocked": "In, by meter", "heat_input_manifold": "In, by manifold pressure"}


def _draw_flows(ax: object, point: PointAudit, system: words.System) -> None:
    """Draw one bar per way of telling the heat input, and one of what came out: delivered, flue, casing."""
    numbers = point.numbers
    labels, row = [], 0

    def shown(name: str, value: float) -> float:
        return float(words.on_page(name, value, system))

    for name, label in _IN.items():
        if name not in numbers:
            continue
        one = numbers[name]
        ends = [[shown(name, one.value - one.low)], [shown(name, one.high - one.value)]]
        ax.barh(row, shown(name, one.value), height=0.62, facecolor="#ffffff", edgecolor="black")  # type: ignore[attr-defined]
        ax.errorbar([shown(name, one.value)], [row], xerr=ends, color="black", capsize=2.5, linewidth=0.9)  # type: ignore[attr-defined]
        labels.append(label)
        row += 1
    base = next(numbers[name].value for name in _IN if name in numbers)
    flue = base * (1 - numbers["efficiency_gross"].value)
    parts = [("Flue losses", flue, COLORS[0], "")]
    if "heat_output" in numbers:
        parts.insert(0, ("Delivered", numbers["heat_output"].value, "#ffffff", "////"))
    left = 0.0
    for _, value, color, hatch in parts:
        wide = shown("heat_output", value)
        ax.barh(row, wide, left=left, height=0.62, facecolor=color, edgecolor="black", hatch=hatch or None)  # type: ignore[attr-defined]
        if hatch:
            box = {"facecolor": "white", "edgecolor": "none", "pad": 1.0}
            ax.text(left + wide / 2, row, "delivered", ha="center", va="center", fontsize=7.5, bbox=box)  # type: ignore[attr-defined]
        else:  # beside the bar: it may be too narrow to hold a word
            ax.annotate(  # type: ignore[attr-defined]
                "flue",
                (left + wide, row),
                xytext=(4, 0),
                textcoords="offset points",
                va="center",
                fontsize=7.5,
                bbox={"facecolor": "white", "edgecolor": "none", "pad": 1.0},
            )
        left += wide
    labels.append("Out")
    ax.set_yticks(range(len(labels)), labels)  # type: ignore[attr-defined]
    ax.invert_yaxis()  # type: ignore[attr-defined]
    ax.xaxis.set_major_formatter("{x:,.0f}")  # type: ignore[attr-defined]


_AGREE = {"fits": "agree", "cannot tell": "agree badly", "does not fit": "contradict each other"}


def _flows_caption(points: Sequence[PointAudit]) -> str:
    said = [
        f"{point.name}: in and out {_AGREE[point.balance.fit]}"
        for point in points
        if point.balance is not None
    ]
    return (
        f"Heat in and heat out. {words.sentence('; '.join(said))} Whiskers are 95 % intervals; casing and stray heat "
        "are not drawn."
    )


def _flows_alt(points: Sequence[PointAudit], system: words.System) -> str:
    told = []
    for point in points:
        parts = [
            f"{label.lower()} {words.amount(point.numbers[name], system)}"
            for name, label in (*_IN.items(), ("heat_output", "delivered"))
            if name in point.numbers
        ]
        told.append(f"{point.name}: {', '.join(parts)}")
    return f"Bars of heat flows. {'; '.join(told)}."


# ---------------------------------------------------------------------------- heat exchanger


def heat_exchanger(audit: Audit) -> Section | Paragraph:
    """Return the evidence of the heat exchanger, step by step, and the graded conclusion."""
    if audit.evidence is None:
        return Paragraph(
            "This appliance heats no air; what parts flue gas from its water is under checks and findings."
        )
    signs = audit.evidence.signs
    if set(signs.values()) == {"not tested"}:
        return Paragraph(f"{audit.evidence.sentence} None of its evidence was taken: {'; '.join(signs)}.")
    rows = [[words.capital(name), _SIGN[sign]] for name, sign in signs.items()]
    found = Table(
        columns=["Step", "Sign of a leak"],
        rows=rows,
        emphasis={number: "strong" for number, row in enumerate(rows) if row[1] == _SIGN["seen"]},
        caption="Evidence of the heat exchanger.",
    )
    return Section("", [Paragraph(audit.evidence.sentence), found, *_shifts(audit)])


def _shifts(audit: Audit) -> Iterator[Table]:
    system = audit.visit.plan.report.units
    rows = [
        [
            words.heading(point.name),
            words.clock(point.blower.start.moment, audit.visit.plan.visit.time_zone),
            sources.quantity(one.quantity).label.partition(", shift")[0],
            words.amount(one, system, change=True),
        ]
        for point in audit.points
        if point.blower.start is not None
        for one in point.blower.shifts.values()
    ]
    if rows:
        yield Table(
            columns=["Test point", "Blower started", "Reading", "Shift (95 % interval)"],
            rows=rows,
            caption="What shifted in the flue when the blower started.",
            notes=[
                "Mean after the instrument had answered, less mean before. No shift does not show that it is tight."
            ],
        )


# ---------------------------------------------------------------------------- savings


def savings(audit: Audit) -> Section | Paragraph | None:
    """Return what each change saves in a year, never without its range; nothing where nothing was changed."""
    if not audit.differences:
        return None
    if not audit.savings:
        lacking = (
            "no year's heat or fuel was entered"
            if audit.visit.plan.savings is None
            else "there is no efficiency to compare"
        )
        return Paragraph(f"A year's savings are not reckoned: {lacking}.")
    return Section("", [_savings(audit, *pair) for pair in audit.savings])


_AMOUNTS = frozenset({"fuel_before", "fuel_after", "payback_time"})


def _cost_words(audit: Audit) -> Iterator[str]:
    """Yield what the fuel and the work cost, as entered."""
    stated, system = audit.visit.plan.savings, audit.visit.plan.report.units
    if stated is not None and stated.price is not None:
        unit = "kW*hour" if system == "SI" else "therm_US"
        amount = stated.price.amount / units.convert(stated.price.per, "J", unit)
        work = (
            f"; the work cost {stated.cost_of_work:g} {stated.price.currency}" if stated.cost_of_work else ""
        )
        per = "kWh" if system == "SI" else "therm"
        yield f"Fuel at {amount:.3g} {stated.price.currency} per {per} of gross heat{work}; as entered."


def _savings(audit: Audit, old: str, new: str) -> Table:
    system, found = audit.visit.plan.report.units, audit.savings[(old, new)]
    rows = []
    for name, number in found.numbers.items():
        one = words.printed(number, system, change=name not in _AMOUNTS)
        sign = found.currency if name == "cost_saved" else "%" if name == "fuel_saved_share" else one.sign
        rows.append([sources.quantity(name).label, sign, one.value, one.interval])
    return Table(
        columns=["", "Unit", "In a year", "95 % interval"],
        rows=rows,
        caption=f"A year's savings, {words.short_name(new)} against {words.short_name(old)}.",
        align=["left", "left", "decimal", "left"],
        notes=[
            f"Reckoned by the difference in {words.in_a_sentence(found.by)}, formed within each draw, the heat "
            f"delivered held the same; the year's load: {words.brief(found.basis, 200)}.",
            *_cost_words(audit),
            "A steady-state efficiency stands for the season's: standing and cycling losses are not in it. Less than "
            "zero means that more is used.",
        ],
    )


# ---------------------------------------------------------------------------- the record of the visit


def record(audit: Audit) -> Section:
    """Return the steps of the visit in the safe order with their times, the conditions, and what was left behind."""
    kept, zone = audit.record, audit.visit.plan.visit.time_zone
    made = [f"{step.label} {words.clock(step.at, zone)}" for step in kept.steps if step.at is not None]
    without = [step.label for step in kept.steps if step.at is None]
    alarms = (
        [("Carbon monoxide alarms", NOT_RECORDED)]
        if kept.alarms is None
        else [(f"Alarm, {place}", state) for place, state in kept.alarms]
        or [("Carbon monoxide alarms", "none in the building")]
    )
    pairs = [
        ("Steps", "; ".join(made) or NOT_RECORDED),
        ("In the safe order", {True: "yes", False: "NO", None: NOT_RECORDED}[kept.in_order]),
        *(
            [("Broken off", f"{words.clock(kept.aborted[0], zone)}: {kept.aborted[1]}")]
            if kept.aborted is not None
            else []
        ),
    ]
    others = [*kept.conditions, *alarms, *kept.left]
    said, noted = (
        [(name, words.brief(text, 700)) for name, text in some if text != NOT_RECORDED]
        for some in (pairs, others)
    )
    unsaid = [
        *without,
        *(name for name, text in (*pairs, *others) if text == NOT_RECORDED and name != "Steps"),
    ]
    parts: list[Facts | Paragraph | Table] = [Facts(said)] if said else []
    parts += _abreast(noted)
    if unsaid:
        parts.append(Paragraph(f"Not recorded, so not tested: {'; '.join(_lowered(unsaid))}.", quiet=True))
    return Section("", parts)


def _abreast(pairs: Sequence[tuple[str, str]]) -> Iterator[Facts | Table]:
    """Yield names and what was noted of them: short ones two abreast, in order down each side; long ones below."""
    short = [(f"{name}:", text) for name, text in pairs if len(name) + len(text) <= _SHORT]
    long = [(name, text) for name, text in pairs if len(name) + len(text) > _SHORT]
    if short:
        half = (len(short) + 1) // 2
        beside = [*short[half:], ("", "")]
        yield Table(
            columns=("",) * 4,
            rows=[(*left, *right) for left, right in zip(short[:half], beside, strict=False)],
            align=("left",) * 4,
        )
    if long:
        yield Facts(long)
