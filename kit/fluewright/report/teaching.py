"""The figures of the teaching notebooks, each with its sliders, and the checks of understanding."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from fluewright import sources, units
from fluewright.appliance import Number, judge
from fluewright.combustion import (
    Fuel,
    adiabatic_flame,
    blend,
    cooling,
    flue_gas,
    fuel,
    moist_air_water_fraction,
    stack_losses,
    thermal_nitric_oxide,
)
from fluewright.combustion.atmosphere import standard_atmosphere_pressure
from fluewright.report import words
from fluewright.report.drawing import COLORS, Drawing, drawing_style, figure, text_width
from fluewright.report.live import Choice, Live, Slider, style
from fluewright.report.objects import TYPST, Bundle, Figure, Part, Section
from fluewright.report.words import System
from fluewright.report.worksheet import answer_parts, problem_parts
from fluewright.sources import limits as safety
from fluewright.steady import named_criteria
from fluewright.studies.worksheet import LEVELS, Problem, problem
from fluewright.units import Array
from fluewright.visit import Visit, open_visit

__all__ = [
    "Exercise",
    "answers",
    "cooling_gas",
    "dew_point",
    "excess_air",
    "flame",
    "fuel_switch",
    "heat",
    "instrument",
    "log",
    "problems",
    "stoichiometry",
    "uncertainty",
]

_FUELS = ("methane", "natural gas", "propane", "butane", "hydrogen")
_BLUE, _RED, _BLACK, _GREEN, _PINK, _AMBER = COLORS
_PERCENT, _PPM = 100.0, 1e6
_ROOM = 298.15  # K


# ---------------------------------------------------------------------------- checks of understanding


@dataclass(frozen=True, slots=True, kw_only=True)
class Exercise:
    """Problems, or their answers held apart: on a page of their own in print, folded away on a screen."""

    title: str
    parts: Sequence[Part]
    answers: bool = False

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        printed = Section(self.title, self.parts, level=2, new_page=self.answers)
        inner = "".join(part.as_html() for part in self.parts)
        fold = f"<details><summary>{self.title}: open when you have tried</summary>{inner}</details>"
        return {
            TYPST: printed.as_typst(),
            "text/html": style() + (fold if self.answers else printed.as_html()),
            "text/plain": printed.as_text(),
        }


def _drawn(topics: Sequence[str], system: System, seed: int) -> Iterator[tuple[int, Problem]]:
    pairs = [(topic, level) for topic in topics for level in LEVELS]
    return enumerate((problem(topic, level=level, seed=seed, system=system) for topic, level in pairs), start=1)


def problems(*topics: str, system: System = "US", seed: int = 1) -> Exercise:
    """Return three problems on each topic, from one step to the whole way."""
    parts = [problem_parts(one, number, level=3) for number, one in _drawn(topics, system, seed)]
    return Exercise(title="Check your understanding", parts=parts)


def answers(*topics: str, system: System = "US", seed: int = 1) -> Exercise:
    """Return the worked answers to the `problems` of the same topics and seed."""
    parts = [answer_parts(one, number, level=3) for number, one in _drawn(topics, system, seed)]
    return Exercise(title="Answers to the problems", parts=parts, answers=True)


# ---------------------------------------------------------------------------- drawing


def _panels(count: int, height: float, *, widths: Sequence[float] = (), wspace: float = 0.32) -> tuple[Drawing, Any]:
    """Return a drawing as wide as the page's text and its axes in a row, with fixed margins."""
    drawing = Drawing(figsize=(text_width("a4"), height))
    axes = drawing.subplots(1, count, squeeze=False, width_ratios=widths or None)[0]
    drawing.subplots_adjust(
        left=0.09, right=0.97, bottom=0.48 / height, top=1 - 0.32 / height, wspace=wspace
    )
    return drawing, axes


def _mark(axes: Any, x: float, y: float, text: str, *, color: str = _BLACK) -> None:
    """Mark where the sliders stand, with its value on the side that has room."""
    axes.plot([x], [y], marker="o", color=color, zorder=5)
    (left, right), (low, high) = axes.get_xlim(), axes.get_ylim()
    place = (x - left) / (right - left) > 0.6
    under = (y - low) / (high - low) > 0.85
    axes.annotate(
        text,
        (x, y),
        xytext=(-6 if place else 6, -13 if under else 6),
        textcoords="offset points",
        ha="right" if place else "left",
        fontweight="bold",
    )


def _plain_decades(axis: Any) -> None:
    """Label the decades of a logarithmic axis with plain numbers, every second one where there are many."""
    low, high = (math.log10(end) for end in axis.get_view_interval())
    step = 2 if high - low > 5 else 1
    decades = [10.0**power for power in range(math.ceil(low - 1e-9), math.floor(high + 1e-9) + 1, step)]
    axis.set_ticks(decades, labels=[f"{value:,g}" for value in decades])
    axis.set_ticks([], minor=True)


def _degrees(kelvin: Any, system: System) -> Any:
    return words.on_page("flue_temperature", kelvin, system)


def _kelvin(shown: float, system: System) -> float:
    return float(units.convert(shown, sources.quantity("flue_temperature").shown(system).unit, "K"))


def _temperature(
    name: str, label: str, us: tuple[float, float, float], si: tuple[float, float, float], system: System, step: float = 5
) -> Slider:
    low, high, start = us if system == "US" else si
    return Slider(
        name=name, label=label, low=low, high=high, step=step, start=start, sign=words.sign("flue_temperature", system)
    )


def _percent(value: Any, decimals: int = 1) -> str:
    return f"{_PERCENT * float(value):.{decimals}f} %"


# ---------------------------------------------------------------------------- 1: stoichiometry and air


def stoichiometry(system: System = "US") -> Live:
    """What goes in and what comes out, mole by mole; and air for a mole against air for heat."""

    def draw(gas: str, extra: float) -> Figure:
        burned = fuel(gas)
        flue = flue_gas(burned, excess_air=extra / _PERCENT)
        air = float(flue.air_moles)
        oxygen = air * float(burned.oxygen_need) / float(burned.stoichiometric_air)
        out = {name: float(flue.moles[name]) for name in ("CO2", "H2O", "O2", "N2")}
        with drawing_style():
            drawing, (bars, heat_axes) = _panels(2, 2.7, widths=(1.5, 1), wspace=0.42)
            _stacked(bars, 1, [("fuel", 1.0), ("O₂", oxygen), ("N₂ and others", air - oxygen)])
            rest = sum(float(part) for part in flue.moles.values()) - sum(out.values())
            gases = [("CO₂", out["CO2"]), ("H₂O", out["H2O"]), ("O₂", out["O2"]), ("N₂ and others", out["N2"] + rest)]
            _stacked(bars, 0, gases)
            bars.set(yticks=[0, 1], yticklabels=["out", "in"], xlabel="moles for one mole of fuel", ylim=(-0.6, 1.6))
            bars.set_title(f"{gas.capitalize()} with {extra:.0f} % excess air")
            bars.grid(visible=False)
            ratios = [float(one.stoichiometric_air) / float(one.gross_heating_value_molar) * 1e6 for one in map(fuel, _FUELS)]
            heat_axes.barh(_FUELS, ratios, color=[_BLUE if name == gas else "#c3cad1" for name in _FUELS])
            heat_axes.bar_label(heat_axes.containers[0], fmt="%.1f", padding=3)
            heat_axes.set(xlabel="mol of air for 1 MJ gross", xlim=(0, 1.25 * max(ratios)))
            heat_axes.invert_yaxis()
            heat_axes.set_title("Air for the same heat")
            heat_axes.grid(visible=False)
        need = float(burned.stoichiometric_air)
        return figure(
            drawing,
            alt=f"One mole of {gas} takes {air:.2f} moles of air and leaves {', '.join(f'{v:.2f} {n}' for n, v in gases if v)}.",
            caption=f"One volume of {gas} needs {need:.2f} volumes of dry air; with {extra:.0f} % excess it gets {air:.2f}. "
            f"For the same heat the hydrocarbons need nearly the same air.",
        )

    return Live(
        draw=draw,
        controls=(
            Choice(name="gas", label="Fuel", options=_FUELS, start="methane"),
            Slider(name="extra", label="Excess air", low=0, high=150, step=5, start=0, sign="%"),
        ),
    )


_GAS_COLORS = {"fuel": _AMBER, "CO₂": _BLACK, "H₂O": _BLUE, "O₂": _RED, "N₂ and others": "#c3cad1"}


def _stacked(axes: Any, row: int, parts: Sequence[tuple[str, float]]) -> None:
    left = 0.0
    whole = sum(width for _, width in parts)
    for name, width in parts:
        if width <= 1e-9:
            continue
        axes.barh(row, width, left=left, height=0.5, color=_GAS_COLORS[name])
        if width > 0.04 * whole:
            dark = name in {"CO₂", "H₂O", "O₂"}
            axes.text(left + width / 2, row, f"{width:.2g}", ha="center", va="center", color="white" if dark else _BLACK)
        axes.text(left + width / 2, row + 0.32, name, ha="center", va="bottom", fontsize=7.5)
        left += width


# ---------------------------------------------------------------------------- 2: excess air and the two rules


def excess_air(system: System = "US") -> Live:
    """Excess air over oxygen by the two rules, for a fuel."""

    def draw(gas: str, oxygen: float) -> Figure:
        reading = np.linspace(0, 0.14, 57)
        flue, at = flue_gas(fuel(gas), oxygen_dry=reading), flue_gas(fuel(gas), oxygen_dry=oxygen / _PERCENT)
        rule, balance = float(at.excess_air_oxygen_rule), float(at.excess_air)
        with drawing_style():
            drawing, (axes, gap) = _panels(2, 2.7, widths=(1.6, 1))
            axes.plot(_PERCENT * reading, _PERCENT * np.asarray(flue.excess_air_oxygen_rule), label="dry-oxygen rule")
            axes.plot(_PERCENT * reading, _PERCENT * np.asarray(flue.excess_air), label="balance of the fuel")
            axes.set(xlabel="oxygen, dry, %", ylabel="excess air, %", xlim=(0, 14), ylim=(0, 210))
            axes.legend(loc="upper left")
            _mark(axes, oxygen, _PERCENT * rule, f"{_percent(rule)} and {_percent(balance)}", color=_BLUE)
            axes.plot([oxygen], [_PERCENT * balance], marker="o", color=_RED, zorder=5)
            axes.set_title(f"Excess air of {gas}")
            difference = np.asarray(flue.excess_air_oxygen_rule) - np.asarray(flue.excess_air)
            gap.plot(_PERCENT * reading, _PERCENT * difference, color=_BLACK)
            gap.set(xlabel="oxygen, dry, %", xlim=(0, 14))
            gap.set_title("Rule less balance, points")
            _mark(gap, oxygen, _PERCENT * (rule - balance), f"{_PERCENT * (rule - balance):.1f}")
        return figure(
            drawing,
            alt=f"Two curves of excess air over dry oxygen for {gas}; at {oxygen:g} % oxygen {_percent(rule)} and {_percent(balance)}.",
            caption=f"At {oxygen:g} % oxygen the dry-oxygen rule gives {_percent(rule)} excess air, the balance of {gas} "
            f"{_percent(balance)}: the rule forgets that burning changes the amount of dry gas.",
        )

    return Live(
        draw=draw,
        controls=(
            Choice(name="gas", label="Fuel", options=_FUELS, start="natural gas"),
            Slider(name="oxygen", label="Oxygen, dry", low=0, high=14, step=0.1, start=5, sign="%"),
        ),
    )


# ---------------------------------------------------------------------------- 3: what the instrument measures


def instrument(system: System = "US") -> Live:
    """The same gas wet, dried, thinned by a leak, and air-free; and how a cell follows a step."""

    def draw(extra: float, monoxide: float, leak: float, response: float) -> Figure:
        flue = flue_gas(fuel("natural gas"), excess_air=extra / _PERCENT, carbon_monoxide_dry=monoxide / _PPM)
        fresh, share = float(sources.table("air")["dry"]["O2"]), leak / _PERCENT
        read = (1 - share) * float(flue.oxygen_dry) + share * fresh
        oxygen = [float(flue.wet["O2"]), float(flue.oxygen_dry), read, 0.0]
        seen = flue_gas(fuel("natural gas"), oxygen_dry=read, carbon_monoxide_dry=(1 - share) * monoxide / _PPM)
        free = float(seen.carbon_monoxide_air_free_oxygen_rule)
        gas = [monoxide * (1 - float(flue.water_fraction)), monoxide, (1 - share) * monoxide, _PPM * free]
        names = ["wet", "dried", "read", "air-\nfree"]
        with drawing_style():
            drawing, (one, two, three) = _panels(3, 2.6, widths=(1, 1, 1.25))
            for axes, values, unit, spare in ((one, [_PERCENT * v for v in oxygen], "%", 21.0), (two, gas, "ppm", 800.0)):
                axes.bar(names, [0.0 if math.isnan(v) else v for v in values], color=["#c3cad1", _BLUE, _RED, _BLACK])
                axes.set_ylim(0, max(spare * 0.4, 1.2 * np.nanmax(values)))
                axes.tick_params(axis="x", labelsize=7)
                for place, value in enumerate(values):
                    label = "cannot\ntell" if math.isnan(value) else f"{value:.1f}" if unit == "%" else f"{value:.0f}"
                    axes.text(place, 0.0 if math.isnan(value) else value, label, ha="center", va="bottom")
            one.set_title("Oxygen, %")
            two.set_title("Carbon monoxide, ppm")
            seconds = np.linspace(0, 180, 181)
            shown = _PERCENT * (read + (fresh - read) * np.exp(-seconds * math.log(10) / response))
            three.plot(seconds, shown)
            three.axhline(_PERCENT * read, color=_BLACK, linestyle=":", linewidth=0.8)
            three.set(xlabel="seconds after the probe went in", xlim=(0, 180), ylim=(0, 22))
            three.set_title("Oxygen as shown, %")
            waiting = response * math.log10(max((fresh - read) / 0.001, 1.0))
            if waiting < 180:
                _mark(three, waiting, _PERCENT * read, f"within 0.1 points\nafter {waiting:.0f} s")
        told = "too dilute: cannot tell" if math.isnan(free) else f"{_PPM * free:.0f} ppm"
        return figure(
            drawing,
            alt=f"Oxygen wet {_percent(oxygen[0])}, dried {_percent(oxygen[1])}, as read {_percent(read)}; carbon monoxide air-free {told}.",
            caption=f"The flue holds {_percent(oxygen[1])} oxygen dry, {_percent(oxygen[0])} wet; with {leak:g} % room air in the "
            f"sample the instrument reads {_percent(read)}. Air-free carbon monoxide is {told}: a leak does not move it until the "
            "sample is too thin.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="extra", label="Excess air in the flue", low=0, high=150, step=5, start=40, sign="%"),
            Slider(name="monoxide", label="Carbon monoxide in the flue, dry", low=0, high=800, step=10, start=120, sign="ppm"),
            Slider(name="leak", label="Room air in the sample", low=0, high=60, step=1, start=0, sign="%"),
            Slider(name="response", label="Response of the cell to 90 %", low=5, high=90, step=1, start=30, sign="s"),
        ),
    )


# ---------------------------------------------------------------------------- 4: the flame, and what it leaves


def flame(system: System = "US") -> Live:
    """Flame temperature with and without dissociation, and what the flame holds at equilibrium."""

    def draw(extra: float, air: float) -> Figure:
        grid = np.append(np.linspace(-0.2, 1.0, 41), extra / _PERCENT)
        hot = adiabatic_flame(fuel("methane"), excess_air=grid, air_temperature=_kelvin(air, system))
        kelvin, frozen = np.asarray(hot.temperature), np.asarray(hot.frozen_temperature)
        with drawing_style():
            drawing, (axes, parts) = _panels(2, 2.9)
            shown = _PERCENT * grid[:-1]
            axes.plot(shown, _degrees(frozen[:-1], system), color=_RED, linestyle="--", label="no dissociation")
            axes.plot(shown, _degrees(kelvin[:-1], system), color=_BLUE, label="at equilibrium")
            axes.set(xlabel="excess air, %", xlim=(-20, 100))
            axes.legend(loc="lower left")
            axes.set_title(f"Adiabatic flame of methane, {words.sign('flue_temperature', system)}")
            _mark(axes, extra, float(_degrees(kelvin[-1], system)), f"{float(_degrees(kelvin[-1], system)):,.0f}")
            for name, label, at in (("CO", "CO", 4), ("H2", "H₂", 2), ("OH", "OH", 30), ("NO", "NO", 36), ("O2", "O₂", 36)):
                share = _PERCENT * np.asarray(hot.composition[name])[:-1]
                (line,) = parts.plot(shown, share)
                parts.annotate(
                    label, (shown[at], share[at]), xytext=(2, 3), textcoords="offset points", color=line.get_color()
                )
            parts.axvline(extra, color=_BLACK, linewidth=0.8)
            parts.set(xlabel="excess air, %", yscale="log", ylim=(1e-3, 30), xlim=(-20, 100))
            _plain_decades(parts.yaxis)
            parts.set_title("At equilibrium, % of wet gas")
        monoxide = _PPM * float(np.asarray(hot.composition["CO"])[-1])
        value, lost = float(_degrees(kelvin[-1], system)), float(frozen[-1] - kelvin[-1])
        without = (
            f"dissociation takes {units.convert(lost, 'delta_degC', 'delta_degF') if system == 'US' else lost:,.0f} {'°F' if system == 'US' else 'K'} from it"
            if extra >= 0
            else "with less air than needed, carbon monoxide and hydrogen are left over"
        )
        return figure(
            drawing,
            alt=f"Flame temperature over excess air; at {extra:g} % it is {value:,.0f} {words.sign('flue_temperature', system)}.",
            caption=f"With {extra:g} % excess air the adiabatic flame reaches {value:,.0f} {words.sign('flue_temperature', system)}; "
            f"{without}. At equilibrium it holds {monoxide:,.0f} ppm of carbon monoxide. No real flame is adiabatic.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="extra", label="Excess air", low=-20, high=100, step=1, start=0, sign="%"),
            _temperature("air", "Air temperature", (0, 1000, 75), (-15, 540, 25), system),
        ),
    )


def cooling_gas(system: System = "US") -> Live:
    """Carbon monoxide of cooling flame gas, and nitric oxide over the time at the flame's temperature."""

    def draw(extra: float, time: float) -> Figure:
        gas, share = fuel("methane"), extra / _PERCENT
        top = float(adiabatic_flame(gas, excess_air=share).temperature)
        path = cooling(gas, temperature=np.linspace(900.0, 0.999 * top, 50), excess_air=share)
        seconds = np.unique(np.append(np.geomspace(1e-3, 3.0, 25), time / 1e3))
        nitric = thermal_nitric_oxide(gas, residence_time=seconds, excess_air=share)
        made = _PPM * np.asarray(nitric.kinetic_dry)
        now = float(made[np.searchsorted(seconds, time / 1e3)])
        dry = {kind: _PPM * np.asarray(parts["CO"]) / (1 - np.asarray(parts["H2O"]))
               for kind, parts in (("frozen", path.frozen), ("equilibrium", path.equilibrium))}  # fmt: skip
        with drawing_style():
            drawing, (left, right) = _panels(2, 2.9)
            shown = _degrees(path.temperature, system)
            left.plot(shown, dry["frozen"], color=_RED, linestyle="--", label="frozen in the flame")
            left.plot(shown, dry["equilibrium"], color=_BLUE, label="at equilibrium all the way")
            left.axhspan(5, 100, color="#d5dae0", zorder=0)
            left.text(shown[-1], 22, " readings commonly seen", ha="left", va="center", fontsize=7.5)
            left.set(yscale="log", ylim=(1e-3, 1e5), xlabel=f"temperature on the way out, {words.sign('flue_temperature', system)}")
            _plain_decades(left.yaxis)
            left.invert_xaxis()
            left.legend(loc="lower left")
            left.set_title("Carbon monoxide, dry, ppm")
            right.plot(1e3 * seconds, made, color=_BLUE)
            right.axhline(_PPM * nitric.equilibrium_dry, color=_RED, linestyle="--")
            right.text(1.2, _PPM * nitric.equilibrium_dry * 1.15, "at equilibrium", color=_RED)
            right.plot([time], [now], marker="o", color=_BLACK)
            right.annotate(f"{now:.0f} ppm", (time, now), xytext=(6, -10), textcoords="offset points", fontweight="bold")
            right.set(xscale="log", yscale="log", ylim=(1, 1e4), xlabel="time at the flame's temperature, ms")
            _plain_decades(right.xaxis)
            _plain_decades(right.yaxis)
            right.set_title("Nitric oxide, dry, ppm")
        return figure(
            drawing,
            alt=f"Carbon monoxide of cooling gas, frozen and at equilibrium; nitric oxide over time, {now:.0f} ppm after {time:g} ms.",
            caption=f"With {extra:g} % excess air the flame holds {dry['frozen'][-1]:,.0f} ppm of carbon monoxide. Cooled slowly it "
            f"would all burn; what a flue shows was quenched or never mixed. After {time:g} ms nitric oxide has reached "
            f"{now:.0f} ppm of the {_PPM * nitric.equilibrium_dry:,.0f} at equilibrium: it is made of time and heat. Estimates "
            "for teaching, not forecasts of a reading.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="extra", label="Excess air", low=0, high=60, step=1, start=10, sign="%"),
            Slider(name="time", label="Time at the flame's temperature", low=1, high=1000, step=1, start=30, sign="ms"),
        ),
    )


# ---------------------------------------------------------------------------- 5: dew point and condensing


def dew_point(system: System = "US") -> Live:
    """Dew point over excess air, and the share of the water that condenses over flue temperature."""
    feet = system == "US"

    def draw(extra: float, humidity: float, elevation: float, flue_temperature: float) -> Figure:
        pressure = float(standard_atmosphere_pressure(elevation * (units.factor("foot", "m")[0] if feet else 1.0)))
        water = float(moist_air_water_fraction(humidity / _PERCENT, temperature=_ROOM, pressure=pressure))
        gas, grid, cold = fuel("natural gas"), np.linspace(0, 2, 61), _kelvin(flue_temperature, system)
        curve = flue_gas(gas, excess_air=grid, air_water_fraction=water, pressure=pressure)
        here = flue_gas(gas, excess_air=extra / _PERCENT, air_water_fraction=water, pressure=pressure)
        dew = float(here.water_dew_point)
        path = np.linspace(293.15, 343.15, 61)
        share = stack_losses(here, flue_temperature=path, air_temperature=_ROOM, condensing=True).condensed_fraction
        now = float(stack_losses(here, flue_temperature=cold, air_temperature=_ROOM, condensing=True).condensed_fraction)
        sign = words.sign("flue_temperature", system)
        with drawing_style():
            drawing, (left, right) = _panels(2, 2.8)
            shown = _degrees(np.asarray(curve.water_dew_point), system)
            left.plot(_PERCENT * grid, shown, color=_BLUE)
            left.fill_between(_PERCENT * grid, shown, _degrees(283.15, system), color="#cfe3f1", zorder=0)
            left.axhline(float(_degrees(cold, system)), color=_RED, linestyle="--")
            left.text(4, float(_degrees(cold, system)), "the flue", color=_RED, va="bottom")
            left.set(xlabel="excess air, %", xlim=(0, 200), ylim=(_degrees(283.15, system), _degrees(363.15, system)))
            left.set_title(f"Dew point of the flue gas, {sign}")
            _mark(left, extra, float(_degrees(dew, system)), f"{float(_degrees(dew, system)):.0f} {sign}")
            right.plot(_degrees(path, system), _PERCENT * np.asarray(share), color=_BLUE)
            right.set(xlabel=f"flue temperature, {sign}", ylim=(0, 100), xlim=(_degrees(293.15, system), _degrees(343.15, system)))
            right.set_title("Share of the water condensed, %")
            if 293.15 <= cold <= 343.15:
                _mark(right, float(_degrees(cold, system)), _PERCENT * now, f"{_PERCENT * now:.0f} %")
        side = "below" if cold < dew else "above"
        what = f"the gas runs wet, and {_PERCENT * now:.0f} % of its water can condense" if cold < dew else "nothing condenses in the gas"
        return figure(
            drawing,
            alt=f"Dew point over excess air; at {extra:g} % it is {float(_degrees(dew, system)):.0f} {sign}.",
            caption=f"With {extra:g} % excess air the dew point is {float(_degrees(dew, system)):.0f} {sign}. The flue at "
            f"{flue_temperature:g} {sign} is {side} it: {what}. A wall colder than the dew point is wet even where the gas is not.",
        )

    top = (0, 10000, 0, 250, "ft") if feet else (0, 3000, 0, 100, "m")
    return Live(
        draw=draw,
        controls=(
            Slider(name="extra", label="Excess air", low=0, high=200, step=5, start=30, sign="%"),
            Slider(name="humidity", label=f"Humidity of the air at {'77 °F' if feet else '25 °C'}", low=0, high=100, step=5, start=50, sign="%"),
            Slider(name="elevation", label="Elevation", low=top[0], high=top[1], step=top[3], start=top[2], sign=top[4]),
            _temperature("flue_temperature", "Flue temperature", (75, 190, 110), (24, 88, 43), system, step=1),
        ),
    )


# ---------------------------------------------------------------------------- 6: where the heat goes


def heat(system: System = "US") -> Live:
    """The gross heat divided among its ways out, and efficiency over flue temperature, gross and net."""

    def draw(oxygen: float, flue_temperature: float, air_temperature: float, monoxide: float) -> Figure:
        gas, air = fuel("natural gas"), _kelvin(air_temperature, system)
        flue = flue_gas(gas, oxygen_dry=oxygen / _PERCENT, carbon_monoxide_dry=monoxide / _PPM)
        hot = _kelvin(flue_temperature, system)
        loss = stack_losses(flue, flue_temperature=hot, air_temperature=air, condensing=True)
        path = np.linspace(300, 600, 101)
        line = stack_losses(flue, flue_temperature=path, air_temperature=air, condensing=True)
        gross, net = float(loss.efficiency_gross), float(loss.efficiency_net)
        parts = [
            ("useful heat", gross, "#cfe3f1"),
            ("dry gas, less what the air brought", float(loss.dry_gas) + float(loss.air_moisture) - float(loss.credit_air), _RED),
            ("water vapor, sensible", float(loss.water_sensible), _PINK),
            ("water vapor, latent", float(loss.water_latent), _BLUE),
            ("carbon monoxide", float(loss.carbon_monoxide), _BLACK),
        ]
        sign = words.sign("flue_temperature", system)
        with drawing_style():
            drawing, (bars, curve) = _panels(2, 2.9, widths=(1.15, 1), wspace=0.2)
            drawing.subplots_adjust(left=0.3)
            names, values = [name for name, _, _ in parts], [_PERCENT * value for _, value, _ in parts]
            bars.barh(names, values, color=[color for _, _, color in parts])
            for row, value in enumerate(values):
                bars.text(max(value, 0) + 1, row, f"{value:.1f}", va="center")
            bars.set(xlim=(0, 112), xlabel="% of the gross heat")
            bars.invert_yaxis()
            bars.grid(visible=False)
            bars.set_title("Where the heat goes")
            shown = _degrees(path, system)
            curve.plot(shown, _PERCENT * np.asarray(line.efficiency_net), color=_RED, linestyle="--", label="of net heat")
            curve.plot(shown, _PERCENT * np.asarray(line.efficiency_gross), color=_BLUE, label="of gross heat")
            curve.axvline(float(_degrees(float(flue.water_dew_point), system)), color=_BLACK, linestyle=":", linewidth=0.8)
            curve.set(xlabel=f"flue temperature, {sign}", ylim=(70, 112), xlim=(shown[0], shown[-1]))
            curve.text(float(_degrees(float(flue.water_dew_point), system)), 111, " dew point", va="top", fontsize=7.5)
            curve.legend(loc="lower left")
            curve.set_title("Efficiency, %")
            _mark(curve, flue_temperature, _PERCENT * gross, f"{_PERCENT * gross:.1f}")
        return figure(
            drawing,
            alt=f"Shares of the gross heat: {', '.join(f'{name} {value:.1f} %' for (name, _, _), value in zip(parts, values, strict=True))}.",
            caption=f"At {oxygen:g} % oxygen and {flue_temperature:g} {sign} the flue gas leaves {_percent(gross)} of the gross heat, or "
            f"{_percent(net)} of the net: the same heat, two names. Below the dew point the latent heat comes back, if the appliance is "
            "made for it.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="oxygen", label="Oxygen, dry", low=1, high=13, step=0.1, start=6, sign="%"),
            _temperature("flue_temperature", "Flue temperature", (90, 600, 350), (32, 316, 175), system),
            _temperature("air_temperature", "Air temperature", (-20, 120, 70), (-30, 50, 20), system),
            Slider(name="monoxide", label="Carbon monoxide, dry", low=0, high=4000, step=50, start=50, sign="ppm"),
        ),
    )


# ---------------------------------------------------------------------------- 7: reading a log, and how sure


_CHANNELS = ("oxygen_dry", "carbon_monoxide_dry", "flue_temperature")


def log(folder: str | Path, system: System = "US") -> Live:
    """The log of a visit with a window that the reader moves: does it hold still, and what does it say."""
    visit = open_visit(folder)
    rows = visit.test_points[0]
    frame = visit.readings.frame.loc[rows.start : rows.end, list(_CHANNELS)].dropna()
    minutes = np.asarray((frame.index - frame.index[0]).total_seconds()) / 60
    least = named_criteria().minimum_length / 60

    def draw(start: float, length: float) -> Figure:
        chosen = (minutes >= start) & (minutes < start + max(length, least))
        told = list(_window_words(frame[chosen], minutes[chosen], visit, system))
        with drawing_style():
            drawing, axes = _panels(3, 2.5)
            for panel, name in zip(axes, _CHANNELS, strict=True):
                panel.plot(minutes, words.on_page(name, frame[name].to_numpy(), system), color=_BLUE, linewidth=0.9)
                panel.axvspan(start, start + max(length, least), color="#cfe3f1", zorder=0)
                panel.set(xlabel="minutes", xlim=(0, minutes[-1]))
                short = {"oxygen_dry": "Oxygen", "carbon_monoxide_dry": "Carbon monoxide", "flue_temperature": "Flue"}[name]
                panel.set_title(f"{short}, {words.sign(name, system)}")
        return figure(
            drawing,
            alt=f"Oxygen, carbon monoxide and flue temperature over {minutes[-1]:.0f} minutes, window at {start:g} min. {told[0]}",
            caption=" ".join(told),
        )

    last = math.floor(float(minutes[-1]) - least)
    return Live(
        draw=draw,
        controls=(
            Slider(name="start", label="Window begins", low=0, high=last, step=0.5, start=last, sign="min"),
            Slider(name="length", label="Window length", low=least, high=15, step=0.5, start=least, sign="min"),
        ),
    )


def _window_words(frame: pd.DataFrame, minutes: Array, visit: Visit, system: System) -> Iterator[str]:
    """Yield what may be said of a window: which channels drift, and how carbon monoxide stands."""
    moving = []
    for name in _CHANNELS:
        slope = abs(float(np.polyfit(60 * (minutes - minutes[0]), frame[name].to_numpy(), 1)[0]))
        if slope > named_criteria().limits[name].slope:
            moving.append(sources.quantity(name).label.lower())
    yield f"Not steady: {words.joined(moving)} still drifts." if moving else "Every channel holds still within its limit of drift."
    means = frame.mean()
    free = flue_gas(
        fuel("natural gas"),
        oxygen_dry=float(means["oxygen_dry"]),
        carbon_monoxide_dry=float(means["carbon_monoxide_dry"]),
    ).carbon_monoxide_air_free_oxygen_rule
    yield (
        f"Means: {_percent(means['oxygen_dry'])} oxygen, {_PPM * means['carbon_monoxide_dry']:.0f} ppm of carbon monoxide, "
        + (f"{_PPM * float(free):.0f} ppm air-free." if not math.isnan(float(free)) else "too dilute for an air-free value.")
    )
    yield "A mean over a drift is no test point; and carbon monoxide counts on every row, steady or not."


_LIMIT = "carbon_monoxide_air_free_furnace"
_DRAWS = 20000


def uncertainty(system: System = "US") -> Live:
    """What the cells' accuracy does to excess air, carbon monoxide air-free and efficiency."""
    limit = safety.limits()[_LIMIT]
    unit = "delta_degF" if system == "US" else "delta_degC"

    def draw(oxygen: float, oxygen_accuracy: float, monoxide_accuracy: float, temperature_accuracy: float) -> Figure:
        draws = np.random.default_rng(1).uniform(-1, 1, (3, _DRAWS))
        monoxide, hot = 260e-6, 450.0
        flue = flue_gas(
            fuel("natural gas"),
            oxygen_dry=(oxygen + oxygen_accuracy * draws[0]) / _PERCENT,
            carbon_monoxide_dry=monoxide * (1 + monoxide_accuracy / _PERCENT * draws[1]),
        )
        loss = stack_losses(
            flue,
            flue_temperature=hot + units.convert(temperature_accuracy, unit, "delta_degC") * draws[2],
            air_temperature=_ROOM,
        )
        results = {
            "Excess air, %": _PERCENT * np.asarray(flue.excess_air),
            "Carbon monoxide, air-free, ppm": _PPM * np.asarray(flue.carbon_monoxide_air_free_oxygen_rule),
            "Efficiency, gross, %": _PERCENT * np.asarray(loss.efficiency_gross),
        }
        told = []
        with drawing_style():
            drawing, axes = _panels(3, 2.4, wspace=0.2)
            for panel, (name, values) in zip(axes, results.items(), strict=True):
                low, middle, high = np.percentile(values, [2.5, 50, 97.5])
                panel.hist(values, bins=40, color="#cfe3f1")
                panel.axvspan(low, high, ymax=0.04, color=_BLUE)
                panel.set(yticks=[])
                panel.grid(visible=False)
                panel.set_title(name, fontsize=8)
                panel.set_xlabel(f"95 %: {low:.1f} to {high:.1f}" if "ppm" not in name else f"95 %: {low:.0f} to {high:.0f}")
                told.append((float(low), float(middle), float(high)))
            top = _PPM * limit.tiers[0].value
            axes[1].axvline(top, color=_RED, linestyle="--")
        low, middle, high = (value / _PPM for value in told[1])
        made = Number(quantity="carbon_monoxide_air_free", value=middle, low=low, high=high, origin="computed")
        outcome = judge(made, limit, test_point="").outcome
        return figure(
            drawing,
            alt=f"Three spreads: excess air {told[0][0]:.1f} to {told[0][2]:.1f} %, carbon monoxide air-free {told[1][0]:.0f} to "
            f"{told[1][2]:.0f} ppm, gross efficiency {told[2][0]:.1f} to {told[2][2]:.1f} %.",
            caption=f"Against the limit of {top:.0f} ppm (dashed; {limit.citation.source}, {limit.citation.edition}) carbon monoxide "
            f"air-free is: {outcome}. Readings of {oxygen:g} % oxygen, 260 ppm of carbon monoxide and a flue at "
            f"{float(_degrees(hot, system)):.0f} {words.sign('flue_temperature', system)}; every cell's error is drawn once for all its readings.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="oxygen", label="Oxygen, dry, as read", low=3, high=12, step=0.1, start=6.5, sign="%"),
            Slider(name="oxygen_accuracy", label="Accuracy of the oxygen cell, ±", low=0.05, high=1, step=0.05, start=0.4, sign="points"),
            Slider(name="monoxide_accuracy", label="Accuracy of the CO cell, ±", low=1, high=20, step=1, start=5, sign="% of reading"),
            Slider(name="temperature_accuracy", label="Accuracy of the thermometer, ±", low=1, high=20, step=1, start=4,
                   sign="°F" if system == "US" else "K"),
        ),
    )  # fmt: skip


# ---------------------------------------------------------------------------- 8: fuel switch


def _burner_with(gas: Fuel, before: Fuel, extra: float) -> tuple[float, float]:
    """Return heat input and air ratio, relative, of another gas through the same orifice with the same air."""
    flow = math.sqrt(float(before.relative_density) / float(gas.relative_density))
    heat_ratio = float(gas.wobbe_gross) / float(before.wobbe_gross)
    return heat_ratio, (1 + extra) * float(before.stoichiometric_air) / (float(gas.stoichiometric_air) * flow)


def _widen(axes: Any, values: Array) -> None:
    """Give an axis at least a tenth of its values as height, so that a trifle does not look like a change."""
    low, high = float(np.min(values)), float(np.max(values))
    room = max(0.25 * (high - low), 0.05 * abs(high + low) / 2)
    axes.set_ylim(low - room, high + room)


def fuel_switch(system: System = "US") -> Live:
    """Hydrogen in natural gas: heat input, excess air, flame and dew point on the same burner."""
    before = fuel("natural gas")

    def mixed(share: float) -> Fuel:
        return blend({before: 1 - share, fuel("hydrogen"): share}, by="volume")

    def draw(share: float, extra: float) -> Figure:
        grid = np.append(np.linspace(0, 0.5, 21), share / _PERCENT)
        gases = [mixed(one) for one in grid]
        burner = np.array([_burner_with(gas, before, extra / _PERCENT) for gas in gases])
        hot = [float(adiabatic_flame(gas, excess_air=ratio - 1).temperature) for gas, (_, ratio) in zip(gases, burner, strict=True)]
        dew = [float(flue_gas(gas, excess_air=ratio - 1).water_dew_point) for gas, (_, ratio) in zip(gases, burner, strict=True)]
        sign = words.sign("flue_temperature", system)
        panels = (
            ("Heat input, % of before", _PERCENT * burner[:, 0], ".0f"),
            ("Excess air, %", _PERCENT * (burner[:, 1] - 1), ".0f"),
            (f"Adiabatic flame, {sign}", _degrees(np.array(hot), system), ",.0f"),
            (f"Dew point, {sign}", _degrees(np.array(dew), system), ".0f"),
        )
        with drawing_style():
            drawing, axes = _panels(4, 2.3, wspace=0.42)
            for panel, (name, values, shape) in zip(axes, panels, strict=True):
                panel.plot(_PERCENT * grid[:-1], values[:-1], color=_BLUE)
                panel.set(xlabel="hydrogen, %", xlim=(0, 50))
                _widen(panel, values)
                panel.set_title(name, fontsize=7.5)
                _mark(panel, share, float(values[-1]), format(float(values[-1]), shape))
        return figure(
            drawing,
            alt=f"With {share:g} % hydrogen: heat input {_percent(burner[-1, 0])} of before, excess air {_percent(burner[-1, 1] - 1)}.",
            caption=f"With {share:g} % hydrogen by volume, the same orifice, pressure and fan, the burner takes {_percent(burner[-1, 0])} of its "
            f"heat and its excess air goes from {extra:g} to {_PERCENT * (burner[-1, 1] - 1):.0f} %. Flashback, which hydrogen brings "
            "nearer, is not in this figure.",
        )

    return Live(
        draw=draw,
        controls=(
            Slider(name="share", label="Hydrogen in the gas, by volume", low=0, high=50, step=1, start=20, sign="%"),
            Slider(name="extra", label="Excess air on natural gas", low=10, high=80, step=1, start=30, sign="%"),
        ),
    )
