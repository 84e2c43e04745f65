"""Lessons 1 to 3: what a fuel needs, what is left over, and what an instrument shows of it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np

from fluewright import sources
from fluewright.combustion import (
    flue_gas,
    fuel,
)
from fluewright.report.drawing import drawing_style, figure
from fluewright.report.live import Choice, Live, Slider
from fluewright.report.objects import Figure
from fluewright.report.teaching.sketch import (
    AMBER,
    BLACK,
    BLUE,
    FUELS,
    PERCENT,
    PPM,
    RED,
    mark,
    panels,
    percent,
)
from fluewright.report.words import System


def stoichiometry(system: System = "US") -> Live:
    """What goes in and what comes out, mole by mole; and air for a mole against air for heat."""

    def draw(gas: str, extra: float) -> Figure:
        burned = fuel(gas)
        flue = flue_gas(burned, excess_air=extra / PERCENT)
        air = float(flue.air_moles)
        oxygen = air * float(burned.oxygen_need) / float(burned.stoichiometric_air)
        out = {name: float(flue.moles[name]) for name in ("CO2", "H2O", "O2", "N2")}
        with drawing_style():
            drawing, (bars, heat_axes) = panels(2, 2.7, widths=(1.5, 1), wspace=0.42)
            _stacked(bars, 1, [("fuel", 1.0), ("O₂", oxygen), ("N₂ and others", air - oxygen)])
            rest = sum(float(part) for part in flue.moles.values()) - sum(out.values())
            gases = [
                ("CO₂", out["CO2"]),
                ("H₂O", out["H2O"]),
                ("O₂", out["O2"]),
                ("N₂ and others", out["N2"] + rest),
            ]
            _stacked(bars, 0, gases)
            bars.set(
                yticks=[0, 1],
                yticklabels=["out", "in"],
                xlabel="moles for one mole of fuel",
                ylim=(-0.6, 1.6),
            )
            bars.set_title(f"{gas.capitalize()} with {extra:.0f} % excess air")
            bars.grid(visible=False)
            ratios = [
                float(one.stoichiometric_air) / float(one.gross_heating_value_molar) * 1e6
                for one in map(fuel, FUELS)
            ]
            heat_axes.barh(FUELS, ratios, color=[BLUE if name == gas else "#c3cad1" for name in FUELS])
            heat_axes.bar_label(heat_axes.containers[0], fmt="%.1f", padding=3)
            heat_axes.set(xlabel="mol of air for 1 MJ gross", xlim=(0, 1.25 * max(ratios)))
            heat_axes.invert_yaxis()
            heat_axes.set_title("Air for the same heat")
            heat_axes.grid(visible=False)
        need = float(burned.stoichiometric_air)
        return figure(
            drawing,
            alt=f"One mole of {gas} takes {air:.2f} moles of air and leaves "
            f"{', '.join(f'{v:.2f} {n}' for n, v in gases if v)}.",
            caption=f"One volume of {gas} needs {need:.2f} volumes of dry air; with {extra:.0f} % excess it gets "
            f"{air:.2f}. For the same heat the hydrocarbons need nearly the same air.",
        )

    return Live(
        draw=draw,
        controls=(
            Choice("gas", "Fuel", FUELS, start="methane"),
            Slider("extra", "Excess air", (0, 150, 5), start=0, sign="%"),
        ),
    )


_GAS_COLORS = {"fuel": AMBER, "CO₂": BLACK, "H₂O": BLUE, "O₂": RED, "N₂ and others": "#c3cad1"}


def _stacked(axes: Any, row: int, parts: Sequence[tuple[str, float]]) -> None:
    left = 0.0
    whole = sum(width for _, width in parts)
    for name, width in parts:
        if width <= 1e-9:
            continue
        axes.barh(row, width, left=left, height=0.5, color=_GAS_COLORS[name])
        if width > 0.04 * whole:
            dark = name in {"CO₂", "H₂O", "O₂"}
            axes.text(
                left + width / 2,
                row,
                f"{width:.2g}",
                ha="center",
                va="center",
                color="white" if dark else BLACK,
            )
        axes.text(left + width / 2, row + 0.32, name, ha="center", va="bottom", fontsize=7.5)
        left += width


def excess_air(system: System = "US") -> Live:
    """Excess air over oxygen by the two rules, for a fuel."""

    def draw(gas: str, oxygen: float) -> Figure:
        reading = np.linspace(0, 0.14, 57)
        flue, at = flue_gas(fuel(gas), oxygen_dry=reading), flue_gas(fuel(gas), oxygen_dry=oxygen / PERCENT)
        rule, balance = float(at.excess_air_oxygen_rule), float(at.excess_air)
        with drawing_style():
            drawing, (axes, gap) = panels(2, 2.7, widths=(1.6, 1))
            axes.plot(
                PERCENT * reading,
                PERCENT * np.asarray(flue.excess_air_oxygen_rule),
                label="dry-oxygen rule",
            )
            axes.plot(PERCENT * reading, PERCENT * np.asarray(flue.excess_air), label="balance of the fuel")
            axes.set(xlabel="oxygen, dry, %", ylabel="excess air, %", xlim=(0, 14), ylim=(0, 210))
            axes.legend(loc="upper left")
            mark(
                axes,
                oxygen,
                PERCENT * rule,
                f"{percent(rule)} and {percent(balance)}",
                color=BLUE,
                below=True,
            )
            axes.plot([oxygen], [PERCENT * balance], marker="o", color=RED, zorder=5)
            axes.set_title(f"Excess air of {gas}")
            difference = np.asarray(flue.excess_air_oxygen_rule) - np.asarray(flue.excess_air)
            gap.plot(PERCENT * reading, PERCENT * difference, color=BLACK)
            gap.set(xlabel="oxygen, dry, %", xlim=(0, 14))
            gap.set_title("Rule less balance, points")
            mark(gap, oxygen, PERCENT * (rule - balance), f"{PERCENT * (rule - balance):.1f}", below=True)
        return figure(
            drawing,
            alt=f"Two curves of excess air over dry oxygen for {gas}; at {oxygen:g} % oxygen {percent(rule)} and "
            f"{percent(balance)}.",
            caption=f"At {oxygen:g} % oxygen the dry-oxygen rule gives {percent(rule)} excess air, the balance of "
            f"{gas} {percent(balance)}: the rule forgets that burning changes the amount of dry gas.",
        )

    return Live(
        draw=draw,
        controls=(
            Choice("gas", "Fuel", FUELS, start="natural gas"),
            Slider("oxygen", "Oxygen, dry", (0, 14, 0.1), start=5, sign="%"),
        ),
    )


def instrument(system: System = "US") -> Live:
    """The same gas wet, dried, thinned by a leak, and air-free; and how a cell follows a step."""

    def draw(extra: float, monoxide: float, leak: float, response: float) -> Figure:
        flue = flue_gas(fuel("natural gas"), excess_air=extra / PERCENT, carbon_monoxide_dry=monoxide / PPM)
        fresh, share = float(sources.table("air")["dry"]["O2"]), leak / PERCENT
        read = (1 - share) * float(flue.oxygen_dry) + share * fresh
        oxygen = [float(flue.wet["O2"]), float(flue.oxygen_dry), read, 0.0]
        seen = flue_gas(
            fuel("natural gas"), oxygen_dry=read, carbon_monoxide_dry=(1 - share) * monoxide / PPM
        )
        free = float(seen.carbon_monoxide_air_free_oxygen_rule)
        gas = [monoxide * (1 - float(flue.water_fraction)), monoxide, (1 - share) * monoxide, PPM * free]
        names = ["wet", "dried", "read", "air-\nfree"]
        with drawing_style():
            drawing, (one, two, three) = panels(3, 2.6, widths=(1, 1, 1.25))
            for axes, values, unit, spare in (
                (one, [PERCENT * v for v in oxygen], "%", 21.0),
                (two, gas, "ppm", 800.0),
            ):
                axes.bar(
                    names,
                    [0.0 if math.isnan(v) else v for v in values],
                    color=["#c3cad1", BLUE, RED, BLACK],
                )
                axes.set_ylim(0, max(spare * 0.4, 1.2 * np.nanmax(values)))
                axes.tick_params(axis="x", labelsize=7)
                for place, value in enumerate(values):
                    label = (
                        "cannot\ntell"
                        if math.isnan(value)
                        else f"{value:.1f}"
                        if unit == "%"
                        else f"{value:.0f}"
                    )
                    axes.text(place, 0.0 if math.isnan(value) else value, label, ha="center", va="bottom")
            one.set_title("Oxygen, %")
            two.set_title("Carbon monoxide, ppm")
            seconds = np.linspace(0, 180, 181)
            shown = PERCENT * (read + (fresh - read) * np.exp(-seconds * math.log(10) / response))
            three.plot(seconds, shown)
            three.axhline(PERCENT * read, color=BLACK, linestyle=":", linewidth=0.8)
            three.set(xlabel="seconds after the probe went in", xlim=(0, 180), ylim=(0, 22))
            three.set_title("Oxygen as shown, %")
            waiting = response * math.log10(max((fresh - read) / 0.001, 1.0))
            if waiting < 180:
                mark(three, waiting, PERCENT * read, f"within 0.1 points\nafter {waiting:.0f} s")
        told = "too dilute: cannot tell" if math.isnan(free) else f"{PPM * free:.0f} ppm"
        return figure(
            drawing,
            alt=f"Oxygen wet {percent(oxygen[0])}, dried {percent(oxygen[1])}, as read {percent(read)}; carbon "
            f"monoxide air-free {told}.",
            caption=f"The flue holds {percent(oxygen[1])} oxygen dry, {percent(oxygen[0])} wet; with {leak:g} % "
            f"room air in the sample the instrument reads {percent(read)}. Air-free carbon monoxide is {told}: a "
            "leak does not move it until the sample is too thin.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider("extra", "Excess air in the flue", (0, 150, 5), start=40, sign="%"),
            Slider("monoxide", "Carbon monoxide in the flue, dry", (0, 800, 10), start=120, sign="ppm"),
            Slider("leak", "Room air in the sample", (0, 60, 1), start=0, sign="%"),
            Slider("response", "Response of the cell to 90 %", (5, 90, 1), start=30, sign="s"),
        ),
    )
