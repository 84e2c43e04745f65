"""Requests: what can be asked, and that a wrong one ends in one clear message."""

from __future__ import annotations

import json
from collections.abc import Callable
from importlib import resources
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError

from fluewright.errors import InputError, UnknownNameError
from fluewright.studies.fuel_switch import (
    FuelSwitch,
    Request,
    fuel_switch,
    read_request,
    request_from_visit,
    request_schema,
)

from .conftest import DEMO, ROOT

Study = Callable[[dict[str, Any]], FuelSwitch]
MINIMAL = """
[study]
date = 2026-03-02
[site]
name = "Harrow Lane hall"
[appliance]
rated_input = "80000 Btu/h"
[present]
name = "natural gas"
[[proposed]]
name = "propane"
"""


def written(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "request.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_a_few_lines_are_enough_and_what_was_not_said_is_listed(tmp_path: Path) -> None:
    study = fuel_switch(read_request(written(tmp_path, MINIMAL)))
    subjects = {one.subject for one in study.assumptions}
    assert {
        "oxygen_dry",
        "flue_temperature",
        "air_temperature",
        "barometric_pressure",
        "manifold_pressure",
    } <= subjects
    assert all(one.why for one in study.assumptions)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (('name = "propane"', 'name = "propan"'), "there is no fuel 'propan'; did you mean 'propane'"),
        (
            ('name = "propane"', 'blend = { propane = 0.7, "natural gas" = 0.5 }'),
            "shares of a blend sum to 1.2, not to 1",
        ),
        (('name = "propane"', "composition = { CH4 = 0.5 }"), "sums to 0.5, not to 1"),
        (('name = "propane"', 'name = "propane"\nblend = { propane = 1.0 }'), "given by name and blend"),
        (('name = "propane"', "label = 'x'"), "a fuel is given by nothing"),
        (
            ('rated_input = "80000 Btu/h"', ""),
            "rated_input is missing; the study needs the input on the nameplate",
        ),
        (('rated_input = "80000 Btu/h"', 'rated_input = "0 Btu/h"'), "the rated input is 0 W"),
        (('rated_input = "80000 Btu/h"', "rated_input = 80000"), "has no unit"),
        (
            ('rated_input = "80000 Btu/h"', 'rated_input = "80000 degF"'),
            "needs a unit like 'Btu/hour' or 'kW'",
        ),
        (("[site]", '[site]\ncolour = "red"'), "site.colour is not known here"),
        (('name = "propane"', 'name = "natural gas"'), "two fuels are called 'natural gas'"),
        (("date = 2026-03-02", 'date = "soon"'), "study.date is 'soon'"),
        (
            ("[present]", '[present]\nprice = { amount = 1, per = "degF", currency = "USD" }'),
            "says nothing of heat",
        ),
        (("[site]", "[site"), "is not TOML"),
        (
            ('rated_input = "80000 Btu/h"', 'rated_input = "80000 Btu/h"\norifice = "#99"'),
            "there is no drill size '#99'",
        ),
        (
            ("[present]", '[conditions.accuracy]\nwind = "1 percent"\n[present]'),
            "an accuracy of 'wind' is given: accuracies are of the conditions",
        ),
    ],
)
def test_a_wrong_request_ends_in_one_clear_message(
    tmp_path: Path, change: tuple[str, str], said: str
) -> None:
    with pytest.raises(InputError, match=r"request\.toml") as caught:
        read_request(written(tmp_path, MINIMAL.replace(*change)))
    assert said in str(caught.value)
    assert "\n" not in str(caught.value)


def test_all_problems_come_at_once(tmp_path: Path) -> None:
    text = (
        MINIMAL.replace("date = 2026-03-02", "")
        .replace('"propane"', '"propan"')
        .replace('name = "Harrow Lane hall"', "")
    )
    with pytest.raises(
        InputError,
        match=r"3 to put right: 1\. study\.date is missing; 2\. site\.name is missing; 3\. proposed",
    ):
        read_request(written(tmp_path, text))


@pytest.mark.parametrize(
    ("conditions", "said"),
    [
        ({"oxygen_dry": "20.5 percent"}, "between 0 and 20 % oxygen"),
        ({"flue_temperature": "-10 degC"}, "below that of the combustion air"),
        ({"flue_temperature": "1500 degC"}, "no flue of such an appliance"),
    ],
)
def test_conditions_of_no_running_appliance_are_refused(
    asked: dict[str, Any], study: Study, conditions: dict[str, str], said: str
) -> None:
    asked["conditions"] |= conditions
    with pytest.raises(InputError, match=said):
        study(asked)


def test_orifices_that_cannot_pass_the_heat_input_are_refused(asked: dict[str, Any], study: Study) -> None:
    asked["appliance"] |= {"orifice": "#60", "orifices": 4}
    with pytest.raises(InputError, match=r"only with a discharge coefficient of 3\.2"):
        study(asked)


def test_a_liquid_of_unknown_heat_cannot_be_priced(asked: dict[str, Any], study: Study) -> None:
    asked["present"] |= {"price": {"amount": 1, "per": "gallon", "currency": "USD", "sold_as": "liquid"}}
    with pytest.raises(InputError, match="heat of a liquid volume of natural gas is not known"):
        study(asked)


@pytest.mark.law
def test_a_price_is_the_same_however_it_is_counted(asked: dict[str, Any], study: Study) -> None:
    def cost(price: dict[str, Any]) -> float:
        asked["proposed"] = [{"name": "propane", "price": {"currency": "USD", **price}}]
        return study(asked).proposed[0].same_oxygen.numbers["cost_per_heat_delivered"].value

    per_heat = cost({"amount": 2.0, "per": "therm"})
    assert cost({"amount": 20.0, "per": "MMBtu"}) == pytest.approx(per_heat)
    # 91,000 Btu a gallon by Table C-1.
    assert cost({"amount": 2.0 * 0.91, "per": "gallon", "sold_as": "liquid"}) == pytest.approx(per_heat)


def test_a_given_accuracy_narrows_the_interval(asked: dict[str, Any], study: Study) -> None:
    def width() -> float:
        found = study(asked).present.same_oxygen.numbers["excess_air"]
        return found.high - found.low

    wide = width()
    asked["conditions"]["accuracy"] = {"oxygen_dry": "0.1 percent"}
    assert width() < 0.5 * wide


def test_rating_falls_with_altitude_and_by_the_practice_named(asked: dict[str, Any], study: Study) -> None:
    asked["site"] = {"name": "up", "elevation": "5000 foot"}
    assert study(asked).givens.heat_input == pytest.approx(0.80 * 20e3)
    asked["site"]["altitude_practice"] = "as rated"
    assert study(asked).givens.heat_input == pytest.approx(20e3)
    asked["site"]["altitude_practice"] = "by feel"
    with pytest.raises(ValidationError, match="altitude_practice"):
        study(asked)


def test_the_schema_published_is_that_of_the_model() -> None:
    text = (
        resources.files("fluewright.studies.fuel_switch")
        .joinpath("request.schema.json")
        .read_text(encoding="utf-8")
    )
    assert json.loads(text) == request_schema()


def test_a_request_written_out_and_read_again_is_the_same(tmp_path: Path) -> None:
    first = read_request(DEMO)
    assert first.study.date.year == 2026
    assert Request.model_fields.keys() >= {"present", "proposed", "conditions"}
    with pytest.raises(InputError, match="cannot be read"):
        read_request(tmp_path / "absent.toml")
    with pytest.raises(InputError, match="is a folder"):
        read_request(tmp_path)


def test_a_visit_gives_conditions_as_tested() -> None:
    request = request_from_visit(ROOT / "data-demo" / "hall-furnace", to=["propane"])
    assert request.conditions.source == "as tested, as left"
    assert request.conditions.oxygen_dry == pytest.approx(0.072, abs=0.002)
    assert set(request.conditions.accuracy) >= {"oxygen_dry", "flue_temperature", "air_temperature"}
    assert request.present.called == "natural gas"
    made = fuel_switch(request)
    assert "oxygen_dry" not in {one.subject for one in made.assumptions}


def test_a_visit_that_ended_in_a_stop_says_so_first() -> None:
    request = request_from_visit(ROOT / "data-demo" / "workshop-heater", to=["natural gas"])
    assert "Leave it off" in request.warning
    assert "puts none of this right" in request.warning
    assert "assumed, not tested" in request.warning


@pytest.mark.parametrize(
    ("to", "error", "said"),
    [
        ([], InputError, "no fuel to go to is named"),
        (["naturel gas"], UnknownNameError, "did you mean 'natural gas'"),
    ],
)
def test_a_visit_needs_known_fuels_to_go_to(to: list[str], error: type[Exception], said: str) -> None:
    with pytest.raises(error, match=said):
        request_from_visit(ROOT / "data-demo" / "workshop-heater", to=to)


def test_a_visit_without_a_nameplate_input_is_refused(tmp_path: Path) -> None:
    source = ROOT / "data-demo" / "workshop-heater"
    for path in source.iterdir():
        (tmp_path / path.name).write_bytes(path.read_bytes())
    plan = (tmp_path / "visit.toml").read_text(encoding="utf-8")
    kept = "\n".join(line for line in plan.splitlines() if not line.startswith("rated_input"))
    (tmp_path / "visit.toml").write_text(kept, encoding="utf-8")
    with pytest.raises(InputError, match="rated_input is missing"):
        request_from_visit(tmp_path, to=["natural gas"])
