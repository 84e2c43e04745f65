"""The audit of visit folders as files: PDF, HTML and results.json, each whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from fluewright.errors import FluewrightError, InputError
from fluewright.report.render import (
    Kernel,
    Progress,
    Rendered,
    check_folder,
    own_notebook,
    render_each,
    write_whole,
)

_RESULTS = "results.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenAudit:
    """The audit of one visit as written, with its verdict in words; or why it could not be made."""

    visit: Path
    paths: tuple[Path, ...] = ()
    verdict: str = ""
    because: tuple[str, ...] = ()
    messages: tuple[str, ...] = ()
    error: FluewrightError | None = None


def write_audits(
    visits: Sequence[Path], *, output: Path, overwrite: bool = False, progress: Progress | None = None
) -> Iterator[WrittenAudit]:
    """Make the audit of each visit folder and yield what was written, in order.

    Parameters
    ----------
    visits : sequence of Path
        Visit folders; their names become the names of the reports.
    output : Path
        Folder for the reports; made where it is lacking.
    overwrite : bool
        Replace reports that are there already and differ.
    progress : callable, optional
        Called with what is being done, the step, and the number of steps.

    Raises
    ------
    InputError
        Two visits have the same name, or the folder cannot be written.
    """
    names = [visit.resolve().name for visit in visits]
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise InputError(
            f"two visits are named '{twice}', and so would be their reports; make them one by one"
        )
    with Kernel() as kernel:
        made = not output.exists()
        check_folder(output)
        parameters = [{"folder": str(visit.resolve())} for visit in visits]
        outcomes = render_each(own_notebook("audit"), parameters, kernel=kernel, progress=progress)
        for visit, name, outcome in zip(visits, names, outcomes, strict=True):
            yield _written(visit, output / name, outcome, overwrite=overwrite)
        if made and not any(output.iterdir()):
            output.rmdir()


def _written(
    visit: Path, stem: Path, outcome: Rendered | FluewrightError, *, overwrite: bool
) -> WrittenAudit:
    if isinstance(outcome, FluewrightError):
        return WrittenAudit(visit=visit, error=outcome)
    files = {
        stem.with_name(f"{stem.name}.pdf"): outcome.pdf,
        stem.with_name(f"{stem.name}.html"): outcome.html,
        stem.with_name(f"{stem.name}.{_RESULTS}"): outcome.attached[_RESULTS],
    }
    verdict = json.loads(outcome.attached[_RESULTS])["verdict"]
    try:
        write_whole(files, overwrite=overwrite)
    except FluewrightError as error:
        return WrittenAudit(visit=visit, error=error)
    return WrittenAudit(
        visit=visit,
        paths=tuple(files),
        verdict=verdict["sentence"],
        because=tuple(verdict["because"]),
        messages=tuple(outcome.messages),
    )
