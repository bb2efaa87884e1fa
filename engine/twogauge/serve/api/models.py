"""What a request may hold, made from the table of fields; and what always stands in an answer."""

from __future__ import annotations

from typing import Annotated, Any, Final, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints, create_model

from twogauge import fields
from twogauge.fields import FIELDS, INSTRUMENTS, SPEC_FIELDS, UNKNOWN
from twogauge.output import compare, expectation, job, why
from twogauge.output import json as diagnosis
from twogauge.packs.pasted import MOST_TEXT
from twogauge.quantities import UnitSet, example

LONGEST: Final = 300  # characters of one text
LONGEST_SHEET: Final = 400_000  # likewise, of a job sheet
MOST_CHECKS: Final = 200

Text = Annotated[str, StringConstraints(max_length=LONGEST)]
Word = Annotated[str, StringConstraints(max_length=100)]
Number = Annotated[float, Field(allow_inf_nan=False)]
Value = Text | Number
Ends = Annotated[list[Value], Field(min_length=2, max_length=2)]

STRICT: Final = ConfigDict(extra="forbid", str_max_length=LONGEST)
OPEN: Final = ConfigDict(extra="allow", serialize_by_alias=True)


def _annotation(known: fields.Field) -> Any:
    """Return what one field may be in a request."""
    if known.choices:
        return Literal[(*known.choices, UNKNOWN)] | None
    if known.dimension is None:
        return Text | None
    if known.name in INSTRUMENTS:
        return Value | None
    return Value | Ends | None if known.swing else Value | None


def _about(known: fields.Field) -> str:
    about = known.about[0].upper() + known.about[1:]
    if known.dimension is None or known.name in INSTRUMENTS:
        return f"{about}."
    words = f", or one of {', '.join(known.words)}" if known.words else ""
    return f"{about}. As {example(known.dimension)}{words}; a bare number is in `units`."


def _of_fields() -> dict[str, Any]:
    return {name: (_annotation(known), Field(None, description=_about(known))) for name, known in FIELDS.items()}


_UNITS: Final = (
    Literal[tuple(unit.value for unit in UnitSet)] | None,
    Field(None, description="What a bare number is in, and what is shown; else those of the server."),
)
_ONE_OF_SPEC: Any = Literal[SPEC_FIELDS]
_MORE: Final[dict[str, Any]] = {
    "units": _UNITS,
    "checks": (
        Annotated[dict[Word, Word], Field(max_length=MOST_CHECKS)] | None,
        Field(None, description="Check -> answer."),
    ),
    "spec": (
        dict[_ONE_OF_SPEC, Ends] | None,
        Field(None, description="Field -> the two ends that the maker gives for this day."),
    ),
}

Baseline = create_model("Baseline", __config__=STRICT, **_of_fields(), **_MORE)
ReadingIn = create_model(
    "Reading",
    __config__=STRICT,
    **_of_fields(),
    **_MORE,
    baseline=(Baseline | None, Field(None, description="An earlier, known-good reading of the same machine.")),
)

ComparisonIn = create_model(
    "Comparison",
    __config__=STRICT,
    before=(ReadingIn, Field(description="The reading with the fault in it.")),
    after=(ReadingIn, Field(description="The reading with the repair done.")),
)


class JobIn(BaseModel):
    """A job sheet as `twogauge job` keeps it."""

    model_config = ConfigDict(extra="forbid")
    sheet: Annotated[str, Field(max_length=LONGEST_SHEET, description="The text of the sheet, in YAML.")]


class RulesIn(BaseModel):
    """Rules to be checked; nothing of them is kept."""

    model_config = ConfigDict(extra="forbid")
    rules: Annotated[str, Field(max_length=MOST_TEXT, description="One file of a pack, in YAML, with `pack: name`.")]


def _document(name: str, schema: str | None, about: str, **keys: Any) -> type[BaseModel]:
    """Return the model of an answer: the keys that are always there; more may come."""
    told: dict[str, Any] = {key: (annotation, ...) for key, annotation in keys.items()}
    if schema is not None:
        told["schema_"] = (Literal[(schema,)], Field(alias="schema"))
    found: type[BaseModel] = create_model(name, __config__=OPEN, __doc__=about, **told)
    return found


_LIST: Final = list[dict[str, Any]]

RulesOut = _document(
    "RulesChecked",
    None,
    "What `twogauge rules check --format json` prints, and what the examples of the rules show.",
    version=int,
    packs=list[str],
    errors=int,
    warnings=int,
    problems=_LIST,
    rules=int,
    examples=int,
    failures=_LIST,
    moved=_LIST,
)

DiagnosisOut = _document(
    "Diagnosis",
    diagnosis.SCHEMA,
    "What `twogauge diagnose --json` prints.",
    verdict=Literal["fault", "normal", "too_close", "not_enough", "gated"],
    close=list[str],
    ranking=_LIST,
    unexplained=_LIST,
    gates=_LIST,
    derived=_LIST,
    missing=_LIST,
    next=_LIST,
    sure=dict[str, Any],
    instruments=list[str],
    second=dict[str, Any],
    warnings=list[str],
    cautions=_LIST,
    packs=_LIST,
    disabled=_LIST,
    reading=dict[str, Any],
)
ExpectationOut = _document(
    "Expectation",
    expectation.SCHEMA,
    "What `twogauge expect --json` prints.",
    expected=_LIST,
    unknown=_LIST,
    gates=_LIST,
    notes=list[str],
)
WhyOut = _document(
    "Why",
    why.SCHEMA,
    "What `twogauge rules why --json` prints.",
    id=str,
    state=Literal["holds", "does_not_hold", "could_be_either", "cannot_be_judged", "does_not_apply", "disabled"],
    conditions=_LIST,
    applies_to=_LIST,
    silenced_by=_LIST,
    says=_LIST,
)
ComparisonOut = _document(
    "ComparisonAnswer",
    compare.SCHEMA,
    "What `twogauge compare --json` prints.",
    outcome=str,
    before=dict[str, Any],
    after=dict[str, Any],
    changes=_LIST,
    doubts=_LIST,
)
JobOut = _document(
    "Job",
    job.SCHEMA,
    "What `twogauge job show --json` prints.",
    closed=bool,
    entries=_LIST,
    tests=_LIST,
    remarks=_LIST,
)
