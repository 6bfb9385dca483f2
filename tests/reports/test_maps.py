"""The maps as people use them: opened with the network cut, tapped, searched, read by keyboard."""

import re
from dataclasses import replace
from html.parser import HTMLParser

import numpy as np
import pytest

from layers.errors import GeometryError, SettingError
from reports.maps import ENGLISH, block_map, overview_map
from tests.browser import DESKTOP, PHONE, browser, opened, until
from tests.reports.small_plan import small_plan

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4)


@pytest.fixture(scope="module")
def pages(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("maps")
    return {
        "young": block_map(plan, "B01", folder / "young.html", overview_page="all.html"),
        "mature": block_map(plan, "B02", folder / "mature.html"),
        "overview": overview_map(plan, folder / "all.html", block_pages={"B01": "young.html"}),
    }


@pytest.fixture(scope="module")
def chromium():
    with browser() as opened_browser:
        yield opened_browser


@pytest.fixture(scope="module")
def young(chromium, pages):
    with opened(chromium, pages["young"], touch=True) as held:
        yield held.page


@pytest.fixture(scope="module")
def overview(chromium, pages):
    with opened(chromium, pages["overview"], touch=True) as held:
        yield held.page


def sheet_text(page):
    return " ".join(page.inner_text(".sheet").split())


def tap_tree(page, tree_id):
    """Tap the map where a tree stands, as a finger would."""
    page.evaluate("fieldView.frame.openName && fieldView.frame.close()")
    x, y = page.evaluate(
        """(id) => {
            const tree = fieldView.trees.find((one) => one.id === id);
            fieldView.map.setView(tree.at, 20.5, { animate: false });
            const at = fieldView.map.latLngToContainerPoint(tree.at);
            return [at.x, at.y];
        }""",
        tree_id,
    )
    page.mouse.click(x, y)
    page.wait_for_selector(".sheet[data-page=tree]")


@pytest.mark.parametrize("name", ["young", "mature", "overview"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_page_opens_with_the_network_cut(chromium, pages, name, size):
    with opened(chromium, pages[name], size=size) as held:
        outside = [url for url in held.requests if not url.startswith(("file:", "data:"))]
        assert held.faults == []
        assert outside == []


class OutsideLinks(HTMLParser):
    """Collects what a page's markup and styles ask for; scripts are judged by what they do."""

    def __init__(self):
        super().__init__()
        self.asked = []
        self.inside = ""

    def handle_starttag(self, tag, attrs):
        self.inside = tag
        self.asked += [value for name, value in attrs if name in ("src", "href", "srcset")]

    def handle_data(self, data):
        if self.inside == "style":
            self.asked += re.findall(r"@import[^;]*|url\((?!#|data:)[^)]*\)", data)


def test_the_markup_and_styles_ask_for_no_file(pages):
    for page in pages.values():
        links = OutsideLinks()
        links.feed(page.read_text("utf-8"))
        assert links.asked == []


def test_a_tapped_tree_tells_all_that_the_plan_knows(plan, young):
    tree_id = plan.tasks["tree_id"].iloc[30]
    tap_tree(young, tree_id)
    told = sheet_text(young)
    girth = plan.girths.set_index("tree_id").loc[tree_id]
    task = plan.tasks.set_index("tree_id").loc[tree_id]
    panels = plan.panels[plan.panels["tree_id"].eq(tree_id)]
    reason = plan.classes.set_index("tree_id").loc[tree_id, "reason"]
    assert "Ready" in told
    assert reason in told
    assert f"{girth.girth_cm:.1f} cm ± {girth.se_cm:.1f} cm" in told
    assert ENGLISH[girth.girth_source] in told
    assert f"Task {task.task_id}, stop {task.stop_no} of" in told
    for panel in panels.itertuples():
        assert f"Panel {panel.panel} · {panel.panel_no} of {panel.panel_count}" in told
        assert f"Cut, high left {panel.top_cm:.0f} cm" in told
        assert f"Cut, low right {panel.foot_cm:.0f} cm" in told
        assert f"Cut length {panel.cut_length_cm:.1f} cm" in told
    assert "never into the wood" in told


def test_every_tree_keeps_its_class_and_place(plan, young):
    seen = young.evaluate(
        "fieldView.trees.map((tree) => [tree.id, tree.classPlace, tree.at[0], tree.at[1]])"
    )
    names = young.evaluate("fieldView.content.palette.classes.map((mark) => mark.name)")
    trees = plan.layers.trees[plan.layers.trees["block_id"].eq("B01")]
    classes = plan.classes.set_index("tree_id")["class"]
    assert {tree_id: names[place] for tree_id, place, *_ in seen} == {
        tree_id: classes[tree_id] for tree_id in trees["tree_id"]
    }
    degrees = trees.to_crs(4326).set_index("tree_id").geometry
    for tree_id, _, latitude, longitude in seen:
        assert latitude == pytest.approx(degrees[tree_id].y, abs=1.1e-7)
        assert longitude == pytest.approx(degrees[tree_id].x, abs=1.1e-7)


def test_a_tree_that_is_passed_by_says_why_and_gives_no_marking(plan, young):
    dry = plan.classes.loc[
        plan.classes["class"].eq("dry") & plan.classes["tree_id"].str.startswith("B01"), "tree_id"
    ].iloc[0]
    tap_tree(young, dry)
    told = sheet_text(young)
    assert "Dry: leave it alone" in told
    assert "Not to be tapped: no marking." in told


def test_trees_to_tape_are_marked_and_numbered_where_a_block_is_undecided(chromium, plan, tmp_path):
    page = block_map(plan, "B03", tmp_path / "undecided.html")
    asked = plan.to_tape.set_index("tree_id")["stop_no"]
    with opened(chromium, page) as held:
        told = dict(
            held.page.evaluate(
                "fieldView.trees.filter((tree) => tree.tape > 0).map((one) => [one.id, one.tape])"
            )
        )
        assert told == asked.to_dict()
        tap_tree(held.page, asked.index[3])
        assert "Trees to tape number 4 of the survey" in sheet_text(held.page)
        held.page.evaluate("fieldView.frame.open('key')")
        assert "Trees to tape" in sheet_text(held.page)
        assert held.faults == []


def test_next_tree_follows_the_walk(plan, young):
    walk = plan.tasks[plan.tasks["task_id"].eq("B01-T1")].sort_values("stop_no")["tree_id"]
    tap_tree(young, walk.iloc[4])
    young.click("text=Next tree")
    assert walk.iloc[5] in sheet_text(young)
    young.click("text=Tree before")
    assert walk.iloc[4] in sheet_text(young)


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ("3-7", "Row 3, tree 7"),
        ("12", "Row 12"),
        ("b01-r05-004", "Row 5, tree 4"),
        ("rila", "B01 · Rila Anmo"),
        ("b01-t2", "Task B01-T2"),
        ("nobody", "Nothing by that name"),
    ],
)
def test_search_finds_members_blocks_rows_trees_and_tasks(young, asked, found):
    young.evaluate("fieldView.frame.open('find')")
    young.fill("input[type=search]", asked)
    assert found in sheet_text(young)


def test_keyboard_alone_finds_a_tree_and_reads_it(chromium, pages):
    with opened(chromium, pages["young"]) as held:
        page = held.page
        for _ in range(20):
            page.keyboard.press("Tab")
            if page.evaluate("document.activeElement.dataset.page") == "find":
                break
        page.keyboard.press("Enter")
        page.keyboard.type("3-7")
        page.keyboard.press("Enter")
        assert "Row 3, tree 7" in sheet_text(page)
        assert page.evaluate("document.activeElement.tagName") == "H2"
        page.keyboard.press("Escape")
        assert page.is_hidden(".sheet")


def test_the_map_itself_is_worked_by_keyboard(chromium, pages):
    with opened(chromium, pages["young"]) as held:
        page = held.page
        page.evaluate(
            "fieldView.map.setView(fieldView.trees[61].at, 20.5, {animate: false});"
            "fieldView.map.getContainer().focus()"
        )
        page.keyboard.press("Enter")
        assert page.evaluate("fieldView.trees[61].id") in sheet_text(page)
        page.keyboard.press("Escape")
        before = page.evaluate("fieldView.map.getZoom()")
        page.keyboard.press("+")
        until(page, f"fieldView.map.getZoom() > {before}")


def test_a_doubtful_join_shows_both_trees_and_the_offset(plan, young):
    matches = plan.matches.set_index("point_id")
    point_id, tree = young.evaluate(
        "(() => { const one = fieldView.doubts.find((doubt) => doubt.tree >= 0);"
        "fieldView.setShown('doubts', true); fieldView.frame.open('point', one);"
        "return [one.id, fieldView.trees[one.tree].id]; })()"
    )
    told = sheet_text(young)
    match = matches.loc[point_id]
    assert match["tree_id"] == tree
    assert match["probability"] < 0.9
    assert f"{100 * match['probability']:.0f} % likely this tree" in told
    assert f"about {(match['dx_m'] ** 2 + match['dy_m'] ** 2) ** 0.5:.1f} m" in told


def test_every_layer_can_be_shown_and_hidden(young):
    changed = young.evaluate(
        """async () => {
            const canvas = document.querySelector('.leaflet-overlay-pane canvas');
            const settle = () => new Promise((done) => setTimeout(done, 60));
            fieldView.frame.openName && fieldView.frame.close();
            fieldView.map.setView(fieldView.trees[61].at, 20, { animate: false });
            fieldView.setShown('doubts', false);
            const changed = {};
            for (const name of ['trees', 'rows', 'walks', 'holdings', 'doubts', 'contours']) {
                await settle();
                const before = canvas.toDataURL();
                fieldView.setShown(name, !fieldView.shown[name]);
                await settle();
                changed[name] = canvas.toDataURL() !== before;
                fieldView.setShown(name, !fieldView.shown[name]);
            }
            fieldView.setShown('rose', true);
            changed.rose = document.querySelectorAll('.corner .rose-box svg').length === 1;
            fieldView.setShown('rose', false);
            for (const name of ['shade', 'slope', 'girth']) {
                fieldView.setGround(name);
                changed[name] = document.querySelectorAll('.leaflet-ground-pane img').length === 1;
            }
            fieldView.setGround('shade');
            return changed;
        }"""
    )
    assert changed == dict.fromkeys(changed, True)
    assert len(changed) == 10


def test_one_task_alone_can_be_chosen(young):
    young.evaluate("fieldView.frame.fit(fieldView.home); fieldView.frame.open('show')")
    young.select_option(".sheet select", label="B01-T2")
    young.wait_for_timeout(100)
    flags = young.evaluate(
        "fieldView.renderer.placed.filter((label) => label.kind === 'flag').map((one) => one.text)"
    )
    assert flags == ["B01-T2"]
    young.select_option(".sheet select", label="All tasks")


def test_a_task_that_begins_in_another_block_starts_here_at_its_first_tree(
    chromium, plan, tmp_path
):
    joined = plan.tasks.copy()
    moved = joined["task_id"].eq("B02-T1")
    last = joined.loc[joined["task_id"].eq("B01-T3"), "stop_no"].max()
    joined.loc[moved, "stop_no"] += last
    joined.loc[moved, "task_id"] = "B01-T3"
    page = block_map(replace(plan, tasks=joined), "B02", tmp_path / "joined.html")
    with opened(chromium, page) as held:
        assert held.faults == []
        held.page.evaluate(
            "fieldView.frame.open('oneTask', fieldView.content.tasks.find("
            "(task) => task.id === 'B01-T3'))"
        )
        assert f"comes here at stop {last + 1}" in sheet_text(held.page)


def test_the_overview_tells_each_blocks_decision_and_leads_to_its_map(plan, overview):
    overview.evaluate("fieldView.choose(fieldView.content.blocks[0])")
    told = sheet_text(overview)
    ready = plan.readiness.set_index("block_id").loc["B01"]
    assert "B01 · Rila Anmo" in told
    assert ready["reason"] in told
    assert f"{100 * ready['ready_share']:.0f} % of {ready['standing']} standing trees" in told
    assert overview.get_attribute(".sheet a.deep", "href") == "young.html"


def test_maps_lead_to_each_other(chromium, pages):
    with opened(chromium, pages["overview"]) as held:
        held.page.evaluate("fieldView.choose(fieldView.content.blocks[0])")
        held.page.click(".sheet a.deep")
        held.page.wait_for_selector("body[data-ready=yes]")
        assert "B01" in held.page.title()
        held.page.evaluate("fieldView.frame.open('about')")
        held.page.click(".sheet a.deep")
        held.page.wait_for_selector("body[data-ready=yes]")
        assert held.page.title() == "Invented cooperative"
        assert held.faults == []


def test_the_overview_unpacks_trees_only_when_they_are_near(plan, overview):
    count = "[...fieldView.treeLayers.values()].filter(Boolean).length"
    overview.evaluate(
        "fieldView.map.setView(fieldView.home.getCenter(), fieldView.map.getMinZoom(),"
        " {animate: false})"
    )
    overview.wait_for_timeout(100)
    assert overview.evaluate(count) == 0
    overview.evaluate(
        "fieldView.map.setView(fieldView.content.blocks[3].bounds.getCenter(), 20,"
        " {animate: false})"
    )
    until(overview, "Boolean(fieldView.treeLayers.get(3))")
    drawn = overview.evaluate(
        "fieldView.treeLayers.get(3).getLayers().map((mark) => mark.tree.classPlace)"
    )
    trees = plan.layers.trees[plan.layers.trees["block_id"].eq("B04")]
    assert len(drawn) == len(trees)


def test_the_overview_finds_a_members_blocks(overview):
    overview.evaluate("fieldView.frame.open('find')")
    overview.fill("input[type=search]", "toba")
    assert "B02 · Toba Vess" in sheet_text(overview)


def test_words_and_numbers_follow_the_language(chromium, plan, tmp_path):
    words = {"find": "Cari", "ready": "Siap", "girth_known": "{girth} cm ± {error} cm"}
    page = block_map(plan, "B01", tmp_path / "id.html", words=words, language="id")
    with opened(chromium, page) as held:
        assert held.page.get_attribute("html", "lang") == "id"
        assert held.page.inner_text(".bar button[data-page=find]") == "Cari"
        girth = plan.girths.loc[plan.girths["girth_cm"].notna()].iloc[0]
        held.page.evaluate(
            "(id) => fieldView.choose(fieldView.trees.find((one) => one.id === id))",
            girth["tree_id"],
        )
        assert f"{girth['girth_cm']:.1f}".replace(".", ",") in sheet_text(held.page)


def test_a_plan_without_terrain_tasks_or_sun_still_has_its_map(chromium, plan, tmp_path):
    bare = replace(
        plan,
        layers=replace(plan.layers, terrain=None),
        rose=plan.rose.iloc[:0],
        facing=plan.facing.iloc[:0],
        tasks=plan.tasks.iloc[:0],
        task_sums=plan.task_sums.iloc[:0],
        walks=plan.walks.iloc[:0],
        panels=plan.panels.iloc[:0],
        to_tape=plan.to_tape.iloc[:0],
        matches=plan.matches.iloc[:0],
        readiness=plan.readiness.iloc[:0],
    )
    pages = [
        block_map(bare, "B01", tmp_path / "bare.html"),
        overview_map(bare, tmp_path / "bare-all.html"),
    ]
    for page in pages:
        with opened(chromium, page) as held:
            assert held.faults == []
            for name in held.page.evaluate("Object.keys(fieldView.frame.pages)"):
                if name not in ("tree", "point", "oneTask", "sun", "block"):
                    held.page.evaluate(f"fieldView.frame.open('{name}')")
            assert held.faults == []


def test_names_with_markup_are_shown_as_they_are_written(chromium, plan, tmp_path):
    name = '</script><b onclick=x>Ann & "Bo"</b>'
    holdings = plan.layers.holdings.assign(member=name)
    marked = replace(plan, name=name, layers=replace(plan.layers, holdings=holdings))
    for page in (
        block_map(marked, "B01", tmp_path / "block.html"),
        overview_map(marked, tmp_path / "all.html"),
    ):
        with opened(chromium, page) as held:
            assert held.faults == []
            assert name in held.page.inner_text(".head")
            assert name in held.page.title()
            assert held.page.evaluate("document.querySelectorAll('b').length") == 0


def test_the_same_plan_gives_the_same_file(plan, pages, tmp_path):
    again = block_map(plan, "B01", tmp_path / "again.html", overview_page="all.html")
    assert again.read_bytes() == pages["young"].read_bytes()


def test_an_unknown_block_is_refused_by_name(plan, tmp_path):
    with pytest.raises(SettingError, match="the block B77"):
        block_map(plan, "B77", tmp_path / "none.html")


def test_a_cooperative_without_blocks_is_refused(plan, tmp_path):
    empty = replace(plan, layers=replace(plan.layers, blocks=plan.layers.blocks.iloc[:0]))
    with pytest.raises(GeometryError, match="no block"):
        overview_map(empty, tmp_path / "none.html")


def test_a_block_whose_share_nobody_knows_has_its_name(chromium, plan, tmp_path):
    bare = replace(plan, readiness=plan.readiness.assign(ready_share=np.nan, low=0.0, high=1.0))
    page = overview_map(bare, tmp_path / "bare.html")
    with opened(chromium, page) as held:
        asked = held.page.evaluate(
            "(() => { const asked = [];"
            " const ask = FieldCanvas.prototype.ask;"
            " FieldCanvas.prototype.ask = function (kind, text, ...rest) {"
            "  if (kind === 'name') { asked.push(text); }"
            "  return ask.call(this, kind, text, ...rest); };"
            " fieldView.repaint(); FieldCanvas.prototype.ask = ask; return asked; })()"
        )
        assert set(asked) >= {"B01", "B02"}
        assert held.faults == []


@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_the_first_screen_says_each_decision_and_which_blocks_have_it(chromium, plan, pages, size):
    counts = plan.readiness["decision"].value_counts()
    with opened(chromium, pages["overview"], size=size) as held:
        said = held.page.evaluate(
            """() => Object.fromEntries([...document.querySelectorAll('.tally button')]
                .filter((one) => one.checkVisibility())
                .map((one) => [one.dataset.decision, one.querySelector('strong').textContent]))"""
        )
        assert said == {name: str(count) for name, count in counts.items()}
        named = held.page.evaluate("fieldView.renderer.placed.map((label) => label.text)")
        listed = sheet_text(held.page) if size == DESKTOP else ""
        for block_id in plan.readiness["block_id"]:
            assert block_id in named
            assert block_id in listed or size == PHONE
        held.page.locator(".tally button:visible").first.click()
        first = next(name for name in said)
        assert held.page.evaluate("fieldView.only") == first
        only = plan.readiness.loc[plan.readiness["decision"] == first, "block_id"]
        told = sheet_text(held.page)
        assert all((block in told) == (block in set(only)) for block in plan.readiness["block_id"])


def test_a_blocks_first_screen_says_its_decision(chromium, plan, pages):
    decision = plan.readiness.set_index("block_id").loc["B01", "decision"]
    with opened(chromium, pages["young"]) as held:
        assert decision in held.page.inner_text(".head .tally").lower()
    with opened(chromium, pages["young"], size=DESKTOP) as held:
        assert decision in sheet_text(held.page).lower()


def test_a_tree_whose_latest_day_is_not_known_says_so(chromium, plan, tmp_path):
    classes = plan.classes.copy()
    dated = classes["ready_on"].notna() & classes["tree_id"].str.startswith("B01")
    dated &= classes["class"].isin(["near-ready", "immature"]) & classes["ready_low"].notna()
    tree = classes.loc[dated, "tree_id"].iloc[0]
    classes.loc[classes["tree_id"].eq(tree), "ready_high"] = np.datetime64("NaT")
    page = block_map(replace(plan, classes=classes), "B01", tmp_path / "slow.html")
    with opened(chromium, page) as held:
        held.page.evaluate(
            "(id) => fieldView.choose(fieldView.trees.find((one) => one.id === id))", tree
        )
        told = sheet_text(held.page)
    low = classes.loc[classes["tree_id"].eq(tree), "ready_low"].iloc[0]
    assert f"not before {low.day} " in told
    assert "the latest day isn't known" in told
    assert "1969" not in told
