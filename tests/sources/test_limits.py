"""The safety data: complete, without gaps, honest about where it comes from, and pinned digit by digit."""

import copy
import hashlib
import tomllib
from importlib import resources

import numpy as np
import pytest

from fluewright.errors import InputError, UnitError, UnknownNameError
from fluewright.sources import limits as safety
from fluewright.sources import quantities

FILES = ("limits", "appliance_types", "usual_ranges", "cautions")
STATUSES = {"read", "quoted", "memory", "chosen"}


def data(name):
    text = resources.files("fluewright.sources").joinpath(f"{name}.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)


def edited(name, *path, to):
    """Return the table with the value at `path` replaced, or removed where `to` is None."""
    table = copy.deepcopy(data(name))
    *way, last = path
    entry = table
    for key in way:
        entry = entry[key]
    assert last in entry or to is not None
    if to is None:
        del entry[last]
    else:
        entry[last] = to
    return table


def citations():
    for limit in safety.limits().values():
        yield limit.name, limit.citation
        for tier in limit.tiers:
            yield limit.name, tier.citation
    for check in safety.checks().values():
        yield check.name, check.citation
    for kind in safety.appliance_types().values():
        for test in (*kind.required, *kind.recommended):
            yield test.name, test.citation
    for found in safety.usual_ranges().values():
        yield found.name, found.citation


# ------------------------------------------------------------------------------------- tiers and thresholds


@pytest.mark.law
def test_every_ambient_reading_falls_in_exactly_one_step():
    ambient = safety.limits()["carbon_monoxide_ambient"]
    edges = [-np.inf, *(tier.value for tier in ambient.tiers), np.inf]
    weights = [None, *(tier.weight for tier in ambient.tiers)]
    for ppm in np.arange(0, 2000.5, 0.5):
        value = ppm * 1e-6
        inside = [
            weight
            for low, high, weight in zip(edges[:-1], edges[1:], weights, strict=True)
            if low < value <= high
        ]
        assert len(inside) == 1
        found = safety.tier_of(ambient, value)
        assert (found.weight if found else None) == inside[0]


@pytest.mark.parametrize(
    ("ppm", "weight"),
    [
        (0, None), (9, None), (9.1, "note"), (35, "note"), (35.5, "correct"), (36, "correct"),
        (69, "correct"), (69.5, "stop"), (70, "stop"), (10_000, "stop"),
    ],
)  # fmt: skip
def test_ambient_ladder_has_no_gap_between_its_steps(ppm, weight):
    found = safety.tier_of(safety.limits()["carbon_monoxide_ambient"], ppm * 1e-6)
    assert (found.weight if found else None) == weight


@pytest.mark.law
def test_the_ladder_of_the_flue_ends_in_stop_for_every_type():
    for name in safety.appliance_types():
        for flue in ("carbon_monoxide_air_free", "carbon_monoxide_dry"):
            found = safety.limits_for(flue, appliance_type=name)
            stops = [tier.value for limit in found for tier in limit.tiers if tier.weight == "stop"]
            assert stops
            lesser = [t.value for limit in found for t in limit.tiers if limit.role == "limit"]
            assert all(value < min(stops) for value in lesser)


def test_a_reading_equal_to_the_limit_is_not_beyond_it():
    limit = safety.limits()["carbon_monoxide_air_free_furnace"]
    assert safety.tier_of(limit, 400e-6) is None
    assert safety.tier_of(limit, 400.5e-6).weight == "correct"


def test_a_minimum_is_exceeded_from_below():
    limit = safety.limits()["dew_point_margin"]
    assert safety.tier_of(limit, 0.1) is None
    assert safety.tier_of(limit, -0.1).weight == "correct"


# ------------------------------------------------------------------------------------- values from elsewhere


@pytest.mark.published
def test_furnace_limit_is_the_standards_four_hundredths_of_a_percent():
    # ANSI Z21.47-1993 / CAN/CGA-2.3-M93, clause 2.8.1: 0.04 percent in an air-free sample.
    limit = safety.limits()["carbon_monoxide_air_free_furnace"]
    assert limit.tiers[0].value == pytest.approx(0.04 / 100, rel=1e-9)
    assert limit.rule == "oxygen rule"


@pytest.mark.published
@pytest.mark.parametrize(
    ("fahrenheit", "pascal"), [(-20, -2.5), (10, -2.5), (50, -1.5), (90, -0.5), (110, -0.5)]
)
def test_draft_curve_is_the_analysts_formula(fahrenheit, pascal):
    # BPI technical standards: Tout/40 - 2.75 from 10 to 90 °F, level outside; value from memory.
    kelvin = (fahrenheit - 32) / 1.8 + 273.15
    for name in ("draft_breech_natural", "draft_hood_natural"):
        assert safety.limits()[name].at(kelvin) == pytest.approx(pascal, abs=1e-9)


def test_draft_curve_takes_arrays():
    kelvin = np.array([260.0, 300.0, 320.0])
    assert safety.limits()["draft_breech_natural"].at(kelvin).shape == (3,)


# ------------------------------------------------------------------------------------- which limits apply


def names(*args, **kwargs):
    return {limit.name for limit in safety.limits_for(*args, **kwargs)}


@pytest.mark.law
def test_no_type_borrows_its_neighbors_limit():
    for name, kind in safety.appliance_types().items():
        for required in kind.required:
            if not required.needs_limit:
                continue
            for wanted in required.any_of:
                own = [
                    found for found in safety.limits_for(wanted, appliance_type=name) if found.role == "limit"
                ]
                assert bool(own) != (wanted in kind.no_limit_known), (name, wanted)


def test_unit_heater_has_no_known_limit_but_can_be_stopped():
    found = safety.limits_for("carbon_monoxide_air_free", appliance_type="unit heater")
    assert [limit.role for limit in found] == ["trigger", "trigger"]
    assert {limit.weight for limit in found} == {"stop", "correct"}


def test_references_are_judged_only_where_asked_for():
    plain = names("carbon_monoxide_ambient", appliance_type="boiler")
    assert plain == {"carbon_monoxide_ambient"}
    assert {"osha_8h", "health_canada_1h"} <= names(
        "carbon_monoxide_ambient", appliance_type="boiler", references=True
    )


def test_a_condensing_appliance_may_run_wet():
    assert not names("dew_point_margin", appliance_type="boiler", condensing=True)
    assert names("dew_point_margin", appliance_type="boiler", condensing=False) == {
        "dew_point_margin",
        "dew_point_margin_small",
    }


def test_natural_draft_limit_spares_a_sealed_appliance_but_not_an_unstated_one():
    assert not names("draft_breech", appliance_type="furnace", draft="sealed")
    assert names("draft_breech", appliance_type="furnace", draft="natural")
    assert names("draft_breech", appliance_type="furnace", draft="")


# ------------------------------------------------------------------------------------- required tests


@pytest.mark.law
def test_every_required_test_can_be_measured_or_seen():
    for kind in safety.appliance_types().values():
        assert kind.required
        for test in (*kind.required, *kind.recommended):
            assert test.any_of
            assert all(name in quantities() or name in safety.checks() for name in test.any_of)


@pytest.mark.law
def test_every_type_asks_for_carbon_monoxide_in_flue_and_room_and_for_a_gas_leak():
    for name in safety.appliance_types():
        wanted = {test.name for test in safety.required_tests(name)}
        assert {"carbon_monoxide_ambient", "gas_leak", "visual_inspection"} <= wanted
        assert wanted & {"carbon_monoxide_air_free", "carbon_monoxide_dry"}


def test_what_is_not_stated_is_required():
    unstated = {test.name for test in safety.required_tests("boiler")}
    sealed = {test.name for test in safety.required_tests("boiler", draft="sealed")}
    assert unstated - sealed == {"draft", "spillage"}
    condensing = {test.name for test in safety.required_tests("boiler", condensing=True, draft="sealed")}
    assert condensing - sealed == {"condensate_drain"}


def test_recommended_tests_are_none_of_the_required():
    for kind in safety.appliance_types().values():
        assert not set(kind.required) & set(kind.recommended)


def test_unknown_type_names_the_nearest():
    with pytest.raises(UnknownNameError, match="did you mean 'furnace'"):
        safety.appliance_type("furnce")


@pytest.mark.parametrize("name", ["gas_leak", "flame_rollout", "spillage", "heat_exchanger_inspection"])
def test_checks_that_stop(name):
    check = safety.checks()[name]
    assert check.weight == "stop"
    assert check.results == ("no fault seen", "fault seen", "not tested")


# ------------------------------------------------------------------------------------- sources and words


@pytest.mark.law
def test_every_entry_says_where_it_comes_from():
    for name, citation in citations():
        assert citation.status in STATUSES, name
        assert citation.source, name
        assert citation.place, name
        assert bool(citation.note) == (citation.status in {"quoted", "chosen"}), name
        assert citation.text_seen == (citation.status in {"read", "quoted"}), name


@pytest.mark.law
def test_a_value_from_memory_says_so_in_its_citation():
    remembered = [citation for _, citation in citations() if citation.status == "memory"]
    assert remembered
    for citation in remembered:
        assert "to be checked against the edition in force" in citation.words
        assert not citation.text_seen


@pytest.mark.law
def test_ambient_limit_speaks_for_its_lowest_step():
    ambient = safety.limits()["carbon_monoxide_ambient"]
    assert ambient.citation.status == ambient.tiers[0].citation.status
    assert ambient.weight == ambient.tiers[0].weight


@pytest.mark.law
def test_only_the_closed_set_of_verdicts_and_none_of_the_forbidden_words():
    assert [verdict.sentence for verdict in safety.verdicts().values()] == [
        "Leave it off.",
        "Correct before use.",
        "Incomplete.",
        "No tested limit exceeded.",
    ]
    said = [words for _, words in flat(data("cautions"))]
    text = " ".join(said).lower()
    for word in (" safe ", " safe.", " safe,", "passed", " sound"):
        assert word not in text


def test_cautions_say_what_to_do_on_gas_and_on_an_alarm():
    text = {caution.title: caution.text for caution in safety.cautions()}
    assert "call" in text["Smell of gas"]
    assert "everyone out" in text["Smell of gas"]
    assert "everyone out" in text["Carbon monoxide alarm, headache or nausea"]


def test_usual_range_goes_by_type_and_kind():
    wet = safety.usual_range("flue_temperature", appliance_type="boiler", condensing=True)
    dry = safety.usual_range("flue_temperature", appliance_type="boiler", condensing=False)
    assert wet.high < dry.low
    assert safety.usual_range("oxygen_dry", appliance_type="oven") is None


@pytest.mark.law
def test_no_two_usual_ranges_claim_the_same_number():
    for name in safety.appliance_types():
        for condensing in (True, False):
            claimed = [
                found.quantity
                for found in safety.usual_ranges().values()
                if name in found.appliance_types and found.condensing in (None, condensing)
            ]
            double = {quantity for quantity in claimed if claimed.count(quantity) > 1}
            assert not double, (name, condensing, double)


# ------------------------------------------------------------------------------------- hostile edits


FURNACE = ("limits", "carbon_monoxide_air_free_furnace")
AMBIENT = ("limits", "carbon_monoxide_ambient")


@pytest.mark.parametrize(
    ("path", "to", "error", "match"),
    [
        ((*FURNACE, "source"), None, InputError, "'source' is missing"),
        ((*FURNACE, "source"), "hearsay", InputError, "'source' is 'hearsay'"),
        ((*FURNACE, "status"), None, InputError, "'status' is missing"),
        ((*FURNACE, "status"), "certain", InputError, "'status' is 'certain'"),
        ((*FURNACE, "status"), "quoted", InputError, "'quoted_in' is missing"),
        ((*FURNACE, "status"), "chosen", InputError, "may not borrow the name of a source"),
        ((*FURNACE, "quantity"), "carbon_monoxide", InputError, "not a quantity of the nomenclature"),
        ((*FURNACE, "value"), "400", UnitError, "has no unit"),
        ((*FURNACE, "value"), "400 degF", UnitError, "carbon_monoxide_air_free_furnace is given in 'degF'"),
        ((*FURNACE, "value"), "nan ppm", UnitError, "not a finite number"),
        ((*FURNACE, "weight"), "ignore", InputError, "'weight' is 'ignore'"),
        ((*FURNACE, "action"), " ", InputError, "'action' is missing or empty"),
        ((*FURNACE, "appliance_types"), ["furnance"], InputError, "'furnance' is not an appliance type"),
        ((*FURNACE, "appliance_types"), [], InputError, "must be a list of types"),
        ((*FURNACE, "drafts"), ["gentle"], InputError, "draft 'gentle' must be one of"),
        ((*FURNACE, "vaule"), "900 ppm", InputError, "'vaule' is not a key"),
        ((*FURNACE, "kind"), "tiers", InputError, "needs at least one"),
        ((*AMBIENT, "tiers", 1, "above"), "70 ppm", InputError, "tiers must ascend"),
        ((*AMBIENT, "tiers", 1, "above"), "9 ppm", InputError, "tiers must ascend"),
        ((*AMBIENT, "tiers", 2, "weight"), "note", InputError, "must weigh more"),
        ((*AMBIENT, "tiers", 2, "status"), None, InputError, "'status' is missing"),
        ((*AMBIENT, "tiers", 0, "below"), "8 ppm", InputError, "'below' is not a key"),
        (("limits", "temperature_rise", "nameplate"), None, InputError, "'nameplate' is missing"),
        (("limits", "draft_hood_natural", "points"), [["0 K", "-2 Pa"]], InputError, "two or more points"),
    ],
)
def test_hostile_edit_of_a_limit_stops_the_load(path, to, error, match):
    with pytest.raises(error, match=match):
        safety.read_limits(edited("limits", *path, to=to), safety.appliance_types())


@pytest.mark.parametrize(
    ("path", "to", "match"),
    [
        (("tests", "draft", "any_of"), ["draught"], "neither a quantity of the nomenclature nor a check"),
        (("checks", "gas_leak"), None, "'gas_leak' is neither a quantity"),
        (("types", "furnace", "required"), ["wishful_thinking"], "'wishful_thinking' is not a test"),
        (("types", "furnace", "no_limit_known"), ["smell"], "not a quantity"),
        (("tests", "spillage", "because"), None, "'because' is missing"),
        (("tests", "spillage", "optional"), True, "'optional' is not a key"),
    ],
)
def test_hostile_edit_of_a_type_stops_the_load(path, to, match):
    with pytest.raises(InputError, match=match):
        safety.read_appliance_types(edited("appliance_types", *path, to=to))


def test_a_check_without_weight_or_a_range_upside_down_stops_the_load():
    unweighted = edited("appliance_types", "checks", "gas_leak", "weight", to=None)
    with pytest.raises(InputError, match="'weight' is missing"):
        safety.read_checks(unweighted)
    upside_down = edited("usual_ranges", "ranges", "oxygen_boiler", "low", to="12 percent")
    with pytest.raises(InputError, match="is not below"):
        safety.read_usual_ranges(upside_down, safety.appliance_types())


def test_a_fifth_verdict_stops_the_load():
    fifth = {"sentence": "Fine.", "meaning": "All is well."}
    with pytest.raises(InputError, match="the verdicts must be exactly"):
        safety.read_verdicts(edited("cautions", "verdicts", "fine", to=fifth))


# ------------------------------------------------------------------------------------- pins


def checksum(table):
    return hashlib.sha256(repr(sorted(flat(table))).encode()).hexdigest()[:16]


def flat(value, path=""):
    if isinstance(value, dict):
        for key, inner in value.items():
            yield from flat(inner, f"{path}/{key}")
    elif isinstance(value, list):
        for number, inner in enumerate(value):
            yield from flat(inner, f"{path}/{number}")
    else:
        yield path, repr(value)


@pytest.mark.pin
@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("limits", "eadb6546f775f7a6"),
        ("appliance_types", "10f7038f72b8bb5b"),
        ("usual_ranges", "cd6052308b5312b2"),
        ("cautions", "94eec3ddc08ef206"),
    ],
)
def test_an_edited_word_or_digit_is_noticed(name, expected):
    # After a deliberate change: check the change against its source, then copy the new sum here.
    assert checksum(data(name)) == expected


@pytest.mark.pin
@pytest.mark.parametrize("name", FILES)
def test_the_checksum_sees_one_digit(name):
    table = data(name)
    before = checksum(table)
    first = next(iter(table.values()))
    entry = first[0] if isinstance(first, list) else next(iter(first.values()))
    key = next(iter(entry))
    entry[key] = f"{entry[key]}1"
    assert checksum(table) != before
