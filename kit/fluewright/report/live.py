"""A figure with sliders: live in JupyterLab, and a plain figure on paper."""

from __future__ import annotations

import functools
from collections.abc import Callable, Sequence
from dataclasses import KW_ONLY, dataclass
from typing import Any, TypeAlias

from fluewright.errors import InputError, UnknownNameError
from fluewright.report.objects import TYPST, Bundle, Figure, Paragraph, Section, templates

__all__ = ["Choice", "Live", "Slider", "style"]

_VIEW = "application/vnd.jupyter.widget-view+json"


@functools.cache
def style() -> str:
    """Return the style that the parts of a page need in a notebook opened by hand."""
    # A drawing names the fonts of the report, which a browser may lack: then any without serifs.
    fonts = '.fw-figure svg text { font-family: "Fluewright Sans", "DejaVu Sans", "Segoe UI", sans-serif !important; }'
    fonts += " .fw-figure figcaption { line-height: 1.4; }"
    return f"<style>{(templates() / 'parts.css').read_text(encoding='utf-8')}{fonts}</style>"


@dataclass(frozen=True, slots=True)
class Slider:
    """A number that the reader moves, in the unit `sign` stands for; `span` is lowest, highest and step."""

    name: str
    label: str
    span: tuple[float, float, float]
    _: KW_ONLY
    start: float
    sign: str = ""

    def at(self, value: Any) -> str:
        """Return the setting in words."""
        return f"{self.label}: {float(value):g} {self.sign}".rstrip()

    def accepts(self, value: Any) -> bool:
        """Whether the slider can stand there."""
        return bool(self.span[0] <= value <= self.span[1])

    def widget(self) -> Any:
        """Return the slider as JupyterLab shows it."""
        import ipywidgets

        low, high, step = self.span
        decimals = max(0, len(f"{step:g}".partition(".")[2]))
        return ipywidgets.FloatSlider(
            value=self.start,
            min=low,
            max=high,
            step=step,
            description=f"{self.label}{f', {self.sign}' if self.sign else ''}",
            readout_format=f".{decimals}f",
            style={"description_width": "20em"},
            layout={"width": "42em"},
        )


@dataclass(frozen=True, slots=True)
class Choice:
    """One of several names that the reader picks."""

    name: str
    label: str
    options: Sequence[str]
    _: KW_ONLY
    start: str

    def at(self, value: Any) -> str:
        """Return the setting in words."""
        return f"{self.label}: {value}"

    def accepts(self, value: Any) -> bool:
        """Whether it is one of the options."""
        return value in self.options

    def widget(self) -> Any:
        """Return the menu as JupyterLab shows it."""
        import ipywidgets

        return ipywidgets.Dropdown(
            options=list(self.options),
            value=self.start,
            description=self.label,
            style={"description_width": "20em"},
            layout={"width": "42em"},
        )


Control: TypeAlias = Slider | Choice


@dataclass(frozen=True, slots=True, kw_only=True)
class Live:
    """A figure drawn from the settings of its controls.

    Parameters
    ----------
    draw : callable
        Takes every control by its name and returns the figure; pure.
    controls : sequence of Slider and Choice
        In the order shown.
    """

    draw: Callable[..., Figure]
    controls: Sequence[Control]

    def figure(self, **settings: Any) -> Figure:
        """Return the figure with the controls at `settings`, the others where they start.

        Raises
        ------
        UnknownNameError
            No control has such a name.
        InputError
            A control cannot stand there.
        """
        known = {control.name: control for control in self.controls}
        for name, value in settings.items():
            if name not in known:
                raise UnknownNameError("control of this figure", name, known)
            if not known[name].accepts(value):
                raise InputError(f"{name} cannot be set to {value!r}; see the ends of its slider")
        return self.draw(
            **{control.name: settings.get(control.name, control.start) for control in self.controls}
        )

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> Bundle:
        at = "; ".join(control.at(control.start) for control in self.controls)
        still = Section(
            "",
            [
                self.figure(),
                Paragraph(f"Live in JupyterLab, with sliders. Here they stand at: {at}.", quiet=True),
            ],
        )
        return {
            _VIEW: {"version_major": 2, "version_minor": 0, "model_id": self._box().model_id},
            TYPST: still.as_typst(),
            "text/html": style() + still.as_html(),
            "text/plain": still.as_text(),
        }

    def _box(self) -> Any:
        import ipywidgets

        widgets = {control.name: control.widget() for control in self.controls}
        shown = ipywidgets.HTML()

        def redraw(_: Any = None) -> None:
            figure = self.draw(**{name: widget.value for name, widget in widgets.items()})
            shown.value = style() + figure.as_html()

        for widget in widgets.values():
            widget.observe(redraw, names="value")
        redraw()
        return ipywidgets.VBox([*widgets.values(), shown])
