"""The clocked meter against hand-worked examples and the gas law."""

import pytest

from fluewright.appliance import heat_input_clocked
from fluewright.errors import InputError
from fluewright.units import convert, quantity


@pytest.mark.law
def test_two_cubic_feet_in_72_seconds_at_base_conditions() -> None:
    # By hand: 2 ft³ x 3600 s/h / 72 s = 100 ft³/h; x 1030 Btu/ft³ = 103,000 Btu/h.
    heat = heat_input_clocked(
        quantity(2.0, "ft^3"),
        seconds=72.0,
        heating_value=quantity(1030.0, "Btu/ft^3"),
        compensated=True,
    )
    assert convert(float(heat), "W", "Btu/hour") == pytest.approx(103_000, rel=1e-12)


@pytest.mark.law
def test_an_uncompensated_meter_follows_the_gas_law() -> None:
    plain = heat_input_clocked(0.05, seconds=60.0, heating_value=38e6)
    pressed = heat_input_clocked(0.05, seconds=60.0, heating_value=38e6, meter_pressure=10132.5)
    warm = heat_input_clocked(0.05, seconds=60.0, heating_value=38e6, meter_temperature=2 * 288.7056)
    assert float(pressed / plain) == pytest.approx(1.1, rel=1e-12)
    assert float(warm / plain) == pytest.approx(0.5, rel=1e-12)


def test_a_time_of_zero_is_refused() -> None:
    with pytest.raises(InputError, match="seconds must be above zero"):
        heat_input_clocked(0.05, seconds=0.0, heating_value=38e6)
