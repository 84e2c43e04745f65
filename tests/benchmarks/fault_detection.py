"""Which planted faults does an audit find, and how often does it find one in a sound visit?

Practice visits are simulated forward, with the faults of the practice table at their action severity, and audited as
they are. A fault counts as found where a finding that a reader would follow to it is raised (the rules are listed
below); a sound visit counts as a false alarm where any finding weighs "correct" or "stop", or any of those rules fires.

    python tests/benchmarks/fault_detection.py [seeds per fault] [sound visits per scenario]
"""

from __future__ import annotations

import itertools
import json
import sys
import tempfile
from collections import Counter
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import fluewright as fw
from fluewright import sources
from fluewright.studies.practice import fault_names, practice_visit
from fluewright.visit import VisitError

SCENARIOS = ("furnace", "boiler", "unit-heater")
FIRST_SEED = 1000
FIRING = {"heat_input_ratio_high", "heat_input_ratio_low", "manifold_pressure"}
MONOXIDE = {
    "carbon_monoxide_air_free_furnace",
    "carbon_monoxide_air_free_boiler",
    "carbon_monoxide_air_free_stop",
    "carbon_monoxide_dry_stop",
    "carbon_monoxide_over_range",
    "carbon_monoxide_rise",
    "carbon_monoxide_air_free",
}
OXYGEN = {
    "oxygen_furnace",
    "oxygen_boiler_condensing",
    "excess_air_furnace",
    "excess_air_boiler_condensing",
    "oxygen_ratio_control",
    "oxygen_dry_low",
}
INTAKE = {"oxygen_intake", "carbon_dioxide_intake"}
AIRFLOW = {"temperature_rise", "external_static_pressure"}
UNSETTLED = "no steady window"

# The findings that lead a reader to each fault.
RULES: dict[str, set[str]] = {
    "over-fired": FIRING,
    "under-fired": FIRING,
    "wrong-orifice": {"clock_against_manifold", "heat_input_ratio_high", "balance"},
    "low-heating-value": {"balance", "clock_against_manifold"},
    "high-excess-air": OXYGEN,
    "low-excess-air": OXYGEN | MONOXIDE,
    "leaking-probe": OXYGEN | {"balance"},
    "drifting-oxygen-cell": {"oxygen_zero_drift", "refused: oxygen_dry"},
    "never-settles": {UNSETTLED},
    "blocked-vent": {"spillage", "draft_breech_natural", "draft_breech_category", "carbon_monoxide_ambient"}
    | MONOXIDE,
    "recirculation": INTAKE,
    "condensing-vent": {"dew_point_margin"},
    "cracked-heat-exchanger": {"oxygen_shift", "carbon_monoxide_supply_over_return", "flame_disturbance"},
    "low-airflow": AIRFLOW,
    "dirty-filter": AIRFLOW,
    "wrong-meter-dial": {"clock_against_manifold", "balance"},
}
SAFETY = {"blocked-vent", "cracked-heat-exchanger", "low-excess-air", "recirculation", "over-fired"}
# What the practice table lets the tester see of a fault: counted, and told apart from what the readings show.
SEEN = {"spillage", "flame_disturbance"}
# Findings that every visit of a scenario has, sound or not: no limit is known for the type.
ALWAYS = {"carbon_monoxide_air_free_no_limit"}


def _rule(name: str) -> str:
    """Return a rule's name without the count that tells two numbers of one rule apart."""
    head, _, tail = name.rpartition("_")
    name = head if tail.isdigit() else name
    return name.removesuffix("_down")


def visited(case: tuple[str, str, int]) -> tuple[str, str, int, str, dict[str, str]]:
    """Make one visit, audit it, and return its verdict and its findings by rule, with their weights."""
    scenario, fault, seed = case
    with tempfile.TemporaryDirectory() as folder:
        made = practice_visit(Path(folder) / "visit", scenario=scenario, seed=seed, fault=fault or None)
        try:
            audit = fw.audit(fw.open_visit(made.folder))
        except VisitError as error:
            # A reading that cannot be is refused with its row and a way out: found, if it names the right one.
            return (
                scenario,
                fault,
                seed,
                "refused",
                {f"refused: {error.problems[0].what.split()[0]}": "correct"},
            )
    found = {_rule(one.rule): one.weight for one in audit.findings if one.rule not in ALWAYS}
    if any(point.steadiness.window is None for point in audit.points):
        found[UNSETTLED] = "note"
    return scenario, fault, seed, audit.verdict.name, found


def alike(seen: dict[str, list[dict[str, str]]]) -> list[list[str]]:
    """Return the pairs of faults of one scenario whose findings do not tell them apart.

    Two faults are told apart where some rule fires in most visits of one and in few of the other.
    """
    shares = {
        fault: {
            rule: count / len(visits)
            for rule, count in Counter(rule for one in visits for rule in one).items()
        }
        for fault, visits in seen.items()
    }
    pairs = []
    for one, other in itertools.combinations(sorted(shares), 2):
        rules = set(shares[one]) | set(shares[other])
        apart = max(
            (abs(shares[one].get(rule, 0) - shares[other].get(rule, 0)) for rule in rules), default=0.0
        )
        if apart < 0.6:
            pairs.append([one, other])
    return pairs


def main(seeds: int = 10, sound: int = 60) -> None:
    """Run the visits, print what was found, and the figures as one JSON object on the last line."""
    cases = [(scenario, "", FIRST_SEED + seed) for scenario in SCENARIOS for seed in range(sound)]
    cases += [
        (scenario, fault, FIRST_SEED + seed)
        for scenario in SCENARIOS
        for fault in fault_names(scenario)
        for seed in range(seeds)
    ]
    with ProcessPoolExecutor(max_workers=2) as pool:
        outcomes = list(pool.map(visited, cases, chunksize=8))
    watched = set().union(*RULES.values())
    false_alarms: dict[str, list[bool]] = {}
    detected: dict[str, list[bool]] = {}
    read: dict[str, list[bool]] = {}
    seen: dict[str, dict[str, list[dict[str, str]]]] = {}
    missed, alarms, alarmed = [], Counter(), []
    for scenario, fault, seed, verdict, found in outcomes:
        if not fault:
            wrong = {
                rule for rule, weight in found.items() if weight in ("correct", "stop") or rule in watched
            }
            false_alarms.setdefault(scenario, []).append(bool(wrong))
            alarms.update(f"{scenario}: {rule}" for rule in wrong)
            if wrong:
                alarmed.append({"scenario": scenario, "seed": seed, "findings": sorted(wrong)})
            continue
        hit = bool(RULES[fault] & found.keys())
        detected.setdefault(f"{fault} ({scenario})", []).append(hit)
        read.setdefault(f"{fault} ({scenario})", []).append(bool((RULES[fault] - SEEN) & found.keys()))
        seen.setdefault(scenario, {}).setdefault(fault, []).append(found)
        if not hit and fault in SAFETY:
            missed.append(
                {
                    "fault": fault,
                    "scenario": scenario,
                    "seed": seed,
                    "verdict": verdict,
                    "findings": sorted(found),
                }
            )
    share = {name: sum(hits) / len(hits) for name, hits in detected.items()}
    faults = sources.table("practice")["faults"]
    for name, value in sorted(share.items(), key=lambda item: item[1]):
        effects = "; ".join(
            f"{setting} {effect}" for setting, effect in faults[name.partition(" ")[0]]["effects"].items()
        )
        print(f"{value:6.0%}  {name}: {effects}".replace("{", "").replace("}", "").replace("'", ""))
    for scenario, wrong_ones in false_alarms.items():
        print(
            f"{sum(wrong_ones) / len(wrong_ones):6.1%}  false alarms, sound {scenario}, {len(wrong_ones)} visits"
        )
    for rule, count in alarms.most_common():
        print(f"        {count} x {rule}")
    sets = {scenario: alike(by_fault) for scenario, by_fault in seen.items()}
    for scenario, pairs in sets.items():
        print(
            f"cannot be told apart, {scenario}: {'; '.join(' and '.join(pair) for pair in pairs) or 'none'}"
        )
    print(f"false alarms: {alarmed or 'none'}")
    print(f"missed safety faults: {missed or 'none'}")
    unseen = sorted(name for name, hits in read.items() if not any(hits))
    print(f"found by what the tester sees only, never by the readings: {unseen or 'none'}")
    figures = {
        "visits": len(outcomes),
        "detected": {name: round(value, 3) for name, value in sorted(share.items())},
        "detected_least": round(min(share.values()), 3),
        "detected_by_readings_alone": {  # where it is fewer
            name: round(sum(hits) / len(hits), 3)
            for name, hits in sorted(read.items())
            if sum(hits) < sum(detected[name])
        },
        "never_shown_by_readings": unseen,
        "false_alarms": {name: round(sum(one) / len(one), 4) for name, one in false_alarms.items()},
        "false_alarms_all": round(
            sum(map(sum, false_alarms.values())) / sum(map(len, false_alarms.values())), 4
        ),
        "false_alarm_visits": alarmed,
        "missed_safety_faults": missed,
        "cannot_be_told_apart": sets,
        "severity": 1.0,  # of the practice table: where the fault calls for action; its effects are printed above
    }
    print(json.dumps(figures))


if __name__ == "__main__":
    main(*(int(argument) for argument in sys.argv[1:3]))
