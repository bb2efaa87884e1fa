"""One refrigerant as the rest of the package sees it, read from the JSON that `build.py` wrote.

Only the refrigerant asked for is read. Nothing here knows CoolProp or YAML, and nothing guesses: a name that is not
exactly one of the known ones is an error with suggestions.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import MappingProxyType
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from twogauge.errors import InputError, RangeError, UnknownNameError, shown
from twogauge.refrigerants.curves import Curve, Floats, Place

Phase = Literal["bubble", "dew"]
Kind = Literal["pure", "azeotrope", "zeotrope"]
Grade = Literal["checked", "near", "off", "unchecked"]

GRADES: Final[Mapping[Grade, str]] = MappingProxyType(
    {
        "checked": "handbook tables that were read agree within 0.1 K, every chart that was read within 0.5 K",
        "near": "published values that were read agree within 0.5 K",
        "off": "a published value that was read lies further than 0.5 K away",
        "unchecked": "no published table was read that confirms it",
    }
)
"""What each grade promises, best first. The thresholds are tested in tests/published."""

_DATA = Path(__file__).parent / "data"


@dataclass(frozen=True)
class Summary:
    """What a list of refrigerants shows, from the index alone.

    Attributes:
        id: name used by the program.
        title: name as printed.
        chemical_name: chemical name of a pure fluid, components of a blend.
        kind: pure, azeotrope or zeotrope.
        safety_class: ASHRAE 34 class.
        grade: key of `GRADES`.
        glide: dew minus bubble temperature at 101325 Pa [K]; NaN where the curves do not reach that pressure.
        aliases: other names.
    """

    id: str
    title: str
    chemical_name: str
    kind: Kind
    safety_class: str
    grade: Grade
    glide: float
    aliases: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Refrigerant:
    """A refrigerant: its facts, where each is from, and its saturation curves.

    `phase` is "bubble" (the first bubble in the liquid: subcooling is counted from here) or "dew" (the first drop in
    the vapour: superheat is counted from here). For a pure fluid both are the same curve. Pressures are absolute.

    Attributes:
        id: name used by the program.
        title: name as printed.
        chemical_name: chemical name of a pure fluid, components of a blend.
        kind: pure, azeotrope or zeotrope.
        composition: mass fraction by component [kg/kg]; empty for a pure fluid.
        safety_class: ASHRAE 34 class.
        exposure_limits: limit by name, which ends in its unit [ppm or g/m3]; empty where no printed table was seen.
        lubricants: oils it is used with, in the order they are met.
        cautions: sentences to print wherever handling it is advised, in order.
        aliases: other names.
        grade: key of `GRADES`: how its curves agree with published tables.
        grade_reason: one sentence why.
        glide: dew minus bubble temperature at 101325 Pa [K]; NaN where the curves do not reach that pressure.
        critical_temperature: [K]
        critical_pressure: [Pa]
        critical_point_from: how the critical point was found.
        sources: source by fact ("safety_class", "cautions.frostbite", ...).
        provenance: builder, CoolProp version, equations, pair constants, and by phase the largest deviation [K].
    """

    id: str
    title: str
    chemical_name: str
    kind: Kind
    composition: Mapping[str, float]
    safety_class: str
    exposure_limits: Mapping[str, float]
    lubricants: tuple[str, ...]
    cautions: tuple[str, ...]
    aliases: tuple[str, ...]
    grade: Grade
    grade_reason: str
    glide: float
    critical_temperature: float
    critical_pressure: float
    critical_point_from: str
    sources: Mapping[str, str]
    provenance: Mapping[str, Any]
    bubble: Curve
    dew: Curve

    def saturation_temperature(self, pressure: ArrayLike, phase: Phase = "dew") -> Floats:
        """Return the saturation temperature [K], shape of `pressure`.

        NaN where the pressure is outside the curve or NaN; `where` tells why.

        Args:
            pressure: absolute pressure [Pa], any shape.
            phase: "bubble" or "dew".
        """
        return self._curve(phase).temperature(pressure)

    def saturation_pressure(self, temperature: ArrayLike, phase: Phase = "dew") -> Floats:
        """Return the saturation pressure [Pa], shape of `temperature`; NaN outside the curve.

        Args:
            temperature: [K], any shape.
            phase: "bubble" or "dew".
        """
        return self._curve(phase).pressure(temperature)

    def saturation_slope(self, pressure: ArrayLike, phase: Phase = "dew") -> Floats:
        """Return dT/dp along the saturation curve [K/Pa], shape of `pressure`; NaN outside the curve.

        Args:
            pressure: absolute pressure [Pa], any shape.
            phase: "bubble" or "dew".
        """
        return self._curve(phase).slope(pressure)

    def where(self, pressure: ArrayLike, phase: Phase = "dew") -> NDArray[np.int8]:
        """Return the `Place` of each pressure against the curve, shape of `pressure`.

        Args:
            pressure: absolute pressure [Pa], any shape.
            phase: "bubble" or "dew".
        """
        return self._curve(phase).where(pressure, self.critical_pressure)

    def temperature_at(self, pressure: float, phase: Phase = "dew") -> float:
        """Return the saturation temperature of one pressure [K].

        Args:
            pressure: absolute pressure [Pa].
            phase: "bubble" or "dew".

        Raises:
            RangeError: the curve does not reach that pressure.
        """
        curve = self._curve(phase)
        found = float(curve.temperature(pressure))
        if np.isnan(found):
            reach = f"from {_kilopascal(curve.pressure_min)} to {_kilopascal(curve.pressure_max)}"
            advice = {
                Place.BELOW: "check the sign of a vacuum reading and its unit",
                Place.ABOVE: "check the reading and the refrigerant's name; this close to critical no curve is kept",
                Place.SUPERCRITICAL: f"the critical pressure is {_kilopascal(self.critical_pressure)}, and above it "
                "there is no saturation temperature; check the reading and the refrigerant's name",
                Place.MISSING: "give a number",
            }[Place(int(curve.where(pressure, self.critical_pressure)))]
            raise RangeError(
                f"The {self._line(phase)} of {self.title} runs {reach} absolute, and {_kilopascal(pressure)} is "
                f"outside it: {advice}."
            )
        return found

    def pressure_at(self, temperature: float, phase: Phase = "dew") -> float:
        """Return the saturation pressure at one temperature [Pa].

        Args:
            temperature: [K]
            phase: "bubble" or "dew".

        Raises:
            RangeError: the curve does not reach that temperature.
        """
        curve = self._curve(phase)
        found = float(curve.pressure(temperature))
        if np.isnan(found):
            if np.isnan(temperature):
                advice = "give a number"
            elif temperature >= self.critical_temperature:
                critical = _celsius(self.critical_temperature)
                advice = f"the critical temperature is {critical}, and above it there is no liquid"
            else:
                advice = "check the value and its unit"
            raise RangeError(
                f"The {self._line(phase)} of {self.title} runs from {_celsius(curve.temperature_min)} to "
                f"{_celsius(curve.temperature_max)}, and {_celsius(temperature)} is outside it: {advice}."
            )
        return found

    def temperature_min(self, phase: Phase = "dew") -> float:
        """Return the lowest temperature of the curve [K]."""
        return self._curve(phase).temperature_min

    def temperature_max(self, phase: Phase = "dew") -> float:
        """Return the highest temperature of the curve [K]."""
        return self._curve(phase).temperature_max

    def pressure_min(self, phase: Phase = "dew") -> float:
        """Return the lowest pressure of the curve [Pa]."""
        return self._curve(phase).pressure_min

    def pressure_max(self, phase: Phase = "dew") -> float:
        """Return the highest pressure of the curve [Pa]."""
        return self._curve(phase).pressure_max

    def _curve(self, phase: Phase) -> Curve:
        if phase == "dew":
            return self.dew
        if phase == "bubble":
            return self.bubble
        raise InputError(f"{shown(phase)} is not a phase; write 'bubble' or 'dew'")

    def _line(self, phase: Phase) -> str:
        return "saturation curve" if self.kind == "pure" else f"{phase} curve"


def names() -> tuple[str, ...]:
    """Return the ids of all refrigerants, most used first."""
    return tuple(_index())


def summaries() -> tuple[Summary, ...]:
    """Return what a list of refrigerants shows, without opening a curve."""
    return tuple(
        Summary(
            id=name,
            title=entry["title"],
            chemical_name=entry["chemical_name"],
            kind=entry["kind"],
            safety_class=entry["safety_class"],
            grade=entry["grade"],
            glide=_number(entry["glide at 101325 Pa / K"]),
            aliases=tuple(entry["aliases"]),
        )
        for name, entry in _index().items()
    )


def get(name: str) -> Refrigerant:
    """Return the refrigerant of that name; letter case, spaces, hyphens and a leading R do not matter.

    Args:
        name: id, title or alias, such as `R134a`, `r-134A`, `134a`, `HFC-134a` or `propane`.

    Raises:
        UnknownNameError: nothing has exactly that name; the nearest names are suggested, never taken.
    """
    known = _ids_by_folded_name()
    found = known.get(folded(name))
    if found is None:
        words = [alias for entry in _index().values() for alias in entry["aliases"] if alias.isalpha()]
        start = folded(name)
        longer = [known_id for known_id in names() if len(start) > 1 and folded(known_id).startswith(start)]
        raise UnknownNameError(
            "refrigerant", name, longer[:2] or [*names(), *words], hint="twogauge refrigerants lists the known ones"
        )
    return _load(found)


def folded(name: str) -> str:
    """Return a name without what does not matter in it: case, spaces, hyphens, brackets, a leading R."""
    kept = "".join(c for c in name.casefold() if c not in " -_()\t")
    for prefix in ("refrigerant", "r"):
        if kept.startswith(prefix) and kept[len(prefix) :][:1].isdigit():
            return kept[len(prefix) :]
    return kept


@cache
def _index() -> Mapping[str, Any]:
    document = json.loads((_DATA / "index.json").read_text(encoding="utf-8"))
    entries: dict[str, Any] = document["refrigerants"]
    return MappingProxyType(entries)


@cache
def _ids_by_folded_name() -> Mapping[str, str]:
    return MappingProxyType(
        {
            folded(spelling): name
            for name, entry in _index().items()
            for spelling in (name, entry["title"], *entry["aliases"])
        }
    )


@cache
def _load(name: str) -> Refrigerant:
    document = json.loads((_DATA / "curves" / _index()[name]["file"]).read_text(encoding="utf-8"))
    curves = {phase: _curve_from(block) for phase, block in document["curves"].items()}
    deviations = {phase: block["largest deviation from CoolProp / K"] for phase, block in document["curves"].items()}
    return Refrigerant(
        id=document["id"],
        title=document["title"],
        chemical_name=document["chemical_name"],
        kind=document["kind"],
        composition=MappingProxyType(document["composition / kg/kg"]),
        safety_class=document["safety_class"],
        exposure_limits=MappingProxyType(document["exposure_limits"]),
        lubricants=tuple(document["lubricants"]),
        cautions=tuple(document["cautions"]),
        aliases=tuple(document["aliases"]),
        grade=document["grade"],
        grade_reason=document["grade_reason"],
        glide=_number(document["glide at 101325 Pa / K"]),
        critical_temperature=document["critical temperature / K"],
        critical_pressure=document["critical pressure / Pa"],
        critical_point_from=document["critical point from"],
        sources=MappingProxyType(document["sources"]),
        provenance=MappingProxyType(document["made by"] | {"largest deviation from CoolProp / K": deviations}),
        bubble=curves.get("bubble") or curves["pure"],
        dew=curves.get("dew") or curves["pure"],
    )


def _curve_from(block: Mapping[str, Any]) -> Curve:
    return Curve(
        block["pressure from / Pa"],
        block["pressure to / Pa"],
        tuple(block["Chebyshev coefficients of T in ln p / K"]),
        tuple(block["Chebyshev coefficients of ln(p / Pa) in 1/T"]),
    )


def _number(value: float | None) -> float:
    return float("nan") if value is None else value


def _kilopascal(pressure: float) -> str:
    return f"{pressure / 1000:.5g} kPa"


def _celsius(temperature: float) -> str:
    return f"{temperature - 273.15:.4g} degC"
