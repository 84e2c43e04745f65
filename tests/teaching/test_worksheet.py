"""Worksheets: answers agree with another way of working, steps are arithmetic that holds, sheets are each their own."""

from __future__ import annotations

import importlib.util
import math
import re
from pathlib import Path
from typing import Any

import pytest

from fluewright.errors import InputError, UnknownNameError
from fluewright.report.worksheet import write_worksheets
from fluewright.studies.worksheet import (
    LARGEST_SEED,
    LEVELS,
    TOPICS,
    Answer,
    problem,
    student_names,
    worksheets,
)

# The checks stand in a file of their own beside this one; tests are imported by path, so it is loaded by path.
_spec = importlib.util.spec_from_file_location("independent", Path(__file__).with_name("independent.py"))
assert _spec is not None
assert _spec.loader is not None
independent = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(independent)

# From SI to the units printed, by hand: none of this is read from the package.
_FACTORS = {
    "": 1.0, "%": 100.0, "ppm": 1e6, "ft³": 1 / 0.3048**3, "m³": 1.0, "ft³/h": 3600 / 0.3048**3, "m³/h": 3600.0,
    "Btu/h": 3600 / 1055.056, "kW": 1e-3, "Btu/ft³": 0.3048**3 / 1055.056, "MJ/m³": 1e-6, "lb/h": 3600 / 0.45359237,
    "kg/h": 3600.0, "lb/MMBtu": 1055.056e6 / 0.45359237, "mg/kWh": 3.6e12, "K": 1.0,
}  # fmt: skip


def _shown(value: float, answer: Answer) -> float:
    if answer.sign == "°C":
        return value - 273.15
    if answer.sign == "°F":
        return value * 1.8 if "rise" in answer.label else value * 1.8 - 459.67
    return value * _FACTORS[answer.sign]


@pytest.mark.law
@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("level", LEVELS)
def test_answers_agree_with_an_independent_computation(topic: str, level: Any) -> None:
    for seed in (1, 2, 3, 4):
        system = ("US", "SI")[seed % 2]
        made = problem(topic, level=level, seed=seed, system=system)  # type: ignore[arg-type]
        extra = {"us": system == "US"} if (topic, level) == ("log", "basic") else {}
        worked = independent.WORKED[topic, level](made.given, **extra)
        assert len(worked) == len(made.task.answers)
        for expected, answer in zip(worked, made.task.answers, strict=True):
            if isinstance(expected, str):
                assert answer.text == expected
                continue
            value = _shown(float(expected), answer)
            assert answer.low <= value <= answer.high, (answer, value, dict(made.given))
            temperature = answer.sign in {"°C", "°F"} and "rise" not in answer.label
            # Other data sets for heat and other air: 1 %, or a few kelvin, or the last digit printed.
            allowed = (
                6.0 if temperature else max(0.012 * abs(answer.value), 0.15 if answer.sign == "%" else 0.0)
            )
            assert abs(value - answer.value) <= allowed, (answer, value, dict(made.given))


_EQUATION = re.compile(r"((?:[\d.,()+×÷√\s−]|(?<=\d)-)+?)\s=\s(−?[\d,]+(?:\.\d+)?)")


def _evaluated(expression: str) -> float:
    """Return the value of what a step prints left of its equals sign; the words before it are left out."""
    text = expression.replace(",", "").strip()
    while text.count(")") > text.count("("):
        text = text.split(")", 1)[1].strip()
    text = re.sub(r"√\(", "math.sqrt(", text)
    text = re.sub(r"√([\d.]+)", r"math.sqrt(\1)", text)
    return float(eval(text.replace("×", "*").replace("÷", "/").replace("−", "-"), {"math": math}))


@pytest.mark.law
@pytest.mark.parametrize("topic", TOPICS)
def test_every_printed_step_is_arithmetic_that_holds(topic: str) -> None:
    checked = 0
    for level in LEVELS:
        for seed in range(6):
            for system in ("US", "SI"):
                made = problem(topic, level=level, seed=seed, system=system)  # type: ignore[arg-type]
                for step in made.task.steps:
                    for found in _EQUATION.finditer(step):
                        if not re.search(r"[+×÷√−]", found[1]):
                            continue
                        value, printed = (
                            _evaluated(found[1]),
                            float(found[2].replace(",", "").replace("−", "-")),
                        )
                        # Shares are printed as percent on the next breath; the equation itself must hold either way.
                        assert any(
                            value * scale == pytest.approx(printed, rel=0.008, abs=0.006)
                            for scale in (1, 100, 1e-3, 1e6)
                        ), step
                        checked += 1
    assert checked > 30


@pytest.mark.law
@pytest.mark.parametrize("topic", TOPICS)
@pytest.mark.parametrize("level", LEVELS)
def test_the_steps_arrive_at_every_answer(topic: str, level: Any) -> None:
    for seed in range(5):
        made = problem(topic, level=level, seed=seed, system="SI")
        numbers = [
            float(text.replace(",", ""))
            for text in re.findall(r"\d[\d,]*(?:\.\d+)?", " ".join(made.task.steps))
        ]
        reached = [scale * number for number in numbers for scale in (1, 100, 1e6)]
        for answer in made.task.answers:
            if math.isnan(answer.value):
                assert answer.text in " ".join(made.task.steps)
            else:
                assert any(answer.low <= number <= answer.high for number in reached), (
                    answer,
                    made.task.steps,
                )
                assert answer.low <= answer.value <= answer.high


CLASS = tuple(f"Student {n}" for n in range(200))


def test_the_same_seed_makes_the_same_sheets_and_no_two_students_share_numbers() -> None:
    first, again = (worksheets(CLASS, seed=7, level="basic") for _ in range(2))
    assert [s.problems for s in first] == [s.problems for s in again]
    for place, topic in enumerate(TOPICS):
        given = [tuple(sheet.problems[place].given.items()) for sheet in first]
        assert len(set(given)) == len(CLASS), topic
    other = worksheets(CLASS[:3], seed=8, level="basic")
    assert all(a.problems[0].given != b.problems[0].given for a, b in zip(first, other, strict=False))


def test_a_student_keeps_the_sheet_when_the_class_grows() -> None:
    few, many = worksheets(CLASS[:5], seed=7), worksheets(("Newcomer", *CLASS[:5]), seed=7)
    assert [s.problems for s in few] == [s.problems for s in many[1:]]


@pytest.mark.parametrize("system", ["US", "SI"])
@pytest.mark.parametrize("level", LEVELS)
def test_a_class_of_two_hundred_can_be_served_at_every_level(level: Any, system: Any) -> None:
    topics = ("stoichiometry", "excess air", "instrument", "losses", "log", "uncertainty", "fuel switch")
    sheets = worksheets(CLASS, seed=1, level=level, system=system, topics=topics)
    for place in range(len(topics)):
        assert len({tuple(sheet.problems[place].given.items()) for sheet in sheets}) == len(CLASS)


def test_systems_of_units_are_never_mixed() -> None:
    signs = {"US": {"ft³", "Btu", "°F", "inHg", "lb", "MMBtu"}, "SI": {"m³", "kW", "°C", "hPa", "kg", "MJ"}}
    for topic in TOPICS:
        for level in LEVELS:
            for system, other in (("US", "SI"), ("SI", "US")):
                text = problem(topic, level=level, seed=2, system=system).task.text  # type: ignore[arg-type]
                if (topic, level) == ("losses", "basic"):
                    text = text.replace("temperatures in °C", "")  # the European formula has no other
                found = {
                    sign for sign in signs[other] if re.search(rf"\d\s*{re.escape(sign)}\b|{sign}/", text)
                }
                assert not found, (topic, level, system, text)


# ---------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("names", "message"),
    [
        ("Ada\nBo\nAda\n", "two students are named 'Ada'"),
        ("Ada  Example\nada example", r"two students are named 'ada example' \(as 'Ada  Example'\)"),
        ("\n \n", "there are no students"),
        ("\n".join(f"S{n}" for n in range(1001)), "there are 1001 students; at most 1000"),
    ],
)
def test_lists_that_cannot_be_used_are_refused(names: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        student_names(names)


def test_unknown_topics_levels_and_seeds_are_refused() -> None:
    with pytest.raises(UnknownNameError, match="there is no topic 'dew pint'; did you mean 'dew point'"):
        worksheets(["Ada"], seed=1, topics=["dew-pint"])
    with pytest.raises(InputError, match="name each topic once"):
        worksheets(["Ada"], seed=1, topics=["flame", "Flame"])
    with pytest.raises(UnknownNameError, match="there is no level 'hard'"):
        worksheets(["Ada"], seed=1, level="hard")  # type: ignore[arg-type]
    with pytest.raises(UnknownNameError, match="there is no system of units 'metric'"):
        worksheets(["Ada"], seed=1, system="metric")  # type: ignore[arg-type]
    for seed in (-1, LARGEST_SEED + 1, True, 1.5):
        with pytest.raises(InputError, match="it must be a whole number from 0 to 4294967295"):
            worksheets(["Ada"], seed=seed)  # type: ignore[arg-type]


def test_numbers_that_run_out_are_said_so(monkeypatch: pytest.MonkeyPatch) -> None:
    from fluewright.studies import worksheet

    monkeypatch.setattr(worksheet, "_TRIES", 0)
    with pytest.raises(InputError, match="the numbers of the basic problem on flame are used up"):
        worksheets(["Ada"], seed=1, level="basic", topics=["flame"])


# ---------------------------------------------------------------------------- files

HOSTILE = '#read("x") $x$ *b* @me <script>alert(1)</script> \\ {{7*7}} %s'


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, tuple[Path, ...]]:
    root = tmp_path_factory.mktemp("sheets")
    (root / "class.txt").write_text(
        f"\ufeffAda Example\n{HOSTILE}\n\n../../outside\nŁucja Übermaß 学生\n=CMD()\n", encoding="utf-8"
    )
    return root, write_worksheets(
        root / "class.txt", output=root / "out", seed=7, system="SI", topics=("flame", "log")
    )


def _text(path: Path) -> str:
    import pypdf

    return "\n".join(page.extract_text() for page in pypdf.PdfReader(path).pages)


def test_every_student_gets_a_pdf_and_there_is_one_key(written: tuple[Path, tuple[Path, ...]]) -> None:
    root, paths = written
    assert [path.name for path in paths] == [
        "1-ada-example.pdf",
        "2-read-x-x-b-me-script-alert-1-script-7-7.pdf",
        "3-outside.pdf",
        "4-ucja-uberma.pdf",
        "5-cmd.pdf",
        "answer-key.pdf",
    ]
    assert sorted(paths) == sorted((root / "out").iterdir())
    key = _text(paths[-1])
    names = student_names((root / "class.txt").read_text(encoding="utf-8"))
    made = worksheets(names, seed=7, system="SI", topics=("flame", "log"))
    for path, sheet in zip(paths, made, strict=False):
        text = _text(path)
        assert sheet.student[:12] in text
        for one in sheet.problems:
            assert one.task.title in text
            for answer in one.task.answers:
                assert answer.text in key
                assert answer.accepted in key
            # No answer and no step stands on the student's sheet.
            assert one.task.steps[-1][-20:] not in text


def test_hostile_names_print_as_themselves(written: tuple[Path, tuple[Path, ...]]) -> None:
    import pypdf

    page = pypdf.PdfReader(written[1][1]).pages[0].extract_text().replace("\n", "").replace("\u200b", "")
    assert HOSTILE.replace(" ", "") in page.replace(" ", "")
    assert "学生" in _text(written[1][3]) or "U+5B66" in _text(written[1][3])


def test_the_same_seed_gives_the_same_bytes(written: tuple[Path, tuple[Path, ...]], tmp_path: Path) -> None:
    root, paths = written
    again = write_worksheets(
        root / "class.txt", output=tmp_path / "out", seed=7, system="SI", topics=("flame", "log")
    )
    assert [path.read_bytes() for path in again] == [path.read_bytes() for path in paths]


def test_files_that_cannot_be_used_are_refused_and_nothing_is_written(tmp_path: Path) -> None:
    students = tmp_path / "class.txt"
    with pytest.raises(InputError, match="cannot be read: No such file"):
        write_worksheets(students, output=tmp_path / "out", seed=1)
    students.write_bytes("Łucja".encode("utf-16"))
    with pytest.raises(InputError, match="is not text in UTF-8"):
        write_worksheets(students, output=tmp_path / "out", seed=1)
    students.write_text("Ada\n", encoding="utf-8")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "kept.txt").write_text("kept")
    with pytest.raises(InputError, match="is not an empty folder; name one that is new or empty"):
        write_worksheets(students, output=tmp_path / "full", seed=1)
    with pytest.raises(InputError, match="is not an empty folder"):
        write_worksheets(students, output=students, seed=1)
    with pytest.raises(InputError, match="seed is -3"):
        write_worksheets(students, output=tmp_path / "out", seed=-3)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["class.txt", "full"]
    assert [path.name for path in (tmp_path / "full").iterdir()] == ["kept.txt"]
