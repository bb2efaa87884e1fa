"""Build the saturation curves and properties that ship with the package, and say how far they are from their origin.

    python -m twogauge.refrigerants.build [--check] [NAME ...]

reads `data/catalogue.yaml` and writes for each refrigerant `<file>.json` in `data/curves/`, `data/properties/` and
`data/superheated/`, and `data/index.json`. With `--check` it writes nothing, rebuilds in memory and reports drift. This
is the only module that imports CoolProp and the only one that reads YAML in this room; nothing at run time imports it.

Pure fluids and the pseudo-pure models (R404A, R407C, R410A, R507A) come from CoolProp's own saturation flash. For
the other blends that flash fails in islands, and now and then returns a pressure that belongs to no equilibrium. So
their bubble and dew points are solved here, from CoolProp's fugacities: equal fugacity of every component in both
phases and equal pressure, by Newton's method, continued from one temperature to the next. A point that does not meet
these conditions to 1e-9 is not used.
"""

from __future__ import annotations

import argparse
import json
import math
import multiprocessing
import sys
from collections.abc import Iterable, Mapping
from itertools import combinations
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import yaml
from CoolProp import CoolProp
from numpy.typing import NDArray

from twogauge.errors import UnknownNameError
from twogauge.refrigerants.curves import Curve
from twogauge.refrigerants.fit_properties import Sample, States, fit_properties, properties_drift
from twogauge.refrigerants.fit_superheated import fit_superheated, superheated_drift
from twogauge.refrigerants.properties import Properties, properties_from

Floats = NDArray[np.float64]

DATA = Path(__file__).parent / "data"
ATMOSPHERE = 101_325.0
"""Standard atmosphere [Pa]. Source: ISO 2533."""
LOWEST_TEMPERATURE = 208.15
"""-65 degC [K]: below every suction line this package is meant for, with a margin to tables that begin at -60."""
HIGHEST_REDUCED_TEMPERATURE = 0.99
"""Curves end at this fraction of the critical temperature: beyond it bubble and dew meet too steeply to fit."""
WANTED_DEVIATION = 1e-3
"""A series is lengthened until it reproduces CoolProp this well [K]."""
ALLOWED_DEVIATION = 5e-3
"""A refrigerant whose curve is worse than this [K] is refused."""
DRIFT_ALLOWED = 2e-3
"""How far a shipped curve may be from a rebuilt one [K] before `--check` complains."""
LONGEST_SERIES = 25
TOP_OF_DOME = (0.992, 0.994, 0.996, 0.998, 0.999, 0.9996)
"""Fractions of the critical temperature between the end of the curves and the critical point, for a drawing."""


def main(arguments: list[str] | None = None) -> int:
    """Build or check; return the exit code (0 good, 1 drift found)."""
    parser = argparse.ArgumentParser(prog="python -m twogauge.refrigerants.build", description=__doc__.split("\n")[0])
    parser.add_argument("--check", action="store_true", help="write nothing, report drift")
    parser.add_argument("names", nargs="*", metavar="NAME", help="ids of the catalogue; all if none is given")
    options = parser.parse_args(arguments)
    entries = read_catalogue()
    for name in options.names:
        if name not in entries:
            raise UnknownNameError("refrigerant", name, entries)
    chosen = {name: entries[name] for name in options.names or entries}
    with multiprocessing.get_context("spawn").Pool(2) as pool:
        built = dict(zip(chosen, pool.map(build, chosen.items(), chunksize=1), strict=True))
    if options.check:
        problems = [line for name, new in built.items() for line in drift(name, new.curve)]
        for name, new in built.items():
            path = DATA / "properties" / file_name(name)
            problems += properties_drift(name, read(path) if path.exists() else None, new.properties)
            path = DATA / "superheated" / file_name(name)
            problems += superheated_drift(name, read(path) if path.exists() else None, new.superheated)
        problems += index_drift(entries)
        print("\n".join(problems) or f"{len(built)} curves agree with a fresh build")  # noqa: T201
        return 1 if problems else 0
    for name, new in built.items():
        write(DATA / "curves" / file_name(name), new.curve)
        write(DATA / "properties" / file_name(name), new.properties)
        write(DATA / "superheated" / file_name(name), new.superheated)
    shipped = {
        name: built[name].curve if name in built else read(DATA / "curves" / file_name(name)) for name in entries
    }
    write(DATA / "index.json", index(shipped))
    for name, new in built.items():
        print(f"{name:12} {summary(new.curve)}")  # noqa: T201
    return 0


# Catalogue -----------------------------------------------------------------------------------------------------


def read_catalogue(path: Path = DATA / "catalogue.yaml") -> dict[str, dict[str, Any]]:
    """Return the entries by id, with the shared cautions and default sources written out."""
    document = yaml.safe_load(path.read_text(encoding="utf-8"))
    return {
        entry["id"]: facts(entry, document["cautions"], document["default_sources"])
        for entry in document["refrigerants"]
    }


def facts(entry: Mapping[str, Any], cautions: Mapping[str, Any], defaults: Mapping[str, str]) -> dict[str, Any]:
    """Return what the JSON says about a refrigerant in words: the hand-written facts and where each is from."""
    given = dict(entry.get("sources", {}))
    composition = {str(part): float(share) for part, share in entry.get("composition", {}).items()}
    if composition and not math.isclose(sum(composition.values()), 1, abs_tol=1e-9):
        raise ValueError(f"{entry['id']}: the mass fractions add up to {sum(composition.values())}, not to 1")
    sources = {"chemical_name": defaults["chemical_name"], "safety_class": defaults["safety_class"]}
    sources |= {"composition": defaults["composition"]} if composition else {}
    sources |= {
        "lubricants": defaults["lubricants"],
        "kind": defaults["kind"],
        "aliases": defaults["aliases"],
    }
    sources |= given
    sources |= {f"cautions.{key}": cautions[key]["source"] for key in entry["cautions"]}
    if "exposure_limits" in entry and "exposure_limits" not in sources:
        raise ValueError(f"{entry['id']}: exposure limits need a source of their own")
    return {
        "id": entry["id"],
        "title": entry["title"],
        "chemical_name": entry["chemical_name"],
        "kind": entry["kind"],
        "composition / kg/kg": composition,
        "safety_class": entry["safety_class"],
        "exposure_limits": dict(entry.get("exposure_limits", {})),
        "lubricants": list(entry["lubricants"]),
        "cautions": [" ".join(cautions[key]["text"].split()) for key in entry["cautions"]],
        "aliases": [str(alias) for alias in entry.get("aliases", [])],
        "grade": entry["grade"]["word"],
        "grade_reason": grade_reason(entry["grade"]),
        "sources": sources,
    }


def grade_reason(grade: Mapping[str, Any]) -> str:
    """Return the sentence about a grade, its deviations filled in where `{handbook_K}` and `{charts_K}` stand."""
    reason = " ".join(grade["reason"].split())
    for key in ("handbook_K", "charts_K"):
        reason = reason.replace("{" + key + "}", f"{max(grade.get(key, math.nan), 0.01):.2f}")
    return reason


def file_name(name: str) -> str:
    """Return the file a refrigerant's curve is kept in: brackets are not welcome in file names."""
    return name.replace("(", "_").replace(")", "") + ".json"


# Equilibrium ---------------------------------------------------------------------------------------------------


class Fluid:
    """Saturation of a pure fluid or a pseudo-pure model, straight from CoolProp."""

    def __init__(self, model: str) -> None:
        self.state = CoolProp.AbstractState("HEOS", model)
        self.critical_temperature: float = self.state.T_critical()
        self.critical_pressure: float = self.state.p_critical()
        self.critical_density: float = self.state.rhomolar_critical()
        self.critical_from = "CoolProp"
        self.lowest_temperature: float = max(LOWEST_TEMPERATURE, self.state.Ttriple())
        self.equation = {model: CoolProp.get_BibTeXKey(model, "EOS")}
        self.pairs: dict[str, str] = {}
        self.overall = np.ones(1)
        self.one_phase = CoolProp.AbstractState("HEOS", model)
        self.one_phase.specify_phase(CoolProp.iphase_gas)

    def states(self, temperatures: Floats, phase: str) -> States:
        """Return the saturated states at ascending temperatures [K], shape (n,)."""
        quality = 0.0 if phase == "bubble" else 1.0
        found = States.empty(len(temperatures))
        for i, temperature in enumerate(temperatures):
            self.state.update(CoolProp.QT_INPUTS, quality, temperature)
            found.put(i, self.state.p(), self.state.rhomass(), self.state.hmass())
        return found


class Blend:
    """Bubble and dew points of a blend by equal fugacities, continued along the curve."""

    def __init__(self, composition: Mapping[str, float], critical: tuple[float, float] | None = None) -> None:
        """Take mass fractions by component, and the critical point [K, Pa] if known: finding it takes seconds."""
        fluids = list(composition)
        self.state = CoolProp.AbstractState("HEOS", "&".join(fluids))
        moles = np.array([share / CoolProp.PropsSI("molar_mass", fluid) for fluid, share in composition.items()])
        self.overall = moles / moles.sum()
        self.state.set_mole_fractions(list(self.overall))
        self.critical_temperature, self.critical_pressure, self.critical_density = (
            self._critical_point() if critical is None else (*critical, math.nan)
        )
        self.critical_from = "CoolProp, hottest stable critical point of the mixture model"
        self.lowest_temperature = LOWEST_TEMPERATURE
        self.equation = {fluid: CoolProp.get_BibTeXKey(fluid, "EOS") for fluid in fluids}
        self.pairs = {f"{a}/{b}": pair_source(a, b) for a, b in combinations(fluids, 2)}
        # A phase is imposed only to stop CoolProp from looking for another one: density and temperature are given.
        self.one_phase = CoolProp.AbstractState("HEOS", "&".join(fluids))
        self.one_phase.set_mole_fractions(list(self.overall))
        self.one_phase.specify_phase(CoolProp.iphase_gas)

    def states(self, temperatures: Floats, phase: str) -> States:
        """Return the saturated states at ascending temperatures [K], shape (n,); NaN where none was found."""
        found = States.empty(len(temperatures))
        start, unknowns = self._first_point(phase)
        middle = int(np.searchsorted(temperatures, start))
        for order in (range(middle, len(temperatures)), range(middle - 1, -1, -1)):
            at, here = start, unknowns
            before: tuple[float, Floats] | None = None
            for i in order:
                guess = here
                if before is not None and at != before[0]:
                    guess = here + (here - before[1]) * (temperatures[i] - at) / (at - before[0])
                solved = self._solve(temperatures[i], phase, guess)
                if solved is None:
                    break
                before, (at, here) = (at, here), (temperatures[i], solved[0])
                density = math.exp(here[0] if phase == "bubble" else here[1])
                self._phase(temperatures[i], density, self.overall)
                found.put(i, solved[1], density * self.one_phase.molar_mass(), self.one_phase.hmass())
        return found

    def _critical_point(self) -> tuple[float, float, float]:
        # The model has others, far below any evaporator; the hottest is where bubble and dew line meet.
        points = [point for point in self.state.all_critical_points() if point.stable and point.p > 0]
        if not points:
            raise ValueError("no stable critical point found")
        critical = max(points, key=lambda point: float(point.T))
        return critical.T, critical.p, critical.rhomolar

    def _first_point(self, phase: str) -> tuple[float, Floats]:
        """Find one point with CoolProp's own flash, well below critical, to start from."""
        for reduced in (0.72, 0.70, 0.74, 0.68, 0.76):
            temperature = reduced * self.critical_temperature
            try:
                self.state.update(CoolProp.QT_INPUTS, 0.0 if phase == "bubble" else 1.0, temperature)
            except ValueError:
                continue
            liquid = self.state.saturated_liquid_keyed_output(CoolProp.iDmolar)
            vapour = self.state.saturated_vapor_keyed_output(CoolProp.iDmolar)
            is_bubble = phase == "bubble"
            other = np.array(self.state.mole_fractions_vapor() if is_bubble else self.state.mole_fractions_liquid())
            guess = np.concatenate([np.log([liquid, vapour]), np.log(other[:-1] / other[-1])])
            solved = self._solve(temperature, phase, guess)
            if solved is not None:
                return temperature, solved[0]
        raise ValueError("no starting point on the saturation curve")

    def _solve(self, temperature: float, phase: str, guess: Floats) -> tuple[Floats, float] | None:
        """Newton's method on [ln rho liquid, ln rho vapour, ln of mole ratios of the other phase]."""
        unknowns = guess.copy()
        for _ in range(30):
            found = self._imbalance(unknowns, temperature, phase)
            if found is None:
                return None
            imbalance, pressure = found
            if np.abs(imbalance).max() < 1e-9:
                # Two phases that are the same phase satisfy everything and mean nothing.
                return (unknowns, pressure) if unknowns[0] - unknowns[1] > 0.1 else None
            jacobian = np.empty((len(unknowns), len(unknowns)))
            for k in range(len(unknowns)):
                step = np.zeros(len(unknowns))
                step[k] = 1e-6
                up = self._imbalance(unknowns + step, temperature, phase)
                down = self._imbalance(unknowns - step, temperature, phase)
                if up is None or down is None:
                    return None
                jacobian[:, k] = (up[0] - down[0]) / 2e-6
            change = np.linalg.solve(jacobian, -imbalance)
            unknowns += change * min(1.0, 0.3 / np.abs(change).max())
        return None

    def _imbalance(self, unknowns: Floats, temperature: float, phase: str) -> tuple[Floats, float] | None:
        ratios = np.exp(np.append(unknowns[2:], 0.0))
        other = ratios / ratios.sum()
        of_liquid, of_vapour = (self.overall, other) if phase == "bubble" else (other, self.overall)
        liquid, liquid_fugacity = self._phase(temperature, math.exp(unknowns[0]), of_liquid)
        vapour, vapour_fugacity = self._phase(temperature, math.exp(unknowns[1]), of_vapour)
        if vapour <= 0 or min(liquid_fugacity.min(), vapour_fugacity.min()) <= 0:
            return None
        return np.append((liquid - vapour) / vapour, np.log(liquid_fugacity / vapour_fugacity)), vapour

    def _phase(self, temperature: float, density: float, mole_fractions: Floats) -> tuple[float, Floats]:
        self.one_phase.set_mole_fractions(list(mole_fractions))
        self.one_phase.update(CoolProp.DmolarT_INPUTS, density, temperature)
        return self.one_phase.p(), np.array([self.one_phase.fugacity(i) for i in range(len(mole_fractions))])


def pair_source(one: str, other: str) -> str:
    """Return the literature key of a pair's interaction constants; CoolProp knows each pair in one order only."""
    numbers = [CoolProp.get_fluid_param_string(fluid, "CAS") for fluid in (one, other)]
    try:
        return str(CoolProp.get_mixture_binary_pair_data(numbers[0], numbers[1], "BibTeX"))
    except ValueError:
        return str(CoolProp.get_mixture_binary_pair_data(numbers[1], numbers[0], "BibTeX"))


def origin(entry: Mapping[str, Any], model: str | None) -> Fluid | Blend:
    """Return the saturation of an entry as CoolProp has it."""
    return Fluid(model) if model else Blend(entry["composition / kg/kg"])


# Fitting -------------------------------------------------------------------------------------------------------


def models(path: Path = DATA / "catalogue.yaml") -> dict[str, str]:
    """Return the CoolProp model of the entries that have one of their own; the others are solved as blends."""
    document = yaml.safe_load(path.read_text(encoding="utf-8"))
    return {entry["id"]: entry["model"] for entry in document["refrigerants"] if "model" in entry}


class Built(NamedTuple):
    """The JSON documents of one refrigerant: what every command needs, and what few ask for."""

    curve: dict[str, Any]
    properties: dict[str, Any]
    superheated: dict[str, Any]


def build(item: tuple[str, dict[str, Any]]) -> Built:
    """Return the JSON documents of one refrigerant."""
    name, entry = item
    source = origin(entry, models().get(name))
    phases = ("pure",) if entry["kind"] == "pure" else ("bubble", "dew")
    try:
        bubble_points, dew_points = sample(source, "bubble"), sample(source, "dew")
        fitted = {phase: fit(dew_points if phase == "dew" else bubble_points, source) for phase in phases}
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from error
    curves = {phase: curve_from(found) for phase, found in fitted.items()}
    bubble, dew = curves[phases[0]], curves[phases[-1]]
    glide = float(dew.temperature(ATMOSPHERE) - bubble.temperature(ATMOSPHERE)) if len(phases) > 1 else 0.0
    made_by = {
        "builder": "twogauge.refrigerants.build",
        "CoolProp version": CoolProp.get_global_param_string("version"),
        "route": "CoolProp saturation flash"
        if isinstance(source, Fluid)
        else "equal fugacities of the CoolProp mixture model, continued along the curve",
        "equations of state": source.equation,
        "pair constants": source.pairs,
    }
    curve = entry | {
        "glide at 101325 Pa / K": None if math.isnan(glide) else round(glide, 4),
        "critical temperature / K": round(source.critical_temperature, 4),
        "critical pressure / Pa": round(source.critical_pressure, 1),
        "critical point from": source.critical_from,
        "curves": fitted,
        "made by": made_by,
    }
    fitted_properties = fit_properties(bubble_points, dew_points, source.critical_temperature)
    fitted_properties["top of the dome"] = top_of_dome(source, float(bubble_points.states.enthalpy[0]))
    superheated = superheated_heats(source, dew, properties_from(fitted_properties))
    return Built(
        curve,
        {"id": name} | fitted_properties | {"made by": made_by},
        {"id": name} | superheated | {"made by": made_by},
    )


def top_of_dome(source: Fluid | Blend, zero: float) -> dict[str, list[float]]:
    """Return where the saturation lines close above the end of the curves, as JSON has it.

    Args:
        source: whose states are solved.
        zero: enthalpy of the liquid from which all others are counted [J/kg].

    Returns:
        Pressures [Pa] and enthalpies [J/kg] from the bubble line over the critical point to the dew line,
        without the points for which no state was found.
    """
    # Blends are followed from far below: the solution of one temperature is the start of the next.
    at = np.append(np.linspace(0.70, HIGHEST_REDUCED_TEMPERATURE, 60), TOP_OF_DOME) * source.critical_temperature
    bubble, dew = (source.states(at, phase) for phase in ("bubble", "dew"))
    state = source.one_phase
    state.set_mole_fractions(list(source.overall))
    state.update(CoolProp.DmolarT_INPUTS, source.critical_density, source.critical_temperature)
    new = slice(-len(TOP_OF_DOME), None)
    pressure = np.concatenate([bubble.pressure[new], [state.p()], dew.pressure[new][::-1]])
    enthalpy = np.concatenate([bubble.enthalpy[new], [state.hmass()], dew.enthalpy[new][::-1]]) - zero
    found = np.isfinite(pressure) & np.isfinite(enthalpy)
    return {
        "pressure / Pa": np.round(pressure[found], 1).tolist(),
        "enthalpy / J/kg": np.round(enthalpy[found], 1).tolist(),
    }


def superheated_heats(source: Fluid | Blend, dew: Curve, properties: Properties) -> dict[str, Any]:
    """Return the series for superheated vapour, from states at the pressures of the dew line.

    Args:
        source: whose one-phase states are solved.
        dew: its dew line.
        properties: its vapour density is where each isobar starts.
    """
    state = source.one_phase
    state.set_mole_fractions(list(source.overall))

    def solve(temperature: float, pressure: float, density: float) -> tuple[float, float]:
        """Return enthalpy [J/kg] and density [mol/m3] at a temperature [K] and a pressure [Pa], by Newton's method."""
        for _ in range(50):
            state.update(CoolProp.DmolarT_INPUTS, density, temperature)
            slope = state.first_partial_deriv(CoolProp.iP, CoolProp.iDmolar, CoolProp.iT)
            step = (state.p() - pressure) / slope
            density -= step
            if slope > 0 and abs(step) < 1e-11 * density:
                return float(state.hmass()), density
        raise ValueError(f"no vapour was found at {temperature:.2f} K and {pressure:.0f} Pa")

    def heat(at: float, superheats: Floats) -> Floats:
        pressure = float(dew.pressure(at))
        density = float(properties.vapour_density(at)) / float(state.molar_mass())
        saturated, density = solve(at, pressure, density)
        return np.array([solve(at + s, pressure, density * at / (at + s))[0] - saturated for s in superheats])

    return fit_superheated(
        heat,
        lowest=math.ceil(100.0 * max(dew.temperature_min, properties.ends("vapour density")[0])) / 100.0,
        critical_temperature=source.critical_temperature,
        hottest=float(state.Tmax()),
    )


def sample(source: Fluid | Blend, phase: str) -> Sample:
    """Return the states at the points a series is fitted to and at those it is measured at."""
    low, high = source.lowest_temperature, HIGHEST_REDUCED_TEMPERATURE * source.critical_temperature
    nodes = low + (high - low) * (1 - np.cos(np.pi * (np.arange(240) + 0.5) / 240)) / 2
    nodes = np.concatenate([[low], nodes, [high]])
    # A fixed seed: two builds measure at the same points.
    checks = np.sort(np.random.default_rng(20).uniform(low, high, 400))
    every = np.sort(np.concatenate([nodes, checks]))
    states = source.states(every, phase)
    good = credible(states.pressure, source.critical_pressure)
    if good.sum() < 300:
        raise ValueError(f"only {good.sum()} points of the {phase} curve could be verified")
    return Sample(phase, every[good], states.only(good), np.isin(every[good], checks), int((~good).sum()))


def fit(points: Sample, source: Fluid | Blend) -> dict[str, Any]:
    """Fit one curve and measure it at points it was not fitted to."""
    phase, every, pressures, is_check = points.phase, points.temperature, points.states.pressure, points.is_check
    bottom, top = pressures[0], pressures[-1]
    x = 2 * (np.log(pressures) - math.log(bottom)) / (math.log(top) - math.log(bottom)) - 1
    for terms in range(6, LONGEST_SERIES + 1):
        series = np.polynomial.chebyshev.chebfit(x[~is_check], every[~is_check], terms - 1)
        residual = np.abs(np.polynomial.chebyshev.chebval(x, series) - every)
        if residual.max() <= WANTED_DEVIATION:
            break
    if residual.max() > ALLOWED_DEVIATION:
        raise ValueError(f"the {phase} curve cannot be fitted: {residual.max():.4f} K off with {terms} terms")
    rounded: Floats = np.asarray(np.round(series, 9))
    found = {
        "pressure from / Pa": float(bottom),
        "pressure to / Pa": float(top),
        "temperature from / K": float(every[0]),
        "temperature to / K": float(every[-1]),
        "ends at / critical temperature": round(float(every[-1]) / source.critical_temperature, 4),
        "Chebyshev coefficients of T in ln p / K": rounded.tolist(),
        "Chebyshev coefficients of ln(p / Pa) in 1/T": start_of_inverse(bottom, top, rounded),
        "points verified": len(every),
        "points without a solution": points.without,
    }
    curve = curve_from(found)
    off = np.abs(curve.temperature(pressures[is_check]) - every[is_check])
    if np.isnan(off).any() or off.max() > ALLOWED_DEVIATION:
        raise ValueError(f"the {phase} curve misses points it was not fitted to by {np.nanmax(off):.4f} K")
    dense = curve.temperature(np.exp(np.linspace(math.log(bottom), math.log(top), 20_001))[1:-1])
    if (np.diff(dense) <= 0).any():
        raise ValueError(f"the {phase} curve is not monotone")
    return found | {"largest deviation from CoolProp / K": float(f"{off.max():.2g}")}


def credible(pressures: Floats, critical_pressure: float) -> NDArray[np.bool_]:
    """Tell which points can be used: found, below critical pressure, and in one rising run from the bottom.

    Args:
        pressures: [Pa] at ascending temperatures, NaN where none was found.
        critical_pressure: [Pa]
    """
    good = np.isfinite(pressures) & (pressures < critical_pressure)
    if not good.any():
        return good
    kept = np.where(good)[0]
    rising = np.diff(np.log(pressures[kept])) > 0
    smooth = np.ones(len(kept), dtype=bool)
    if not rising.all():  # everything from the first fall on is doubtful
        smooth[int(np.argmin(rising)) + 1 :] = False
    good[kept[~smooth]] = False
    return good


def start_of_inverse(bottom: float, top: float, series: Floats) -> list[float]:
    """Fit ln p in 1/T to the curve itself, as the start of one Newton step: 1e-6 is enough, see `Curve`.

    Args:
        bottom, top: the ends of the curve [Pa].
        series: Chebyshev coefficients of its temperature [K].

    Returns:
        Chebyshev coefficients of ln(p / Pa) [1].
    """
    log_p = np.linspace(math.log(bottom), math.log(top), 2001)
    x = 2 * (log_p - log_p[0]) / (log_p[-1] - log_p[0]) - 1
    reciprocal = 1 / np.polynomial.chebyshev.chebval(x, series)
    u = 2 * (reciprocal - reciprocal[0]) / (reciprocal[-1] - reciprocal[0]) - 1
    for terms in range(4, LONGEST_SERIES + 1):
        found = np.polynomial.chebyshev.chebfit(u, log_p, terms - 1)
        if np.abs(np.polynomial.chebyshev.chebval(u, found) - log_p).max() < 2e-6:
            break
    return [float(c) for c in np.round(found, 12)]


def curve_from(found: Mapping[str, Any]) -> Curve:
    """Return the curve a JSON block describes, exactly as the package will evaluate it."""
    return Curve(
        found["pressure from / Pa"],
        found["pressure to / Pa"],
        found["Chebyshev coefficients of T in ln p / K"],
        found["Chebyshev coefficients of ln(p / Pa) in 1/T"],
    )


# Files ---------------------------------------------------------------------------------------------------------


def index(documents: Mapping[str, Mapping[str, Any]]) -> dict[str, Any]:
    """Return what a list of refrigerants needs, without opening every file."""
    wanted = ("title", "chemical_name", "kind", "safety_class", "grade", "glide at 101325 Pa / K", "aliases")
    return {
        "made by": "twogauge.refrigerants.build",
        "refrigerants": {
            name: {"file": file_name(name)} | {key: document[key] for key in wanted}
            for name, document in documents.items()
        },
    }


def drift(name: str, new: Mapping[str, Any]) -> list[str]:
    """Return a sentence for each way in which the shipped file of a refrigerant differs from a fresh build."""
    path = DATA / "curves" / file_name(name)
    if not path.exists():
        return [f"{name}: {path.name} is missing; run the builder"]
    old = read(path)
    worded = [key for key in new if key not in {"curves", "made by"} and " / " not in key]
    found = [
        f"{name}: {key} differs from the catalogue; run the builder" for key in worded if old.get(key) != new[key]
    ]
    if set(old["curves"]) != set(new["curves"]):
        return [
            *found,
            f"{name}: the curves are {sorted(old['curves'])}, a fresh build has {sorted(new['curves'])}",
        ]
    for phase, block in new["curves"].items():
        fresh, shipped = curve_from(block), curve_from(old["curves"][phase])
        low = max(fresh.pressure_min, shipped.pressure_min)
        high = min(fresh.pressure_max, shipped.pressure_max)
        pressures = np.exp(np.linspace(math.log(low), math.log(high), 1000))[1:-1]
        off = float(np.abs(fresh.temperature(pressures) - shipped.temperature(pressures)).max())
        if not off <= DRIFT_ALLOWED:
            found.append(f"{name}: the shipped {phase} curve is {off:.4f} K from a fresh build")
    return found


def index_drift(entries: Iterable[str]) -> list[str]:
    """Return a sentence if the index is not what the shipped curves, in the catalogue's order, make it."""
    path = DATA / "index.json"
    files = {name: DATA / "curves" / file_name(name) for name in entries}
    if not all(file.exists() for file in (path, *files.values())):
        return ["index.json or a curve it lists is missing; run the builder"]
    made = index({name: read(file) for name, file in files.items()})
    same = json.dumps(read(path)) == json.dumps(made)  # as text, because the order counts
    return [] if same else ["index.json is not what the curves say; run the builder"]


def read(path: Path) -> dict[str, Any]:
    """Return a JSON document."""
    document: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return document


def write(path: Path, document: Mapping[str, Any]) -> None:
    """Write a JSON document that diffs line by line."""
    path.parent.mkdir(exist_ok=True)
    path.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")


def summary(document: Mapping[str, Any]) -> str:
    """Return one line about a built refrigerant."""
    curves: Iterable[tuple[str, Mapping[str, Any]]] = document["curves"].items()
    parts = [
        f"{phase} {len(block['Chebyshev coefficients of T in ln p / K'])} terms, "
        f"{1000 * block['largest deviation from CoolProp / K']:.2g} mK, to "
        f"{block['ends at / critical temperature']} Tc"
        for phase, block in curves
    ]
    return "; ".join(parts)


if __name__ == "__main__":
    sys.exit(main())
