"""Cautions beside a work: those of the packs in force, and of the refrigerant what they do not say already."""

from __future__ import annotations

import pytest

from twogauge import refrigerants
from twogauge.diagnosis import cautions_of, program_for
from twogauge.errors import InputError
from twogauge.packs.words import WORKS
from twogauge.reading import Reading
from twogauge.service.cautions import cautions_beside

R134A, R12, R290 = (refrigerants.get(name) for name in ("R134a", "R12", "R290"))


@pytest.fixture(scope="module")
def stack():
    return program_for().stack


def ids(found):
    return [each.caution for each in found]


@pytest.mark.parametrize("work", WORKS)
def test_every_work_has_cautions_each_once(stack, work):
    found = ids(cautions_beside((work, work), stack))
    assert found
    assert len(found) == len(set(found))


def test_a_vacuum_is_no_place_for_a_running_compressor(stack):
    assert "no_start_in_a_vacuum" in ids(cautions_beside(("vacuum",), stack, R134A))
    assert "no_start_in_a_vacuum" not in ids(cautions_beside(("charge",), stack, R134A))


def test_what_does_not_concern_the_refrigerant_stays_away(stack):
    assert "phosgene_from_chlorine" in ids(cautions_beside(("charge",), stack, R12))
    assert "phosgene_from_chlorine" not in ids(cautions_beside(("charge",), stack, R134A))
    assert "flammable_refrigerant" in ids(cautions_beside(("charge",), stack, R290))
    assert "flammable_refrigerant" not in ids(cautions_beside(("charge",), stack, R134A))


def test_the_refrigerants_own_are_added_where_nothing_else_says_them(stack):
    without, with_own = (ids(cautions_beside(("charge",), stack, R12, own=own)) for own in (False, True))
    assert set(without) < set(with_own)
    added = set(with_own) - set(without)
    assert "refrigerant.never_mix" in added
    assert "refrigerant.frostbite" not in added  # goggles and gloves say it


def test_a_pack_of_a_shop_may_put_its_own_beside_a_work(tmp_path):
    (tmp_path / "pack.yaml").write_text(
        "pack: our_shop\nbuilds_on: {common: 1}\ncautions:\n  bay_three:\n    short: Bay three only.\n"
        "    text: Charge in bay three only.\n    beside: [charge]\n    source: our own experience\n",
        "utf-8",
    )
    found = cautions_beside(("charge",), program_for((str(tmp_path),)).stack, R134A)
    assert "Bay three only." in [each.short for each in found]


# Formulas by hand, of pure fluids and of the components of blends by the names of the catalogue.
FORMULAS = {
    "R134a": "C2H2F4", "R1234yf": "C3H2F4", "R12": "CCl2F2", "R152a": "C2H4F2", "R152A": "C2H4F2", "R744": "CO2",
    "R22": "CHClF2", "R32": "CH2F2", "R290": "C3H8", "R600a": "C4H10", "R600": "C4H10", "R1270": "C3H6", "R717": "NH3",
    "R125": "C2HF5", "R143a": "C2H3F3", "R115": "C2ClF5", "R11": "CCl3F", "R114": "C2Cl2F4", "R123": "C2HCl2F3",
    "R124": "C2HClF4", "R227ea": "C3HF7", "R227EA": "C3HF7", "R236fa": "C3H2F6", "R245fa": "C3H3F5",
    "R1233zd(E)": "C3H2ClF3", "R1234ze(E)": "C3H2F4", "R13I1": "CF3I", "n-Butane": "C4H10", "IsoButane": "C4H10",
    "CarbonDioxide": "CO2",
}  # fmt: skip
FLAMES = ("no_flames", "phosgene_from_chlorine", "flammable_refrigerant", "flammable_search", "flammable_brazing")


@pytest.mark.parametrize("name", refrigerants.names())
def test_acid_gas_comes_from_fluorine_phosgene_from_chlorine_and_fire_from_its_class(stack, name):
    of = refrigerants.get(name)
    holds = "".join(FORMULAS[part] for part in of.composition or (name,))
    told = {each.caution for each in cautions_of(FLAMES, stack, Reading({"refrigerant": name}))}
    burns = not of.safety_class.endswith("1")
    wanted = {"no_flames": "F" in holds, "phosgene_from_chlorine": "Cl" in holds, "flammable_refrigerant": burns}
    wanted |= {"flammable_search": burns, "flammable_brazing": burns}
    assert {caution: caution in told for caution in FLAMES} == wanted


def test_of_an_unknown_refrigerant_all_is_told(stack):
    assert {each.caution for each in cautions_of(FLAMES, stack, Reading({}))} == set(FLAMES)


def test_whoever_is_warned_of_a_flame_is_warned_of_what_burns(stack):
    for kind in (stack.faults, stack.checks):
        for name, loaded in kind.items():
            told = set(loaded.entry.cautions)
            assert "no_flames" not in told or told & {"flammable_refrigerant", "flammable_search"}, name


def test_a_caution_may_be_for_some_machines_only_and_a_word_nobody_knows_is_told(tmp_path):
    text = (
        "pack: our_shop\nbuilds_on: {common: 1}\napplies_to: {system: bus_ac}\ncautions:\n  roof:\n"
        "    short: No step on the roof.\n    text: No step on the roof.\n    applies_to: {system: [bus_ac]}\n"
        "    beside: [charge]\n    source: our own experience\n  all:\n    short: Tidy up.\n    text: Tidy up.\n"
        "    beside: [charge]\n    source: our own experience\n"
    )
    (tmp_path / "pack.yaml").write_text(text, "utf-8")
    stack = program_for((str(tmp_path),)).stack
    for system, wanted in (("bus_ac", ["roof", "all"]), ("car_ac", ["all"])):
        assert ids(cautions_of(["roof", "all"], stack, Reading({"system": system}))) == wanted
    wrong = tmp_path / "wrong"
    wrong.mkdir()
    (wrong / "pack.yaml").write_text(text.replace("[bus_ac]", "[bus_ad]"), "utf-8")
    with pytest.raises(InputError, match="did you mean 'bus_ac'"):
        program_for((str(wrong),))


def test_what_concerns_other_kinds_of_machine_stays_away(stack):
    works = ("oil", "electric_compressor")
    both = {"high_voltage_compressor", "mains_voltage"}
    of = {
        kind: both & set(ids(cautions_beside(works, stack, R134A, system=kind)))
        for kind in (None, "bus_ac", "cooler")
    }
    assert of == {None: both, "bus_ac": {"high_voltage_compressor"}, "cooler": {"mains_voltage"}}


@pytest.mark.parametrize("name", ["R1234yf", "R152a", "R290"])
def test_that_it_burns_is_told_once_and_what_is_special_about_it_as_well(stack, name):
    found = cautions_beside(("charge",), stack, refrigerants.get(name), own=True)
    said = [each.caution for each in found if "flammable" in each.caution]
    assert said == ["flammable_refrigerant", *(["refrigerant.highly_flammable"] if name == "R290" else [])]


def test_venting_is_told_with_the_law_of_more_than_one_place(stack):
    text = stack.cautions["recover_never_vent"].entry.text
    for place in ("USA", "European Union", "Great Britain", "Canada", "law of the place decides"):
        assert place in text
