"""How the maps look: nothing clipped or overlapping, true scale, and the accessibility rules."""

from dataclasses import replace
from pathlib import Path

import axe_playwright_python
import pytest
from pyproj import Geod

from estate.told_share import told_ends, told_share
from reports.decision_words import PER_CENT, per_cent, share_words
from reports.maps import block_map, overview_map
from reports.words import words_in
from tests.browser import DESKTOP, PHONE, SMALL_PHONE, browser, opened
from tests.reports.small_plan import small_plan

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]

WGS84 = Geod(ellps="WGS84")
LANDSCAPE = {"width": 844, "height": 390}
SIZES = {"phone": PHONE, "small": SMALL_PHONE, "landscape": LANDSCAPE, "desktop": DESKTOP}
BLOCK_PAGES = ("find", "show", "key", "measure", "about", "sun")
OVERVIEW_PAGES = ("find", "list", "show", "key", "measure", "about")


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4)


@pytest.fixture(scope="module")
def pages(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("look")
    return {
        "young": block_map(plan, "B01", folder / "young.html"),
        "mature": block_map(plan, "B02", folder / "mature.html"),
        "overview": overview_map(plan, folder / "all.html", block_pages={"B01": "young.html"}),
    }


@pytest.fixture(scope="module")
def chromium():
    with browser() as opened_browser:
        yield opened_browser


def every_sheet(page, name):
    """Open each of a page's sheets in turn."""
    for sheet in OVERVIEW_PAGES if name == "overview" else BLOCK_PAGES:
        page.evaluate(f"fieldView.frame.open('{sheet}')")
        yield sheet
    if name == "overview":
        page.evaluate("fieldView.choose(fieldView.content.blocks.at(-1))")
        yield "block"
    else:
        page.evaluate("fieldView.choose(fieldView.trees[44])")
        yield "tree"
        page.evaluate("fieldView.frame.open('point', fieldView.doubts[0])")
        yield "point"
        page.evaluate("fieldView.frame.open('oneTask', fieldView.content.tasks[1])")
        yield "oneTask"


CLIPPED = """() => [...document.querySelectorAll(
    'header *:not(.unseen), nav *, .sheet *, .scale *, .zoom *')].filter((element) => {
        const box = element.getBoundingClientRect();
        const text = [...element.childNodes].some((node) => node.nodeType === 3
            && node.textContent.trim());
        if (!text || !box.width || element.tagName === 'OPTION') { return false; }
        if (element.ownerSVGElement) {
            const frame = element.ownerSVGElement.getBoundingClientRect();
            return box.left < frame.left - 1 || box.right > frame.right + 1
                || box.top < frame.top - 1 || box.bottom > frame.bottom + 1;
        }
        return element.scrollWidth > element.clientWidth + 1 && element.clientWidth > 0
            && getComputedStyle(element).display !== 'inline'
            || box.left < -0.5 || box.right > innerWidth + 0.5;
    }).map((element) => element.textContent)"""

OVERLAPS = """() => {
    const parts = ['.head-title', '.zoom', '.bar', '.scale', '.sheet', '.corner']
        .map((name) => [name, document.querySelector(name)])
        .filter(([, element]) => element && !element.hidden)
        .map(([name, element]) => [name, element.getBoundingClientRect()])
        .filter(([, box]) => box.width && box.height);
    const over = [];
    parts.forEach(([one, a], place) => parts.slice(place + 1).forEach(([other, b]) => {
        const wide = Math.min(a.right, b.right) - Math.max(a.left, b.left);
        const tall = Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top);
        if (wide > 1 && tall > 1) { over.push(one + ' over ' + other); }
    }));
    return over;
}"""


@pytest.mark.parametrize("name", ["young", "mature", "overview"])
@pytest.mark.parametrize("size", SIZES)
def test_no_text_is_clipped_and_no_part_covers_another(chromium, pages, name, size):
    with opened(chromium, pages[name], size=SIZES[size]) as held:
        assert held.page.evaluate(CLIPPED) == []
        assert held.page.evaluate(OVERLAPS) == []
        for sheet in every_sheet(held.page, name):
            assert held.page.evaluate(CLIPPED) == [], sheet
            # An open sheet lies over the lower map; it may cover scale and zoom, never the bar.
            covered = held.page.evaluate(OVERLAPS)
            assert not [one for one in covered if ".bar" in one or ".head" in one], sheet
        assert held.faults == []


@pytest.mark.parametrize("size", SIZES)
def test_labels_on_the_map_do_not_overlap(chromium, pages, size):
    with opened(chromium, pages["young"], size=SIZES[size]) as held:
        for zoom in (18.5, 19.5, 20.5, 21.5):
            labels = held.page.evaluate(
                f"(fieldView.map.setZoom({zoom}, {{animate: false}}),"
                " fieldView.repaint(), fieldView.renderer.placed)"
            )
            assert labels
            for place, one in enumerate(labels):
                for other in labels[place + 1 :]:
                    apart = (
                        abs(one["x"] - other["x"]) >= one["half"] + other["half"]
                        or abs(one["y"] - other["y"]) >= one["tall"] + other["tall"]
                    )
                    assert apart, (one, other)


@pytest.mark.parametrize("size", SIZES)
def test_the_whole_block_lies_in_the_open_part_of_the_map(chromium, pages, size):
    with opened(chromium, pages["mature"], size=SIZES[size]) as held:
        box = held.page.evaluate(
            """() => {
                const points = fieldView.trees.map((tree) =>
                    fieldView.map.latLngToContainerPoint(tree.at));
                const cover = fieldView.frame.covered();
                const whole = fieldView.map.getSize();
                return {
                    left: Math.min(...points.map((at) => at.x)) - cover.left,
                    right: whole.x - Math.max(...points.map((at) => at.x)),
                    top: Math.min(...points.map((at) => at.y)) - cover.top,
                    bottom: whole.y - cover.bottom - Math.max(...points.map((at) => at.y)),
                };
            }"""
        )
        assert min(box.values()) >= 4, box


# The scale bar's ends, turned back into places, lie as far apart on the ellipsoid as it says;
# distance by Karney's geodesics in PROJ.
@pytest.mark.parametrize("name", ["young", "overview"])
@pytest.mark.parametrize("zoom", [15, 17.25, 20, 22])
def test_the_scale_bar_is_true(chromium, pages, name, zoom):
    with opened(chromium, pages[name]) as held:
        metres, west, east = held.page.evaluate(
            f"""() => {{
                fieldView.map.setMinZoom(10);
                fieldView.map.setView(fieldView.home.getCenter(), {zoom}, {{animate: false}});
                const bar = document.querySelector('.scale-bar').getBoundingClientRect();
                const middle = fieldView.map.getSize().y / 2;
                const at = (x) => fieldView.map.containerPointToLatLng([x, middle]);
                const [a, b] = [at(bar.left), at(bar.right)];
                return [Number(document.querySelector('.scale').dataset.metres),
                    [a.lng, a.lat], [b.lng, b.lat]];
            }}"""
        )
        _, _, true_metres = WGS84.inv(*west, *east)
        assert metres == pytest.approx(true_metres, rel=0.01)


def test_measuring_agrees_with_the_ellipsoid(chromium, pages):
    ring = [(0.0, 0.0), (0.0006, 0.0001), (0.0005, 0.0008), (-0.0001, 0.0007)]
    with opened(chromium, pages["young"]) as held:
        held.page.evaluate("fieldView.frame.open('measure')")
        longitude, latitude = held.page.evaluate(
            f"""() => {{
                const middle = fieldView.map.getCenter();
                for (const [east, north] of {[list(step) for step in ring]}) {{
                    fieldView.measure.add(L.latLng(middle.lat + north, middle.lng + east));
                }}
                return [middle.lng, middle.lat];
            }}"""
        )
        places = [(longitude + east, latitude + north) for east, north in ring]
        length = held.page.evaluate("fieldView.measure.metres()")
        assert length == pytest.approx(WGS84.line_length(*zip(*places, strict=True)), rel=1e-3)
        held.page.evaluate("fieldView.measure.add(fieldView.measure.points[0])")
        square = held.page.evaluate(
            "fieldView.measure.closed && fieldView.earth.squareMetres(fieldView.measure.points)"
        )
        area, round_m = WGS84.polygon_area_perimeter(*zip(*places, strict=True))
        assert square == pytest.approx(abs(area), rel=1e-3)
        told = held.page.inner_text(".reading")
        assert told == f"{abs(area) / 10_000:.3f} ha, {round_m:.0f} m round"


# The rules of WCAG 2.2 level AA as far as a machine can judge them: axe-core, Deque Systems.
@pytest.mark.parametrize("night", [False, True], ids=["day", "night"])
@pytest.mark.parametrize("name", ["mature", "overview"])
def test_the_accessibility_rules_hold(chromium, pages, name, night):
    rules = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text("utf-8")
    with opened(chromium, pages[name]) as held:
        held.page.evaluate(rules)
        if night:
            held.page.evaluate("document.body.classList.add('night')")
        for sheet in every_sheet(held.page, name):
            broken = held.page.evaluate(
                """async () => (await axe.run(document, { runOnly: [
                    'wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }))
                    .violations.map((one) => [one.id, one.nodes.map((node) => node.html)])"""
            )
            assert broken == [], sheet


# WCAG 2.2, 2.5.8: targets of 24 by 24 CSS pixels; for gloves and cold hands we ask 44.
@pytest.mark.parametrize("name", ["young", "overview"])
def test_targets_are_large_enough_for_a_thumb(chromium, pages, name):
    with opened(chromium, pages[name], size=SMALL_PHONE) as held:
        for sheet in every_sheet(held.page, name):
            small = held.page.evaluate(
                """() => [...document.querySelectorAll('button, select, a, label.choice')]
                    .map((element) => [element.textContent, element.getBoundingClientRect()])
                    .filter(([, box]) => box.width && (box.width < 44 || box.height < 44))
                    .map(([text, box]) => [text, box.width, box.height])"""
            )
            assert small == [], sheet


SMALL = {"width": 360, "height": 640}
UNDER_THE_SHEET = """() => {
    const sheet = document.querySelector('.sheet').getBoundingClientRect();
    return [...document.querySelectorAll('.zoom button')]
        .map((button) => [button.title, button.getBoundingClientRect()])
        .filter(([, box]) => box.width && box.right > sheet.left && box.left < sheet.right
            && box.bottom > sheet.top)
        .map(([title]) => title);
}"""


@pytest.mark.parametrize("name", ["young", "overview"])
def test_a_sheet_on_a_small_phone_leaves_the_middle_and_the_buttons_in_sight(chromium, pages, name):
    with opened(chromium, pages[name], size=SMALL, touch=True) as held:
        page = held.page
        middle = page.evaluate("fieldView.frame.middleInSight()")
        page.evaluate("fieldView.frame.open('key')")
        assert page.evaluate(UNDER_THE_SHEET) == []
        x, y, top, bottom = page.evaluate(
            """(middle) => {
                const at = fieldView.map.latLngToContainerPoint(middle);
                const cover = fieldView.frame.covered();
                return [at.x, at.y, cover.top, innerHeight - cover.bottom];
            }""",
            middle,
        )
        assert x == pytest.approx(SMALL["width"] / 2, abs=1.5)
        assert y == pytest.approx((top + bottom) / 2, abs=1.5)
        page.evaluate("fieldView.frame.close()")
        back = page.evaluate("fieldView.frame.middleInSight()")
        assert WGS84.inv(middle["lng"], middle["lat"], back["lng"], back["lat"])[2] < 2.0


@pytest.mark.parametrize("size", ["small", "desktop"])
def test_the_colours_of_the_ground_are_told_beside_the_map_with_their_unit(chromium, pages, size):
    with opened(chromium, pages["young"], size=SIZES[size]) as held:
        page = held.page
        assert page.is_hidden(".ramp")
        for ground, title, figures in (
            ("slope", "Slope, degrees", "fieldView.content.palette.slope.breaks"),
            ("girth", "Girth, cm", "fieldView.content.ground.girth_breaks"),
        ):
            page.evaluate(f"fieldView.setGround('{ground}')")
            assert page.inner_text(".ramp strong") == title
            told = [float(text) for text in page.locator(".ramp span").all_inner_texts()]
            assert told == page.evaluate(figures)
            steps = page.locator(".ramp i")
            assert steps.count() == len(told) + 1
            # Each figure stands at the edge between its two colours.
            edges = [steps.nth(place).bounding_box() for place in range(1, steps.count())]
            spots = [page.locator(".ramp span").nth(k).bounding_box() for k in range(len(told))]
            for edge, spot in zip(edges, spots, strict=True):
                assert spot["x"] + spot["width"] / 2 == pytest.approx(edge["x"], abs=1.5)
            assert page.evaluate(OVERLAPS.replace("'.corner'", "'.corner', '.ramp'")) == []
        # At night the map's colours are turned about: the key's with them.
        assert page.evaluate(
            """() => {
                document.body.classList.add('night');
                const filter = (name) => getComputedStyle(document.querySelector(name)).filter;
                return filter('.ramp-steps i') === filter('.field-map')
                    && filter('.field-map') !== 'none';
            }"""
        )
        page.evaluate("fieldView.setGround('plain')")
        assert page.is_hidden(".ramp")


def test_a_share_near_none_or_all_never_reads_as_none_or_all(chromium, pages):
    with opened(chromium, pages["overview"]) as held:
        said = held.page.evaluate(
            "[0, 0.0003, 0.009, 0.5, 0.996, 0.9997, 1].map((one) => fieldView.wording.percent(one))"
        )
        assert [" ".join(one.split()) for one in said] == [
            "0 %", "under 1 %", "under 1 %", "50 %", "over 99 %", "over 99 %", "100 %",
        ]  # fmt: skip
        told = [told_share(share, counted=True) for share in (0.0, 0.003, 0.5, 0.997, 1.0)]
        rings = held.page.evaluate(
            "(told) => told.map((one) => gaugeText(fieldView, one))", list(map(list, told))
        )
        assert rings == ["0", "<1", "50", ">99", "100"]


def test_a_map_tells_a_share_as_the_sheets_do(chromium, tmp_path):
    plan = small_plan(blocks=4, rows=4, trees_a_row=8)
    readiness = plan.readiness.assign(
        # One that is nearly all, one whose figure lies halfway, one nearly none, and one counted.
        ready_share=[0.9985, 0.625, 0.003, 1.0],
        low=[0.99, 0.565, 0.0, 1.0],
        high=[1.0, 0.685, 0.02, 1.0],
        measured=[20, 20, 20, 32],
        standing=32,
    )
    page = overview_map(replace(plan, readiness=readiness), tmp_path / "overview.html")
    with opened(chromium, page) as held:
        told = held.page.evaluate(
            """() => fieldView.content.blocks.map((block) => [
                fieldView.wording.share(block.told), shareText(fieldView, block)])"""
        )
    english = words_in("en")
    for (share, text), (_, block) in zip(told, readiness.iterrows(), strict=True):
        figure, ends = share_words(block, english).split(" (")
        assert share == f"{figure}{PER_CENT}"
        low, high = ends.rstrip(")").split("–")
        assert text.endswith(f"({low}{PER_CENT} to {high}{PER_CENT})")
    assert [share for share, _ in told] == [
        f"over 99{PER_CENT}", f"62{PER_CENT}", f"under 1{PER_CENT}", f"100{PER_CENT}",
    ]  # fmt: skip


def test_the_head_of_a_block_says_what_its_share_is_of_and_between_what_it_lies(
    chromium, pages, plan
):
    ready = plan.readiness.set_index("block_id").loc["B01"]
    with opened(chromium, pages["young"]) as held:
        told = " ".join(held.page.inner_text(".head .tally").split())
        low, high = told_ends(ready["low"], ready["high"])
        share = per_cent(ready["ready_share"], words_in("en"), sign=" %")
        assert f"{share} ({low} % to {high} %)" in told
        assert "ready:" in told or "fit to tap:" in told
