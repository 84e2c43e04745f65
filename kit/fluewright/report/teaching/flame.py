"""Lesson 4: how hot a flame is, and what it leaves."""

from __future__ import annotations

import numpy as np

from fluewright import units
from fluewright.combustion import (
    adiabatic_flame,
    cooling,
    fuel,
    thermal_nitric_oxide,
)
from fluewright.report import words
from fluewright.report.drawing import drawing_style, figure
from fluewright.report.live import Live, Slider
from fluewright.report.objects import Figure
from fluewright.report.teaching.sketch import (
    BLACK,
    BLUE,
    PERCENT,
    PPM,
    RED,
    degrees,
    kelvin_of,
    mark,
    panels,
    plain_decades,
    temperature_slider,
)
from fluewright.report.words import System


def flame(system: System = "US") -> Live:
    """Flame temperature with and without dissociation, and what the flame holds at equilibrium."""

    def draw(extra: float, air: float) -> Figure:
        grid = np.append(np.linspace(-0.2, 1.0, 41), extra / PERCENT)
        hot = adiabatic_flame(fuel("methane"), excess_air=grid, air_temperature=kelvin_of(air, system))
        kelvin, frozen = np.asarray(hot.temperature), np.asarray(hot.frozen_temperature)
        with drawing_style():
            drawing, (axes, parts) = panels(2, 2.9)
            shown = PERCENT * grid[:-1]
            axes.plot(shown, degrees(frozen[:-1], system), color=RED, linestyle="--", label="no dissociation")
            axes.plot(shown, degrees(kelvin[:-1], system), color=BLUE, label="at equilibrium")
            axes.set(xlabel="excess air, %", xlim=(-20, 100))
            axes.legend(loc="lower left")
            axes.set_title(f"Adiabatic flame of methane, {words.sign('flue_temperature', system)}")
            mark(
                axes,
                extra,
                float(degrees(kelvin[-1], system)),
                f"{float(degrees(kelvin[-1], system)):,.0f}",
            )
            for name, label, at in (
                ("CO", "CO", 4),
                ("H2", "H₂", 2),
                ("OH", "OH", 30),
                ("NO", "NO", 36),
                ("O2", "O₂", 36),
            ):
                share = PERCENT * np.asarray(hot.composition[name])[:-1]
                (line,) = parts.plot(shown, share)
                parts.annotate(
                    label,
                    (shown[at], share[at]),
                    xytext=(2, 3),
                    textcoords="offset points",
                    color=line.get_color(),
                )
            parts.axvline(extra, color=BLACK, linewidth=0.8)
            parts.set(xlabel="excess air, %", yscale="log", ylim=(1e-3, 30), xlim=(-20, 100))
            plain_decades(parts.yaxis)
            parts.set_title("At equilibrium, % of wet gas")
        monoxide = PPM * float(np.asarray(hot.composition["CO"])[-1])
        value, lost = float(degrees(kelvin[-1], system)), float(frozen[-1] - kelvin[-1])
        without = (
            f"dissociation takes {units.convert(lost, 'delta_degC', 'delta_degF') if system == 'US' else lost:,.0f} "
            f"{'°F' if system == 'US' else 'K'} from it"
            if extra >= 0
            else "with less air than needed, carbon monoxide and hydrogen are left over"
        )
        return figure(
            drawing,
            alt=f"Flame temperature over excess air; at {extra:g} % it is {value:,.0f} "
            f"{words.sign('flue_temperature', system)}.",
            caption=f"With {extra:g} % excess air the adiabatic flame reaches {value:,.0f} "
            f"{words.sign('flue_temperature', system)}; {without}. At equilibrium it holds {monoxide:,.0f} ppm of "
            "carbon monoxide. No real flame is adiabatic.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("extra", "Excess air", (-20, 100, 1), start=0, sign="%"),
            temperature_slider("air", "Air temperature", (0, 1000, 75), (-15, 540, 25), system),
        ),
    )


def cooling_gas(system: System = "US") -> Live:
    """Carbon monoxide of cooling flame gas, and nitric oxide over the time at the flame's temperature."""

    def draw(extra: float, time: float) -> Figure:
        gas, share = fuel("methane"), extra / PERCENT
        top = float(adiabatic_flame(gas, excess_air=share).temperature)
        path = cooling(gas, temperature=np.linspace(900.0, 0.999 * top, 50), excess_air=share)
        seconds = np.unique(np.append(np.geomspace(1e-3, 3.0, 25), time / 1e3))
        nitric = thermal_nitric_oxide(gas, residence_time=seconds, excess_air=share)
        made = PPM * np.asarray(nitric.kinetic_dry)
        now = float(made[np.searchsorted(seconds, time / 1e3)])
        dry = {kind: PPM * np.asarray(parts["CO"]) / (1 - np.asarray(parts["H2O"]))
               for kind, parts in (("frozen", path.frozen), ("equilibrium", path.equilibrium))}  # fmt: skip
        with drawing_style():
            drawing, (left, right) = panels(2, 2.9)
            shown = degrees(path.temperature, system)
            left.plot(shown, dry["frozen"], color=RED, linestyle="--", label="frozen in the flame")
            left.plot(shown, dry["equilibrium"], color=BLUE, label="at equilibrium all the way")
            left.axhspan(5, 100, color="#d5dae0", zorder=0)
            left.text(shown[-1], 22, " readings commonly seen", ha="left", va="center", fontsize=7.5)
            left.set(
                yscale="log",
                ylim=(1e-3, 1e5),
                xlabel=f"temperature on the way out, {words.sign('flue_temperature', system)}",
            )
            plain_decades(left.yaxis)
            left.invert_xaxis()
            left.legend(loc="lower left")
            left.set_title("Carbon monoxide, dry, ppm")
            right.plot(1e3 * seconds, made, color=BLUE)
            right.axhline(PPM * nitric.equilibrium_dry, color=RED, linestyle="--")
            right.text(1.2, PPM * nitric.equilibrium_dry * 1.15, "at equilibrium", color=RED)
            right.plot([time], [now], marker="o", color=BLACK)
            right.annotate(
                f"{now:.0f} ppm", (time, now), xytext=(6, -10), textcoords="offset points", fontweight="bold"
            )
            right.set(xscale="log", yscale="log", ylim=(1, 1e4), xlabel="time at the flame's temperature, ms")
            plain_decades(right.xaxis)
            plain_decades(right.yaxis)
            right.set_title("Nitric oxide, dry, ppm")
        return figure(
            drawing,
            alt=f"Carbon monoxide of cooling gas, frozen and at equilibrium; nitric oxide over time, {now:.0f} ppm "
            f"after {time:g} ms.",
            caption=f"With {extra:g} % excess air the flame holds {dry['frozen'][-1]:,.0f} ppm of carbon monoxide. "
            f"Cooled slowly it would all burn; what a flue shows was quenched or never mixed. After {time:g} ms "
            f"nitric oxide has reached {now:.0f} ppm of the {PPM * nitric.equilibrium_dry:,.0f} at equilibrium: it "
            "is made of time and heat. Estimates for teaching, not forecasts of a reading.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("extra", "Excess air", (0, 60, 1), start=10, sign="%"),
            Slider("time", "Time at the flame's temperature", (1, 1000, 1), start=30, sign="ms"),
        ),
    )
