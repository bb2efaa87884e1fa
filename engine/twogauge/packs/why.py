"""Why one rule or gate fired on one reading, did not, or could not be judged; and whether what it says counted.

Everything is read off the same weighing as a diagnosis; nothing is judged a second time. Printing is output/why.py's.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from twogauge.columns import Words
from twogauge.diagnosis import Shown, columns_of
from twogauge.errors import InputError, UnknownNameError
from twogauge.levels import JUDGED_BY, LEVELS, judge
from twogauge.packs.compile import LEVEL_EDGE, CompiledRule, Condition, Program
from twogauge.packs.selftest import by_condition, degrees_on
from twogauge.profiles import with_profile
from twogauge.quantity_table import QUANTITIES
from twogauge.reading import Reading
from twogauge.weigh import Ledger, weigh_chunk
from twogauge.work import Absent, Derived, Judged, Work

if TYPE_CHECKING:
    from twogauge.packs.in_force import Disabled, Loaded

State = Literal["holds", "does_not_hold", "could_be_either", "cannot_be_judged", "does_not_apply"]
_NARROW: Final = 0.05  # a degree this close to a half is told as a toss-up: it counts for next to nothing


@dataclass(frozen=True, slots=True)
class Look:
    """One condition, and what the reading shows of it.

    Attributes:
        condition: thresholds in SI, or the answers for which it holds.
        written: the keys of the condition as its author wrote them.
        degree: probability that it holds [1]; NaN where the reading does not say.
        told: the word that was told or follows, or "".
        shown: the number that is judged, with what it is compared with; None where there is none.
        missing: why there is nothing, or "".
        needs: fields or checks that would help.
    """

    condition: Condition
    written: Mapping[str, str]
    degree: float
    told: str = ""
    shown: Shown | None = None
    missing: str = ""
    needs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Fit:
    """One line of `applies_to`: what is wanted, what the reading says ("" for nothing), and whether that fits."""

    field: str
    wanted: tuple[str, ...]
    told: str
    fits: bool


@dataclass(frozen=True, slots=True)
class Silence:
    """A gate that keeps the rule's topic quiet.

    Attributes:
        degree: how far the gate holds [1].
        share: how much of what the rule says it takes away [1].
    """

    gate: str
    title: str
    degree: float
    share: float


@dataclass(frozen=True, slots=True)
class Say:
    """What the rule says of one fault, and what became of it.

    Attributes:
        says, otherwise: [decibans] as the rule has it.
        weight: [decibans] on this reading, after gates.
        counted: whether it counted.
        stronger: the rule of its topic that took its place, or "".
        stronger_weight: [decibans] what that one says.
    """

    fault: str
    says: float
    otherwise: float
    weight: float
    counted: bool
    stronger: str = ""
    stronger_weight: float = 0.0


@dataclass(frozen=True, slots=True)
class Why:
    """The whole story of one rule or gate and one reading.

    Attributes:
        kind: rule or gate.
        state: what came; with `disabled`, what would have come is not asked.
        degree: probability that all conditions hold [1]; NaN where it cannot be judged or does not apply.
        silences: of a gate, the topics it keeps quiet as far as it holds.
    """

    id: str
    kind: Literal["rule", "gate"]
    title: str
    topic: str
    pack: str
    reading: Reading
    state: State
    degree: float
    looks: tuple[Look, ...]
    fits: tuple[Fit, ...]
    silenced_by: tuple[Silence, ...]
    says: tuple[Say, ...]
    silences: tuple[str, ...] = ()

    @property
    def needs(self) -> tuple[str, ...]:
        """Fields and checks that would let it be judged, each once."""
        return tuple(dict.fromkeys(name for look in self.looks for name in look.needs))


def why(name: str, reading: Reading, program: Program) -> Why | Disabled:
    """Explain one rule or gate on one reading.

    Args:
        name: id of a rule or gate.
        reading: what was measured.
        program: the rules in force, read from files.

    Returns:
        the story; or what disabled it.

    Raises:
        UnknownNameError: no rule and no gate has this id.
        ReadingError: a check or an answer that no pack knows.
    """
    stack = program.stack
    gone = stack.taken_out.get(name)
    if gone is not None and gone.kind in {"rules", "gates"}:
        return gone
    rules = {rule.id: rule for rule in program.rules}
    gates = {gate.rule.id: gate for gate in program.gates}
    if name not in rules and name not in gates:
        if name in stack.faults:
            raise InputError(
                f"{name} is a fault; `twogauge rules list --fault {name}` tells the rules that speak of it"
            )
        raise UnknownNameError("rule or gate", name, [*rules, *gates], hint="`twogauge rules list` tells them all")
    reading = with_profile(reading, program)
    reading.validate_checks(program.answers)
    ledger = weigh_chunk(columns_of([reading]), program)[1]
    rule = rules[name] if name in rules else gates[name].rule
    loaded: Loaded[Any] = stack.rules[name] if name in rules else stack.gates[name]
    degree = degrees_on([reading], [rule], program).get(name, [math.nan])[0]
    fits = _fits(rule, reading)
    return Why(
        name,
        "rule" if name in rules else "gate",
        loaded.entry.title,
        rule.topic,
        loaded.pack,
        reading,
        _state(degree, fits),
        degree,
        _looks(rule, loaded, reading, program, ledger.work),
        fits,
        _silences(rule, program, ledger),
        _says(rule, ledger),
        () if name in rules else tuple(sorted(gates[name].silences)),
    )


def _state(degree: float, fits: tuple[Fit, ...]) -> State:
    if not all(fit.fits for fit in fits):
        return "does_not_apply"
    if math.isnan(degree):
        return "cannot_be_judged"
    if abs(degree - 0.5) < _NARROW:
        return "could_be_either"
    return "holds" if degree > 0.5 else "does_not_hold"


def _fits(rule: CompiledRule, reading: Reading) -> tuple[Fit, ...]:
    words = reading.parts.words
    return tuple(
        Fit(name, tuple(sorted(wanted)), str(words.get(name, "")), words.get(name) in wanted)
        for name, wanted in sorted(rule.applies_to.items())
    )


# -- conditions -----------------------------------------------------------------------------------------------------


def _looks(
    rule: CompiledRule, loaded: Loaded[Any], reading: Reading, program: Program, work: Work
) -> tuple[Look, ...]:
    degrees = dict(by_condition(reading, rule, program))
    found = []
    for condition in rule.conditions:
        test = loaded.entry.when[condition.name]
        written = {key: _told(value) for key, value in test.model_dump(by_alias=True).items() if value is not None}
        found.append(_look(condition, written, degrees[condition.name], reading, work))
    return tuple(found)


def _told(value: Any) -> str:
    return value if isinstance(value, str) else ", ".join(map(str, value))


def _look(condition: Condition, written: Mapping[str, str], degree: float, reading: Reading, work: Work) -> Look:
    name = condition.name
    word = str(reading.parts.words.get(name, ""))
    if name not in QUANTITIES:
        needs = () if word else (name,)
        return Look(condition, written, degree, word, missing="" if word else "it was not looked at", needs=needs)
    found = work.get(name)
    if isinstance(found, Absent):
        return Look(condition, written, degree, missing=found.reason, needs=found.needs)
    if isinstance(found, Words):
        code = int(found.codes[0])
        told = found.values[code] if code >= 0 else word
        return Look(
            condition, written, degree, told, missing="" if told else "it was not told", needs=() if told else (name,)
        )
    if math.isnan(found.value[0]):
        return Look(condition, written, degree, word, missing="" if word else "it has no value here")
    if QUANTITIES[name].is_level:
        told, shown = _level(name, float(found.value[0]), work)
        return Look(condition, written, degree, told, shown)
    info = QUANTITIES[name]
    shown = Shown(name, info.about, info.dimension, float(found.value[0]), float(found.u[0]))
    return Look(condition, written, degree, word, shown)


def _level(name: str, level: float, work: Work) -> tuple[str, Shown | None]:
    """Return the word of a level, and the number it comes from with the ends of what is normal."""
    word = "low" if level < -LEVEL_EDGE else "high" if level > LEVEL_EDGE else "normal"
    judged = judge(work, name)
    quantity, field = LEVELS[name]
    if not isinstance(judged, Judged) or judged.by[0] < 0:
        return word, None
    by = JUDGED_BY[judged.by[0]]
    source = field if by == "spec" else quantity
    found = work.number(source)
    if by == "told" or not isinstance(found, Derived) or math.isnan(found.value[0]):
        return word, None
    ends = (float(judged.low[0]), float(judged.high[0]))
    info = QUANTITIES[source]
    normal = None if math.isnan(sum(ends)) else ends
    value, u = float(found.value[0]), float(found.u[0])
    return word, Shown(source, info.about, info.dimension, value, u, normal, by, word)


# -- what becomes of it ---------------------------------------------------------------------------------------------


def _silences(rule: CompiledRule, program: Program, ledger: Ledger) -> tuple[Silence, ...]:
    """Return the gates that take something away from the rule's topic, the strongest first."""
    silences = {gate.rule.id: gate.silences for gate in program.gates}
    found = []
    for gate, row in zip(ledger.plan.gates, ledger.gate_degree, strict=True):
        share = max(0.0, 2.0 * float(row[0]) - 1.0) if not math.isnan(row[0]) else 0.0
        if share > 0.0 and rule.topic in silences[gate.id]:
            found.append(Silence(gate.id, program.stack.gates[gate.id].entry.title, float(row[0]), share))
    return tuple(sorted(found, key=lambda each: (-each.share, each.gate)))


def _says(rule: CompiledRule, ledger: Ledger) -> tuple[Say, ...]:
    plan = ledger.plan
    place = {other.id: i for i, other in enumerate(plan.rules)}.get(rule.id)
    found = []
    for fault in {**rule.says, **rule.otherwise}:
        says, otherwise = rule.says.get(fault, 0.0), rule.otherwise.get(fault, 0.0)
        term = next(
            (k for k, (r, f) in enumerate(plan.terms) if r == place and plan.hypotheses[f] == fault),
            None,
        )
        if term is None:
            found.append(Say(fault, says, otherwise, 0.0, counted=False))
            continue
        weight = float(ledger.contribution[term, 0])
        counted = bool(ledger.counted[term, 0])
        stronger, size = ("", 0.0) if counted or weight == 0.0 else _stronger(term, weight, ledger)
        found.append(Say(fault, says, otherwise, weight, counted, stronger, size))
    return tuple(sorted(found, key=lambda say: (-abs(say.weight), -abs(say.says), say.fault)))


def _stronger(term: int, weight: float, ledger: Ledger) -> tuple[str, float]:
    """Return the rule that counted in the same topic for the same fault on the same side, and what it says."""
    plan = ledger.plan
    for k, (rule, _) in enumerate(plan.terms):
        other = float(ledger.contribution[k, 0])
        same = plan.group_of_term[k] == plan.group_of_term[term] and (other > 0.0) == (weight > 0.0)
        if same and ledger.counted[k, 0]:
            return plan.rules[rule].id, other
    return "", 0.0
