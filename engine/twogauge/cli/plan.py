"""`twogauge plan`: a whole job as steps in order, with the figures of this machine, to be ticked in the job sheet."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.answered import Answered, answering
from twogauge.cli.charge import Metering, Store, System
from twogauge.cli.common import (
    AltitudeOption,
    BarometerOption,
    UnitsOption,
    barometer_from,
)
from twogauge.cli.diagnose import RulesOption
from twogauge.errors import InputError
from twogauge.quantities import Dimension, UnitSet, parse

if TYPE_CHECKING:
    from twogauge.packs.program import Program
    from twogauge.service.job import Sheet


@answering
def plan(
    program: Program,
    name: Annotated[
        str | None,
        typer.Argument(metavar="[PLAN]", help="One of those that are listed without it."),
    ] = None,
    *,
    refrigerant: Annotated[
        str | None, typer.Option("--refrigerant", metavar="REFRIGERANT", help="What is in it, or goes in.")
    ] = None,
    retrofit_from: Annotated[
        str | None, typer.Option("--retrofit-from", metavar="REFRIGERANT", help="What a retrofit takes out.")
    ] = None,
    label: Annotated[
        str | None, typer.Option("--label", metavar="WEIGHT", help="Charge on the label: 2.5lb, 900g.")
    ] = None,
    ambient: Annotated[str | None, typer.Option("--ambient", metavar="TEMPERATURE", help="Air around it.")] = None,
    humidity: Annotated[str | None, typer.Option("--humidity", metavar="PERCENT", help="Of that air.")] = None,
    system: Annotated[System | None, typer.Option("--system", help="Kind of machine.")] = None,
    metering: Annotated[Metering | None, typer.Option("--metering", help="Metering device.")] = None,
    liquid_store: Annotated[
        Store | None, typer.Option("--liquid-store", help="Where spare refrigerant waits.")
    ] = None,
    job: Annotated[
        str | None,
        typer.Option(
            "--job", metavar="JOB.yaml", help="The job sheet: what it says of the machine, and what is done."
        ),
    ] = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
) -> Answered:
    """Print a whole job as steps in order, each with its reason, its figures and what it must show.

    twogauge plan retrofit --refrigerant R134a --retrofit-from R12 --label 2.5lb --ambient 85F --altitude 900ft

    Without a plan it lists those in force. With --job what is ticked there is ticked here.
    """
    from twogauge.service.job_salvage import read_what_can_be
    from twogauge.service.plan import plan_id

    sheet = None
    if name is not None and job is not None:
        plan_id(name, program)  # a plan that does not exist is told first
        sheet = read_what_can_be(job)
        for problem in sheet.problems:
            typer.echo(f"twogauge: {problem}", err=True)
    told = {
        "refrigerant": refrigerant,
        "retrofit_from": retrofit_from,
        "label": label,
        "ambient": ambient,
        "humidity": humidity,
        "system": system,
        "metering": metering,
        "liquid_store": liquid_store,
        "altitude": altitude,
        "barometer": barometer,
    }
    return answer(program, name, told, sheet, job=job or "", ticked_in=job or "", units=units, rules=rules or ())


def answer(
    program: Program,
    name: str | None,
    told: Mapping[str, Any],
    sheet: Sheet | None,
    *,
    job: str = "",
    ticked_in: str = "",
    units: UnitSet = UnitSet.US,
    rules: Sequence[str] = (),
) -> Answered:
    """Fill a plan in, or list those in force.

    Args:
        program: the rules in force.
        name: of the plan, or None for the list.
        told: options of the command by name; those that nobody told may be None or missing.
        sheet: of the job, or None.
        job: the file of the sheet, for commands to type.
        ticked_in: what a person calls the sheet.
        units: the reader's.
        rules: the folders that were named.

    Raises:
        InputError: an unknown plan, an amount that cannot be read, or a change that must not be made.
    """
    from twogauge.output import plan as output
    from twogauge.refrigerants import get
    from twogauge.service.plan import Conditions, plan_id, planned, takes_out_another

    if name is None:
        return Answered(
            lambda: output.list_document(program.stack), lambda paper: output.write_list(paper, program.stack)
        )
    ident = plan_id(name, program)
    refrigerant, retrofit_from, label = (told.get(key) for key in ("refrigerant", "retrofit_from", "label"))
    ambient, humidity = told.get("ambient"), told.get("humidity")
    words = {
        key: str(word.value) for key in ("system", "metering", "liquid_store") if (word := told.get(key)) is not None
    }
    if sheet is not None:
        label = label or sheet.latest("charge") or None
        if takes_out_another(program.stack.plans[ident].entry) or retrofit_from is not None:
            retrofit_from = retrofit_from or sheet.latest("refrigerant") or None
        else:
            refrigerant = refrigerant or sheet.latest("refrigerant") or None
        for key in ("system", "metering"):
            if sheet.latest(key):
                words.setdefault(key, sheet.latest(key))
    new = None if refrigerant is None else get(refrigerant)
    old = None if retrofit_from is None else get(retrofit_from)
    if old is not None and new is not None and old.id == new.id:
        raise InputError(f"{new.title} to {new.title} is no retrofit; name what goes in with --refrigerant")

    def amount(text: str | None, dimension: Dimension, field: str) -> float:
        return math.nan if text is None else parse(text, dimension, field=field, units=units).value

    air = barometer_from(told.get("altitude"), told.get("barometer"), units)
    conditions = Conditions(
        refrigerant=new,
        old=old,
        label=amount(label, Dimension.MASS, "label"),
        label_text=label or "",
        ambient=amount(ambient, Dimension.TEMPERATURE, "ambient"),
        ambient_text=ambient or "",
        humidity=amount(humidity, Dimension.FRACTION, "humidity"),
        barometer=air.pressure,
        air_told=not air.assumed,
        words=words,
        job=job,
        units=units,
        told={
            option: (value,)
            for option, value in (
                ("refrigerant", None if new is None else new.id),
                ("label", label),
                ("ambient", ambient),
                ("humidity", humidity),
                ("altitude", told.get("altitude")),
                ("barometer", told.get("barometer")),
                ("units", None if units is UnitSet.US else units.value),
                *((key.replace("_", "-"), word) for key, word in words.items()),
            )
            if value is not None
        }
        | ({"rules": tuple(rules)} if rules else {}),
    )
    ticks = ((), {}) if sheet is None else (sheet.done(ident), sheet.not_applicable(ident))
    found = planned(ident, conditions, program, *ticks)
    return Answered(
        lambda: output.document(found),
        lambda paper: output.write(paper, found, conditions, ticked_in),
        found,
    )
