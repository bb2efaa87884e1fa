"""One reading: what was measured at one moment, with the conditions and the instruments.

A reading arrives as a mapping or a file and leaves as SI numbers, absolute pressures and words (`Reading.parts`).
fields.py says what it may hold, intake.py takes each value in; this module puts the two together with files,
positions and baselines. It judges nothing.
"""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from twogauge.errors import FileProblems, InputError, did_you_mean, shown
from twogauge.fields import FIELDS, NESTED, UNKNOWN
from twogauge.intake import Door, Parts, Trouble, is_nothing
from twogauge.packs.problems import MOST_HINTS, Problem
from twogauge.quantities import Dimension, UnitSet, show, show_gauge

if TYPE_CHECKING:
    from twogauge.packs import yamlfile


class ReadingError(InputError):
    """A reading that cannot be used; `troubles` lists every reason with its field."""

    def __init__(self, troubles: Sequence[Trouble]) -> None:
        self.troubles = tuple(troubles)
        super().__init__("\n".join(t.message for t in self.troubles))


class Reading:
    """One reading, validated.

    Args:
        given: fields by name, as text, numbers in the unit set, or pairs for a swing; or use keywords.
        units: the set a bare number is taken in.
        folder: where a `baseline` path is looked up; None forbids files.

    Raises:
        ReadingError: one sentence for each field that cannot be used.

    Example:
        >>> Reading(refrigerant="R134a", low_side="35 psi", high_side="210 psi", ambient="90 degF").parts.words
        {'refrigerant': 'R134a', 'system': 'car_ac'}
    """

    def __init__(
        self,
        given: Mapping[str, object] | None = None,
        /,
        *,
        units: UnitSet | str = UnitSet.US,
        folder: Path | None = None,
        **fields: object,
    ) -> None:
        everything = {**(given or {}), **fields}
        troubles: list[Trouble] = []
        told = everything.pop("units", units)
        self.units = told if isinstance(told, UnitSet) else _unit_set(told, troubles)
        self.given: Mapping[str, object] = everything
        self.parts = Door(everything, self.units, troubles).parts()
        self.baseline = _baseline(everything.get("baseline"), self.units, folder, troubles)
        if self.baseline is not None:
            self.baseline = _of_this_machine(self.baseline, self.parts, troubles)
        if troubles:
            raise ReadingError(troubles)

    @property
    def check_answers(self) -> dict[str, str]:
        """Answers under ids that are no fields of a reading, to be known by the rule packs."""
        return {name: word for name, word in self.parts.words.items() if name not in FIELDS}

    def __repr__(self) -> str:
        return f"Reading({dict(self.given)!r}, units={self.units.value!r})"

    def show(self, dimension: Dimension, value: float, decimals: int | None = None) -> str:
        """Print a value [SI] in the units of this reading; pressures as on the dial."""
        if dimension is Dimension.PRESSURE:
            return show_gauge(value, self.parts.barometer, self.units, decimals)
        return show(value, dimension, self.units, decimals)

    def validate_checks(self, answers: Mapping[str, Iterable[str]]) -> None:
        """Compare the answered checks with the catalogue.

        Args:
            answers: check id -> the answers it allows.

        Raises:
            ReadingError: an id or an answer nobody knows, with the nearest that are.
        """
        troubles: list[Trouble] = []
        for name, word in self.check_answers.items():
            path: tuple[str | int, ...] = (name,) if name in self.given else ("checks", name)
            if name not in answers:
                known = [*answers, *FIELDS, *NESTED]
                near = did_you_mean(name, known) if len(troubles) < MOST_HINTS else ()
                hint = f"; did you mean {near[0]!r}?" if near else "; `twogauge rules checks` lists the checks"
                troubles.append(
                    Trouble(path, f"{shown(name)} is neither a field nor a check known here{hint}", at_key=True)
                )
            elif word not in answers[name]:
                allowed = ", ".join((*answers[name], UNKNOWN))
                near = did_you_mean(word, answers[name], 1) if len(troubles) < MOST_HINTS else ()
                hint = f"; did you mean {near[0]!r}?" if near else f"; write one of {allowed}"
                troubles.append(Trouble(path, f"{name}: {shown(word)} is not an answer to this check{hint}"))
        if troubles:
            raise ReadingError(troubles)


def read_file(
    path: str | Path, *, units: UnitSet = UnitSet.US, text: bytes | None = None
) -> tuple[Reading, yamlfile.Node]:
    """Read a reading from a YAML or JSON file.

    Args:
        path: the file; with `text`, only the name used in messages.
        units: the set a bare number is taken in, unless the file has `units`.
        text: the content, when it came from elsewhere (standard input).

    Returns:
        the reading, and the positioned tree (to place later problems, see `positioned`).

    Raises:
        FileProblems: every problem with file, line and column.
    """
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    node = yamlfile.load(path, text)
    given = yamlfile.plain(node)
    if not isinstance(given, dict):
        message = "a reading is lines of 'field: value', such as 'low_side: 35 psi'"
        raise FileProblems([Problem(node.place, "reading", message)])
    folder = Path(path).resolve().parent if text is None else None
    try:
        return Reading(given, units=units, folder=folder), node
    except ReadingError as error:
        raise positioned(error, node) from None


def positioned(error: ReadingError, node: yamlfile.Node) -> FileProblems:
    """Give each trouble of a reading its place in the file it came from."""
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    return FileProblems(
        [Problem(yamlfile.locate(node, t.path, key=t.at_key), "reading", t.message) for t in error.troubles]
    )


def _of_this_machine(earlier: Reading, now: Parts, troubles: list[Trouble]) -> Reading:
    """Give an earlier reading of the same machine what it does not say itself: the refrigerant, and the air there."""
    told: dict[str, object] = {}
    if "refrigerant" in now.words and "refrigerant" not in earlier.parts.words:
        told["refrigerant"] = now.words["refrigerant"]
    if now.barometer_from != "assumed" and earlier.parts.barometer_from == "assumed":
        told["barometer"] = f"{now.barometer} Pa"
    if not told:
        return earlier
    own = {name: value for name, value in earlier.given.items() if name != "baseline"}
    try:
        return Reading({**own, **told}, units=earlier.units)
    except ReadingError as error:
        troubles.extend(_under_baseline(error))
        return earlier


def _under_baseline(error: ReadingError) -> Iterable[Trouble]:
    return (Trouble(("baseline", *t.path), f"baseline: {t.message}", t.at_key) for t in error.troubles)


def _links_out(folder: Path, name: str) -> bool:
    try:
        return not Path(os.path.realpath(folder / name)).is_relative_to(os.path.realpath(folder))
    except ValueError:  # a NUL inside the name; reading the file says so
        return False


def _unit_set(value: object, troubles: list[Trouble]) -> UnitSet:
    try:
        return UnitSet(str(value).strip().casefold())
    except ValueError:
        near = did_you_mean(str(value), [u.value for u in UnitSet], 1)
        hint = f"did you mean {near[0]!r}?" if near else f"write one of {', '.join(u.value for u in UnitSet)}"
        troubles.append(Trouble(("units",), f"units: {shown(value)} is not a set of units known here; {hint}"))
        return UnitSet.US


def _baseline(value: object, units: UnitSet, folder: Path | None, troubles: list[Trouble]) -> Reading | None:
    """Read the earlier reading of the same machine: a mapping in place, or a file beside this one."""
    if is_nothing(value):
        return None
    if isinstance(value, Reading):
        return value
    if isinstance(value, Mapping):
        if "baseline" in value:
            troubles.append(Trouble(("baseline", "baseline"), "a baseline has no baseline of its own", at_key=True))
            return None
        try:
            return Reading(value, units=units)
        except ReadingError as error:
            troubles.extend(_under_baseline(error))
            return None
    if not isinstance(value, str):
        troubles.append(Trouble(("baseline",), "baseline: the path of a reading belongs here, or its fields"))
        return None
    if folder is None:
        message = "baseline: a file can be named only in a reading that is a file; write the fields out here"
        troubles.append(Trouble(("baseline",), message))
        return None
    if Path(value).is_absolute() or ".." in Path(value).parts or _links_out(folder, value):
        message = f"baseline: {shown(value)} leads out of the folder of this reading; keep the two files together"
        troubles.append(Trouble(("baseline",), message))
        return None
    from twogauge.packs import yamlfile  # noqa: PLC0415 - only readings in files need the parser

    try:
        node = yamlfile.load(folder / value)
        given = yamlfile.plain(node)
        if not isinstance(given, dict) or "baseline" in given:
            message = "baseline: the file named must be a reading without a baseline of its own"
            troubles.append(Trouble(("baseline",), message))
            return None
        return Reading(given, units=units)
    except ReadingError as error:
        troubles.append(Trouble(("baseline",), f"baseline: {positioned(error, node)}"))
    except InputError as error:
        troubles.append(Trouble(("baseline",), f"baseline: {error}"))
    return None
