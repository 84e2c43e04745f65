"""The sections of the appliance: they show what results.json holds, and are short where nothing was tested."""

from __future__ import annotations

from dataclasses import replace

import pytest

from fluewright.report import appliance, pages, words
from fluewright.report.objects import Paragraph
from fluewright.studies.audit import Audit


def text(part: object) -> str:
    return part.as_text()  # type: ignore[attr-defined,no-any-return]


def test_the_balance_shows_measured_beside_reconciled(hall: Audit) -> None:
    shown = text(appliance.agreement(hall))
    for point in hall.points:
        assert point.balance is not None
        assert f"{point.balance.chi_square.value:.2f}" in shown
        for before, after in point.balance.results.values():
            for number in (before, after):
                assert words.printed(number, "US").value in shown
    assert "The readings fit together" in shown
    assert "cannot be told from the others'" in shown
    assert "Nothing checks" in shown


def test_a_balance_without_a_heat_input_has_no_figure_of_heat(laundry: Audit) -> None:
    """Such as of oxygen and carbon dioxide, both of a cell of their own, where no meter was clocked."""
    points = tuple(
        replace(
            point,
            numbers={name: one for name, one in point.numbers.items() if not name.startswith("heat_input")},
        )
        for point in laundry.points
    )
    shown = text(appliance.agreement(replace(laundry, points=points)))
    assert "Heat in and heat out" in text(appliance.agreement(laundry))
    assert "Heat in and heat out" not in shown


def test_a_visit_without_redundancy_says_so_in_a_sentence(workshop: Audit) -> None:
    part = appliance.agreement(workshop)
    assert isinstance(part, Paragraph)
    assert "not tested" in text(part)


def test_the_heat_exchanger_is_never_given_a_pass(hall: Audit, laundry: Audit, workshop: Audit) -> None:
    shown = text(appliance.heat_exchanger(hall))
    assert "does not show the heat exchanger to be tight" in shown
    assert "+0." in shown or "−0." in shown  # the shift of oxygen, with its sign
    for audit in (hall, laundry, workshop):
        said = text(appliance.heat_exchanger(audit)).lower()
        assert not any(word in said for word in (" safe", "passed", " sound", "is tight:"))
    assert "not tested" in text(appliance.heat_exchanger(workshop))


def test_savings_have_a_range_or_say_why_there_are_none(hall: Audit, workshop: Audit) -> None:
    shown = text(appliance.savings(hall))
    assert "USD" in shown
    assert "Fuel used in a year before the change, gross" in shown
    assert "Fuel at 1.12 USD per therm of gross heat; the work cost 260 USD" in shown
    assert " to " in shown
    assert "no efficiency to compare" in text(appliance.savings(replace(hall, savings={})))
    assert appliance.savings(workshop) is None  # nothing was changed
    assert "no savings are reckoned" in text(pages.changes(workshop))


def test_short_notes_of_the_record_stand_two_abreast_and_none_is_lost(hall: Audit, workshop: Audit) -> None:
    for audit in (hall, workshop):
        shown = text(appliance.record(audit))
        for name, said in (*audit.record.conditions, *audit.record.left):
            assert said == "not recorded" or f"{name}: " in " ".join(shown.split())
            assert said == "not recorded" or said in shown


def test_the_record_lists_steps_and_what_was_not_recorded(hall: Audit, workshop: Audit) -> None:
    shown = text(appliance.record(workshop))
    assert "Broken off: 08:26:40" in shown
    assert "red tag" in shown
    assert "Not recorded, so not tested: worst-case depressurization" in shown
    assert "In the safe order: yes" in text(appliance.record(hall))


@pytest.mark.parametrize("section", ["agreement", "heat_exchanger", "savings", "record"])
def test_every_section_shows_in_every_form(
    hall: Audit, laundry: Audit, workshop: Audit, section: str
) -> None:
    for audit in (hall, laundry, workshop):
        if section == "savings" and not audit.differences:
            continue  # nothing was changed, so nothing is shown
        part = getattr(appliance, section)(audit)
        assert part.as_typst()
        assert part.as_html()
