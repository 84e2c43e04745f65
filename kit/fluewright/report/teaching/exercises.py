"""Checks of understanding: problems where they are asked, and their answers held apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from fluewright.report.live import style
from fluewright.report.objects import TYPST, Bundle, Part, Section
from fluewright.report.words import System
from fluewright.report.worksheet import answer_parts, problem_parts
from fluewright.studies.worksheet import LEVELS, Problem, problem


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """Problems, or their answers held apart: on a page of their own in print, folded away on a screen."""

    title: str
    parts: Sequence[Part]
    answers: bool = False

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        printed = Section(self.title, self.parts, level=2, new_page=self.answers)
        inner = "".join(part.as_html() for part in self.parts)
        fold = f"<details><summary>{self.title}: open when you have tried</summary>{inner}</details>"
        return {
            TYPST: printed.as_typst(),
            "text/html": style() + (fold if self.answers else printed.as_html()),
            "text/plain": printed.as_text(),
        }


def _drawn(topics: Sequence[str], system: System, seed: int) -> Iterator[tuple[int, Problem]]:
    pairs = [(topic, level) for topic in topics for level in LEVELS]
    return enumerate(
        (problem(topic, level=level, seed=seed, system=system) for topic, level in pairs), start=1
    )


def problems(*topics: str, system: System = "US", seed: int = 1) -> Exercise:
    """Return three problems on each topic, from one step to the whole way."""
    parts = [problem_parts(one, number, level=3) for number, one in _drawn(topics, system, seed)]
    return Exercise(title="Check your understanding", parts=parts)


def answers(*topics: str, system: System = "US", seed: int = 1) -> Exercise:
    """Return the worked answers to the `problems` of the same topics and seed."""
    parts = [answer_parts(one, number, level=3) for number, one in _drawn(topics, system, seed)]
    return Exercise(title="Answers to the problems", parts=parts, answers=True)
