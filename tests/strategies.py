"""Generated readings, columns and rule packs, and the plain helpers that turn them into the program's own types.

A generated reading is kept as SI numbers (`Told`), so that the same one can be written in any units. A generated pack
is a tree of plain mappings, so that it can be written with its keys and files in any order.
"""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from random import Random
from typing import Any

import numpy as np
from hypothesis import strategies as st

from twogauge import refrigerants
from twogauge.columns import Columns
from twogauge.diagnosis import columns_of, program_for
from twogauge.fields import FIELDS
from twogauge.packs.compile import Program, compile_stack
from twogauge.packs.stack import Stack, stack
from twogauge.quantities import STANDARD_ATMOSPHERE, Dimension, UnitSet, standard_atmosphere, symbol_for, to_unit
from twogauge.reading import Reading
from twogauge.weigh import weigh_chunk

# -- readings -----------------------------------------------------------------------------------------------------

# What is met in practice, with both ends of the range of pressures, two blends with glide and one that goes critical.
REFRIGERANTS = ("R134a", "R12", "R1234yf", "R22", "R410A", "R407C", "R404A", "R290", "R123", "R744")

_UNITS = {
    Dimension.PRESSURE: ("psi", "psig", "kPa", "bar", "MPa", "kg/cm2", "mbar"),
    Dimension.PRESSURE_DIFFERENCE: ("psi", "kPa", "bar"),
    Dimension.TEMPERATURE: ("degF", "degC", "K", "C", "\u00b0F"),
    Dimension.TEMPERATURE_DIFFERENCE: ("K", "degF", "degC"),
    Dimension.FRACTION: ("%", "percent"),
    Dimension.ROTATIONAL_SPEED: ("rpm", "1/min"),
    Dimension.DURATION: ("s", "min", "h"),
    Dimension.LENGTH: ("m", "ft"),
}
_SYMBOLS = {"psig": "psi", "C": "degC", "\u00b0F": "degF", "percent": "%", "1/min": "rpm"}

# Where a field's number may lie so that no reading is refused as a slip of the unit [SI].
_RANGES = {
    "ambient": (250.0, 325.0),
    "return_air": (270.0, 325.0),
    "vent_air": (260.0, 325.0),
    "suction_line": (250.0, 340.0),
    "liquid_line": (270.0, 370.0),
    "discharge_line": (290.0, 430.0),
    "condenser_air_out": (260.0, 350.0),
    "superheat": (-5.0, 60.0),
    "subcooling": (-5.0, 40.0),
    "condenser_air_rise": (0.0, 40.0),
    "evaporator_air_drop": (0.0, 40.0),
    "humidity": (0.02, 1.0),
    "seconds_on": (0.0, 600.0),
    "seconds_off": (0.0, 600.0),
    "running_for": (0.0, 3600.0),
    "engine_speed": (0.0, 4000.0),
    "compressor_speed": (0.0, 6000.0),
    "low_gauge_accuracy": (0.0, 50e3),
    "high_gauge_accuracy": (0.0, 150e3),
    "thermometer_accuracy": (0.0, 5.0),
}


@dataclass(frozen=True)
class Told:
    """One reading before it is written down: SI, service-port pressures relative to the air.

    Attributes:
        numbers: field -> SI value, or the two ends of a swing.
        words: field -> word.
        checks: check id -> answer.
        spec: field -> the maker's range, SI.
        air: nothing, ("altitude", [m]) or ("barometer", [Pa]).
        baseline: an earlier reading.
    """

    numbers: Mapping[str, float | tuple[float, float]] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    checks: Mapping[str, str] = field(default_factory=dict)
    spec: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    air: tuple[str, float] | None = None
    baseline: Told | None = None

    def given(self, unit: Callable[[Dimension], str], *, comma: bool = False) -> dict[str, Any]:
        """Write it down: fields to text, each number in the unit that `unit` names ("" for a bare number in `si`)."""

        def text(name: str, value: float) -> str:
            dimension = FIELDS[name].dimension
            return number_text(value, dimension, unit(dimension), comma=comma)

        out: dict[str, Any] = {}
        for name, value in self.numbers.items():
            out[name] = [text(name, v) for v in value] if isinstance(value, tuple) else text(name, value)
        out |= self.words
        if self.checks:
            out["checks"] = dict(self.checks)
        if self.spec:
            out["spec"] = {name: [text(name, end) for end in ends] for name, ends in self.spec.items()}
        if self.air is not None:
            out[self.air[0]] = text(*self.air).replace("psig", "psi")  # a barometer is no gauge
        if self.baseline is not None:
            out["baseline"] = self.baseline.given(unit, comma=comma)
        return out

    def reading(self, units: UnitSet = UnitSet.SI) -> Reading:
        """Make a reading of it, by way of the set's own units."""
        return Reading(self.given(lambda dimension: symbol_for(dimension, units)), units=units)

    def without(self, name: str) -> Told:
        """Leave one input out: a field, a check, `spec`, `air` or `baseline`."""
        if name in {"spec", "air", "baseline"}:
            return replace(self, **{name: {} if name == "spec" else None})
        return replace(
            self,
            **{
                part: {k: v for k, v in getattr(self, part).items() if k != name}
                for part in ("numbers", "words", "checks")
            },
        )

    @property
    def inputs(self) -> tuple[str, ...]:
        """What `without` may leave out."""
        told = [*self.numbers, *self.words, *self.checks]
        return (*told, *(name for name in ("spec", "air", "baseline") if getattr(self, name)))


def number_text(value: float, dimension: Dimension, symbol: str, *, comma: bool = False) -> str:
    """Write an SI value in a unit, with digits to spare; "" writes a bare number of the SI set."""
    plain = symbol_for(dimension, UnitSet.SI) if symbol == "" else _SYMBOLS.get(symbol, symbol)
    text = f"{to_unit(value, dimension, plain):.12f}"
    return f"{text.replace('.', ',') if comma else text} {symbol}".strip()


def in_any_unit(draw: Any) -> Callable[[Dimension], str]:
    """Return a choice of units for `Told.given`: a new one for every number."""
    return lambda dimension: draw(st.sampled_from(_UNITS[dimension]))


def _floats(low: float, high: float) -> st.SearchStrategy[float]:
    # A few digits: generated values then shrink to ones that a person can read.
    return st.floats(low, high, allow_nan=False).map(lambda x: min(max(round(x, 3), low), high))


@st.composite
def _port_pressure(draw: Any, refrigerant: str | None, air: float, side: str) -> float:
    """A gauge pressure [Pa] that the side can show, by way of the temperature it stands for."""
    if refrigerant is None:
        return draw(_floats(-30e3, 600e3 if side == "low_side" else 2.4e6))
    what = refrigerants.get(refrigerant)
    low, high = (235.0, 318.0) if side == "low_side" else (270.0, 355.0)
    ends = [min(max(t, what.temperature_min() + 0.5), what.temperature_max() - 2.0) for t in (low, high)]
    kelvin = draw(_floats(*ends)) if ends[0] < ends[1] else ends[0]
    absolute = float(what.saturation_pressure(kelvin))
    if side == "high_side" and refrigerant == "R744" and draw(st.booleans()):
        absolute = draw(_floats(7.5e6, 12e6))  # above the critical point
    return max(absolute - air, -30e3)


@st.composite
def told(
    draw: Any,
    *,
    checks: Mapping[str, Sequence[str]] | None = None,
    refrigerant: st.SearchStrategy[str | None] | None = None,
    baseline: bool = True,
) -> Told:
    """A reading that is accepted, with anything missing; checks from the built-in catalogue unless given."""
    words: dict[str, str] = {}
    numbers: dict[str, float | tuple[float, float]] = {}
    name = draw(refrigerant if refrigerant is not None else st.none() | st.sampled_from(REFRIGERANTS))
    if name is not None:
        words["refrigerant"] = name
    air = draw(
        st.none()
        | st.tuples(st.just("altitude"), _floats(-100.0, 4000.0))
        | st.tuples(st.just("barometer"), _floats(62e3, 106e3))
    )
    pressure = STANDARD_ATMOSPHERE
    if air is not None:
        pressure = air[1] if air[0] == "barometer" else standard_atmosphere(air[1])
    for side in ("low_side", "high_side"):
        kind = draw(st.sampled_from(("missing", "number", "number", "number", "swing", "word")))
        if kind == "word":
            words[side] = draw(st.sampled_from(FIELDS[side].words))
        elif kind == "number":
            numbers[side] = draw(_port_pressure(name, pressure, side))
        elif kind == "swing":
            ends = sorted(draw(_port_pressure(name, pressure, side)) for _ in range(2))
            numbers[side] = (ends[0], ends[1])
    for field_name in draw(st.lists(st.sampled_from(sorted(_RANGES)), max_size=8, unique=True)):
        allowed = FIELDS[field_name].words
        if allowed and draw(st.booleans()):
            words[field_name] = draw(st.sampled_from(allowed))
        else:
            numbers[field_name] = draw(_floats(*_RANGES[field_name]))
    choices = sorted(f.name for f in FIELDS.values() if f.choices)
    for field_name in draw(st.lists(st.sampled_from(choices), max_size=4, unique=True)):
        words[field_name] = draw(st.sampled_from(FIELDS[field_name].choices))
    catalogue = program_for().answers if checks is None else checks
    ids = draw(st.lists(st.sampled_from(sorted(catalogue)), max_size=4, unique=True)) if catalogue else []
    answered = {check: draw(st.sampled_from(tuple(catalogue[check]))) for check in ids}
    spec: dict[str, tuple[float, float]] = {}
    if draw(st.integers(0, 3)) == 0:
        for field_name, low, high in (
            ("low_side", 50e3, 400e3),
            ("high_side", 500e3, 2e6),
            ("vent_air", 275.0, 295.0),
            ("superheat", 2.0, 15.0),
            ("subcooling", 2.0, 15.0),
            ("discharge_line", 320.0, 380.0),
        ):
            if draw(st.booleans()):
                middle, half = draw(_floats(low, high)), (high - low) * draw(_floats(0.02, 0.3))
                spec[field_name] = (middle - half, middle + half)
    earlier = None
    if baseline and draw(st.integers(0, 3)) == 0:
        earlier = draw(told(checks={}, refrigerant=st.just(name), baseline=False))
    return Told(numbers, words, answered, spec, air, earlier)


def columns_told(*, most: int = 12) -> st.SearchStrategy[list[Told]]:
    """Readings to be set side by side."""
    return st.lists(told(), min_size=1, max_size=most)


# -- packs --------------------------------------------------------------------------------------------------------

_FAULTS = ("adrift", "bent", "clogged", "drained", "worn")
_TOPICS = ("first_topic", "second_topic", "third_topic")
_CHECKS = {"look_here": ("yes", "no"), "feel_there": ("cold", "warm", "hot"), "listen": ("quiet", "loud")}
_EXAMPLES = {"holds": [{"ambient": "30 degC"}], "does_not_hold": [{"ambient": "31 degC"}]}  # of form only

_CONDITIONS = st.one_of(
    st.builds(
        lambda t, s: ("condensing_over_ambient", {"above": f"{t} K", "soft": f"{s} K"}), _floats(5, 45), _floats(0, 8)
    ),
    st.builds(lambda t: ("superheat", {"below": f"{t} K"}), _floats(0, 20)),
    st.builds(lambda t: ("suction_saturation", {"between": [f"{t} degC", f"{t + 8} degC"]}), _floats(-20, 15)),
    st.builds(lambda t: ("pressure_ratio", {"above": f"{t}"}), _floats(1.5, 8)),
    st.builds(lambda w: ("low_side_level", {"is": w}), st.sampled_from(("low", "normal", "high"))),
    st.builds(lambda w: ("high_side_level", {"is_not": w}), st.sampled_from(("low", "high"))),
    st.builds(lambda w: ("look_here", {"is": w}), st.sampled_from(_CHECKS["look_here"])),
    st.builds(lambda w: ("feel_there", {"is_not": w}), st.sampled_from(_CHECKS["feel_there"])),
    st.builds(lambda w: ("listen", {"any_of": [w]}), st.sampled_from(_CHECKS["listen"])),
    st.builds(lambda w: ("compressor", {"is": w}), st.sampled_from(("running", "off"))),
)
_WEIGHTS = st.integers(-20, 20).map(lambda x: f"{x} dB") | st.sampled_from(
    ("strongly for", "for", "slightly against", "decisively against", "nothing")
)


def fault_entry(how_common: str, **more: Any) -> dict[str, Any]:
    """One entry under faults."""
    return {"title": "A fault", "how_common": how_common, "what_happens": "It shows.", "source": "from memory"} | more


def check_entry(answers: Sequence[str], effort: str = "easy") -> dict[str, Any]:
    """One entry under checks."""
    return {
        "title": "A check",
        "ask": "What is it like?",
        "how": "Look at it.",
        "effort": effort,
        "answers": {answer: f"it is {answer}" for answer in answers},
        "source": "from memory",
    }


def rule_entry(when: Mapping[str, Any], says: Mapping[str, str], topic: str, **more: Any) -> dict[str, Any]:
    """One entry under rules; its examples are of form only."""
    plain = {"title": "It is so", "because": "It is so.", "source": "from memory", "examples": _EXAMPLES}
    return plain | {"when": dict(when), "says": dict(says), "topic": topic} | more


def gate_entry(when: Mapping[str, Any], silences: Sequence[str] | str, **more: Any) -> dict[str, Any]:
    """One entry under gates; its examples are of form only."""
    plain = {"title": "Shut", "because": "It is so.", "instead": "Wait.", "source": "from memory"}
    return plain | {"examples": _EXAMPLES, "when": dict(when), "silences": silences} | more


BANDS = {
    "low_side_any": {
        "level": "low_side_level",
        "normal": ["-14 degC", "14 degC"],
        "edge": "3 K",
        "baseline": "4 K",
        "source": "from memory",
    },
    "high_side_any": {
        "level": "high_side_level",
        "normal": ["12 K", "40 K"],
        "edge": "4 K",
        "baseline": "5 K",
        "source": "from memory",
    },
}


@st.composite
def packs(draw: Any) -> dict[str, Any]:
    """A small pack as a tree: `normal`, a few faults, checks, bands, rules and perhaps gates."""
    faults = draw(st.lists(st.sampled_from(_FAULTS), min_size=1, max_size=4, unique=True))
    commons = st.sampled_from(("very common", "common", "occasional", "rare", "very rare"))
    named = {name: fault_entry(draw(commons)) for name in faults}
    if draw(st.booleans()):
        named[faults[0]]["applies_to"] = draw(
            st.sampled_from(({"refrigerant": ["R134a", "R12"]}, {"system": "bus_ac"}, {"metering": "orifice_tube"}))
        )
    named["normal"] = fault_entry("common", nothing_wrong="yes")
    weights = st.dictionaries(st.sampled_from(sorted(named)), _WEIGHTS, min_size=1, max_size=3)
    rules = {}
    for i in range(draw(st.integers(1, 7))):
        when = dict(draw(st.lists(_CONDITIONS, min_size=1, max_size=3)))
        rules[f"rule_{i}"] = rule_entry(when, draw(weights), draw(st.sampled_from(_TOPICS)))
        if draw(st.booleans()):
            rules[f"rule_{i}"]["otherwise"] = draw(weights)
    used = sorted({rule["topic"] for rule in rules.values()})
    gates = {}
    if draw(st.booleans()):
        silenced = draw(st.just("everything") | st.lists(st.sampled_from(used), min_size=1, unique=True))
        gates["too_cold"] = gate_entry({"ambient": {"below": "12 degC", "soft": "3 K"}}, silenced)
    return {
        "pack": "generated",
        "faults": named,
        "checks": {name: check_entry(answers) for name, answers in _CHECKS.items()},
        "bands": BANDS,
        "rules": rules,
        **({"gates": gates} if gates else {}),
    }


SMALL_CHECKS = _CHECKS


def shuffled(random: Random, tree: Any) -> Any:
    """The same tree with the keys of every mapping in another order."""
    if isinstance(tree, Mapping):
        keys = random.sample(list(tree), len(tree))
        return {key: shuffled(random, tree[key]) for key in keys}
    return tree


def in_files(random: Random, pack: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """The same pack spread over several files, its entries dealt out at random."""
    files: dict[str, dict[str, Any]] = {}
    names = ("a.yaml", "b.yaml", "sub/c.yaml", "z.yml")
    for kind, entries in pack.items():
        if not isinstance(entries, Mapping):
            files.setdefault(random.choice(names), {})[kind] = entries
            continue
        for ident, entry in entries.items():
            files.setdefault(random.choice(names), {}).setdefault(kind, {})[ident] = entry
    return files


def yaml_text(tree: Mapping[str, Any], indent: str = "") -> str:
    """Write a tree of mappings, lists and text as YAML."""
    lines = []
    for key, value in tree.items():
        if isinstance(value, Mapping) and value:
            lines.append(f"{indent}{key}:\n{yaml_text(value, indent + '  ')}")
        else:
            lines.append(f"{indent}{key}: {json.dumps(value)}\n")
    return "".join(lines)


def stacked(*packs_in_files: Mapping[str, Mapping[str, Any]]) -> Stack:
    """Write packs to folders, file by file, and stack them."""
    with tempfile.TemporaryDirectory() as top:
        folders = []
        for number, files in enumerate(packs_in_files):
            folder = Path(top, f"pack_{number}")
            for name, tree in files.items():
                path = folder / name
                path.parent.mkdir(parents=True, exist_ok=True)
                path.write_text(yaml_text(tree), encoding="utf-8")
            folders.append(folder)
        return stack(folders)


def compiled(*trees: Mapping[str, Any]) -> Program:
    """Write each pack to one file, stack and compile them; the last few are remembered."""
    return _compiled(tuple(json.dumps(tree) for tree in trees))


@lru_cache(maxsize=20)
def _compiled(texts: tuple[str, ...]) -> Program:
    return compile_stack(stacked(*({"pack.yaml": json.loads(text)} for text in texts)))


# -- what came out ------------------------------------------------------------------------------------------------


def rule_degrees(program: Program, what: Columns | Reading) -> dict[str, np.ndarray]:
    """Return rule -> degree, shape (n,); NaN where it cannot be judged, for want of a column or of a value in it."""
    columns = columns_of([what]) if isinstance(what, Reading) else what
    ledger = weigh_chunk(columns, program)[1]
    found = {rule.id: np.full(columns.n, np.nan) for rule in program.rules}
    found.update((rule.id, row) for rule, row in zip(ledger.plan.rules, ledger.degree, strict=True))
    return found


def chances(program: Program, reading: Reading) -> dict[str, float]:
    """Return hypothesis -> probability for one reading."""
    weighed = weigh_chunk(columns_of([reading]), program)[0]
    return dict(zip(weighed.hypotheses, weighed.probability[0].tolist(), strict=True))


def weights(program: Program, reading: Reading) -> dict[str, float]:
    """Return hypothesis -> all evidence together [decibans] for one reading."""
    weighed = weigh_chunk(columns_of([reading]), program)[0]
    return dict(zip(weighed.hypotheses, weighed.weight[0].tolist(), strict=True))
