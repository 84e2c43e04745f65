"""Problem sheets: every student's own numbers, the answers computed by the core, and the steps that lead there."""

from __future__ import annotations

import re
import unicodedata
import zlib
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal, TypeAlias

import numpy as np

from fluewright.errors import InputError, UnknownNameError
from fluewright.studies.worksheet import air, flame, heat, readings
from fluewright.studies.worksheet.draw import Answer, Draw, System, Task

__all__ = [
    "LARGEST_SEED",
    "LEVELS",
    "TOPICS",
    "Answer",
    "Level",
    "Problem",
    "System",
    "Task",
    "Worksheet",
    "problem",
    "student_names",
    "topic_name",
    "worksheets",
]

Level: TypeAlias = Literal["basic", "working", "advanced"]
LEVELS: tuple[Level, ...] = ("basic", "working", "advanced")
LARGEST_SEED = 2**32 - 1
MOST_STUDENTS = 1000  # chosen here: the numbers of every problem suffice for so many without one alike
_TRIES = 200  # draws for one student before the numbers of a problem count as used up

_PROBLEMS: Mapping[str, tuple[Callable[[Draw], Task], ...]] = MappingProxyType(
    {
        "stoichiometry": (air.air_for_a_volume, air.air_for_a_burner, air.air_for_a_mixture),
        "excess air": (air.oxygen_rule, air.two_rules, air.wet_oxygen),
        "instrument": (air.air_free, air.dried_sample, air.leaking_probe),
        "flame": (flame.flame_temperature, flame.held_by_dissociation, flame.dissociation_constant),
        "emissions": (flame.reference_oxygen, flame.per_heat, flame.carbon_left),
        "dew point": (heat.dew_point, heat.humid_air, heat.condensate),
        "losses": (heat.european_rule, heat.gross_efficiency, heat.full_balance),
        "log": (readings.clocked_meter, readings.judged_monoxide, readings.settling),
        "uncertainty": (readings.stated_accuracy, readings.oxygen_to_air, readings.bias_and_noise),
        "fuel switch": (heat.wobbe_index, heat.same_orifice, heat.same_air),
    }
)
TOPICS = tuple(_PROBLEMS)


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One problem with its numbers.

    `given` holds what was drawn, in SI base units or as a name, for whoever checks the answers another way.
    """

    topic: str
    level: Level
    given: Mapping[str, float | str]
    task: Task


@dataclass(frozen=True, slots=True, kw_only=True)
class Worksheet:
    """The problems of one student, and what they were drawn with."""

    student: str
    seed: int
    level: Level
    system: System
    problems: tuple[Problem, ...]


def topic_name(name: str) -> str:
    """Return a topic by its name, hyphens and spaces being the same.

    Raises
    ------
    UnknownNameError
        There is no such topic.
    """
    key = " ".join(re.split(r"[\s_-]+", name.strip().lower()))
    if key not in TOPICS:
        raise UnknownNameError("topic", key, TOPICS)
    return key


def _draw(topic: str, level: Level, system: System, rng: np.random.Generator) -> Problem:
    draw = Draw(rng, system)
    task = _PROBLEMS[topic][LEVELS.index(level)](draw)
    return Problem(topic=topic, level=level, given=MappingProxyType(draw.given), task=task)


def problem(topic: str, *, level: Level, seed: int = 1, system: System = "US") -> Problem:
    """Return one problem, such as a notebook's check of understanding.

    Parameters
    ----------
    topic : str
        One of `TOPICS`.
    level : {"basic", "working", "advanced"}
        One step, a few steps, or the whole way.
    seed : int
        The same seed draws the same numbers.
    system : {"US", "SI"}
        Units it is printed in.

    Raises
    ------
    UnknownNameError
        No such topic, level or system of units.
    InputError
        A seed out of range.
    """
    _check(seed, level, system)
    return _draw(topic_name(topic), level, system, np.random.default_rng(seed))


def worksheets(
    students: Sequence[str],
    *,
    seed: int,
    level: Level = "working",
    system: System = "US",
    topics: Sequence[str] = TOPICS,
) -> tuple[Worksheet, ...]:
    """Return one worksheet for every student: the same problems, no two with the same numbers.

    A sheet follows from the seed, the student's name and the options. Only where two students would have
    drawn the same numbers does the later one draw again.

    Parameters
    ----------
    students : sequence of str
        Their names; `student_names` reads them from a text.
    seed : int
        The same seed makes the same sheets.
    level : {"basic", "working", "advanced"}
        Of every problem.
    system : {"US", "SI"}
        Units the sheets are printed in.
    topics : sequence of str
        One problem on each; all of them by default.

    Raises
    ------
    InputError
        No students, too many, or two of one name; no topics, or one twice; a seed out of range.
    UnknownNameError
        No such topic, level or system of units.
    """
    _check(seed, level, system)
    names = [topic_name(topic) for topic in topics]
    if not names or len(set(names)) < len(names):
        raise InputError(f"topics are {', '.join(names) or 'none'}; name each topic once, at least one")
    _check_students(students)
    taken: set[tuple[str, ...]] = set()
    return tuple(
        Worksheet(
            student=student,
            seed=seed,
            level=level,
            system=system,
            problems=tuple(_unlike(taken, seed, student, topic, level, system) for topic in names),
        )
        for student in students
    )


def _unlike(
    taken: set[tuple[str, ...]], seed: int, student: str, topic: str, level: Level, system: System
) -> Problem:
    for attempt in range(_TRIES):
        key = zlib.crc32(f"{student}\n{topic}\n{level}".encode())
        made = _draw(topic, level, system, np.random.default_rng([seed, key, attempt]))
        numbers = (topic, *map(str, made.given.values()))
        if numbers not in taken:
            taken.add(numbers)
            return made
    raise InputError(
        f"the numbers of the {level} problem on {topic} are used up; make sheets for a smaller class"
    )


def student_names(text: str) -> tuple[str, ...]:
    """Return the names in a text, one to a line; blank lines are left out.

    Raises
    ------
    InputError
        No names, too many, or two alike.
    """
    names = tuple(line.strip() for line in text.removeprefix("\ufeff").splitlines() if line.strip())
    _check_students(names)
    return names


def _folded(name: str) -> str:
    return " ".join(unicodedata.normalize("NFKC", name).casefold().split())


def _twins(names: Sequence[str]) -> Iterator[tuple[str, str]]:
    first: dict[str, str] = {}
    for name in names:
        if _folded(name) in first:
            yield first[_folded(name)], name
        first.setdefault(_folded(name), name)


def _check_students(names: Sequence[str]) -> None:
    if not names or not all(name.strip() for name in names):
        raise InputError("there are no students, or one has no name; give one name a line")
    if len(names) > MOST_STUDENTS:
        raise InputError(
            f"there are {len(names)} students; at most {MOST_STUDENTS} get sheets with numbers of their own"
        )
    twin = next(_twins(names), None)
    if twin is not None:
        raise InputError(
            f"two students are named '{twin[1]}'"
            + ("" if twin[0] == twin[1] else f" (as '{twin[0]}')")
            + "; add an initial or a number, so that each gets a sheet of their own"
        )


def _check(seed: int, level: str, system: str) -> None:
    if not (isinstance(seed, int) and not isinstance(seed, bool) and 0 <= seed <= LARGEST_SEED):
        raise InputError(f"seed is {seed!r}; it must be a whole number from 0 to {LARGEST_SEED}")
    if level not in LEVELS:
        raise UnknownNameError("level", level, LEVELS)
    if system not in {"US", "SI"}:
        raise UnknownNameError("system of units", system, ("US", "SI"))
