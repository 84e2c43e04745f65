"""The tables of what was judged: findings, what raised none, what was not tested, and by whose limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fluewright import sources
from fluewright.appliance import Judgement
from fluewright.report import words
from fluewright.report.abreast import letter_of
from fluewright.report.objects import Facts, Paragraph, Table
from fluewright.sources import limits as safety
from fluewright.studies.audit import Audit

_BRIEF = 220  # characters of a typed text that a line of page one bears


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """Judgements that say the same of one or several test points."""

    judgements: tuple[Judgement, ...]

    @property
    def first(self) -> Judgement:
        """The one that speaks for all."""
        return self.judgements[0]

    @property
    def test_points(self) -> tuple[str, ...]:
        """The test points it was found at."""
        return tuple(dict.fromkeys(one.test_point for one in self.judgements if one.test_point))


def findings(audit: Audit) -> tuple[Finding, ...]:
    """Return the findings, gravest first, those alike at several test points as one."""
    alike: dict[tuple[str, str, str, bool], list[Judgement]] = {}
    for one in audit.findings:
        alike.setdefault((one.weight, one.headline, one.action, one.put_right), []).append(one)
    return tuple(Finding(judgements=tuple(group)) for group in alike.values())


def headline(finding: Finding) -> str:
    """Return a finding in one line: what, where, and whether it was put right."""
    first = finding.first
    where = f" ({words.joined(finding.test_points)})" if finding.test_points else ""
    since = "; put right, as the test after it shows" if first.put_right else ""
    return f"{first.headline}{where}{since}"


def measured(finding: Finding, system: words.System) -> str:
    """Return the measured numbers of a finding, by test point."""
    seen: dict[str, str] = {}
    for one in finding.judgements:
        if one.measured is not None:
            basis = f", {one.measured.basis}" if one.measured.basis else ""
            seen.setdefault(f"{words.amount(one.measured, system)}{basis}", one.test_point)
    several = len(finding.test_points) > 1
    return "; ".join(f"{point}: {text}" if several and point else text for text, point in seen.items())


def findings_table(audit: Audit) -> Table:
    """Return the findings by weight, one line each with what to do."""
    found = findings(audit)
    system = audit.visit.plan.report.units

    def line(finding: Finding) -> str:
        one = finding.first
        value = words.amount(one.measured, system) if one.measured is not None else ""
        held = words.limit(one, system)
        numbers = _together(value, held and f"{'usually' if _is_usual(one) else 'limit:'} {held}")
        return words.brief(words.sentence(headline(finding)), _BRIEF) + (f" {words.sentence(numbers)}" if numbers else "")

    return Table(
        columns=("Weight", "Finding", "What to do"),
        rows=[(one.first.weight.upper(), line(one), _to_do(one.first)) for one in found],
        caption="Findings, gravest first.",
        align=("left", "left", "left"),
        emphasis={number: one.first.weight for number, one in enumerate(found) if one.first.weight},
    )


def _to_do(one: Judgement) -> str:
    done = one.put_right and one.weight == "note"
    return "Nothing more: put right in this visit. Kept for the record." if done else one.action


def _who(one: Judgement) -> str:
    return "" if one.put_right and one.weight == "note" else one.who


def _is_usual(one: Judgement) -> bool:
    return one.rule in safety.usual_ranges()


def reasoning(audit: Audit, finding: Finding) -> Facts:
    """Return one finding in full: measured, limit, source, what it means, what to do, who may do it."""
    system = audit.visit.plan.report.units
    one = finding.first
    held = words.limit(one, system)
    name = "Usual range" if _is_usual(one) else "Limit" if one.role == "limit" else "Trigger"
    judged = words.sentence(words.outcome(one) + ("; put right, as the test after it shows" if one.put_right else ""))
    pairs = [
        ("Measured", words.sentence(measured(finding, system))),
        (name, words.sentence(_together(held, one.conditions)) if held else ""),
        ("Judged", judged),
        ("Source", words.source(one.citation) if one.citation is not None else ""),
        ("It means", one.meaning),
        ("What to do", _to_do(one)),
        ("Who may", words.sentence(_who(one))),
    ]
    return Facts([(title, text) for title, text in pairs if text])


def notes(audit: Audit, found: Sequence[Finding]) -> Table:
    """Return the findings that are notes, one row each with all that belongs to it."""
    system = audit.visit.plan.report.units

    def held(one: Judgement) -> str:
        text = words.limit(one, system)
        where = words.source(one.citation) if one.citation is not None else ""
        return " ".join(filter(None, (words.sentence(f"{'usually ' if _is_usual(one) else ''}{text}"), where))) or "–"

    return Table(
        columns=("Note", "Measured", "Held against", "It means; what to do; who may"),
        rows=[
            (
                words.sentence(headline(one)),
                words.sentence(measured(one, system)) or "–",
                held(one.first),
                " ".join(filter(None, (one.first.meaning, _to_do(one.first), words.sentence(_who(one.first))))),
            )
            for one in found
        ],
        caption="Findings that are notes.",
        align=("left",) * 4,
    )


def judged_within(audit: Audit) -> Table | Paragraph:
    """Return every measured quantity that was held against a limit or a trigger and raised no finding."""
    system = audit.visit.plan.report.units
    alike: dict[str, list[Judgement]] = {}
    for one in audit.judgements:
        if one.measured is not None and not one.weight:
            alike.setdefault(_subject(one), []).append(one)
    if not alike:
        return Paragraph("Nothing that was measured lies within a limit.")
    letters: dict[str, str] = {}
    return Table(
        columns=("Measured, and no finding", "Value", "Held against, and outcome"),
        rows=[
            (subject, _measured_by_point(group, system), _held_against(group, system, letters))
            for subject, group in alike.items()
        ],
        caption="Held against a limit or a trigger, and no finding.",
        align=("left",) * 3,
        notes=[
            "A trigger raises a finding when it is exceeded; one that is not exceeded proves nothing.",
            *(f"({letter}) {named}." for named, letter in letters.items()),
        ],
    )


def _held_against(group: Sequence[Judgement], system: words.System, letters: dict[str, str]) -> str:
    """Return the limits of one quantity with their outcomes, one a line, a letter for each source."""
    points: dict[tuple[str, str, str], dict[str, None]] = {}
    for one in group:
        role = "" if one.role == "limit" else one.role
        mark = f" ({letter_of(one.citation, letters)})" if one.citation is not None else ""
        points.setdefault((f"{words.limit(one, system)}{mark}", role, words.outcome(one)), {})[one.test_point] = None
    everywhere = {one.test_point for one in group}
    lines = []
    for (held, role, outcome), where in points.items():
        only = "" if set(where) == everywhere else f", {words.joined(where)}"
        lines.append(f"{f'{role} ' if role else ''}{held}: {outcome}{only}")
    return words.capital("\n".join(lines))


def checks(audit: Audit) -> Facts | Paragraph:
    """Return what was looked at, and what was seen, with the remarks made."""
    by_result: dict[str, list[str]] = {}
    for name, record in audit.visit.plan.checks.items():
        label = safety.checks()[name].label if name in safety.checks() else _plain(name)
        by_result.setdefault(record.result, []).append(f"{label} ({record.note.rstrip('.')})" if record.note else label)
    if not by_result:
        return Paragraph("No check by eye was recorded.")
    ordered = sorted(by_result.items(), key=lambda pair: pair[0] != "fault seen")
    return Facts([(words.capital(result), "; ".join(labels)) for result, labels in ordered])


def _subject(one: Judgement) -> str:
    if one.subject in sources.quantities():
        rise = "; its rise over the burn" if one.measured is not None and one.measured.basis.startswith("rise") else ""
        return sources.quantity(one.subject).label + rise
    return safety.checks()[one.subject].label if one.subject in safety.checks() else one.subject


def _measured_by_point(group: Sequence[Judgement], system: words.System) -> str:
    """Return the numbers of alike judgements by test point, the higher of two."""
    texts: dict[str, Judgement] = {}
    for one in group:
        if one.measured is None:
            continue
        other = texts.get(one.test_point)
        if other is None or other.measured is None or one.measured.value > other.measured.value:
            texts[one.test_point] = one
    return "; ".join(
        f"{point} {words.amount(one.measured, system)}".strip() for point, one in texts.items() if one.measured is not None
    )


def _source_of(one: Judgement) -> str:
    return words.short_source(one.citation) if one.citation is not None else "–"


def not_tested(audit: Audit) -> Table:
    """Return what was not tested, required first, and why it should have been."""
    kinds = ((audit.not_tested, "required"), (audit.not_tested_recommended, "recommended"))
    rows = [
        (test.label, kind, test.because, words.short_source(test.citation)) for tests, kind in kinds for test in tests
    ]
    return Table(
        columns=("Not tested", "", "Why it matters", "Asked for by"),
        rows=rows,
        caption="Not tested.",
        align=("left",) * 4,
        emphasis={number: "strong" for number in range(len(audit.not_tested))},
    )


def limit_sources(audit: Audit) -> Table:
    """Return the sources of the limits this visit was judged by, and how far their text was seen."""
    used: dict[tuple[str, str, str, str], dict[str, None]] = {}
    for one in audit.judgements:
        if one.citation is not None and not one.citation.jurisdiction.startswith("none"):
            key = (one.citation.source, one.citation.edition, one.citation.jurisdiction, one.citation.status_words)
            used.setdefault(key, {})[_subject(one)] = None
    return Table(
        columns=("Source", "Edition", "Jurisdiction", "How its text was seen", "Judged by it"),
        rows=[(*key, "; ".join(subjects)) for key, subjects in used.items()],
        caption="Sources of the limits.",
        align=("left",) * 5,
        notes=["Limits marked as chosen here have no authority behind them; the reason stands beside each finding."],
    )


