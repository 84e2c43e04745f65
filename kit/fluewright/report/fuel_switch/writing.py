"""A fuel-switch study as files: PDF, HTML and results.json, each whole or not at all."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from fluewright.errors import InputError
from fluewright.report.render import Kernel, Progress, check_folder, own_notebook, render, write_whole

_RESULTS = "results.json"


@dataclass(frozen=True, slots=True, kw_only=True)
class WrittenFuelSwitch:
    """A study as written: its files, and the conclusion for each fuel with what speaks against it."""

    paths: tuple[Path, ...]
    conclusions: tuple[str, ...]
    messages: tuple[str, ...] = ()


def write_fuel_switch(
    request: Path | None = None,
    *,
    visit: Path | None = None,
    to: Sequence[str] = (),
    output: Path,
    overwrite: bool = False,
    progress: Progress | None = None,
) -> WrittenFuelSwitch:
    """Make the study of a request file, or of a visited appliance and the fuels to go to.

    Parameters
    ----------
    request : Path, optional
        A request in TOML; its name becomes the name of the report.
    visit : Path, optional
        A visit folder, instead of a request.
    to : sequence of str
        Names of the fuels to go to, with a visit.
    output : Path
        Folder for the report; made where it is lacking.
    overwrite : bool
        Replace a report that is there already and differs.
    progress : callable, optional
        Called with what is being done, the step, and the number of steps.

    Raises
    ------
    InputError, UnitError, UnknownNameError
        The request is wrong, neither or both of request and visit are given, or the folder cannot be written.
    """
    if (request is None) == (visit is None):
        raise InputError("a fuel-switch study needs a request file, or --visit with --to, and not both")
    if request is not None and to:
        raise InputError("--to goes with --visit; a request file names its fuels itself")
    name = request.stem if request is not None else f"{Path(str(visit)).resolve().name}-fuel-switch"
    parameters = {
        "request": str(request.resolve()) if request is not None else "",
        "visit": str(visit.resolve()) if visit is not None else "",
        "to": list(to),
    }
    with Kernel() as kernel:
        made = not output.exists()
        check_folder(output)
        try:
            done = render(own_notebook("fuel-switch"), parameters, kernel=kernel, progress=progress)
            files = {
                output / f"{name}.pdf": done.pdf,
                output / f"{name}.html": done.html,
                output / f"{name}.{_RESULTS}": done.attached[_RESULTS],
            }
            write_whole(files, overwrite=overwrite)
        finally:
            if made and not any(output.iterdir()):
                output.rmdir()
    found = json.loads(done.attached[_RESULTS])["fuels"]
    return WrittenFuelSwitch(
        paths=tuple(files),
        conclusions=tuple(fuel["conclusion"] for fuel in found if fuel["conclusion"]),
        messages=tuple(done.messages),
    )
