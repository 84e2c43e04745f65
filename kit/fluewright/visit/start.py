"""Start a visit folder: a commented visit.toml to fill in, and a column map proposed from logs."""

from __future__ import annotations

import re
import shutil
import uuid
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from importlib import resources
from itertools import chain, count
from pathlib import Path

from fluewright.errors import InputError
from fluewright.sources import limits, quantities, table
from fluewright.visit.opening import PLAN
from fluewright.visit.problems import text_in_toml
from fluewright.visit.proposal import ColumnProposal, Proposal, propose_log

SCHEMA = "visit.schema.json"


def start_visit(folder: Path | str, logs: Sequence[Path | str] = ()) -> Path:
    """Write a commented visit folder to fill in, and return the path of its visit.toml.

    Parameters
    ----------
    folder : path
        The folder to make; it may exist if it is empty.
    logs : sequence of path
        Logs to copy in; a column map is proposed for each, with every doubtful column left for a person.

    Raises
    ------
    InputError
        The folder holds something, or a log cannot be copied. Nothing is written then.
    """
    folder, files = Path(folder), [Path(log) for log in logs]
    _refuse_unfit(folder, files)
    proposals = [propose_log(log) for log in files]
    aside = folder.parent / f".{folder.name}-{uuid.uuid4().hex[:8]}"
    try:
        aside.mkdir()
        try:
            for log in files:
                shutil.copyfile(log, aside / log.name)
            package = resources.files("fluewright.visit")
            (aside / SCHEMA).write_bytes(package.joinpath(SCHEMA).read_bytes())
            (aside / PLAN).write_text(_plan_text(proposals), encoding="utf-8")
            if folder.exists():
                folder.rmdir()
            aside.rename(folder)
        except BaseException:
            shutil.rmtree(aside, ignore_errors=True)
            raise
    except OSError as error:
        raise InputError(
            f"{folder} cannot be written: {error.strerror or error}. Nothing was written."
        ) from error
    return folder / PLAN


def _refuse_unfit(folder: Path, logs: Sequence[Path]) -> None:
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; name a folder to start a visit in")
    if folder.is_dir() and any(folder.iterdir()):
        raise InputError(
            f"{folder} is not empty; a visit is started in a new folder, so that nothing is overwritten"
        )
    if not folder.absolute().parent.is_dir():
        raise InputError(
            f"there is no folder {folder.absolute().parent} to start the visit in; make it first"
        )
    for log in logs:
        if not log.is_file():
            raise InputError(f"there is no log {log}; name a file to copy into the visit")
    names = [log.name.casefold() for log in logs]
    for name in names:
        if names.count(name) > 1 or name in {PLAN, SCHEMA}:
            raise InputError(f"the name {name} cannot stand in the visit folder twice; rename the log")


def _plan_text(proposals: Sequence[Proposal]) -> str:
    """Return visit.toml with its blanks; the template stands beside this module."""
    template = resources.files("fluewright.visit").joinpath("visit-template.toml").read_text(encoding="utf-8")
    date = next((proposal.date for proposal in proposals if proposal.date), '""')
    logs = "\n".join(map(_log_text, _named_apart(proposals))) or _BLANK_LOG
    return (
        template.replace("@DATE@", date)
        .replace("@APPLIANCE_TYPES@", _listed(sorted(limits.appliance_types())))
        .replace("@DEFINITIONS@", "\n".join(f'#   "{name}"' for name in table("steady")["criteria"]))
        .replace("@RESULTS@", ", ".join(f'"{result}"' for result in limits.CHECK_RESULTS))
        .replace("@CHECKS@", _checks())
        .replace(
            "@QUANTITIES@", _listed(name for name, known in quantities().items() if known.kind == "reading")
        )
        .replace("@INSTRUMENTS_AND_LOGS@", logs)
    )


def _named_apart(proposals: Sequence[Proposal]) -> Iterator[Proposal]:
    """Yield proposals, each with an instrument of its own name: a table stands once."""
    taken: set[str] = set()
    for proposal in proposals:
        names = chain([proposal.instrument], (f"{proposal.instrument}_{number}" for number in count(2)))
        name = next(name for name in names if name not in taken)
        taken.add(name)
        yield replace(proposal, instrument=name)


def _listed(words: Iterable[str]) -> str:
    """Return words as lines of a comment."""
    lines, line = [], "#  "
    for word in words:
        if len(line) + len(word) > 105:
            lines.append(line)
            line = "#  "
        line += f" {word},"
    return "\n".join([*lines, line.rstrip(",")])


def _checks() -> str:
    return "\n".join(f'# {name} = ""' for name in limits.checks())


def _key(name: str) -> str:
    return name if re.fullmatch(r"[A-Za-z0-9_-]+", name) else text_in_toml(name)


_KEYS_OF_LOG = """\
# In time too: offset = "90 s", added to correct its clock ("estimate": told from events that the first log saw as
# well), and spread = true, where its clock tells less than its rows (they are spread evenly to the next time).
# words = { "ALARM" = "over range", "wait" = "no reading" }   # what it writes instead of a number; or "under range"
# within = "5 s"                    # joined to the first log by the nearest reading within this
# interpolate = true                # between the readings before and after instead
# set_aside = [{ rows = [2, 2], because = "the probe was not in yet" }]   # or start and end, instead of rows
"""
_BLANK_LOG = (
    """\
[instruments.analyzer]
description = ""
# serial = ""
# calibrated = 2025-09-01
# sample_dew_point = "41 degF"      # of the gas after the instrument's dryer
# [instruments.analyzer.accuracy]   # from the maker's data sheet; where two are given, the greater holds
# oxygen_dry = { absolute = "0.2 percent", span = ["0 percent", "25 percent"], resolution = "0.1 percent" }
# carbon_monoxide_dry = { absolute = "5 ppm", of_reading = "5 percent", span = ["0 ppm", "4000 ppm"] }
# flue_temperature = { absolute = "2 delta_degF" }
# [instruments.analyzer.drift_checks.carbon_monoxide_dry]   # of fresh air and of gas from a bottle; each line optional
# zero_before = { applied = "0 ppm", shown = "1 ppm" }
# zero_after = { applied = "0 ppm", shown = "3 ppm" }
# span_before = { applied = "500 ppm", shown = "502 ppm" }
# span_after = { applied = "500 ppm", shown = "495 ppm" }
# correct = true                    # drift is always in the interval; this takes it from the settled readings too

# One [[logs]] for each file: delimited text, .xlsx or Parquet. The first is the clock to which others are joined.
[[logs]]
file = ""
instrument = "analyzer"
time = { column = "" }              # or { time_column = "", date_column = "" }; format = "%d.%m.%Y %H:%M:%S",
                                    # or "elapsed" (start =, unit = "s", "ms", "min" or "h"), or "serial" (days)
# sheet = "Log"                     # of a workbook with several sheets
# delimiter = ";"
# decimal = ","
# header_row = 1                    # line number of the column names
"""
    + _KEYS_OF_LOG
    + """\
[logs.columns]                      # "name in the log" = { quantity = "", unit = "" }
# "O2" = { quantity = "oxygen_dry", unit = "percent" }
# "CO" = { quantity = "carbon_monoxide_dry", unit = "ppm" }   # despite_heading = "" says why a map contradicts the log
"""
)


def _log_text(proposal: Proposal) -> str:
    name = _key(proposal.instrument)
    lines = [
        f"[instruments.{name}]",
        'description = ""',
        f"# [instruments.{name}.accuracy]   # from the maker's data sheet; where two are given, the greater holds",
        *_accuracy_examples(proposal.columns),
        "",
        "[[logs]]",
        f"file = {text_in_toml(proposal.file)}",
        f"instrument = {text_in_toml(proposal.instrument)}",
        *(
            f"{key} = {text_in_toml(value) if isinstance(value, str) else value}"
            for key, value in proposal.dialect.items()
        ),
        *proposal.time,
        _KEYS_OF_LOG.rstrip("\n"),
        "[logs.columns]   # take away the # of a doubtful column once you are sure of it",
    ]
    for column in proposal.columns:
        mark = "" if not column.doubt else "# "
        origin = ', origin = "instrument"' if column.computed else ""
        entry = f'{{ quantity = "{column.quantity}", unit = "{column.unit}"{origin} }}'
        lines.append(
            f"{mark}{text_in_toml(column.name)} = {entry}" + (f"   # {column.doubt}" if column.doubt else "")
        )
    return "\n".join(lines) + "\n"


def _accuracy_examples(columns: Sequence[ColumnProposal]) -> list[str]:
    return [
        f'# {column.quantity} = {{ absolute = "", span = ["", ""] }}'
        for column in columns
        if not column.doubt and not column.computed
    ]
