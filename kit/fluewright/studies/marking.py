"""The audit of a practice visit held against its truth: what was found, what was missed, what was invented."""

from __future__ import annotations

import fnmatch
import hashlib
import json
import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from fluewright import sources
from fluewright.errors import InputError, UnknownNameError
from fluewright.studies.practice import fault_names, scenario_plan
from fluewright.studies.practice.course import Course, simulate
from fluewright.studies.practice.instruments import log_text, own_draw
from fluewright.studies.practice.truth import means_of
from fluewright.studies.results import LAYOUT

__all__ = ["Mark", "Score", "mark", "mark_audit", "scores"]

_RESULTS = ".results.json"
_FOUND = frozenset({"beyond", "fault seen"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Mark:
    """How an audit stands against the truth of its visit.

    `found` and `missed` are the planted faults and the limits truly passed, `invented` what the audit says and
    the truth denies, each in words. `off` are the numbers whose 95 % interval does not hold the truth, of
    `numbers` that have one.
    """

    visit: str
    planted: tuple[str, ...]
    found: tuple[str, ...]
    missed: tuple[str, ...]
    invented: tuple[str, ...]
    numbers: int
    off: tuple[str, ...]

    @property
    def faults_found(self) -> tuple[str, ...]:
        """The planted faults among what was found."""
        return tuple(
            fault for fault in self.planted if any(line.startswith(f"{fault}:") for line in self.found)
        )

    @property
    def words(self) -> tuple[str, ...]:
        """The mark in lines, one to a thing."""
        lines = [
            f"{kind}: {line}"
            for kind, group in (("found", self.found), ("missed", self.missed), ("invented", self.invented))
            for line in group
        ]
        held = f"numbers: {self.numbers - len(self.off)} of {self.numbers} intervals hold the truth"
        return (*lines, held + (f"; not {', '.join(self.off)}" if self.off else ""))


def mark_audit(audit: Path, *, truth: Path, named: Sequence[str] = ()) -> Mark:
    """Return the mark of one audit.

    Parameters
    ----------
    audit : Path
        The results.json of a student's audit, or the visit folder, which is then audited here.
    truth : Path
        The truth of the practice visit, as `fluewright practice` wrote it, or the folder that holds it by the
        name of the audit.
    named : sequence of str
        Faults that the student named in words.

    Raises
    ------
    InputError
        A file cannot be read or is not what it should be, or the truth is of another visit.
    UnknownNameError
        A fault named does not exist.
    """
    name = audit.name.removesuffix(_RESULTS)
    truth = truth / f"{name}.json" if truth.is_dir() else truth
    known = _json(truth, "truth")
    if not {"scenario", "seed", "faults", "test_points"} <= known.keys():
        raise InputError(
            f"{truth} is not the truth of a practice visit; it is the file that fluewright practice names last"
        )
    results, refusal = (_audited(audit), "") if not audit.is_dir() else _of_folder(audit)
    if results is not None:
        replayed = _Replay.of(known)
        replayed.check_logs(results, truth)
        known = replayed.over_windows(results, known)
    return mark(results, known, named=named, refusal=refusal, visit=name)


def mark(
    results: Mapping[str, Any] | None,
    truth: Mapping[str, Any],
    *,
    named: Sequence[str] = (),
    refusal: str = "",
    visit: str = "",
) -> Mark:
    """Return the mark of an audit from its results and the truth, both as plain values.

    A planted fault is found where the audit shows it (``sources/marking.toml``) or the student named it. A limit is
    found where reading and truth both pass it, missed where the truth passes it and the audit says "within", invented
    where the audit says "beyond" and the truth does not pass it. "Cannot tell" is neither.

    Parameters
    ----------
    results : mapping or None
        What results.json holds; None where the visit was refused.
    truth : mapping
        What the truth file holds.
    named : sequence of str
        Faults the student named.
    refusal : str
        Why the visit was refused.
    visit : str
        Its name.
    """
    stray = next((fault for fault in named if fault not in fault_names()), None)
    if stray is not None:
        raise UnknownNameError("fault", stray, fault_names())
    planted = tuple(truth["faults"])
    judged = () if results is None else tuple(results["judgements"])
    shown = {fault: tuple(_shown(fault, judged, results, refusal)) for fault in planted}
    evidence = {id(one) for lines in shown.values() for one in lines if isinstance(one, Mapping)}
    found: list[str] = []
    missed: list[str] = []
    invented: list[str] = []
    for fault in planted:
        lines = list(dict.fromkeys(_words(one) if isinstance(one, Mapping) else one for one in shown[fault]))
        lines += ["named by the student"] if fault in named else []
        about = sources.table("practice")["faults"][fault]["about"]
        seen = f" ({'; '.join(lines)})" if lines else ""
        (found if lines else missed).append(f"{fault}: {about}{seen}. How it is told: {_why(fault)}")
    invented += [f"{fault}: named by the student, not planted" for fault in named if fault not in planted]
    for one in judged:
        passed = _truly_passed(one, truth)
        if passed is None or id(one) in evidence:
            continue
        if one["outcome"] in _FOUND:
            (found if passed else invented).append(_words(one))
        elif passed and one["outcome"] == "within":
            missed.append(f"{_words(one)}, and truly beyond it")
    marked = [] if results is None else list(_numbers(results, truth))
    return Mark(
        visit=visit,
        planted=planted,
        found=tuple(dict.fromkeys(found)),
        missed=tuple(dict.fromkeys(missed)),
        invented=tuple(dict.fromkeys(invented)),
        numbers=len(marked),
        off=tuple(name for name, holds in marked if not holds),
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Score:
    """How audits of one planted fault, or of sound visits, were marked; counts, and the share of numbers held."""

    fault: str
    visits: int
    found: int
    missed: int
    limits_missed: int
    invented: int
    numbers_held: float


def scores(marks: Sequence[Mark]) -> tuple[Score, ...]:
    """Return the marks of a class, one score a fault, in the order of the faults; "" for sound visits."""
    order = ("", *fault_names())
    planted = [fault for fault in order if any(fault in (one.planted or ("",)) for one in marks)]
    return tuple(
        _score(fault, [one for one in marks if fault in (one.planted or ("",))]) for fault in planted
    )


def _score(fault: str, marks: Sequence[Mark]) -> Score:
    found = sum(fault in one.faults_found for one in marks)
    numbers = sum(one.numbers for one in marks)
    return Score(
        fault=fault,
        visits=len(marks),
        found=found,
        missed=len(marks) - found if fault else 0,
        limits_missed=sum(len(one.missed) for one in marks) - (len(marks) - found if fault else 0),
        invented=sum(len(one.invented) for one in marks),
        numbers_held=(numbers - sum(len(one.off) for one in marks)) / numbers if numbers else math.nan,
    )


# ---------------------------------------------------------------------------- how a fault shows


def _why(fault: str) -> str:
    return str(sources.table("marking")["faults"][fault]["why"])


def _shown(
    fault: str, judged: Sequence[Mapping[str, Any]], results: Mapping[str, Any] | None, refusal: str
) -> Iterator[Any]:
    """Yield what shows a fault: judgements of the audit, or words."""
    for sign in sources.table("marking")["faults"][fault]["shown_by"]:
        rule, _, rest = sign.partition(" ")
        if rule == "refused":
            if refusal.startswith(rest):
                yield f"the visit is refused: {refusal}"
        elif sign == "no window":
            if results is not None and any(point["window"] is None for point in results["test_points"]):
                yield "no steady window"
        else:
            yield from (
                one
                for one in judged
                if one["outcome"] in _FOUND
                and fnmatch.fnmatchcase(one["rule"], rule)
                and rest in {"", _side(one)}
            )


def _side(judgement: Mapping[str, Any]) -> str:
    high = judgement["limit_high"]
    return "above" if high is not None and judgement["measured"]["value"] > high else "below"


def _words(judgement: Mapping[str, Any]) -> str:
    return str(judgement["headline"]) + (f" ({judgement['test_point']})" if judgement["test_point"] else "")


# ---------------------------------------------------------------------------- limits and numbers against the truth


def _true_value(
    quantity: str, basis: str, point: Mapping[str, Any], truth: Mapping[str, Any]
) -> float | None:
    """Return the true value that a number of the audit should hold, or None where the truth does not tell."""

    def of(name: str) -> float:
        return float(point[name]["value"]) if name in point else math.nan

    worst = "every burning row" in basis or basis.startswith("worst of")
    if "rise over" in basis or (worst and quantity == "carbon_monoxide_dry"):
        return None
    if quantity.startswith("carbon_monoxide_air_free"):
        value = of("carbon_monoxide_air_free_greatest" if worst else "carbon_monoxide_air_free")
    elif quantity == "carbon_monoxide_ambient":
        value = float(truth["carbon_monoxide_ambient_greatest"]["value"]) if worst else math.nan
    elif quantity == "dew_point_margin":
        value = of("flue_temperature") - of("water_dew_point")
    else:
        value = of(quantity)
    return None if math.isnan(value) else value


def _truly_passed(judgement: Mapping[str, Any], truth: Mapping[str, Any]) -> bool | None:
    """Return whether the truth passes what was judged, or None where it does not tell."""
    measured = judgement["measured"]
    if measured is None:
        return _check_truth(judgement["rule"], truth)
    point = truth["test_points"].get(judgement["test_point"], {})
    value = _true_value(measured["quantity"], measured["basis"], point, truth)
    low, high = judgement["limit_low"], judgement["limit_high"]
    if value is None or (low is None and high is None):
        return None
    return bool((low is not None and value < low) or (high is not None and value > high))


def _check_truth(check: str, truth: Mapping[str, Any]) -> bool | None:
    """Return whether a fault was there to be seen by eye, as far as the planted faults tell."""
    table = sources.table("practice")
    planted = (table["faults"][fault].get("checks", {}) for fault in truth["faults"])
    entry: Any = next((checks[check] for checks in planted if check in checks), None)
    if entry is None:
        entry = _scenario_checks(truth["scenario"]).get(check)
    return None if entry is None else (entry if isinstance(entry, str) else entry["result"]) == "fault seen"


def _scenario_checks(name: str) -> Mapping[str, Any]:
    entry = sources.table("practice")["scenarios"][name]
    base = _scenario_checks(entry["like"]) if "like" in entry else {}
    return {**base, **entry.get("visit", {}).get("checks", {})}


def _numbers(results: Mapping[str, Any], truth: Mapping[str, Any]) -> Iterator[tuple[str, bool]]:
    """Yield every number that has an interval and a truth, and whether the one holds the other."""
    for point in results["test_points"]:
        known = truth["test_points"].get(point["name"], {})
        for name, number in {**point["readings"], **point["numbers"]}.items():
            if (
                name != number["quantity"]
                or number["interval_low"] is None
                or number["interval_high"] is None
            ):
                continue
            value = _true_value(name, number["basis"], known, truth)
            if value is not None:
                yield name, number["interval_low"] <= value <= number["interval_high"]


# ---------------------------------------------------------------------------- files


def _json(path: Path, what: str) -> Mapping[str, Any]:
    try:
        read = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise InputError(f"the {what} {path} cannot be read: {error.strerror}") from error
    except ValueError as error:
        raise InputError(f"the {what} {path} is not JSON: {error}") from error
    return read if isinstance(read, dict) else {}


def _audited(path: Path) -> Mapping[str, Any]:
    results = _json(path, "audit")
    if results.get("layout") != LAYOUT:
        raise InputError(f"{path} is not the results.json of an audit; make one with fluewright audit")
    return results


def _of_folder(folder: Path) -> tuple[Mapping[str, Any] | None, str]:
    """Return the results of a visit folder, or why it is refused."""
    from fluewright.studies.audit import audit
    from fluewright.visit import open_visit

    try:
        return audit(open_visit(folder)).results, ""
    except InputError as error:
        return None, str(error)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Replay:
    """A practice visit simulated again from what its truth says of it."""

    plan: Mapping[str, Any]
    course: Course
    seed: int

    @classmethod
    def of(cls, truth: Mapping[str, Any]) -> _Replay:
        """Return the visit that a truth is of."""
        fault, severity = next(iter(truth["faults"].items()), ("", 1.0))
        plan = scenario_plan(truth["scenario"], fault, severity)
        return cls(plan=plan, course=simulate(plan, own_draw(truth["seed"], "flame")), seed=truth["seed"])

    def check_logs(self, results: Mapping[str, Any], truth: Path) -> None:
        """Refuse an audit of another visit, or of logs that were changed."""
        given = {
            log["file"]: log_text(self.course, self.plan, log, self.seed)
            for log in self.plan["logs"].values()
        }
        hashes = {name: hashlib.sha256(content).hexdigest() for name, content in given.items()}
        for account in results["account_of_rows"]:
            if hashes.get(account["file"]) != account["sha256"]:
                raise InputError(
                    f"{account['file']} in the audit is not the log of the visit that {truth} is the truth of; give "
                    "the truth of the same visit, and leave its logs as they were"
                )

    def over_windows(self, results: Mapping[str, Any], truth: Mapping[str, Any]) -> Mapping[str, Any]:
        """Return the truth with its means over the windows that the audit took: a flue still warms a little."""
        zone = ZoneInfo(results["visit"]["time_zone"])

        def second(moment: str) -> float:
            local = datetime.fromisoformat(moment).astimezone(zone).replace(tzinfo=None)
            return float((local - self.plan["start"]).total_seconds())

        planned = {point["name"]: point for point in self.plan["test_points"]}
        points = dict(truth["test_points"])
        for point in results["test_points"]:
            name, window = point["name"], point["window"]
            if window is not None and name in points:
                taken = {**planned[name], "start": second(window["start"]), "end": second(window["end"]) + 1}
                points[name] = {**points[name], **means_of(taken, self.plan, self.course)}
        return {**truth, "test_points": points}
