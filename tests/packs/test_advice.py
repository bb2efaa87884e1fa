"""Advice is for the machine that stands there: a building's unit is not told of engines, a car not of thermostats."""

from __future__ import annotations

import re

import pytest

from twogauge.diagnosis import advice_for, program_for

OF_VEHICLES = re.compile(
    r"\b(engine|rpm|driver|belt|pulley|cabin|recirculation|radiator|vehicle|drive it)\b", re.IGNORECASE
)
OF_BUILDINGS = re.compile(r"\b(thermostat|contactor|duct|grille|hedge|line set|owner)\b", re.IGNORECASE)


@pytest.fixture(scope="module")
def stack():
    return program_for().stack


def shown(stack, system):
    """What a person beside such a machine reads of how to look at something."""
    return {
        name: " ".join(advice_for(loaded.entry.how, {"system": system}))
        for name, loaded in stack.checks.items()
        if system in loaded.entry.applies_to.get("system", (system,))
    }


@pytest.mark.parametrize("system", ["split_ac", "packaged_ac"])
def test_a_unit_of_a_building_is_not_told_of_engine_belt_and_driver(stack, system):
    told = shown(stack, system)
    told.pop("indoor_blower")  # its own belt
    assert {name: OF_VEHICLES.findall(text) for name, text in told.items() if OF_VEHICLES.search(text)} == {}


@pytest.mark.parametrize("system", ["car_ac", "bus_ac", "off_road_ac"])
def test_a_vehicle_is_not_told_of_thermostat_and_contactor(stack, system):
    told = shown(stack, system)
    assert {name: OF_BUILDINGS.findall(text) for name, text in told.items() if OF_BUILDINGS.search(text)} == {}


@pytest.mark.parametrize("system", ["split_ac", "car_ac", "cooler", "transport_refrigeration"])
def test_every_check_says_how_on_every_system_it_is_for(stack, system):
    assert [name for name, text in shown(stack, system).items() if len(text) < 40] == []


def test_each_reads_what_is_its_own_and_who_does_not_say_what_stands_there_reads_both(stack):
    how = stack.checks["vent_feel"].entry.how
    car, unit, either = (advice_for(how, words) for words in ({"system": "car_ac"}, {"system": "split_ac"}, {}))
    assert any("recirculation" in step for step in car)
    assert any("thermostat" in step for step in unit)
    assert set(either) == set(car) | set(unit)
    assert set(car) != set(unit)


def test_the_clutch_is_looked_at_on_vehicles_and_the_contactor_on_units(stack):
    for name in ("clutch", "clutch_voltage", "drive_belt", "heater_flow", "radiator", "speed_response"):
        assert "split_ac" not in stack.checks[name].entry.applies_to["system"], name
    assert "car_ac" not in stack.checks["contactor"].entry.applies_to["system"]
