"""The whole set of pressure-temperature tables, computed afresh from CoolProp, and what has changed in an old set.

Unlike a single table this does not use the shipped curves, except to know where they end and as a first guess; so
the set is also a check of them, and its manifest says how far the two are apart. Making it takes about a second per
blend: CoolProp has to be imported and the blends have to be solved.

The same options and versions give the same bytes: there is no date in any file.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from importlib.metadata import version
from pathlib import Path
from typing import Any, Final

import numpy as np

from twogauge import refrigerants, tables
from twogauge.errors import InputError
from twogauge.files import read_bytes_bounded, write_atomically
from twogauge.output import tables as output
from twogauge.quantities import UnitSet
from twogauge.refrigerants import Phase, Refrigerant
from twogauge.tables import By, Floats, Table

MANIFEST: Final = "manifest.json"
FORMATS: Final[dict[str, tuple[str, Callable[[Table, UnitSet], str]]]] = {
    "csv": (".csv", output.as_csv),
    "json": (".json", output.as_json),
    "markdown": (".md", output.as_markdown),
    "terminal": (".txt", output.as_text),
}

_LARGEST_MANIFEST: Final = 4_000_000  # [byte]
_LARGEST_TABLE: Final = 16_000_000  # [byte]

Progress = Callable[[int, int, str], None]
"""(how many are done, of how many, which one is next)"""


@dataclass(frozen=True, slots=True)
class SetOptions:
    """What decides the bytes of a set, besides the versions.

    Attributes:
        names: ids of the refrigerants.
        formats: keys of FORMATS.
        by: what the rows are.
        units: the reader's.
        barometer: [Pa] absolute.
        air: how that is known.
        low: first row, [K] or [Pa] absolute, or None.
        high: last row, likewise.
        step: [K] or [Pa], or None.
    """

    names: tuple[str, ...]
    formats: tuple[str, ...]
    by: By
    units: UnitSet
    barometer: float
    air: str
    low: float | None = None
    high: float | None = None
    step: float | None = None


def write_set(folder: Path, options: SetOptions, progress: Progress | None = None) -> list[str]:
    """Write every table and the manifest into a folder, which is made if it is not there.

    Args:
        folder: where to.
        options: what to make.
        progress: told before each refrigerant.

    Returns:
        The names of the files written, the manifest last: a set that was interrupted has an old manifest or none.

    Raises:
        InputError: the folder or a file cannot be written.
    """
    made = make_set(options, progress)
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder} cannot be made ({error.strerror}); name another folder") from None
    for name, text in made.items():
        write_atomically(folder / name, text)
    return list(made)


def check_set(folder: Path, progress: Progress | None = None) -> list[str]:
    """Make the set of a folder again, with the options of its manifest, and compare.

    Args:
        folder: where a set was written.
        progress: told before each refrigerant.

    Returns:
        A sentence for each file that is missing, changed since it was written, stale or extra; none if all is well.

    Raises:
        InputError: there is no manifest, or it cannot be read.
    """
    manifest = _read_manifest(folder)
    fresh = make_set(manifest[0], progress)
    written: Mapping[str, str] = manifest[1]
    found = []
    for name, text in fresh.items():
        path = folder / name
        if not path.is_file():
            found.append(f"{name}: missing")
            continue
        there = read_bytes_bounded(path, _LARGEST_TABLE)
        if there == text.encode():
            continue
        if name != MANIFEST and hashlib.sha256(there).hexdigest() != written.get(name):
            found.append(f"{name}: changed since it was written")
        else:
            found.append(f"{name}: stale, it would be written differently now")
    there_too = sorted(path.name for path in folder.iterdir() if path.name not in fresh)
    return found + [f"{name}: extra, it belongs to no table of this set" for name in there_too]


def make_set(options: SetOptions, progress: Progress | None = None) -> dict[str, str]:
    """Return the text of every file of a set by name, the manifest last.

    Args:
        options: what to make.
        progress: told before each refrigerant.
    """
    from twogauge.refrigerants import build  # noqa: PLC0415 - imports CoolProp, which takes two seconds

    coolprop = f"CoolProp {version('CoolProp')}"
    entries, models = build.read_catalogue(), build.models()
    files: dict[str, str] = {}
    apart: dict[str, float] = {}
    for done, name in enumerate(options.names):
        if progress is not None:
            progress(done, len(options.names), name)
        refrigerant = refrigerants.get(name)
        solver = _Afresh(build.origin(entries[refrigerant.id], models.get(refrigerant.id)))
        table = tables.make_table(
            [refrigerant],
            options.by,
            _rows(refrigerant, options),
            barometer=options.barometer,
            air=options.air,
            solver=solver,
            origin=coolprop,
        )
        apart[refrigerant.id] = float(f"{solver.furthest:.1g}")
        stem = build.file_name(refrigerant.id).removesuffix(".json")
        for form in options.formats:
            suffix, write = FORMATS[form]
            files[stem + suffix] = write(table, options.units)
    document = {
        "format": 1,
        "versions": {"twogauge": version("twogauge"), "CoolProp": version("CoolProp")},
        "options": asdict(options),
        "furthest from the shipped curves / K": apart,
        "sha256": {name: hashlib.sha256(text.encode()).hexdigest() for name, text in files.items()},
    }
    return files | {MANIFEST: json.dumps(document, indent=1, ensure_ascii=False, allow_nan=False) + "\n"}


class _Afresh:
    """Saturation straight from CoolProp, as a solver for `tables.make_table`.

    Attributes:
        furthest: largest distance from the shipped curve so far [K].
    """

    def __init__(self, origin: Any) -> None:
        self.origin = origin
        self.furthest = 0.0

    def __call__(self, refrigerant: Refrigerant, phase: Phase, by: By, index: Floats) -> Floats:
        if by is By.TEMPERATURE:
            found = self._pressures(index, phase)
            self._compare(refrigerant.saturation_temperature(found, phase), index)
            return found
        curve = refrigerant.saturation_temperature(index, phase)
        found = curve.copy()
        slope = refrigerant.saturation_slope(index, phase) * index  # dT / d ln p
        for _ in range(4):  # the curve is within millikelvins, so that two steps of Newton's method are enough
            found = found + slope * np.log(index / self._pressures(found, phase))
        self._compare(found, curve)
        return found

    def _pressures(self, temperatures: Floats, phase: Phase) -> Floats:
        try:
            pressures: Floats = self.origin.states(temperatures, phase).pressure
        except ValueError:  # one point that CoolProp cannot solve must not take the others with it
            pressures = np.full(len(temperatures), np.nan)
            for row, temperature in enumerate(temperatures):
                try:
                    pressures[row] = self.origin.states(np.array([temperature]), phase).pressure[0]
                except ValueError:
                    continue
        return pressures

    def _compare(self, one: Floats, other: Floats) -> None:
        apart = np.abs(one - other)
        apart = apart[~np.isnan(apart)]
        self.furthest = max(self.furthest, float(apart.max(initial=0.0)))


def _rows(refrigerant: Refrigerant, options: SetOptions) -> Floats:
    ends = {"low": options.low, "high": options.high, "step": options.step}
    if options.by is By.TEMPERATURE:
        return tables.temperature_rows(options.units, **ends)
    return tables.pressure_rows(options.units, [refrigerant], options.barometer, **ends)


def _read_manifest(folder: Path) -> tuple[SetOptions, dict[str, str]]:
    path = folder / MANIFEST
    if not path.is_file():
        raise InputError(f"{folder} has no {MANIFEST}; write the set first: twogauge table --all --out {folder}")
    try:
        document = json.loads(read_bytes_bounded(path, _LARGEST_MANIFEST))
        options = document["options"]
        read = SetOptions(
            names=tuple(str(name) for name in options["names"]),
            formats=tuple(str(name) for name in options["formats"] if FORMATS[name]),
            by=By(options["by"]),
            units=UnitSet(options["units"]),
            barometer=float(options["barometer"]),
            air=str(options["air"]),
            **{end: None if options[end] is None else float(options[end]) for end in ("low", "high", "step")},
        )
        written = {str(name): str(digest) for name, digest in document["sha256"].items()}
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError):
        raise InputError(f"{path} is not the manifest of a set of tables; write the set again") from None
    return read, written
