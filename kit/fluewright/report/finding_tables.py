"""The tables of what was judged: findings, what raised none, what was not tested, and by whose limits."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from fluewright import sources
from fluewright.appliance import Judgement
from fluewright.report import words
from fluewright.report.abreast import letter_of, notes_of
from fluewright.report.objects import Emphasis, Facts, Paragraph, Table
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


def headline(audit: Audit, finding: Finding) -> str:
    """Return a finding in one line: what, at which of several test points, and whether it was put right."""
    first = finding.first
    where = f" ({words.joined(finding.test_points)})" if finding.test_points and len(audit.points) > 1 else ""
    since = "; put right" if first.put_right else ""
    return f"{first.headline}{where}{since}"


def _measured(finding: Finding, system: words.System) -> str:
    """Return the measured numbers of a finding, by test point."""
    seen: dict[str, str] = {}
    for one in finding.judgements:
        if one.measured is not None:
            basis = f", {words.in_system(one.measured.basis, system)}" if one.measured.basis else ""
            seen.setdefault(f"{words.amount(one.measured, system)}{basis}", one.test_point)
    several = len(finding.test_points) > 1
    return "; ".join(f"{point}: {text}" if several and point else text for text, point in seen.items())


def _held(one: Judgement, system: words.System) -> str:
    """Return what a judgement held its number against, named: a limit, a trigger, a usual range."""
    if _is_usual(one):
        return f"usually {words.span(one.subject, one.limit_low, one.limit_high, system)}"
    text = words.limit(one, system)
    return f"{'limit' if one.role == 'limit' else 'trigger'}: {text}" if text else ""


def findings_table(audit: Audit) -> Table:
    """Return the findings by weight, one line each with what to do; those with the same to do together."""
    system = audit.visit.plan.report.units

    def line(finding: Finding) -> str:
        one = finding.first
        value = words.amount(one.measured, system) if one.measured is not None else ""
        numbers = words.sentence(words.together(value, _held(one, system)))
        return f"{words.brief(words.sentence(headline(audit, finding)), _BRIEF)} {numbers}".rstrip()

    alike: dict[tuple[str, str], list[Finding]] = {}
    for finding in findings(audit):
        alike.setdefault((finding.first.weight, _to_do(finding.first)), []).append(finding)
    return Table(
        columns=("Weight", "Finding", "What to do"),
        rows=[
            (weight.upper(), "\n".join(map(line, found)), to_do) for (weight, to_do), found in alike.items()
        ],
        caption="Findings, gravest first.",
        align=("left", "left", "left"),
        emphasis={number: weight for number, (weight, _) in enumerate(alike) if weight},  # type: ignore[misc]
    )


def _to_do(one: Judgement) -> str:
    done = one.put_right and one.weight == "note"
    return "Nothing more: put right in this visit, as the test after it shows." if done else one.action


def _by(one: Judgement) -> str:
    done = one.put_right and one.weight == "note"
    return "" if done or not one.who else words.sentence(f"who may: {one.who}")


def _is_usual(one: Judgement) -> bool:
    return one.rule in safety.usual_ranges()


def reasoning(audit: Audit, finding: Finding) -> Facts:
    """Return one finding in full: measured, limit, source, what it means, what to do, who may do it."""
    system = audit.visit.plan.report.units
    one = finding.first
    judged = f"{words.outcome(one)}{'; put right, as the test after it shows' if one.put_right else ''}"
    number = _measured(finding, system)
    held = words.together(_held(one, system), one.conditions if one.measured is not None else "")
    pairs = [
        ("Measured", words.sentence(number)),
        ("Judged", words.sentence(words.together(judged, held)) if number else ""),
        ("Source", words.source(one.citation) if one.citation is not None else ""),
        ("It means", one.meaning),
        ("What to do", " ".join(filter(None, (_to_do(one), _by(one))))),
    ]
    return Facts([(title, text) for title, text in pairs if text])


def notes(audit: Audit, found: Sequence[Finding]) -> Table:
    """Return the findings that are notes, one row each with all that belongs to it."""
    system = audit.visit.plan.report.units

    def held(one: Judgement) -> str:
        where = words.source(one.citation) if one.citation is not None else ""
        return " ".join(filter(None, (words.sentence(_held(one, system)), where))) or "–"

    return Table(
        columns=("Note", "Measured", "Held against", "It means; what to do"),
        rows=[
            (
                words.sentence(headline(audit, one)),
                words.sentence(_measured(one, system)) or "–",
                held(one.first),
                " ".join(filter(None, (one.first.meaning, _to_do(one.first), _by(one.first)))),
            )
            for one in found
        ],
        caption="Findings that are notes.",
        align=("left",) * 4,
    )


def judged_within(audit: Audit) -> Table | Paragraph:
    """Return every measured quantity that was held against a limit or a trigger and raised no finding."""
    system, several = audit.visit.plan.report.units, len(audit.points) > 1
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
            (
                subject,
                _measured_by_point(group, system, several=several),
                _held_against(group, system, letters),
            )
            for subject, group in alike.items()
        ],
        caption="Held against a limit or a trigger, and no finding.",
        align=("left",) * 3,
        notes=[
            "A trigger raises a finding when it is exceeded; one that is not exceeded proves nothing.",
            *notes_of(letters),
        ],
    )


def _held_against(group: Sequence[Judgement], system: words.System, letters: dict[str, str]) -> str:
    """Return the limits of one quantity with their outcomes, one a line, a letter for each source."""
    points: dict[tuple[str, str], dict[str, None]] = {}
    for one in group:
        role = "" if one.role == "limit" else one.role
        mark = f"({letter_of(one.citation, letters)})" if one.citation is not None else ""
        held = " ".join(filter(None, (role, words.limit(one, system), mark)))
        points.setdefault((held, words.outcome(one)), {})[one.test_point] = None
    everywhere = {one.test_point for one in group}
    lines = []
    for (held, outcome), where in points.items():
        only = "" if set(where) == everywhere else f", {words.joined(where)}"
        lines.append(f"{held}: {outcome}{only}")
    return words.capital("\n".join(lines))


def checks(audit: Audit) -> Facts | Paragraph:
    """Return what was looked at, and what was seen, with the remarks made; those of findings stand with these."""
    found = {one.subject for one in audit.findings if one.outcome == "fault seen"}
    by_result: dict[str, list[str]] = {}
    for name, record in audit.visit.plan.checks.items():
        label = safety.checks()[name].label if name in safety.checks() else words.plain(name)
        remark = "" if name in found else record.note.rstrip(".")
        by_result.setdefault(record.result, []).append(f"{label} ({remark})" if remark else label)
    if not by_result:
        return Paragraph("No check by eye was recorded.")
    ordered = sorted(by_result.items(), key=lambda pair: pair[0] != "fault seen")
    return Facts([(words.capital(result), "; ".join(labels)) for result, labels in ordered])


def _subject(one: Judgement) -> str:
    if one.subject in sources.quantities():
        rise = (
            "; its rise over the burn"
            if one.measured is not None and one.measured.basis.startswith("rise")
            else ""
        )
        return sources.quantity(one.subject).label + rise
    return safety.checks()[one.subject].label if one.subject in safety.checks() else one.subject


def _measured_by_point(group: Sequence[Judgement], system: words.System, *, several: bool) -> str:
    """Return the numbers of alike judgements by test point, the higher of two."""
    texts: dict[str, Judgement] = {}
    for one in group:
        if one.measured is None:
            continue
        other = texts.get(one.test_point)
        if other is None or other.measured is None or one.measured.value > other.measured.value:
            texts[one.test_point] = one
    amounts = {
        point: words.amount(one.measured, system) for point, one in texts.items() if one.measured is not None
    }
    return "; ".join(f"{point} {text}" if several and point else text for point, text in amounts.items())


def not_tested(audit: Audit) -> Table:
    """Return what was not tested, required first, and why it should have been."""
    kinds = (("REQUIRED", audit.not_tested), ("Recommended", audit.not_tested_recommended))
    letters: dict[str, str] = {}
    rows: list[tuple[str, str]] = []
    emphasis: dict[int, Emphasis] = {}
    for kind, tests in kinds:
        if tests:
            emphasis[len(rows)] = "strong"
            rows.append((kind, ""))
        rows += [(f"{test.label} ({letter_of(test.citation, letters)})", test.because) for test in tests]
    return Table(
        columns=("Not tested", "Why it matters"),
        rows=rows,
        caption="Not tested.",
        align=("left",) * 2,
        emphasis=emphasis,
        notes=notes_of(letters),
    )


def limit_sources(audit: Audit) -> tuple[str, ...]:
    """Return the sources of the limits this visit was judged by, how far their text was seen, and what for."""
    used: dict[str, dict[str, None]] = {}
    for one in audit.judgements:
        if one.citation is not None and not one.citation.jurisdiction.startswith("none"):
            of = one.citation
            named = f"{of.source}; {of.edition}; {of.jurisdiction} ({of.status_words})"
            subject = _subject(one)
            used.setdefault(named, {})[subject[0].lower() + subject[1:]] = None
    return tuple(f"{named}: {'; '.join(subjects)}." for named, subjects in used.items())
