"""What the teaching notebooks show: figures with sliders, problems, and answers held apart."""

from __future__ import annotations

from fluewright.report.teaching.air import excess_air, instrument, stoichiometry
from fluewright.report.teaching.exercises import Exercise, answers, problems
from fluewright.report.teaching.flame import cooling_gas, flame
from fluewright.report.teaching.heat import dew_point, fuel_switch, heat
from fluewright.report.teaching.readings import log, uncertainty

__all__ = [
    "Exercise",
    "answers",
    "cooling_gas",
    "dew_point",
    "excess_air",
    "flame",
    "fuel_switch",
    "heat",
    "instrument",
    "log",
    "problems",
    "stoichiometry",
    "uncertainty",
]
