"""Burns made from formulas, so that what must come out is known before the code runs."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest

FRESH, OXYGEN, MONOXIDE, COLD = 0.209, 0.06, 40e-6, 295.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Burn:
    """Two minutes of fresh air, a burn of some minutes, two minutes of fresh air; every `step` seconds.

    The flue approaches `settled` [K] from `COLD` with time constant `tau` [s] and drifts by `drift` [K/s]; oxygen and
    carbon monoxide settle within a minute. `noise` scales the sensors' noise.
    """

    minutes: float = 20.0
    step: float = 1.0
    tau: float = 90.0
    settled: float = 450.0
    drift: float = 0.0
    noise: float = 1.0
    seed: int = 1

    @property
    def light_off(self) -> int:
        """Row of light-off."""
        return round(120 / self.step)

    @property
    def off(self) -> int:
        """Row at which the burner goes off."""
        return round((120 + 60 * self.minutes) / self.step)

    def frame(self) -> pd.DataFrame:
        rng = np.random.default_rng(self.seed)
        count = round((240 + 60 * self.minutes) / self.step)
        age = np.arange(count) * self.step - 120.0
        on, after = np.clip(age, 0, None), np.clip(age - 60 * self.minutes, 0, None)
        burning = (age >= 0) & (after == 0)
        rise = self.settled - COLD
        oxygen = np.where(burning, OXYGEN + (FRESH - OXYGEN) * np.exp(-on / 10), FRESH)
        oxygen = np.where(after > 0, FRESH - (FRESH - OXYGEN) * np.exp(-after / 5), oxygen)
        flue = np.where(burning, self.settled + self.drift * on - rise * np.exp(-on / self.tau), COLD)
        flue = np.where(after > 0, COLD + rise * np.exp(-after / self.tau), flue)
        values = {
            "oxygen_dry": oxygen + self.noise * 3e-4 * rng.standard_normal(count),
            "carbon_monoxide_dry": np.where(burning, MONOXIDE * (1 + 5 * np.exp(-on / 15)), 0.0)
            + self.noise * 1e-6 * rng.standard_normal(count),
            "flue_temperature": flue + self.noise * 0.3 * rng.standard_normal(count),
        }
        index = pd.date_range(
            "2026-01-14 10:00",
            periods=count,
            freq=pd.Timedelta(seconds=self.step),
            tz="America/New_York",
            name="time",
        )
        return pd.DataFrame(values, index=index)


@pytest.fixture
def burn() -> Callable[..., Burn]:
    """Return a maker of burns."""
    return Burn
