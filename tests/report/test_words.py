"""Numbers are rounded to their uncertainty, differences carry no offset, sources keep their doubt."""

from __future__ import annotations

import math
from datetime import date

import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fluewright.appliance import Judgement, Number
from fluewright.report import words
from fluewright.sources.limits import Citation
from fluewright.steady.words import change, digits
from fluewright.studies.audit import Audit
from fluewright.units import convert
from fluewright.visit import StatedAccuracy


def number(quantity: str, value: float, low: float = math.nan, high: float = math.nan) -> Number:
    return Number(quantity=quantity, value=value, low=low, high=high, origin="computed")


@pytest.mark.parametrize(
    ("quantity", "values", "system", "expected"),
    [
        ("efficiency_gross", (0.84567, 0.8412, 0.8507), "US", "84.6 (84.1 to 85.1) %"),
        ("excess_air", (0.47891, 0.31, 0.65), "US", "48 (31 to 65) %"),
        ("carbon_monoxide_air_free", (38.4e-6, 22.6e-6, 53.9e-6), "SI", "38 (23 to 54) ppm"),
        ("heat_input_clocked", (23_812.3, 23_400.0, 24_220.0), "US", "81,300 (79,800 to 82,600) Btu/h"),
        ("flue_temperature", (450.05, 447.05, 453.05), "SI", "176.9 (173.9 to 179.9) °C"),
        ("draft_breech", (-8.22, -9.2, -7.2), "US", "−0.033 (−0.037 to −0.029) in. w.c."),
        ("carbon_monoxide_ambient", (1e-6, 0.0, 3e-6), "US", "1 (0 to 3) ppm"),
        ("excess_air", (-0.0, -0.011, 0.011), "US", "0.0 (−1.1 to 1.1) %"),
    ],
)
def test_a_number_is_rounded_to_two_digits_of_its_half_width_and_no_further_than_the_nomenclature(
    quantity: str, values: tuple[float, float, float], system: words.System, expected: str
) -> None:
    assert words.amount(number(quantity, *values), system) == expected


@pytest.mark.parametrize(
    ("quantity", "values", "expected"),
    [
        ("efficiency_gross", (0.84567, 0.8412, 0.8502), "84.6 ± 0.5"),
        ("flue_temperature", (450.05, 447.05, 453.05), "350.4 ± 5.4"),  # a half-width in °F carries no offset
        ("carbon_monoxide_dry", (3e-6, 0.0, 12e-6), "3 (0 to 12)"),
        ("carbon_monoxide_dry", (4e-3, 4e-3, math.inf), "at least 4,000"),
        ("carbon_monoxide_dry", (40e-6,), "40"),
    ],
)
def test_an_interval_stands_as_plus_or_minus_where_both_sides_are_alike(
    quantity: str, values: tuple[float, ...], expected: str
) -> None:
    assert words.with_reach(number(quantity, *values), "US") == expected


@pytest.mark.law
@given(
    value=st.floats(1e3, 1e6),
    half=st.floats(10.0, 1e5),
)
def test_rounding_moves_a_number_by_at_most_a_twentieth_of_its_half_width(value: float, half: float) -> None:
    made = words.printed(number("heat_input_clocked", value, value - half, value + half), "US")
    shown = float(made.value.replace(",", "").replace("−", "-"))
    factor = convert(1.0, "W", "Btu/hour")
    # Half a unit of the second digit, or half a unit of the last decimal that the nomenclature allows.
    assert abs(shown - value * factor) <= max(0.05 * half * factor, 0.5) * (1 + 1e-6)


@pytest.mark.law
@given(value=st.floats(1e-6, 0.02))
def test_a_least_value_never_grows_by_rounding(value: float) -> None:
    made = words.printed(number("carbon_monoxide_dry", value, value, math.inf), "US")
    shown = float(made.value.removeprefix("at least ").replace(",", ""))
    assert made.value.startswith("at least ")
    assert made.interval == ""
    assert shown <= value * 1e6 + 0.5  # whole ppm: the nomenclature's last place
    assert shown >= 0.99 * value * 1e6 - 0.5


@pytest.mark.parametrize(
    ("quantity", "kelvin", "system", "expected"),
    [
        ("flue_temperature", 10.0, "US", "+18 °F"),
        ("flue_temperature", 10.0, "SI", "+10 K"),
        ("flue_temperature", -10.0, "US", "−18 °F"),
        ("flue_temperature", 0.0, "US", "0 °F"),
        ("temperature_rise", 10.0, "SI", "+10 K"),
        ("dew_point_margin", 10.0, "SI", "+10 K"),
        ("efficiency_gross", 0.006, "US", "+0.6 points"),
    ],
)
def test_a_difference_is_scaled_and_never_shifted(
    quantity: str, kelvin: float, system: words.System, expected: str
) -> None:
    assert words.amount(number(quantity, kelvin), system, change=True) == expected


def test_a_range_says_its_unit_once_and_an_open_end_in_words() -> None:
    assert words.span("temperature_rise", 35 / 1.8, 65 / 1.8, "US") == "35 to 65 °F"
    assert words.span("carbon_monoxide_air_free", math.nan, 400e-6, "US") == "at most 400 ppm"
    assert words.span("dew_point_margin", 0.0, math.nan, "US") == "at least 0 °F"
    assert words.span("heat_input_ratio", -math.inf, 1.02, "SI") == "at most 102 %"


def judged(role: str, outcome: str, **ends: float) -> Judgement:
    return Judgement(
        rule="rule",
        subject="carbon_monoxide_dry",
        test_point="as left",
        outcome=outcome,  # type: ignore[arg-type]
        weight="",
        headline="",
        measured=number("carbon_monoxide_dry", 30e-6),
        role=role,
        **ends,
    )


def test_a_trigger_that_is_not_exceeded_is_never_called_within() -> None:
    assert words.outcome(judged("trigger", "within", limit_high=1e-3)) == "not exceeded"
    assert words.outcome(judged("limit", "within", limit_high=1e-3)) == "within"
    assert words.limit(judged("trigger", "within", limit_high=1.2e-3), "US") == "above 1,200 ppm"
    assert words.limit(judged("trigger", "within", limit_low=10e-6), "US") == "below 10 ppm"
    assert words.limit(judged("limit", "within", limit_high=400e-6), "US") == "at most 400 ppm"
    assert words.limit(judged("trigger", "beyond"), "US") == ""
    both = judged("trigger", "within", limit_low=1e-4, limit_high=1e-4)
    assert words.limit(both, "US") == "other than 100 ppm"


def cited(status: str, note: str = "", jurisdiction: str = "United States") -> Citation:
    return Citation(
        source="Some code",
        edition="2018",
        jurisdiction=jurisdiction,
        place="table 1",
        status=status,
        note=note,
    )


def test_a_limit_whose_text_was_not_seen_says_so_however_short_the_place() -> None:
    for make in (words.source, words.short_source):
        assert "to be checked against the edition in force" in make(cited("memory"))
        assert "as quoted" in make(cited("quoted", "a text"))
        assert "2018" in make(cited("read"))
    chosen = words.source(cited("chosen", "because of this", "none: no authority stands behind it"))
    assert "no authority stands behind it" in chosen
    assert "because of this" in chosen


@pytest.mark.parametrize(
    ("stated", "quantity", "system", "expected"),
    [
        (
            StatedAccuracy(instrument="a", absolute=10e-6, of_reading=0.05),
            "carbon_monoxide_dry",
            "US",
            "± 10 ppm or 5 % of reading",
        ),
        (StatedAccuracy(instrument="a", absolute=0.002), "oxygen_dry", "US", "± 0.2 %"),
        (
            StatedAccuracy(instrument="a", absolute=5 / 3, of_reading=0.005),
            "flue_temperature",
            "US",
            "± 3 °F or 0.5 % of reading",
        ),
        (StatedAccuracy(instrument="a", absolute=1.5), "flue_temperature", "SI", "± 1.5 K"),
        (StatedAccuracy(instrument="a", of_reading=0.02), "water_volume_flow", "SI", "± 2 % of reading"),
        (StatedAccuracy(instrument="a"), "oxygen_dry", "SI", "no figure stated"),
    ],
)
def test_an_accuracy_is_printed_in_the_units_of_the_report(
    stated: StatedAccuracy, quantity: str, system: words.System, expected: str
) -> None:
    assert words.accuracy(stated, quantity, system) == expected


def test_times_are_those_of_the_visit_and_dates_those_of_its_reader() -> None:
    summer = pd.Timestamp("2026-07-01T14:04:30Z")
    assert words.clock(summer, "America/New_York") == "10:04:30"
    assert words.clock(summer, "Europe/Berlin") == "16:04:30"
    assert words.day(date(2026, 1, 4), "US") == "January 4, 2026"
    assert words.day(date(2026, 1, 4), "SI") == "4 January 2026"


def test_sentences_lists_and_names() -> None:
    assert words.joined([]) == ""
    assert words.joined(["a"]) == "a"
    assert words.joined(["a", "b", "c"]) == "a, b and c"
    assert words.sentence("the flue was cold") == "The flue was cold."
    assert words.sentence("Was it?") == "Was it?"
    assert words.sentence("") == ""
    assert words.together("", "a", "", "b") == "a; b"
    assert words.brief("x" * 10, 5) == "xxxx…"
    assert len(words.short_name("y\n" * 100)) == 40
    assert "\n" not in words.short_name("y\n" * 100)


def test_the_sentence_on_uncertainty_names_the_instrument_and_no_other_thing_as_one(hall: Audit) -> None:
    point = hall.points[-1]
    said = words.matters_most(hall, point)
    first = point.contributions["efficiency_gross"][0]
    assert f"{100 * first.share:.0f} %" in said
    assert first.group[1:] in said
    assert "Flue-gas analyzer" in said


def test_the_state_in_a_basis_follows_the_units_of_the_visit() -> None:
    basis = "gross; flue losses only; heat above 25 °C"
    assert words.in_system(basis, "US") == "gross; flue losses only; heat above 77 °F"
    assert words.in_system(basis, "SI") == basis
    assert words.in_system("15.56 °C, 101.325 kPa, dry", "US") == "60 °F, 14.696 psia, dry"


def test_a_negative_number_has_a_minus_and_a_difference_of_temperatures_is_in_kelvin() -> None:
    assert digits(-12.34) == "−12"
    assert digits(-0.0456) == "−0.046"
    assert change("flue_temperature", -1.5, "SI") == "−1.5 K"
    assert change("flue_temperature", -1.5, "US") == "−2.7 °F"
