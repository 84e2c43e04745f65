"""Limits, required tests, checks and usual ranges: cited data, read and checked once.

The TOML files beside this module say what their words mean. Values arrive here as text with a unit and leave
as SI floats. An entry without a source, a status outside the closed set, or tiers out of order stop the load.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Any

import numpy as np

from fluewright import units
from fluewright.errors import InputError, UnknownNameError
from fluewright.sources import quantities, quantity, table

__all__ = [
    "CHECK_RESULTS",
    "WEIGHTS",
    "ApplianceType",
    "Caution",
    "Check",
    "Citation",
    "Limit",
    "RequiredTest",
    "Tier",
    "UsualRange",
    "Verdict",
    "appliance_type",
    "appliance_types",
    "cautions",
    "checks",
    "limits",
    "limits_for",
    "recommended_tests",
    "required_tests",
    "tier_of",
    "usual_range",
    "usual_ranges",
    "verdicts",
]

WEIGHTS = ("note", "correct", "stop")
CHECK_RESULTS = ("no fault seen", "fault seen", "not tested")
KINDS = ("maximum", "minimum", "tiers", "curve", "nameplate", "over range")
ROLES = ("limit", "trigger", "reference")
JUDGED = ("each reading", "test point", "rise", "over return")
DRAFTS = ("natural", "induced", "forced", "sealed")
VERDICTS = ("leave_off", "correct", "incomplete", "no_tested_limit_exceeded")
_STATUS_WORDS = {
    "read": "read in the source",
    "quoted": "as quoted in {note}",
    "memory": "value from memory: to be checked against the edition in force",
    "chosen": "chosen here: {note}",
    "entered": "entered in visit.toml, with its own source",
}
# The entry's key that must say more about its status.
_STATUS_NOTE = {"quoted": "quoted_in", "chosen": "reason"}

Entry = Mapping[str, Any]
Data = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Citation:
    """Where a value stands, and how we came by it.

    Attributes
    ----------
    status : str
        "read", "quoted", "memory", "chosen", or "entered" in a visit.
    note : str
        The text that quotes the source, or the reason of a choice.
    """

    source: str
    edition: str
    jurisdiction: str
    place: str
    status: str
    note: str = ""

    @property
    def text_seen(self) -> bool:
        """Whether the words of the source were seen, in itself or in a text that quotes it."""
        return self.status in {"read", "quoted", "entered"}

    @property
    def status_words(self) -> str:
        """How we came by the value, in words to print beside it."""
        return _STATUS_WORDS[self.status].format(note=self.note.rstrip("."))

    @property
    def words(self) -> str:
        """The whole citation on one line."""
        return f"{self.source}; {self.edition}; {self.place} ({self.status_words})"


def chosen_here(place: str, *, note: str) -> Citation:
    """Return the citation of what was chosen in this project, with its reason; no authority stands behind it."""
    return Citation(
        source="Chosen here",
        edition="this release",
        jurisdiction="none: no authority stands behind it",
        place=place,
        status="chosen",
        note=note,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Tier:
    """One step of a limit: from beyond `value` [SI] to the next step.

    A value equal to `value` is not beyond it.
    """

    value: float
    text: str
    weight: str
    meaning: str
    action: str
    who: str
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """A limit on one quantity.

    Attributes
    ----------
    kind : str
        "maximum", "minimum", "tiers", "curve", "nameplate" or "over range".
    role : str
        "limit" (a value wholly inside it is within), "trigger" (not exceeding it proves nothing) or
        "reference" (judged only where a visit asks).
    judged : str
        What is compared: "each reading", "test point", "rise" or "over return".
    tiers : tuple of Tier
        The steps, ascending; one for a maximum or a minimum, none where the value comes from elsewhere.
    points : tuple of (float, float)
        Of a curve: the other quantity [SI] and the limit there [SI].
    against : str
        Of a curve: the other quantity.
    nameplate : str
        Of a nameplate limit: its key under appliance in visit.toml.
    averaging : float or None
        The time the source averages over [s]; a visit shows a moment only.
    appliance_types : frozenset of str or None
        None for all.
    condensing : bool or None
        Only condensing (True) or non-condensing (False) appliances.
    drafts : tuple of str
        Only these kinds of draft; empty for all.
    within : float or None
        Of a nameplate limit with one value: the share of it that is allowed on either side; None where the value is
        the highest allowed.
    vent_categories, carriers : tuple of str
        Only appliances whose nameplate states one of these vent categories; that heat one of these. Empty for all.
    """

    name: str
    quantity: str
    kind: str
    role: str
    judged: str
    weight: str
    tiers: tuple[Tier, ...]
    points: tuple[tuple[float, float], ...]
    against: str
    nameplate: str
    averaging: float | None
    rule: str
    appliance_types: frozenset[str] | None
    condensing: bool | None
    drafts: tuple[str, ...]
    conditions: str
    meaning: str
    action: str
    who: str
    citation: Citation
    within: float | None = None
    vent_categories: tuple[str, ...] = ()
    carriers: tuple[str, ...] = ()

    @property
    def below(self) -> bool:
        """Whether values below the limit, rather than above it, exceed it."""
        return self.kind == "minimum"

    def applies_to(self, appliance_type: str, *, condensing: bool, draft: str) -> bool:
        """Whether an appliance is judged by this limit; a draft that is not stated is judged by all."""
        return (
            (self.appliance_types is None or appliance_type in self.appliance_types)
            and self.condensing in (None, condensing)
            and (not self.drafts or not draft or draft in self.drafts)
        )

    def at(self, other: units.Number) -> units.Array:
        """Return a curve's limit [SI] where the other quantity is `other` [SI]; level outside its points."""
        x, y = zip(*self.points, strict=True)
        return np.asarray(np.interp(units.si(other, quantity(self.against).unit, self.against), x, y))


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """What is seen rather than measured, and what a fault means."""

    name: str
    label: str
    weight: str
    meaning: str
    action: str
    who: str
    citation: Citation
    results: tuple[str, ...] = CHECK_RESULTS


@dataclass(frozen=True, slots=True, kw_only=True)
class RequiredTest:
    """A test that a type of appliance needs: any one of `any_of`, quantities or checks by name."""

    name: str
    label: str
    any_of: tuple[str, ...]
    needs_limit: bool
    condensing: bool | None
    drafts: tuple[str, ...]
    because: str
    citation: Citation

    def applies_to(self, *, condensing: bool, draft: str) -> bool:
        """Whether such an appliance needs this test; a draft that is not stated needs it."""
        return self.condensing in (None, condensing) and (
            not self.drafts or not draft or draft in self.drafts
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class ApplianceType:
    """A type of appliance, the tests it needs, and what it heats: "air", "water" or neither."""

    name: str
    label: str
    required: tuple[RequiredTest, ...]
    recommended: tuple[RequiredTest, ...]
    no_limit_known: frozenset[str]
    heat_carrier: str


@dataclass(frozen=True, slots=True, kw_only=True)
class UsualRange:
    """Between which values [SI] a quantity usually lies; no limit."""

    name: str
    quantity: str
    appliance_types: frozenset[str]
    condensing: bool | None
    low: float
    high: float
    citation: Citation


@dataclass(frozen=True, slots=True, kw_only=True)
class Caution:
    """One caution, printed with every report."""

    title: str
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """One of the closed set of verdicts."""

    name: str
    sentence: str
    meaning: str


# ---------------------------------------------------------------------------- reading entries


def _fail(where: str, what: str) -> InputError:
    return InputError(f"{where}: {what}")


def _text(entry: Entry, key: str, where: str) -> str:
    value = entry.get(key)
    if not isinstance(value, str) or not value.strip():
        raise _fail(where, f"'{key}' is missing or empty; every entry needs it")
    return value


def _one_of(entry: Entry, key: str, allowed: Iterable[str], where: str) -> str:
    value = _text(entry, key, where)
    if value not in allowed:
        raise _fail(where, f"'{key}' is '{value}'; it must be one of: {', '.join(allowed)}")
    return value


def _only(entry: Entry, allowed: frozenset[str], where: str) -> None:
    unknown = sorted(set(entry) - allowed)
    if unknown:
        known = ", ".join(sorted(allowed))
        raise _fail(where, f"'{unknown[0]}' is not a key of such an entry; known: {known}")


def _unit_of(name: str, where: str) -> str:
    if name not in quantities():
        raise _fail(where, f"'{name}' is not a quantity of the nomenclature")
    return quantities()[name].unit


def _si(text: str, unit: str, where: str) -> float:
    # Twelve digits: a reading equal to a limit must not lie beyond it by a rounding error of the conversion.
    return float(f"{units.parse(text, unit, where):.12g}")


def _drafts(entry: Entry, where: str) -> tuple[str, ...]:
    drafts = tuple(entry.get("drafts", ()))
    for draft in drafts:
        if draft not in DRAFTS:
            raise _fail(where, f"draft '{draft}' must be one of: {', '.join(DRAFTS)}")
    return drafts


def _types(entry: Entry, known: Iterable[str], where: str) -> frozenset[str] | None:
    named = entry.get("appliance_types")
    if named == "all":
        return None
    if not isinstance(named, list) or not named:
        raise _fail(where, "'appliance_types' must be a list of types, or \"all\"")
    for name in named:
        if name not in known:
            raise _fail(where, f"'{name}' is not an appliance type; known: {', '.join(sorted(known))}")
    return frozenset(named)


_CITED = frozenset({"source", "place", "status", "quoted_in", "reason"})


def _citation(entry: Entry, sources: Data, where: str) -> Citation:
    key = _one_of(entry, "source", sources, where)
    status = _one_of(entry, "status", [word for word in _STATUS_WORDS if word != "entered"], where)
    if status == "chosen" and sources[key]["title"] not in {"Chosen here", "Common practice without source"}:
        raise _fail(where, "a chosen value may not borrow the name of a source")
    note_key = _STATUS_NOTE.get(status)
    return Citation(
        source=_text(sources[key], "title", where),
        edition=_text(sources[key], "edition", where),
        jurisdiction=_text(sources[key], "jurisdiction", where),
        place=_text(entry, "place", where),
        status=status,
        note=_text(entry, note_key, where) if note_key else "",
    )


_STEP = frozenset({"weight", "meaning", "action", "who"}) | _CITED


def _tier(entry: Entry, key: str, unit: str, sources: Data, where: str) -> Tier:
    text = _text(entry, key, where)
    return Tier(
        value=_si(text, unit, where),
        text=text,
        weight=_one_of(entry, "weight", WEIGHTS, where),
        meaning=_text(entry, "meaning", where),
        action=_text(entry, "action", where),
        who=_text(entry, "who", where),
        citation=_citation(entry, sources, where),
    )


def _tiers(entry: Entry, unit: str, sources: Data, where: str) -> tuple[Tier, ...]:
    if entry["kind"] in {"maximum", "minimum"}:
        return (_tier(entry, "value", unit, sources, where),)
    if entry["kind"] != "tiers":
        return ()
    tiers = []
    for step in entry.get("tiers", ()):
        _only(step, _STEP | {"above"}, where)
        tiers.append(_tier(step, "above", unit, sources, where))
    if not tiers:
        raise _fail(where, "a limit in tiers needs at least one of them")
    for lower, upper in itertools.pairwise(tiers):
        if not lower.value < upper.value:
            raise _fail(where, f"tiers must ascend; '{upper.text}' follows '{lower.text}'")
        if not WEIGHTS.index(lower.weight) < WEIGHTS.index(upper.weight):
            raise _fail(where, f"each tier must weigh more than the one below; '{upper.text}' does not")
    return tuple(tiers)


def _points(entry: Entry, unit: str, where: str) -> tuple[tuple[float, float], ...]:
    if entry["kind"] != "curve":
        return ()
    other = _unit_of(_text(entry, "against", where), where)
    points = tuple((_si(x, other, where), _si(y, unit, where)) for x, y in entry.get("points", ()))
    if len(points) < 2 or any(not a[0] < b[0] for a, b in itertools.pairwise(points)):
        raise _fail(where, "a curve needs two or more points, ascending in the other quantity")
    return points


_LIMIT = _STEP | {
    "quantity", "kind", "value", "tiers", "points", "against", "nameplate", "averaging", "role", "judged",
    "rule", "appliance_types", "condensing", "drafts", "conditions", "within", "vent_categories", "carriers",
}  # fmt: skip


def _limit(name: str, entry: Entry, sources: Data, known_types: Iterable[str]) -> Limit:
    where = f"limits.toml, {name}"
    _only(entry, _LIMIT, where)
    unit = _unit_of(_text(entry, "quantity", where), where)
    kind = _one_of(entry, "kind", KINDS, where)
    return Limit(
        name=name,
        quantity=entry["quantity"],
        kind=kind,
        role=_one_of(entry, "role", ROLES, where),
        judged=_one_of(entry, "judged", JUDGED, where),
        weight=_one_of(entry, "weight", WEIGHTS, where),
        tiers=_tiers(entry, unit, sources, where),
        points=_points(entry, unit, where),
        against=entry.get("against", ""),
        nameplate=_text(entry, "nameplate", where) if kind == "nameplate" else "",
        averaging=_si(entry["averaging"], "s", where) if "averaging" in entry else None,
        rule=entry.get("rule", ""),
        appliance_types=_types(entry, known_types, where),
        condensing=entry.get("condensing"),
        drafts=_drafts(entry, where),
        conditions=_text(entry, "conditions", where),
        meaning=_text(entry, "meaning", where),
        action=_text(entry, "action", where),
        who=_text(entry, "who", where),
        citation=_citation(entry, sources, where),
        within=_si(entry["within"], "1", where) if "within" in entry else None,
        vent_categories=tuple(entry.get("vent_categories", ())),
        carriers=tuple(entry.get("carriers", ())),
    )


def read_limits(data: Data, known_types: Iterable[str]) -> Mapping[str, Limit]:
    """Return the limits of a parsed limits.toml, checked.

    Raises
    ------
    InputError
        An entry lacks a source, names an unknown quantity or type, or its tiers do not ascend.
    UnitError
        A value is no number with a unit of its quantity's kind.
    """
    return MappingProxyType(
        {name: _limit(name, entry, data["sources"], known_types) for name, entry in data["limits"].items()}
    )


def _check(name: str, entry: Entry, sources: Data) -> Check:
    where = f"appliance_types.toml, check {name}"
    _only(entry, _STEP | {"label"}, where)
    return Check(
        name=name,
        label=_text(entry, "label", where),
        weight=_one_of(entry, "weight", WEIGHTS, where),
        meaning=_text(entry, "meaning", where),
        action=_text(entry, "action", where),
        who=_text(entry, "who", where),
        citation=_citation(entry, sources, where),
    )


def read_checks(data: Data) -> Mapping[str, Check]:
    """Return the checks of a parsed appliance_types.toml, checked.

    Raises
    ------
    InputError
        An entry lacks a source, a weight or its words.
    """
    return MappingProxyType(
        {name: _check(name, entry, data["sources"]) for name, entry in data["checks"].items()}
    )


_TEST = _CITED | {"label", "any_of", "needs_limit", "condensing", "drafts", "because"}


def _test(name: str, entry: Entry, data: Data) -> RequiredTest:
    where = f"appliance_types.toml, test {name}"
    _only(entry, _TEST, where)
    any_of = tuple(entry.get("any_of", (name,)))
    for wanted in any_of:
        if wanted not in quantities() and wanted not in data["checks"]:
            raise _fail(where, f"'{wanted}' is neither a quantity of the nomenclature nor a check")
    return RequiredTest(
        name=name,
        label=_text(entry, "label", where),
        any_of=any_of,
        needs_limit=bool(entry.get("needs_limit", False)),
        condensing=entry.get("condensing"),
        drafts=_drafts(entry, where),
        because=_text(entry, "because", where),
        citation=_citation(entry, data["sources"], where),
    )


def read_appliance_types(data: Data) -> Mapping[str, ApplianceType]:
    """Return the types of a parsed appliance_types.toml, checked.

    Raises
    ------
    InputError
        A type names a test that does not exist, or a test names what can be neither measured nor seen.
    """
    tests = {name: _test(name, entry, data) for name, entry in data["tests"].items()}

    def named(entry: Entry, key: str, where: str) -> tuple[RequiredTest, ...]:
        for name in entry[key]:
            if name not in tests:
                raise _fail(where, f"'{name}' is not a test; known: {', '.join(sorted(tests))}")
        return tuple(tests[name] for name in entry[key])

    types = {}
    for name, entry in data["types"].items():
        where = f"appliance_types.toml, type {name}"
        _only(entry, frozenset({"label", "required", "recommended", "no_limit_known", "heat_carrier"}), where)
        unlimited = entry.get("no_limit_known", ())
        for wanted in unlimited:
            _unit_of(wanted, where)
        types[name] = ApplianceType(
            name=name,
            label=_text(entry, "label", where),
            required=named(entry, "required", where),
            recommended=named(entry, "recommended", where),
            no_limit_known=frozenset(unlimited),
            heat_carrier=entry.get("heat_carrier", ""),
        )
    return MappingProxyType(types)


_RANGE = _CITED | {"quantity", "appliance_types", "condensing", "low", "high"}


def read_usual_ranges(data: Data, known_types: Iterable[str]) -> Mapping[str, UsualRange]:
    """Return the ranges of a parsed usual_ranges.toml, checked.

    Raises
    ------
    InputError
        A range is empty, without source, or of an unknown quantity or type.
    """
    ranges = {}
    for name, entry in data["ranges"].items():
        where = f"usual_ranges.toml, {name}"
        _only(entry, _RANGE, where)
        unit = _unit_of(_text(entry, "quantity", where), where)
        low, high = (_si(_text(entry, key, where), unit, where) for key in ("low", "high"))
        if not low < high:
            raise _fail(where, f"'{entry['low']}' is not below '{entry['high']}'")
        ranges[name] = UsualRange(
            name=name,
            quantity=entry["quantity"],
            appliance_types=_types(entry, known_types, where) or frozenset(known_types),
            condensing=entry.get("condensing"),
            low=low,
            high=high,
            citation=_citation(entry, data["sources"], where),
        )
    return MappingProxyType(ranges)


def read_verdicts(data: Data) -> Mapping[str, Verdict]:
    """Return the verdicts of a parsed cautions.toml: exactly the closed set.

    Raises
    ------
    InputError
        One is missing or added.
    """
    if set(data["verdicts"]) != set(VERDICTS):
        raise _fail("cautions.toml", f"the verdicts must be exactly: {', '.join(VERDICTS)}")
    return MappingProxyType(
        {
            name: Verdict(
                name=name,
                sentence=_text(data["verdicts"][name], "sentence", f"cautions.toml, {name}"),
                meaning=_text(data["verdicts"][name], "meaning", f"cautions.toml, {name}"),
            )
            for name in VERDICTS
        }
    )


# ---------------------------------------------------------------------------- the package's own tables


@functools.cache
def limits() -> Mapping[str, Limit]:
    """Return every limit by its name."""
    return read_limits(table("limits"), appliance_types())


@functools.cache
def appliance_types() -> Mapping[str, ApplianceType]:
    """Return every appliance type by its name."""
    return read_appliance_types(table("appliance_types"))


@functools.cache
def checks() -> Mapping[str, Check]:
    """Return every check by its name."""
    return read_checks(table("appliance_types"))


@functools.cache
def usual_ranges() -> Mapping[str, UsualRange]:
    """Return every usual range by its name."""
    return read_usual_ranges(table("usual_ranges"), appliance_types())


@functools.cache
def cautions() -> tuple[Caution, ...]:
    """Return the cautions in the order they are printed."""
    return tuple(Caution(**entry) for entry in table("cautions")["cautions"])


@functools.cache
def verdicts() -> Mapping[str, Verdict]:
    """Return the closed set of verdicts, gravest first."""
    return read_verdicts(table("cautions"))


def appliance_type(name: str) -> ApplianceType:
    """Return one appliance type.

    Raises
    ------
    UnknownNameError
        There is no such type; the nearest one is suggested.
    """
    try:
        return appliance_types()[name]
    except KeyError:
        raise UnknownNameError("appliance type", name, appliance_types()) from None


def limits_for(
    quantity: str, *, appliance_type: str, condensing: bool = False, draft: str = "", references: bool = False
) -> tuple[Limit, ...]:
    """Return the limits an appliance's quantity is judged by, in the order of the table.

    Parameters
    ----------
    quantity : str
        A name of the nomenclature.
    appliance_type : str
        A name of the appliance types.
    condensing : bool
        Whether the appliance is declared condensing.
    draft : str
        "natural", "induced", "forced", "sealed", or "" where the visit does not say.
    references : bool
        Include reference limits, which a visit must ask for.

    Returns
    -------
    tuple of Limit
        Without one of role "limit", no limit is known: never take a neighbor's.
    """
    return tuple(
        limit
        for limit in limits().values()
        if limit.quantity == quantity
        and (references or limit.role != "reference")
        and limit.applies_to(appliance_type, condensing=condensing, draft=draft)
    )


def required_tests(name: str, *, condensing: bool = False, draft: str = "") -> tuple[RequiredTest, ...]:
    """Return the tests this appliance needs before "no tested limit exceeded" may be said.

    Raises
    ------
    UnknownNameError
        There is no such type.
    """
    wanted = appliance_type(name).required
    return tuple(test for test in wanted if test.applies_to(condensing=condensing, draft=draft))


def recommended_tests(name: str, *, condensing: bool = False, draft: str = "") -> tuple[RequiredTest, ...]:
    """Return the tests printed as "not tested" when absent, without weight in the verdict.

    Raises
    ------
    UnknownNameError
        There is no such type.
    """
    wanted = appliance_type(name).recommended
    return tuple(test for test in wanted if test.applies_to(condensing=condensing, draft=draft))


def tier_of(limit: Limit, value: float) -> Tier | None:
    """Return the highest step of `limit` that `value` [SI] lies beyond, or None."""
    beyond = [tier for tier in limit.tiers if (value < tier.value if limit.below else value > tier.value)]
    return beyond[-1] if beyond else None


def side_of(quantity: str) -> str | None:
    """Return "at most" or "at least" where all limits tabulated of a quantity are of one side, else None."""
    kinds = {limit.kind for limit in limits().values() if limit.quantity == quantity}
    if kinds and kinds <= {"maximum", "tiers", "curve", "over range"}:
        return "at most"
    return "at least" if kinds == {"minimum"} else None


def usual_range(quantity: str, *, appliance_type: str, condensing: bool = False) -> UsualRange | None:
    """Return the usual range of a quantity for an appliance, or None where none is known."""
    for found in usual_ranges().values():
        if (
            found.quantity == quantity
            and appliance_type in found.appliance_types
            and found.condensing in (None, condensing)
        ):
            return found
    return None
