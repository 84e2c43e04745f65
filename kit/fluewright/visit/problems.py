"""What is wrong with a visit folder, as a person at the end of a long day wants to read it."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass

from fluewright.errors import InputError

_LONGEST_SHOWN = 60


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """One thing to put right: what is wrong, where, the rule it breaks, and the way out."""

    what: str
    where: str
    rule: str = ""
    way_out: str

    def __str__(self) -> str:
        rule = f": {self.rule}" if self.rule else ""
        end = "" if self.way_out.endswith(("?", ".")) else "."
        return f"{self.what} ({self.where}){rule}. {self.way_out}{end}"


class VisitError(InputError):
    """A visit folder that cannot be used as it is; `problems` holds everything there is to put right."""

    def __init__(self, problems: Iterable[Problem]) -> None:
        self.problems = tuple(problems)
        listing = [str(problem) for problem in self.problems]
        if len(listing) > 1:
            numbered = [f"{number}. {line}" for number, line in enumerate(listing, start=1)]
            listing = [f"{len(listing)} things to put right", *numbered]
        super().__init__("\n".join(listing))


class RefusalError(ValueError):
    """A value in visit.toml that a rule refuses; where it stands is added by whoever knows."""

    def __init__(self, what: str, *, rule: str, way_out: str) -> None:
        self.what, self.rule, self.way_out = what, rule, way_out
        super().__init__(f"{what}: {rule}. {way_out}")


def problem_of(refusal: Exception, where: str) -> Problem:
    """Return the problem of a value that was refused, with its place."""
    if isinstance(refusal, RefusalError):
        return Problem(what=refusal.what, where=where, rule=refusal.rule, way_out=refusal.way_out)
    what, _, way_out = str(refusal).partition("; ")
    return Problem(what=what, where=where, way_out=way_out[:1].upper() + way_out[1:] or "Put it right")


def shown(text: object) -> str:
    """Return text from outside in quotes, on one line, without control characters, and not too long."""
    line = "".join(letter if letter.isprintable() else repr(letter)[1:-1] for letter in str(text))
    return f"'{line[:_LONGEST_SHOWN]}…'" if len(line) > _LONGEST_SHOWN else f"'{line}'"


def text_in_toml(text: str) -> str:
    """Return text as a TOML string, whatever it holds."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
