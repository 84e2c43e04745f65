"""Heat input from a clocked gas meter, referred to the base conditions of the heating value."""

from __future__ import annotations

import numpy as np
import pandas as pd

from fluewright.errors import InputError
from fluewright.units import Array, Number, si


def heat_input_clocked(
    volume: Number,
    *,
    seconds: Number,
    heating_value: Number,
    meter_pressure: Number = 0.0,
    meter_temperature: Number = 288.7056,
    barometric_pressure: Number = 101325.0,
    base_pressure: Number = 101325.0,
    base_temperature: Number = 288.7056,
    compensated: bool = False,
) -> Array:
    """Return the heat input by the meter, on the gross basis.

    The metered volume is brought to the base conditions of the heating value by the gas law (the change of the
    compression factor between meter and base, below 0.1 % at these pressures, is left out). A compensated meter
    already shows base volume.

    Parameters
    ----------
    volume : number or array [m³]
        Gas that passed the meter.
    seconds : number or array [s]
        Time it took.
    heating_value : number or array [J/m³]
        Gross heating value at the base conditions.
    meter_pressure : number or array [Pa]
        Gauge pressure at the meter.
    meter_temperature, base_temperature : number or array [K]
        Gas temperature at the meter; temperature of the base.
    barometric_pressure, base_pressure : number or array [Pa]
        Absolute pressure at the site; absolute pressure of the base.
    compensated : bool
        The meter corrects to the base by itself.

    Returns
    -------
    array [W]
        Heat input, gross basis.

    Raises
    ------
    InputError
        A time, volume, temperature or absolute pressure that is not above zero.
    """
    gas = si(volume, "m^3", "volume")
    time = si(seconds, "s", "seconds")
    heat = si(heating_value, "J/m^3", "heating_value")
    gauge = si(meter_pressure, "Pa", "meter_pressure")
    warm = si(meter_temperature, "K", "meter_temperature")
    air = si(barometric_pressure, "Pa", "barometric_pressure")
    base_p = si(base_pressure, "Pa", "base_pressure")
    base_t = si(base_temperature, "K", "base_temperature")
    for name, values in (
        ("volume", gas),
        ("seconds", time),
        ("meter_temperature", warm),
        ("pressure", air + gauge),
    ):
        if not (values > 0).all():
            raise InputError(f"{name} must be above zero to clock a meter, not {values}")
    correction = 1.0 if compensated else (air + gauge) / base_p * base_t / warm
    return gas / time * correction * heat


def gas_flow_counted(counted: pd.Series[float], *, resolution: Number = 0.0) -> tuple[float, float] | None:
    """Return the gas flow by the pulses of a meter, and its half-width, or None where the count tells none.

    Parameters
    ----------
    counted : Series [m³]
        What the meter had counted, time as index.
    resolution : number [m³]
        Gas per pulse; where not given, the smallest step of the count.

    Returns
    -------
    tuple of two floats [m³/s]
        From the first step to the last, so that what had passed before the first pulse does not count.
    """
    count = counted.dropna()
    steps = np.flatnonzero(np.diff(count.to_numpy(dtype=np.float64)) > 0) + 1
    if steps.size < 2 or (np.diff(count.to_numpy(dtype=np.float64)) < 0).any():
        return None
    first, last = count.index[steps[0]], count.index[steps[-1]]
    time = (last - first).total_seconds()
    volume = float(count.iloc[steps[-1]] - count.iloc[steps[0]])
    # A pulse is seen up to one row late, at either end.
    late = float(np.median(np.diff(pd.DatetimeIndex(count.index).as_unit("ns").asi8))) * 1e-9
    share = late / time + float(si(resolution, "m^3", "resolution")) / volume
    return volume / time, volume / time * share
