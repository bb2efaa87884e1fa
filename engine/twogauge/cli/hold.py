"""`twogauge hold`: a log of a vacuum, or of a test under dry nitrogen, to what the circuit did."""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from twogauge.cli.answered import Answered, tell
from twogauge.cli.common import (
    AltitudeOption,
    Barometer,
    BarometerOption,
    JsonOption,
    PlotOption,
    UnitsOption,
    VerboseOption,
    VolumeOption,
    barometer_from,
)
from twogauge.cli.diagnose import RulesOption, rules_folders
from twogauge.errors import FileProblems, InputError, QuantityError, shown
from twogauge.fields import DEFAULT_SYSTEM, FIELDS
from twogauge.quantities import Dimension, UnitSet, absolute, parse

if TYPE_CHECKING:
    from twogauge.cli.plotting import Wanted
    from twogauge.packs.in_force import Stack
    from twogauge.packs.program import Program
    from twogauge.refrigerants import Refrigerant
    from twogauge.service.hold import Told
    from twogauge.service.holdgauge import GaugeTold
    from twogauge.service.holdlog import HoldLog


def hold(
    log: Annotated[
        str, typer.Argument(metavar="LOG", help="Times and pressures: CSV, YAML or typed rows; - for standard input.")
    ],
    *,
    valved_off: Annotated[
        str | None,
        typer.Option(
            "--valved-off", metavar="TIME", help="When the valve was shut, as the log tells times: '12 min'."
        ),
    ] = None,
    coldest: Annotated[
        str | None, typer.Option("--coldest", metavar="TEMPERATURE", help="Of the coldest part of the circuit.")
    ] = None,
    volume: VolumeOption = None,
    refrigerant: Annotated[
        str | None, typer.Option("--refrigerant", metavar="NAME", help="What will be in it, such as R134a.")
    ] = None,
    working_pressure: Annotated[
        str | None,
        typer.Option(
            "--working-pressure", metavar="PRESSURE", help="A leak is told for it; else for the pressure at rest."
        ),
    ] = None,
    system: Annotated[
        str | None,
        typer.Option("--system", metavar="KIND", help="Kind of machine, for the criteria: car_ac, split_ac, ..."),
    ] = None,
    criterion: Annotated[
        str | None, typer.Option("--criterion", metavar="ID", help="The one criterion for holding that counts.")
    ] = None,
    resolution: Annotated[
        str | None,
        typer.Option("--resolution", metavar="STEP", help="What the gauge is read to: '10 micron', '0.5 inHg'."),
    ] = None,
    accuracy: Annotated[
        str | None, typer.Option("--accuracy", metavar="ERROR", help="What the gauge may be off: '10 %', '0.5 inHg'.")
    ] = None,
    nitrogen: Annotated[
        bool, typer.Option("--nitrogen", help="The log is of a test under dry nitrogen, not of a vacuum.")
    ] = False,
    test_pressure: Annotated[
        str | None,
        typer.Option("--test-pressure", metavar="PRESSURE", help="Of the low side, on the label; with --nitrogen."),
    ] = None,
    altitude: AltitudeOption = None,
    barometer: BarometerOption = None,
    barometer_at_end: Annotated[
        str | None,
        typer.Option("--barometer-at-end", metavar="PRESSURE", help="The barometer at the end; with --nitrogen."),
    ] = None,
    units: UnitsOption = UnitSet.US,
    rules: RulesOption = None,
    as_json: JsonOption = False,
    plot: PlotOption = None,
    verbose: VerboseOption = False,
) -> None:
    """Tell what a vacuum did behind the shut valve: tight, wet, leaking, boiling out of the oil, or not to be told.

    With --nitrogen: whether a pressure fell by more than temperature and weather explain.

    Rows are a time and a pressure, and a temperature if there is one: '5 min, 430 micron, 75 degF'. For instance:

    twogauge hold examples/holds/bus_17_after_the_joint.csv --coldest 68F --volume 4L --refrigerant R134a
    """
    from twogauge.cli.keyboard import rows_of
    from twogauge.diagnosis import program_for
    from twogauge.packs.yamlfile import MAX_BYTES

    pictures: tuple[Wanted, ...] = ()
    if plot is not None:
        from twogauge.cli.plotting import OF_A_HOLD, OF_NITROGEN, wanted

        pictures = wanted([plot], OF_NITROGEN if nitrogen else OF_A_HOLD)
    options = {
        "valved_off": valved_off,
        "coldest": coldest,
        "volume": volume,
        "refrigerant": refrigerant,
        "working_pressure": working_pressure,
        "system": system,
        "resolution": resolution,
        "accuracy": accuracy,
        "altitude": altitude,
        "barometer": barometer,
        "barometer_at_end": barometer_at_end,
        "test_pressure": test_pressure,
    }
    program = program_for(rules_folders(rules))
    with rows_of(log, MAX_BYTES) as typed:
        sheet = _Sheet.read(log, typed, vacuum=not nitrogen, units=units)
        answered = answer(program, sheet.log, nitrogen=nitrogen, criterion=criterion, units=units, options=options)
    tell(answered, as_json=as_json, verbose=verbose)
    if pictures:
        from twogauge.cli.plotting import draw

        sys.stdout.flush()
        draw(pictures, *answered.found, units, about=sheet.about())


def answer(
    program: Program,
    log: HoldLog,
    *,
    nitrogen: bool,
    criterion: str | None,
    units: UnitSet,
    options: Mapping[str, str | None],
) -> Answered:
    """Judge a log that was read.

    Args:
        program: the rules in force.
        log: of a vacuum, or of a test under nitrogen.
        nitrogen: which of the two.
        criterion: the only one that counts, or None.
        units: the reader's.
        options: what lies over the settings that stand in the log.

    Returns:
        the answer; its `found` is what a picture is made from.

    Raises:
        InputError: a setting that cannot be used, or a log that cannot be judged.
    """
    sheet = _Sheet.of(log, units)
    sheet.put(**options)
    return (_under_pressure if nitrogen else _in_vacuum)(sheet, program.stack, criterion, units)


def answer_to_text(
    program: Program,
    name: str,
    rows: bytes,
    *,
    nitrogen: bool = False,
    criterion: str | None = None,
    units: UnitSet = UnitSet.US,
    **options: str | None,
) -> Answered:
    """Judge rows that came as text, without a file.

    Args:
        program: the rules in force.
        name: for the rows, used in messages.
        rows: as a file would hold them.
        nitrogen: whether they are of a test under nitrogen.
        criterion: the only one that counts, or None.
        units: the reader's.
        **options: what lies over the settings that stand in the log.

    Raises:
        InputError: as `answer`, or the rows cannot be read.
    """
    from twogauge.service.holdlog import read_log

    log = read_log(name, rows, vacuum=not nitrogen)
    return answer(program, log, nitrogen=nitrogen, criterion=criterion, units=units, options=options)


def _in_vacuum(sheet: _Sheet, stack: Stack, criterion: str | None, units: UnitSet) -> Answered:
    from twogauge.output import hold as output
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.hold import judge
    from twogauge.service.leakrate import loss

    air, chosen = sheet.air(), sheet.refrigerant()
    found = judge(sheet.log, sheet.told(air, stack, criterion))
    lost = None
    if chosen is not None and not math.isnan(found.volume * found.rate[1]):
        lost = loss(
            (found.rate[0] * found.volume, found.rate[2] * found.volume),
            "air",
            inside=air.pressure,
            outside=0.0,
            temperature=found.coldest,
            refrigerant=chosen,
            working=sheet.working_pressure(chosen, found.coldest, air),
            barometer=air.pressure,
        )
    cautions = cautions_beside(("vacuum",), stack, chosen, system=sheet.system_told())
    return Answered(
        lambda: output.document(found, chosen, lost, cautions),
        lambda paper: output.write(
            paper, found, units, refrigerant=chosen, lost=lost, air=air.sentence(units), cautions=cautions
        ),
        (found,),
    )


def _under_pressure(sheet: _Sheet, stack: Stack, criterion: str | None, units: UnitSet) -> Answered:
    from twogauge.output import nitrogen as output
    from twogauge.service.cautions import cautions_beside
    from twogauge.service.criteria import criteria_for
    from twogauge.service.leakrate import loss
    from twogauge.service.nitrogen import Told, judge

    air, chosen = sheet.air(), sheet.refrigerant()
    limit = sheet.on_dial("test_pressure", air)
    told = Told(
        barometer=air.pressure,
        barometer_at_end=sheet.air_at_end(),
        step=sheet.step(),
        volume=sheet.number("volume", Dimension.VOLUME),
        limit=limit,
        criteria=criteria_for(stack, "pressure_hold", system=sheet.system(), name=criterion),
    )
    found = judge(sheet.log, told)
    lost = None
    if chosen is not None and not math.isnan(found.volume) and found.verdict in {"drops", "holds"}:
        at = 293.15 if math.isnan(found.temperature) else found.temperature
        lost = loss(
            (found.rate[0] * found.volume, found.rate[2] * found.volume),
            "nitrogen",
            inside=found.inside,
            outside=air.pressure,
            temperature=at,
            refrigerant=chosen,
            working=sheet.working_pressure(chosen, at, air),
            barometer=air.pressure,
        )
    cautions = cautions_beside(("nitrogen",), stack, chosen, system=sheet.system_told())
    return Answered(
        lambda: output.document(found, chosen, lost, limit, cautions),
        lambda paper: output.write(
            paper,
            found,
            units,
            refrigerant=chosen,
            lost=lost,
            limit=limit,
            air=air.sentence(units),
            cautions=cautions,
        ),
        (sheet.log, found),
    )


@dataclass
class _Sheet:
    """What the log's file says beside its readings, and what the options put over it."""

    log: HoldLog
    units: UnitSet
    given: dict[str, str]

    @classmethod
    def read(cls, name: str, typed: bytes | None, *, vacuum: bool, units: UnitSet) -> _Sheet:
        from twogauge.service.holdlog import read_log

        return cls.of(read_log(name if typed is None else "<stdin>", typed, vacuum=vacuum), units)

    @classmethod
    def of(cls, log: HoldLog, units: UnitSet) -> _Sheet:
        return cls(log, units, {key: text for key, (text, _) in log.settings.items()})

    def put(self, **options: str | None) -> None:
        if options.get("altitude") is not None or options.get("barometer") is not None:
            self.given.pop("altitude", None)
            self.given.pop("barometer", None)
        for key, text in options.items():
            if text is not None:
                self.given[key] = text
                self.log.settings.pop(key, None)

    def about(self) -> str:
        """Return what the log is of, for a picture: its title, else the name of its file."""
        name = "" if self.log.name == "<stdin>" else Path(self.log.name).name
        return self.given.get("title", name)

    def _read(self, key: str, how: Any) -> Any:
        """Read a setting; a mistake in the file is told with its place."""
        if key not in self.given:
            return None
        try:
            return how(self.given[key])
        except InputError as error:
            if key in self.log.settings:
                from twogauge.packs.problems import Problem

                raise FileProblems([Problem(self.log.settings[key][1], "setting", f"{key}: {error}")]) from None
            label = f"--{key.replace('_', '-')}"
            raise InputError(f"{label}: {error}") from None

    def number(self, key: str, dimension: Dimension) -> float:
        found = self._read(key, lambda text: parse(text, dimension, units=self.units).value)
        return math.nan if found is None else float(found)

    def on_dial(self, key: str, air: Barometer) -> float:
        found = self._read(
            key, lambda text: absolute(parse(text, Dimension.PRESSURE, units=self.units), air.pressure) - air.pressure
        )
        return math.nan if found is None else float(found)

    def air(self) -> Barometer:
        return barometer_from(self.given.get("altitude"), self.given.get("barometer"), self.units)

    def refrigerant(self) -> Refrigerant | None:
        from twogauge.refrigerants import get

        found: Refrigerant | None = self._read("refrigerant", get)
        return found

    def working_pressure(self, refrigerant: Refrigerant, temperature: float, air: Barometer) -> float:
        told = self._read(
            "working_pressure",
            lambda text: absolute(parse(text, Dimension.PRESSURE, units=self.units), air.pressure),
        )
        if told is not None:
            return float(told)
        at_rest = float(refrigerant.saturation_pressure(temperature, "bubble"))
        return refrigerant.pressure_max("bubble") if math.isnan(at_rest) else at_rest

    def told(self, air: Barometer, stack: Stack, criterion: str | None) -> Told:
        from twogauge.service.criteria import criteria_for
        from twogauge.service.hold import Told
        from twogauge.service.holdlog import read_time

        system = self.system()
        dials = sum(r.pressure is not None and r.pressure.reference == "gauge" for r in self.log.rows)
        kind: Any = "dial" if dials > len(self.log.rows) / 2 else "vacuum_gauge"
        matters = criteria_for(stack, "leak_that_matters", system=system)
        valved = self._read("valved_off", lambda text: read_time(text, self.log))
        return Told(
            barometer=air.pressure,
            valved_off=math.nan if valved is None else float(valved),
            coldest=self.number("coldest", Dimension.TEMPERATURE),
            volume=self.number("volume", Dimension.VOLUME),
            gauge=self._gauge(),
            smallest_rate=matters[-1].rises / matters[-1].within,
            hold=criteria_for(stack, "vacuum_hold", gauge=kind, system=system, name=criterion),
            deep=criteria_for(stack, "vacuum_depth", gauge=kind, system=system),
        )

    def system_told(self) -> str | None:
        found: str | None = self._read("system", _system)
        return found

    def system(self) -> str:
        return self.system_told() or DEFAULT_SYSTEM

    def air_at_end(self) -> float:
        text = self.given.get("barometer_at_end")
        return math.nan if text is None else barometer_from(None, text, self.units).pressure

    def step(self) -> float:
        step = self.number("resolution", Dimension.PRESSURE_DIFFERENCE)
        if step <= 0.0:
            raise InputError("a gauge is read to some step; write it with its unit, such as '1 micron'")
        return step

    def _gauge(self) -> GaugeTold:
        from twogauge.service.holdgauge import GaugeTold

        step, text = self.step(), self.given.get("accuracy")
        if text is None:
            return GaugeTold(step)
        if "%" in text:
            return GaugeTold(step, error_share=self.number("accuracy", Dimension.FRACTION))
        return GaugeTold(step, error=self.number("accuracy", Dimension.PRESSURE_DIFFERENCE))


def _system(text: str) -> str:
    word = text.strip().casefold().replace("-", "_").replace(" ", "_")
    if word not in FIELDS["system"].choices:
        raise QuantityError(
            f"{shown(text)} is no kind of machine known here; write one of {', '.join(FIELDS['system'].choices)}"
        )
    return word
