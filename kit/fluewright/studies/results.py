"""results.json: the machine-readable audit, every number with its unit, interval, origin and basis."""

from __future__ import annotations

import json
import math
import platform
from collections.abc import Mapping
from functools import cache
from importlib import metadata
from typing import Any

import pandas as pd

from fluewright import sources
from fluewright.appliance import Judgement, Number
from fluewright.studies import numbers as core
from fluewright.studies.audit import Audit, PointAudit
from fluewright.studies.balancing import Balance
from fluewright.studies.cycles import BurnerCycle, BurnerCycles
from fluewright.studies.instrument_checks import CheckedReading
from fluewright.studies.visit_record import VisitRecord
from fluewright.visit import ClockOffset

LAYOUT = "fluewright results 1"
_LIBRARIES = ("fluewright", "cantera", "numpy", "pandas", "pint", "pydantic")


def _plain(value: float) -> float | None:
    """Return a number JSON can hold: twelve digits, or null where there is none."""
    return float(f"{value:.12g}") if math.isfinite(value) else None


def _number(number: Number | None) -> Mapping[str, Any] | None:
    if number is None:
        return None
    made: dict[str, Any] = {
        "quantity": number.quantity,
        "value": _plain(number.value),
        "unit": number.unit,
        "interval_low": _plain(number.low),
        "interval_high": _plain(number.high),
        "origin": number.origin,
        "basis": number.basis,
    }
    if number.is_lower_bound:
        made["at_least"] = True
    if number.source:
        made["source"] = number.source
    return made


def _time(moment: pd.Timestamp) -> str:
    return str(moment.isoformat())


def _judgement(one: Judgement) -> Mapping[str, Any]:
    unit = sources.quantity(one.measured.quantity).unit if one.measured is not None else None
    return {
        "rule": one.rule,
        "subject": one.subject,
        "test_point": one.test_point or None,
        "outcome": one.outcome,
        "weight": one.weight or None,
        "put_right": one.put_right,
        "headline": one.headline,
        "measured": _number(one.measured),
        "limit_low": _plain(one.limit_low),
        "limit_high": _plain(one.limit_high),
        "limit_unit": unit,
        "conditions": one.conditions,
        "meaning": one.meaning,
        "action": one.action,
        "who": one.who,
        "source": one.citation.words if one.citation is not None else None,
    }


def _point(point: PointAudit) -> Mapping[str, Any]:
    steady = point.steadiness
    window = steady.window
    rows = point.carbon_monoxide
    return {
        "name": point.name,
        "start": _time(point.rows.start),
        "end": _time(point.rows.end),
        "rows": steady.rows,
        "window": None
        if window is None
        else {
            "start": _time(window.start),
            "end": _time(window.end),
            "rows": window.rows,
            "chosen_by": window.chosen_by,
            "because": window.because,
        },
        "steady_criteria": {
            "name": steady.criteria.name,
            "source": steady.criteria.source,
            "status": steady.criteria.status,
            "judged": list(steady.judged),
            "not_judged": list(steady.not_judged),
        },
        "least_bad_window": None
        if steady.least_bad is None
        else {
            "start": _time(steady.least_bad.start),
            "end": _time(steady.least_bad.end),
            "rows": steady.least_bad.rows,
            "because": steady.least_bad.because,
        },
        "outcome": steady.outcome,
        "refused": [
            {
                "start": _time(part.start),
                "end": _time(part.end),
                "rows": part.rows,
                "phase": part.phase,
                "reason": part.reason,
            }
            for part in steady.refused
        ],
        "readings": {name: _number(number) for name, number in sorted(point.readings.items())},
        "spot_readings": {
            name: [f"{one.bound}{one.value:.12g} {sources.quantity(name).unit}".strip() for one in taken]
            for name, taken in sorted(point.spots.items())
        },
        "numbers": {name: _number(number) for name, number in sorted(point.numbers.items())},
        "carbon_monoxide_rows": None
        if rows is None
        else {
            "rows": rows.rows,
            "greatest_air_free": _number(rows.air_free),
            "greatest_dry": _number(rows.dry),
            "rise": _number(rows.rise),
            "over_range_rows": rows.over_range,
            "too_dilute_rows": rows.dilute,
            "dilution_not_read_rows": rows.unread,
            "when": _time(rows.when),
        },
        "uncertainty": {
            name: [
                {"input": one.group, "half_width": _plain(one.half_width), "share": _plain(one.share)}
                for one in ranked
            ]
            for name, ranked in point.contributions.items()
        },
        "flame": None
        if point.flame is None
        else {
            "temperature": _plain(float(point.flame.temperature)),
            "unit": "K",
            "composition": {
                name: _plain(float(share)) for name, share in sorted(point.flame.composition.items())
            },
        },
        "state": point.state,
        "stage": point.stage,
        "balance": _balance(point.balance),
        "blower_start": None
        if point.blower.start is None
        else {
            "when": _time(point.blower.start.moment),
            "known_by": point.blower.start.known_by,
            "shifts": {name: _number(number) for name, number in sorted(point.blower.shifts.items())},
        },
    }


def _balance(balance: Balance | None) -> Mapping[str, Any] | None:
    if balance is None:
        return None
    return {
        "conditions": list(balance.conditions),
        "fit": balance.fit,
        "chi_square": _plain(balance.chi_square.value),
        "degrees_of_freedom": balance.degrees_of_freedom,
        "chi_square_95": _plain(balance.quality_limit),
        "chi_square_99": _plain(balance.alpha_limit),
        "closure": _number(balance.closure),
        "readings": [
            {
                "reading": one.label,
                "measured": _number(one.measured),
                "corrected": _number(one.corrected),
                "test": _plain(one.test),
                "detectable_error": _plain(one.detectable),
                "detectable_share": _plain(one.detectable_share),
            }
            for one in balance.readings
        ],
        "results": {
            name: {"measured": _number(before), "corrected": _number(after)}
            for name, (before, after) in balance.results.items()
        },
        "alike": [list(one) for one in balance.alike],
        "suspects": list(balance.suspects),
        "one_error_explains": balance.explained if balance.suspects else None,
        "nothing_checks": list(balance.unchecked),
    }


def _cycles(cycles: BurnerCycles) -> Mapping[str, Any]:
    return {
        "told_by": cycles.told_by,
        "summary": {
            "cycles": len(cycles.cycles),
            "seen_whole": cycles.whole,
            "never_settled": cycles.never_settled,
            "reading_interval_seconds": _plain(cycles.interval),
            "draws": cycles.draws,
            "share_on": _number(cycles.share_on),
            "light_offs": _number(cycles.light_offs),
            "spreads": {
                name: {
                    "median": _number(one.median),
                    "least": _number(one.least),
                    "greatest": _number(one.greatest),
                    "standard_deviation": _plain(one.deviation),
                    "cycles": one.cycles,
                }
                for name, one in sorted(cycles.spreads.items())
            },
            "worst_light_off": None
            if cycles.worst is None or cycles.worst.cycle.light_off_peak is None
            else _time(cycles.worst.cycle.light_off_peak.when),
        },
        "rows": [_cycle(one) for one in cycles.cycles],
    }


def _cycle(one: BurnerCycle) -> Mapping[str, Any]:
    cycle = one.cycle
    return {
        "start": _time(cycle.start),
        "end": _time(cycle.end),
        "light_off_seen": cycle.lit,
        "shut_down_seen": cycle.ended,
        "on_seconds": _plain(cycle.on_time),
        "settled": None
        if cycle.settled is None
        else {
            "start": _time(cycle.settled.start),
            "end": _time(cycle.settled.end),
            "rows": cycle.settled.rows,
        },
        "why_never_settled": cycle.why_never or None,
        "numbers": {name: _number(number) for name, number in sorted(one.numbers.items())},
    }


def _record(record: VisitRecord) -> Mapping[str, Any]:
    return {
        "steps": [
            {"step": step.label, "at": None if step.at is None else _time(step.at)} for step in record.steps
        ],
        "in_safe_order": record.in_order,
        "aborted": None
        if record.aborted is None
        else {"at": _time(record.aborted[0]), "because": record.aborted[1]},
        "conditions": dict(record.conditions),
        "left": dict(record.left),
        "carbon_monoxide_alarms": None
        if record.alarms is None
        else [{"place": place, "state": state} for place, state in record.alarms],
    }


def _clock_offset(clock: ClockOffset | None) -> Mapping[str, Any] | None:
    if clock is None:
        return None
    shared = f"mean of events shared with {clock.reference}, and what sensors may be late by"
    number = Number(
        quantity="clock_offset",
        value=clock.seconds,
        low=clock.low,
        high=clock.high,
        origin="computed" if clock.events else "entered",
        basis=shared if clock.events else "",
    )
    return {
        "offset": _number(number),
        "events": clock.events,
        "channels": list(clock.channels),
        "reference": clock.reference or None,
        "reference_channels": list(clock.reference_channels),
    }


def _checked(one: CheckedReading) -> Mapping[str, Any]:
    return {
        "instrument": one.instrument,
        "quantity": one.quantity,
        "unit": sources.quantity(one.quantity).unit,
        "checks": [
            {
                "kind": check.kind,
                "shown": _plain(check.shown),
                "reference": _plain(check.reference),
                "by": check.by,
                "difference": _plain(check.shown - check.reference),
            }
            for check in one.checks
        ],
        "corrected": one.corrected,
        "test_point": one.test_point or None,
        "added": _plain(one.added),
        "half_width_stated": _plain(one.stated),
        "half_width_used": _plain(one.widened),
    }


def results_of(audit: Audit) -> Mapping[str, Any]:
    """Return the audit as plain values, in the order of results.schema.json."""
    visit, plan = audit.visit, audit.visit.plan
    return {
        "layout": LAYOUT,
        "visit": {
            "site": plan.site.name,
            "date": plan.visit.date.isoformat(),
            "time_zone": plan.visit.time_zone,
            "tested_by": plan.visit.tested_by,
            "appliance_type": plan.appliance.type,
            "appliance": plan.appliance.description,
            "condensing": plan.appliance.condensing,
            "fuel": audit.fuel.name,
        },
        "verdict": {
            "name": audit.verdict.name,
            "sentence": audit.verdict.sentence,
            "meaning": audit.verdict.meaning,
            "because": list(audit.verdict.because),
        },
        "judgements": [_judgement(one) for one in audit.judgements],
        "not_tested": [test.label for test in audit.not_tested],
        "not_tested_recommended": [test.label for test in audit.not_tested_recommended],
        "no_limit_seen": [test.label for test in audit.unlimited],
        "test_points": [_point(point) for point in audit.points],
        "cycles": _cycles(audit.cycles),
        "differences": [
            {
                "from": old,
                "to": new,
                "numbers": {name: _number(number) for name, number in found.items()},
            }
            for (old, new), found in audit.differences.items()
        ],
        "savings": [
            {
                "from": old,
                "to": new,
                "by": found.by,
                "load": found.basis,
                "currency": found.currency,
                "numbers": {name: _number(number) for name, number in found.numbers.items()},
            }
            for (old, new), found in audit.savings.items()
        ],
        "heat_exchanger": None
        if audit.evidence is None
        else {
            "grade": audit.evidence.grade,
            "sentence": audit.evidence.sentence,
            "signs": dict(audit.evidence.signs),
        },
        "oxygen_zero_drift": _number(audit.oxygen_zero_drift),
        "instrument_checks": [_checked(one) for one in audit.instrument_checks],
        "record": _record(audit.record),
        "assumptions": [
            {
                "subject": one.subject,
                "number": _number(one.number),
                "text": one.text,
                "why": one.why,
                "effect_on_efficiency_gross": _number(one.effect),
            }
            for one in audit.assumptions
        ],
        "account_of_rows": [
            {
                "file": account.file,
                "sha256": account.sha256,
                "bytes": account.size,
                "read": account.read,
                "used": account.used,
                "set_aside": [
                    {"reason": part.reason, "rows": part.rows, "first_row": part.first_row}
                    for part in account.set_aside
                ],
                "clock": account.clock.words if account.clock is not None else None,
                "clock_offset": _clock_offset(account.clock),
                "notes": list(account.notes),
            }
            for account in visit.readings.accounts
        ],
        "channels": [
            {
                "quantity": name,
                "file": channel.file,
                "column": channel.column,
                "unit": channel.unit,
                "instrument": channel.instrument,
                "origin": channel.origin,
                "interpolated": channel.interpolated,
                "cells": {cell.name.lower(): count for cell, count in visit.readings.cells(name).items()},
            }
            for name, channel in visit.readings.channels.items()
        ],
        "provenance": {
            "visit_toml_sha256": visit.plan_sha256,
            "python": platform.python_version(),
            "libraries": dict(_versions()),
            "draws": core.DRAWS,
            "seed": core.SEED,
        },
    }


@cache
def _versions() -> tuple[tuple[str, str], ...]:
    return tuple((name, metadata.version(name)) for name in _LIBRARIES)


def results_text(results: Mapping[str, Any]) -> str:
    """Return results.json as text."""
    return json.dumps(results, indent=2, ensure_ascii=False, allow_nan=False) + "\n"
