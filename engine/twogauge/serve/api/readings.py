"""Readings over HTTP: a diagnosis, and what is normal today."""

from __future__ import annotations

import json
from typing import Annotated, Any

from fastapi import APIRouter, Depends
from pydantic import BaseModel
from starlette.responses import Response

from twogauge.diagnosis import diagnose
from twogauge.expect import expect
from twogauge.outlook import look_ahead
from twogauge.output import expectation
from twogauge.output.json import document
from twogauge.quantities import UnitSet
from twogauge.reading import Reading
from twogauge.serve.api.models import DiagnosisOut, ExpectationOut, ReadingIn
from twogauge.serve.site import Site, site_of

router = APIRouter(tags=["readings"])

Here = Annotated[Site, Depends(site_of)]


@router.post("/diagnose", response_model=None, responses={200: {"model": DiagnosisOut}})
async def post_diagnose(told: ReadingIn, site: Here) -> Response:
    """Rank the faults that fit a reading, with the reasons."""

    def work() -> dict[str, Any]:
        found = diagnose(_reading(told, site.settings.units), program=site.program)
        return document(found, look_ahead(found.reading, program=site.program))

    return answer(await site.work(work))


@router.post("/expect", response_model=None, responses={200: {"model": ExpectationOut}})
async def post_expect(told: ReadingIn, site: Here) -> Response:
    """Tell what is normal today, before anything is connected."""

    def work() -> dict[str, Any]:
        return expectation.document(expect(_reading(told, site.settings.units), site.program))

    return answer(await site.work(work))


def answer(found: Any) -> Response:
    """Return a document as JSON; a number that does not exist is null, never NaN."""
    content = json.dumps(found, allow_nan=False, ensure_ascii=False)
    return Response(content.encode("utf-8", "replace"), media_type="application/json")


def _reading(told: BaseModel, units: UnitSet) -> Reading:
    """Return the reading; no file can be named in it."""
    given = told.model_dump(exclude_none=True)
    return Reading(given, units=given.pop("units", units), folder=None)
