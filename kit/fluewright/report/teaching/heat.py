"""Lessons 5, 6 and 8: the dew point, where the heat goes, and another gas in the same burner."""

from __future__ import annotations

import math

import numpy as np

from fluewright import units
from fluewright.combustion import (
    Fuel,
    adiabatic_flame,
    blend,
    flue_gas,
    fuel,
    moist_air_water_fraction,
    stack_losses,
)
from fluewright.combustion.atmosphere import standard_atmosphere_pressure
from fluewright.report import words
from fluewright.report.drawing import drawing_style, figure
from fluewright.report.live import Live, Slider
from fluewright.report.objects import Figure
from fluewright.report.teaching.sketch import (
    BLACK,
    BLUE,
    PERCENT,
    PINK,
    PPM,
    RED,
    ROOM,
    degrees,
    kelvin_of,
    mark,
    panels,
    percent,
    temperature_slider,
    widen,
)
from fluewright.report.words import System


def dew_point(system: System = "US") -> Live:
    """Dew point over excess air, and the share of the water that condenses over flue temperature."""
    feet = system == "US"

    def draw(extra: float, humidity: float, elevation: float, flue_temperature: float) -> Figure:
        pressure = float(
            standard_atmosphere_pressure(elevation * (units.factor("foot", "m")[0] if feet else 1.0))
        )
        water = float(moist_air_water_fraction(humidity / PERCENT, temperature=ROOM, pressure=pressure))
        gas, grid, cold = fuel("natural gas"), np.linspace(0, 2, 61), kelvin_of(flue_temperature, system)
        curve = flue_gas(gas, excess_air=grid, air_water_fraction=water, pressure=pressure)
        here = flue_gas(gas, excess_air=extra / PERCENT, air_water_fraction=water, pressure=pressure)
        dew = float(here.water_dew_point)
        path = np.linspace(293.15, 343.15, 61)
        share = stack_losses(
            here, flue_temperature=path, air_temperature=ROOM, condensing=True
        ).condensed_fraction
        now = float(
            stack_losses(
                here, flue_temperature=cold, air_temperature=ROOM, condensing=True
            ).condensed_fraction
        )
        sign = words.sign("flue_temperature", system)
        with drawing_style():
            drawing, (left, right) = panels(2, 2.8)
            shown = degrees(np.asarray(curve.water_dew_point), system)
            left.plot(PERCENT * grid, shown, color=BLUE)
            left.fill_between(PERCENT * grid, shown, degrees(283.15, system), color="#cfe3f1", zorder=0)
            left.axhline(float(degrees(cold, system)), color=RED, linestyle="--")
            left.text(4, float(degrees(cold, system)), "the flue", color=RED, va="bottom")
            left.set(
                xlabel="excess air, %",
                xlim=(0, 200),
                ylim=(degrees(283.15, system), degrees(363.15, system)),
            )
            left.set_title(f"Dew point of the flue gas, {sign}")
            mark(left, extra, float(degrees(dew, system)), f"{float(degrees(dew, system)):.0f} {sign}")
            right.plot(degrees(path, system), PERCENT * np.asarray(share), color=BLUE)
            right.set(
                xlabel=f"flue temperature, {sign}",
                ylim=(0, 100),
                xlim=(degrees(293.15, system), degrees(343.15, system)),
            )
            right.set_title("Share of the water condensed, %")
            if 293.15 <= cold <= 343.15:
                mark(right, float(degrees(cold, system)), PERCENT * now, f"{PERCENT * now:.0f} %")
        side = "below" if cold < dew else "above"
        what = (
            f"the gas runs wet, and {PERCENT * now:.0f} % of its water can condense"
            if cold < dew
            else "nothing condenses in the gas"
        )
        return figure(
            drawing,
            alt=f"Dew point over excess air; at {extra:g} % it is {float(degrees(dew, system)):.0f} {sign}.",
            caption=f"With {extra:g} % excess air the dew point is {float(degrees(dew, system)):.0f} {sign}. The "
            f"flue at {flue_temperature:g} {sign} is {side} it: {what}. A wall colder than the dew point is wet even "
            "where the gas is not.",
        )

    top = (0, 10000, 0, 250, "ft") if feet else (0, 3000, 0, 100, "m")
    return Live(
        draw=draw,
        controls=(
            Slider("extra", "Excess air", (0, 200, 5), start=30, sign="%"),
            Slider(
                "humidity",
                f"Humidity of the air at {'77 °F' if feet else '25 °C'}",
                (0, 100, 5),
                start=50,
                sign="%",
            ),
            Slider("elevation", "Elevation", (top[0], top[1], top[3]), start=top[2], sign=top[4]),
            temperature_slider(
                "flue_temperature", "Flue temperature", (75, 190, 110), (24, 88, 43), system, step=1
            ),
        ),
    )


def heat(system: System = "US") -> Live:
    """The gross heat divided among its ways out, and efficiency over flue temperature, gross and net."""

    def draw(oxygen: float, flue_temperature: float, air_temperature: float, monoxide: float) -> Figure:
        gas, air = fuel("natural gas"), kelvin_of(air_temperature, system)
        flue = flue_gas(gas, oxygen_dry=oxygen / PERCENT, carbon_monoxide_dry=monoxide / PPM)
        hot = kelvin_of(flue_temperature, system)
        loss = stack_losses(flue, flue_temperature=hot, air_temperature=air, condensing=True)
        path = np.linspace(300, 600, 101)
        line = stack_losses(flue, flue_temperature=path, air_temperature=air, condensing=True)
        gross, net = float(loss.efficiency_gross), float(loss.efficiency_net)
        parts = [
            ("useful heat", gross, "#cfe3f1"),
            (
                "dry gas, less what the air brought",
                float(loss.dry_gas) + float(loss.air_moisture) - float(loss.credit_air),
                RED,
            ),
            ("water vapor, sensible", float(loss.water_sensible), PINK),
            ("water vapor, latent", float(loss.water_latent), BLUE),
            ("carbon monoxide", float(loss.carbon_monoxide), BLACK),
        ]
        sign = words.sign("flue_temperature", system)
        with drawing_style():
            drawing, (bars, curve) = panels(2, 2.9, widths=(1.15, 1), wspace=0.2)
            drawing.subplots_adjust(left=0.3)
            names, values = [name for name, _, _ in parts], [PERCENT * value for _, value, _ in parts]
            bars.barh(names, values, color=[color for _, _, color in parts])
            for row, value in enumerate(values):
                bars.text(max(value, 0) + 1, row, f"{value:.1f}", va="center")
            bars.set(xlim=(0, 112), xlabel="% of the gross heat")
            bars.invert_yaxis()
            bars.grid(visible=False)
            bars.set_title("Where the heat goes")
            shown = degrees(path, system)
            curve.plot(
                shown,
                PERCENT * np.asarray(line.efficiency_net),
                color=RED,
                linestyle="--",
                label="of net heat",
            )
            curve.plot(shown, PERCENT * np.asarray(line.efficiency_gross), color=BLUE, label="of gross heat")
            curve.axvline(
                float(degrees(float(flue.water_dew_point), system)),
                color=BLACK,
                linestyle=":",
                linewidth=0.8,
            )
            curve.set(xlabel=f"flue temperature, {sign}", ylim=(70, 112), xlim=(shown[0], shown[-1]))
            curve.text(
                float(degrees(float(flue.water_dew_point), system)),
                111,
                " dew point",
                va="top",
                fontsize=7.5,
            )
            curve.legend(loc="lower left")
            curve.set_title("Efficiency, %")
            mark(curve, flue_temperature, PERCENT * gross, f"{PERCENT * gross:.1f}")
        return figure(
            drawing,
            alt="Shares of the gross heat: "
            f"{', '.join(f'{name} {value:.1f} %' for (name, _, _), value in zip(parts, values, strict=True))}.",
            caption=f"At {oxygen:g} % oxygen and {flue_temperature:g} {sign} the flue gas leaves {percent(gross)} of "
            f"the gross heat, or {percent(net)} of the net: the same heat, two names. Below the dew point the latent "
            "heat comes back, if the appliance is made for it.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("oxygen", "Oxygen, dry", (1, 13, 0.1), start=6, sign="%"),
            temperature_slider(
                "flue_temperature", "Flue temperature", (90, 600, 350), (32, 316, 175), system
            ),
            temperature_slider("air_temperature", "Air temperature", (-20, 120, 70), (-30, 50, 20), system),
            Slider("monoxide", "Carbon monoxide, dry", (0, 4000, 50), start=50, sign="ppm"),
        ),
    )


def _burner_with(gas: Fuel, before: Fuel, extra: float) -> tuple[float, float]:
    """Return heat input and air ratio, relative, of another gas through the same orifice with the same air."""
    flow = math.sqrt(float(before.relative_density) / float(gas.relative_density))
    heat_ratio = float(gas.wobbe_gross) / float(before.wobbe_gross)
    return heat_ratio, (1 + extra) * float(before.stoichiometric_air) / (float(gas.stoichiometric_air) * flow)


def fuel_switch(system: System = "US") -> Live:
    """Hydrogen in natural gas: heat input, excess air, flame and dew point on the same burner."""
    before = fuel("natural gas")

    def mixed(share: float) -> Fuel:
        return blend({before: 1 - share, fuel("hydrogen"): share}, by="volume")

    def draw(share: float, extra: float) -> Figure:
        grid = np.append(np.linspace(0, 0.5, 21), share / PERCENT)
        gases = [mixed(one) for one in grid]
        burner = np.array([_burner_with(gas, before, extra / PERCENT) for gas in gases])
        hot = [
            float(adiabatic_flame(gas, excess_air=ratio - 1).temperature)
            for gas, (_, ratio) in zip(gases, burner, strict=True)
        ]
        dew = [
            float(flue_gas(gas, excess_air=ratio - 1).water_dew_point)
            for gas, (_, ratio) in zip(gases, burner, strict=True)
        ]
        sign = words.sign("flue_temperature", system)
        curves = (
            ("Heat input, % of before", PERCENT * burner[:, 0], ".0f"),
            ("Excess air, %", PERCENT * (burner[:, 1] - 1), ".0f"),
            (f"Adiabatic flame, {sign}", degrees(np.array(hot), system), ",.0f"),
            (f"Dew point, {sign}", degrees(np.array(dew), system), ".0f"),
        )
        with drawing_style():
            drawing, axes = panels(4, 2.3, wspace=0.42)
            for panel, (name, values, shape) in zip(axes, curves, strict=True):
                panel.plot(PERCENT * grid[:-1], values[:-1], color=BLUE)
                panel.set(xlabel="hydrogen, %", xlim=(0, 50))
                widen(panel, values)
                panel.set_title(name, fontsize=7.5)
                mark(panel, share, float(values[-1]), format(float(values[-1]), shape))
        return figure(
            drawing,
            alt=f"With {share:g} % hydrogen: heat input {percent(burner[-1, 0])} of before, excess air "
            f"{percent(burner[-1, 1] - 1)}.",
            caption=f"With {share:g} % hydrogen by volume, the same orifice, pressure and fan, the burner takes "
            f"{percent(burner[-1, 0])} of its heat and its excess air goes from {extra:g} to "
            f"{PERCENT * (burner[-1, 1] - 1):.0f} %. Flashback, which hydrogen brings nearer, is not in this figure.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("share", "Hydrogen in the gas, by volume", (0, 50, 1), start=20, sign="%"),
            Slider("extra", "Excess air on natural gas", (10, 80, 1), start=30, sign="%"),
        ),
    )
