"""Practice visits: physics that balances, instruments that keep their word, folders whole or not at all."""

from __future__ import annotations

import json
import tomllib
from pathlib import Path

import numpy as np
import pytest

import fluewright as fw
from fluewright import sources, units
from fluewright.combustion import forward
from fluewright.errors import InputError, UnknownNameError
from fluewright.studies import practice
from fluewright.studies.practice import instruments
from fluewright.studies.practice.course import dry_air, lagged, simulate, wandering
from fluewright.studies.practice.truth import means_of
from fluewright.visit.schema import VisitFile

DEMO = Path(__file__).parents[2] / "data-demo"
DEMOS = ("hall-furnace", "laundry-boiler", "workshop-heater")
CLEAN = ("furnace", "boiler", "unit-heater")
AIR = {"O2": 0.2074, "AR": 0.0092, "N2": 0.7734, "H2O": 0.0100}


def _burn(
    air_ratio: object, unmixed: float = 0.004, fuel: dict[str, float] | None = None
) -> forward.BurntGas:
    ratio = np.atleast_1d(np.asarray(air_ratio, dtype=float))
    return forward.burn(
        fuel or {"CH4": 1.0},
        air=AIR,
        air_ratio=ratio,
        unmixed=np.full(len(ratio), unmixed),
        pocket_air_ratio=0.7,
        quench_temperature=1500.0,
        air_temperature=np.full(len(ratio), 298.15),
        pressure=101325.0,
    )


def _course(name: str, seed: int = 1, fault: str = "", severity: float = 1.0):
    return simulate(practice.scenario_plan(name, fault, severity), instruments.own_draw(seed, "flame"))


# ------------------------------------------------------------------------------------------------ the flame


@pytest.mark.law
@pytest.mark.parametrize("fuel", [{"CH4": 1.0}, {"C3H8": 0.97, "C2H6": 0.02, "N2": 0.01}])
@pytest.mark.parametrize("unmixed", [0.0, 0.004, 0.3])
def test_every_atom_that_goes_in_comes_out(fuel, unmixed):
    burnt = _burn([0.9, 1.0, 1.3, 2.5], unmixed, fuel)
    ratio = np.array([0.9, 1.0, 1.3, 2.5])
    carbon = fuel.get("CH4", 0) + 3 * fuel.get("C3H8", 0) + 2 * fuel.get("C2H6", 0)
    hydrogen = 4 * fuel.get("CH4", 0) + 8 * fuel.get("C3H8", 0) + 6 * fuel.get("C2H6", 0)
    air = (carbon + hydrogen / 4) / AIR["O2"] * ratio  # by hand: two atoms for each C, one half for each H
    m = burnt.moles
    np.testing.assert_allclose(m["CO2"] + m["CO"], carbon, rtol=1e-9)
    np.testing.assert_allclose(2 * (m["H2O"] + m["H2"]), hydrogen + 2 * air * AIR["H2O"], rtol=1e-9)
    oxygen = 2 * m["CO2"] + m["CO"] + m["H2O"] + 2 * m["O2"]
    np.testing.assert_allclose(oxygen, 2 * air * AIR["O2"] + air * AIR["H2O"], rtol=1e-9)
    np.testing.assert_allclose(2 * m["N2"], 2 * (air * AIR["N2"] + fuel.get("N2", 0)), rtol=1e-9)


@pytest.mark.law
def test_worse_mixing_makes_more_carbon_monoxide_and_leaves_oxygen():
    good, bad = _burn(1.3, 0.001).moles, _burn(1.3, 0.01).moles
    assert bad["CO"][0] > 5 * good["CO"][0]
    assert bad["O2"][0] > good["O2"][0]


@pytest.mark.published
def test_heats_of_formation_give_the_published_heating_values():
    # ISO 6976:2016 at 25 °C [kJ/mol], as quoted; its values and the mechanism's differ by up to 0.05 %.
    for fuel, gross in (("CH4", 890.58), ("C2H6", 1560.69), ("C3H8", 2219.17)):
        assert forward.formation_heat({fuel: 1.0}, temperature=298.15) == pytest.approx(1e3 * gross, rel=5e-4)
    net = forward.formation_heat({"CH4": 1.0}, temperature=298.15, condensed=False)
    assert net == pytest.approx(802.55e3, rel=5e-4)  # ISO 6976:2016 gross less two moles of water, as derived


@pytest.mark.published
def test_stoichiometric_methane_flame_is_as_hot_as_published():
    # Value from memory: about 2226 K, methane in dry air at 298 K and 1 atm; 1 % of water cools it a little.
    assert 2190 < _burn(1.0, 0.0).flame_temperature[0] < 2230


@pytest.mark.law
def test_enthalpy_polynomials_are_those_of_the_library():
    import cantera

    gas = cantera.Solution("gri30.yaml")
    for temperature in (280.0, 999.0, 1001.0, 2100.0):
        gas.TPX = temperature, 101325.0, "CO2:1, H2O:2, N2:7"
        ours = forward.enthalpy({"CO2": 0.1, "H2O": 0.2, "N2": 0.7}, temperature)
        assert ours == pytest.approx(gas.enthalpy_mole / 1e3, rel=1e-12)


@pytest.mark.law
def test_what_burns_forward_is_found_again_backward():
    from fluewright.combustion import Fuel, flue_gas

    ratio = np.array([1.05, 1.3, 1.8])
    burnt = forward.burn(
        {"CH4": 0.9, "C2H6": 0.1},
        air={**{name: share * 0.985 for name, share in dry_air().items()}, "H2O": 0.015},
        air_ratio=ratio,
        unmixed=np.full(3, 0.02),
        pocket_air_ratio=0.7,
        quench_temperature=1500.0,
        air_temperature=np.full(3, 290.0),
        pressure=99000.0,
    )
    whole = sum(amount for name, amount in burnt.moles.items() if name != "H2O")
    flue = flue_gas(
        Fuel(composition={"CH4": 0.9, "C2H6": 0.1}, name="test"),
        oxygen_dry=burnt.moles["O2"] / whole,
        carbon_monoxide_dry=burnt.moles["CO"] / whole,
        hydrogen_dry=burnt.moles["H2"] / whole,
        air_water_fraction=0.015,
        pressure=99000.0,
    )
    np.testing.assert_allclose(flue.excess_air, ratio - 1, atol=1e-9)
    np.testing.assert_allclose(flue.carbon_dioxide_dry, burnt.moles["CO2"] / whole, rtol=1e-9)
    wet = burnt.moles["H2O"] / (whole + burnt.moles["H2O"]) * 99000.0
    np.testing.assert_allclose(flue.water_dew_point, forward.water_dew_point(wet), atol=0.1)


def test_too_little_air_is_an_error():
    with pytest.raises(InputError, match="air_ratio must be above"):
        _burn(0.2)


# ------------------------------------------------------------------------------------------------ the course


@pytest.mark.law
@pytest.mark.parametrize("name", CLEAN)
def test_heat_delivered_and_heat_lost_add_up_to_heat_put_in(name):
    plan, course = practice.scenario_plan(name, "", 1.0), _course(name)
    true = course.true
    rows = slice(-400, -200) if name == "furnace" else slice(-250, -100)
    burning = true["burning"][rows] > 0.5
    input_, output = true["heat_input"][rows][burning], true["heat_output"][rows][burning]
    loss = (1 - true["efficiency_gross"][rows][burning] + plan["casing"]) * input_
    assert np.mean(output + loss) == pytest.approx(np.mean(input_), rel=2e-3)


@pytest.mark.law
def test_input_rises_with_the_square_root_of_pressure():
    once, four = _course("furnace"), _course("furnace", fault="over-fired", severity=np.log(4) / np.log(1.35))
    box = float(once.set["burner_box_pressure"][0])
    manifold = float(once.set["manifold_pressure"][0])
    expected = np.sqrt((4 * manifold - box) / (manifold - box))
    ratio = np.max(four.true["heat_input"]) / np.max(once.true["heat_input"])
    assert ratio == pytest.approx(expected, rel=1e-9)


@pytest.mark.law
def test_excess_air_and_the_gas_it_leaves_agree_by_element_balance():
    course = _course("furnace")
    rows = course.true["burning"] > 0.5
    oxygen, ratio = course.true["oxygen_flue_dry"][rows], course.true["air_ratio"][rows]
    # Natural gas in dry air: O2 by hand from CH4 alone is within 0.3 points of the true mixture.
    rough = 2 * (ratio - 1) / (1 + 2 * ratio / 0.2095 - 2)
    assert np.max(np.abs(rough - oxygen)) < 0.003


@pytest.mark.law
def test_the_condensing_boiler_condenses_and_the_furnace_does_not():
    boiler, furnace = _course("laundry-boiler").true, _course("hall-furnace").true
    late = boiler["burning"] > 0.5
    late[:500] = False
    assert np.all(boiler["stack_temperature"][late] < boiler["water_dew_point"][late])
    assert np.all(boiler["condensed_fraction"][late] > 0.05)
    assert np.nanmax(furnace["condensed_fraction"][200:500]) == 0


@pytest.mark.law
def test_a_lag_reaches_63_percent_after_its_time_constant():
    step = lagged(np.concatenate([[0.0], np.ones(200)]), 40.0, 2.0)
    assert step[20] == pytest.approx(1 - np.exp(-1), abs=1e-9)
    assert step[0] == 0


@pytest.mark.law
def test_wandering_noise_has_the_deviation_and_memory_asked():
    noise = wandering(np.random.default_rng(5), 200_000, 20.0, 2.0)
    assert np.std(noise) == pytest.approx(1.0, abs=0.03)
    assert np.corrcoef(noise[:-10], noise[10:])[0, 1] == pytest.approx(np.exp(-1), abs=0.04)


# ------------------------------------------------------------------------------------------------ instruments


def test_sensor_errors_stay_within_what_the_maker_states():
    for name, entry in sources.table("practice")["instruments"].items():
        for quantity, accuracy in entry["accuracy"].items():
            if not {"absolute", "of_reading"} & accuracy.keys():
                continue  # a switch has no error
            value = np.array([0.05, 0.1]) if "dry" in quantity else np.array([320.0, 400.0])
            stated = instruments._stated_error(accuracy, value, quantity)
            errors = np.array([instruments.bias(name, quantity, value, seed) for seed in range(40)])
            assert np.all(np.abs(errors) <= stated * (1 + 1e-12)), (name, quantity)
            assert np.max(np.abs(errors)) > 0.5 * np.max(stated), (name, quantity)


def test_each_sensor_draws_its_own_error_and_a_zeroed_cell_is_right_in_fresh_air():
    fresh, flue = np.array([0.2095]), np.array([0.05])
    assert instruments.bias("analyzer", "oxygen_dry", fresh, 1) == pytest.approx(0, abs=1e-12)
    draws = {instruments.bias("analyzer", q, flue, 1)[0] for q in ("oxygen_dry", "carbon_monoxide_dry")}
    assert len(draws) == 2


def test_above_its_range_an_instrument_writes_a_word_and_never_a_number():
    accuracy = sources.table("practice")["instruments"]["analyzer"]["accuracy"]["carbon_monoxide_dry"]
    texts = instruments.written(np.array([-3e-6, 3.9e-3, 4.1e-3]), accuracy, "carbon_monoxide_dry", "ppm")
    assert texts == ["0", "3900", "OVER"]


# ------------------------------------------------------------------------------------------------ the truth


def _taken(name: str, start: float, end: float):
    plan, course = practice.scenario_plan(name, "", 1.0), _course(name)
    return means_of({"start": start, "end": end}, plan, course), course


@pytest.mark.law
def test_true_heat_output_is_what_the_air_takes_up_with_the_blowers():
    true, course = _taken("furnace", 1400, 1700)
    moist = 1.006e3 * (1 + 0.005)  # J/(kg K), of air with a little water; handbook value from memory
    density = course.true["barometric_pressure"][0] / (287.05 * course.true["return_temperature"][750])
    by_hand = course.true["air_volume_flow"][750] * density * moist * true["temperature_rise"]["value"]
    assert true["heat_output"]["value"] == pytest.approx(by_hand, rel=0.01)
    blower = course.true["electric_power"][750]
    assert blower > 0.02 * by_hand  # so that this test would notice if it were left out


@pytest.mark.parametrize("quantity", ["oxygen_dry", "carbon_dioxide_dry", "carbon_monoxide_dry"])
def test_true_dry_gases_are_those_that_a_faultless_instrument_shows(quantity):
    true, course = _taken("boiler", 1000, 1300)
    rows = slice(round(1000 / 2), round(1300 / 2))
    assert course.time[rows][0] == 1000
    shown = np.array([instruments.sensed(course, "analyzer_si", quantity, seed) for seed in range(1, 40)])
    errors = [instruments.bias("analyzer_si", quantity, shown[0], seed) for seed in range(1, 40)]
    assert np.mean((shown - errors)[:, rows]) == pytest.approx(true[quantity]["value"], rel=3e-3)


def test_truth_over_a_window_is_of_all_its_rows():
    true, course = _taken("unit-heater", 300, 1500)  # the room warms all the while
    rows = (course.time >= 300) & (course.time < 1500)
    assert true["air_temperature"]["value"] == pytest.approx(
        np.mean(course.true["room_temperature"][rows]), abs=1e-4
    )


# ------------------------------------------------------------------------------------------------ the folder


@pytest.mark.parametrize("name", DEMOS)
def test_demo_visits_are_what_the_command_makes(name, tmp_path):
    made = practice.practice_visit(tmp_path / name, scenario=name, seed=1)
    kept = DEMO / name
    assert sorted(p.name for p in kept.iterdir()) == sorted(p.name for p in made.folder.iterdir())
    for path in made.folder.iterdir():
        assert path.read_bytes() == (kept / path.name).read_bytes(), path.name
    assert made.truth.read_bytes() == (DEMO / "truth" / f"{name}.json").read_bytes()


@pytest.mark.parametrize("name", practice.scenario_names())
def test_every_visit_file_keeps_the_schema(name, tmp_path):
    made = practice.practice_visit(tmp_path / name, scenario=name, seed=7)
    plan = VisitFile.model_validate(tomllib.loads((made.folder / "visit.toml").read_text(encoding="utf-8")))
    assert [log.file for log in plan.logs] == sorted(
        (p.name for p in made.folder.glob("*.csv")), key=[log.file for log in plan.logs].index
    )
    assert all(path.stat().st_size < 400_000 for path in made.folder.iterdir())


@pytest.mark.parametrize("name", CLEAN)
def test_every_fault_of_a_scenario_moves_the_truth_or_the_readings(name, tmp_path):
    sound = practice.practice_visit(tmp_path / "sound", scenario=name, seed=2)
    before = {p.name: p.read_bytes() for p in sound.folder.iterdir()}
    for fault in practice.fault_names(name):
        made = practice.practice_visit(tmp_path / fault, scenario=name, seed=2, fault=fault)
        after = {p.name: p.read_bytes() for p in made.folder.iterdir()}
        body = {n: b.split(b"\n", 3)[-1] if n == "visit.toml" else b for n, b in after.items()}
        assert body != {n: b.split(b"\n", 3)[-1] if n == "visit.toml" else b for n, b in before.items()}, (
            fault
        )
        assert json.loads(made.truth.read_text())["faults"] == {fault: 1.0}


def _steady(
    tmp_path: Path, fault: str, name: str = "furnace", severity: float = 1.0
) -> dict[str, float | None]:
    place = tmp_path / f"{fault or 'sound'}-{severity:g}"
    made = practice.practice_visit(place, scenario=name, seed=4, fault=fault or None, severity=severity)
    point = json.loads(made.truth.read_text())["test_points"]["as found"]
    return {key: entry["value"] for key, entry in point.items() if isinstance(entry, dict)}


@pytest.mark.law
def test_faults_act_in_the_direction_physics_gives_them(tmp_path):
    sound = _steady(tmp_path, "")
    over = _steady(tmp_path, "over-fired")
    assert over["heat_input_ratio"] > 1.1 > sound["heat_input_ratio"]
    assert over["excess_air"] < sound["excess_air"]
    assert over["carbon_monoxide_air_free"] > sound["carbon_monoxide_air_free"]
    starved = _steady(tmp_path, "low-excess-air")
    assert starved["carbon_monoxide_air_free"] > 400e-6 > sound["carbon_monoxide_air_free"]
    leak = _steady(tmp_path, "leaking-probe")
    assert leak["excess_air"] == sound["excess_air"]
    assert leak["oxygen_dry_at_probe"] > sound["oxygen_dry_at_probe"] + 0.02
    wet = _steady(tmp_path, "condensing-vent")
    assert wet["flue_temperature"] < wet["water_dew_point"]
    blocked = _steady(tmp_path, "blocked-vent", "unit-heater")
    assert blocked["carbon_monoxide_ambient"] > 9e-6
    assert _steady(tmp_path, "never-settles")["settling_time"] is None
    assert sound["settling_time"] is not None


@pytest.mark.law
@pytest.mark.parametrize("name", ["furnace", "unit-heater"])
def test_a_cracked_exchanger_shows_in_the_oxygen_when_the_blower_starts(tmp_path, name):
    made = {
        fault: practice.practice_visit(tmp_path / (fault or "sound"), scenario=name, seed=5, fault=fault)
        for fault in ("cracked-heat-exchanger", None)
    }
    found = {}
    for fault, visit in made.items():
        audit = fw.audit(fw.open_visit(visit.folder))
        found[fault] = next(one for one in audit.judgements if one.rule == "oxygen_shift")
    assert found["cracked-heat-exchanger"].weight == "correct"
    assert found[None].weight == ""
    # 0.14 mol of air in each mole of flue gas: of 6 to 8 % of oxygen it makes some 1.7 points more.
    shift = found["cracked-heat-exchanger"].measured
    assert shift.low < 0.14 * (0.2095 - 0.07) / 1.14 < shift.high


@pytest.mark.law
def test_a_more_severe_fault_goes_further(tmp_path):
    mild, severe = (_steady(tmp_path, "over-fired", severity=level) for level in (0.5, 1.5))
    assert mild["heat_input_ratio"] < severe["heat_input_ratio"]


def test_the_dangerous_visit_is_dangerous(tmp_path):
    made = practice.practice_visit(tmp_path / "heater", scenario="workshop heater", seed=1)
    assert b",OVER," in (made.folder / "flue.csv").read_bytes()
    room = [int(row.split(",")[1]) for row in (made.folder / "room.csv").read_text().splitlines()[1:]]
    assert room[0] < 9
    assert max(room) >= 70


def test_the_hall_is_over_fired_as_found_and_corrected_as_left():
    points = json.loads((DEMO / "truth" / "hall-furnace.json").read_text())["test_points"]
    found, left = points["as found"], points["as left"]
    assert found["heat_input_ratio"]["value"] > 1.08 > 1.0 > left["heat_input_ratio"]["value"] > 0.95
    most = units.convert(65.0, "delta_degF", "delta_degC")
    assert found["temperature_rise"]["value"] > most > left["temperature_rise"]["value"]
    assert 150e-6 < found["carbon_monoxide_air_free"]["value"] < 400e-6
    assert left["carbon_monoxide_air_free"]["value"] < 60e-6


def test_logs_are_written_as_their_instruments_would(tmp_path):
    hall = practice.practice_visit(tmp_path / "hall", scenario="hall-furnace", seed=3).folder
    assert (hall / "flue.csv").read_text().splitlines()[4].startswith("01/14/2026 10:02:00 AM,20.")
    assert (hall / "air.csv").read_text().splitlines()[1] == ",degF,degF,on"
    laundry = practice.practice_visit(tmp_path / "laundry", scenario="laundry-boiler", seed=3).folder
    assert (laundry / "flue.csv").read_bytes().startswith(b"\xef\xbb\xbfDay;Clock;O2 dry [%]")
    assert (laundry / "flue.csv").read_text("utf-8-sig").splitlines()[1].startswith("03.02.2026;13:40:00;20,")
    assert "Supply [°C]" in (laundry / "water.csv").read_text("latin-1")


def test_seeds_differ_and_the_same_seed_does_not(tmp_path):
    made = [
        practice.practice_visit(tmp_path / f"v{n}", scenario="boiler", seed=s) for n, s in enumerate((1, 2))
    ]
    again = practice.practice_visit(tmp_path / "again" / "v0", scenario="boiler", seed=1)
    logs = [(visit.folder / "flue.csv").read_bytes() for visit in (*made, again)]
    assert logs[0] != logs[1]
    assert logs[0] == logs[2]


def test_a_random_fault_follows_the_seed(tmp_path):
    made = [
        practice.practice_visit(tmp_path / str(n), scenario="furnace", seed=s, fault="random").fault
        for n, s in enumerate((11, 11, 12, 13, 14))
    ]
    assert made[0] == made[1]
    assert len(set(made)) > 1


def test_the_truth_is_not_in_the_folder_nor_named_in_it(tmp_path):
    made = practice.practice_visit(tmp_path / "a", scenario="furnace", seed=1, fault="random")
    text = (made.folder / "visit.toml").read_text()
    assert made.fault not in text
    assert sorted(p.name for p in made.folder.iterdir()) == ["air.csv", "flue.csv", "visit.toml"]


# ------------------------------------------------------------------------------------------------ refusals


@pytest.mark.parametrize(
    ("arguments", "error", "message"),
    [
        ({"scenario": "hall furnase"}, UnknownNameError, "did you mean 'hall-furnace'"),
        ({"scenario": "furnace", "fault": "over fire"}, UnknownNameError, "did you mean 'over-fired'"),
        ({"scenario": "boiler", "fault": "dirty filter"}, InputError, "it fits furnace"),
        ({"scenario": "hall-furnace", "fault": "random"}, InputError, "no fault can be planted"),
        ({"seed": -1}, InputError, "whole number from 0"),
        ({"seed": 2**40}, InputError, "whole number from 0"),
        ({"seed": 1.5}, InputError, "whole number from 0"),
        ({"severity": 0.0}, InputError, "must be above 0"),
        ({"severity": float("nan")}, InputError, "must be above 0"),
    ],
)
def test_what_cannot_be_made_is_refused_and_nothing_written(tmp_path, arguments, error, message):
    with pytest.raises(error, match=message):
        practice.practice_visit(tmp_path / "visit", **arguments)
    assert list(tmp_path.iterdir()) == []


def test_an_occupied_place_is_refused_and_left_alone(tmp_path):
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("mine")
    with pytest.raises(InputError, match="full is not empty"):
        practice.practice_visit(tmp_path / "full")
    assert [p.name for p in (tmp_path / "full").iterdir()] == ["notes.txt"]
    (tmp_path / "file").write_text("mine")
    with pytest.raises(InputError, match="is a file"):
        practice.practice_visit(tmp_path / "file")
    (tmp_path / "truth").mkdir()
    (tmp_path / "truth" / "visit.json").write_text("{}")
    with pytest.raises(InputError, match="is there already"):
        practice.practice_visit(tmp_path / "visit")
    assert not (tmp_path / "visit").exists()


def test_a_failed_write_leaves_nothing_behind(tmp_path):
    (tmp_path / "truth").write_text("a file where a folder must be")
    with pytest.raises(InputError, match="cannot be written"):
        practice.practice_visit(tmp_path / "visit")
    assert [p.name for p in tmp_path.iterdir()] == ["truth"]
