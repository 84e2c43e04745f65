"""What was tested held against its limits, and the verdict that follows.

A missing reading is "not tested"; a value whose interval reaches a limit is "cannot tell", which means: correct,
test again; a type without a tabulated limit is "no limit known". Nothing here ever says that an appliance is in
order.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Literal, TypeAlias

from fluewright import sources
from fluewright.appliance.numbers import Number
from fluewright.sources.limits import (
    Check,
    Citation,
    Limit,
    RequiredTest,
    Tier,
    UsualRange,
    verdicts,
)

Weight: TypeAlias = Literal["", "note", "correct", "stop"]
Outcome: TypeAlias = Literal[
    "within", "beyond", "cannot tell", "not tested", "no limit known", "fault seen", "no fault seen"
]
_SUCTION = frozenset({"draft_hood", "draft_breech", "draft_overfire", "draft_inducer"})
_GRAVITY: Mapping[str, int] = {"": 0, "note": 1, "correct": 2, "stop": 3}

# A retest after a change takes one step off a finding, never more: a stop that was put right still needs
# somebody to confirm it before the appliance is used.
_PUT_RIGHT: Mapping[Weight, Weight] = {"stop": "correct", "correct": "note", "note": "note", "": ""}


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """One rule applied to one test: a finding where it has a weight.

    `limit_low` and `limit_high` [SI] are the bounds that hold, NaN where there is none on that side.
    `role` is "limit" (a value inside it is within) or "trigger" (not exceeding it proves nothing).
    """

    rule: str
    subject: str
    test_point: str
    outcome: Outcome
    weight: Weight
    headline: str
    measured: Number | None = None
    limit_low: float = math.nan
    limit_high: float = math.nan
    role: str = "limit"
    conditions: str = ""
    meaning: str = ""
    action: str = ""
    who: str = ""
    citation: Citation | None = None
    put_right: bool = False

    @property
    def is_finding(self) -> bool:
        """Whether it must be listed among the findings."""
        return bool(self.weight)


@dataclass(frozen=True, slots=True, kw_only=True)
class VerdictGiven:
    """The verdict, from the closed set, and what decided it."""

    name: str
    sentence: str
    meaning: str
    because: tuple[str, ...]


def _heavier(first: Weight, second: Weight) -> Weight:
    return first if _GRAVITY[first] >= _GRAVITY[second] else second


def gravity(judgement: Judgement) -> int:
    """Return how grave a judgement is: 3 stop, 2 correct, 1 note, 0 none."""
    return _GRAVITY[judgement.weight]


def _place_words(
    outcome: Outcome, quantity: str, below: bool, *, bound: str = "its limit", rise: bool = False
) -> str:
    label = sources.quantity(quantity).label + (", rise over the burn" if rise else "")
    side = f"{'below' if below else 'above'} {bound}"
    if quantity in _SUCTION:  # is negative: above the limit is too little of it
        side = "too much suction" if below else "too little suction"
    return {
        "beyond": f"{label}: {side}",
        "cannot tell": f"{label}: cannot be told apart from {bound}",
        "within": f"{label}: within {bound}",
    }[outcome]


def _judged_tier(number: Number, limit: Limit) -> tuple[Outcome, Weight, Tier]:
    """Return the outcome, its weight and the step that decided, of a maximum, a minimum or tiers."""
    sure, possible = (number.high, number.low) if limit.below else (number.low, number.high)
    sure = number.value if math.isnan(sure) else sure
    possible = number.value if math.isnan(possible) else possible

    def passed(value: float, tier: Tier) -> bool:
        return value < tier.value if limit.below else value > tier.value

    surely = [tier for tier in limit.tiers if passed(sure, tier)]
    perhaps = [tier for tier in limit.tiers if passed(possible, tier) or possible == tier.value]
    if len(surely) == len(perhaps) and surely:
        return "beyond", surely[-1].weight, surely[-1]  # type: ignore[return-value]
    if not perhaps:
        return "within", "", limit.tiers[0]
    doubtful = perhaps[-1]
    # A step that only the interval reaches asks for another test; one that the reading itself has passed keeps
    # its weight: danger is not given the benefit of the doubt.
    read = passed(number.value, doubtful)
    doubt: Weight = doubtful.weight if read or doubtful.weight == "note" else "correct"  # type: ignore[assignment]
    if surely and not (read and doubtful.weight == "stop"):
        return "beyond", _heavier(surely[-1].weight, doubt), surely[-1]  # type: ignore[arg-type]
    if limit.role == "trigger" and doubtful.weight == "note":
        return "cannot tell", "", doubtful
    return "cannot tell", doubt, doubtful


_AGAIN = "Test again, with a better instrument or a longer steady window. "


def judge(number: Number, limit: Limit, *, test_point: str) -> Judgement:
    """Return one number held against a maximum, a minimum or tiers.

    Only an interval wholly inside is "within"; one that reaches the limit is "cannot tell" and weighs "correct".
    A number without an interval is judged by its value.
    """
    outcome, weight, tier = _judged_tier(number, limit)
    # What may call for stopping is acted on first and tested again later.
    again = outcome == "cannot tell" and weight != "stop"
    bound = "the level for stopping" if tier.weight == "stop" else "its limit"
    return Judgement(
        rule=limit.name,
        subject=number.quantity,
        test_point=test_point,
        outcome=outcome,
        weight=weight,
        headline=_place_words(
            outcome, number.quantity, limit.below, bound=bound, rise=limit.judged == "rise"
        ),
        measured=number,
        limit_low=tier.value if limit.below else math.nan,
        limit_high=math.nan if limit.below else tier.value,
        role=limit.role,
        conditions=limit.conditions,
        meaning=tier.meaning if weight else "",
        action=(_AGAIN if again else "") + tier.action if weight else "",
        who=tier.who if weight else "",
        citation=tier.citation,
    )


def judge_range(number: Number, limit: Limit, *, low: float, high: float, test_point: str) -> Judgement:
    """Return one number held against a range [SI], such as the nameplate's; NaN for no bound on that side."""
    sure_low = number.low if number.has_interval else number.value
    sure_high = number.high if number.has_interval else number.value
    beyond = sure_low > high or sure_high < low
    within = not beyond and not sure_high >= high and not sure_low <= low
    outcome: Outcome = "beyond" if beyond else "within" if within else "cannot tell"
    weight: Weight = (
        "" if within else limit.weight if beyond or limit.weight == "note" else "correct"  # type: ignore[assignment]
    )
    return Judgement(
        rule=limit.name,
        subject=number.quantity,
        test_point=test_point,
        outcome=outcome,
        weight=weight,
        headline=_place_words(outcome, number.quantity, bool(sure_high < low)),
        measured=number,
        limit_low=low,
        limit_high=high,
        role=limit.role,
        conditions=limit.conditions,
        meaning=limit.meaning if weight else "",
        action=limit.action if weight else "",
        who=limit.who if weight else "",
        citation=limit.citation,
    )


def judge_over_range(number: Number, limit: Limit, *, test_point: str) -> Judgement:
    """Return the finding that a reading stood at the top of its instrument's range: it is at least that much."""
    return Judgement(
        rule=limit.name,
        subject=number.quantity,
        test_point=test_point,
        outcome="beyond",
        weight=limit.weight,  # type: ignore[arg-type]
        headline=f"{sources.quantity(number.quantity).label}: beyond the range of the instrument",
        measured=number,
        limit_high=number.value,
        role=limit.role,
        conditions=limit.conditions,
        meaning=limit.meaning,
        action=limit.action,
        who=limit.who,
        citation=limit.citation,
    )


def judge_usual(number: Number, usual: UsualRange, *, test_point: str) -> Judgement | None:
    """Return a note where a number lies wholly outside its usual range, else nothing: a range is no limit."""
    low = number.low if number.has_interval else number.value
    high = number.high if number.has_interval else number.value
    if not (low > usual.high or high < usual.low):
        return None
    side = "above" if low > usual.high else "below"
    return Judgement(
        rule=usual.name,
        subject=number.quantity,
        test_point=test_point,
        outcome="beyond",
        weight="note",
        headline=f"{sources.quantity(number.quantity).label}: {side} its usual range",
        measured=number,
        limit_low=usual.low,
        limit_high=usual.high,
        role="trigger",
        meaning="It lies outside of what is usual for such an appliance; that alone is no fault.",
        action="Compare with the maker's figure for this appliance.",
        who="licensed technician",
        citation=usual.citation,
    )


def judge_check(check: Check, result: str, *, note: str = "") -> Judgement:
    """Return what a check that is seen rather than measured has shown."""
    seen = result == "fault seen"
    outcome: Outcome = (
        "fault seen" if seen else "no fault seen" if result == "no fault seen" else "not tested"
    )
    return Judgement(
        rule=check.name,
        subject=check.name,
        test_point="",
        outcome=outcome,
        weight=check.weight if seen else "",  # type: ignore[arg-type]
        headline=f"{check.label}: {outcome}" + (f" ({note.rstrip('.')})" if note else ""),
        meaning=check.meaning if seen else "",
        action=check.action if seen else "",
        who=check.who if seen else "",
        citation=check.citation,
    )


def no_limit_known(quantity: str, *, measured: Number | None, test_point: str) -> Judgement:
    """Return the statement that no limit is known for a quantity of this type of appliance."""
    return Judgement(
        rule=f"{quantity}_no_limit",
        subject=quantity,
        test_point=test_point,
        outcome="no limit known",
        weight="note",
        headline=f"{sources.quantity(quantity).label}: no limit known for this type of appliance",
        measured=measured,
        role="trigger",
        meaning="No source gives this type a limit; the limit of another type was not borrowed.",
        action="Enter the maker's limit, with its source, in visit.toml under limits.",
        who="who tests",
    )


def put_right(judgements: Iterable[Judgement], *, replaces: Mapping[str, str]) -> tuple[Judgement, ...]:
    """Return the judgements, with those of a replaced test point eased by one step where the retest is within.

    Parameters
    ----------
    judgements : iterable of Judgement
        All of a visit.
    replaces : mapping
        Retest to the test point it replaces, by name, as the visit says.

    Notes
    -----
    A stop that was put right still weighs "correct"; a correct, "note". A rule that the retest did not judge, or
    judged other than "within", keeps its weight. Of a retest that was itself replaced, the last that judged the rule
    counts.
    """
    everything = tuple(judgements)
    retest_of = {old: new for new, old in replaces.items()}
    judged: dict[tuple[str, str], set[str]] = {}
    for one in everything:
        judged.setdefault((one.test_point, one.rule), set()).add(one.outcome)

    def held(one: Judgement) -> bool:
        last: set[str] = set()
        point, seen = retest_of.get(one.test_point), {one.test_point}
        while point is not None and point not in seen:
            last = judged.get((point, _of_limit(one.rule)), last)
            seen.add(point)
            point = retest_of.get(point)
        return "within" in last

    return tuple(
        replace(one, weight=_PUT_RIGHT[one.weight], put_right=True) if one.weight and held(one) else one
        for one in everything
    )


def _of_limit(rule: str) -> str:
    """Return the rule whose limit was doubtful in a dilute sample, or passed at light-off only."""
    return rule.removesuffix("_dilute").removesuffix("_light_off")


def missing_tests(tests: Iterable[RequiredTest], tested: Iterable[str]) -> tuple[RequiredTest, ...]:
    """Return the tests of which nothing was tested; `tested` are names of quantities and checks."""
    done = frozenset(tested)
    return tuple(test for test in tests if not done.intersection(test.any_of))


def verdict(
    judgements: Iterable[Judgement], *, missing: Iterable[RequiredTest], unlimited: Iterable[RequiredTest]
) -> VerdictGiven:
    """Return the verdict, from the closed set, gravest first.

    Parameters
    ----------
    judgements : iterable of Judgement
        All of a visit, after `put_right`.
    missing : iterable of RequiredTest
        Required tests that were not made.
    unlimited : iterable of RequiredTest
        Required tests whose limit is not known, or was seen in no text.
    """
    everything = tuple(judgements)
    stops = [one.headline for one in everything if one.weight == "stop"]
    # A limit that was exceeded is never "no tested limit exceeded", however light its weight.
    corrects = [
        one.headline
        for one in everything
        if one.weight == "correct"
        or (one.role == "limit" and one.outcome in ("beyond", "cannot tell") and not one.put_right)
    ]
    gaps = [f"{test.label}: not tested" for test in missing]
    gaps += [f"{test.label}: no limit known, or its text was not seen" for test in unlimited]
    name, because = (
        ("leave_off", stops)
        if stops
        else ("correct", corrects)
        if corrects
        else ("incomplete", gaps)
        if gaps
        else ("no_tested_limit_exceeded", [])
    )
    words = verdicts()[name]
    return VerdictGiven(
        name=name, sentence=words.sentence, meaning=words.meaning, because=tuple(dict.fromkeys(because))
    )
