"""The visit folder: its schema, reading any log, units at the edge, and the account of every row."""

from __future__ import annotations

from fluewright.visit.instruments import accuracy_of, drift_of, on_display
from fluewright.visit.opening import check_visit, open_visit
from fluewright.visit.problems import Problem, VisitError
from fluewright.visit.readings import (
    Cell,
    Channel,
    ClockOffset,
    Drift,
    Readings,
    RowAccount,
    SetAsideRows,
    SpotReading,
    StatedAccuracy,
    TestPointRows,
    Visit,
    tell_more,
)
from fluewright.visit.schema import LimitOverride, VisitFile, visit_schema
from fluewright.visit.start import start_visit
from fluewright.visit.times import moment_on_utc
from fluewright.visit.wordings import read_number, read_quantity

__all__ = [
    "Cell",
    "Channel",
    "ClockOffset",
    "Drift",
    "LimitOverride",
    "Problem",
    "Readings",
    "RowAccount",
    "SetAsideRows",
    "SpotReading",
    "StatedAccuracy",
    "TestPointRows",
    "Visit",
    "VisitError",
    "VisitFile",
    "accuracy_of",
    "check_visit",
    "drift_of",
    "moment_on_utc",
    "on_display",
    "open_visit",
    "read_number",
    "read_quantity",
    "start_visit",
    "tell_more",
    "visit_schema",
]
