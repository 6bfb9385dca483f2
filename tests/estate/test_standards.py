import pytest

from estate.figures import load_figures
from estate.standards import standard_named, standards
from layers.errors import SettingError, UnreadableError

# Trade figures as published (secondary copies, see each standard's source).
PUBLISHED = {
    "india": ("budded", 50.0, 125.0, 0.70),  # Rubber Board (India)
    "viet-nam": ("budded", 50.0, 100.0, 0.70),  # technical process for tapping 2004, art. 88
    "thailand": ("budded", 50.0, 150.0, 0.50),  # Rubber Authority of Thailand, nid=5332
    "china": ("budded", 50.0, 100.0, 0.50),  # NY/T 1088-2006
    "china-cold": ("budded", 45.0, 100.0, 0.50),  # NY/T 1088-2006
    "indonesia": ("budded", 45.0, 100.0, 0.60),  # national guidance
    "common-practice": ("seedling", 45.0, 50.0, 0.70),  # common practice, no source
}


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_opening_standards(name):
    material, girth_cm, height_cm, share = PUBLISHED[name]
    standard = standard_named(name)
    assert standard.girth_cm[material] == girth_cm
    assert standard.height_cm[material] == height_cm
    assert standard.share == share


def test_indian_seedlings_and_bark_minima():
    assert standard_named("india").girth_cm["seedling"] == 55.0
    assert standard_named("india").height_cm["seedling"] == 50.0
    assert standard_named("viet-nam").bark_mm == 6.0
    assert standard_named("indonesia").bark_mm == 7.0
    assert standard_named("india").bark_mm is None


def test_an_unknown_standard_lists_the_known_ones():
    with pytest.raises(SettingError, match="common-practice, india"):
        standard_named("nowhere")


def test_own_standard_is_added_and_range_checked(tmp_path):
    own = tmp_path / "own.toml"
    text = """
[hill-group]
title = "Hill group"
girth_cm = { budded = 48.0, seedling = 50.0 }
height_cm = { budded = 100.0, seedling = 50.0 }
measured_from = "ground"
share = 0.6
mature_year = 15.0
source = "the group's meeting"
"""
    own.write_text(text)
    assert standards(own=own)["hill-group"].girth_cm["budded"] == 48.0
    own.write_text(text.replace("0.6", "60"))
    with pytest.raises(SettingError, match="share = 60"):
        standards(own=own)


def test_own_figures_replace_and_keep_their_unit(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[marking]\npanel_gap = 2.5\n")
    assert load_figures("marking", own=own)["panel_gap"].value == 2.5
    own.write_text('[marking.panel_gap]\nvalue = 25\nunit = "mm"\n')
    with pytest.raises(SettingError, match="in cm"):
        load_figures("marking", own=own)
    own.write_text("[marking]\nnonsense = 1\n")
    with pytest.raises(SettingError, match="nonsense"):
        load_figures("marking", own=own)


@pytest.mark.parametrize("text", ["growth = 3\n", "[growt]\nx = 1\n"])
def test_a_table_of_figures_that_isnt_one_is_named(tmp_path, text):
    own = tmp_path / "own.toml"
    own.write_text(text)
    with pytest.raises(SettingError, match="growth, light"):
        load_figures("marking", own=own)


def test_a_file_that_isnt_toml_is_named_with_the_remedy(tmp_path):
    own = tmp_path / "own.toml"
    own.write_text("[marking\n")
    for read in (lambda: load_figures("marking", own=own), lambda: standards(own=own)):
        with pytest.raises(UnreadableError, match=r"own\.toml.*Mend the line") as caught:
            read()
        assert "line 1" in str(caught.value)
