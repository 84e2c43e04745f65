"""The appliance around the flame: firing rate, carbon monoxide of every row, and the judgement of what was tested."""

from __future__ import annotations

from fluewright.appliance.carbon_monoxide import CarbonMonoxideRows, carbon_monoxide_rows
from fluewright.appliance.firing_rate import heat_input_clocked
from fluewright.appliance.judgement import (
    Judgement,
    VerdictGiven,
    gravity,
    judge,
    judge_check,
    judge_over_range,
    judge_range,
    judge_usual,
    missing_tests,
    no_limit_known,
    put_right,
    verdict,
)
from fluewright.appliance.numbers import Number, Origin

__all__ = [
    "CarbonMonoxideRows",
    "Judgement",
    "Number",
    "Origin",
    "VerdictGiven",
    "carbon_monoxide_rows",
    "gravity",
    "heat_input_clocked",
    "judge",
    "judge_check",
    "judge_over_range",
    "judge_range",
    "judge_usual",
    "missing_tests",
    "no_limit_known",
    "put_right",
    "verdict",
]
