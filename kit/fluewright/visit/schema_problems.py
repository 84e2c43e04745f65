"""What the schema found wrong in visit.toml, in plain words and with the line it stands in."""

from __future__ import annotations

import difflib
import functools
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeAlias

from pydantic import ValidationError

from fluewright.visit.problems import Problem, problem_of, shown
from fluewright.visit.schema import visit_schema

Place: TypeAlias = tuple[str | int, ...]

_KEY = re.compile(
    r"""\s*((?:"(?:[^"\\]|\\.)*"|'[^']*'|[\w-]+)(?:\s*\.\s*(?:"(?:[^"\\]|\\.)*"|'[^']*'|[\w-]+))*)\s*="""
)
_HEADER = re.compile(r"\s*\[.*\]\s*(#.*)?$")
_WANTED = {
    "string": 'text in quotes, such as "..."',
    "bool": "true or false, without quotes",
    "int": "a whole number, without quotes",
    "float": "a number, without quotes",
    "date": "a date, such as 2026-01-31, without quotes",
    "datetime": "a date and time, such as 2026-01-31T10:04:30, without quotes",
    "tuple": "a list in square brackets",
    "dict": "a table of keys and values, such as { key = value }",
    "mapping": "a table of keys and values, such as { key = value }",
    "model": "a table of keys and values, such as { key = value }",
    "finite": "a finite number",
}


def where_in(text: str, place: Place) -> str:
    """Return where a key stands in visit.toml: the line, and the key's path."""
    path = ".".join(_key(part) for part in place if not isinstance(part, int) and part != "[key]")
    line = _line_of(text, place)
    return (
        f"visit.toml, line {line}, {path}"
        if line and path
        else f"visit.toml, {path}"
        if path
        else "visit.toml"
    )


def _key(name: str) -> str:
    return name if re.fullmatch(r"[\w-]+", name, re.ASCII) else shown(name)


def _line_of(text: str, place: Place) -> int | None:
    """Return the line of the key nearest to `place`; text in several lines may mislead it, never harm."""
    best, best_length = None, 0
    for number, path in _keys(text):
        if len(path) > best_length and path == place[: len(path)]:
            best, best_length = number, len(path)
    return best


@functools.lru_cache(maxsize=4)
def _keys(text: str) -> tuple[tuple[int, Place], ...]:
    """Return the line and the path of every key and table header."""
    return tuple(_found_keys(text))


def _found_keys(text: str) -> Iterator[tuple[int, Place]]:
    counts: dict[Place, int] = {}
    table: Place = ()
    for number, line in enumerate(text.split("\n"), start=1):
        if _HEADER.match(line):
            table = _table(line, counts)
            yield number, table
        elif found := _KEY.match(line):
            yield number, (*table, *_path(f"{found[1]} = 0"))


def _table(line: str, counts: dict[Place, int]) -> Place:
    names = _path(line)
    table: Place = ()
    for name in names:
        table = (*table, name)
        if table in counts and name is not names[-1]:
            table = (*table, counts[table])
    if line.lstrip().startswith("[["):
        counts[table] = counts.get(table, -1) + 1
        return (*table, counts[table])
    return table


def _path(line: str) -> Place:
    try:
        inside: Any = tomllib.loads(line)
    except tomllib.TOMLDecodeError:
        return ()
    path: Place = ()
    while isinstance(inside, dict) and len(inside) == 1:
        name, inside = next(iter(inside.items()))
        path = (*path, name)
        inside = inside[0] if isinstance(inside, list) and inside else inside
    return path


def problems_in(error: ValidationError, text: str) -> list[Problem]:
    """Return every finding of the schema, in the order of the file."""
    found = []
    findings = error.errors(include_url=False)
    for finding in findings:
        if _is_hollow(finding, findings):
            continue
        place = tuple(part for part in finding["loc"] if part != "[key]" and not _is_branch(part))
        found.append((_line_of(text, place) or 0, _worded(finding, place, text)))
    return [problem for _, problem in sorted(found, key=lambda pair: pair[0])]


def _is_hollow(finding: Any, findings: Sequence[Any]) -> bool:
    """Tell what only follows from another finding: a list without a sound member, a key missing as it is misspelt."""
    kind, place = finding["type"], finding["loc"]
    if kind == "too_short":
        return any(
            len(other["loc"]) > len(place) and other["loc"][: len(place)] == place for other in findings
        )
    misspelt = (
        str(other["loc"][-1])
        for other in findings
        if other["type"] == "extra_forbidden" and other["loc"][:-1] == place[:-1]
    )
    return kind == "missing" and any(_near(name, [str(place[-1])]) for name in misspelt)


def _near(name: str, known: Sequence[str]) -> list[str]:
    return difflib.get_close_matches(name, known, n=1, cutoff=0.5)


def _is_branch(part: str | int) -> bool:
    """Tell the names pydantic gives to the branches of a union from keys of the file."""
    return isinstance(part, str) and bool(
        re.match(r"(function-|tuple\[|lax-or-strict|is-instance|nullable)", part)
    )


def _worded(finding: Mapping[str, Any], place: Place, text: str) -> Problem:
    kind, context = str(finding["type"]), finding.get("ctx", {})
    name = next((str(part) for part in reversed(place) if isinstance(part, str)), "visit.toml")
    where = where_in(text, place)
    cause = context.get("error")
    if isinstance(cause, Exception):
        return problem_of(cause, where)
    if kind == "missing":
        return Problem(
            what=f"{shown(name)} is missing",
            where=where_in(text, place[:-1]) if len(place) > 1 else "visit.toml",
            rule="it is needed",
            way_out=f"Add a table [{name}]" if _holds_table(place) else f"Add a line {_key(name)} = ...",
        )
    if kind == "extra_forbidden":
        known = _known_keys(place[:-1])
        near = _near(name, known)
        return Problem(
            what=f"the key {shown(name)} is not known",
            where=where,
            rule="a key that is not known would be overlooked",
            way_out=f"Did you mean {near[0]}?" if near else f"Known here: {', '.join(known)}",
        )
    if kind == "too_short":
        way_out = "Add what is missing"
        if name == "columns":
            way_out = "Take away the # of each proposed column once you are sure of it, or write one"
        return Problem(what=f"{name} holds nothing", where=where, rule="it is needed", way_out=way_out)
    return Problem(what=f"{name} is {shown(finding['input'])}", where=where, **_rule(kind, context))


def _rule(kind: str, context: Mapping[str, Any]) -> dict[str, str]:
    if kind == "literal_error":
        return {"rule": "it is one of a few words", "way_out": f"Write {context['expected']}"}
    for end, word in (
        ("greater_than_equal", "at least"),
        ("greater_than", "above"),
        ("less_than_equal", "at most"),
    ):
        if kind == end:
            limit = context.get("ge", context.get("gt", context.get("le")))
            return {"rule": f"it is {word} {limit}", "way_out": f"Write a number {word} {limit}"}
    if kind == "string_too_short":
        return {"rule": "it is needed", "way_out": "Fill it in, in a few letters"}
    if kind.endswith("too_long"):
        return {"rule": f"it holds at most {context['max_length']}", "way_out": "Shorten it"}
    wanted = _WANTED.get(kind.split("_")[0], "a value of another kind")
    return {"rule": f"it is {wanted}", "way_out": f"Write {wanted}"}


def _node(place: Place) -> Mapping[str, Any]:
    """Return the JSON Schema of what stands at a place."""
    schema = visit_schema()

    def opened(node: Mapping[str, Any]) -> list[Mapping[str, Any]]:
        if "$ref" in node:
            return opened(schema["$defs"][node["$ref"].rsplit("/", 1)[-1]])
        branches = [branch for key in ("anyOf", "allOf") for branch in node.get(key, ())]
        return [inner for branch in branches for inner in opened(branch)] or [node]

    nodes = opened(schema)
    for part in place:
        inner = []
        for node in nodes:
            for next_node in (
                node.get("items") if isinstance(part, int) else None,
                node.get("properties", {}).get(part),
                node.get("additionalProperties"),
            ):
                if isinstance(next_node, dict):
                    inner += opened(next_node)
                    break
        nodes = inner
    return next((node for node in nodes if "properties" in node), nodes[0] if nodes else {})


def _known_keys(place: Place) -> list[str]:
    return sorted(_node(place).get("properties", {}))


def _holds_table(place: Place) -> bool:
    return _node(place).get("type") == "object"
