"""Cautions: what applies when, and that no number stands without a source and a place."""

import math
import re
import tomllib
from importlib.resources import files

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firing.errors import FiringError
from firing.safety import (
    DEFERENCE,
    FIGURES_NOTE,
    all_cautions,
    cautions_for,
)
from firing.schedule.schedule import PURPOSES
from firing.sources import load_sources, source

# Every figure that was read in its source, transcribed as (source id, jurisdiction, figure).
# Figures known only by hearsay or habit are not here and must not appear.
READ_IN_THE_SOURCE = {
    # OSHA chemical sampling information CH_225610 (29 CFR 1910.1000 Z-1), with NIOSH and ACGIH
    ("osha-ch-225610", "US", "50 ppm (55 mg/m3)"),
    ("osha-ch-225610", "US", "35 ppm; 200 ppm"),
    ("osha-ch-225610", "US (advisory)", "25 ppm"),
    # OSHA chemical sampling information CH_246500, with NIOSH; Cal/OSHA HEAC 2007 for ACGIH
    ("osha-ch-246500", "US", "3 ppm"),
    ("osha-ch-246500", "US", "3 ppm; 6 ppm; 30 ppm"),
    ("heac-hf-2007", "US (advisory)", "0.5 ppm; 2 ppm"),
    # NIOSH IDLH documentation for SO2 and a news summary of the limits
    ("niosh-idlh-so2", "US", "5 ppm (13 mg/m3)"),
    ("niosh-idlh-so2", "US", "2 ppm; 5 ppm; 100 ppm"),
    ("niosh-idlh-so2", "US (advisory)", "0.25 ppm"),
    # Hirtle et al., Am. Ind. Hyg. Assoc. J. 59(10) 706-714 (1998), kiln areas of 50 sites
    ("hirtle-1998", "Canada", "7 ppm"),
    ("hirtle-1998", "Canada", "0.152 ppm"),
    ("hirtle-1998", "Canada", "0.508 ppm"),
    ("hirtle-1998", "Canada", "0.102 ppm"),
    ("hirtle-1998", "Canada", "0.208; 0.114; 0.431; 0.291 ug/m3"),
    # EMC Insurance tech sheet 595; US EPA Region 7 case study
    ("emc-595", "US", "12-30 in (0.3-0.76 m)"),
    ("emc-595", "US", "250 cfm (118 L/s)"),
    ("epa-region-7", "US", "3 of 5"),
    # Silica: 29 CFR 1910.1053; CPWR; HSC 2006; IJERPH 11(2) 1250-1260 (2014)
    ("cfr-1910-1053", "US", "50; 25 ug/m3"),
    ("cpwr-silica", "US", "0.05; 0.025 mg/m3"),
    ("hsc-silica-2006", "UK", "0.1 mg/m3"),
    ("ijerph-2014", "US", "0.009; 0.008 mg/m3"),
    # Fibre: IARC Monograph 81; Reg. (EC) 1272/2008; CAREX Canada
    ("iarc-81", "international", "2B"),
    ("clp-1272-2008", "EU", "Carc. 1B"),
    ("carex-canada", "US (advisory) and Canada", "0.2 f/cc"),
    ("carex-canada", "international", "1000 °C"),
    # NEC: Article 100, 210.19(A)(1), 210.20(A)
    ("nec-article-100", "US", "3 h"),
    ("nec-210-19-a-1", "US", "125 %"),
    ("nec-210-20-a", "US", "125 %"),
    # UK education risk assessment; Avon and W. Wilts NHS Trust sheet 0044
    ("uk-education-risk-assessment", "UK", "450 mm"),
    ("uk-education-risk-assessment", "UK", "EN 407"),
    ("nhs-0044", "UK", "100 °C"),
}

# Figures in circulation that were not read in their source (remembered, or only practice): EH40
# values, NIOSH fibre limit, EU fibre limit, earth-leakage currents, filter shades, wall distances.
ONLY_REMEMBERED_OR_PRACTICE = (
    "20 ppm",
    "23 mg",
    "1200 ppm",
    "1.8 ppm",
    "0.5 f/cm3",
    "0.3 f/ml",
    "5 mA",
    "30 mA",
    "927",
    "1700",
    "305 mm",
    "12 in (",
    "406",
    "16 in",
    "1.7-2.5",
    "shade 3",
    "422.10",
    "425.4",
)

TOPICS = {"ventilation", "electricity", "control", "fire", "burns", "eyes", "dust"}


def ids(peak_c: float, purpose: str) -> set[str]:
    return {caution.id for caution in cautions_for(peak_c, purpose)}


def test_every_topic_and_every_gas_is_covered() -> None:
    assert {caution.topic for caution in all_cautions()} == TOPICS
    names = [caution.id for caution in all_cautions()]
    assert len(set(names)) == len(names)
    assert {
        "free-water",
        "bound-water",
        "organics",
        "carbon-monoxide",
        "sulphur",
        "fluorine",
        "metal-fume",
    } <= set(names)


def test_every_figure_was_read_in_its_source(subtests: pytest.Subtests) -> None:
    for caution in all_cautions():
        with subtests.test(caution.id):
            for figure in caution.figures:
                assert (figure.source, figure.jurisdiction, figure.figure) in READ_IN_THE_SOURCE
                assert source(figure.source).kind in ("standard", "published")
                assert figure.jurisdiction


def test_words_carry_no_number(subtests: pytest.Subtests) -> None:
    for caution in all_cautions():
        with subtests.test(caution.id):
            assert not re.search(r"\d", caution.heading + caution.text)


def test_every_basis_and_window_has_a_source(subtests: pytest.Subtests) -> None:
    known = load_sources()
    for caution in all_cautions():
        with subtests.test(caution.id):
            assert caution.sources
            assert set(caution.sources) <= set(known)
            assert (caution.applies_c is None) == (caution.window_source is None)
            if caution.window_source is not None and caution.applies_c is not None:
                assert caution.window_source in known
                assert caution.applies_c[0] < caution.applies_c[1]


def test_no_figure_that_is_only_remembered_or_practice() -> None:
    shown = "\n".join(line for caution in all_cautions() for line in caution.lines())
    found = [
        text
        for text in ONLY_REMEMBERED_OR_PRACTICE
        if re.search(rf"(?<![\d.]){re.escape(text)}", shown)
    ]
    assert found == []


def test_a_legal_figure_is_tied_to_its_place(subtests: pytest.Subtests) -> None:
    for caution in all_cautions():
        with subtests.test(caution.id):
            for figure in caution.figures:
                # A limit must read as one place's limit even when the line is quoted alone.
                assert figure.line().startswith(f"{figure.jurisdiction}: ")
                if re.search(r"\b(legal|law|exposure limit)\b", figure.what):
                    assert "there" in figure.what


def test_lines_and_dict_carry_text_window_figures_and_sources(subtests: pytest.Subtests) -> None:
    for caution in all_cautions():
        with subtests.test(caution.id):
            shown = "\n".join(caution.lines())
            data = caution.to_dict()
            assert data["id"] == caution.id
            assert len(data["figures"]) == len(caution.figures)
            assert caution.heading in shown
            assert caution.text in shown
            for name, citation in zip(data["sources"], data["citations"], strict=True):
                # A practice is named by its id; what can be looked up elsewhere is cited in full.
                assert (
                    citation if source(name).kind in ("standard", "published") else name
                ) in shown
            for figure in data["figures"]:
                assert figure["figure"] in shown
                assert figure["citation"] in shown
                assert figure["jurisdiction"]
            if caution.applies_c is not None:
                assert f"{caution.applies_c[1]:.0f} °C" in shown


def test_a_window_from_practice_or_memory_says_so() -> None:
    by_id = {caution.id: caution for caution in all_cautions()}
    assert "Common practice, no source" in by_id["organics"].window()
    assert "Not checked against a source" in by_id["fluorine"].window()
    assert "Vaughan" in by_id["bound-water"].window()


def test_a_decal_plan_smokes_and_fumes_but_gives_off_no_fluorine_or_sulphur() -> None:
    named = ids(745.0, "decal")
    assert {"organics", "metal-fume", "carbon-monoxide", "free-water"} <= named
    assert not {"fluorine", "sulphur", "bound-water"} & named
    windows = {c.id: c.applies_c for c in cautions_for(745.0, "decal")}
    assert windows["organics"] == (150.0, 745.0)


def test_a_bisque_gives_off_water_of_both_kinds_sulphur_and_fluorine() -> None:
    assert {"free-water", "bound-water", "organics", "sulphur", "fluorine"} <= ids(900.0, "bisque")


def test_a_glaze_firing_of_bisqued_ware_has_no_bound_water_left() -> None:
    named = ids(1240.0, "glaze")
    assert "bound-water" not in named
    assert {"sulphur", "fluorine", "metal-fume"} <= named


def test_drying_without_firing_gives_off_steam_only() -> None:
    windows = {c.id for c in cautions_for(75.0, "other") if c.applies_c is not None}
    assert windows == {"free-water"}


@pytest.mark.parametrize("purpose", PURPOSES)
def test_what_does_not_hang_on_temperature_goes_with_every_plan(purpose: str) -> None:
    always = {
        "room-air",
        "isolation",
        "licensed-electrician",
        "dedicated-circuit",
        "earth-leakage",
        "over-temperature",
        "attended-end",
        "fire-clearance",
        "hot-casing",
        "opening",
        "eyes",
        "silica-dust",
        "ceramic-fibre",
    }
    assert always <= ids(75.0, purpose)


@given(peak_c=st.floats(0.0, 1450.0), purpose=st.sampled_from(PURPOSES))
def test_no_window_reaches_above_the_peak_or_is_empty(peak_c: float, purpose: str) -> None:
    for caution in cautions_for(peak_c, purpose):
        assert purpose in caution.purposes
        if caution.applies_c is not None:
            lo_c, hi_c = caution.applies_c
            assert lo_c < hi_c <= peak_c


@given(low_c=st.floats(0.0, 1450.0), high_c=st.floats(0.0, 1450.0))
def test_a_hotter_plan_never_loses_a_caution(low_c: float, high_c: float) -> None:
    low_c, high_c = sorted((low_c, high_c))
    for purpose in PURPOSES:
        assert ids(low_c, purpose) <= ids(high_c, purpose)


def test_an_unknown_purpose_is_refused_with_the_list() -> None:
    with pytest.raises(FiringError, match=r"bisqe.*bisque, glaze, once-fired, decal, other"):
        cautions_for(900.0, "bisqe")


@pytest.mark.parametrize("peak_c", [math.nan, math.inf])
def test_a_peak_that_is_no_number_is_refused(peak_c: float) -> None:
    with pytest.raises(FiringError, match="°C"):
        cautions_for(peak_c, "glaze")


def test_the_deference_names_codes_manual_licence_and_that_nothing_is_switched() -> None:
    for words in ("local codes", "manual", "licensed", "only reads", "never switches"):
        assert words in DEFERENCE
    assert DEFERENCE.count(".") == 1
    assert "where it comes from" in FIGURES_NOTE


def test_the_file_has_no_unknown_keys() -> None:
    text = files("firing").joinpath("data/safety.toml").read_text(encoding="utf-8")
    entries = tomllib.loads(text)["caution"]
    allowed = {
        "id",
        "topic",
        "heading",
        "text",
        "sources",
        "purposes",
        "applies_c",
        "window_source",
        "figure",
    }
    for entry in entries:
        assert set(entry) <= allowed
        assert set(entry.get("purposes", PURPOSES)) <= set(PURPOSES)
