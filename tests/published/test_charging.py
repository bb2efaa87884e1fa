"""Amounts after a retrofit, fillings of cylinders and the content of a hose against what is published or worked by hand."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from twogauge import refrigerants
from twogauge.service.charge import plan
from twogauge.service.charge_parts import Job
from twogauge.service.cylinder import safe_fill, water_density
from twogauge.service.retrofit import retrofit

PUBLISHED = yaml.safe_load((Path(__file__).parent / "data" / "charging.yaml").read_text("utf-8"))
LB = 0.45359237
R12, R134A = refrigerants.get("R12"), refrigerants.get("R134a")


@pytest.mark.parametrize("row", PUBLISHED["retrofit_r12_to_r134a"]["rows"], ids=lambda row: f"{row['label_lb']} lb")
def test_both_rules_give_what_they_say(row):
    share, less, _ = retrofit(R12, R134A, row["label_lb"] * LB, "car_ac").methods
    assert [share.low / LB, share.high / LB] == pytest.approx(row["share_lb"], abs=1e-6)
    assert less.low / LB == pytest.approx(row["less_lb"], abs=1e-6)
    assert round(100 * less.low / (row["label_lb"] * LB)) == row["less_percent"]


@pytest.mark.parametrize("row", PUBLISHED["cylinders"]["rows"], ids=lambda row: f"{row['water_capacity_lb']} lb")
def test_a_cylinder_holds_four_fifths_of_its_water_capacity(row):
    fill = safe_fill(R134A, row["water_capacity_lb"] * LB / water_density())
    assert fill.by_weight / LB == pytest.approx(row["most_lb"], abs=1e-6)
    assert fill.most == fill.by_weight


def test_a_usual_hose_holds_what_bore_and_density_say():
    hose = PUBLISHED["hose"]
    amount = plan(Job(R134A, label=1.0, container=298.15, hoses=hose["volume_mL"] * 1e-6)).amount
    assert amount.in_hoses_liquid * 1000 == pytest.approx(hose["liquid_g"], rel=0.02)
    low, high = hose["vapour_g"]
    assert low < amount.in_hoses_gas * 1000 < high


def test_the_guidance_of_the_two_rules_meets_at_two_and_a_half_pounds():
    share, less, _ = retrofit(R12, R134A, 2.5 * LB, "car_ac").methods
    assert less.low == pytest.approx(share.low)
