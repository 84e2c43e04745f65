"""What the heat flows of a test point are fed: its stage and nameplate, the heat carrier, and what was assumed."""

from __future__ import annotations

from typing import Any, Literal, TypeAlias

import numpy as np

from fluewright import sources
from fluewright.appliance import altitude_rating, property_spread
from fluewright.sources import limits as safety
from fluewright.studies import numbers as core
from fluewright.studies.heat_flows import HeatSettings
from fluewright.units import parse
from fluewright.visit import TestPointRows, Visit

Stage: TypeAlias = Literal["high", "low", "between"]
_FULL = 0.95  # of full rate: a rate set this high counts as the high stage
_STREAM = 5  # of the random draws of this module, so that they move no other draw


def plan_point(visit: Visit, rows: TestPointRows) -> Any:
    """Return the test point as visit.toml states it."""
    return next(point for point in visit.plan.test_points if point.name == rows.name)


def stage_of(visit: Visit, rows: TestPointRows) -> Stage:
    """Return the stage of a test point: as stated, or high where it fires in full; between, no nameplate holds."""
    point = plan_point(visit, rows)
    if point.stage:
        return "low" if point.stage == "low" else "high"
    return "high" if point.firing_rate is None or point.firing_rate >= _FULL else "between"


def plate_of(visit: Visit, name: str, stage: Stage) -> Any:
    """Return what the nameplate says for a stage, or None: `name` at the high stage, `name_low` at the low one.

    What the nameplate gives once, for the appliance as a whole, holds at every stage.
    """
    appliance = visit.plan.appliance
    if not hasattr(appliance, f"{name}_low"):
        return getattr(appliance, name)
    if stage == "between":
        return None
    return getattr(appliance, name if stage == "high" else f"{name}_low")


def heat_carrier_of(visit: Visit) -> str:
    """Return what the appliance heats, as stated or by its type; empty where it heats neither air nor water."""
    appliance = visit.plan.appliance
    return appliance.heat_carrier or safety.appliance_type(appliance.type).heat_carrier


def rating_of(visit: Visit, stage: Stage) -> float | None:
    """Return the rated input [W] of a stage as it holds at the site's altitude, or None."""
    rated, elevation = plate_of(visit, "rated_input", stage), visit.plan.site.elevation
    if rated is None or elevation is None:
        return None if rated is None else float(rated)
    return float(rated * altitude_rating(elevation, practice=visit.plan.appliance.altitude_practice))


def heat_settings(visit: Visit, rows: TestPointRows) -> HeatSettings:
    """Return what the heat flows of a test point need besides readings."""
    appliance, stage = visit.plan.appliance, stage_of(visit, rows)
    return HeatSettings(
        carrier=heat_carrier_of(visit),
        glycol_share=appliance.glycol_share or 0.0,
        flow_at=plan_point(visit, rows).airflow_at,
        motor_in_air=appliance.blower_motor_in_air,
        rated_input=plate_of(visit, "rated_input", stage),
        rating=rating_of(visit, stage),
        nameplate_pressure=None
        if appliance.burner == "ratio control"
        else plate_of(visit, "manifold_pressure", stage),
        cooling_capacity=appliance.cooling_capacity,
        chimney_height=appliance.chimney_height,
        orifice_count=appliance.orifices.count if appliance.orifices is not None else None,
    )


def heat_inputs(visit: Visit) -> tuple[core.Input, ...]:
    """Return the inputs of the heat flows that no instrument reads, drawn once for the visit."""
    rng = np.random.default_rng([core.SEED, _STREAM])
    casing = visit.plan.appliance.casing_loss
    carrier = heat_carrier_of(visit)
    discharge = sources.table("orifices")["discharge"]
    spread = property_spread(carrier) if carrier not in ("", "air") else 0.0
    spans = {
        "casing_balance": _span("casing_balance") if casing is None else (casing, casing, casing),
        "stray_heat": _span("stray_heat"),
        "manifold_factor": _span("manifold_factor"),
        "glycol_factor": (1 - spread, 1.0, 1 + spread),
        "discharge_coefficient": (discharge["low"], discharge["value"], discharge["high"]),
    }
    labels = sources.table("assumptions")
    return tuple(
        core.Input(
            name=name,
            central=value,
            draws=rng.uniform(low, high, core.DRAWS),
            group=labels.get(name, {}).get("label", name.replace("_", " ")),
        )
        for name, (low, value, high) in spans.items()
    )


def _span(name: str) -> tuple[float, float, float]:
    entry = sources.table("assumptions")[name]
    low, value, high = (parse(entry[key], "1", name) for key in ("low", "value", "high"))
    return low, value, high
