"""The other commands over HTTP: the same options, and the document that `--json` prints.

A command is asked as the pages ask it (cli/answered.py). What a request may say is listed here, option by option: none
that names a file or a folder is among them.
"""

from __future__ import annotations

import importlib
import inspect
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any, Final, get_args

from fastapi import APIRouter, Depends
from pydantic import BaseModel, Field, create_model
from starlette.exceptions import HTTPException
from starlette.responses import Response

from twogauge.cli.answered import Answered, ask
from twogauge.cli.hold import answer_to_text
from twogauge.cli.refrigerants import refrigerants
from twogauge.cli.table import table_of
from twogauge.errors import FileProblems, InputError, RangeError
from twogauge.output.tables import as_json
from twogauge.quantities import UnitSet
from twogauge.reading import ReadingError
from twogauge.serve.api.models import OPEN, STRICT
from twogauge.serve.api.readings import answer
from twogauge.serve.bodies import BoundedRoute
from twogauge.serve.refusals import problem
from twogauge.serve.site import Site, site_of
from twogauge.serve.subject import subject_of

MOST_OF_A_LIST: Final = 20
LONGEST_LOG: Final = 200_000  # characters

router = APIRouter(tags=["commands"], route_class=BoundedRoute)


def _of_a_command(served: Served, site: Site, told: dict[str, Any], _log: str) -> Answered:
    return ask(function_of(served), site.program, told)


def _of_a_log(_: Served, site: Site, told: dict[str, Any], log: str) -> Answered:
    return answer_to_text(site.program, "log", log.encode("utf-8", "replace"), **told)


def _of_a_table(_: Served, _site: Site, told: dict[str, Any], _log: str) -> Answered:
    made = table_of(told.pop("refrigerants") or [], **told)
    return Answered(lambda: json.loads(as_json(made, told["units"])), lambda _: None)


@dataclass(frozen=True, slots=True)
class Served:
    """A command that the API runs.

    Attributes:
        path: below `/api/v1/`.
        place: module:function of the command; its parameters describe what a request may say.
        options: what a request may say, by the names of the function's parameters.
        left_out: what it may not: files, folders, and how text is printed.
        keys: that always stand in the document.
        needed: lists of which one at least is wanted, though the command line has another way to say it.
        log: whether the request carries a log as text.
        asked: how it is asked.
    """

    path: str
    place: str
    options: tuple[str, ...]
    left_out: tuple[str, ...] = ("rules", "as_json", "verbose")
    keys: tuple[str, ...] = ("schema",)
    needed: tuple[str, ...] = ()
    log: bool = False
    asked: Callable[[Served, Site, dict[str, Any], str], Answered] = _of_a_command


_AIR: Final = ("altitude", "barometer", "units")
SERVED: Final = (
    Served(
        "saturation",
        "twogauge.cli.saturation:saturation",
        ("refrigerant", "value", *_AIR),
        ("as_json",),
        keys=("refrigerant", "given", "saturation", "grade"),
    ),
    Served(
        "table",
        "twogauge.cli.table:table",
        ("refrigerants", "by", "low", "high", "step", *_AIR),
        ("formats", "paper", "out", "every", "check"),
        ("format", "by", "units"),
        ("refrigerants",),
        asked=_of_a_table,
    ),
    Served(
        "charge",
        "twogauge.cli.charge:charge",
        (
            *("refrigerant", "label", "retrofit_from", "inside", "already", "ambient", "cylinder_temperature"),
            *("cylinder_holds", "tare", "low", "high", "profile", "system", "metering", "liquid_store", "low_port"),
            *("drive", "hose_volume", *_AIR),
        ),
        ("rules", "as_json", "verbose", "brief"),
    ),
    Served(
        "standing",
        "twogauge.cli.standing:standing",
        (
            *("refrigerant", "pressure", "coldest", "other_gauge", "volume", "charge", "profile", "gauge"),
            *("thermometer", *_AIR),
        ),
    ),
    Served(
        "hold",
        "twogauge.cli.hold:hold",
        (
            *("valved_off", "coldest", "volume", "refrigerant", "working_pressure", "system", "criterion"),
            *("resolution", "accuracy", "nitrogen", "test_pressure", "barometer_at_end", *_AIR),
        ),
        ("log", "rules", "as_json", "verbose", "plot"),
        log=True,
        asked=_of_a_log,
    ),
    Served(
        "oil",
        "twogauge.cli.oil:oil",
        ("refrigerant", "part", "drained", "system", "drive", "retrofit_from", "units"),
    ),
    Served(
        "cylinder/fill",
        "twogauge.cli.cylinder:fill",
        ("refrigerant", "water_capacity", "tare", "on_scale", *_AIR),
    ),
    Served(
        "cylinder/identify",
        "twogauge.cli.cylinder:identify",
        ("label", "pressure", "temperature", "gauge", "thermometer", *_AIR),
    ),
    Served(
        "plan",
        "twogauge.cli.plan:plan",
        (
            *("name", "refrigerant", "retrofit_from", "label", "ambient", "humidity", "system", "metering"),
            *("liquid_store", "altitude", "barometer", "units"),
        ),
        ("job", "rules", "as_json", "verbose"),
    ),
)


def function_of(served: Served) -> Any:
    """Return the function of a command."""
    module, _, name = served.place.partition(":")
    return getattr(importlib.import_module(module), name)


def request_model(served: Served) -> type[BaseModel]:
    """Return what a request may hold, made from the options of the command."""
    parameters = inspect.signature(function_of(served), eval_str=True).parameters
    told: dict[str, Any] = {}
    for name in served.options:
        parameter = parameters[name]
        annotation, *marks = (*get_args(parameter.annotation),)
        about = next((mark.help for mark in marks if getattr(mark, "help", None)), "")
        default: Any = ... if parameter.default is inspect.Parameter.empty else parameter.default
        if name == "units":
            annotation, default = UnitSet | None, None
        limits: dict[str, Any] = {"max_length": MOST_OF_A_LIST} if "list" in str(annotation) else {}
        if name in served.needed:
            annotation, default, limits = list[str], ..., {**limits, "min_length": 1}
        told[name] = (annotation, Field(default, description=about, **limits))
    if served.log:
        rows = "Times and pressures: CSV, YAML or typed rows."
        told["log"] = (str, Field(max_length=LONGEST_LOG, description=rows))
    title = "".join(part.capitalize() for part in served.path.replace("/", "_").split("_"))
    found: type[BaseModel] = create_model(f"{title}Request", __config__=STRICT, **told)
    return found


def answer_model(served: Served) -> type[BaseModel]:
    """Return the keys that always stand in the document of a command."""
    title = "".join(part.capitalize() for part in served.path.replace("/", "_").split("_"))
    keys = {"schema_" if key == "schema" else key: (Any, Field(alias=key)) for key in served.keys}
    about = f"What `twogauge {served.path.replace('/', ' ')}` prints as JSON."
    found: type[BaseModel] = create_model(f"{title}Answer", __config__=OPEN, __doc__=about, **keys)  # type: ignore[call-overload]
    return found


def _add(served: Served) -> None:
    model = request_model(served)
    about = (inspect.getdoc(function_of(served)) or "").partition("\n\n")[0]

    async def endpoint(told: Any, site: Annotated[Site, Depends(site_of)]) -> Response:
        given = {name: getattr(told, name) for name in served.options}
        if "units" in given:
            given["units"] = given["units"] or site.settings.units
        log = told.log if served.log else ""
        try:
            return answer(await site.work(lambda: served.asked(served, site, dict(given), log).document()))
        except (FileProblems, ReadingError):
            raise  # they tell their fields themselves
        except (InputError, RangeError) as error:
            values = {name: value if isinstance(value, list) else [value] for name, value in given.items()}
            return problem(422, str(error), [{"field": subject_of(error, values, {}), "detail": str(error)}])

    endpoint.__annotations__["told"] = model
    endpoint.__name__ = f"post_{served.path.replace('/', '_')}"
    router.add_api_route(
        f"/{served.path}",
        endpoint,
        methods=["POST"],
        response_model=None,
        responses={200: {"model": answer_model(served)}},
        description=about,
    )


class Known(BaseModel):
    """One refrigerant of the list."""

    model_config = OPEN
    id: str
    title: str
    grade: str


@router.get("/refrigerants", response_model=None, responses={200: {"model": list[Known]}})
async def get_refrigerants(site: Annotated[Site, Depends(site_of)]) -> Response:
    """List the refrigerants."""
    return answer(await site.work(lambda: ask(refrigerants, site.program, {}).document()))


@router.get("/refrigerants/{name}", response_model=None, responses={200: {"model": Known}})
async def get_refrigerant(name: str, site: Annotated[Site, Depends(site_of)]) -> Response:
    """Tell all about one."""
    try:
        return answer(await site.work(lambda: ask(refrigerants, site.program, {"name": name[:100]}).document()))
    except InputError as error:
        raise HTTPException(404, str(error)) from None


for _served in SERVED:
    _add(_served)
