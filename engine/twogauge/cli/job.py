"""`twogauge job`: one file for each job, to which readings, tests, parts and amounts are added as they happen."""

from __future__ import annotations

import json
import sys
from collections.abc import Mapping
from datetime import datetime
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Final

import typer

from twogauge.cli.answered import Answered, tell
from twogauge.cli.common import JsonOption, UnitsOption
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import InputError, shown
from twogauge.quantities import UnitSet

if TYPE_CHECKING:
    from twogauge.packs.program import Program
    from twogauge.reading import Reading
    from twogauge.service.job import Sheet

job = typer.Typer(
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 96},
    help="Keep one sheet for each job: readings, tests, parts, amounts in and out, with times and who.",
)

_LARGEST_RESULT: Final = 2**20  # bytes of what another command printed
_LONGEST_FIGURE: Final = 200  # characters of one of its values that are kept

SheetArgument = Annotated[str, typer.Argument(metavar="JOB.yaml", help="The job sheet.")]
ByOption = Annotated[
    str | None, typer.Option("--by", metavar="NAME", envvar="TWOGAUGE_BY", help="Who did it; or set TWOGAUGE_BY.")
]
CertificateOption = Annotated[
    str | None, typer.Option("--certificate", metavar="NUMBER", help="Number of the certificate; once is enough.")
]
AtOption = Annotated[str | None, typer.Option("--at", metavar="TIME", help="When, 2026-06-22T09:10; else now.")]
NoteOption = Annotated[str | None, typer.Option("--note", metavar="TEXT", help="Anything worth keeping with it.")]


class Reader(Enum):
    """Whom a report is for."""

    CUSTOMER = "customer"
    LOG = "log"


class Form(Enum):
    """What a report is written as."""

    MARKDOWN = "md"
    HTML = "html"


@job.command("new")
def new(
    file: SheetArgument,
    *,
    machine: Annotated[str, typer.Option("--machine", metavar="TEXT", help="Which machine, in your own words.")],
    customer: Annotated[str | None, typer.Option("--customer", metavar="TEXT", help="For whom.")] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="TEXT", help="Where it stands.")] = None,
    refrigerant: Annotated[
        str | None, typer.Option("--refrigerant", metavar="REFRIGERANT", help="What the label names.")
    ] = None,
    charge: Annotated[
        str | None, typer.Option("--charge", metavar="WEIGHT", help="Charge on the label: 2.5lb, 900g.")
    ] = None,
    system: Annotated[str | None, typer.Option("--system", metavar="WORD", help="Kind of machine.")] = None,
    by: ByOption = None,
    certificate: CertificateOption = None,
    at: AtOption = None,
    note: NoteOption = None,
) -> None:
    """Begin a job sheet.

    twogauge job new bus_31.yaml --machine "bus 31" --refrigerant R12 --charge 2.5lb --by "bay 2"
    """
    from twogauge.service.job_file import begin

    told = {
        "machine": machine,
        "customer": customer,
        "place": place,
        "refrigerant": refrigerant,
        "charge": charge,
        "system": system,
    }
    if system is not None:
        _known_system(system)
    begin(file, entry_of("opened", told, by=by, certificate=certificate, at=at, note=note))
    _tell(f"{file}: a sheet for {machine} is begun")


@job.command("add")
def add(
    file: SheetArgument,
    did: Annotated[
        str,
        typer.Argument(
            metavar="WHAT",
            help="reading, test, recovered, charged, part, oil, step, note, strike, closed or reopened.",
        ),
    ],
    values: Annotated[
        list[str] | None,
        typer.Argument(metavar="[VALUE]...", help="What belongs to it, as in the examples below."),
    ] = None,
    *,
    cylinder: Annotated[
        str | None, typer.Option("--cylinder", metavar="TEXT", help="Into or out of which cylinder.")
    ] = None,
    showed: Annotated[
        str | None,
        typer.Option("--showed", metavar="FILE|-", help="What a twogauge command printed with --json; for a test."),
    ] = None,
    not_applicable: Annotated[
        str | None,
        typer.Option("--not-applicable", metavar="REASON", help="For a step: it does not apply here, and why."),
    ] = None,
    by: ByOption = None,
    certificate: CertificateOption = None,
    at: AtOption = None,
    note: NoteOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
) -> None:
    """Add one entry to a job sheet.

    twogauge job add JOB.yaml reading READING.yaml

    twogauge job add JOB.yaml recovered R12 1.9lb --cylinder "recovery 4"

    twogauge job add JOB.yaml charged R134a "2 lb 1 oz"

    twogauge job add JOB.yaml part "O-rings at the condenser"

    twogauge job add JOB.yaml oil "POE 100" 3oz

    twogauge job add JOB.yaml test nitrogen passed --note "100 psi, 30 min"

    twogauge job add JOB.yaml step recharge recover

    twogauge job add JOB.yaml step retrofit switch --not-applicable "it has one"

    twogauge job add JOB.yaml note "the customer wants the old parts"

    twogauge job add JOB.yaml strike 3 "the scale stood on kg"

    twogauge job add JOB.yaml closed

    twogauge job add JOB.yaml reopened "it came back warm"

    What looks odd, such as a time before the last entry or more than the label asks for, is kept and said. A finished job
    takes notes; anything else only once it is reopened.
    """
    from twogauge.service.job import KINDS
    from twogauge.service.job_file import add as write
    from twogauge.service.job_remarks import remarks

    given = list(values or [])
    told: dict[str, Any] = {}
    if did in KINDS:
        needs = KINDS[did].needs
        if "note" in needs and note is not None:
            raise InputError("write the note behind the word, without --note; nothing was added")
        if len(given) != len(needs):
            wanted = " ".join(f"{name.upper()}" for name in needs)
            raise InputError(
                f"write: twogauge job add {file} {did}{' ' if wanted else ''}{wanted}; nothing was added"
            )
        told.update(zip(needs, given, strict=True))
    if did == "reading":
        told.update(_diagnosed(told["reading"], units, rules_folders(rules)))
    if not_applicable is not None:
        if did != "step":
            raise InputError("--not-applicable belongs to a step of a plan; nothing was added")
        if not not_applicable.strip():
            raise InputError("write why the step does not apply behind --not-applicable; nothing was added")
        told["not_applicable"] = not_applicable
    if did == "step":
        from twogauge.diagnosis import program_for

        told.update(step_of(told, program_for(rules_folders(rules))))
    told["cylinder"] = cylinder
    if showed is not None:
        told["showed"] = _showed(showed)
    entry = entry_of(did, told, by=by, certificate=certificate, at=at, note=told.pop("note", None) or note)
    sheet = write(file, entry)
    number = len(sheet.entries)
    _tell(f"{file}: {did} is entry {number}")
    for remark in remarks(sheet):
        if remark.entry == number:
            _tell(f"It is kept, but worth a second look: {remark.sentence}.")


@job.command("show")
def show(
    file: SheetArgument,
    *,
    units: UnitsOption = UnitSet.US,
    as_json: JsonOption = False,
) -> None:
    """Tell what stands in a job sheet."""
    from twogauge.output import job as output

    sheet = _read(file)
    tell(Answered(lambda: output.document(sheet), lambda paper: output.write(paper, sheet, units)), as_json=as_json)


@job.command("mend")
def mend(file: SheetArgument, *, by: ByOption = None) -> None:
    """Keep entries that cannot be read as comments, so that the sheet can be added to again.

    twogauge job mend bus_31.yaml

    Every other entry keeps its number, and the broken file stays beside it as it was.
    """
    from twogauge.service.job_mend import mend as keep

    if by is None or not by.strip():
        raise InputError("who does it? write --by NAME, or set TWOGAUGE_BY once; nothing was changed")
    sheet, copy = keep(file, _now().isoformat(timespec="seconds"), _one_line(by))
    _tell(f"{file}: {len(sheet.entries)} entries, what could not be read is kept as a comment; as it was: {copy}")


@job.command("report")
def report(
    file: SheetArgument,
    *,
    reader: Annotated[
        Reader, typer.Option("--for", help="customer: what was found and done; log: the refrigerant log.")
    ] = Reader.CUSTOMER,
    form: Annotated[Form, typer.Option("--format", help="Markdown, or one page of HTML.")] = Form.MARKDOWN,
    out: Annotated[
        str | None, typer.Option("--out", metavar="FILE", help="Write it there, in place of printing it.")
    ] = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
) -> None:
    """Print a job sheet for the customer, or for the log of refrigerants.

    twogauge job report bus_31.yaml --for log --format html --out bus_31.html
    """
    from twogauge.diagnosis import program_for
    from twogauge.files import write_atomically
    from twogauge.output.book import HTML, MARKDOWN, single
    from twogauge.output.job_report import for_customer, for_log

    sheet = _read(file)
    program = program_for(rules_folders(rules))
    page = for_log(sheet, units) if reader is Reader.LOG else for_customer(sheet, units, program)
    text = single(page, HTML if form is Form.HTML else MARKDOWN, "Made by `twogauge job report` from a job sheet.")
    if out is None:
        sys.stdout.write(text)
        return
    if Path(out).exists() and Path(file).exists() and Path(out).samefile(file):
        raise InputError(f"{out} is the job sheet itself; write the report to another file")
    write_atomically(out, text)
    _tell(f"{out} is written")


def entry_of(
    did: str, told: dict[str, Any], *, by: str | None, certificate: str | None, at: str | None, note: str | None
) -> dict[str, Any]:
    """Return an entry of a job sheet.

    Args:
        did: its kind.
        told: what belongs to it.
        by: who did it.
        certificate: number of the certificate.
        at: when; None for now.
        note: anything worth keeping.

    Raises:
        InputError: nobody is named, or the time cannot be read.
    """
    from twogauge.service.job import moment

    if by is None or not by.strip():
        raise InputError("who did it? write --by NAME, or set TWOGAUGE_BY once; nothing was added")
    when = _now() if at is None else moment(at)
    entry: dict[str, Any] = {"did": did, "at": when.isoformat(timespec="seconds"), "by": by}
    if at is not None:  # a time that was told, and not taken from the clock
        entry["written"] = _now().isoformat(timespec="seconds")
    entry.update({"certificate": certificate, **told, "note": note})
    return {key: _one_line(value) for key, value in entry.items() if value not in (None, "")}


def _now() -> datetime:
    return datetime.now().astimezone()


def _one_line(value: Any) -> Any:
    return " ".join(value.split()) if isinstance(value, str) else value


def _diagnosed(file: str, units: UnitSet, folders: tuple[str, ...]) -> dict[str, Any]:
    """Return a reading of a file as it was given, and what was made of it."""
    from twogauge.diagnosis import program_for
    from twogauge.packs.yamlfile import MAX_BYTES
    from twogauge.reading import ReadingError, positioned, read_file

    text = sys.stdin.buffer.read(MAX_BYTES + 1) if file == "-" else None
    reading, node = read_file("<stdin>" if file == "-" else file, units=units, text=text)
    program = program_for(folders)
    try:
        return diagnosed(reading, program)
    except ReadingError as error:
        raise positioned(error, node) from None


def diagnosed(reading: Reading, program: Program) -> dict[str, Any]:
    """Return a reading as it was given, and what was made of it, as they stand in a sheet.

    Args:
        reading: what was read.
        program: the rules in force.

    Raises:
        ReadingError: a check or an answer that no pack knows.
    """
    from twogauge.diagnosis import diagnose

    found = diagnose(reading, program=program)

    def as_given(of: Reading) -> dict[str, Any]:
        given = {**of.given, "units": of.units.value}
        if of.baseline is not None:
            given["baseline"] = as_given(of.baseline)
        return given

    first = found.first
    return {
        "reading": as_given(reading),
        "diagnosis": {
            "verdict": found.verdict,
            "first": first.fault,
            "title": first.title,
            "probability": f"{first.probability:.3f}",
            "packs": {name: str(edition) for name, edition in found.packs},
        },
    }


def step_of(told: Mapping[str, Any], program: Program) -> dict[str, str]:
    """Return a step of a plan by its ids, or say which may have been meant.

    Args:
        told: `plan` and `step`.
        program: the rules in force.

    Raises:
        InputError: there is no such plan or step.
    """
    from twogauge.errors import UnknownNameError
    from twogauge.service.plan import plan_id

    plan = plan_id(told["plan"], program)
    step = told["step"].strip().casefold().replace("-", "_")
    steps = program.stack.plans[plan].entry.steps
    if step not in steps:
        raise UnknownNameError("step of this plan", told["step"], steps, hint=f"write one of {', '.join(steps)}")
    return {"plan": plan, "step": step}


def _showed(file: str) -> dict[str, str]:
    """Return the plain figures of what another command printed as JSON."""
    from twogauge.files import read_bytes_bounded

    raw = sys.stdin.buffer.read(_LARGEST_RESULT + 1) if file == "-" else read_bytes_bounded(file, _LARGEST_RESULT)
    try:
        found = json.loads(raw[: _LARGEST_RESULT + 1])
    except (ValueError, RecursionError):
        found = None
    schema = found.get("schema") if isinstance(found, dict) else None
    if not isinstance(schema, str) or not schema.startswith("twogauge."):
        raise InputError(
            f"--showed {shown(file)}: this is not what a twogauge command prints with --json; nothing was added"
        )
    figures = {str(key): _figure(value) for key, value in found.items()}
    return {key: value for key, value in figures.items() if value and len(value) <= _LONGEST_FIGURE}


def _figure(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if isinstance(value, str | int | float) else ""


def _known_system(word: str) -> None:
    from twogauge.errors import UnknownNameError
    from twogauge.fields import FIELDS

    if word not in FIELDS["system"].choices:
        hint = f"write one of {', '.join(FIELDS['system'].choices)}"
        raise UnknownNameError("kind of machine", word, FIELDS["system"].choices, hint=hint)


def _read(file: str) -> Sheet:
    """Read a sheet; what cannot be read of it is told at once on standard error as well, whatever is printed."""
    from twogauge.service.job_salvage import read_what_can_be

    sheet = read_what_can_be(file)
    for problem in sheet.problems:
        typer.echo(f"twogauge: {problem}", err=True)
    return sheet


def _tell(sentence: str) -> None:
    from twogauge.output.style import style_for

    sys.stdout.write("\n".join(style_for(sys.stdout).wrap(sentence)) + "\n")
