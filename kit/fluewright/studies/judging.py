"""Every test of a visit held against the limits that apply to its appliance."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from itertools import product

import pandas as pd

from fluewright import combustion, sources
from fluewright.appliance import (
    HELD,
    CarbonMonoxideRows,
    Judgement,
    Number,
    Outcome,
    adjustment_range,
    carbon_monoxide_rows,
    clock_against_manifold,
    judge,
    judge_check,
    judge_over_range,
    judge_range,
    judge_usual,
    no_limit_known,
    supply_over_return,
    suspects,
)
from fluewright.sources import limits as safety
from fluewright.sources.limits import Citation, Limit, RequiredTest, chosen_here
from fluewright.steady import DILUTION, Moved
from fluewright.studies.balancing import Balance
from fluewright.studies.heat_settings import Stage, heat_carrier_of, plate_of
from fluewright.studies.inputs import fuel_kind, fuel_of, known_accuracy
from fluewright.visit import LimitOverride, SpotReading, Visit, on_display, read_quantity

_AIR_FREE = "carbon_monoxide_air_free"
_SHORT = {"oxygen_dry": "oxygen", "oxygen_wet": "oxygen", "carbon_dioxide_dry": "carbon dioxide"}
_HELD = pd.DatetimeIndex([pd.Timestamp(0, tz="UTC"), pd.Timestamp(0, tz="UTC") + HELD])
_FLUE = frozenset(
    {"oxygen_dry", "oxygen_wet", "carbon_dioxide_dry", "flue_temperature", "carbon_monoxide_dry", _AIR_FREE}
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Tested:
    """What one test point has to be judged: means and results, the worst rows, and spot readings."""

    name: str
    settled: bool
    numbers: Mapping[str, Number]
    carbon_monoxide: CarbonMonoxideRows | None
    rows: pd.DataFrame
    lower_bounds: pd.DataFrame
    spots: Mapping[str, tuple[SpotReading, ...]]
    state: str
    stage: Stage = "high"
    balance: Balance | None = None
    moved: Moved | None = None


# ---------------------------------------------------------------------------- which limits apply


def _entered(override: LimitOverride, quantity: str, visit: Visit) -> Limit:
    """Return the limit that a visit gives in place of the tabulated one."""
    value = read_quantity(override.value, quantity)
    citation = Citation(
        source=override.source,
        edition="as entered",
        jurisdiction="as entered",
        place="visit.toml, limits",
        status="entered",
    )
    known = [limit for limit in safety.limits().values() if limit.quantity == quantity]
    minimum = (override.holds or safety.side_of(quantity)) == "at least"
    label = sources.quantity(quantity).label
    meaning = f"{label} lies beyond the limit entered for this visit."
    action = "Put right what causes it, then test again."
    tier = safety.Tier(
        value=value,
        text=override.value,
        weight=override.weight,
        meaning=meaning,
        action=action,
        who="licensed technician",
        citation=citation,
    )
    each = any(limit.judged == "each reading" for limit in known)
    return Limit(
        name=f"{quantity}_entered",
        quantity=quantity,
        kind="minimum" if minimum else "maximum",
        role="limit",
        judged="each reading" if each else "test point",
        weight=override.weight,
        tiers=(tier,),
        points=(),
        against="",
        nameplate="",
        averaging=None,
        rule="oxygen rule" if quantity == _AIR_FREE else "",
        appliance_types=None,
        condensing=None,
        drafts=(),
        conditions="as entered in visit.toml",
        meaning=meaning,
        action=action,
        who="licensed technician",
        citation=citation,
    )


def applying_limits(visit: Visit) -> tuple[Limit, ...]:
    """Return the limits this visit is judged by; an entered one takes the place of tabulated ones of its weight.

    Tiers of another weight, and triggers, stay: entering a limit for advice does not lift the one for stopping.
    """
    plan = visit.plan
    found = []
    for limit in safety.limits().values():
        if limit.role == "reference" or not limit.applies_to(
            plan.appliance.type, condensing=plan.appliance.condensing, draft=plan.appliance.draft
        ):
            continue
        if limit.vent_categories and plan.appliance.vent_category not in limit.vent_categories:
            continue
        if limit.carriers and heat_carrier_of(visit) not in limit.carriers:
            continue
        override = plan.limits.get(limit.quantity)
        if override is None or limit.role != "limit":
            found.append(limit)
        elif limit.kind == "tiers":
            kept = tuple(tier for tier in limit.tiers if tier.weight != override.weight)
            found.append(replace(limit, tiers=kept))
        elif limit.weight != override.weight:
            found.append(limit)
    found += [_entered(override, quantity, visit) for quantity, override in plan.limits.items()]
    return tuple(found)


# ---------------------------------------------------------------------------- numbers to judge


def _spot_number(visit: Visit, quantity: str, spots: Iterable[SpotReading], *, lowest: bool) -> Number | None:
    """Return the worst of the spot readings, each with the interval of its own instrument's accuracy."""
    taken = tuple(spots)
    if not taken:
        return None
    worst: Callable[[Iterable[float]], float] = min if lowest else max
    lows, highs = zip(*(_reach(visit, one) for one in taken), strict=True)
    return Number(
        quantity=quantity,
        value=worst(one.value for one in taken),
        low=worst(lows),
        high=worst(highs),
        origin="measured",
        basis=f"worst of {len(taken)} read by hand" if len(taken) > 1 else "read by hand",
    )


def _reach(visit: Visit, spot: SpotReading) -> tuple[float, float]:
    """Return between what a true value lies by the accuracy of the instrument that was read."""
    stated = known_accuracy(visit, spot.quantity, spot.instrument)
    half = stated.half_width(on_display(spot.quantity, spot.value))
    known = sources.quantity(spot.quantity)
    floor = 0.0 if spot.quantity.startswith("carbon_monoxide") else -math.inf
    if spot.bound == ">":
        return spot.value, math.inf
    low = max(spot.value - half, floor)
    if spot.bound == "<":  # anything down to the least that can be
        low = min(low, max(floor, known.floor, -math.inf if known.low is None else known.low))
    return low, spot.value + half


def _logged_number(visit: Visit, quantity: str, tested: Tested, *, lowest: bool) -> Number | None:
    """Return the worst logged reading of all rows with the interval of the stated accuracy."""
    if quantity not in tested.rows:
        return None
    values = tested.rows[quantity].dropna()
    bounds = tested.lower_bounds[quantity].dropna() if quantity in tested.lower_bounds else values.iloc[:0]
    if not len(values) and not len(bounds):
        return None
    worst = (
        SpotReading(quantity=quantity, value=float(values.min() if lowest else values.max()))
        if len(values)
        else None
    )
    over = SpotReading(quantity=quantity, value=float(bounds.max()), bound=">") if len(bounds) else None
    number = _spot_number(visit, quantity, [one for one in (worst, over) if one is not None], lowest=lowest)
    return None if number is None else replace(number, basis="worst of all rows, used or refused")


def _readings(visit: Visit, limit: Limit, tested: Tested) -> Iterator[Number]:
    """Yield the numbers that `limit` judges at one test point."""
    rows = tested.carbon_monoxide
    if limit.judged == "rise":
        if rows is not None and rows.rise is not None:
            yield rows.rise
        return
    if limit.judged == "over return":
        supply, back = (
            _spot_number(visit, name, tested.spots.get(name, ()), lowest=False)
            or _logged_number(visit, name, tested, lowest=False)
            for name in ("carbon_monoxide_supply", "carbon_monoxide_return")
        )
        if supply is not None and back is not None:
            yield supply_over_return(supply, back)
        return
    if limit.quantity == _AIR_FREE:
        mean = tested.numbers.get("carbon_monoxide_air_free_oxygen_rule")
        worst = (
            None
            if rows is None or not rows.told
            else rows.running
            if limit.role == "limit"
            else rows.air_free
        )
        if worst is not None:
            yield worst
        if mean is not None:
            yield mean
        return
    if limit.judged == "each reading":
        if limit.quantity == "carbon_monoxide_dry" and rows is not None:
            yield rows.dry
        elif limit.quantity != "carbon_monoxide_dry":
            logged = _logged_number(visit, limit.quantity, tested, lowest=limit.below)
            if logged is not None:
                yield logged
        spot = _spot_number(visit, limit.quantity, tested.spots.get(limit.quantity, ()), lowest=limit.below)
        if spot is not None:
            yield spot
        return
    if limit.quantity in tested.numbers:
        yield tested.numbers[limit.quantity]
    elif f"{limit.quantity}_computed" in tested.numbers:
        yield tested.numbers[f"{limit.quantity}_computed"]
    else:
        spot = _spot_number(visit, limit.quantity, tested.spots.get(limit.quantity, ()), lowest=limit.below)
        if spot is not None:
            yield spot


def _undiluted(visit: Visit, monoxide: Number, dilution: Number | None) -> CarbonMonoxideRows:
    """Return a reading by hand made air-free, as a row of a log that stood for as long as one has to be held."""
    rows = pd.DataFrame({monoxide.quantity: monoxide.value}, index=_HELD)
    given = [monoxide]
    if dilution is not None:
        rows[dilution.quantity] = dilution.value
        given.append(dilution)
    found = carbon_monoxide_rows(
        rows,
        lower_bounds=rows[[monoxide.quantity]] if monoxide.is_lower_bound else rows[[]],
        fuel=fuel_of(visit),
        half_widths={
            one.quantity: (one.high - one.value if math.isfinite(one.high) else 0.0, 0.0) for one in given
        },
        oxygen_name=None if dilution is None else dilution.quantity,
    )
    assert found is not None
    if monoxide.low > 0:
        return found
    # Of a reading that may be none, such as "< 500 ppm", nothing is known to be there at least.
    return replace(found, air_free=replace(found.air_free, low=0.0), held_dilute=None)


@dataclass(frozen=True, slots=True, kw_only=True)
class _Beside:
    """Air-free carbon monoxide besides that of rows that tell it and of the window; of some only the least.

    `dilute` is what the oxygen rule gives at least in samples too dilute for an air-free value.
    """

    numbers: tuple[Number, ...]
    dilute: tuple[Number, ...]


def _beside(visit: Visit, tested: Tested) -> _Beside:
    """Return what the rows do not tell, and what was read by hand.

    A reading by hand goes with that of oxygen, else of carbon dioxide, taken by hand with it: the first with the first
    where there are as many, else each with each; without any with the mean of the window.
    """
    rows = tested.carbon_monoxide
    numbers = [rows.air_free] if rows is not None and not rows.told else []
    dilute = [rows.held_dilute] if rows is not None and rows.held_dilute is not None else []
    by_hand = {
        name: [_spot_number(visit, name, [one], lowest=False) for one in tested.spots.get(name, ())]
        for name in ("carbon_monoxide_dry", *DILUTION)
    }
    monoxide = by_hand.pop("carbon_monoxide_dry")
    name = next((name for name, read in by_hand.items() if read), None)
    if name is not None:
        with_it, how = by_hand[name], f"with {_SHORT[name]} by hand"
    else:
        name = next((name for name in DILUTION if name in tested.numbers), None)
        with_it = [None if name is None else tested.numbers[name]] * len(monoxide)
        how = "at least as measured" if name is None else f"with the window's {_SHORT[name]}"
    pairs = (
        zip(monoxide, with_it, strict=True) if len(monoxide) == len(with_it) else product(monoxide, with_it)
    )
    found = [_undiluted(visit, one, other) for one, other in pairs if one is not None]
    read = f"worst of {len(monoxide)} read by hand" if len(monoxide) > 1 else "read by hand"
    for told in (True, False):
        alike = [one.air_free for one in found if (one.told and not one.dilute) is told]
        numbers += [
            replace(one, basis=f"{read}, {how}; oxygen rule")
            for one in sorted(alike, key=lambda one: one.low)[-1:]
        ]
    hints = sorted((one.held_dilute for one in found if one.held_dilute), key=lambda one: one.low)
    dilute += [
        replace(one, basis=f"{read}, {how}, in a sample too dilute for an air-free value")
        for one in hints[-1:]
    ]
    return _Beside(numbers=tuple(numbers), dilute=tuple(dilute))


# ---------------------------------------------------------------------------- judging


def _judged(visit: Visit, limit: Limit, number: Number, tested: Tested) -> Judgement | None:
    if limit.kind == "nameplate":
        plate = plate_of(visit, limit.nameplate, tested.stage)
        if plate is None:
            return None
        low, high = plate if isinstance(plate, tuple) else (-math.inf, plate)
        if limit.within is not None:
            low, high = plate * (1 - limit.within), plate * (1 + limit.within)
        return judge_range(number, limit, low=low, high=high, test_point=tested.name)
    if limit.kind == "curve":
        other = _spot_number(visit, limit.against, tested.spots.get(limit.against, ()), lowest=False)
        if other is None:
            return _judged_anywhere(number, limit, tested)
        return judge_range(
            number, limit, low=-math.inf, high=float(limit.at(other.value)), test_point=tested.name
        )
    if limit.kind == "over range":
        return judge_over_range(number, limit, test_point=tested.name) if number.is_lower_bound else None
    return judge(number, limit, test_point=tested.name)


def _judged_anywhere(number: Number, limit: Limit, tested: Tested) -> Judgement:
    """Return a number held against a curve where what the curve follows was not read: told where all of it agrees."""
    ends = [value for _, value in limit.points]
    easy, strict = (
        judge_range(number, limit, low=-math.inf, high=end, test_point=tested.name)
        for end in (max(ends), min(ends))
    )
    if easy.outcome == "beyond" or strict.outcome == "within":
        return easy if easy.outcome == "beyond" else strict
    followed = sources.quantity(limit.against).label
    return replace(
        strict,
        outcome="cannot tell",
        weight="correct",
        headline=f"{sources.quantity(number.quantity).label}: cannot be told; {followed.lower()} was not read",
        meaning=f"The limit follows this: {followed.lower()}. By it the reading may be within or beyond.",
        action=f"Test again and read this too: {followed.lower()}. Then: {limit.action}",
        who=limit.who,
    )


def _beyond_at_light_off(visit: Visit, limit: Limit, tested: Tested) -> Iterator[Judgement]:
    """Yield what was beyond an air-free limit where the limit does not hold.

    In the first minutes after light-off a peak is usual, and limits hold after some minutes of operation.
    """
    rows = tested.carbon_monoxide
    if rows is None or limit.role != "limit":
        return
    peak = _judged(visit, limit, rows.air_free, tested) if rows.told else None
    usual = _judged(visit, limit, rows.running, tested)
    if peak is not None and peak.outcome == "beyond" and (usual is None or usual.outcome != "beyond"):
        yield replace(
            peak,
            rule=f"{limit.name}_light_off",
            weight="note",
            role="trigger",
            headline="Carbon monoxide at light-off: above the limit that holds after some minutes of operation",
            meaning="A short peak at light-off is usual; a high or long one tells of late ignition or a dirty burner.",
            action="Watch the light-off, and have ignition and burner checked if it is not smooth.",
        )


def _beyond_if_diluted(
    visit: Visit, limit: Limit, tested: Tested, dilute: Iterable[Number]
) -> Iterator[Judgement]:
    """Yield what may be beyond an air-free limit in samples too dilute to tell: there the oxygen rule only hints."""
    for number in dilute if limit.role == "limit" else ():
        hint = _judged(visit, limit, number, tested)
        if hint is not None and hint.outcome == "beyond":
            yield replace(
                hint,
                rule=f"{limit.name}_dilute",
                outcome="cannot tell",
                weight="correct",
                headline="Carbon monoxide, air-free: cannot be told in a dilute sample, and may be above its limit",
                meaning="The sample was too dilute for an air-free value; the oxygen rule would give this.",
                action="Test again: check the probe and its hose for leaks, and sample before any draft hood.",
            )


def _distinct(judgements: Iterable[Judgement]) -> Iterator[Judgement]:
    """Give each number its own rule name, so that a retest is compared like with like."""
    seen: dict[str, int] = {}
    for one in judgements:
        seen[one.rule] = seen.get(one.rule, 0) + 1
        yield one if seen[one.rule] == 1 else replace(one, rule=f"{one.rule}_{seen[one.rule]}")


def _point_judgements(visit: Visit, tested: Tested, limits: Iterable[Limit]) -> Iterator[Judgement]:
    appliance = visit.plan.appliance
    limited = set()
    beside = _beside(visit, tested)
    for limit in limits:
        for number in _readings(visit, limit, tested):
            made = _judged(visit, limit, number, tested)
            if made is not None:
                yield made
                limited.add(limit.quantity if limit.role == "limit" else "")
        if limit.quantity == _AIR_FREE and limit.judged != "rise":
            for number in beside.numbers:
                made = _judged(visit, limit, number, tested)
                if made is not None and (made.outcome == "beyond" or not number.is_lower_bound):
                    yield made  # what is only known to be at least so much is never within
                    limited.add(limit.quantity if limit.role == "limit" else "")
            yield from _beyond_at_light_off(visit, limit, tested)
            yield from _beyond_if_diluted(visit, limit, tested, beside.dilute)
    wanted = safety.appliance_type(appliance.type)
    for quantity in wanted.no_limit_known - limited:
        mean = tested.numbers.get(f"{quantity}_oxygen_rule", tested.numbers.get(quantity))
        worst = tested.carbon_monoxide.air_free if tested.carbon_monoxide is not None else None
        yield no_limit_known(quantity, measured=mean or worst, test_point=tested.name)
    if tested.settled and tested.state:
        yield _too_dilute(tested)
    agree = True
    if "heat_input_clock_to_manifold" in tested.numbers:
        told = _clock_against_manifold(tested.numbers["heat_input_clock_to_manifold"], tested.name)
        agree = told.outcome != "beyond"
        yield told
    # Where the two contradict, the pressure that the clocked rate asks for is not to be thought of.
    if agree and "manifold_pressure_target" in tested.numbers:
        plate = plate_of(visit, "manifold_pressure", tested.stage)
        low, high = adjustment_range(plate, fuel_kind=fuel_kind(fuel_of(visit)))
        yield _manifold_target(tested.numbers["manifold_pressure_target"], low, high, tested.name)
    if "carbon_dioxide_difference" in tested.numbers:
        yield _carbon_dioxide_against_oxygen(tested.numbers["carbon_dioxide_difference"], tested.name)
    if tested.balance is not None:
        yield _balance(tested.balance, tested.name)
    if tested.moved is not None:
        yield _level_moved(tested.moved, tested)
    for number in tested.numbers.values():
        usual = safety.usual_range(
            number.quantity, appliance_type=appliance.type, condensing=appliance.condensing
        )
        note = judge_usual(number, usual, test_point=tested.name) if usual is not None else None
        if note is not None and number.origin != "instrument":
            yield note


def _too_dilute(tested: Tested) -> Judgement:
    dilute = sources.table("flue_gas")["dilute"]
    oxygen = tested.numbers.get("oxygen_dry")
    unread = not {"oxygen_dry", "oxygen_wet", "carbon_dioxide_dry"} & tested.numbers.keys()
    return Judgement(
        rule="sample_state",
        subject=_AIR_FREE,
        test_point=tested.name,
        outcome="cannot tell",
        weight="correct",
        headline=f"Carbon monoxide, air-free: cannot be told; {tested.state}",
        measured=oxygen,
        limit_high=math.nan if oxygen is None else dilute["oxygen_dry"],
        role="trigger",
        meaning="As measured it may be far less than undiluted, and nobody knows by how much."
        if unread
        else "Carbon monoxide in so dilute a sample says nothing of the flame.",
        action="Test again, and read oxygen with it."
        if unread
        else "Test again: check the probe and its hose for leaks, and sample before any draft hood.",
        who="licensed technician",
        citation=chosen_here("a sample too dilute", note=dilute["source"]),
    )


def _level_moved(moved: Moved, tested: Tested) -> Judgement:
    before, within = (f"{100 * share:.1f} %" for share in (moved.before, moved.within))
    return Judgement(
        rule="level_moved",
        subject=moved.quantity,
        test_point=tested.name,
        outcome="beyond",
        weight="note",
        headline=f"{sources.quantity(moved.quantity).label}: held still at {before} for {moved.length / 60:.0f} min "
        f"before the window, and at {within} in it",
        measured=tested.numbers.get(moved.quantity),
        role="trigger",
        meaning="Air that came into the sample in mid-test looks like this; so does a setting or a rate that was "
        "changed.",
        action="Check probe, hose and port for leaks. If air came in, choose the stretch before it in visit.toml; if "
        "something was changed, make two test points of it.",
        who="who tests",
        citation=chosen_here(
            "a level that moved in mid-test", note="beyond the span allowed within a window"
        ),
    )


_CONTRADICTION = chosen_here(
    "readings that contradict one another",
    note="numbers that cannot both be right are no ground for a setting or a saving",
)


def _wider() -> float:
    """Return by how much an interval of 99 % is wider than one of 95 %."""
    table = sources.table("appliance")["balance"]
    return float(table["normal_alpha"] / table["normal_quality"])


def _clock_against_manifold(ratio: Number, test_point: str) -> Judgement:
    """Return whether the nameplate's manifold pressure and the clocked rate can both be right.

    Judged at two levels, as the balance is: its 95 % are shown, a finding is raised at 99 %.
    """
    wider = _wider()
    said = clock_against_manifold(
        ratio.value - wider * (ratio.value - ratio.low), ratio.value + wider * (ratio.high - ratio.value)
    )
    contradict = said in ("more by clock", "less by clock")
    agree = clock_against_manifold(ratio.low, ratio.high) == "agree"
    return Judgement(
        rule="clock_against_manifold",
        subject=ratio.quantity,
        test_point=test_point,
        outcome="beyond" if contradict else "within" if agree else "cannot tell",
        weight="correct" if contradict else "",
        headline="Heat input by meter and by manifold pressure: "
        + (
            "cannot both be right"
            if contradict
            else "agree within their uncertainty"
            if agree
            else "agree badly"
        ),
        measured=ratio,
        limit_low=1.0,
        limit_high=1.0,
        role="trigger",
        meaning="One of them is wrong, so the firing rate is not known." if contradict else "",
        action=f"Look for: {'; '.join(suspects(said))}. Then test again." if contradict else "",
        who="a licensed heating technician qualified for gas valves" if contradict else "",
        citation=_CONTRADICTION,
    )


def _carbon_dioxide_against_oxygen(difference: Number, test_point: str) -> Judgement:
    """Return whether measured carbon dioxide is what this fuel makes at the oxygen measured.

    Judged at two levels, as the balance is: its 95 % are shown, a finding is raised at 99 %.
    """
    wider = _wider()
    value, half = difference.value, (difference.high - difference.low) / 2
    outcome: Outcome = (
        "within" if abs(value) <= half else "beyond" if abs(value) > wider * half else "cannot tell"
    )
    apart = outcome == "beyond"
    side = combustion.Agreement.CARBON_DIOXIDE_HIGH if value > 0 else combustion.Agreement.CARBON_DIOXIDE_LOW
    says = {"within": "agree with this fuel", "beyond": "do not belong together with this fuel"}
    return Judgement(
        rule="carbon_dioxide_against_oxygen",
        subject=difference.quantity,
        test_point=test_point,
        outcome=outcome,
        weight="note" if apart else "",
        headline=f"Carbon dioxide and oxygen: {says.get(outcome, 'agree badly with this fuel')}",
        measured=difference,
        limit_low=0.0,
        limit_high=0.0,
        role="trigger",
        meaning=f"{side.words[0].upper()}{side.words[1:]}." if apart else "",
        action="Check both cells in fresh air and the fuel's analysis, then test again." if apart else "",
        who="who tests" if apart else "",
        citation=_CONTRADICTION,
    )


def _manifold_target(target: Number, low: float, high: float, test_point: str) -> Judgement:
    """Return whether the rated input can be had by an adjustment of the manifold pressure."""
    beyond = target.low > high or target.high < low
    return Judgement(
        rule="manifold_pressure_target",
        subject=target.quantity,
        test_point=test_point,
        outcome="beyond" if beyond else "within",
        weight="note" if beyond else "",
        headline="Manifold pressure for the rated input: "
        + ("further from the nameplate's than it may be moved" if beyond else "near the nameplate's"),
        measured=target,
        limit_low=low,
        limit_high=high,
        role="trigger",
        meaning="The rated input cannot be had by the pressure alone: orifices or heating value are in question."
        if beyond
        else "",
        action="A person qualified for gas valves would consider the orifices, by the maker's instructions."
        if beyond
        else "",
        who="a licensed heating technician qualified for gas valves" if beyond else "",
        citation=chosen_here(
            "how far a manifold pressure may be moved", note=sources.table("appliance")["adjustment"]["why"]
        ),
    )


def _balance(balance: Balance, test_point: str) -> Judgement:
    """Return what the balance of a test point says: that its readings fit, or which of them may be wrong."""
    outcome: Outcome = {"fits": "within", "cannot tell": "cannot tell", "does not fit": "beyond"}[balance.fit]  # type: ignore[assignment]
    wrong = balance.fit == "does not fit"
    one_of = "one of these" if len(balance.suspects) > 1 else "this reading"
    return Judgement(
        rule="balance",
        subject="balance_chi_square",
        test_point=test_point,
        outcome=outcome,
        weight="correct" if wrong else "",
        headline="Energy balance: "
        + (
            "the readings do not fit together"
            if wrong
            else "the readings fit together"
            if balance.fit == "fits"
            else "the readings fit together badly"
        ),
        measured=balance.chi_square,
        limit_high=balance.quality_limit,
        role="trigger",
        meaning="Input, losses and output contradict one another by more than their uncertainties."
        if wrong
        else "",
        action=(
            f"Test again {one_of}: {'; '.join(balance.suspects)}."
            + ("" if balance.explained else " One wrong reading does not explain it: look for several.")
        )
        if wrong
        else "",
        who="who tests" if wrong else "",
        citation=_CONTRADICTION,
    )


def judgements(visit: Visit, points: Iterable[Tested]) -> tuple[Judgement, ...]:
    """Return every judgement of a visit: each limit on each test point, and the checks that were seen."""
    limits = applying_limits(visit)
    made = [one for tested in points for one in _distinct(_point_judgements(visit, tested, limits))]
    checks = safety.checks()
    made += [
        judge_check(checks[name], record.result, note=record.note)
        for name, record in visit.plan.checks.items()
    ]
    return (*made, *_misfits(visit, limits))


def _misfits(visit: Visit, limits: Iterable[Limit]) -> Iterator[Judgement]:
    """Yield what rows with too few or too many cells may hold of carbon monoxide, where that may be beyond a limit."""
    for account in visit.readings.accounts:
        for quantity, (value, row) in account.misfits.items():
            of = {quantity, _AIR_FREE} if quantity == "carbon_monoxide_dry" else {quantity}
            held = (limit for limit in limits if limit.quantity in of and limit.judged != "rise")
            steps = [tier.value for limit in held for tier in limit.tiers]
            if not any(value > step for step in steps):
                continue
            where = f"row {row} of {account.file}"
            yield Judgement(
                rule=f"{quantity}_misfit_rows",
                subject=quantity,
                test_point="",
                outcome="cannot tell",
                weight="correct",
                headline=f"{sources.quantity(quantity).label}: cannot be told; the cells of {where} do not fit",
                measured=Number(
                    quantity=quantity,
                    value=value,
                    low=0.0,
                    high=value,
                    origin="measured",
                    basis=f"may be in {where}",
                ),
                limit_high=min(steps),
                meaning="A row with too few or too many cells may hold a reading beyond the limit.",
                action=f"Look at {where}: put the log's description right in visit.toml, or set the row aside there "
                "and say why; test again if it does not tell.",
                who="who tests",
                citation=chosen_here(
                    "rows with too few or too many cells", note="what may be dangerous is not passed over"
                ),
            )


def tested_subjects(
    visit: Visit, points: Iterable[Tested], judged: Iterable[Judgement], *, replaced: Iterable[str]
) -> frozenset[str]:
    """Return the names of quantities and checks that were tested in the condition the appliance was left in.

    What was read only before a change, at a test point that a later one replaces, is not tested as left. The
    flue-gas tests must stand at every test point that remains. What a finding rests on was tested, settled or not.
    """
    gone = frozenset(replaced)
    current = [one for one in points if one.name not in gone]
    checked = {
        name for name, record in visit.plan.checks.items() if record.result in ("no fault seen", "fault seen")
    }
    per_point = []
    for one in current:
        seen = set(one.numbers) | set(one.spots)
        seen |= {name for name in one.rows.columns if name not in seen and one.rows[name].notna().any()}
        per_point.append(seen if one.settled else seen - _FLUE)
    anywhere = set().union(*per_point)
    everywhere = set.intersection(*per_point) if per_point else set()
    found = {one.subject.removesuffix("_oxygen_rule") for one in judged if one.weight in ("correct", "stop")}
    return frozenset(checked | found | (anywhere - _FLUE) | (everywhere & _FLUE))


def unlimited_tests(
    tests: Iterable[RequiredTest], judged: Iterable[Judgement], tested: frozenset[str]
) -> tuple[RequiredTest, ...]:
    """Return the required tests that were made but held against no limit whose text was seen."""
    everything = tuple(one for one in judged if one.role == "limit" and one.citation is not None)
    found = []
    for test in tests:
        if not tested.intersection(test.any_of):
            continue
        mine = [one for one in everything if one.subject.removesuffix("_oxygen_rule") in test.any_of]
        seen = [one for one in mine if one.citation is not None and one.citation.text_seen]
        unseen = [one for one in mine if one.citation is not None and one.citation.status == "memory"]
        if (test.needs_limit and not seen) or unseen:
            found.append(test)
    return tuple(found)
