"""The controls of a page, made from the parameters of a command: name, help, choices, unit and default."""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum
from typing import Any, Final, get_args

from twogauge import refrigerants
from twogauge.fields import FIELDS, Field
from twogauge.packs.program import Program
from twogauge.quantities import Dimension
from twogauge.serve.labels import label_of, word_of
from twogauge.service.oil import part_names

_DIMENSIONS: Final = {
    "PRESSURE": Dimension.PRESSURE,
    "TEMPERATURE": Dimension.TEMPERATURE,
    "DIFFERENCE": Dimension.TEMPERATURE_DIFFERENCE,
    "WEIGHT": Dimension.MASS,
    "VOLUME": Dimension.VOLUME,
    "HEIGHT": Dimension.LENGTH,
    "PERCENT": Dimension.FRACTION,
    "SPEED": Dimension.ROTATIONAL_SPEED,
}
_ABSOLUTE: Final = frozenset({"barometer", "barometer_at_end"})
_REFRIGERANTS: Final = frozenset({"REFRIGERANT", "REFRIGERANT...", "NAME"})
# What helps at a prompt and not in front of a form.
_AT_A_PROMPT: Final = re.compile(r"; repeatable|One of those that are listed without it|, such as R\d\w* R\d\w*")
_LABELS: Final = {"name": "Which one", "part": "Replaced parts", "verbose": "In full", "coldest": "Coldest part"}


@dataclass(frozen=True, slots=True)
class Control:
    """One control.

    Attributes:
        known: its name, line about it, dimension and choices, as a field of a reading has them.
        label: as it is read.
        kind: number, choice, refrigerant, text, flag, lines (several, typed) or ticks (several, chosen).
        choices: (value, label) of a choice or of ticks.
        flag: the option of the command line that it stands for, without dashes; "" for none.
        required: whether there is no answer without it.
        words: the enumeration that its value belongs to, or None.
    """

    known: Field
    label: str
    kind: str
    choices: tuple[tuple[str, str], ...]
    flag: str
    required: bool
    words: type[Enum] | None

    @property
    def name(self) -> str:
        """Under which it stands in the address."""
        return self.known.name


def controls_of(command: Callable[..., Any], names: tuple[str, ...], program: Program) -> tuple[Control, ...]:
    """Return the controls of some parameters of a command, in the order of the names.

    Args:
        command: a function with typer's annotations.
        names: of its parameters.
        program: the rules in force; plans, machines and criteria come from there.
    """
    parameters = inspect.signature(command, eval_str=True).parameters
    return tuple(_control(parameters[name], program) for name in names)


def _control(parameter: inspect.Parameter, program: Program) -> Control:
    annotation, info = get_args(parameter.annotation)[:2]
    kinds = [each for each in (get_args(annotation) or (annotation,)) if each is not type(None)]
    kind, name = kinds[0], parameter.name
    metavar = (info.metavar or "").strip("[]")
    about = _AT_A_PROMPT.sub("", (info.help or "").rstrip("."))
    written = [each for each in (info.default, *(info.param_decls or ())) if isinstance(each, str)]
    flag = next((each.removeprefix("--") for each in written if each.startswith("--")), "")
    words = kind if isinstance(kind, type) and issubclass(kind, Enum) else None
    choices = _choices(name, metavar, words, program)
    dimension = _DIMENSIONS.get(metavar)
    if kind is bool:
        shape = "flag"
    elif _is_list(annotation):
        shape = "ticks" if choices else "lines"
        about += "" if choices else "; one a line"
    elif metavar in _REFRIGERANTS:
        shape = "refrigerant"
    else:
        shape = "choice" if choices else "number" if dimension else "text"
    if shape == "choice":
        about = about.partition(":")[0]
    known = Field(name, about, dimension, reference="absolute" if name in _ABSOLUTE else "gauge")
    required = parameter.default is inspect.Parameter.empty
    return Control(
        known, _LABELS.get(name) or label_of((flag or name).replace("-", "_")), shape, choices, flag, required, words
    )


def _is_list(annotation: Any) -> bool:
    return any(getattr(each, "__origin__", None) is list for each in (annotation, *get_args(annotation)))


def _choices(name: str, metavar: str, words: type[Enum] | None, program: Program) -> tuple[tuple[str, str], ...]:
    stack = program.stack
    if metavar in _REFRIGERANTS:
        return tuple((each.id, each.title) for each in refrigerants.summaries())
    if metavar in {"PLAN", "PROFILE"}:
        entries = stack.plans if metavar == "PLAN" else stack.profiles
        return tuple((each, loaded.entry.title or each) for each, loaded in entries.items())
    if name == "part":
        return tuple((each, word_of(each)) for each in part_names())
    if name == "criterion":
        return tuple((each, loaded.entry.title) for each, loaded in stack.criteria.items())
    if words is not None:
        return tuple((str(each.value), word_of(str(each.value))) for each in words)
    known = FIELDS[name].choices if name in FIELDS else ()
    return tuple((each, word_of(each)) for each in known)
