"""Practice visits: a visit folder with logs from a simulated burn, and its truth in a file apart."""

from __future__ import annotations

import copy
import json
import shutil
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fluewright import sources
from fluewright.errors import InputError, UnknownNameError
from fluewright.studies.practice import instruments
from fluewright.studies.practice.course import number, simulate
from fluewright.studies.practice.truth import truth_of
from fluewright.studies.practice.visit_text import visit_text
from fluewright.units import parse

__all__ = ["PracticeVisit", "fault_names", "practice_visit", "scenario_names", "scenario_plan", "severity_of"]

RANDOM = "random"
LARGEST_SEED = 2**32 - 1


@dataclass(frozen=True, slots=True, kw_only=True)
class PracticeVisit:
    """A practice visit as written: its folder, and the file that holds the truth."""

    folder: Path
    truth: Path
    scenario: str
    fault: str
    seed: int


def scenario_names() -> tuple[str, ...]:
    """Return the names of the scenarios."""
    return tuple(sources.table("practice")["scenarios"])


def fault_names(scenario: str | None = None) -> tuple[str, ...]:
    """Return the names of the faults, all of them or those that make sense for a scenario."""
    faults = sources.table("practice")["faults"]
    if scenario is None:
        return tuple(faults)
    key = _named("scenario", scenario, scenario_names())
    return tuple(name for name, entry in faults.items() if key in entry["scenarios"])


def severity_of(difficulty: str) -> float:
    """Return the severity of a planted fault for a difficulty by name: the harder, the fainter.

    Raises
    ------
    UnknownNameError
        No such difficulty.
    """
    table: Mapping[str, float] = sources.table("practice")["difficulty"]
    return float(table[_named("difficulty", difficulty, tuple(table))])


def practice_visit(
    folder: Path | str,
    *,
    scenario: str = "hall-furnace",
    seed: int = 1,
    fault: str | None = None,
    severity: float = 1.0,
    truth: Path | str | None = None,
) -> PracticeVisit:
    """Write a visit folder with simulated logs, and the truth beside it in a file apart.

    The same arguments make the same bytes. Folder and truth are written whole or not at all.

    Parameters
    ----------
    folder : path
        The visit folder to make; it must not hold anything yet.
    scenario : str
        What is simulated; `scenario_names` lists them. Spaces and hyphens are the same.
    seed : int
        Of every draw: sensor errors, noise, flicker; and of the fault where it is "random".
    fault : str, optional
        A fault planted on top of the scenario (`fault_names`), or "random".
    severity : float [-]
        How severe the fault is; 1 is the severity at which it calls for action.
    truth : path, optional
        Where the truth goes; by default `truth/NAME.json` beside the folder.

    Returns
    -------
    PracticeVisit
        What was written.

    Raises
    ------
    UnknownNameError
        No such scenario or fault.
    InputError
        A folder that is not empty, a truth file that is there already, a seed or severity out of range, or a
        fault that the scenario cannot show.
    """
    place = Path(folder)
    sealed = Path(truth) if truth is not None else place.parent / "truth" / f"{place.name}.json"
    _refuse_occupied(place, sealed)
    if not (isinstance(seed, int) and not isinstance(seed, bool) and 0 <= seed <= LARGEST_SEED):
        raise InputError(f"seed is {seed!r}; it must be a whole number from 0 to {LARGEST_SEED}")
    if not 0 < severity <= 3:
        raise InputError(f"severity is {severity!r}; it must be above 0 and at most 3; 1 calls for action")
    key = _named("scenario", scenario, scenario_names())
    planted = _fault(key, fault, seed)
    plan = scenario_plan(key, planted, severity)
    course = simulate(plan, instruments.own_draw(seed, "flame"))
    files = {log["file"]: instruments.log_text(course, plan, log, seed) for log in plan["logs"].values()}
    command = _command(place.name, key, planted, severity, seed)
    # The folder is what a student sees: a planted fault is named in the truth only.
    made_by = "fluewright practice" if planted else command
    files["visit.toml"] = visit_text(plan, course, seed=seed, command=made_by).encode()
    known = truth_of(plan, course)
    record = {
        "command": command,
        "scenario": key,
        "seed": seed,
        "faults": {planted: severity} if planted else {},
        **known,
    }
    _write(place, files, sealed, (json.dumps(record, indent=2) + "\n").encode())
    return PracticeVisit(folder=place, truth=sealed, scenario=key, fault=planted, seed=seed)


def _named(kind: str, name: str, known: tuple[str, ...]) -> str:
    key = str(name).strip().lower().replace(" ", "-").replace("_", "-")
    if key not in known:
        raise UnknownNameError(kind, key, known)
    return key


def _fault(scenario: str, fault: str | None, seed: int) -> str:
    if fault is None:
        return ""
    fitting = fault_names(scenario)
    if fault == RANDOM:
        if not fitting:
            raise InputError(f"no fault can be planted in '{scenario}'; choose one of {_with_faults()}")
        return str(instruments.own_draw(seed, "fault").choice(sorted(fitting)))
    key = _named("fault", fault, fault_names())
    if key not in fitting:
        raise InputError(
            f"the fault '{key}' cannot be planted in '{scenario}'; "
            f"it fits {', '.join(sources.table('practice')['faults'][key]['scenarios'])}"
        )
    return key


def _with_faults() -> str:
    faults = sources.table("practice")["faults"].values()
    return ", ".join(sorted({name for entry in faults for name in entry["scenarios"]}))


def _merged(base: Mapping[str, Any], over: Mapping[str, Any]) -> dict[str, Any]:
    """Return `base` with the tables of `over` worked in; a list replaces a list."""
    out = {**base, **over}
    for name in base.keys() & over.keys():
        if isinstance(base[name], Mapping) and isinstance(over[name], Mapping):
            out[name] = _merged(base[name], over[name])
    return out


def _scenario(name: str) -> dict[str, Any]:
    entry = sources.table("practice")["scenarios"][name]
    return _merged(_scenario(entry["like"]), entry) if "like" in entry else dict(entry)


def _with_burns(plan: dict[str, Any]) -> dict[str, Any]:
    """Return a scenario with what each of its burns, if it names any, does worked out into steps."""
    steps = [
        {**each, "at": {"lit": lit, "off": off}[each["from"]] + each["after"]}
        for lit, off in plan.get("burns", ())
        for each in plan["each_burn"]
    ]
    return {**plan, "steps": sorted([*plan["steps"], *steps], key=lambda step: float(step["at"]))}


def scenario_plan(name: str, fault: str, severity: float) -> dict[str, Any]:
    """Return a scenario with the fault's effects worked into every setting it touches."""
    plan = _with_burns(copy.deepcopy(_scenario(name)))
    if not fault:
        return plan
    known, entry = sources.table("practice")["settings"], sources.table("practice")["faults"][fault]
    plan["visit"]["checks"] = {**plan["visit"]["checks"], **entry.get("checks", {})}
    for setting, effect in entry["effects"].items():
        unit = known[setting]["unit"]
        first = plan["steps"][0]
        first.setdefault(setting, known[setting]["start"])
        times = float(effect.get("times", 1.0)) ** severity
        more = severity * number(effect.get("add", 0.0), unit, setting)
        for step in plan["steps"]:
            if setting in step:
                step[setting] = parse(step[setting], unit, setting) * times + more
    return plan


def _command(folder: str, scenario: str, fault: str, severity: float, seed: int) -> str:
    planted = f" --fault {fault} --severity {severity:g}" if fault else ""
    return f"fluewright practice --scenario {scenario} --seed {seed}{planted} {folder}"


def _refuse_occupied(folder: Path, truth: Path) -> None:
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file; name a folder that is new or empty")
    if folder.is_dir() and any(folder.iterdir()):
        raise InputError(f"{folder} is not empty; name a folder that is new or empty")
    if truth.exists():
        raise InputError(f"{truth} is there already; remove it, or name another file for the truth")


def _write(folder: Path, files: Mapping[str, bytes], truth: Path, sealed: bytes) -> None:
    """Write aside, then rename: the folder and its truth appear whole or not at all."""
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        truth.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
    except OSError as error:
        raise InputError(f"{folder} cannot be written: {error}; name a folder where you may write") from error
    try:
        made = aside / "visit"
        made.mkdir()
        for name, content in files.items():
            (made / name).write_bytes(content)
        (aside / "truth.json").write_bytes(sealed)
        if folder.is_dir():
            folder.rmdir()
        made.replace(folder)
        (aside / "truth.json").replace(truth)
    except OSError as error:
        raise InputError(f"{folder} cannot be written: {error}") from error
    finally:
        shutil.rmtree(aside, ignore_errors=True)
