"""The appliance around the flame: firing rate, air and water side, draft, heat exchanger, balance, and judgement."""

from __future__ import annotations

from fluewright.appliance.air_side import (
    Blower,
    air_heat_output,
    airflow,
    blower,
    external_static_pressure,
    moist_air_density,
    sensible_heat_factor,
)
from fluewright.appliance.altitude import PRACTICES, altitude_citation, altitude_rating
from fluewright.appliance.balance import Fit, Reconciliation, reconcile
from fluewright.appliance.carbon_monoxide import HELD, CarbonMonoxideRows, carbon_monoxide_rows
from fluewright.appliance.draft import theoretical_draft
from fluewright.appliance.firing_rate import gas_flow_counted, heat_input_clocked
from fluewright.appliance.heat_exchanger import (
    BlowerStart,
    Evidence,
    Sign,
    find_blower_start,
    shift_at_blower_start,
    supply_over_return,
    weigh_evidence,
)
from fluewright.appliance.judgement import (
    Judgement,
    Outcome,
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
from fluewright.appliance.manifold import (
    adjustment_range,
    clock_against_manifold,
    heat_input_by_nameplate,
    suspects,
)
from fluewright.appliance.numbers import COVERAGE, Number, Origin
from fluewright.appliance.orifice import drill, orifice_diameter, orifice_heat_input, target_manifold_pressure
from fluewright.appliance.savings import Savings, annual_savings
from fluewright.appliance.water_side import (
    FLUIDS,
    freezing_temperature,
    liquid_density,
    property_spread,
    water_heat_output,
)

__all__ = [
    "COVERAGE",
    "FLUIDS",
    "HELD",
    "PRACTICES",
    "Blower",
    "BlowerStart",
    "CarbonMonoxideRows",
    "Evidence",
    "Fit",
    "Judgement",
    "Number",
    "Origin",
    "Outcome",
    "Reconciliation",
    "Savings",
    "Sign",
    "VerdictGiven",
    "adjustment_range",
    "air_heat_output",
    "airflow",
    "altitude_citation",
    "altitude_rating",
    "annual_savings",
    "blower",
    "carbon_monoxide_rows",
    "clock_against_manifold",
    "drill",
    "external_static_pressure",
    "find_blower_start",
    "freezing_temperature",
    "gas_flow_counted",
    "gravity",
    "heat_input_by_nameplate",
    "heat_input_clocked",
    "judge",
    "judge_check",
    "judge_over_range",
    "judge_range",
    "judge_usual",
    "liquid_density",
    "missing_tests",
    "moist_air_density",
    "no_limit_known",
    "orifice_diameter",
    "orifice_heat_input",
    "property_spread",
    "put_right",
    "reconcile",
    "sensible_heat_factor",
    "shift_at_blower_start",
    "supply_over_return",
    "suspects",
    "target_manifold_pressure",
    "theoretical_draft",
    "verdict",
    "water_heat_output",
    "weigh_evidence",
]
