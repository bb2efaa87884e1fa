"""The result for one reading: ranked faults with their ledgers, what is unexplained and what is missing.

Everything here is read off the weighing (weigh.py); nothing is judged a second time. A diagnosis knows nothing of
terminals: output/ prints it. What goes on from it, such as what to look at next, is outlook.py's.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, cast

import numpy as np

from twogauge import refrigerants
from twogauge.columns import Columns, Words, from_readings, may_apply
from twogauge.levels import JUDGED_BY, LEVELS, judge
from twogauge.packs.compile import LEVEL_EDGE, REFERENCE, Program
from twogauge.packs.in_force import Loaded, Stack
from twogauge.packs.layers import program_in_force
from twogauge.profiles import with_profile
from twogauge.quantities import Dimension, UnitSet
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.weigh import TOO_CLOSE, Ledger, Verdict, weigh_chunk
from twogauge.work import Absent, Derived, Judged, Work

if TYPE_CHECKING:
    from twogauge.packs.model import Advice, Rule

_BRACKET = re.compile(r"\s*\([^()]*\{[^()]*\}[^()]*\)")
OUTDONE_AT_MOST = 100  # reasons of a fault that did not count; nobody reads thousands of them
GLIDES_FROM = 1.0  # [K] from this glide on it matters which saturation temperature is meant
SAID_FROM = 0.05  # [decibans] less than this is printed as nothing
UNEXPLAINED_FROM = 3.0  # [decibans] evidence against the leader that is worth a sentence


@dataclass(frozen=True, slots=True)
class Reason:
    """One entry of a fault's ledger.

    Attributes:
        rule: id.
        title: what is seen.
        text: why, with the numbers of this reading in the reader's units.
        weight: [decibans] for (positive) or against this fault.
        degree: probability that the rule's condition really holds.
        topic: rules of one topic look at the same thing.
        counted: False where a stronger reason of the same topic took its place.
        pack: who wrote the rule.
        notes: (pack, note) of each pack that adjusted it.
        source: where numbers and weights come from.
    """

    rule: str
    title: str
    text: str
    weight: float
    degree: float
    topic: str
    counted: bool
    pack: str
    notes: tuple[tuple[str, str], ...]
    source: str


@dataclass(frozen=True, slots=True)
class Warned:
    """A caution: one line for the terminal, and all of it.

    Attributes:
        caution: id in the catalogue of cautions, or `refrigerant.KEY` for one of the refrigerant's own.
    """

    caution: str
    short: str
    text: str


@dataclass(frozen=True, slots=True)
class Ranked:
    """A hypothesis with its probability and everything a person needs to act on it.

    Attributes:
        notes: (pack, note) of each pack that adjusted the fault itself.
    """

    fault: str
    title: str
    probability: float
    weight: float
    prior: float
    nothing_wrong: bool
    serious: str
    what_happens: str
    reasons: tuple[Reason, ...]
    confirm: tuple[str, ...]
    repair: tuple[str, ...]
    cautions: tuple[Warned, ...]
    notes: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Shown:
    """A derived quantity as it is shown.

    Attributes:
        value, u: [SI] value and standard uncertainty.
        normal: [SI] the ends of what is normal here, or None.
        judged_by: usual, baseline, spec, told or target.
        level: low, normal or high as far as it is clear, else "".
    """

    name: str
    about: str
    dimension: Dimension
    value: float
    u: float
    normal: tuple[float, float] | None = None
    judged_by: str = ""
    level: str = ""


@dataclass(frozen=True, slots=True)
class GateShut:
    """A situation that makes readings meaningless."""

    gate: str
    title: str
    text: str
    instead: str
    degree: float


@dataclass(frozen=True, slots=True)
class Diagnosis:
    """The answer for one reading.

    Attributes:
        verdict: fault, normal, too_close, not_enough or gated.
        ranking: every hypothesis that applies, most probable first.
        close: ids that cannot be told apart from the first, the first included.
        unexplained: reasons that speak against the first, or for others only.
        gates: what makes readings meaningless here.
        derived: what was computed from the reading.
        missing: quantity -> why it could not be computed.
        warnings: assumptions and oddities.
        cautions: every caution of the advice above.
        packs: (name, edition) of each pack in force.
        reading: what was read.
        disabled: id of each entry a pack took out, and "pack: why".
    """

    verdict: str
    ranking: tuple[Ranked, ...]
    close: tuple[str, ...]
    unexplained: tuple[Reason, ...]
    gates: tuple[GateShut, ...]
    derived: tuple[Shown, ...]
    missing: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    cautions: tuple[Warned, ...]
    packs: tuple[tuple[str, int], ...]
    reading: Reading
    disabled: tuple[tuple[str, str], ...] = ()

    @property
    def first(self) -> Ranked:
        """The most probable hypothesis."""
        return self.ranking[0]

    @property
    def units(self) -> UnitSet:
        """The reader's units."""
        return self.reading.units

    def show(self, dimension: Dimension, value: float, decimals: int | None = None) -> str:
        """Print a value in the reader's units; pressures as on the dial."""
        return self.reading.show(dimension, value, decimals)


def diagnose(
    reading: Reading,
    *,
    rules: Sequence[str | Path] = (),
    without: Iterable[str] = (),
    program: Program | None = None,
) -> Diagnosis:
    """Diagnose one reading.

    Args:
        reading: what was measured.
        rules: folders of packs to stack on the built-in ones, in order.
        without: ids of rules to leave out.
        program: a compiled stack, instead of `rules` and `without`.

    Raises:
        FileProblems: a pack that cannot be used.
        ReadingError: a check or an answer that no pack knows.
    """
    if program is None:
        program = program_for(tuple(str(folder) for folder in rules), tuple(without))
    reading = with_profile(reading, program)
    reading.validate_checks(program.answers)
    weighed, ledger = weigh_chunk(columns_of([reading]), program)
    return _Writer(reading, program, ledger).write(weighed.probability[0], weighed.weight[0], int(weighed.verdict[0]))


def gates_shut(reading: Reading, program: Program) -> tuple[GateShut, ...]:
    """Return what makes readings meaningless here, as a diagnosis tells it, without the rest of one.

    Args:
        reading: with its profile filled in.
        program: the rules in force.

    Raises:
        ReadingError: a check or an answer that no pack knows.
    """
    reading.validate_checks(program.answers)
    return _Writer(reading, program, weigh_chunk(columns_of([reading]), program)[1]).gates()


@cache
def program_for(rules: tuple[str, ...] = (), without: tuple[str, ...] = ()) -> Program:
    """Return the rules in force, with the packs `rules` on top; compiled once per process."""
    return program_in_force(rules, without=without)


def columns_of(readings: Sequence[Reading]) -> Columns:
    """Set readings side by side, with what each one's baseline amounts to."""
    columns = from_readings(readings)
    numbers = dict(columns.numbers)
    for row, reading in enumerate(readings):
        if reading.baseline is None:
            continue
        work = Work(from_readings([reading.baseline]), QUANTITIES)
        for quantity, _ in LEVELS.values():
            found = work.number(quantity)
            if isinstance(found, Derived):
                column = numbers.setdefault(f"baseline.{quantity}", np.full(columns.n, np.nan))
                column[row] = found.value[0]
    return replace(columns, numbers=numbers)


def advice_for(steps: Iterable[Advice], words: Mapping[str, str]) -> tuple[str, ...]:
    """Return the steps for this kind of machine; all of them where nobody said what it is.

    Args:
        steps: of a fault or a check.
        words: what the reading tells in words.
    """
    return tuple(step.text for step in steps if may_apply(words, step.applies_to))


def cautions_of(names: Iterable[str], stack: Stack, reading: Reading) -> tuple[Warned, ...]:
    """Return the cautions of these ids, without those that do not concern the refrigerant or machine of the reading.

    Args:
        names: ids in the catalogue of cautions.
        stack: the packs in force.
        reading: where it names no refrigerant every caution concerns it.
    """
    own = own_cautions(reading.parts.words.get("refrigerant"))
    keys = {each.caution.removeprefix("refrigerant.") for each in own}
    entries = [(name, stack.cautions[name].entry) for name in names]
    return tuple(
        Warned(name, entry.short or entry.text, entry.text)
        for name, entry in entries
        if (not (own and entry.only_with) or keys & set(entry.only_with))
        and may_apply(reading.parts.words, entry.applies_to)
    )


@cache
def own_cautions(refrigerant: str | None) -> tuple[Warned, ...]:
    """Return what the catalogue of refrigerants warns of."""
    if refrigerant is None:
        return ()
    what = refrigerants.get(refrigerant)
    keys = [key.removeprefix("cautions.") for key in what.sources if key.startswith("cautions.")]
    return tuple(Warned(f"refrigerant.{k}", text, text) for k, text in zip(keys, what.cautions, strict=True))


@dataclass(frozen=True, slots=True)
class _Advice:
    """What is advised about one fault."""

    confirm: tuple[str, ...]
    repair: tuple[str, ...]
    cautions: tuple[Warned, ...]


_MAX_ADVISED = 256


def _advice_of_all(reading: Reading, program: Program) -> tuple[_Advice, ...]:
    """Return the advice about each hypothesis; the same for all machines of a kind, so it is gathered once for each."""
    words = reading.parts.words
    kind = tuple(words.get(name) for name in program.advised_by)
    found = program.advice.get(kind)
    if found is None:
        if len(program.advice) >= _MAX_ADVISED:
            program.advice.clear()
        entries = [program.stack.faults[hypothesis.id].entry for hypothesis in program.hypotheses]
        found = program.advice[kind] = tuple(
            _Advice(
                advice_for(entry.confirm, words),
                advice_for(entry.repair, words),
                cautions_of(entry.cautions, program.stack, reading),
            )
            for entry in entries
        )
    return cast("tuple[_Advice, ...]", found)


class _Writer:
    """Reads a diagnosis off the ledger of a single reading."""

    def __init__(self, reading: Reading, program: Program, ledger: Ledger) -> None:
        self._reading = reading
        self._program = program
        self._stack = program.stack
        self._ledger = ledger
        self._work = ledger.work
        self._values: dict[str, str] = {}
        self._advice = _advice_of_all(reading, program)

    def write(self, probability: np.ndarray, weight: np.ndarray, verdict: int) -> Diagnosis:
        reasons = self._reasons()
        ranking = sorted(
            (
                self._ranked(i, float(probability[i]), float(weight[i]), reasons.get(i, []))
                for i in range(len(probability))
                if probability[i] > 0.0
            ),
            key=lambda r: (-r.probability, r.fault),
        )
        first = ranking[0]
        close = tuple(r.fault for r in ranking if r.probability * 10 ** (TOO_CLOSE / 10.0) > first.probability)
        gates = self.gates()
        missing = self._missing()
        return Diagnosis(
            Verdict(verdict).word,
            tuple(ranking),
            close,
            self._unexplained(first, reasons),
            gates,
            self._derived(judged=not gates),
            missing,
            self._warnings(),
            self._all_cautions(ranking),
            tuple((h.pack, h.edition) for h in self._stack.packs),
            self._reading,
            tuple(self._stack.disabled.items()),
        )

    # -- reasons ------------------------------------------------------------------------------------------------

    def _reasons(self) -> dict[int, list[Reason]]:
        """Return hypothesis index -> its reasons, strongest first; of those outdone only the strongest are written."""
        plan, ledger = self._ledger.plan, self._ledger
        weights, counted = ledger.contribution[:, 0].tolist(), ledger.counted[:, 0].tolist()
        terms: dict[int, list[tuple[float, str, int, int]]] = {}
        for k in np.flatnonzero(np.abs(ledger.contribution[:, 0]) >= SAID_FROM).tolist():
            rule_index, fault = plan.terms[k]
            terms.setdefault(fault, []).append((-abs(weights[k]), plan.rules[rule_index].id, k, rule_index))
        told: dict[int, tuple[str, str, str]] = {}  # a rule speaks of several faults in the same words
        found: dict[int, list[Reason]] = {}
        for fault, mine in terms.items():
            outdone = 0
            for _, _, k, rule_index in sorted(mine):
                outdone += not counted[k]
                if counted[k] or outdone <= OUTDONE_AT_MOST:
                    reason = self._reason(rule_index, weights[k], counted=counted[k], told=told)
                    found.setdefault(fault, []).append(reason)
        return found

    def _reason(
        self, rule_index: int, weight: float, *, counted: bool, told: dict[int, tuple[str, str, str]]
    ) -> Reason:
        rule = self._ledger.plan.rules[rule_index]
        loaded = self._stack.rules[rule.id]
        degree = float(self._ledger.degree[rule_index, 0])
        if rule_index not in told:
            title, because = f"Not so: {loaded.entry.title}", ""
            if degree > 0.5:
                title, because = loaded.entry.title, self._fill(loaded.entry.because)
            told[rule_index] = title, because, _source_text(loaded)
        title, because, source = told[rule_index]
        return Reason(rule.id, title, because, weight, degree, rule.topic, counted, loaded.pack, loaded.notes, source)

    def _unexplained(self, first: Ranked, reasons: dict[int, list[Reason]]) -> tuple[Reason, ...]:
        """What speaks against the leader, and what speaks for others only."""
        against = [r for r in first.reasons if r.counted and r.weight <= -UNEXPLAINED_FROM]
        mine = {r.topic for r in first.reasons if r.counted and r.weight > 0} | {r.topic for r in against}
        strongest: dict[str, Reason] = {}
        for each in reasons.values():
            for r in each:
                if r.counted and r.degree > 0.5 and r.weight >= 2 * UNEXPLAINED_FROM and r.topic not in mine:
                    before = strongest.get(r.topic)
                    if before is None or (-r.weight, r.rule) < (-before.weight, before.rule):
                        strongest[r.topic] = r
        others = sorted(strongest.values(), key=lambda r: (-r.weight, r.rule))
        return (*against, *(replace(r, weight=0.0) for r in others))

    def _fill(self, template: str) -> str:
        """Put this reading's values into a reason; a plain replacement, nothing is evaluated.

        A bracket whose value is not known is left out.
        """
        text = _BRACKET.sub(lambda m: m[0] if all(map(self._known, REFERENCE.findall(m[0]))) else "", template)
        return REFERENCE.sub(lambda match: self._value_of(match[1]), text)

    def _known(self, name: str) -> bool:
        if name in QUANTITIES:
            found = self._work.get(name)
            if isinstance(found, Derived):
                return not math.isnan(found.value[0])
            return isinstance(found, Words) and bool(found.codes[0] >= 0)
        return name in self._reading.parts.words

    def _value_of(self, name: str) -> str:
        if name not in self._values:
            self._values[name] = self._look_up(name)
        return self._values[name]

    def _look_up(self, name: str) -> str:
        if name in QUANTITIES:
            found = self._work.get(name)
            info = QUANTITIES[name]
            if isinstance(found, Derived) and not math.isnan(found.value[0]):
                value = float(found.value[0])
                if info.is_level:
                    return _level_word(value)
                return self._reading.show(info.dimension, value)
            if isinstance(found, Words) and found.codes[0] >= 0:
                return found.values[int(found.codes[0])].replace("_", " ")
            told: str = self._reading.parts.words.get(name, "not known")
            return told.replace("_", " ")
        answer = self._reading.parts.words.get(name)
        check = self._stack.checks.get(name)
        if answer is None or check is None:
            return "not looked at"
        return str(check.entry.answers.get(answer, answer))

    # -- the ranked faults -----------------------------------------------------------------------------------------

    def _ranked(self, index: int, probability: float, weight: float, reasons: list[Reason]) -> Ranked:
        hypothesis = self._program.hypotheses[index]
        loaded = self._stack.faults[hypothesis.id]
        entry = loaded.entry
        advice = self._advice[index]
        return Ranked(
            hypothesis.id,
            entry.title,
            probability,
            weight,
            hypothesis.prior,
            hypothesis.nothing_wrong,
            entry.serious,
            entry.what_happens,
            tuple(reasons),
            advice.confirm,
            advice.repair,
            advice.cautions,
            loaded.notes,
        )

    def _all_cautions(self, ranking: Sequence[Ranked]) -> tuple[Warned, ...]:
        """Return each caution of the advice once, then what the refrigerant adds to them."""
        advice = [c for r in ranking[:3] if not r.nothing_wrong and r.probability >= 0.1 for c in r.cautions]
        covered = {f"refrigerant.{key}" for c in advice for key in self._stack.cautions[c.caution].entry.covers}
        of_refrigerant = own_cautions(self._reading.parts.words.get("refrigerant"))
        own = [c for c in of_refrigerant if c.caution not in covered]
        return tuple(dict.fromkeys((*advice, *own)))

    # -- what was computed, and what was not -----------------------------------------------------------------------

    def _derived(self, *, judged: bool) -> tuple[Shown, ...]:
        """Return what is shown; behind a gate nothing is compared with what is normal, for it does not apply."""
        shown = self._compared()
        return shown if judged else tuple(replace(s, normal=None, judged_by="", level="") for s in shown)

    def _compared(self) -> tuple[Shown, ...]:
        shown = []
        bands = {quantity: judge(self._work, level) for level, (quantity, _) in LEVELS.items()}
        by_field = {field: judge(self._work, level) for level, (_, field) in LEVELS.items()}
        for name in ("low_side", "high_side"):
            found = self._work.number(name)
            if isinstance(found, Derived):
                band = by_field[name]
                normal = self._pressure_band(name, band) if isinstance(band, Judged) else None
                shown.append(self._shown(name, found, band, normal))
        for name, info in QUANTITIES.items():
            if not info.watched and name != "vent_air":
                continue
            found = self._work.number(name)
            if not isinstance(found, Derived) or math.isnan(found.value[0]):
                continue
            judged = bands.get(name)
            in_own_terms = name in by_field or (
                isinstance(judged, Judged) and JUDGED_BY[judged.by[0]] in {"usual", "baseline", "target"}
            )
            normal = _ends(judged) if isinstance(judged, Judged) and in_own_terms else None
            shown.append(self._shown(name, found, judged if normal else None, normal))
        return tuple(shown)

    def _shown(
        self, name: str, found: Derived, judged: Judged | Absent | None, normal: tuple[float, float] | None
    ) -> Shown:
        info = QUANTITIES[name]
        by, level = "", ""
        if isinstance(judged, Judged) and judged.by[0] >= 0:
            by = JUDGED_BY[judged.by[0]]
            level = _level_word(float(judged.level.value[0]))
        return Shown(name, info.about, info.dimension, float(found.value[0]), float(found.u[0]), normal, by, level)

    def _pressure_band(self, name: str, judged: Judged) -> tuple[float, float] | None:
        """Return the ends of normal as pressures [Pa], where they can be had."""
        ends = _ends(judged)
        refrigerant = self._reading.parts.words.get("refrigerant")
        if ends is None or judged.by[0] == JUDGED_BY.index("spec") or refrigerant is None:
            return ends if judged.by[0] == JUDGED_BY.index("spec") else None
        offset = 0.0
        if name == "high_side":
            ambient = self._work.number("ambient")
            if isinstance(ambient, Absent):
                return None
            offset = float(ambient.value[0])
        at = np.array(ends) + offset
        pressures = refrigerants.get(refrigerant).saturation_pressure(at, "dew")
        if np.isnan(pressures[0]):
            return None
        return float(pressures[0]), float(pressures[1])

    def _missing(self) -> tuple[tuple[str, str], ...]:
        """Return what the rules for this kind of machine ask for and nobody can tell."""
        words = self._reading.parts.words
        mine: set[str] = set()
        for wanted, names in self._program.asked:
            if all(words.get(name) in allowed for name, allowed in wanted.items()):
                mine |= names
        missing = {}
        for name in sorted(mine):
            found = self._work.get(name) if name in QUANTITIES and not QUANTITIES[name].words else None
            if isinstance(found, Absent):
                missing[name] = found.reason
        return tuple(missing.items())

    def gates(self) -> tuple[GateShut, ...]:
        """Return the gates that are more likely shut than open, the surest first."""
        shut = []
        for rule, row in zip(self._ledger.plan.gates, self._ledger.gate_degree, strict=True):
            if row[0] > 0.5:
                entry = self._stack.gates[rule.id].entry
                shut.append(GateShut(rule.id, entry.title, self._fill(entry.because), entry.instead, float(row[0])))
        return tuple(sorted(shut, key=lambda g: (-g.degree, g.gate)))

    def _warnings(self) -> tuple[str, ...]:
        warnings = [*self._reading.parts.notes, *self._stack.notices]
        name = self._reading.parts.words.get("refrigerant")
        if name is not None:
            what = refrigerants.get(name)
            if what.grade != next(iter(refrigerants.GRADES)):
                warnings.append(f"saturation values of {what.title} are graded '{what.grade}': {what.grade_reason}")
            if what.glide > GLIDES_FROM and {"low_side", "high_side"} & set(self._reading.parts.numbers):
                warnings.append(self._two_saturations(what))
        warnings += self._swinging()
        for side in ("suction_saturation", "condensing_saturation"):
            found = self._work.get(side)
            given = "low_side" if side == "suction_saturation" else "high_side"
            if isinstance(found, Absent) and given in self._reading.parts.numbers and not found.needs:
                warnings.append(found.reason)
        return tuple(warnings)

    def _swinging(self) -> list[str]:
        """Return what a swinging needle is judged by, where nobody told whether the compressor makes it swing."""
        parts = self._reading.parts
        swings = [f"the {name.replace('_', ' ')}" for name in ("low_side", "high_side") if name in parts.swings]
        if not swings or "compressor" in parts.words:
            return []
        swing = "swing" if len(swings) > 1 else "swings"
        said = (
            f"{' and '.join(swings)} {swing}: the middle is compared with what is normal; watch whether the compressor "
            "goes on and off with the needle, and if so tell it (compressor: cycling)"
        )
        return [said]

    def _two_saturations(self, what: refrigerants.Refrigerant) -> str:
        """Return which of the two saturation temperatures of a blend is meant where."""
        said = (
            f"{what.title} is a blend that boils over a range of temperatures: saturation is the dew point here, and "
            "superheat is counted from it; subcooling is counted from the bubble point"
        )
        high = self._reading.parts.numbers.get("high_side", math.nan)
        bubble = float(what.saturation_temperature([high], "bubble")[0])
        return (
            said
            if math.isnan(bubble)
            else f"{said}, {self._reading.show(Dimension.TEMPERATURE, bubble)} at the high side"
        )


def _level_word(level: float) -> str:
    return "low" if level < -LEVEL_EDGE else "high" if level > LEVEL_EDGE else "normal"


def _ends(judged: Judged) -> tuple[float, float] | None:
    low, high = float(judged.low[0]), float(judged.high[0])
    return None if math.isnan(low) or math.isnan(high) else (low, high)


def _source_text(loaded: Loaded[Rule]) -> str:
    source = loaded.entry.source
    return "; ".join(dict.fromkeys(t for t in (source.numbers, source.weights, source.facts) if t))
