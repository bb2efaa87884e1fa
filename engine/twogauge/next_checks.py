"""What to look at or measure next: the open questions that would settle most, per minute of work.

Candidates are read off the rules: every check that a condition looks at and nobody has answered, every choice that a
rule, a band or a fault depends on and nobody has told, and every measurement that would make an unknown level known.
All their outcomes are put into one set of columns and weighed by the engine itself, so that what is said about an
outcome is exactly what a diagnosis would say. No rule, fault or check is known here by name.

The model of what will be found: w(f, a) is the evidence [decibans] that answer a would add to fault f. A weight is a
ratio of likelihoods, so with each answer as likely as the next before anything is known

    P(a | f) = 10^(w(f, a) / 10) / sum over b of 10^(w(f, b) / 10)        P(a) = sum over f of P(f) P(a | f)

with P(f) as it stands now. The expected information is the mutual information of fault and answer,

    I = sum over f and a of P(f) P(a | f) log2( P(a | f) / P(a) )   [bit]

which is never negative: under this model an answer cannot make the expected uncertainty larger. (Shannon 1948; the
use of a deciban as the unit of w: Good 1950; both from memory.) The order is I over effort plus OVERHEAD.

What it does not do: look two questions ahead, or foresee numbers. A measurement is weighed as the word for the level
it feeds (low, normal, high); a quantity that no level belongs to, such as the time of a cycle, is not proposed.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from twogauge import refrigerants
from twogauge.columns import NO_WORD, Columns, Floats, Words, may_apply
from twogauge.diagnosis import Warned, advice_for, cautions_of, columns_of
from twogauge.fields import FIELDS, LEVEL_WORDS, UNKNOWN
from twogauge.levels import LEVELS
from twogauge.packs.compile import Program
from twogauge.packs.words import EFFORT
from twogauge.quantities import Dimension
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.weigh import Verdict, Weighed, weigh_chunk
from twogauge.work import Derived, Work

COUNT: Final = 3
CERTAIN: Final = 0.95  # a leader this probable, and not contested, is not asked about any more
OVERHEAD: Final = 2.0  # [min] walk there, clean the hands, write it down: no question is free
WORTH: Final = 0.02  # [bit] less than this is not worth a walk round the machine


@dataclass(frozen=True, slots=True)
class Outcome:
    """One thing that may be found, and what the ranking would be then.

    Attributes:
        answer: the answer of a check, the word of a choice, or low, normal or high.
        meaning: completes a sentence that begins with "if".
        puts: field or check, and the word that stands for this outcome in a reading.
        probability: that this is what will be found, by the model above.
        leader: id of the most probable hypothesis after it.
        before, after: probability of that leader now and after it.
        mover: id of the hypothesis that moves most.
        mover_before, mover_after: its probability now and after it.
    """

    answer: str
    meaning: str
    puts: tuple[str, str]
    probability: float
    leader: str
    before: float
    after: float
    mover: str
    mover_before: float
    mover_after: float


@dataclass(frozen=True, slots=True)
class NextStep:
    """A check to answer or a field to measure, with what it is worth.

    Attributes:
        name: id of a check, or name of a field of the reading.
        title: what it is.
        ask: the question.
        how: how to perform it.
        minutes: how long it takes, about, with everything in `also` [min].
        cautions: those of this work.
        information: expected information about the fault [bit].
        outcomes: what may be found; their probabilities sum to 1.
        also: further fields without which this one says nothing here.
        first: id of the most probable hypothesis now.
        answers: (answer, what it means); none where a number is wanted.
    """

    name: str
    title: str
    ask: str
    how: str
    minutes: float
    cautions: tuple[Warned, ...]
    information: float
    outcomes: tuple[Outcome, ...]
    also: tuple[str, ...] = ()
    first: str = ""
    answers: tuple[tuple[str, str], ...] = ()

    @property
    def worth(self) -> float:
        """Expected information per minute, the overhead counted in [bit/min]."""
        return self.information / (self.minutes + OVERHEAD)


def next_checks(reading: Reading, program: Program, *, count: int = COUNT) -> tuple[NextStep, ...]:
    """Return what would settle most, the most telling per minute first; nothing where nothing is worth it.

    What was answered, given or told to be unknown is never proposed, and nothing is once the answer is certain.

    Args:
        reading: what is known, as `Diagnosis.reading` has it.
        program: the rules.
        count: how many at most.
    """
    now = columns_of([reading])
    asked = _asked(reading)
    candidates = [
        *_checks(program, asked, reading.parts.words),
        *_choices(program, asked),
        *_measurements(program, asked, now),
    ]
    columns = _side_by_side(now, [puts for c in candidates for puts in c.puts])
    weighed, ledger = weigh_chunk(columns, program)
    certain = weighed.probability[0].max() >= CERTAIN
    if certain and weighed.verdict[0] in (Verdict.FAULT, Verdict.NORMAL):
        return ()
    # An outcome that shuts a gate is no finding about the machine; it only says that it was read at a bad time.
    shut = ledger.gate_degree > 0.5
    bad_time = np.asarray((shut & ~shut[:, :1]).any(axis=0))
    steps: dict[str, NextStep] = {}
    start = 1
    for candidate in candidates:
        rows = np.arange(start, start + len(candidate.puts))
        start += len(candidate.puts)
        kept = ~bad_time[rows]
        if kept.sum() < 2:
            continue
        step = _step(candidate, rows[kept], np.flatnonzero(kept), weighed, program)
        before = steps.get(step.name)
        if step.information >= WORTH and (before is None or step.worth > before.worth):
            steps[step.name] = step
    return tuple(
        replace(s, cautions=_cautions(s.name, reading, program), answers=_answers(s.name, program))
        for s in _best(steps.values(), program, count)
    )


def _best(steps: Iterable[NextStep], program: Program, count: int) -> list[NextStep]:
    """Return the most telling per minute; of what can be felt and measured only the better of the two."""
    best: list[NextStep] = []
    told: set[str] = set()
    for step in sorted(steps, key=lambda s: (-s.worth, s.name)):
        check = program.stack.checks.get(step.name)
        mine = set(check.entry.same_as) if check is not None else {step.name}
        if mine.isdisjoint(told):
            best.append(step)
            told |= mine
        if len(best) == count:
            break
    return best


def question_about(name: str, reading: Reading, program: Program) -> NextStep:
    """Return the question about a field, without what its outcomes would do: for what a reading cannot do without.

    Args:
        name: a field of a reading.
        reading: what is known; its refrigerant decides about cautions.
        program: the rules.
    """
    c = _of_field(name, (), ())
    care = _cautions(name, reading, program)
    return NextStep(c.name, c.title, c.ask, c.how, c.minutes, care, 0.0, (), answers=_answers(name, program))


def likelihoods(evidence: Floats) -> Floats:
    """Return P(answer | fault), shape (answers, faults); each column sums to 1.

    Args:
        evidence: [decibans] shape (answers, faults), what each answer adds; minus infinity where the answer excludes
            the fault. A fault that every answer excludes is given each answer alike.
    """
    most = evidence.max(axis=0)
    relative = evidence - np.where(np.isfinite(most), most, 0.0)
    ratio = np.where(np.isfinite(most), 10.0 ** (relative / 10.0), 1.0)
    out: Floats = ratio / ratio.sum(axis=0)
    return out


def information(present: Floats, likelihood: Floats) -> float:
    """Return the mutual information of fault and answer [bit]; never negative.

    Args:
        present: P(fault), shape (faults,).
        likelihood: P(answer | fault), shape (answers, faults).
    """
    joint = likelihood * present
    held = joint > 0.0
    chance = np.broadcast_to(joint.sum(axis=1, keepdims=True), joint.shape)
    total = float((joint[held] * (np.log2(likelihood[held]) - np.log2(chance[held]))).sum())
    return max(total, 0.0)  # rounding may leave it below zero by the last digit


# -- the candidates ------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Candidate:
    """A question, with the word that stands for each of its outcomes."""

    name: str
    puts: tuple[tuple[str, str], ...]
    meanings: tuple[str, ...]
    title: str
    ask: str
    how: str
    minutes: float
    also: tuple[str, ...] = ()


def _asked(reading: Reading) -> frozenset[str]:
    """Everything that was told, also that it is not known."""
    under = reading.given.get("checks")
    told = {**(under if isinstance(under, Mapping) else {}), **reading.given}
    unknown = {n for n, value in told.items() if isinstance(value, str) and value.strip().casefold() == UNKNOWN}
    return frozenset((*reading.parts.words, *reading.parts.numbers, *unknown))


def _checks(program: Program, asked: frozenset[str], words: Mapping[str, str]) -> list[_Candidate]:
    found = []
    for name in sorted((program.names & program.answers.keys()) - asked):
        entry = program.stack.checks[name].entry
        if not may_apply(words, entry.applies_to):
            continue
        if not asked.isdisjoint(entry.same_as):
            continue  # it was measured
        meanings = tuple(f"the answer is {a}" if m == a else m for a, m in entry.answers.items())
        puts = tuple((name, answer) for answer in entry.answers)
        how = " ".join(advice_for(entry.how, words))
        found.append(_Candidate(name, puts, meanings, entry.title, entry.ask, how, EFFORT[entry.effort]))
    return found


def _choices(program: Program, asked: frozenset[str]) -> list[_Candidate]:
    looked_at = set(program.names)
    for entries in (program.rules, [gate.rule for gate in program.gates], program.bands, program.hypotheses):
        looked_at.update(name for each in entries for name in each.applies_to)
    found = []
    for name in sorted(looked_at - asked):
        if name in FIELDS and FIELDS[name].choices:
            choices = FIELDS[name].choices
            puts = tuple((name, choice) for choice in choices)
            found.append(_of_field(name, puts, tuple(f"the answer is {c.replace('_', ' ')}" for c in choices)))
    return found


def _measurements(program: Program, asked: frozenset[str], now: Columns) -> list[_Candidate]:
    """One candidate for each level that is not known and that something can make known."""
    found = []
    work = Work(now, QUANTITIES, program.bands)
    for level, (_, field) in LEVELS.items():
        if level not in program.names or _is_known(work, level):
            continue
        needs = _needs(program, asked, now, level)
        if needs:
            puts = tuple((field, word) for word in LEVEL_WORDS)
            what = field.replace("_", " ")
            meanings = tuple(f"the {what} turns out {word}" for word in LEVEL_WORDS)
            found.append(_of_field(needs[0], puts, meanings, needs[1:]))
    return found


def _of_field(
    name: str, puts: tuple[tuple[str, str], ...], meanings: tuple[str, ...], also: tuple[str, ...] = ()
) -> _Candidate:
    known = FIELDS[name]
    ask = _ASK.get(name, f"What is the {name.replace('_', ' ')}?")
    minutes = sum(_MINUTES.get(each, _LONGEST) for each in (name, *also))
    return _Candidate(
        name, puts, meanings, known.about[0].upper() + known.about[1:], ask, _HOW.get(name, ""), minutes, also
    )


def _is_known(work: Work, level: str) -> bool:
    found = work.number(level)
    return isinstance(found, Derived) and not np.isnan(found.value[0])


def _needs(program: Program, asked: frozenset[str], now: Columns, level: str) -> tuple[str, ...]:
    """Return the fields that would make a level known, read off what the derivation says is missing."""
    field = LEVELS[level][1]
    is_difference = FIELDS[field].dimension is Dimension.TEMPERATURE_DIFFERENCE
    if field not in asked and not is_difference:
        return (field,)  # a word for it is enough
    chain: list[str] = []
    columns: Columns | None = now
    need = ""
    while columns is not None:
        found = Work(columns, QUANTITIES, program.bands).number(level)
        if isinstance(found, Derived):
            return tuple(chain)
        need = next(iter(found.needs), "")
        if need not in FIELDS or need in chain or need in asked:
            break
        chain.append(need)
        columns = _pretend(columns, program, level, need)
    # A difference may be told as such where it cannot be computed; not where somebody could not measure its parts.
    could_not = need in asked and need not in now.present
    return () if could_not or field in asked else (field,)


def _pretend(columns: Columns, program: Program, level: str, need: str) -> Columns | None:
    """Return the columns with something plausible put in for a field, or None where there is no such thing."""
    dimension = FIELDS[need].dimension
    if dimension in _PLAUSIBLE:
        return replace(columns, numbers={**columns.numbers, need: np.array([_PLAUSIBLE[dimension]])})
    if need != "refrigerant":
        return None
    for summary in refrigerants.summaries():  # the first whose curve reaches the pressures that were read
        word = Words(np.zeros(1, dtype=np.int16), (summary.id,))
        more = replace(columns, words={**columns.words, need: word})
        found = Work(more, QUANTITIES, program.bands).number(level)
        if isinstance(found, Derived) or found.needs:
            return more
    return None


# Something inside every curve and every check of plausibility [SI]; only whether a level is known is asked of it.
_PLAUSIBLE: Final[Mapping[Dimension | None, float]] = {
    Dimension.PRESSURE: 500e3,
    Dimension.TEMPERATURE: 300.0,
    Dimension.TEMPERATURE_DIFFERENCE: 8.0,
}


# -- their outcomes, side by side -----------------------------------------------------------------------------------


def _side_by_side(now: Columns, puts: Sequence[tuple[str, str]]) -> Columns:
    """Return the reading as row 0, and below it once for each word that is put in."""
    n = 1 + len(puts)
    words = {name: Words(np.repeat(w.codes, n), w.values) for name, w in now.words.items()}
    by_name: dict[str, list[tuple[int, str]]] = {}
    for row, (name, word) in enumerate(puts, start=1):
        by_name.setdefault(name, []).append((row, word))
    for name, told in by_name.items():
        before = words.get(name)
        values = (*(before.values if before else ()), *dict.fromkeys(word for _, word in told))
        values = tuple(dict.fromkeys(values))
        codes: npt.NDArray[np.int16] = before.codes if before else np.full(n, NO_WORD, dtype=np.int16)
        for row, word in told:
            codes[row] = values.index(word)
        words[name] = Words(codes, values)
    return Columns(
        n,
        {name: np.repeat(values, n) for name, values in now.numbers.items()},
        words,
        np.repeat(now.barometer, n),
        np.repeat(now.barometer_uncertainty, n),
    )


def _step(
    candidate: _Candidate, rows: npt.NDArray[np.intp], kept: Iterable[int], weighed: Weighed, program: Program
) -> NextStep:
    present = weighed.probability[0]
    after = weighed.probability[rows]
    excluded = (after == 0.0) & (present > 0.0)
    evidence = np.where(excluded, -np.inf, weighed.weight[rows] - weighed.weight[0])
    likelihood = likelihoods(evidence)
    chance = likelihood @ present
    leaders, movers = after.argmax(axis=1), np.abs(after - present).argmax(axis=1)
    ids = [h.id for h in program.hypotheses]
    outcomes = tuple(
        Outcome(
            candidate.puts[i][1],
            candidate.meanings[i],
            candidate.puts[i],
            float(chance[k]),
            ids[leaders[k]],
            float(present[leaders[k]]),
            float(after[k, leaders[k]]),
            ids[movers[k]],
            float(present[movers[k]]),
            float(after[k, movers[k]]),
        )
        for k, i in enumerate(kept)
    )
    return NextStep(
        candidate.name,
        candidate.title,
        candidate.ask,
        candidate.how,
        candidate.minutes,
        (),
        information(present, likelihood),
        outcomes,
        candidate.also,
        ids[int(present.argmax())],
    )


def _answers(name: str, program: Program) -> tuple[tuple[str, str], ...]:
    if name in FIELDS:
        return tuple((choice, choice.replace("_", " ")) for choice in FIELDS[name].choices)
    return tuple(program.stack.checks[name].entry.answers.items())


# -- cautions -------------------------------------------------------------------------------------------------------


def _cautions(name: str, reading: Reading, program: Program) -> tuple[Warned, ...]:
    """Return the cautions of a check, or those of measuring a field."""
    check = program.stack.checks.get(name)
    if check is None or name in FIELDS:
        return _CARE.get(name, ())
    return cautions_of(check.entry.cautions, program.stack, reading)


# -- measuring: how to ask for a field, how it is done and how long it takes (common practice) -----------------------

_LONGEST: Final = 10.0  # [min] for a field that has no row below
_MINUTES: Final[Mapping[str, float]] = {
    **{name: 1.0 for name, known in FIELDS.items() if known.choices},  # looked up or looked at
    "refrigerant": 1.0,
    "low_side": 5.0,
    "high_side": 5.0,
    "ambient": 1.0,
    "return_air": 1.0,
    "vent_air": 2.0,
    "condenser_air_out": 2.0,
    "suction_line": 3.0,
    "liquid_line": 3.0,
    "discharge_line": 3.0,
    "condenser_air_rise": 4.0,
    "evaporator_air_drop": 4.0,
    "superheat": 10.0,
    "subcooling": 10.0,
}

_ASK: Final[Mapping[str, str]] = {
    "refrigerant": "What refrigerant is in the system?",
    "low_side": "What does the low-side gauge show?",
    "high_side": "What does the high-side gauge show?",
    "ambient": "How warm is the air that enters the condenser?",
    "return_air": "How warm is the air that enters the evaporator?",
    "vent_air": "How cold is the air that leaves the vents?",
    "suction_line": "How warm is the suction line near the compressor?",
    "liquid_line": "How warm is the liquid line before the metering device?",
    "discharge_line": "How hot is the discharge line near the compressor?",
    "condenser_air_out": "How warm is the air that leaves the condenser?",
    "condenser_air_rise": "How much warmer is the air behind the condenser than before it?",
    "evaporator_air_drop": "How much colder is the air behind the evaporator than before it?",
    "superheat": "How much superheat is there, low, normal or high?",
    "subcooling": "How much subcooling is there, low, normal or high?",
    "compressor": "What does the compressor do while you read the gauges?",
    "compressor_control": "How is the compressor matched to the load?",
    "air_intake": "What does the blower breathe?",
    "doors": "Are doors and windows open or closed while you read?",
    "system": "What kind of machine is it?",
    "metering": "Which metering device does it have?",
    "liquid_store": "Where does spare refrigerant wait?",
}

_AIR: Final = "Shade the thermometer from sun and radiator, and wait until it stands still."
_LINE: Final = (
    "Clamp the probe on clean bare metal, wrap it against the air, and wait until it stands still, two minutes at "
    "least, at a steady speed."
)
_GAUGE: Final = (
    "Read it after ten minutes at a steady speed, cooling on full; give both ends where the needle swings."
)
_HOW: Final[Mapping[str, str]] = {
    "refrigerant": "Read the label and look at the service ports; where somebody may have mixed, use an identifier.",
    "low_side": _GAUGE,
    "high_side": _GAUGE,
    "ambient": f"Measure a hand's breadth before the condenser, not in the yard. {_AIR}",
    "return_air": f"Measure where the blower draws its air. {_AIR}",
    "vent_air": "Put the probe into the vent nearest the evaporator, blower on, and wait until it stands still.",
    "condenser_air_out": f"Measure behind the middle of the condenser, not in the fan's shadow. {_AIR}",
    "suction_line": _LINE,
    "liquid_line": f"{_LINE} Measure close to the metering device, after the drier.",
    "discharge_line": _LINE,
    "condenser_air_rise": f"Measure before and behind the condenser at the same height. {_AIR}",
    "evaporator_air_drop": "Measure where the air enters and where it leaves the evaporator; take the difference.",
    "superheat": "Suction line temperature near the compressor, less the saturation temperature at the low side.",
    "subcooling": "Saturation temperature at the high side, less the liquid line before the metering device.",
    "compressor": "Look at the clutch plate or listen; off means stopped, and both gauges have settled.",
    "metering": "Follow the liquid line: a valve with a bulb or a block, a tube with a strainer, or a thin pipe.",
    "compressor_control": (
        "Clutch cycling: one size, switched on and off. Variable: the stroke follows the load; often no clutch, or a plug "
        "at the rear. Fixed: it runs as long as it is switched on. The label or the manual tells."
    ),
    "air_intake": "Look at the recirculation switch or flap; the air at the blower's inlet tells for sure.",
    "doors": "Look, and leave them as the maker's test asks for.",
    "system": "Say what stands before you; what is normal differs with it.",
    "liquid_store": "A receiver stands in the liquid line, an accumulator in the suction line before the compressor.",
}

_MOVING = Warned(
    "measuring.moving_parts",
    "Fasten the probe with the machine stopped; keep hands and cables clear of belts and fans.",
    "Belts, pulleys and fans catch cables, sleeves and fingers, and electric fans start by themselves. Fasten the "
    "probe and lead its cable away with the machine stopped, a vehicle's brake on. The maker's procedure comes first.",
)
_BURNS = Warned(
    "measuring.hot_line",
    "The discharge line burns at a touch: gloves, and fasten the probe while it is cold.",
    "The discharge line and the compressor can be hotter than boiling water. Fasten the probe while they are cold, "
    "wear gloves, and keep the cable off hot metal. The maker's procedure comes first.",
)
_HOSES = Warned(
    "measuring.hoses",
    "Goggles and gloves when you connect gauges; hand valves shut, each hose on its own side.",
    "Liquid refrigerant freezes eyes and skin, and a hose can burst. Wear goggles and gloves, look at the hoses "
    "before use, connect with both hand valves shut, low side to low side, high side to high side, and never open "
    "the high-side hand valve while the machine runs. The maker's procedure and local codes come first.",
)
_CARE: Final[Mapping[str, tuple[Warned, ...]]] = {
    "low_side": (_HOSES, _MOVING),
    "high_side": (_HOSES, _MOVING),
    "superheat": (_HOSES, _MOVING),
    "subcooling": (_HOSES, _MOVING),
    "suction_line": (_MOVING,),
    "liquid_line": (_MOVING,),
    "discharge_line": (_BURNS, _MOVING),
    "ambient": (_MOVING,),
    "condenser_air_out": (_MOVING,),
    "condenser_air_rise": (_MOVING,),
    "compressor": (_MOVING,),
    "metering": (_MOVING,),
    "liquid_store": (_MOVING,),
}
