"""The record of a visit: whether its steps were in the safe order, who was told, and what was left behind."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Judgement, gravity
from fluewright.sources import limits as safety
from fluewright.sources.limits import Citation
from fluewright.studies.inputs import read_somewhere
from fluewright.visit import Visit, moment_on_utc

NOT_RECORDED = "not recorded"
_DAYS_OF_YEAR = 365.2425


@dataclass(frozen=True, slots=True, kw_only=True)
class RecordedStep:
    """A step of the safe order, and when it was made; None where no time was recorded."""

    name: str
    label: str
    at: pd.Timestamp | None


@dataclass(frozen=True, slots=True, kw_only=True)
class VisitRecord:
    """The steps of the safe order with their times, and everything else of the record as (name, words) pairs.

    What was not recorded says so; nothing is taken as done.
    """

    steps: tuple[RecordedStep, ...]
    in_order: bool | None
    aborted: tuple[pd.Timestamp, str] | None
    conditions: tuple[tuple[str, str], ...]
    left: tuple[tuple[str, str], ...]
    alarms: tuple[tuple[str, str], ...] | None


def _table() -> Mapping[str, Any]:
    return sources.table("safe_order")


def _said(value: object) -> str:
    if value is None or value == "":
        return NOT_RECORDED
    return {True: "yes", False: "no"}.get(value, str(value)) if isinstance(value, bool) else str(value)


def visit_record(visit: Visit) -> VisitRecord:
    """Return the record of a visit."""
    record, plan = visit.plan.record, visit.plan

    def moment(at: Any) -> pd.Timestamp:
        return moment_on_utc(at, date=plan.visit.date, zone=plan.visit.time_zone)

    times: dict[str, pd.Timestamp] = {}
    for step in record.steps:
        times[step.step] = min(moment(step.at), times.get(step.step, moment(step.at)))
    table = _table()
    order = [name for name in table["order"] if name in times]
    stamps = [times[name] for name in order]
    conditions, left = record.conditions, record.left
    return VisitRecord(
        steps=tuple(
            RecordedStep(name=name, label=table["steps"][name]["label"], at=times.get(name))
            for name in table["order"]
        ),
        in_order=stamps == sorted(stamps) if len(stamps) > 1 else None,
        aborted=(moment(record.aborted.at), record.aborted.because) if record.aborted else None,
        conditions=(
            ("Doors", _said(conditions.doors)),
            ("Dampers", _said(conditions.dampers)),
            ("Fans", _said(conditions.fans)),
            ("Other appliances", _said(conditions.other_appliances)),
            ("Inlet pressure with all firing", _said(conditions.all_appliances_firing)),
            (
                "Warm-up",
                NOT_RECORDED
                if conditions.warm_up is None
                else f"{units.convert(conditions.warm_up, 's', 'minute'):.0f} min",
            ),
            ("Weather", _said(conditions.weather)),
            *((("Notes", conditions.notes),) if conditions.notes else ()),
        ),
        left=(
            ("Sampling hole and ports closed", _check_words(visit, "port_sealed")),
            ("Pressure taps leak-tested", _said(left.taps_leak_tested)),
            ("Gas left off", _said(left.gas_off)),
            ("Tag or notice", _said(left.tag)),
            ("Who was told", _said(left.told)),
            ("License", _said(plan.visit.licence)),
            *((("Refused by the owner", left.refused),) if left.refused else ()),
            *((("Notes", left.notes),) if left.notes else ()),
        ),
        alarms=None
        if record.alarms is None
        else tuple((alarm.place, _alarm_words(alarm.made, alarm.works)) for alarm in record.alarms),
    )


def _alarm_words(made: int | None, works: bool | None) -> str:
    button = {True: "works", False: "does not work", None: NOT_RECORDED}[works]
    return f"made {_said(made)}; test button: {button}"


def _check_words(visit: Visit, name: str) -> str:
    record = visit.plan.checks.get(name)
    words = {"no fault seen": "yes", "fault seen": "no"}
    return NOT_RECORDED if record is None else words.get(record.result, "not tested")


def record_judgements(visit: Visit, record: VisitRecord, judged: Iterable[Judgement]) -> Iterator[Judgement]:
    """Yield the findings that the record itself gives rise to.

    Parameters
    ----------
    visit : Visit
        The visit.
    record : VisitRecord
        Its record.
    judged : iterable of Judgement
        Of the readings and checks, before anything was put right.
    """
    everything = tuple(judged)
    if record.in_order is False:
        yield _finding("order")
    known = {step.name for step in record.steps if step.at is not None}
    if any(map(_ends_the_test, everything)) and known and record.aborted is None:
        yield _finding("abort")
    if any(one.weight == "stop" for one in everything) and not visit.plan.record.left.told:
        yield _finding("told")
    if any(
        point.meter is not None and point.meter.other_loads_off is False for point in visit.plan.test_points
    ):
        yield _finding("other_loads")
    all_firing = visit.plan.record.conditions.all_appliances_firing
    if all_firing is False and read_somewhere(visit, "gas_inlet_pressure"):
        yield _finding("not_all_firing")
    if visit.plan.record.left.taps_leak_tested is False:
        yield _finding("taps")
    yield from _alarm_findings(visit)


def _ends_the_test(one: Judgement) -> bool:
    """Whether the room was read to hold more carbon monoxide than a test goes on in."""
    tiers = safety.limits()["carbon_monoxide_ambient"].tiers
    least = min(tier.value for tier in tiers if tier.weight == "correct")
    known = one.subject == "carbon_monoxide_ambient" and one.measured is not None
    return known and gravity(one) >= 2 and one.measured.value > least  # type: ignore[union-attr]


def _alarm_findings(visit: Visit) -> Iterator[Judgement]:
    alarms = visit.plan.record.alarms
    seen = visit.plan.checks.get("carbon_monoxide_alarm")
    if alarms is None or (seen is not None and seen.result == "fault seen"):
        return
    if not alarms:
        yield _finding("alarm_missing")
    life = units.convert(units.parse(_table()["alarm"]["life"], "s", "life"), "s", "day") / _DAYS_OF_YEAR
    worn = [
        alarm.place
        for alarm in alarms
        if alarm.works is False or (alarm.made is not None and visit.plan.visit.date.year - alarm.made > life)
    ]
    if worn:
        yield _finding("alarm_old", note=", ".join(worn))


def _finding(name: str, *, note: str = "") -> Judgement:
    table = _table()
    entry, order = table["findings"][name], table["sources"][table["source"]]
    return Judgement(
        rule=f"record_{name}",
        subject="visit_record",
        test_point="",
        outcome="fault seen",
        weight=entry.get("weight", "note"),
        headline=entry["headline"] + (f" ({note})" if note else ""),
        role="trigger",
        meaning=entry["meaning"],
        action=entry["action"],
        who=entry["who"],
        citation=Citation(
            source=order["title"],
            edition=order["edition"],
            jurisdiction=order["jurisdiction"],
            place=table["place"],
            status=table["status"],
            note=table["reason"],
        ),
    )
