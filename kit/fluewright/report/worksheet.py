"""Worksheets as files: one PDF for every student, and one answer key with the steps."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fluewright.errors import InputError
from fluewright.report.objects import Document, Facts, Paragraph, Section, Table
from fluewright.report.render import Progress, check_folder, write_whole
from fluewright.studies.worksheet import (
    TOPICS,
    Answer,
    Level,
    Problem,
    System,
    Worksheet,
    student_names,
    worksheets,
)

if TYPE_CHECKING:
    from fluewright.report.objects import Part

__all__ = ["answer_parts", "problem_parts", "write_worksheets"]

KEY = "answer-key.pdf"
# No clock goes into a sheet, so that the same seed gives the same bytes.
_MADE = datetime(2000, 1, 1, tzinfo=UTC)
_BLANK = "_" * 38  # where an answer is written; longer than any label
_LONGEST_STEM = 40  # characters of a name that go into a file name
_PAPER: Mapping[str, Any] = {"US": "letter", "SI": "a4"}


def write_worksheets(
    students: Path,
    *,
    output: Path,
    seed: int,
    level: Level = "working",
    system: System = "US",
    topics: Sequence[str] = TOPICS,
    progress: Progress | None = None,
) -> tuple[Path, ...]:
    """Write a worksheet for every student and the answer key, all or none.

    Parameters
    ----------
    students : Path
        A text file in UTF-8, one name to a line.
    output : Path
        The folder to fill; new or empty.
    seed, level, system, topics
        As in `worksheets`.
    progress : callable, optional
        Called with what is being done, the step, and the number of steps.

    Returns
    -------
    tuple of Path
        The sheets in the order of the list, then the key.

    Raises
    ------
    InputError
        The list cannot be read, is empty or names two alike; the folder is not empty or cannot be written; a
        seed out of range.
    UnknownNameError
        No such topic, level or system of units.
    """
    names = student_names(_read(students))
    if output.exists() and (not output.is_dir() or any(output.iterdir())):
        raise InputError(f"{output} is not an empty folder; name one that is new or empty")
    made = worksheets(names, seed=seed, level=level, system=system, topics=topics)
    digits = len(str(len(made)))
    files: dict[Path, bytes] = {}
    for number, sheet in enumerate(made, start=1):
        if progress:
            progress(f"setting the sheet of {_stem(sheet.student)}", number, len(made) + 1)
        files[output / f"{number:0{digits}d}-{_stem(sheet.student)}.pdf"] = _sheet(sheet)
    if progress:
        progress("setting the answer key", len(made) + 1, len(made) + 1)
    files[output / KEY] = _key(made)
    check_folder(output)
    write_whole(files)
    return tuple(files)


def _read(students: Path) -> str:
    try:
        return students.read_text(encoding="utf-8")
    except OSError as error:
        raise InputError(f"the list of students {students} cannot be read: {error.strerror}") from error
    except UnicodeDecodeError as error:
        raise InputError(
            f"the list of students {students} is not text in UTF-8 (byte {error.start}); save it as UTF-8"
        ) from error


def _stem(name: str) -> str:
    """Return a name as the middle of a file name: plain letters and digits, whatever was typed."""
    plain = unicodedata.normalize("NFKD", name).encode("ascii", "ignore").decode().lower()
    return re.sub(r"[^a-z0-9]+", "-", plain).strip("-")[:_LONGEST_STEM].strip("-") or "student"


# ---------------------------------------------------------------------------- pages


def problem_parts(problem: Problem, number: int, *, level: int = 2) -> Section:
    """Return a problem as it is asked: its words, and a line for every answer."""
    rows = [[answer.label, f"{_BLANK} {answer.sign}"] for answer in problem.task.answers]
    parts: list[Part] = [
        Paragraph(problem.task.text),
        Table(columns=("Asked", "Answer"), rows=rows, align=("left", "left")),
    ]
    return Section(f"{number}. {problem.task.title}", parts, level=level, together=True)


def answer_parts(problem: Problem, number: int, *, level: int = 2, asked: bool = True) -> Section:
    """Return a problem worked: its steps, and every answer with its accepted range."""
    rows = [[answer.label, answer.text, _accepted(answer)] for answer in problem.task.answers]
    parts: list[Part] = [Paragraph(problem.task.text, quiet=True)] if asked else []
    parts += [
        Paragraph(points=problem.task.steps),
        Table(columns=("Asked", "Answer", "Accepted"), rows=rows, align=("left",) * 3),
    ]
    return Section(f"{number}. {problem.task.title}", parts, level=level, together=True)


def _accepted(answer: Answer) -> str:
    return answer.accepted if answer.accepted != answer.text else "this word"


def _sheet(sheet: Worksheet) -> bytes:
    document = Document(
        title="Worksheet: combustion and its testing",
        header=(sheet.student, f"{sheet.level} level"),
        date="",
        made=_MADE,
        paper=_PAPER[sheet.system],
    )
    facts = Facts(
        (
            ("Student", sheet.student),
            ("Level", sheet.level),
            ("Seed", str(sheet.seed)),
            ("Date and signature", ""),
        )
    )
    rules = Paragraph(
        "These numbers are yours alone. Show your working; write each answer with the digits its accuracy bears. Air "
        "is dry and holds 20.94 % oxygen unless a problem says otherwise; the rules of the trade count 20.9 %."
    )
    problems = [problem_parts(one, number) for number, one in enumerate(sheet.problems, start=1)]
    return _pdf(document, [facts, rules, *problems])


def _key(sheets: Sequence[Worksheet]) -> bytes:
    document = Document(
        title="Answer key: combustion and its testing",
        header=("Answer key, for the instructor", f"{sheets[0].level} level, seed {sheets[0].seed}"),
        date="",
        made=_MADE,
        paper=_PAPER[sheets[0].system],
        subtitle="Every answer computed for the student's own numbers; the accepted range allows for rounding on the "
        "way",
    )
    students = [
        Section(
            sheet.student,
            [answer_parts(one, number, asked=False) for number, one in enumerate(sheet.problems, start=1)],
            new_page=place > 0,
        )
        for place, sheet in enumerate(sheets)
    ]
    return _pdf(document, students)


def _pdf(document: Document, parts: Sequence[Any]) -> bytes:
    """Return parts of a report as PDF, by the exporter that sets notebooks, without a notebook."""
    import nbformat

    from fluewright.report.exporter import TypstPDFExporter

    outputs = [
        {"output_type": "display_data", "data": one._repr_mimebundle_(), "metadata": {}}
        for one in (document, *parts)
    ]
    cell: dict[str, Any] = {
        "cell_type": "code",
        "id": "sheet",
        "execution_count": None,
        "metadata": {},
        "outputs": outputs,
        "source": "",
    }
    book = nbformat.from_dict(  # type: ignore[no-untyped-call]
        {"cells": [cell], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}
    )
    place = {"metadata": {"name": "worksheet", "path": "."}}
    pdf, _ = TypstPDFExporter().from_notebook_node(book, place)  # type: ignore[no-untyped-call]
    return bytes(pdf)
