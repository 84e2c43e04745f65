"""The errors this package raises, each with what is wrong, the rule, where, and the way out."""

from __future__ import annotations

import difflib
from collections.abc import Iterable


class FluewrightError(Exception):
    """Root of every error raised on purpose by this package."""


class InputError(FluewrightError, ValueError):
    """A value, a file or a request that cannot be used as it is."""


class UnitError(FluewrightError, ValueError):
    """A unit that is unknown, missing, or of the wrong kind for its quantity."""


class UnknownNameError(FluewrightError, LookupError):
    """A name that is not in the list it was looked up in.

    Parameters
    ----------
    kind : str
        What was looked up, in words ("fuel", "quantity").
    name : str
        The name asked for.
    known : iterable of str
        The names that exist; the nearest is suggested.
    """

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        names = sorted(known)
        nearest = difflib.get_close_matches(str(name), names, n=1, cutoff=0.5)
        hint = f"; did you mean '{nearest[0]}'?" if nearest else f"; known: {', '.join(names)}"
        super().__init__(f"there is no {kind} '{name}'{hint}")


class RenderError(FluewrightError, RuntimeError):
    """A report that could not be made whole; nothing was written."""
