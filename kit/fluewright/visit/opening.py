"""Open a visit folder: read visit.toml, read the logs, check each against the other, and list all problems at once."""

from __future__ import annotations

import copy
import difflib
import hashlib
import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path
from typing import Any, TypeVar

import pandas as pd
from pydantic import BaseModel, ValidationError

from fluewright import sources
from fluewright.errors import UnitError
from fluewright.sources import limits
from fluewright.visit.cells import SWITCHES, Writing, read_word
from fluewright.visit.instruments import possible, stated_accuracy, stated_drift
from fluewright.visit.joining import join_logs
from fluewright.visit.problems import Problem, RefusalError, VisitError, problem_of, shown
from fluewright.visit.readings import Cell, Readings, SpotReading, TestPointRows, Visit
from fluewright.visit.schema import (
    Attendance,
    Instrument,
    Log,
    Moment,
    Spot,
    TestPoint,
    VisitFile,
    not_below_zero,
)
from fluewright.visit.schema_problems import Place, problems_in, where_in
from fluewright.visit.tables import kind_of
from fluewright.visit.tidy import OneLog, read_log
from fluewright.visit.times import moment_on_utc
from fluewright.visit.wordings import read_quantity

PLAN = "visit.toml"
_RANGES = (
    "gas_inlet_range",
    "oxygen_range",
    "oxygen_range_low",
    "carbon_dioxide_range",
    "carbon_dioxide_range_low",
    "temperature_rise",
    "temperature_rise_low",
)
_SAME_RATE = 0.05  # of full, chosen here
_LATE = pd.Timedelta(minutes=1)  # chosen here: a start or end noted by hand may miss the log by this much


def open_visit(folder: Path | str) -> Visit:
    """Read and check a visit folder.

    Parameters
    ----------
    folder : path
        The folder that holds visit.toml and the logs.

    Returns
    -------
    Visit
        The plan as written, the readings in SI, the test points and the spot readings.

    Raises
    ------
    VisitError
        Something is to be put right; `problems` holds all of it.
    """
    folder = Path(folder)
    content = _content(folder)
    text = _decoded(content)
    raw = _toml(text)
    try:
        plan, problems = VisitFile.model_validate(raw), []
    except ValidationError as error:
        plan, problems = None, problems_in(error, text)
    pieces = _pieces(raw) if plan is None else _Pieces.of(plan)
    at = _At(text)
    problems += _instrument_problems(pieces, at)
    pieces = replace(pieces, instruments=_sound(pieces.instruments, at, problems))
    logs = _read_logs(folder, pieces, at, problems)
    # With faults taken out, to look for more of them.
    sound = _valid(VisitFile, raw) if plan is None else plan
    if sound is None:
        raise VisitError(problems)
    problems += [*_appliance_problems(sound, at), *_check_problems(sound, at), *_limit_problems(sound, at)]
    problems += [*_calibration_problems(sound, at), *_record_problems(sound, at)]
    readings = _join(logs, pieces, problems) if len(logs) == len(sound.logs) else None
    spots = _spots(sound.readings, pieces, ("readings",), at, problems)
    points = _test_points(sound, pieces, readings, at, problems)
    if problems or plan is None or readings is None:
        raise VisitError(problems)
    return Visit(
        folder=folder,
        plan=plan,
        readings=readings,
        test_points=tuple(points),
        spots=spots,
        plan_sha256=hashlib.sha256(content).hexdigest(),
    )


def check_visit(folder: Path | str) -> tuple[Problem, ...]:
    """Return every problem of a visit folder, and none where it can be audited; writes nothing."""
    try:
        open_visit(folder)
    except VisitError as error:
        return error.problems
    return ()


# --------------------------------------------------------------------------------------- visit.toml


def _content(folder: Path) -> bytes:
    path = folder / PLAN
    if folder.is_file():
        raise _refused(
            "it is a file",
            folder,
            "a visit is a folder that holds visit.toml and the logs",
            "Name the folder",
        )
    if not folder.is_dir():
        raise _refused(
            "there is no such folder", folder, "a visit is a folder", "Put the path right, or start a visit"
        )
    if not path.is_file():
        raise _refused(
            "there is no visit.toml",
            folder,
            "a visit is a folder that holds visit.toml and the logs",
            "Name the folder that holds it, or start a visit with: fluewright start FOLDER",
        )
    try:
        return path.read_bytes()
    except OSError as error:
        raise _refused(f"it cannot be read: {error.strerror}", path, "", "See who may read it") from error


def _refused(what: str, where: object, rule: str, way_out: str) -> VisitError:
    return VisitError([Problem(what=what, where=str(where), rule=rule, way_out=way_out)])


def _decoded(content: bytes) -> str:
    try:
        return content.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise _refused(
            "the text is not UTF-8",
            f"{PLAN}, line {line}",
            "visit.toml is written in UTF-8",
            "Save it as UTF-8",
        ) from error


def _toml(text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        found = re.search(r"(.*) \(at line (\d+), column (\d+)\)", str(error))
        lines = text.split("\n")
        number = int(found[2]) if found else len(lines)
        reason = (found[1] if found else str(error)).lower()
        raise _refused(
            f"the line cannot be read: {shown(lines[number - 1].strip())}",
            f"{PLAN}, line {number}" + (f", column {found[3]}" if found else ""),
            f"visit.toml is written in TOML ({reason})",
            'Text stands in "quotes", numbers with a unit too; each key stands once, as key = value',
        ) from error


@dataclass(frozen=True, slots=True)
class _At:
    """Where a key stands in visit.toml."""

    text: str

    def __call__(self, *place: str | int) -> str:
        return where_in(self.text, place)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Pieces:
    """The parts of a plan that reading the logs needs; of a plan with faults, those that have none."""

    attendance: Attendance | None
    instruments: Mapping[str, Instrument]
    logs: Mapping[int, Log]

    @classmethod
    def of(cls, plan: VisitFile) -> _Pieces:
        """Return the parts of a whole plan."""
        return cls(attendance=plan.visit, instruments=plan.instruments, logs=dict(enumerate(plan.logs)))


_Model = TypeVar("_Model", bound=BaseModel)


def _valid(model: type[_Model], content: object) -> _Model | None:
    """Return a part of the plan, if need be without the entries in which it has faults."""
    try:
        return model.model_validate(content)
    except ValidationError as error:
        sound = copy.deepcopy(content)
        for finding in error.errors(include_url=False):
            _take_out(sound, finding["loc"])
    try:
        return model.model_validate(sound)
    except ValidationError:
        return None


def _take_out(content: Any, place: Place) -> None:
    """Take the entry at a place, as deep as it can be followed, out of nested tables."""
    for depth, part in enumerate(place):
        if not isinstance(content, dict) or part not in content:
            return
        following = place[depth + 1] if depth + 1 < len(place) else None
        if not isinstance(content[part], dict) or following not in content[part]:
            del content[part]
            return
        content = content[part]


def _pieces(raw: Mapping[str, Any]) -> _Pieces:
    named = raw.get("instruments")
    listed = raw.get("logs")
    instruments = (
        {name: _valid(Instrument, part) for name, part in named.items()} if isinstance(named, dict) else {}
    )
    logs = [_valid(Log, part) for part in listed] if isinstance(listed, list) else []
    bare = Instrument(description="with a fault of its own")
    return _Pieces(
        attendance=_valid(Attendance, raw.get("visit")),
        # An instrument with a fault of its own still exists.
        instruments={name: bare if part is None else part for name, part in instruments.items()},
        logs={number: log for number, log in enumerate(logs) if log is not None},
    )


# --------------------------------------------------------------------------------- within visit.toml


def _instrument_problems(pieces: _Pieces, at: _At) -> Iterator[Problem]:
    for number, log in pieces.logs.items():
        yield from _unknown_instrument(log.instrument, pieces, at("logs", number, "instrument"))
        for name, column in log.columns.items():
            if column.instrument is not None:
                yield from _unknown_instrument(column.instrument, pieces, at("logs", number, "columns", name))


def _sound(
    instruments: Mapping[str, Instrument], at: _At, problems: list[Problem]
) -> Mapping[str, Instrument]:
    """Return the instruments without the accuracies that cannot be read, so that logs can be read all the same."""
    sound = {}
    for name, instrument in instruments.items():
        accuracy = dict(instrument.accuracy)
        for quantity in instrument.accuracy:
            try:
                stated_accuracy(instruments, name, quantity)
            except (UnitError, RefusalError) as error:
                problems.append(problem_of(error, at("instruments", name, "accuracy", quantity)))
                del accuracy[quantity]
        for quantity in instrument.drift_checks:
            try:
                stated_drift(instruments, name, quantity)
            except (UnitError, RefusalError) as error:
                problems.append(problem_of(error, at("instruments", name, "drift_checks", quantity)))
        sound[name] = instrument.model_copy(update={"accuracy": accuracy})
    return sound


def _unknown_instrument(name: str, pieces: _Pieces, where: str) -> Iterator[Problem]:
    if name not in pieces.instruments:
        names = sorted(pieces.instruments)
        near = difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        listed = f"Known are {', '.join(names)}" if names else f"Add a table [instruments.{name}]"
        yield Problem(
            what=f"there is no instrument {shown(name)}",
            where=where,
            rule="each instrument named is described",
            way_out=f"Did you mean {near[0]}?" if near else listed,
        )


def _appliance_problems(plan: VisitFile, at: _At) -> Iterator[Problem]:
    for key in _RANGES:
        ends = getattr(plan.appliance, key)
        if ends is not None and not 0 <= ends[0] < ends[1]:
            yield Problem(
                what=f"the nameplate's {key.replace('_', ' ')} does not run from low to high",
                where=at("appliance", key),
                rule="the lowest comes first, and is not below zero",
                way_out='Write it such as ["35 delta_degF", "65 delta_degF"], in its own unit',
            )


def _calibration_problems(plan: VisitFile, at: _At) -> Iterator[Problem]:
    for name, instrument in plan.instruments.items():
        calibrated, due = instrument.calibrated, instrument.calibration_due
        if calibrated is not None and calibrated > plan.visit.date:
            yield Problem(
                what=f"{name} was calibrated on {calibrated}, after the visit of {plan.visit.date}",
                where=at("instruments", name, "calibrated"),
                rule="what counts is the last calibration before the visit",
                way_out="Put the date right, or enter the calibration before",
            )
        if calibrated is not None and due is not None and due < calibrated:
            yield Problem(
                what=f"the calibration of {name} was due on {due}, before it was calibrated on {calibrated}",
                where=at("instruments", name, "calibration_due"),
                rule="a calibration is due after the last one",
                way_out="Put the dates right",
            )


def _check_problems(plan: VisitFile, at: _At) -> Iterator[Problem]:
    known = limits.checks()
    for name, record in plan.checks.items():
        if record.result not in known[name].results:
            yield Problem(
                what=f"the result of {name} is {shown(record.result)}",
                where=at("checks", name),
                rule="a check that is seen has one of a few results",
                way_out=f"Write one of {', '.join(map(shown, known[name].results))}; say more in note",
            )


def _record_problems(plan: VisitFile, at: _At) -> Iterator[Problem]:
    """Yield the problems of times that the record of the visit and its test points hold."""
    record = plan.record
    times: list[tuple[Moment | None, Place]] = [
        (step.at, ("record", "steps", number, "at")) for number, step in enumerate(record.steps)
    ]
    times.append((record.aborted.at if record.aborted else None, ("record", "aborted", "at")))
    times += [
        (point.blower_started, ("test_points", number, "blower_started"))
        for number, point in enumerate(plan.test_points)
    ]
    for moment, place in times:
        try:
            if moment is not None:
                moment_on_utc(moment, date=plan.visit.date, zone=plan.visit.time_zone)
        except RefusalError as error:
            yield problem_of(error, at(*place))


def _limit_problems(plan: VisitFile, at: _At) -> Iterator[Problem]:
    for quantity, limit in plan.limits.items():
        try:
            number = read_quantity(limit.value, quantity)
            if sources.quantity(quantity).floor == 0:
                not_below_zero(number, f"the limit of {quantity}", limit.value)
        except (RefusalError, UnitError) as error:
            yield problem_of(error, at("limits", quantity, "value"))
        if limit.holds is None and limits.side_of(quantity) is None:
            yield Problem(
                what=f"the limit of {quantity} does not say which side of it holds",
                where=at("limits", quantity),
                rule="a limit is a most or a least",
                way_out='Write holds = "at most" or holds = "at least" beside its value',
            )


# -------------------------------------------------------------------------------------------- logs


def _read_logs(folder: Path, pieces: _Pieces, at: _At, problems: list[Problem]) -> list[OneLog]:
    logs = []
    for number, log in pieces.logs.items():
        try:
            path = _log_path(folder, log.file, at("logs", number, "file"))
            problems += _sheet_problems(path, log, at("logs", number, "sheet"))
            if pieces.attendance is not None and log.instrument in pieces.instruments:
                logs.append(
                    read_log(path, log=log, attendance=pieces.attendance, instruments=pieces.instruments)
                )
        except VisitError as error:
            problems += error.problems
        except OSError as error:
            problems.append(
                Problem(
                    what=f"the log cannot be read: {error.strerror}",
                    where=log.file,
                    way_out="See who may read the file, and that it is whole",
                )
            )
    return logs


def _log_path(folder: Path, name: str, where: str) -> Path:
    root = folder.resolve()
    try:
        path = (root / name).resolve()
        inside, there = path.is_relative_to(root) and path != root, path.is_file()
    except (OSError, ValueError):
        inside, there = True, False
    if not inside:
        raise _refused(
            f"the log {shown(name)} lies outside the visit folder",
            where,
            "a visit folder holds its logs, so that it can be handed on whole",
            "Copy the log into the folder",
        )
    if not there:
        beside = [other.name for other in sorted(root.iterdir()) if other.is_file() and other.name != PLAN]
        near = difflib.get_close_matches(name, beside, n=1, cutoff=0.5)
        listed = f"The folder holds {', '.join(map(shown, beside[:10]))}" if beside else "Copy it there"
        raise _refused(
            f"there is no log {shown(name)} in the folder",
            where,
            "each log named stands in the folder",
            f"Did you mean {shown(near[0])}?" if near else listed,
        )
    return path


def _sheet_problems(path: Path, log: Log, where: str) -> Iterator[Problem]:
    """Yield the problem of a sheet that is named in a file which has none."""
    if log.sheet is None:
        return
    with path.open("rb") as file:
        kind = kind_of(file.read(4))
    if kind in {"text", "Parquet"}:
        yield Problem(
            what=f"the sheet {shown(log.sheet)} is named of {shown(log.file)}, which is a {kind} file",
            where=where,
            rule="only a workbook (.xlsx) has sheets",
            way_out="Take sheet out, or name the workbook under file",
        )


def _join(logs: list[OneLog], pieces: _Pieces, problems: list[Problem]) -> Readings | None:
    try:
        return join_logs(logs, instruments=pieces.instruments)
    except VisitError as error:
        problems += error.problems
        return None


# ----------------------------------------------------------------------------- spots and test points


def _spot(spot: Spot, quantity: str, instruments: Mapping[str, Instrument]) -> SpotReading:
    """Return a spot reading in SI; over the instrument's range it is a lower bound."""
    accuracy = stated_accuracy(instruments, spot.instrument or "", quantity)
    top = accuracy.span[1] if accuracy.span is not None else None
    mark, rest = re.fullmatch(r"\s*([<>≥≤]?)=?(.*)", spot.value, re.DOTALL).groups()  # type: ignore[union-attr]
    bound = {"≥": ">", "≤": "<"}.get(mark, mark)
    word = read_word(spot.value, writing=Writing(switch=quantity in SWITCHES))
    if word.state == Cell.OVER_RANGE and not mark:
        if top is None:
            raise RefusalError(
                f"{quantity} is over the instrument's range",
                rule="a reading over range counts as at least the top of the range",
                way_out="Write it as a bound such as '> 2000 ppm', or name an instrument whose span is given",
            )
        value, bound = top, ">"
    elif word.state == Cell.NUMBER and quantity in SWITCHES:
        value = word.value
    else:
        value = read_quantity(rest, quantity)
        if top is not None and value >= top * (1 - 1e-9) and bound != "<":
            value, bound = top, ">"
    low, high = possible(quantity, accuracy)
    if not low <= value <= high:
        raise RefusalError(
            f"{quantity} is {shown(spot.value)}",
            rule="that is outside of what it can be",
            way_out="Check the number and its unit",
        )
    return SpotReading(
        quantity=quantity, value=value, bound=bound, instrument=spot.instrument or "", note=spot.note
    )


def _spots(
    readings: Mapping[str, tuple[Spot, ...]], pieces: _Pieces, place: Place, at: _At, problems: list[Problem]
) -> Mapping[str, tuple[SpotReading, ...]]:
    read: dict[str, tuple[SpotReading, ...]] = {}
    for quantity, spots in readings.items():
        where = at(*place, quantity)
        for spot in spots:
            if spot.instrument is not None and spot.instrument not in pieces.instruments:
                problems += _unknown_instrument(spot.instrument, pieces, where)
                continue
            try:
                read[quantity] = (*read.get(quantity, ()), _spot(spot, quantity, pieces.instruments))
            except (RefusalError, UnitError) as error:
                problems.append(problem_of(error, where))
    return read


def _test_points(
    plan: VisitFile, pieces: _Pieces, readings: Readings | None, at: _At, problems: list[Problem]
) -> list[TestPointRows]:
    points = []
    for number, point in enumerate(plan.test_points):
        spots = _spots(point.readings, pieces, ("test_points", number, "readings"), at, problems)
        try:
            rows = _test_point(plan, number, point, spots, at)
        except VisitError as error:
            problems += error.problems
            continue
        points.append(rows)
        if readings is not None:
            problems += _outside(rows, readings, at("test_points", number, "start"))
    problems += _replaced(plan, at)
    for one, other in pairwise(sorted(points, key=lambda point: point.start)):
        if other.start < one.end and one.start < other.end:
            problems.append(_conflict(one, other, "overlap in time", at("test_points")))
    names = [point.name for point in points]
    for name in {name for name in names if names.count(name) > 1}:
        problems.append(
            Problem(
                what=f"two test points are named {shown(name)}",
                where=at("test_points"),
                rule="a report tells them apart by name",
                way_out="Give each its own name",
            )
        )
    return points


def _replaced(plan: VisitFile, at: _At) -> Iterator[Problem]:
    """Yield the problem of a test point that repeats one which does not come before it, or at another firing rate."""
    before: dict[str, TestPoint] = {}
    for number, point in enumerate(plan.test_points):
        place = at("test_points", number, "replaces")
        if point.replaces and point.replaces not in before:
            listed = ", ".join(map(shown, before))
            yield Problem(
                what=f"{shown(point.name)} repeats the test point {shown(point.replaces)}",
                where=place,
                rule="it repeats one that stands before it",
                way_out=f"Write one of {listed}" if before else "Leave it out of the first test point",
            )
        elif point.replaces and _fires_otherwise(point, before[point.replaces]):
            yield Problem(
                what=f"{shown(point.name)} is at another firing rate than {shown(point.replaces)}, which it repeats",
                where=place,
                rule="only a test at the same rate shows that something was put right",
                way_out="Leave replaces out, or put stage and firing_rate of the two right",
            )
        before[point.name] = point


def _fires_otherwise(one: TestPoint, other: TestPoint) -> bool:
    """Tell whether two test points are of different stages, or of firing rates that differ by more than a reading."""
    rates = [1.0 if point.firing_rate is None else point.firing_rate for point in (one, other)]
    return (one.stage or "high") != (other.stage or "high") or abs(rates[0] - rates[1]) > _SAME_RATE


def _conflict(one: TestPointRows, other: TestPointRows, how: str, where: str) -> Problem:
    return Problem(
        what=f"the test points {shown(one.name)} and {shown(other.name)} {how}: the first ends "
        f"{one.end:%H:%M:%S}, the second starts {other.start:%H:%M:%S}",
        where=where,
        rule="a reading belongs to one test point",
        way_out="End the first before the second starts",
    )


def _test_point(
    plan: VisitFile, number: int, point: TestPoint, spots: Mapping[str, tuple[SpotReading, ...]], at: _At
) -> TestPointRows:
    place: Place = ("test_points", number)
    start, end = _stretch(plan, point.start, point.end, at, place)
    window = None
    if point.window is not None:
        first, last = _stretch(plan, point.window.start, point.window.end, at, (*place, "window"))
        if first < start or last > end:
            raise _refused(
                f"the window, {first:%H:%M:%S} to {last:%H:%M:%S}, leaves its test point, "
                f"{start:%H:%M:%S} to {end:%H:%M:%S}",
                at(*place, "window"),
                "a window lies within its test point",
                "Move the window, or the start or end of the test point",
            )
        window = (first, last, point.window.because)
    return TestPointRows(name=point.name, start=start, end=end, manual_window=window, spots=spots)


def _stretch(
    plan: VisitFile, start: Moment, end: Moment, at: _At, place: Place
) -> tuple[pd.Timestamp, pd.Timestamp]:
    stamps, problems = [], []
    for key, moment in (("start", start), ("end", end)):
        try:
            stamps.append(moment_on_utc(moment, date=plan.visit.date, zone=plan.visit.time_zone))
        except RefusalError as error:
            problems.append(problem_of(error, at(*place, key)))
    if problems:
        raise VisitError(problems)
    if stamps[0] >= stamps[1]:
        raise _refused(
            f"it starts {stamps[0]:%Y-%m-%d %H:%M:%S} and ends {stamps[1]:%Y-%m-%d %H:%M:%S}",
            at(*place, "end"),
            "it starts before it ends",
            "Put start and end right; past midnight, write the date too, such as 2026-01-31T00:10:00",
        )
    return stamps[0], stamps[1]


def _outside(point: TestPointRows, readings: Readings, where: str) -> Iterator[Problem]:
    index = readings.frame.index
    first, last, several = index[0], index[-1], len(readings.accounts) > 1
    if point.start < first - _LATE or point.end > last + _LATE:
        stretch = f"{point.start:%Y-%m-%d %H:%M:%S} to {point.end:%H:%M:%S}"
        what = f"the test point {shown(point.name)}, {stretch}, leaves the log"
    elif not ((index >= point.start) & (index <= point.end)).any():
        what = f"the test point {shown(point.name)} holds no row of the log"
    else:
        return
    yield Problem(
        what=what,
        where=where,
        rule=f"the log runs from {first:%Y-%m-%d %H:%M:%S} to {last:%Y-%m-%d %H:%M:%S}",
        way_out="Put start and end right, or the date, the time zone or the clock's offset"
        + (", or list that log first which lasts longest: the first gives the times" if several else ""),
    )
