import re
import string

import pytest
from hypothesis import given
from hypothesis import strategies as st

from estate.panels.notation import (
    Cut,
    CutSystem,
    Days,
    HarvestSystem,
    NotationError,
    PanelName,
    Period,
    Share,
    Stimulation,
    in_words,
    parse_notation,
    relative_intensity,
    tappings_per_year,
    write_notation,
)
from layers.errors import SettingError

# Each as a paper writes it, in the form of 2009; where seen stands beside it.
AS_PUBLISHED = [
    "S/2 d2",  # CIRAD dk=584774
    "S/3 d1 2d/3",  # Sainoi et al. 2017, Aust. J. Crop Sci. 11(2)
    "S/2 d3 ET 2.5% Pa1(1) 8/y (m)",  # the same
    "S/3 d2 ET 2.5% Pa1(1) 4/y (m)",  # the same
    "S/3 d3 ET 2.5% Pa1(1) 12/y (m)",  # the same
    "2xS/2 d2 (t,t)",  # Chantuma et al. 2016, CIRAD dk=584774
    "S/2 d4 7d/7 (t,t)",  # Chantuma et al. 2011, CIRAD dk=563189
    "S/2 d3 7d/7 ET 2.5% 4/y",  # Phearun et al. 2019, CIRAD dk=593890
    "S/2 d4 7d/7 ET 2.5% 5/y",  # the same
    "S/2 d5 7d/7 ET 3.3% 6/y",  # the same
    "S/2 (RG) d2",  # Zar Ni Zaw et al. 2016, CIRAD dk=582504
    "S/2D d3 + S/4U d3",  # summary of Viet Nam symbols
]

# As published with an older spelling or a misprint, and the form of 2009.
OTHERWISE_PUBLISHED = [
    ("S/2 d6 7d/7 ET 3.3 % 10/y", "S/2 d6 7d/7 ET 3.3% 10/y"),  # Phearun et al. 2019
    # Zar Ni Zaw et al. 2016
    ("S/2 (RG) d3 ET2.5% Pa1(1) 3/y (m)", "S/2 (RG) d3 ET 2.5% Pa1(1) 3/y (m)"),
    ("S/2 2d3", "S/2 d1 2d/3"),  # the same: two days in three
    # Gonçalves et al. 2000, Pesq. Agropec. Bras. 35(6)
    ("1/2S d/2 6d/7", "S/2 d2 6d/7"),
    ("1/2S d/4 6d/7.10m/y. ET 5,0% Ba 10/y", "S/2 d4 6d/7 10m/12 ET 5% Ba 10/y"),
    # Gonçalves et al. 2000, abstract: rounds without their stroke, and a system in short.
    ("1/2S d/4 6d/7.10m/y. ET 5,0% Ba 10y", "S/2 d4 6d/7 10m/12 ET 5% Ba 10/y"),
    ("1/2S d/6 ET 5%", "S/2 d6 ET 5%"),
    # Silva, Souza, Gonçalves et al., Viabilidade econômica de diferentes sistemas de sangria em
    # clones de seringueira, abstract: panel and lace both, months without a blank before them.
    ("½S d/3 6d/7.11m/y.ET 2,5% Pa La 8/y", "S/2 d3 6d/7 11m/12 ET 2.5% Pa La 8/y"),
    ("½S d/7 6d/7.11m/y.ET 5,0% Pa La 8/y", "S/2 d7 6d/7 11m/12 ET 5% Pa La 8/y"),
    ("½S d/2 6d/7.11m/y", "S/2 d2 6d/7 11m/12"),
    # CIRAD dk=574666, abstract.
    ("S/2d4 7d/7", "S/2 d4 7d/7"),
    # Abstract of a trial of clone RRIT 251 by Kasetsart University: a blank before the band.
    ("S/2 d3 ET 2.5 % Pa1 (1) 6/y", "S/2 d3 ET 2.5% Pa1(1) 6/y"),
]

MISPRINTS = [
    ("½S d/3", "S/2 d3"),
    ("1/2 S d/3", "S/2 d3"),
    ("S/2 D/3", "S/2 d3"),
    ("S/2 d3 7d7", "S/2 d3 7d/7"),
    ("S/2.d3.6d/7", "S/2 d3 6d/7"),
    ("S/2 d3 ET2,5% Pa1 (1) 10y", "S/2 d3 ET 2.5% Pa1(1) 10/y"),
    ("S/2 d3 B0-1", "S/2 d3 BO-1"),
    ("S/2 d3 B1-1", "S/2 d3 BI-1"),
    ("S/2 d3 BO1", "S/2 d3 BO-1"),
    ("S/2 d3 H0-2", "S/2 d3 HO-2"),
    ("S/2 d3 (BII-1)", "S/2 d3 BII-1"),
    ("S/2 d3 panel C", "S/2 d3 BI-1"),
    ("S/2 d3 (D)", "S/2 d3 BI-2"),
    ("S/2 d3 B", "S/2 d3 BO-2"),
    ("S/2 d3 ET 2.5% Pa1(1) 16/y*", "S/2 d3 ET 2.5% Pa1(1) 16/y"),
    ("2×S/2 d2 (t, t)", "2xS/2 d2 (t,t)"),
    ("s/2 d3", "S/2 d3"),
    ("S/4↑ d3", "S/4U d3"),
    ("S/2 ET 2.5% d3", "S/2 d3 ET 2.5%"),
    ("S/2 d3 10m/y", "S/2 d3 10m/12"),
    ("S/2 d3 APR-JAN", "S/2 d3 10m/12 (APR-JAN)"),
    ("S/2 d3 6d/7 APR-JAN (10m/12)", "S/2 d3 6d/7 10m/12 (APR-JAN)"),
    ("S/2 d3 ET 2.5% 6/8y", "S/2 d3 ET 2.5% 6/8/y"),
]


@pytest.mark.parametrize("text", AS_PUBLISHED)
def test_every_published_example_reads_and_prints_back_the_same(text):
    assert write_notation(parse_notation(text)) == text


@pytest.mark.parametrize(("text", "form"), OTHERWISE_PUBLISHED + MISPRINTS)
def test_older_spellings_and_misprints_print_in_the_form_of_2009(text, form):
    read = parse_notation(text)
    assert write_notation(read) == form
    assert read == parse_notation(form)
    assert read.original == text


def test_what_each_part_says():
    read = parse_notation("S/2 d3 ET 2.5% Pa1(1) 8/y (m)").cuts[0]
    assert read.cut == Cut(kind="S", part=2)
    assert read.every_days == 3
    # Sainoi et al. 2017: 2.5 % on the panel, 1 g on a band of 1 cm, 8 rounds a year, monthly.
    assert read.stimulation == Stimulation(
        percent=2.5, methods=("Pa",), grams=1.0, band_cm=1.0, rounds=8, spacing="m"
    )
    both = parse_notation("S/2D d3 + S/4U d3").cuts
    assert [cut.cut.direction for cut in both] == ["D", "U"]
    assert parse_notation("S/3 d1 2d/3").cuts[0].days == Days(tapped=2, of=3)


@pytest.mark.parametrize(
    ("text", "intensity"),
    # From memory: S/2 d2 100, S/2 d3 67, S/2 d4 50, S/4 d3 33.
    [("S/2 d2", 100), ("S/2 d3", 67), ("S/2 d4", 50), ("S/4 d3", 33), ("S d4", 100)],
)
def test_relative_intensity(text, intensity):
    assert round(relative_intensity(parse_notation(text))) == intensity


@pytest.mark.parametrize(
    "make",
    [
        lambda: Cut(part=0),
        lambda: Cut(kind="Mc"),
        lambda: Days(tapped=8, of=7),
        lambda: Period(months=13),
        lambda: Period(months=3, first=1, last=4),
        lambda: Share(done=5, of=4),
        lambda: PanelName(letter="B", bark="O", number=0),
        lambda: Stimulation(grams=1.0),
        lambda: Stimulation(percent=0.0),
        lambda: Stimulation(rounds=4, done=5),
        lambda: Stimulation(rounds=4, spacing="moon"),
        lambda: CutSystem(cut=Cut(), change=("t",)),
        lambda: CutSystem(cut=Cut(), change=("t", "x")),
        lambda: CutSystem(cut=Cut(), every_days=0),
        lambda: HarvestSystem(cuts=()),
    ],
)
def test_values_that_the_notation_has_not_are_refused(make):
    with pytest.raises(SettingError, match="expected"):
        make()


def test_intensity_of_combined_and_changed_cuts_and_periods():
    assert round(relative_intensity(parse_notation("S/2D d3 + S/4U d3"))) == 100
    assert round(relative_intensity(parse_notation("2xS/2 d2"))) == 200
    assert round(relative_intensity(parse_notation("2xS/2 d2 (t,t)"))) == 100
    read = parse_notation("S/2 d2 6d/7 10m/12")
    assert round(relative_intensity(read)) == 100
    # 100 x 6/7 x 10/12 = 71.4
    assert relative_intensity(read, with_periods=True) == pytest.approx(71.43, abs=0.01)
    mini = parse_notation("Mc2 d3")
    assert relative_intensity(mini, girth_cm=60.0) == pytest.approx(400 / 3 / 30)
    with pytest.raises(SettingError, match="girth"):
        relative_intensity(mini)


@pytest.mark.parametrize(("text", "days"), [("S/2 d2 6d/7", 156), ("S/2 d3 6d/7", 104)])
def test_tappings_of_a_year_with_a_weekly_rest(text, days):
    # Hand calculation: 52 weeks with 3 tappings (d2) and 2 tappings (d3) in six days.
    assert tappings_per_year(parse_notation(text).cuts[0]) == pytest.approx(days, abs=0.5)


@pytest.mark.parametrize(
    ("text", "position"),
    [
        ("", 0),
        ("   ", 3),
        ("Q/2 d3", 0),
        ("S/2 d3 XY", 7),
        ("S/2 d0", 4),
        ("S/2 d3 d4", 7),
        ("S/2 d3 8d/7", 7),
        ("S/2 d3 14m/12", 7),
        ("S/2 d3 9m/12 (APR-JAN)", 7),
        ("S/2 d3 ET 250%", 7),
        ("S/0 d3", 0),
        ("S/2 d3 D", 7),
        ("S/2 d3 + ", 9),
        ("S/2 d3 +", 8),
        ("S/2 d3 ET 2.5% ET 5%", 15),
        ("S/2 d3 (t)", 7),
        ("S/2 d3 104/98", 7),
    ],
)
def test_an_error_points_at_its_character(text, position):
    with pytest.raises(NotationError) as caught:
        parse_notation(text)
    assert caught.value.position == position
    lines = str(caught.value).splitlines()
    assert lines[-1].index("^") - 2 == position
    assert lines[-2] == f"  {text}"
    assert isinstance(caught.value, ValueError)


@pytest.mark.parametrize(
    ("text", "found", "example"),
    [
        ("S/2 d3 8d/7", "“8d/7” at character 8", "6d/7"),
        ("S/2 d3 8 d 7", "“8 d 7”, read as 8d/7, at character 8", "6d/7"),
        ("S/2 d0", "“d0” at character 5", "d3"),
        ("S/2 d3 14m/12", "“14m/12” at character 8", "10m/12"),
        ("S/2 d3 9m/12 (APR-JAN)", "“9m/12 (APR-JAN)” at character 8", "10 here"),
        ("S/2 d3 ET 250% 4/y", "read as a strength of 250 %, at character 8", "ET 2.5%"),
        ("S/2 d3 ET 2.5% 9/8/y", "read as 9 rounds done of 8 planned, at character 8", "7/8/y"),
        ("S/0 d3", "“S/0”, read as a part of 0, at character 1", "S/2"),
        ("S/2 d3 (1000t,t)", "read as (1000t,t), at character 1", "(8m,4m)"),
        ("S/2 d3 BO-99", "“BO-99” at character 8", "BO-1"),
        ("S/2 d3 104/98", "“104/98” at character 8", "98/104"),
    ],
)
def test_an_error_says_what_was_written_and_gives_an_example(text, found, example):
    with pytest.raises(NotationError) as caught:
        parse_notation(text)
    assert caught.value.fault.found.endswith(found)
    assert caught.value.fault.expected.endswith(example)


@given(st.text(alphabet=string.ascii_letters + string.digits + " ./(),%+-½", max_size=30))
def test_any_text_is_read_or_refused_with_a_place(text):
    refused = None
    try:
        read = parse_notation(text)
    except NotationError as error:
        refused = error
    if refused is None:
        assert parse_notation(write_notation(read)) == read
    else:
        assert 0 <= refused.position <= len(text)
        assert not re.search(r"None|\w\(\w+=|\('", refused.fault.found + refused.fault.expected)


def tenths(low, high):
    return st.integers(low * 10, high * 10).map(lambda whole: whole / 10)


spirals = st.builds(
    Cut,
    kind=st.sampled_from("SVC"),
    part=st.none() | st.integers(1, 8),
    number=st.integers(1, 4),
    direction=st.sampled_from(["", "D", "U"]),
)
minis = st.builds(Cut, kind=st.just("Mc"), part=st.none(), length_cm=tenths(1, 9))


@st.composite
def periods(draw):
    if draw(st.booleans()):
        return Period(months=draw(st.integers(1, 12)))
    first, last = draw(st.integers(1, 12)), draw(st.integers(1, 12))
    return Period(months=(last - first) % 12 + 1, first=first, last=last)


@st.composite
def stimulations(draw):
    methods = draw(st.lists(st.sampled_from(["Pa", "La", "Ba", "Ga", "Ta", "Sa"]), max_size=2))
    grams = draw(st.none() | tenths(1, 9)) if methods else None
    rounds = draw(st.none() | st.integers(1, 40))
    return Stimulation(
        agent=draw(st.sampled_from(["ET", "ETG", "RF"])),
        percent=draw(st.none() | tenths(1, 20)),
        methods=tuple(methods),
        grams=grams,
        band_cm=draw(st.none() | tenths(1, 5)) if grams else None,
        rounds=rounds,
        done=draw(st.none() | st.integers(0, rounds)) if rounds else None,
        spacing=draw(st.sampled_from(["", "m", "w", "2w"])) if rounds else "",
    )


@st.composite
def shares(draw):
    of = draw(st.integers(1, 200))
    return Share(done=draw(st.integers(0, of)), of=of)


names = st.builds(
    PanelName,
    letter=st.sampled_from("BH"),
    bark=st.sampled_from(["O", "I", "II", "III"]),
    number=st.integers(1, 8),
)
cut_systems = st.builds(
    CutSystem,
    cut=spirals | minis,
    every_days=st.integers(1, 9),
    days=st.none() | st.sampled_from([Days(tapped=6, of=7), Days(tapped=2, of=3)]),
    rain_guarded=st.booleans(),
    change=st.sampled_from([(), ("t", "t"), ("w", "w"), ("8m", "4m"), ("2w", "w", "w")]),
    period=st.none() | periods(),
    realised=st.none() | shares(),
    panels=st.lists(names, max_size=3).map(tuple),
    stimulation=st.none() | stimulations(),
    guard_place=st.sampled_from(["cut", "frequency"]),
)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        # Trade's reading of each: Chantuma et al. 2016; summary of Viet Nam symbols.
        (
            "2xS/2 d2 (t,t)",
            "two cuts, each a half spiral, downward, every second day, "
            "changed by turns of 1 tapping, 1 tapping",
        ),
        (
            "S/2D d3 + S/4U d3",
            "half spiral, downward, every third day; on the same day "
            "quarter spiral, upward, every third day",
        ),
        (
            "S/2 (RG) d5 10m/12 (APR-JAN) BI-2 ET 3.3% 3/6/y (2w)",
            "half spiral, downward, every 5 days, rain-guarded, 10 months of 12 "
            "(April to January), on BI-2 (first renewed bark); ethephon 3.3 %, "
            "3 of 6 rounds a year, every 2 weeks",
        ),
    ],
)
def test_a_system_is_said_in_words(text, words):
    assert in_words(parse_notation(text)) == words


@given(st.lists(cut_systems, min_size=1, max_size=3).map(tuple))
def test_every_system_can_be_said_in_words(cuts):
    said = in_words(HarvestSystem(cuts=cuts))
    assert said.count("; on the same day ") == len(cuts) - 1


@given(st.lists(cut_systems, min_size=1, max_size=3).map(tuple))
def test_every_system_reads_back_from_what_is_written(cuts):
    system = HarvestSystem(cuts=cuts)
    text = write_notation(system)
    assert parse_notation(text) == system
    assert write_notation(parse_notation(text)) == text
