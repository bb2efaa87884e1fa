"""The HTTP API: `/api/v1/`, the same documents as `--json`, described at `/api/v1/openapi.json`."""

from __future__ import annotations

from typing import Final

from fastapi import APIRouter

from twogauge.serve.api import commands, readings
from twogauge.serve.refusals import API, PROBLEMS

V1: Final = f"{API}v1"

router = APIRouter(prefix=V1, responses=PROBLEMS)
router.include_router(readings.router)
router.include_router(commands.router)
