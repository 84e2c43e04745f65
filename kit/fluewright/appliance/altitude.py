"""The rating of an appliance at altitude, by practices that are named and cited."""

from __future__ import annotations

import numpy as np

from fluewright import sources
from fluewright.errors import InputError, UnknownNameError
from fluewright.sources.limits import Citation
from fluewright.units import Array, Number, convert, si

_TABLE = sources.table("altitude")
PRACTICES = tuple(_TABLE["practices"])
DEFAULT_PRACTICE = "from sea level"


def _practice(name: str) -> dict[str, object]:
    if name not in PRACTICES:
        raise UnknownNameError("altitude practice", name, PRACTICES)
    return dict(_TABLE["practices"][name])


def altitude_rating(elevation: Number, *, practice: str = DEFAULT_PRACTICE) -> Array:
    """Return the share of the rated heat input that an appliance may have at an elevation.

    Parameters
    ----------
    elevation : number or array [m]
        Above sea level.
    practice : str
        One of `PRACTICES`. "from sea level": 4 % per 1000 ft counted from sea level, once above 2000 ft.
        "above 2000 ft": 4 % per 1000 ft counted from 2000 ft. "band": 10 % between 2000 and 4500 ft. "as rated": the
        maker's instructions say that the rating holds.

    Returns
    -------
    array [-]
        One at or below 2000 ft.

    Raises
    ------
    InputError
        The practice says nothing of such an elevation.
    UnknownNameError
        There is no such practice.

    Examples
    --------
    >>> round(float(altitude_rating(1524.0)), 3)  # 5000 ft
    0.8
    """
    height = si(elevation, "m", "elevation")
    entry = _practice(practice)
    start, end = (
        float(convert(_TABLE[edge]["value"], _TABLE[edge]["unit"], "m")) for edge in ("start", "band_end")
    )
    step = float(convert(_TABLE["step"]["value"], _TABLE["step"]["unit"], "m"))
    if entry["counted_from"] == "nothing":
        return np.asarray(np.ones_like(height))
    if entry["counted_from"] == "band":
        if np.any(height > end):
            raise InputError(
                f"elevation is {np.max(height):.0f} m; the practice 'band' holds up to {end:.0f} m: take the maker's "
                "figure, or what the authority having jurisdiction approves"
            )
        lost = np.full_like(height, entry["share"])
    else:
        lost = (
            float(str(entry["share"]))
            * (height - (0.0 if entry["counted_from"] == "sea level" else start))
            / step
        )
    rating = np.asarray(np.where(height > start, 1.0 - lost, 1.0))
    if np.any(rating <= 0):
        raise InputError(
            f"elevation is {np.max(height):.0f} m; the practice '{practice}' leaves no rating there"
        )
    return rating


def altitude_citation(practice: str = DEFAULT_PRACTICE) -> Citation:
    """Return where a practice stands, and how we came by it.

    Raises
    ------
    UnknownNameError
        There is no such practice.
    """
    entry = _practice(practice)
    return Citation(
        source=str(entry["source"]),
        edition=str(entry["edition"]),
        jurisdiction=str(entry["jurisdiction"]),
        place=str(entry["place"]),
        status=str(entry["status"]),
        note=str(entry.get("quoted_in", entry.get("reason", ""))),
    )
