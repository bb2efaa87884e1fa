"""Whether the cylinder can push into the system, and how far it cools while it is drawn from."""

from __future__ import annotations

import math
from typing import Final

from twogauge.errors import InputError
from twogauge.quantities import Dimension
from twogauge.refrigerants.properties import properties_of
from twogauge.service.charge_parts import Amount, Cooling, Job, Push
from twogauge.service.draw import Drawn, draw
from twogauge.service.facts import facts, number

ROOM: Final = 295.15  # [K] of a shop, where nothing is said
TENTH: Final = 0.1  # of what a cylinder holds: the cooling depends on the share alone
SHELL: Final = "shell_heat_capacity"


def container_of(job: Job) -> float:
    """Return the temperature of the cylinder [K]: as told, else that of the air, else of a shop."""
    if not math.isnan(job.container):
        return job.container
    return ROOM if math.isnan(job.ambient) else job.ambient


def push_of(job: Job) -> Push:
    """Tell whether the cylinder can push.

    Raises:
        InputError: a cylinder outside what is known of the refrigerant.
    """
    new, at = job.refrigerant, container_of(job)
    pressure = float(new.saturation_pressure(at, "bubble"))
    limit = number(facts("cylinder")["warming"]["limit"], Dimension.TEMPERATURE)
    if math.isnan(pressure):
        where = f"{new.title} at the cylinder's {at - 273.15:.0f} degC"
        if at >= new.temperature_max("bubble"):
            critical = new.critical_temperature - 273.15
            raise InputError(
                f"{where} is too close to its critical temperature of {critical:.0f} degC, or above: what the cylinder "
                "pushes with cannot be told from it; give --cylinder-temperature, and see its maker's procedure"
            )
        raise InputError(
            f"{where} is colder than anything known of it here; check --cylinder-temperature and its unit"
        )
    evaporating = number(facts("putting_in")["running_low_side"], Dimension.TEMPERATURE).value
    low = float(new.saturation_pressure(evaporating, "dew")) if math.isnan(job.low) else job.low
    properties = properties_of(new)
    return Push(
        container=at,
        pressure=pressure,
        limit=limit,
        pressure_at_limit=float(new.saturation_pressure(limit.value, "bubble")),
        hottest=number(facts("cylinder")["fill"]["hottest"], Dimension.TEMPERATURE),
        low=low,
        high=job.high,
        low_told=not math.isnan(job.low),
        liquid_to_gas=float(properties.liquid_density(evaporating) / properties.vapour_density(evaporating)),
    )


def cooling_of(job: Job, phase: Drawn, push: Push, amount: Amount | None) -> Cooling:
    """Tell how far the cylinder cools while it is drawn from."""
    bare = draw(job.refrigerant, 1.0, push.container, phase=phase)
    wanted = amount.stop if amount else math.nan
    known = not math.isnan(job.holds) and not math.isnan(wanted)
    after, pressure = math.nan, math.nan
    if known and wanted < job.holds:
        capacity = number(facts("cylinder")["warming"][SHELL], Dimension.NUMBER).value
        shell = 0.0 if math.isnan(job.tare) else job.tare * capacity
        after, pressure = draw(job.refrigerant, job.holds, push.container, phase=phase, shell=shell).after(wanted)
    return Cooling(
        phase=phase,
        by_a_tenth=push.container - bare.after(TENTH)[0],
        share_until_low=bare.until(push.low),
        drawn=wanted if known else math.nan,
        after=after,
        pressure_after=pressure,
        enough=not known or wanted < job.holds,
    )
