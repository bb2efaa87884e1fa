"""`twogauge diagnose`: a reading, from a file, from flags or from both, to ranked faults with reasons.

The options for what can be measured are made from fields.FIELDS, so a new field is a new option. Merging file and
flags, and saying which of the two a problem comes from, is all that happens here.
"""

from __future__ import annotations

import inspect
import os
import re
import sys
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.common import JsonOption, UnitsOption
from twogauge.errors import FileProblems, InputError, did_you_mean, shown
from twogauge.fields import FIELDS, INSTRUMENTS, SPEC_FIELDS, Field
from twogauge.intake import Trouble
from twogauge.packs.problems import Problem
from twogauge.quantities import Dimension, UnitSet, example, symbol_for
from twogauge.reading import Reading, ReadingError, positioned, read_file

if TYPE_CHECKING:
    from twogauge.cli.plotting import Wanted
    from twogauge.packs import yamlfile

RulesOption = Annotated[
    list[str] | None,
    typer.Option(
        "--rules",
        metavar="DIR",
        help="A folder of rules to stack on the built-in ones; repeatable. Those in TWOGAUGE_RULES come first.",
    ),
]

NOTHING_GIVEN: Final = """\
twogauge: what did you read? Give at least the two gauges, the refrigerant and the air temperature:
  twogauge diagnose --refrigerant R134a --low 35psi --high 210psi --ambient 90F
or a file that holds them (- for standard input):
  twogauge diagnose reading.yaml
Words do too: --low high --high low. 'twogauge diagnose --help' lists all that can be told.
"""

_RANGE: Final = re.compile(r"(.*?\S)\s*\.{2,3}\s*(\S.*)", re.DOTALL)  # 25psi..35psi

_METAVAR: Final = {
    Dimension.PRESSURE: "PRESSURE",
    Dimension.PRESSURE_DIFFERENCE: "PRESSURE",
    Dimension.TEMPERATURE: "TEMPERATURE",
    Dimension.TEMPERATURE_DIFFERENCE: "DIFFERENCE",
    Dimension.FRACTION: "PERCENT",
    Dimension.DURATION: "TIME",
    Dimension.LENGTH: "HEIGHT",
    Dimension.ROTATIONAL_SPEED: "SPEED",
}


def rules_folders(given: list[str] | None) -> tuple[str, ...]:
    """Return the folders of rules in force: those of TWOGAUGE_RULES first, then those of the options."""
    named = os.environ.get("TWOGAUGE_RULES", "").split(os.pathsep)
    return (*(folder for folder in named if folder), *(given or ()))


def _diagnose(
    context: typer.Context,
    file: Annotated[
        str | None, typer.Argument(metavar="[FILE|-]", help="A reading in YAML or JSON; - for standard input.")
    ] = None,
    *,
    check: Annotated[
        list[str] | None,
        typer.Option("--check", metavar="ID=ANSWER", help="What you saw, felt or tried; repeatable."),
    ] = None,
    spec: Annotated[
        list[str] | None,
        typer.Option(
            "--spec",
            metavar="FIELD=LOW..HIGH",
            help="What the maker says for this day, low=25psi..35psi; repeatable.",
        ),
    ] = None,
    baseline: Annotated[
        str | None,
        typer.Option("--baseline", metavar="FILE", help="An earlier, known-good reading of the same machine."),
    ] = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    without: Annotated[
        list[str] | None, typer.Option("--without", metavar="RULE", help="Leave a rule out this time; repeatable.")
    ] = None,
    as_json: JsonOption = False,
    plot: Annotated[
        list[str] | None,
        typer.Option(
            "--plot",
            metavar="[KIND=]FILE",
            help="Draw a picture into FILE.svg, .png or .pdf: saturation (the gauges on the curve, if no kind is named), "
            "cycle (pressure over enthalpy) or evidence (for and against); repeatable.",
        ),
    ] = None,
    ask: Annotated[
        bool, typer.Option("--ask", help="Ask for what would settle most, one question at a time, at the terminal.")
    ] = False,
    verbose: Annotated[
        bool, typer.Option("--verbose", help="Show all reasons, also those that did not count, and their sources.")
    ] = False,
    no_color: Annotated[bool, typer.Option("--no-color", help="No bold, no colour.")] = False,
    **fields: str | None,
) -> None:
    """Rank the faults that fit a reading, with the reasons.

    Options override what FILE says. A quantity is written with its unit: 35psi, 2.4bar, -12inHg, 90F, 32C; a bare
    number is in --units. For instance:

    twogauge diagnose --refrigerant R134a --low 35psi --high 210psi --ambient 90F
    """
    told = {name: value for name, value in fields.items() if value is not None}
    pictures = _pictures(plot, talks=ask)
    if file is None and not told and not check and not spec and not ask:
        typer.echo(NOTHING_GIVEN, err=True, nl=False)
        raise typer.Exit(2)
    asked = str(context.get_parameter_source("units")).rpartition(".")[2] == "COMMANDLINE"
    sheet = _Sheet.read(file, units, units_asked=asked)
    sheet.put_fields(told)
    sheet.put_checks(check or [])
    sheet.put_spec(spec or [])
    if baseline is not None:
        sheet.put("baseline", read_file(baseline, units=units)[0], "--baseline")

    from twogauge.diagnosis import diagnose as run
    from twogauge.diagnosis import program_for

    reading = sheet.reading()
    program = program_for(rules_folders(rules), tuple(without or ()))
    try:
        found = run(reading, program=program)
    except ReadingError as error:  # a check or an answer that no pack knows
        raise sheet.placed(error) from None
    if ask:
        from twogauge.cli.ask_terminal import walk

        if file == "-" or as_json:
            raise InputError("--ask talks with a person at the terminal; leave out --json, and name a file, not -")
        walk(
            sheet.given,
            program,
            units=sheet.units,
            file_units=sheet.file_units,
            folder=sheet.folder,
            color=not no_color,
            verbose=verbose,
        )
        return
    found = replace(found, warnings=(*sheet.notes, *found.warnings))
    from twogauge.outlook import look_ahead

    ahead = look_ahead(found.reading, program=program)
    if as_json:
        from twogauge.output.json import as_json as in_json

        sys.stdout.write(in_json(found, ahead))
    else:
        from twogauge.output.style import style_for
        from twogauge.output.text import as_text

        sys.stdout.write(as_text(found, style_for(sys.stdout, color=not no_color), ahead, verbose=verbose))
    if pictures:
        from twogauge.cli.plotting import draw

        sys.stdout.flush()
        draw(pictures, found)


def _pictures(plot: list[str] | None, *, talks: bool) -> tuple[Wanted, ...]:
    """Return the pictures that are wanted, before anything is worked out; the way there costs others nothing."""
    if not plot:
        return ()
    if talks:
        raise InputError("--ask talks with a person at the terminal; draw the reading once it is in a file")
    from twogauge.cli.plotting import OF_A_DIAGNOSIS, wanted

    return wanted(plot, OF_A_DIAGNOSIS)


@dataclass
class _Sheet:
    """What a file says and what flags put over it, with where each came from."""

    given: dict[str, Any]
    node: yamlfile.Node | None
    folder: Path | None
    units: UnitSet  # bare numbers of flags, and output
    file_units: UnitSet  # bare numbers of the file
    origin: dict[tuple[str, ...], str] = field(default_factory=dict)  # path in the reading -> the flag it came from
    notes: list[str] = field(default_factory=list)

    @classmethod
    def read(cls, file: str | None, units: UnitSet, *, units_asked: bool) -> _Sheet:
        """Read the file, if there is one; its own `units` count unless others were asked for."""
        if file is None:
            return cls({}, None, Path(), units, units)
        from twogauge.packs import yamlfile

        if file == "-":
            node = yamlfile.load("<stdin>", sys.stdin.buffer.read(yamlfile.MAX_BYTES + 1))
            folder = None
        else:
            node, folder = yamlfile.load(file), Path(file).resolve().parent
        given = yamlfile.plain(node)
        if not isinstance(given, dict):
            message = "a reading is lines of 'field: value', such as 'low_side: 35 psi'"
            raise FileProblems([Problem(node.place, "reading", message)])
        try:
            own = UnitSet(str(given.get("units", units)).strip().casefold())
        except ValueError:
            own = units  # Reading says what is wrong with it
        return cls(given, node, folder, units if units_asked else own, own)

    def put_fields(self, told: Mapping[str, str]) -> None:
        """Lay the flags of fields over the file; one with nothing behind it was meant to say something."""
        empty = [FIELDS[name] for name, value in told.items() if not value.strip()]
        if sentences := [_nothing_said(known) for known in empty if known.dimension or known.choices]:
            raise InputError("\n".join(sentences))
        for name, value in told.items():
            self.put(name, self._with_unit(FIELDS[name], value), f"--{FIELDS[name].flag}")

    def put(self, name: str, value: object, flag: str) -> None:
        """Lay one value over the file, and note what it replaces."""
        before = self.given.get(name)
        if before is not None and before != value and self.node is not None:
            was = f" {before if isinstance(before, str) else 'the one'}"
            self.notes.append(f"{flag} was used for {name} instead of{was} in the file")
        self.given[name] = value
        self.origin[name,] = flag

    def put_checks(self, items: list[str]) -> None:
        """Lay answers over the file; they may stand there at the top or under `checks`."""
        under = self.given.get("checks")
        if items and not isinstance(under, dict):
            under = {} if under in (None, "", "~", "null") else under
        for item in items:
            name, equals, answer = (part.strip() for part in item.partition("="))
            if not (equals and name and answer):
                raise InputError(f"--check {shown(item)}: write the check and its answer, such as --check ID=yes")
            if name in FIELDS:
                flag = FIELDS[name].flag
                raise InputError(f"--check {item}: {name} is no check but a field; write --{flag} {answer}")
            if name in self.given:
                self.put(name, answer, f"--check {name}")
            elif isinstance(under, dict):
                if name in under:
                    self.notes.append(f"--check {name} was used instead of {under[name]!s} in the file")
                self.given["checks"] = under = {**under, name: answer}
                self.origin["checks", name] = f"--check {name}"

    def put_spec(self, items: list[str]) -> None:
        """Lay ranges of the maker over the file."""
        flags = {FIELDS[name].flag: name for name in SPEC_FIELDS}
        for item in items:
            name, equals, ends = (part.strip() for part in item.partition("="))
            if not (equals and name and ends):
                raise InputError(f"--spec {shown(item)}: write a field and its two ends, such as low=25psi..35psi")
            name = flags.get(name, name.replace("-", "_"))
            if name not in SPEC_FIELDS:
                near = did_you_mean(name, [*flags, *SPEC_FIELDS], 1)
                hint = f"did you mean {near[0]!r}?" if near else f"known here: {', '.join(flags)}"
                raise InputError(f"--spec {shown(name)} is not a field with a maker's range; {hint}")
            under = self.given.get("spec")
            before = under if isinstance(under, dict) else {}
            if name in before:
                self.notes.append(f"--spec {name} was used instead of the one in the file")
            split = _RANGE.fullmatch(ends)
            pair = [self._with_unit(FIELDS[name], end) for end in _share_unit(*split.groups())] if split else ends
            self.given["spec"] = {**before, name: pair}
            self.origin["spec", name] = f"--spec {name}"

    def _with_unit(self, known: Field, value: str) -> str:
        """Write the unit behind a flag's bare number where the file would take it in other units."""
        if self.units is self.file_units or known.dimension in (None, Dimension.FRACTION):
            return value
        bare = re.fullmatch(r"[-+\u2212]?[\d.,]+", value.strip()) is not None
        return f"{value} {symbol_for(known.dimension or Dimension.NUMBER, self.units)}" if bare else value

    def reading(self) -> Reading:
        """Return the reading, printed in the units asked for."""
        try:
            reading = Reading(self.given, units=self.file_units, folder=self.folder)
        except ReadingError as error:
            raise self.placed(error) from None
        reading.units = self.units
        return reading

    def placed(self, error: ReadingError) -> InputError:
        """Say for each trouble where it stands: file, line and column, or the flag."""
        sentences, in_file = [], []
        for trouble in error.troubles:
            flag = self.origin.get(tuple(map(str, trouble.path[:1]))) or self.origin.get(
                tuple(map(str, trouble.path[:2]))
            )
            if flag is None and self.node is not None:
                in_file.append(trouble)
            else:
                sentences.append(_said_of(flag, trouble))
        if not sentences and self.node is not None:
            return positioned(error, self.node)
        if in_file and self.node is not None:
            sentences.append(str(positioned(ReadingError(in_file), self.node)))
        return InputError("\n".join(sentences))


def read_conditions(told: Mapping[str, str], spec: list[str], baseline: str | None, units: UnitSet) -> Reading:
    """Return a reading made of flags alone.

    Raises:
        InputError: one sentence for each flag that cannot be used.
    """
    sheet = _Sheet.read(None, units, units_asked=True)
    sheet.put_fields(told)
    sheet.put_spec(spec)
    if baseline is not None:
        sheet.put("baseline", read_file(baseline, units=units)[0], "--baseline")
    return sheet.reading()


def _nothing_said(known: Field) -> str:
    wanted = f"write one of {', '.join(known.choices)}" if known.choices else ""
    wanted = wanted or f"give a value such as {example(known.dimension or Dimension.NUMBER)}"
    return f"--{known.flag}: nothing is written behind it; leave it out, or {wanted}"


def _said_of(flag: str | None, trouble: Trouble) -> str:
    """Name the flag where the message names the field."""
    if flag is None:
        return trouble.message
    path = ".".join(map(str, trouble.path))
    return f"{flag}: {trouble.message.removeprefix(f'{path}: ').removeprefix(f'{trouble.path[-1]}: ')}"


def _share_unit(low: str, high: str) -> tuple[str, str]:
    """Give the first end the unit of the second where it has none: 25..35psi."""
    if any(c.isalpha() for c in low):
        return low, high
    unit = re.search(r"[A-Za-z%].*$", high)
    return (f"{low.strip()} {unit[0]}" if unit else low), high


def field_option(known: Field) -> inspect.Parameter:
    """Return the command-line option for one field of a reading."""
    about = known.about[0].upper() + known.about[1:]
    choices = f": {', '.join(known.choices)}" if known.choices else ""
    is_text = known.dimension is None or known.name in INSTRUMENTS
    metavar = (
        "WORD" if known.choices else "TEXT" if is_text else _METAVAR.get(known.dimension or Dimension.NUMBER, "TEXT")
    )
    info = typer.Option(f"--{known.flag}", metavar=metavar, help=f"{about}{choices}.")
    return inspect.Parameter(
        known.name, inspect.Parameter.KEYWORD_ONLY, default=None, annotation=Annotated[str | None, info]
    )


def diagnose(*args: Any, **given: Any) -> None:
    """Run the command; its signature is filled in below, one option for each field of a reading."""
    _diagnose(*args, **given)


def _fill_in() -> None:
    own = inspect.signature(_diagnose, eval_str=True).parameters.values()
    kept = [p for p in own if p.kind is not inspect.Parameter.VAR_KEYWORD]
    places = [p for p in kept if p.kind is inspect.Parameter.POSITIONAL_OR_KEYWORD]
    options = [p for p in kept if p.kind is inspect.Parameter.KEYWORD_ONLY]
    everything = [*places, *(field_option(known) for known in FIELDS.values()), *options]
    diagnose.__signature__ = inspect.Signature(everything)  # type: ignore[attr-defined]  # typer reads it; only classes declare it
    diagnose.__annotations__ = {p.name: p.annotation for p in everything}
    diagnose.__doc__ = _diagnose.__doc__


_fill_in()
