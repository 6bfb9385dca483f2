import datetime
from dataclasses import replace

import pandas as pd
import pytest

from estate.panels import life_plans
from layers.errors import SettingError
from reports.sheets import (
    cord_table,
    facing_report,
    field_form,
    member_statement,
    opening_report,
    panel_life,
    wall_calendar,
)
from reports.words import LANGUAGES, teller_in
from tests.reports.pages import texts
from tests.reports.small_plan import MEMBERS, small_plan


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4, rows=8, trees_a_row=12)


def test_the_opening_report_names_every_block_and_its_decision(plan, tmp_path):
    said = "\n".join(texts(opening_report(plan, tmp_path / "opening.pdf")))
    for block in plan.readiness.itertuples():
        line = next(line for line in said.splitlines() if line.startswith(block.block_id))
        assert block.decision in line
        assert f"{100 * block.low:.0f}–{100 * block.high:.0f}" in line


def test_the_cord_table_is_one_page_and_agrees_with_the_folded_cord(plan, tmp_path):
    pages = texts(cord_table(tmp_path / "cords.pdf", standard=plan.standard, on=plan.on))
    assert len(pages) == 1
    # By hand: 50 cm folded in two is 25 cm; less 1 cm each side 23 cm; the marks on the
    # folded cord lie 1 and 24 cm from its end; 23 / cos 30 deg = 26.6 cm;
    # 23 x tan 30 deg = 13.3 cm.
    assert "50 2 25.0 1.0; 24.0 26.6 13.3" in pages[0]


def test_the_field_form_lists_the_trees_to_tape_in_walking_order(plan, tmp_path):
    trees = plan.layers.trees
    chosen = trees[trees["block_id"] == "B01"].iloc[[40, 3, 17]].assign(stop_no=[3, 1, 2])
    said = texts(field_form(plan, "B01", chosen, tmp_path / "form.pdf"))[0].splitlines()
    lines = [line.split()[:3] for line in said if line[:2] in ("1 ", "2 ", "3 ")]
    assert lines == [["1", "1", "4"], ["2", "2", "6"], ["3", "4", "5"]]


def test_a_members_statement_has_their_blocks_only(plan, tmp_path):
    said = texts(member_statement(plan, MEMBERS[0], tmp_path / "member.pdf"))[0]
    assert "B01" in said
    assert "B02" not in said


def test_an_unknown_member_is_refused(plan, tmp_path):
    with pytest.raises(SettingError, match="Nobody"):
        member_statement(plan, "Nobody", tmp_path / "member.pdf")


def test_the_wall_calendar_has_each_morning_of_a_tapper(plan, tmp_path):
    path = wall_calendar(plan, tmp_path / "own.pdf", tapper_id="A1")
    said = texts(path)[0]
    own = plan.roster[plan.roster["tapper_id"] == "A1"]
    assert said.count("min") == (own["kind"] == "tap").sum()
    assert said.count("rest") == (own["kind"] == "rest").sum()


def test_the_shed_calendar_has_every_tapper(plan, tmp_path):
    said = texts(wall_calendar(plan, tmp_path / "wall.pdf"))[0]
    first = plan.on.strftime("%-d %a")
    line = next(line for line in said.splitlines() if line.startswith(first))
    assert line.split()[2:] == ["B01-T1", "B02-T1"]
    assert datetime.date(2026, 3, 2) == plan.on


def test_the_life_plan_lists_every_panel_of_every_year(plan, tmp_path):
    blocks = plan.layers.blocks[["block_id", "planted_on"]].iloc[:2]
    life = life_plans(blocks, plan.on)
    path = panel_life(life, tmp_path / "life.pdf", name=plan.name, on=plan.on)
    said = "\n".join(texts(path))
    for block_id, own in life.groupby("block_id"):
        assert f"block {block_id}" in said
        for panel in own["panel"].unique():
            assert panel in said
    assert said.count("→") == len(life)


def test_the_facing_report_gives_each_block_its_reason(plan, tmp_path):
    said = " ".join(texts(facing_report(plan, tmp_path / "facing.pdf")))
    said = " ".join(said.split())
    for block in plan.facing.itertuples():
        assert f"{block.block_id} " in said
    assert "What the sun on the bark says, and what the choice costs" in said
    assert all(word in said for word in plan.facing["reason"].iloc[0].split())


def test_the_opening_report_says_briefly_why_each_block_faces_as_it_does(plan, tmp_path):
    said = " ".join("\n".join(texts(opening_report(plan, tmp_path / "opening.pdf"))).split())
    reason = plan.facing["reason"].iloc[0]
    first = teller_in("en").tell_first(reason)
    assert reason.startswith(first)
    assert len(first) < len(reason)
    # The blocks' names stand beside the reason, so that lines of both are read in turn.
    assert all(word in said for word in first.split())
    assert "what a choice costs" in said


@pytest.mark.parametrize("language", [language for language in LANGUAGES if language != "en"])
def test_the_facing_report_speaks_the_readers_language(plan, tmp_path, language):
    said = " ".join(texts(facing_report(plan, tmp_path / "facing.pdf", language=language)))
    for reason in plan.facing["reason"]:
        assert reason not in " ".join(said.split())
    assert "common practice" not in said


def test_no_row_of_a_table_is_parted_by_the_end_of_a_page(plan, tmp_path):
    long = plan.facing.assign(reason=" ".join(["many words of one's own"] * 60))
    many = pd.concat([long.assign(block_id=long["block_id"] + f"-{n}") for n in range(4)])
    pages = texts(facing_report(replace(plan, facing=many), tmp_path / "long.pdf"))
    assert len(pages) > 1
    counts = [page.count("many") for page in pages]
    assert all(count % 60 == 0 for count in counts), counts
