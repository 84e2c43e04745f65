"""Every published value in tests/published against the value computed here, row by row."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

from fluewright.errors import InputError, UnknownNameError
from fluewright.studies import validation

FOLDER = Path(__file__).parents[1] / "published"
ROWS = validation.read(FOLDER)
STATUSES = {"read", "quoted", "run", "derived", "memory", "common practice"}
FAMILIES = {
    "iso_6976", "en_437", "gpa_2145", "epa_fuel_factors", "epa_carbon_dioxide", "nasa_cea",
    "flame_temperature", "iapws", "dew_points", "acid_dew_point", "textbook", "doe_efficiency",
    "stack_loss_european", "nitrogen_oxides",
}  # fmt: skip


def names(family: str) -> list[object]:
    """Ids that say where a value is from, if not from its source."""
    rows = ROWS[ROWS["family"] == family]
    return [
        pytest.param(name, id=name if status in {"read", "quoted"} else f"{name} (value from {status})")
        for name, status in zip(rows["id"], rows["status"], strict=True)
    ]


@pytest.fixture(scope="module")
def compared() -> pd.DataFrame:
    return validation.compare(FOLDER).set_index(["family", "id"])


def check(compared: pd.DataFrame, family: str, name: str) -> None:
    row = compared.loc[(family, name)]
    assert row["within"], (
        f"{row['source']}, {row['place']} (value {row['status']}) prints {row['value']} {row['unit']} "
        f"for {row['inputs']}; computed {row['computed']:.8g}, off by {row['deviation']:.3g}, "
        f"allowed {row['allowed']:.3g}: {row['reason'] or 'printed digits'}"
    )


def test_there_are_enough_of_every_kind() -> None:
    assert set(ROWS["family"]) == FAMILIES
    assert len(ROWS) >= 300
    assert ROWS["status"].isin({"read", "quoted", "run", "derived"}).sum() >= 200


def test_every_row_names_source_place_and_status_and_gives_a_reason_for_a_tolerance() -> None:
    assert not ROWS.duplicated(["family", "id"]).any()
    assert set(ROWS["status"]) <= STATUSES
    assert (ROWS[["source", "place", "value", "unit"]] != "").all(axis=None)
    assert ((ROWS["tolerance"] == "") == (ROWS["reason"] == "")).all()


@pytest.mark.published
@pytest.mark.parametrize("name", names("iso_6976"))
def test_iso_6976(compared: pd.DataFrame, name: str) -> None:
    check(compared, "iso_6976", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("en_437"))
def test_en_437(compared: pd.DataFrame, name: str) -> None:
    check(compared, "en_437", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("gpa_2145"))
def test_gpa_2145(compared: pd.DataFrame, name: str) -> None:
    check(compared, "gpa_2145", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("epa_fuel_factors"))
def test_epa_fuel_factors(compared: pd.DataFrame, name: str) -> None:
    check(compared, "epa_fuel_factors", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("epa_carbon_dioxide"))
def test_epa_carbon_dioxide(compared: pd.DataFrame, name: str) -> None:
    check(compared, "epa_carbon_dioxide", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("nasa_cea"))
def test_nasa_cea(compared: pd.DataFrame, name: str) -> None:
    check(compared, "nasa_cea", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("flame_temperature"))
def test_flame_temperature(compared: pd.DataFrame, name: str) -> None:
    check(compared, "flame_temperature", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("iapws"))
def test_iapws(compared: pd.DataFrame, name: str) -> None:
    check(compared, "iapws", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("dew_points"))
def test_dew_points(compared: pd.DataFrame, name: str) -> None:
    check(compared, "dew_points", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("acid_dew_point"))
def test_acid_dew_point(compared: pd.DataFrame, name: str) -> None:
    check(compared, "acid_dew_point", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("textbook"))
def test_textbook(compared: pd.DataFrame, name: str) -> None:
    check(compared, "textbook", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("doe_efficiency"))
def test_doe_efficiency(compared: pd.DataFrame, name: str) -> None:
    check(compared, "doe_efficiency", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("stack_loss_european"))
def test_stack_loss_european(compared: pd.DataFrame, name: str) -> None:
    check(compared, "stack_loss_european", name)


@pytest.mark.published
@pytest.mark.parametrize("name", names("nitrogen_oxides"))
def test_nitrogen_oxides(compared: pd.DataFrame, name: str) -> None:
    check(compared, "nitrogen_oxides", name)


@pytest.mark.published
def test_doe_table_differs_from_cell_to_cell_as_computed(compared: pd.DataFrame) -> None:
    # US DOE Steam Tip Sheet 4, as quoted: its bias cancels between neighboring cells.
    cells = [
        [f"efficiency at {oxygen} % oxygen, {rise} degF over air" for rise in (200, 400, 600)]
        for oxygen in (2, 3, 5, 7, 10)
    ]
    deviation = np.array(
        [[compared.loc[("doe_efficiency", cell), "deviation"] for cell in row] for row in cells], dtype=float
    )
    assert np.abs(np.diff(deviation, axis=0)).max() < 0.3
    assert np.abs(np.diff(deviation, axis=1)).max() < 0.3


def a_row(folder: Path, **changes: str) -> Path:
    row = dict(
        zip(
            validation.COLUMNS,
            ("x", "saturation_pressure", "temperature=100 degC", "101.42", "kPa", "", "", "s", "p", "memory"),
            strict=True,
        )
    )
    pd.DataFrame([row | changes]).to_csv(folder / "family.csv", index=False)
    return folder


@pytest.mark.parametrize(
    ("changes", "within"),
    [
        ({}, True),
        ({"value": "101.40"}, False),
        ({"value": "101.4"}, True),  # fewer digits allow more
        ({"value": "1.0142e+02"}, True),
        ({"value": "101.0", "tolerance": "0.5"}, True),
        ({"value": "101.0", "tolerance": "0.5 %"}, True),
        ({"value": "101.0", "tolerance": "0.3 %"}, False),
        ({"value": "100-102"}, True),
        ({"value": "100-101"}, False),
        ({"value": "14.709", "unit": "psi"}, True),
        ({"value": "14.72", "unit": "psi"}, False),
    ],
)
def test_a_deviation_is_judged_by_printed_digits_tolerance_or_range(
    tmp_path: Path, changes: dict[str, str], within: bool
) -> None:
    compared = validation.compare(a_row(tmp_path, **changes))
    assert compared["within"].tolist() == [within]


def test_what_cannot_be_compared_is_refused(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no CSV file of published values"):
        validation.compare(tmp_path)
    with pytest.raises(
        UnknownNameError,
        match="there is no calculation 'saturation_presure'; did you mean 'saturation_pressure'",
    ):
        validation.compare(a_row(tmp_path, check="saturation_presure"))
    with pytest.raises(InputError, match="water is saturated only within") as caught:
        validation.compare(a_row(tmp_path, inputs="temperature=10 K"))
    assert "while computing family, x" in caught.value.__notes__
    (tmp_path / "family.csv").write_text("id,check\nx,y\n")
    with pytest.raises(InputError, match=r"family\.csv lacks the columns inputs, value"):
        validation.read(tmp_path)


def test_tables_to_read_lose_no_row_and_name_every_source(compared: pd.DataFrame) -> None:
    whole = compared.reset_index()
    summary = validation.summarize(whole)
    assert summary["Values"].sum() == len(ROWS)
    assert summary["Beyond"].sum() == 0
    for family in FAMILIES:
        table, notes = validation.text_table(whole, family), validation.notes(whole, family)
        rows = ROWS[ROWS["family"] == family]
        assert table["Printed"].tolist() == rows["value"].tolist()
        for source, reason, cited in zip(rows["source"], rows["reason"], table["Notes"], strict=True):
            said = " ".join(notes[int(number)] for number in cited.split(", "))
            assert source in said
            assert reason in said
    with pytest.raises(UnknownNameError, match="did you mean 'nasa_cea'"):
        validation.text_table(whole, "nasa")


def test_the_notebook_shows_every_family() -> None:
    notebook = json.loads((FOLDER.parents[1] / "notebooks" / "validation.ipynb").read_text(encoding="utf-8"))
    shown = [cell["source"] for cell in notebook["cells"] if cell["cell_type"] == "code"]
    for family in FAMILIES:
        assert f'validation.text_table(compared, "{family}")' in shown
        assert f'validation.notes(compared, "{family}").to_frame()' in shown
