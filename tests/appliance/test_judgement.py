"""What is said of a number against its limit: within, beyond, cannot tell; and the verdict that follows."""

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluewright.appliance import (
    Judgement,
    Number,
    judge,
    judge_check,
    judge_range,
    missing_tests,
    put_right,
    verdict,
)
from fluewright.sources import limits as safety

PPM = 1e-6
AMBIENT = safety.limits()["carbon_monoxide_ambient"]
FURNACE = safety.limits()["carbon_monoxide_air_free_furnace"]
RISE = safety.limits()["temperature_rise"]
pytestmark = pytest.mark.law


def ambient(value: float, half: float = 0.0, *, at_least: bool = False) -> Number:
    high = math.inf if at_least else (value + half) * PPM
    return Number(
        quantity="carbon_monoxide_ambient",
        value=value * PPM,
        low=(value - half) * PPM,
        high=high,
        origin="measured",
    )


@pytest.mark.parametrize(
    ("value", "half", "outcome", "weight"),
    [
        (2, 1, "within", ""),
        (8.5, 1, "cannot tell", "note"),  # reaches the lowest tier, which only advises
        (20, 2, "beyond", "note"),
        (34, 2, "beyond", "correct"),  # surely above 9, perhaps above 35
        (50, 5, "beyond", "correct"),
        (68, 3, "beyond", "correct"),  # surely above 35, perhaps above 69: test again, and put right
        (71, 3, "cannot tell", "stop"),  # the reading itself is above 69: no benefit of the doubt
        (120, 10, "beyond", "stop"),
    ],
)
def test_ambient_carbon_monoxide_climbs_the_ladder(
    value: float, half: float, outcome: str, weight: str
) -> None:
    made = judge(ambient(value, half), AMBIENT, test_point="as found")
    assert (made.outcome, made.weight) == (outcome, weight)


def test_a_reading_beyond_the_range_is_never_within() -> None:
    made = judge(ambient(5, at_least=True), AMBIENT, test_point="as found")
    assert made.outcome == "cannot tell"
    assert made.weight == "correct"


def test_the_headline_says_that_it_is_a_rise_or_a_suction() -> None:
    rise = Number(quantity="carbon_monoxide_air_free", value=2e-3, low=1e-3, high=3e-3, origin="computed")
    limits = safety.limits()
    made = judge(rise, limits["carbon_monoxide_rise"], test_point="as found")
    assert made.headline.endswith("air-free, by carbon balance, rise over the burn: above its limit")
    # A vent under pressure is no "below its limit" to its reader, though suction counts as negative.
    draft = Number(quantity="draft_breech", value=8.0, low=7.0, high=9.0, origin="measured")
    made = judge(draft, limits["draft_breech_category"], test_point="as left")
    assert made.headline == "Draft at the breech: too little suction"


@given(low=st.floats(0, 3000), width=st.floats(0, 500))
def test_only_an_interval_wholly_below_is_within(low: float, width: float) -> None:
    number = Number(
        quantity="carbon_monoxide_air_free",
        value=(low + width / 2) * PPM,
        low=low * PPM,
        high=(low + width) * PPM,
        origin="computed",
    )
    made = judge(number, FURNACE, test_point="")
    if number.high < FURNACE.tiers[0].value:
        assert made.outcome == "within"
    elif number.low > FURNACE.tiers[0].value:
        assert (made.outcome, made.weight) == ("beyond", "correct")
    else:
        assert (made.outcome, made.weight) == ("cannot tell", "correct")
        assert made.action.startswith("Test again")


@given(st.floats(0, 200), st.floats(0, 200), st.floats(0, 20))
def test_more_carbon_monoxide_never_weighs_less(one: float, other: float, half: float) -> None:
    order = {"": 0, "note": 1, "correct": 2, "stop": 3}
    less, more = sorted((one, other))
    weights = [order[judge(ambient(value, half), AMBIENT, test_point="").weight] for value in (less, more)]
    assert weights[0] <= weights[1]


@pytest.mark.parametrize(
    ("rise", "half", "outcome"),
    [(50, 2, "within"), (70, 2, "beyond"), (30, 2, "beyond"), (64, 2, "cannot tell"), (36, 2, "cannot tell")],
)
def test_rise_against_a_nameplate_of_35_to_65(rise: float, half: float, outcome: str) -> None:
    number = Number(
        quantity="temperature_rise", value=rise, low=rise - half, high=rise + half, origin="computed"
    )
    made = judge_range(number, RISE, low=35, high=65, test_point="as left")
    assert made.outcome == outcome
    assert made.weight == ("" if outcome == "within" else "correct")


def finding(weight: str, *, point: str = "as found", rule: str = "a", outcome: str = "beyond") -> Judgement:
    return Judgement(
        rule=rule,
        subject="carbon_monoxide_air_free",
        test_point=point,
        outcome=outcome,  # type: ignore[arg-type]
        weight=weight,  # type: ignore[arg-type]
        headline=f"{weight} {point}",
    )


def test_a_retest_takes_one_step_off_and_never_more() -> None:
    retest = finding("", point="as left", outcome="within")
    eased = put_right([finding("stop"), retest], replaces={"as left": "as found"})
    assert eased[0].weight == "correct"
    assert eased[0].put_right
    assert put_right([finding("correct"), retest], replaces={"as left": "as found"})[0].weight == "note"


@pytest.mark.parametrize(
    "retest",
    [
        finding("correct", point="as left", outcome="cannot tell"),
        finding("", point="as left", rule="another", outcome="within"),
        finding("", point="low fire", outcome="within"),
    ],
)
def test_what_the_retest_did_not_show_stays(retest: Judgement) -> None:
    kept = put_right([finding("stop"), retest], replaces={"as left": "as found"})
    assert kept[0].weight == "stop"
    assert not kept[0].put_right


def test_of_retests_that_follow_each_other_the_last_counts() -> None:
    chain = {"second": "first", "third": "second"}
    bad, good = (
        finding("stop", point="second"),
        finding("", point="third", outcome="within"),
    )
    eased = put_right([finding("stop", point="first"), bad, good], replaces=chain)
    assert [one.weight for one in eased] == ["correct", "correct", ""]
    again = replace(good, weight="stop", outcome="beyond")  # type: ignore[arg-type]
    kept = put_right(
        [finding("stop", point="first"), replace(bad, outcome="within", weight=""), again], replaces=chain
    )
    assert kept[0].weight == "stop"


def test_the_verdict_is_the_gravest_and_comes_from_the_closed_set() -> None:
    test = safety.required_tests("furnace")[0]
    named = {
        "leave_off": ([finding("stop"), finding("correct")], [test]),
        "correct": ([finding("correct"), finding("note")], [test]),
        "incomplete": ([finding("", outcome="within")], [test]),
        "no_tested_limit_exceeded": ([finding("", outcome="within")], []),
    }
    for name, (judgements, missing) in named.items():
        assert verdict(judgements, missing=missing, unlimited=[]).name == name
    assert verdict([], missing=[], unlimited=[test]).name == "incomplete"


def test_a_limit_exceeded_is_never_no_tested_limit_exceeded_however_light_its_weight() -> None:
    assert verdict([finding("note")], missing=[], unlimited=[]).name == "correct"


def test_a_fault_seen_weighs_what_its_check_says_and_no_fault_weighs_nothing() -> None:
    leak = safety.checks()["gas_leak"]
    assert judge_check(leak, "fault seen").weight == "stop"
    assert judge_check(leak, "no fault seen").weight == ""
    assert judge_check(leak, "not tested").outcome == "not tested"


def test_a_test_is_missing_until_one_of_its_readings_is_there() -> None:
    draft = next(test for test in safety.required_tests("furnace") if test.name == "draft")
    assert missing_tests([draft], ["oxygen_dry"]) == (draft,)
    assert missing_tests([draft], ["draft_breech"]) == ()
