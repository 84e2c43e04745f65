"""Hold the calculations against published values: one table, from a folder of CSV files.

Each file is a family of values, each row one printed number with where it stands, what it takes to compute
it, and how far we may be off: by its printed digits, or by a stated tolerance with its reason. A row names
its calculation in the column ``check``; the calculations are below, each a call of the public functions.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from pathlib import Path
from typing import Any

import pandas as pd

from fluewright import combustion as burn
from fluewright import sources
from fluewright.errors import InputError, UnknownNameError
from fluewright.units import convert, registry

__all__ = ["COLUMNS", "compare", "notes", "read", "summarize", "text_table"]

COLUMNS = ("id", "check", "inputs", "value", "unit", "tolerance", "reason", "source", "place", "status")


def read(folder: str | Path) -> pd.DataFrame:
    """Return all published values of a folder as text, with their family (the file's name).

    Raises
    ------
    InputError
        The folder holds no CSV file, or a file lacks a column.
    """
    files = sorted(Path(folder).glob("*.csv"))
    if not files:
        raise InputError(f"{folder} holds no CSV file of published values; give the folder that does")
    return pd.concat([_read_family(file) for file in files], ignore_index=True)


def compare(folder: str | Path) -> pd.DataFrame:
    """Return every published value of a folder beside the value computed here.

    Parameters
    ----------
    folder : str or Path
        Folder of CSV files with the columns in `COLUMNS`.

    Returns
    -------
    DataFrame
        The columns read, and ``family``, ``computed`` and ``deviation`` (in the row's unit; for a printed
        range, how far outside), ``allowed`` (the tolerance in that unit) and ``within``.

    Raises
    ------
    InputError
        The folder holds no such files, or a row cannot be read.
    UnknownNameError
        A row names a calculation that is not here.
    """
    table = read(folder)
    judged = pd.DataFrame([_judge(row) for row in table.to_dict("records")])
    return pd.concat([table, judged], axis="columns")


def summarize(compared: pd.DataFrame) -> pd.DataFrame:
    """Return one line per family: how many values, from where, how close, how many beyond tolerance.

    Parameters
    ----------
    compared : DataFrame
        What `compare` returned.
    """
    share = compared["deviation"].abs() / compared["allowed"].where(compared["allowed"] > 0)
    memory = compared["status"] == "memory"
    families = compared.assign(share=share.fillna(0.0), memory=memory, beyond=~compared["within"]).groupby(
        "family"
    )
    return pd.DataFrame(
        {
            "Values": families.size(),
            "Of these from memory": families["memory"].sum(),
            "Median deviation, share of the allowed": families["share"].median().round(2),
            "Largest": families["share"].max().round(2),
            "Beyond": families["beyond"].sum(),
        }
    )


def text_table(compared: pd.DataFrame, family: str) -> pd.DataFrame:
    """Return one family as text to read: what was printed, what is computed, how far apart, from where.

    The last column counts the entries of `notes`, which hold the sources and the reasons for tolerances.

    Raises
    ------
    UnknownNameError
        No such family.
    """
    rows = _family(compared, family)
    counted = notes(compared, family)
    number = dict(zip(counted, counted.index.astype(str), strict=True))
    rounding = rows["deviation"].abs() < 1e-9 * rows["computed"].abs()
    return pd.DataFrame(
        {
            "Value": rows["id"],
            "Printed": rows["value"],
            "Computed": [
                _with_digits_of(*pair) for pair in zip(rows["computed"], rows["value"], strict=True)
            ],
            "Deviation": rows["deviation"].mask(rounding, 0.0).map("{:+.2g}".format).replace("+0", "0"),
            "Allowed": rows["allowed"].map("{:.2g}".format),
            "Unit": rows["unit"].replace(_SIGNS).str.replace("^3", "³").str.replace("deg", "°"),
            "Status": rows["status"],
            "Notes": [", ".join(number[note] for note in _notes_of(row)) for row in rows.to_dict("records")],
        }
    ).reset_index(drop=True)


def notes(compared: pd.DataFrame, family: str) -> pd.Series[str]:
    """Return the sources of a family and the reasons for its tolerances, each once, counted from one.

    Raises
    ------
    UnknownNameError
        No such family.
    """
    rows = _family(compared, family).to_dict("records")
    found = list(dict.fromkeys(note for row in rows for note in _notes_of(row)))
    return pd.Series(found, index=range(1, len(found) + 1), name="Notes")


_SIGNS = {"1": "", "percent": "%"}


def _with_digits_of(computed: float, printed: str) -> str:
    """Return the computed value with one digit more than was printed, and never fewer than five."""
    printed_digits = len(
        Decimal(printed.partition("-")[0] if "e" not in printed else printed).as_tuple().digits
    )
    return f"{computed:.{max(5, printed_digits + 1)}g}"


def _family(compared: pd.DataFrame, family: str) -> pd.DataFrame:
    rows = compared[compared["family"] == family]
    if rows.empty:
        raise UnknownNameError("family of published values", family, compared["family"].unique())
    return rows


def _notes_of(row: Mapping[Any, str]) -> list[str]:
    source = f"{row['source']}: {row['place']}"
    return [source, f"Tolerance: {row['reason']}"] if row["reason"] else [source]


def _read_family(file: Path) -> pd.DataFrame:
    table = pd.read_csv(file, dtype=str, keep_default_na=False)
    missing = [column for column in COLUMNS if column not in table]
    if missing:
        raise InputError(f"{file.name} lacks the columns {', '.join(missing)}; it needs {', '.join(COLUMNS)}")
    table.insert(0, "family", file.stem)
    return table


def _judge(row: Mapping[Any, str]) -> dict[str, Any]:
    try:
        calculation = _CALCULATIONS[row["check"]]
    except KeyError:
        raise UnknownNameError("calculation", row["check"], _CALCULATIONS) from None
    try:
        value = calculation.value(_inputs(row["inputs"]))
        computed = float(convert(value, calculation.unit, row["unit"], row["id"]))
    except Exception as error:
        error.add_note(f"while computing {row['family']}, {row['id']}")
        raise
    low, high = _printed(row["value"])
    deviation = computed - min(max(computed, low), high)
    allowed = _allowed(row)
    return {
        "computed": computed,
        "deviation": deviation,
        "allowed": allowed,
        "within": abs(deviation) <= allowed,
    }


def _printed(value: str) -> tuple[float, float]:
    """Return the printed number twice, or the ends of a printed range ("135-139")."""
    ends = re.fullmatch(r"([\d.]+)-([\d.]+)", value)
    return (float(ends[1]), float(ends[2])) if ends else (float(value), float(value))


def _allowed(row: Mapping[Any, str]) -> float:
    """Return the stated tolerance, else half a unit of the last printed digit, in the row's unit."""
    low, high = _printed(row["value"])
    number, _, percent = row["tolerance"].partition(" ")
    if percent:
        return abs(low) * float(number) / 100
    if number:
        return float(number)
    exponent = Decimal(row["value"]).as_tuple().exponent if low == high else None
    # The thousandth lets a value that lies on the edge of rounding pass in binary arithmetic.
    return 0.5005 * 10.0**exponent if isinstance(exponent, int) else 0.0


def _inputs(text: str) -> dict[str, Any]:
    """Return "name=value; name=value" as a mapping: numbers with their unit in SI, compositions, or words."""
    pairs = (part.partition("=") for part in text.split(";") if part.strip())
    return {name.strip(): _input(value.strip()) for name, _, value in pairs}


def _input(value: str) -> Any:
    if ":" in value:
        return {name: float(part) for name, part in (pair.split(":") for pair in value.split())}
    number = re.match(r"[-+]?[\d.]+(e[-+]?\d+)?(?=\s|$)", value)
    if not number:
        return value
    unit = value[number.end() :].strip() or "dimensionless"
    return float(registry().Quantity(float(number[0]), unit).to_base_units().magnitude)


@dataclass(frozen=True, slots=True)
class _Calculation:
    """How a kind of value is computed from a row's inputs, and the SI unit that it comes in."""

    unit: str
    value: Callable[[Mapping[str, Any]], Any]


def _fuel(given: Mapping[str, Any]) -> burn.Fuel:
    if "fuel" in given:
        return burn.Fuel(composition=given["fuel"], name="as published", normalize=True)
    return burn.fuel(given["fuel_name"])


def _some(given: Mapping[str, Any], *names: str) -> dict[str, Any]:
    return {name: given[name] for name in names if name in given}


def _properties(given: Mapping[str, Any]) -> burn.GasProperties:
    state = _some(given, "combustion_temperature", "metering_temperature")
    if "metering_pressure" in given:
        state["pressure"] = given["metering_pressure"]
    return _fuel(given).properties(burn.ReferenceConditions(**state))


def _ideal_gross(given: Mapping[str, Any]) -> Any:
    properties = _properties(given)
    return properties.gross_heating_value * properties.compression_factor


def _ideal_net(given: Mapping[str, Any]) -> Any:
    properties = _properties(given)
    return properties.net_heating_value * properties.compression_factor


def _relative_density_ideal(given: Mapping[str, Any]) -> Any:
    return _fuel(given).molar_mass / _air_molar_mass(given)


def _air_molar_mass(given: Mapping[str, Any]) -> Any:
    return convert(sources.table("species")["air"]["molar_mass"], "g/mol", "kg/mol")


def _vaporization(given: Mapping[str, Any]) -> Any:
    """Return the heat of vaporization that gross and net heating value of hydrogen differ by."""
    reference = burn.ReferenceConditions(combustion_temperature=given["temperature"])
    hydrogen = burn.fuel("hydrogen").properties(reference)
    return hydrogen.gross_heating_value_molar - hydrogen.net_heating_value_molar


def _fuel_factors(given: Mapping[str, Any]) -> burn.FuelFactors:
    return _fuel(given).fuel_factors


def _flame(given: Mapping[str, Any]) -> burn.AdiabaticFlame:
    options = _some(given, "dry_air", "air_temperature", "fuel_temperature", "pressure")
    return burn.adiabatic_flame(_fuel(given), excess_air=1 / given["equivalence_ratio"] - 1, **options)


def _flame_fraction(given: Mapping[str, Any]) -> Any:
    return _flame(given).composition[given["species"]]


def _water_dew_point(given: Mapping[str, Any]) -> Any:
    return burn.saturation_temperature(given["water_wet"] * given["pressure"])


def _acid_dew_point(given: Mapping[str, Any]) -> Any:
    return burn.acid_dew_point(
        given["water_wet"], sulfur_trioxide_wet=given["sulfur_trioxide_wet"], pressure=given["pressure"]
    )


def _flue(given: Mapping[str, Any]) -> burn.FlueGas:
    readings = _some(given, "oxygen_dry", "carbon_monoxide_dry", "excess_air", "pressure")
    return burn.flue_gas(_fuel(given), **readings)


def _efficiency(given: Mapping[str, Any]) -> Any:
    intake = given["air_temperature"]
    flue_temperature = intake + given["rise"]
    losses = burn.stack_losses(_flue(given), flue_temperature=flue_temperature, air_temperature=intake)
    return losses.efficiency_gross


def _stack_loss_european(given: Mapping[str, Any]) -> Any:
    options = _some(given, "flue_temperature", "air_temperature", "fuel_kind")
    return burn.stack_loss_european(given["oxygen_dry"], **options)


def _stack_loss_constant(given: Mapping[str, Any]) -> Any:
    return sources.table("stack_loss")["coefficients"][given["fuel_kind"]][given["constant"]]


def _mass_concentration(given: Mapping[str, Any]) -> Any:
    state = _some(given, "temperature", "pressure")
    return burn.mass_concentration(given["fraction"], species=given["species"], **state)


def _fraction_from_mass(given: Mapping[str, Any]) -> Any:
    state = _some(given, "temperature", "pressure")
    return burn.fraction_from_mass_concentration(given["concentration"], species=given["species"], **state)


def _reference_fraction(given: Mapping[str, Any]) -> Any:
    return burn.fraction_at_reference_oxygen(
        given["fraction"], oxygen_dry=given["oxygen_dry"], reference_oxygen=given["reference_oxygen"]
    )


def _published_fuel_factor(given: Mapping[str, Any]) -> Any:
    return burn.published_fuel_factor(given["fuel_name"], given["kind"])


def _emission(given: Mapping[str, Any]) -> Any:
    dry_flue = burn.dry_flue_by_factor(given["fuel_factor"], oxygen_dry=given["oxygen_dry"])
    return burn.emission_per_heat(given["fraction"], species=given["species"], dry_flue=dry_flue)


def _emission_output(given: Mapping[str, Any]) -> Any:
    return burn.emission_per_output(_emission(given), efficiency=given["efficiency"])


def _emission_by_composition(given: Mapping[str, Any]) -> Any:
    dry_flue = burn.dry_flue_by_composition(_flue(given), basis=given["basis"])
    return burn.emission_per_heat(given["fraction"], species=given["species"], dry_flue=dry_flue)


def _fraction_for_emission(given: Mapping[str, Any]) -> Any:
    dry_flue = burn.dry_flue_by_composition(_flue(given), basis="gross")
    return burn.fraction_from_emission(given["emission"], species=given["species"], dry_flue=dry_flue)


def _carbon_dioxide_per_heat(given: Mapping[str, Any]) -> Any:
    return burn.carbon_dioxide_per_heat(_fuel(given))


def _greenhouse_factor(given: Mapping[str, Any]) -> Any:
    return getattr(burn.greenhouse_factor(given["fuel_name"]), given["gas"])


def _greenhouse_heat(given: Mapping[str, Any]) -> Any:
    return burn.greenhouse_factor(given["fuel_name"]).heat_in(given["volume"])


def _greenhouse_mass(given: Mapping[str, Any]) -> Any:
    factor = burn.greenhouse_factor(given["fuel_name"])
    return getattr(burn.greenhouse_gas(_greenhouse_heat(given), factor=factor), given["gas"])


def _warming_potential(given: Mapping[str, Any]) -> Any:
    return sources.table("emission_factors")["warming_potential"][given["edition"]][given["gas"]]


def _attribute(of: Callable[[Mapping[str, Any]], Any], name: str, unit: str) -> _Calculation:
    return _Calculation(unit, lambda given: getattr(of(given), name))


_CALCULATIONS: Mapping[str, _Calculation] = {
    "acid_dew_point": _Calculation("K", _acid_dew_point),
    "air_molar_mass": _Calculation("kg/mol", _air_molar_mass),
    "air_per_fuel": _attribute(_flue, "air_moles", "1"),
    "air_ratio": _attribute(_flue, "air_ratio", "1"),
    "carbon_dioxide_per_heat": _Calculation("kg/J", _carbon_dioxide_per_heat),
    "compression_factor": _attribute(_properties, "compression_factor", "1"),
    "efficiency_gross": _Calculation("1", _efficiency),
    "emission": _Calculation("kg/J", _emission),
    "emission_by_composition": _Calculation("kg/J", _emission_by_composition),
    "emission_output": _Calculation("kg/J", _emission_output),
    "excess_air": _attribute(_flue, "excess_air", "1"),
    "f_factor_carbon": _attribute(_fuel_factors, "carbon", "m^3/J"),
    "f_factor_dry": _attribute(_fuel_factors, "dry", "m^3/J"),
    "f_factor_wet": _attribute(_fuel_factors, "wet", "m^3/J"),
    "flame_fraction": _Calculation("1", _flame_fraction),
    "flame_temperature": _attribute(_flame, "temperature", "K"),
    "flue_dew_point": _attribute(_flue, "water_dew_point", "K"),
    "fraction_for_emission": _Calculation("1", _fraction_for_emission),
    "fraction_from_mass": _Calculation("1", _fraction_from_mass),
    "frozen_flame_temperature": _attribute(_flame, "frozen_temperature", "K"),
    "fuel_factor": _attribute(_fuel_factors, "ratio", "1"),
    "greenhouse_factor": _Calculation("kg/J", _greenhouse_factor),
    "greenhouse_heat": _Calculation("J", _greenhouse_heat),
    "greenhouse_mass": _Calculation("kg", _greenhouse_mass),
    "gross_heating_value_mass": _attribute(_properties, "gross_heating_value_mass", "J/kg"),
    "gross_heating_value_molar": _attribute(_properties, "gross_heating_value_molar", "J/mol"),
    "gross_heating_value_volume": _attribute(_properties, "gross_heating_value", "J/m^3"),
    "gross_heating_value_volume_ideal": _Calculation("J/m^3", _ideal_gross),
    "mass_concentration": _Calculation("kg/m^3", _mass_concentration),
    "molar_mass": _attribute(_fuel, "molar_mass", "kg/mol"),
    "net_heating_value_mass": _attribute(_properties, "net_heating_value_mass", "J/kg"),
    "net_heating_value_molar": _attribute(_properties, "net_heating_value_molar", "J/mol"),
    "net_heating_value_volume": _attribute(_properties, "net_heating_value", "J/m^3"),
    "net_heating_value_volume_ideal": _Calculation("J/m^3", _ideal_net),
    "published_fuel_factor": _Calculation("m^3/J", _published_fuel_factor),
    "reference_fraction": _Calculation("1", _reference_fraction),
    "relative_density": _attribute(_properties, "relative_density", "1"),
    "relative_density_ideal": _Calculation("1", _relative_density_ideal),
    "saturation_pressure": _Calculation("Pa", lambda given: burn.saturation_pressure(given["temperature"])),
    "saturation_temperature": _Calculation("K", lambda given: burn.saturation_temperature(given["pressure"])),
    "stack_loss_constant": _Calculation("1", _stack_loss_constant),
    "stack_loss_european": _Calculation("1", _stack_loss_european),
    "ultimate_carbon_dioxide": _attribute(_fuel, "ultimate_carbon_dioxide", "1"),
    "vaporization_enthalpy": _Calculation("J/mol", _vaporization),
    "warming_potential": _Calculation("1", _warming_potential),
    "water_dew_point": _Calculation("K", _water_dew_point),
    "water_wet": _attribute(_flue, "water_fraction", "1"),
    "wobbe_gross": _attribute(_properties, "wobbe_gross", "J/m^3"),
    "wobbe_net": _attribute(_properties, "wobbe_net", "J/m^3"),
}
