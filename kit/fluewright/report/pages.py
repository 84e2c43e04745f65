"""The sections of an audit's report, in the order of its pages: an audit in, something that shows itself out."""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path, PurePosixPath
from typing import Literal

from fluewright.errors import InputError
from fluewright.report import basis, figures, tables, words
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
        made=max(point.rows.end for point in audit.points).floor("s").to_pydatetime(),
        paper="letter" if plan.report.paper == "letter" else "a4",
    )


# ---------------------------------------------------------------------------- for the owner


def page_one(audit: Audit) -> Section:
    """Return what the owner needs: what was tested, the verdict, findings, main numbers, what was not tested."""
    found = tables.findings_table(audit) if audit.findings else Paragraph("No finding was made of what was tested.")
    parts = [tables.facts(audit), _verdict(audit), found, tables.headline_numbers(audit), _gaps(audit)]
    return Section("", [*parts, Section("", new_page=True)])


def _verdict(audit: Audit) -> Callout:
    given = audit.verdict
    reasons = list(given.because[:_REASONS])
    if len(given.because) > _REASONS:
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
    pairs = [
        ("Not tested, required", required or f"nothing: every test required of a {kind} was made"),
        ("Not tested, recommended", "; ".join(test.label for test in audit.not_tested_recommended)),
        ("Limit not seen", "; ".join(test.label for test in audit.unlimited)),
    ]
    return Facts([(name, text) for name, text in pairs if text])


# ---------------------------------------------------------------------------- the evidence


def conditions(audit: Audit) -> Section:
    """Return what the test was made under, and the instruments with their accuracy."""
    return Section("", [tables.conditions(audit), tables.instruments(audit)])


def stabilization(audit: Audit) -> Section:
    """Return how the readings settled, and why every stretch was taken or refused."""
    parts: list[Paragraph | Callout | Figure | Table] = []
    for group, drawn in zip(figures.near_points(audit), figures.stabilization(audit), strict=True):
        parts += [drawn, tables.stretches(audit, group)]
        for point in group:
            parts += _unsettled(audit, point)
    return Section("", parts)


def _unsettled(audit: Audit, point: PointAudit) -> Iterator[Callout | Paragraph | Table]:
    """Yield what must be said of a test point whose window the rules did not simply find."""
    steady = point.steadiness
    if steady.window is None:
        yield Callout(
            "note", f"{words.heading(point.name)}: no steady window, so no result is formed.", text=steady.outcome
        )
        lines = tables.window_lines(audit, point)
        if lines is not None:
            yield lines
    elif steady.window.chosen_by == "person" or steady.not_judged:
        yield Paragraph(f"{words.heading(point.name)}: {steady.outcome}")


def flue_gas(audit: Audit) -> Section:
    """Return what was measured in the flue and what follows from it, both rules named."""
    states = [
        Callout("note", words.sentence(f"{point.name}: {point.state}"), text="Carbon monoxide, air-free, cannot be told; test again.")
        for point in audit.points
        if point.state
    ]
    return Section("", [*states, tables.flue_gas(audit)])


def heat(audit: Audit) -> Section | Paragraph:
    """Return where the heat goes, as a figure and a table, with the European simple formula beside."""
    points = tables.burned_points(audit)
    if not points:
        return Paragraph(f"Flue losses cannot be formed: {_lacking(audit)}.")
    return Section("", [figures.heat(audit), tables.losses(audit), *_european(audit, points)])


def _lacking(audit: Audit) -> str:
    if all(point.settled is None for point in audit.points):
        return "no test point has a steady window"
    return "oxygen, flue temperature or combustion-air temperature was not tested"


def _european(audit: Audit, points: Sequence[PointAudit]) -> Iterator[Paragraph]:
    system = audit.visit.plan.report.units
    said = [
        words.sentence(f"{point.name}: {words.amount(point.numbers['loss_stack_european'], system)} of the net heat input")
        for point in points
        if "loss_stack_european" in point.numbers
    ]
    if said:
        net = "; ".join(f"{point.name} {100 - 100 * point.numbers['efficiency_net'].value:.1f} %" for point in points)
        yield Paragraph(
            f"Cross-check, stack loss by the European simple formula. {' '.join(said)} Here it is {net}. The formula takes "
            "fixed constants per fuel, counts oxygen against 21 %, and puts all sensible heat into one term from the "
            "temperature of the air; it knows neither the moisture of the air nor this fuel's composition.",
            quiet=True,
        )


def dew_points(audit: Audit) -> Figure | Paragraph:
    """Return flue temperature against dew point: whether the flue gas condenses, and by how much."""
    drawn = figures.dew_points(audit)
    return drawn if drawn is not None else Paragraph(f"Dew points cannot be compared: {_lacking(audit)}.")


def changes(audit: Audit) -> Section | Paragraph:
    """Return the differences between a test point and the one that replaces it."""
    if not audit.differences:
        return Paragraph("No test point of this visit repeats another after a change, so nothing is compared.")
    made = [tables.change(audit, *pair) for pair, found in audit.differences.items() if found]
    lost = [
        Paragraph(f"{words.heading(new)} less {words.short_name(old)}: one of them has no result, so there is no difference.")
        for (old, new), found in audit.differences.items()
        if not found
    ]
    return Section("", [*made, *lost])


def rates(audit: Audit) -> Table | Section:
    """Return firing rate, air or water side, pressures, draft, and carbon monoxide in the room."""
    return tables.rates(audit)


# ---------------------------------------------------------------------------- the reasoning


def findings(audit: Audit) -> Section:
    """Return each finding in full, then what was tested without a finding, then what was not tested."""
    found = tables.findings(audit)
    heavy = [one for one in found if one.first.weight != "note"]
    light = [one for one in found if one.first.weight == "note"]
    parts: list[Section | Table | Paragraph] = [_finding(audit, one) for one in heavy]
    if light:
        parts.append(tables.notes(audit, light))
    if not found:
        parts.append(Paragraph("No finding was made of what was tested."))
    parts += [tables.judged_within(audit), tables.checks(audit)]
    if audit.not_tested or audit.not_tested_recommended:
        parts.append(tables.not_tested(audit))
    return Section("", parts)


def _finding(audit: Audit, finding: tables.Finding) -> Section:
    title = f"{finding.first.weight.upper()}: {tables.headline(finding)}"
    return Section(title, [tables.reasoning(audit, finding)], level=2, together=len(title) < 600)


def uncertainty(audit: Audit) -> Section | Paragraph:
    """Return what makes the results uncertain, and which instrument matters most."""
    drawn, ranked = figures.uncertainty(audit), tables.ranked_point(audit)
    if drawn is None or ranked is None:
        return Paragraph(f"No result, so no uncertainty to rank: {_lacking(audit)}.")
    return Section("", [drawn, Paragraph(words.matters_most(audit, ranked))])


def assumptions(audit: Audit) -> Table | Paragraph:
    """Return everything that was assumed, with its effect."""
    return tables.assumptions(audit) if audit.assumptions else Paragraph("Nothing had to be assumed.")


def rows(audit: Audit) -> Section:
    """Return what became of every row of each log, and of each test point."""
    said = []
    for point in audit.points:
        steady = point.steadiness
        taken = steady.window.rows if steady.window else 0
        refused = steady.rows - taken
        said.append(
            words.sentence(f"{point.name}: {steady.rows:,} rows, {taken:,} in the window and {refused:,} refused, as listed under stabilization")
        )
    return Section("", [tables.account_of_rows(audit), Paragraph(points=said)])


# ---------------------------------------------------------------------------- the proof


def methods(audit: Audit) -> Section:
    """Return how the numbers were formed, and the sources of the limits."""
    return Section("", [Paragraph(points=basis.methods(audit), quiet=True), tables.limit_sources(audit)])


def provenance(audit: Audit) -> Section:
    """Return the versions and settings, and how to repeat the calculation."""
    made = audit.results["provenance"]
    facts = Facts(
        [
            ("Computed with", tables.versions(made)),
            ("Settings", f"{made['draws']:,} draws, seed {made['seed']}"),
            (
                "To repeat it",
                "Save the attached visit.toml and logs in a folder, install the same version, and run its audit command on "
                "that folder: the same files give the same numbers and the same report.",
            ),
        ]
    )
    return Section("", [facts])


def attachments(audit: Audit) -> Attachments:
    """Return the files that travel inside the PDF: results.json, visit.toml and the logs as they were read."""
    folder = audit.visit.folder
    results = results_text(audit.results).encode()
    logs = [
        Attachment(name=name, description="log as the instrument wrote it", path=_unchanged(folder / log.file, log.sha256))
        for name, log in zip(
            _names(log.file for log in audit.visit.readings.accounts), audit.visit.readings.accounts, strict=True
        )
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


def cautions(audit: Audit) -> Paragraph:  # noqa: ARG001 - every section takes the audit
    """Return the cautions that go with every report."""
    return Paragraph(points=[f"{one.title}. {one.text}" for one in safety.cautions()])


def signatures(audit: Audit) -> Signatures:
    """Return the lines to sign on."""
    plan = audit.visit.plan
    return Signatures(
        [("Tested by", words.short_name(plan.visit.tested_by)), ("Received by", words.short_name(plan.visit.client))],
        statement="Tested as described here, at the hours given; what is listed as not tested was not tested.",
    )
