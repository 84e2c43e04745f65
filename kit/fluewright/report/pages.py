"""The sections of an audit's report, in the order of its pages: an audit in, something that shows itself out."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath
from typing import Literal

import pandas as pd

from fluewright.errors import InputError
from fluewright.report import basis, cycles, figures, finding_tables, result_tables, visit_tables, words
from fluewright.report.objects import (
    Attachment,
    Attachments,
    Callout,
    Document,
    Facts,
    Figure,
    Paragraph,
    Section,
    Signatures,
    Table,
)
from fluewright.sources import limits as safety
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.results import results_text

_LOUDNESS: dict[str, Literal["stop", "correct", "plain"]] = {
    "leave_off": "stop",
    "correct": "correct",
    "incomplete": "correct",
    "no_tested_limit_exceeded": "plain",
}
_REASONS = 4  # of the verdict, in its box; the table below holds all


def document(audit: Audit) -> Document:
    """Return the title, the running head and the paper of the report."""
    plan = audit.visit.plan
    kind = safety.appliance_type(plan.appliance.type).label
    return Document(
        title="Combustion audit",
        subtitle=f"{kind}, {words.brief(plan.site.name, 80)}",
        header=(plan.site.name, plan.appliance.description or kind),
        date=words.day(plan.visit.date, plan.report.units),
        made=_whole_second(max(point.rows.end for point in audit.points)),
        paper="letter" if plan.report.paper == "letter" else "a4",
    )


def _whole_second(time: pd.Timestamp) -> dt.datetime:
    """Return a time cut to the second; on UTC, as the hour that occurs twice cannot be cut on the local clock."""
    return time.tz_convert("UTC").floor("s").tz_convert(time.tz).to_pydatetime()


# ---------------------------------------------------------------------------- for the owner


def page_one(audit: Audit) -> Section:
    """Return what the owner needs: what was tested, the verdict, findings, main numbers, what was not tested."""
    return Section(
        "",
        [
            visit_tables.facts(audit),
            _verdict(audit),
            finding_tables.findings_table(audit) if audit.findings else _no_finding(),
            result_tables.headline_numbers(audit),
            _gaps(audit),
        ],
    )


def _no_finding() -> Paragraph:
    return Paragraph("No finding was made of what was tested.")


def _verdict(audit: Audit) -> Callout:
    given = audit.verdict
    reasons = (
        [] if audit.findings else list(given.because[:_REASONS])
    )  # findings stand in the table right below
    if reasons and len(given.because) > _REASONS:
        reasons.append(f"and {len(given.because) - _REASONS} more, listed below")
    return Callout(
        _LOUDNESS[given.name],
        given.sentence,
        text=given.meaning,
        points=reasons,
        word="Verdict",
    )


def _gaps(audit: Audit) -> Facts:
    """Return in short what was not tested, and what was judged by no limit that was seen."""
    kind = safety.appliance_type(audit.visit.plan.appliance.type).label.lower()
    required = "; ".join(test.label for test in audit.not_tested)
    if required and any(point.settled is None for point in audit.points):
        required += " (what was read of the flue gas without a steady window counts as not tested)"
    pairs = [
        ("Not tested, required", required or f"nothing: every test required of a {kind} was made"),
        ("Not tested, recommended", "; ".join(test.label for test in audit.not_tested_recommended)),
        ("No limit seen", "; ".join(test.label for test in audit.unlimited)),
    ]
    return Facts([(name, text) for name, text in pairs if text])


# ---------------------------------------------------------------------------- the evidence


def conditions(audit: Audit) -> Section:
    """Return what the test was made under, and the instruments with their accuracy."""
    checks = visit_tables.instrument_checks(audit)
    tables = [visit_tables.instruments(audit), *([checks] if checks is not None else [])]
    return Section("", [visit_tables.conditions(audit), *tables])


def stabilization(audit: Audit) -> Section:
    """Return how the readings settled, and why every stretch was taken or refused."""
    parts: list[Paragraph | Section | Figure | Table] = []
    for group, drawn in zip(figures.near_points(audit), figures.stabilization(audit), strict=True):
        parts += [drawn, visit_tables.stretches(audit, group)]
        for point in group:
            parts += _unsettled(audit, point)
    return Section("", parts)


def burner_cycles(audit: Audit) -> Section | None:
    """Return the burner cycles of a log that holds more of them than test points, else nothing."""
    return cycles.burner_cycles(audit)


def _unsettled(audit: Audit, point: PointAudit) -> Iterator[Section | Paragraph]:
    """Yield what must be said of a test point whose window the rules did not simply find."""
    steady = point.steadiness
    if steady.window is None:
        said = Callout(
            "note",
            f"{words.heading(point.name)}: no steady window, so nothing is formed of the flue gas.",
            text=steady.outcome,
        )
        lines = visit_tables.window_lines(audit, point)
        yield Section("", [said, *([lines] if lines is not None else [])], together=True)
    elif steady.window.chosen_by == "person" or steady.not_judged:
        yield Paragraph(f"{words.heading(point.name)}: {steady.outcome}")


def flue_gas(audit: Audit) -> Section:
    """Return what was measured in the flue and what follows from it, both rules named."""
    again = "Carbon monoxide, air-free, cannot be told; test again."
    states = [
        Callout("note", words.sentence(f"{point.name}: {point.state}"), text=again)
        for point in audit.points
        if point.state
    ]
    return Section("", [*states, result_tables.flue_gas(audit)])


# What has a heading only where there is something to show below it.
_HEAT = "Where the heat goes"
_DEW_POINT = "Flue temperature against dew point"
_CHANGES = "What the changes did"
_UNCERTAIN = "What makes the results uncertain"


def heat(audit: Audit) -> Section | Paragraph:
    """Return where the heat goes, as a figure and a table, with the European simple formula beside."""
    points = result_tables.burned_points(audit)
    if not points:
        return Paragraph(f"{_HEAT}: flue losses cannot be formed, as {_lacking(audit)}.")
    return Section(_HEAT, [figures.heat(audit), result_tables.losses(audit), *_european(audit, points)])


def _lacking(audit: Audit) -> str:
    if all(point.settled is None for point in audit.points):
        return "no test point has a steady window"
    if any(point.above_range for point in audit.points):
        return "carbon monoxide left the instrument's range, or a reading is missing"
    return "oxygen, flue temperature or combustion-air temperature was not tested"


def _european(audit: Audit, points: Sequence[PointAudit]) -> Iterator[Paragraph]:
    system = audit.visit.plan.report.units
    said = [
        words.sentence(f"{point.name}: {words.amount(loss, system)} of the net heat input")
        for point in points
        if (loss := point.numbers.get("loss_stack_european")) is not None
    ]
    if said:
        ours = ((point.name, 100 - 100 * point.numbers["efficiency_net"].value) for point in points)
        net = "; ".join(f"{name} {loss:.1f} %" for name, loss in ours)
        yield Paragraph(
            f"Cross-check, stack loss by the European simple formula. {' '.join(said)} Here it is {net}. The formula "
            "takes fixed constants per fuel, counts oxygen against 21 %, and puts all sensible heat into one term "
            "above the temperature of the air; it knows neither the moisture of the air nor this fuel's composition.",
            quiet=True,
        )


def dew_points(audit: Audit) -> Section | Paragraph:
    """Return flue temperature against dew point: whether the flue gas condenses, and by how much."""
    drawn = figures.dew_points(audit)
    if drawn is None:
        return Paragraph(f"{_DEW_POINT}: they cannot be compared, as {_lacking(audit)}.")
    return Section(_DEW_POINT, [drawn])


def changes(audit: Audit) -> Section | Paragraph:
    """Return the differences between a test point and the one that replaces it."""
    if not audit.differences:
        return Paragraph(
            f"{_CHANGES}: no test point of this visit repeats another after a change, so nothing is compared, and no "
            "savings are reckoned."
        )
    made = [result_tables.change(audit, *pair) for pair, found in audit.differences.items() if found]
    lost = [
        Paragraph(
            f"{words.heading(new)} less {words.short_name(old)}: one of them has no result to take a difference of."
        )
        for (old, new), found in audit.differences.items()
        if not found
    ]
    return Section(_CHANGES, [*made, *lost])


def rates(audit: Audit) -> Section:
    """Return firing rate, air or water side, pressures, draft, and carbon monoxide in the room."""
    return result_tables.rates(audit)


# ---------------------------------------------------------------------------- the reasoning


def findings(audit: Audit) -> Section:
    """Return each finding in full, then what was tested without a finding, then what was not tested."""
    found = finding_tables.findings(audit)
    heavy = [one for one in found if one.first.weight != "note"]
    light = [one for one in found if one.first.weight == "note"]
    parts: list[Section | Table | Facts | Paragraph] = [_finding(audit, one) for one in heavy]
    if light:
        parts.append(finding_tables.notes(audit, light))
    if not found:
        parts.append(_no_finding())
    parts += [finding_tables.checks(audit), finding_tables.judged_within(audit)]
    if audit.not_tested or audit.not_tested_recommended:
        parts.append(finding_tables.not_tested(audit))
    return Section("", parts)


def _finding(audit: Audit, finding: finding_tables.Finding) -> Section:
    title = f"{finding.first.weight.upper()}: {finding_tables.headline(audit, finding)}"
    return Section(title, [finding_tables.reasoning(audit, finding)], level=2, together=len(title) < 600)


def uncertainty(audit: Audit) -> Section | Paragraph:
    """Return what makes the results uncertain, and which instrument matters most."""
    ranked = result_tables.ranked_point(audit)
    if ranked is None:
        return Paragraph(f"{_UNCERTAIN}: no result to rank the uncertainties of, as {_lacking(audit)}.")
    return Section(_UNCERTAIN, [figures.uncertainty(audit, ranked), result_tables.uncertainty(audit, ranked)])


def assumptions(audit: Audit) -> Table | Paragraph:
    """Return everything that was assumed, with its effect."""
    return visit_tables.assumptions(audit) if audit.assumptions else Paragraph("Nothing had to be assumed.")


def rows(audit: Audit) -> Section:
    """Return what became of every row of each log and of each test point, and what each column was read as."""
    return Section("", [visit_tables.account_of_rows(audit), visit_tables.column_map(audit)])


# ---------------------------------------------------------------------------- the proof


def methods(audit: Audit) -> Section:
    """Return how the numbers were formed, and the sources of the limits."""
    return Section(
        "",
        [
            Paragraph(points=basis.methods(audit), quiet=True),
            Section(
                "Sources of the limits",
                [Paragraph(points=finding_tables.limit_sources(audit), quiet=True)],
                level=2,
            ),
        ],
    )


def provenance(audit: Audit) -> Section:
    """Return the versions and settings, and how to repeat the calculation."""
    made = audit.results["provenance"]
    facts = Facts(
        [
            ("Computed with", f"{visit_tables.versions(made)}; {made['draws']:,} draws, seed {made['seed']}"),
            (
                "To repeat it",
                "Save visit.toml and the logs, which travel inside the PDF, in a folder, install the same version, and "
                "run its audit command on that folder: the same files give the same numbers and the same report.",
            ),
        ]
    )
    return Section("", [facts])


def attachments(audit: Audit) -> Attachments:
    """Return the files that travel inside the PDF: results.json, visit.toml and the logs as they were read."""
    folder, accounts = audit.visit.folder, audit.visit.readings.accounts
    results = results_text(audit.results).encode()
    logs = [
        Attachment(
            name=name, description="log as it was read", path=_unchanged(folder / log.file, log.sha256)
        )
        for name, log in zip(_names(log.file for log in accounts), accounts, strict=True)
    ]
    return Attachments(
        [
            Attachment(name="results.json", description="every number, machine-readable", content=results),
            Attachment(
                name="visit.toml",
                description="the visit as entered",
                path=_unchanged(folder / "visit.toml", audit.visit.plan_sha256),
            ),
            *logs,
        ]
    )


def _names(files: Iterator[str]) -> list[str]:
    """Return a name without folders for each file, all different."""
    taken = {"results.json", "visit.toml"}
    names = []
    for number, file in enumerate(files, start=1):
        name = PurePosixPath(file.replace("\\", "/")).name
        names.append(f"{number}-{name}" if name in taken else name)
        taken.add(names[-1])
    return names


def _unchanged(path: Path, sha256: str) -> Path:
    if hashlib.sha256(path.read_bytes()).hexdigest() != sha256:
        raise InputError(f"{path} changed after it was read; make the audit again")
    return path


def cautions(audit: Audit) -> Paragraph:
    """Return the cautions that go with every report."""
    return Paragraph(points=[f"{one.title}. {one.text}" for one in safety.cautions()])


def signatures(audit: Audit) -> Signatures:
    """Return the lines to sign on."""
    plan = audit.visit.plan
    return Signatures(
        [
            ("Tested by", words.short_name(plan.visit.tested_by)),
            ("Received by", words.short_name(plan.visit.client)),
        ],
        statement="Tested as described here, at the hours given; what is listed as not tested was not tested.",
    )
