"""What a pack may say: the shape of faults, checks, cautions, gates, bands and rules, validated by pydantic.

These models know the form of an entry, not its meaning: whether a fault exists, or a threshold has the right
dimension, is decided when all packs are stacked (stack.py) and compiled (compile.py).
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema, field_validator, model_validator

from twogauge.packs.problems import CodedError
from twogauge.packs.words import CRITERION_TESTS, EFFORT, HOW_COMMON, STRENGTH, WORKS, weight

FORMAT: Final = 1  # the version of the pack format described here


def _prose(value: Any) -> Any:
    return " ".join(value.split()) if isinstance(value, str) else value


def _one_or_more(value: Any) -> Any:
    return [value] if isinstance(value, str) else value


def _number_text(value: Any) -> Any:
    if isinstance(value, str) and not value.strip().isdigit():
        raise CodedError("whole-number", f"{value[:40]!r} is not a whole number")
    return value


def _weight_text(value: Any) -> Any:
    return weight(value) if isinstance(value, str) else value


def _one_of(word: str, known: Iterable[str]) -> str:
    if word not in known:
        raise CodedError("unknown-word", f"{word[:40]!r} is not known here; write one of {', '.join(known)}")
    return word


# Every value is text to the loader, while an editor's YAML reader sees numbers and truth values: the JSON Schema
# (schema.py) takes both.
SCALAR: Final = {"type": ["string", "number", "boolean"]}
_WORDS_OF_WEIGHTS: Final = [f"{size} {side}".strip() for side in ("for", "against") for size in STRENGTH] + [
    "nothing"
]

Text = Annotated[str, WithJsonSchema(SCALAR)]
Prose = Annotated[
    str,
    BeforeValidator(_prose),
    Field(min_length=1, max_length=4000),
    WithJsonSchema({**SCALAR, "minLength": 1}),
]
Names = Annotated[
    tuple[str, ...],
    BeforeValidator(_one_or_more),
    WithJsonSchema({"anyOf": [SCALAR, {"type": "array", "items": SCALAR}]}),
]
Edition = Annotated[
    int,
    BeforeValidator(_number_text),
    Field(ge=1, le=9999),
    WithJsonSchema(
        {"type": ["integer", "string"], "minimum": 1, "maximum": 9999, "pattern": r"^\s*0*[1-9][0-9]{0,3}\s*$"}
    ),
]
Weight = Annotated[
    float,
    BeforeValidator(_weight_text),
    WithJsonSchema(
        {
            "anyOf": [
                {"enum": _WORDS_OF_WEIGHTS},
                {"type": "string", "pattern": r"^\s*[-+]?[0-9]{1,2}(\.[0-9]+)?\s*dB\s*$"},
                {
                    "type": "string",
                    "pattern": r"^\s*((slightly|strongly|decisively)\s+)?(for|against)\s*$|^\s*nothing\s*$",
                },
            ]
        }
    ),
]
ID: Final = r"^[a-z][a-z0-9]*(_[a-z0-9]+)*$"
Id = Annotated[str, Field(pattern=ID, max_length=80)]

AppliesTo = Annotated[dict[str, Names], Field(description="field of a reading: words it applies to; all if left out")]
Cautions = Annotated[Names, Field(description="ids of the cautions of this work")]
Since = Annotated[Edition, Field(description="edition of the pack in which it first stood")]
Changed = Annotated[Edition | None, Field(description="edition in which its meaning changed")]
Formerly = Annotated[Names, Field(description="ids it had before")]
Note = Annotated[Prose | None, Field(description="why a pack changed it; printed where the change moves an answer")]


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Source(_Entry):
    """Where the numbers and the weights of an entry come from: a document, `common practice` or `from memory`."""

    numbers: Prose | None = Field(None, description="source of thresholds and figures")
    weights: Prose | None = Field(None, description="source of the strength of the evidence")
    facts: Prose | None = Field(None, description="source of a statement")

    @model_validator(mode="before")
    @classmethod
    def _plain_text(cls, value: Any) -> Any:
        return {"facts": value} if isinstance(value, str) else value

    @model_validator(mode="after")
    def _says_something(self) -> Source:
        if self.numbers is None and self.weights is None and self.facts is None:
            raise CodedError("no-source", "name a source: a document, 'common practice' or 'from memory'")
        return self


class Caution(_Entry):
    """A warning that stands wherever advice of its kind stands."""

    short: Prose | None = Field(None, description="one line for the terminal; without it, the text")
    text: Prose = Field(description="all of it")
    covers: Names = Field((), description="cautions of the refrigerant catalogue that say the same")
    only_with: Names = Field((), description="shown only if the refrigerant has one of these cautions, or is unknown")
    applies_to: AppliesTo = {}
    beside: Names = Field((), description="work of the service commands it stands beside: " + ", ".join(WORKS))
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    note: Note = None

    @field_validator("beside")
    @classmethod
    def _known_work(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(_one_of(word, WORKS) for word in value)


class Advice(_Entry):
    """A step of advice: a plain text, or a text for machines of some kind only."""

    text: Prose = Field(description="the step")
    applies_to: AppliesTo = {}

    @model_validator(mode="before")
    @classmethod
    def _plain_text(cls, value: Any) -> Any:
        return {"text": value} if isinstance(value, str) else value


AdviceList = Annotated[tuple[Advice, ...], BeforeValidator(_one_or_more)]


class Fault(_Entry):
    """A cause that can be repaired, or the hypothesis that nothing is wrong."""

    title: Prose = Field(description="name of the fault for a person")
    how_common: Text = Field(description="how often it is met: " + ", ".join(HOW_COMMON))
    nothing_wrong: Literal["yes", "no"] = Field("no", description="yes for the hypothesis that nothing is wrong")
    serious: Literal["comfort", "damage", "danger"] = Field("comfort", description="what happens if it stays")
    what_happens: Prose = Field(description="why this fault shows the way it does, in a sentence or two")
    confirm: AdviceList = Field((), description="how to make sure, most telling first")
    repair: AdviceList = Field((), description="what to do, in order")
    cautions: Cautions = ()
    applies_to: AppliesTo = {}
    excludes: Names = Field((), description="faults that cannot be there at the same time")
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None

    @field_validator("how_common")
    @classmethod
    def _known_word(cls, value: str) -> str:
        return _one_of(value, HOW_COMMON)


class Check(_Entry):
    """Something a person can look at, feel or measure, and the answers it can have."""

    title: Prose = Field(description="name of the check for a person")
    ask: Prose = Field(description="the question, as a colleague would put it")
    answers: dict[Id, Prose] = Field(
        default_factory=lambda: {"yes": "yes", "no": "no"},
        description="answer: what it means; yes and no if left out",
    )
    how: AdviceList = Field(min_length=1, description="how to perform it: a text, or texts that are read as one")
    effort: Text = Field(description="how much work it is: " + ", ".join(EFFORT))
    same_as: Names = Field((), description="fields of a reading that tell the same, and better")
    applies_to: AppliesTo = {}
    cautions: Cautions = ()
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None

    @field_validator("effort")
    @classmethod
    def _known_effort(cls, value: str) -> str:
        return _one_of(value, EFFORT)

    @field_validator("answers")
    @classmethod
    def _at_least_two(cls, value: dict[str, str]) -> dict[str, str]:
        if len(value) < 2 or "unknown" in value:
            raise CodedError(
                "answers", "a check needs at least two answers; 'unknown' is always allowed and not listed"
            )
        return value


class Test(_Entry):
    """A condition on one quantity or check. Values stay text until the quantity gives them a dimension."""

    above: Text | None = Field(None, description="more likely than not above this value")
    below: Text | None = Field(None, description="more likely than not below this value")
    between: tuple[Text, Text] | None = Field(None, description="inside these two values")
    soft: Text | None = Field(None, description="how far from the edge it is as good as sure (98 in 100)")
    is_: Text | None = Field(None, alias="is", description="this answer, word or level")
    is_not: Text | None = Field(None, description="any other answer than this")
    any_of: Names | None = Field(None, description="one of these answers")

    @model_validator(mode="after")
    def _one_kind(self) -> Test:
        numeric = [n for n in ("above", "below", "between") if getattr(self, n) is not None]
        words = [n for n in ("is", "is_not", "any_of") if getattr(self, "is_" if n == "is" else n) is not None]
        if not numeric and not words:
            raise CodedError("wrong-test", "a condition needs one of above, below, between, is, is_not or any_of")
        if (numeric and words) or len(words) > 1:
            raise CodedError("wrong-test", f"{' and '.join(numeric + words)} cannot stand together; use two rules")
        if "between" in numeric and len(numeric) > 1:
            raise CodedError("wrong-test", "write either between or above and below")
        if self.soft is not None and not numeric:
            raise CodedError("soft-edge", "soft belongs to above, below or between")
        return self


class Examples(_Entry):
    """Readings that prove the rule: where it holds, where it does not, where it cannot say."""

    holds: tuple[dict[str, Any], ...] = Field((), description="readings on which it holds (degree 0.9 or more)")
    does_not_hold: tuple[dict[str, Any], ...] = Field(
        (), description="readings on which it does not hold (degree 0.1 or less)"
    )
    cannot_say: tuple[dict[str, Any], ...] = Field((), description="readings that lack an input it needs")

    @model_validator(mode="after")
    def _both_kinds(self) -> Examples:
        for name in ("holds", "does_not_hold"):
            if not getattr(self, name):
                raise CodedError(
                    "no-examples", f"add at least one reading under {name!r}, so that the rule can be tested"
                )
        return self


class Rule(_Entry):
    """Conditions on quantities and checks that turn into weights of evidence."""

    title: Prose = Field(description="what is seen, in a short sentence")
    when: dict[str, Test] = Field(min_length=1, description="quantity or check: condition; all must hold")
    says: dict[str, Weight] = Field(min_length=1, description="fault: weight, counted as far as the rule holds")
    otherwise: dict[str, Weight] = Field({}, description="fault: weight, counted as far as it does not hold")
    because: Prose = Field(description="the reason, with {quantity} where its value belongs")
    looks_alike: Prose | None = Field(None, description="what else looks like this without being it")
    check_next: Names = Field((), description="checks that would settle it")
    applies_to: AppliesTo = {}
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None
    examples: Examples = Field(description="readings under 'holds' and under 'does_not_hold' that prove the rule")
    topic: Id = Field(description="what it looks at; rules of one topic count once")


class Gate(_Entry):
    """A situation in which readings of some topics mean nothing."""

    title: Prose = Field(description="the situation, in a short sentence")
    when: dict[str, Test] = Field(min_length=1, description="quantity or check: condition; all must hold")
    silences: Names = Field(description="topics that say nothing then, or 'everything'")
    except_: Names = Field((), alias="except", description="topics that still speak")
    because: Prose = Field(description="the sentence shown, with {quantity} where its value belongs")
    instead: Prose = Field(description="what to do to get readings that mean something")
    applies_to: AppliesTo = {}
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None
    examples: Examples = Field(description="readings under 'holds' and under 'does_not_hold' that prove the gate")


class BandRow(_Entry):
    """The two ends of normal at one ambient temperature."""

    ambient: Text = Field(description="temperature of the air entering the condenser")
    normal: tuple[Text, Text] = Field(description="the two ends of normal")


class Shift(_Entry):
    """How the ends of a band move with another field of the reading."""

    field: Text = Field(description="number of a reading, such as humidity or engine_speed")
    above: Text | None = Field(None, description="value from which upward the ends move")
    below: Text | None = Field(None, description="value from which downward the ends move")
    each: Text = Field(description="step of the field")
    low: Text = Field(description="what the lower end moves by in each step")
    high: Text = Field(description="what the upper end moves by in each step")
    steps: Edition = Field(description="no further than so many steps")

    @model_validator(mode="after")
    def _one_start(self) -> Shift:
        if (self.above is None) == (self.below is None):
            raise CodedError("shift", "write either above or below, the value from which the ends move")
        return self


class BandEntry(_Entry):
    """What is normal for one quantity on systems of one kind."""

    level: Text = Field(description="the level it is the yardstick of")
    normal: tuple[Text, Text] | None = Field(None, description="the two ends of normal, at any temperature")
    normal_at: tuple[BandRow, ...] = Field((), description="or the two ends by ambient; straight lines between")
    shifts: tuple[Shift, ...] = Field((), description="how the ends move with humidity, engine speed and the like")
    around: Text | None = Field(None, description="the quantity that the ends are counted from")
    edge: Text = Field(description="how blurred the ends are")
    baseline: Text = Field(description="half-width around a known-good reading of the same machine")
    swing: tuple[tuple[Text, Text], tuple[Text, Text]] | None = Field(
        None, description="where the two ends of a needle lie that swings by design"
    )
    applies_to: AppliesTo = {}
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None

    @model_validator(mode="after")
    def _one_kind(self) -> BandEntry:
        if (self.normal is None) == (not self.normal_at):
            raise CodedError("band-ends", "write either normal, with two ends, or normal_at, with rows by ambient")
        if len(self.normal_at) == 1:
            raise CodedError("band-ends", "normal_at needs at least two rows; for one, write normal")
        return self


class ProfileRow(_Entry):
    """What a machine showed in health, or what its maker says, at one ambient temperature.

    Further keys are fields of a reading with the two ends of their range: low_side, high_side, vent_air, ...
    """

    model_config = ConfigDict(extra="allow", frozen=True)

    ambient: Text = Field(description="temperature of the air entering the condenser")
    humidity: Text | None = Field(None, description="relative humidity of that air")


class Profile(_Entry):
    """A machine of the shop: what it is, and what is normal for it."""

    title: Prose = Field(description="the machine, in the shop's own words")
    is_: dict[str, Text] = Field(
        alias="is", min_length=1, description="field of a reading: what it is on this machine"
    )
    charge: Text | None = Field(None, description="charge on the label, with its unit: 4.6 kg")
    drive: Literal["belt", "electric"] | None = Field(None, description="what turns the compressor")
    low_port: Literal["accumulator", "suction_line", "compressor"] | None = Field(
        None, description="where the low-side service port sits"
    )
    normal: tuple[ProfileRow, ...] = Field((), description="ranges by ambient temperature, and humidity")
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None


class Criterion(_Entry):
    """What a vacuum or a test under pressure must show to pass; published ones disagree, and a shop may set its own."""

    title: Prose = Field(description="the criterion in a short sentence")
    test: Text = Field(description="what it judges: " + ", ".join(CRITERION_TESTS))
    gauge: Literal["any", "dial", "vacuum_gauge"] = Field("any", description="the kind of gauge it is meant for")
    reaches: Text | None = Field(None, description="vacuum to reach, as a dial shows it at sea level, or absolute")
    rises: Text | None = Field(None, description="pressure difference that must not be exceeded")
    stays_below: Text | None = Field(None, description="absolute pressure that must not be exceeded")
    within: Text | None = Field(None, description="time in which that must hold, or that it takes")
    ours: Literal["yes", "no"] = Field(
        "no", description="yes for the shop's own: where there is one, no other counts"
    )
    applies_to: dict[str, Names] = Field({}, description="system: kinds of machine it is meant for")
    source: Source = Field(description="where it comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None

    @field_validator("test")
    @classmethod
    def _known_test(cls, value: str) -> str:
        return _one_of(value, CRITERION_TESTS)

    @model_validator(mode="after")
    def _has_what_its_test_needs(self) -> Criterion:
        for needed in CRITERION_TESTS[self.test]:
            if all(getattr(self, key) is None for key in needed.split(" or ")):
                raise CodedError("criterion", f"a criterion for {self.test} needs {needed}")
        return self


class PlanStep(_Entry):
    """One step of a plan; {names} in its texts stand for values of the machine at hand."""

    do: Prose = Field(description="what is done, with {names} of known values")
    why: Prose = Field(description="why")
    passes: Prose | None = Field(None, description="what must be seen before the next step")
    criteria: Names = Field((), description="tests whose criteria in force are shown: " + ", ".join(CRITERION_TESTS))
    command: Text | None = Field(None, description="what to type for its numbers")
    record: Text | None = Field(None, description="what goes into the job sheet: the words behind 'job add JOB.yaml'")
    cautions: Cautions = ()
    applies_to: AppliesTo = {}
    after: Id | None = Field(None, description="the step it follows; without it, the one written before it")
    left_out: Literal["yes", "no"] = Field("no", description="yes where a shop leaves this step out")
    source: Source = Field(description="where it comes from: a document, common practice or from memory")

    @field_validator("criteria")
    @classmethod
    def _known_tests(cls, value: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(_one_of(word, CRITERION_TESTS) for word in value)


class PlanEntry(_Entry):
    """A whole job as steps in order."""

    title: Prose = Field(description="the job in a few words")
    about: Prose = Field(description="when this plan is the right one")
    steps: dict[Id, PlanStep] = Field(min_length=1, description="step: what is done, in order")
    applies_to: AppliesTo = {}
    source: Source = Field(description="where the order comes from: a document, common practice or from memory")
    since: Since = 1
    changed: Changed = None
    formerly: Formerly = ()
    note: Note = None


class Header(_Entry):
    """Who a pack is and what it builds on."""

    pack: Id = Field(description="name of the pack")
    title: Prose | None = Field(None, description="what the pack is, in a few words")
    edition: Edition = Field(1, description="raised whenever those who build on the pack should look again")
    format: Edition = Field(1, description="version of the pack format it was written for; 1 if left out")
    builds_on: dict[Id, Edition] = Field({}, description="pack: edition it was written against")


KINDS: Final[dict[str, type[_Entry]]] = {
    "cautions": Caution,
    "faults": Fault,
    "checks": Check,
    "bands": BandEntry,
    "profiles": Profile,
    "criteria": Criterion,
    "plans": PlanEntry,
    "gates": Gate,
    "rules": Rule,
}
