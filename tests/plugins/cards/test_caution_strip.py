"""The caution strip: one line with the hazards of the chosen point."""

from __future__ import annotations

import pytest
from pinfolio.data_demo import chip_files
from pinfolio.loaders.chip_files.chip_file import load_chip
from pinfolio.plugins.cards.caution_strip import summarise_cautions
from pinfolio.schema import Chip


def test_a_chip_is_summed_up_with_the_points_not_to_be_probed(jungle: Chip) -> None:
    assert summarise_cautions(jungle) == (
        "Live chassis: isolation transformer on, scope earth off the chassis. Stored charge."
        " Two points not to be probed."
    )


def test_at_a_crystal_the_probe_is_named(jungle: Chip) -> None:
    assert summarise_cautions(jungle, "pin 46").endswith(
        "Use the x10 probe here: a x1 probe stops the oscillator."
    )


def test_the_far_side_of_a_crystals_capacitor_is_no_place_for_a_x1_probe_either() -> None:
    decoder = next(c for path in chip_files() if (c := load_chip(path)).part == "KYE4728")
    # Common practice: 20 pF load a crystal, a x1 lead has 100 pF.
    assert "Use the x10 probe here" in summarise_cautions(decoder, "crystal-node")
    assert "x10" not in summarise_cautions(decoder, "apc-node")


def test_a_point_with_a_hazard_tells_it_first_sentence_only(jungle: Chip) -> None:
    (own,) = [hazard for hazard in jungle.hazards if hazard.at == "pin 24"]
    told = summarise_cautions(jungle, "pin 24")
    assert own.caution.split(". ")[0] in told


@pytest.mark.parametrize(("spaces", "is_whole"), [(0, True), (1, False)])
def test_a_caution_of_ninety_characters_is_shown_whole(
    chip: Chip, spaces: int, is_whole: bool
) -> None:
    caution = f"{'60 V here'.ljust(44 + spaces, '!')}. {'Discharge it'.ljust(44, '!')}"
    assert len(caution) == 90 + spaces
    hazards = [
        hazard.model_copy(update={"caution": caution}) if hazard.at == "pin 4" else hazard
        for hazard in chip.hazards
    ]
    words = summarise_cautions(chip.model_copy(update={"hazards": tuple(hazards)}), "pin 4")
    assert "60 V here" in words
    assert ("Discharge it" in words) == is_whole


def test_a_point_that_must_not_be_probed_says_so(jungle: Chip) -> None:
    barred = next(hazard.at for hazard in jungle.hazards if not hazard.probe)
    assert barred is not None
    assert summarise_cautions(jungle, barred).endswith("Do not probe this point.")


def test_a_chip_without_hazards_is_treated_as_live(jungle: Chip) -> None:
    harmless = jungle.model_copy(update={"hazards": ()})
    assert summarise_cautions(harmless).startswith("Is the chassis live? Isolation transformer on")
