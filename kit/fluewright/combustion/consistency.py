"""Oxygen against carbon dioxide, where both were truly measured: whether the pair belongs to the fuel."""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion.blocks import Values, blockwise, plain
from fluewright.combustion.flue import flue_gas
from fluewright.combustion.fuels import Fuel
from fluewright.errors import InputError
from fluewright.units import Number, si

__all__ = ["Agreement", "CarbonOxygenTest", "carbon_oxygen_test"]


class Agreement(IntEnum):
    """What a pair of oxygen and carbon dioxide says of its fuel; `words` says what it can mean."""

    AGREES = 0
    CANNOT_TELL = 1
    CARBON_DIOXIDE_HIGH = 2
    CARBON_DIOXIDE_LOW = 3
    NO_NUMBERS = 4

    @property
    def words(self) -> str:
        """The outcome in words."""
        return _WORDS[self]


_NEVER = "dilution by air cannot cause it: that moves oxygen and carbon dioxide along the same line"
_WORDS = {
    Agreement.AGREES: (
        "oxygen and carbon dioxide agree with the fuel; air drawn in before the probe would not show"
    ),
    Agreement.CANNOT_TELL: (
        "cannot tell: the difference is within the uncertainty of the two cells; sample again"
    ),
    Agreement.CARBON_DIOXIDE_HIGH: (
        "more carbon dioxide than this fuel makes at that oxygen: a cell reads high, or the fuel holds more "
        f"carbon or carbon dioxide than assumed; {_NEVER}"
    ),
    Agreement.CARBON_DIOXIDE_LOW: (
        "less carbon dioxide than this fuel makes at that oxygen: a cell reads low, or the fuel holds more "
        "hydrogen than assumed, or carbon left unburnt that was not measured; "
        f"{_NEVER}"
    ),
    Agreement.NO_NUMBERS: (
        "the readings are no flue gas, impossible or no number: see the state of the flue gas"
    ),
}


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CarbonOxygenTest:
    """Outcome of the test; floats for scalar readings, read-only arrays for arrays.

    `fuel_factor` [-] is Fo as measured, `fuel_factor_expected` that of the fuel's composition at the same
    oxygen and carbon monoxide, `fuel_factor_range` the published range for the kind of fuel, where there is
    one. `carbon_dioxide_expected` [mol/mol] follows from the oxygen; `difference` [mol/mol] is measured less
    expected. `agreement` holds codes of `Agreement`.
    """

    fuel_factor: Values
    fuel_factor_expected: Values
    fuel_factor_range: tuple[float, float] | None
    carbon_dioxide_expected: Values
    difference: Values
    agreement: Values


def carbon_oxygen_test(
    fuel: Fuel,
    *,
    oxygen_dry: Number,
    carbon_dioxide_dry: Number,
    carbon_monoxide_dry: Number = 0.0,
    oxygen_uncertainty: Number = 0.0,
    carbon_dioxide_uncertainty: Number = 0.0,
) -> CarbonOxygenTest:
    """Compare measured carbon dioxide with what the measured oxygen and the fuel ask for.

    Only for readings of two cells: carbon dioxide that an instrument computes from oxygen always agrees.

    Parameters
    ----------
    fuel : Fuel
        What burns; it must hold carbon.
    oxygen_dry, carbon_dioxide_dry, carbon_monoxide_dry : float or array [mol/mol]
        Readings in dried gas.
    oxygen_uncertainty, carbon_dioxide_uncertainty : float or array [mol/mol]
        Half-width of the 95 % interval of the two cells. Where the interval of the fuel factor straddles the
        limit the outcome is `Agreement.CANNOT_TELL`.

    Returns
    -------
    CarbonOxygenTest

    Raises
    ------
    InputError
        Scalar readings are no flue gas or impossible, or the fuel holds no carbon.

    Notes
    -----
    ``Fo = (20.9 − O2 + CO/2) / (CO2 + CO)``, percent dry, 40 CFR 60 Appendix A-2 Method 3B. The limit for
    the relative deviation of the factor is in ``sources/flue_gas.toml``.

    Examples
    --------
    >>> from fluewright.combustion import carbon_oxygen_test, fuel
    >>> test = carbon_oxygen_test(fuel("natural gas"), oxygen_dry=0.05, carbon_dioxide_dry=0.108)
    >>> round(test.fuel_factor, 3), test.agreement.name
    (1.472, 'CARBON_DIOXIDE_HIGH')
    """
    if not np.all(np.asarray(fuel.carbon) > 0):
        raise InputError(f"'{fuel.name}' holds no carbon, so there is no carbon dioxide to compare.")
    data = sources.table("flue_gas")
    dioxide = si(carbon_dioxide_dry, "mol/mol", "carbon_dioxide_dry")
    flue = flue_gas(fuel, oxygen_dry=oxygen_dry, carbon_monoxide_dry=carbon_monoxide_dry)
    if dioxide.ndim == 0 and not 0 < dioxide < 1:
        raise InputError(
            f"carbon_dioxide_dry is {float(dioxide):.6g}; flue gas holds some. Check the cell and the unit."
        )
    limit, air_oxygen = data["agreement"]["fuel_factor"], sources.table("air")["trade"]["oxygen"]

    def kernel(
        oxygen: Any, dioxide: Any, monoxide: Any, expected: Any, u_oxygen: Any, u_dioxide: Any
    ) -> tuple[Any, ...]:
        used = air_oxygen - oxygen + monoxide / 2
        factor, factor_expected = used / (dioxide + monoxide), used / (expected + monoxide)
        deviation = factor / factor_expected - 1
        spread = np.hypot(u_oxygen / used, u_dioxide / (dioxide + monoxide)) * factor / factor_expected
        outcome = np.where(deviation < 0, Agreement.CARBON_DIOXIDE_HIGH, Agreement.CARBON_DIOXIDE_LOW)
        outcome = np.where(abs(deviation) - spread <= limit, Agreement.CANNOT_TELL, outcome)
        outcome = np.where(abs(deviation) + spread <= limit, Agreement.AGREES, outcome)
        numbers = (dioxide > 0) & (dioxide < 1) & ~np.isnan(deviation + spread)
        return factor, factor_expected, np.where(numbers, outcome, Agreement.NO_NUMBERS)

    expected = flue.carbon_dioxide_dry
    factor, factor_expected, agreement = blockwise(
        kernel,
        flue.oxygen_dry,
        dioxide,
        flue.carbon_monoxide_dry,
        expected,
        si(oxygen_uncertainty, "mol/mol", "oxygen_uncertainty"),
        si(carbon_dioxide_uncertainty, "mol/mol", "carbon_dioxide_uncertainty"),
        kinds=(float, float, np.uint8),
    )
    published = data["fuel_factor_range"].get(fuel.kind.replace(" ", "_"))
    return CarbonOxygenTest(
        fuel_factor=plain(factor),
        fuel_factor_expected=plain(factor_expected),
        fuel_factor_range=None if published is None else (published[0], published[1]),
        carbon_dioxide_expected=expected,
        difference=plain(dioxide - np.asarray(expected)),
        agreement=Agreement(int(agreement)) if agreement.ndim == 0 else plain(agreement),
    )
