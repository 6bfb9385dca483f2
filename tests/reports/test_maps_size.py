"""How much a map weighs and how soon it answers: 5,000 trees, and 2,000 blocks."""

import pytest

from reports.maps import block_map, overview_map
from tests.browser import browser, opened
from tests.reports.small_plan import small_plan

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser")]

MOST_BYTES = 2_000_000
MOST_MS = 1500
# Milliseconds from opening the file until the map is painted and answers a tap; the best of
# several, since other work on the machine only ever adds to it.
TRIES = 4


def best_ready_ms(chromium, page):
    times = []
    for _ in range(TRIES):
        with opened(chromium, page) as held:
            times.append(
                held.page.evaluate("performance.getEntriesByName('field-map-ready')[0].startTime")
            )
        if times[-1] < MOST_MS:
            break
    return min(times)


def test_a_block_of_5000_trees_is_light_and_answers_soon(tmp_path):
    plan = small_plan(blocks=1, rows=50, trees_a_row=100)
    page = block_map(plan, "B01", tmp_path / "large.html")
    assert page.stat().st_size < MOST_BYTES
    with browser() as chromium:
        assert best_ready_ms(chromium, page) < MOST_MS
        with opened(chromium, page) as held:
            assert held.page.evaluate("fieldView.trees.length") == 5000
            answered_ms = held.page.evaluate(
                """async () => {
                    const from = performance.now();
                    fieldView.choose(fieldView.trees[2500]);
                    await new Promise((done) => requestAnimationFrame(() => setTimeout(done)));
                    return performance.now() - from;
                }"""
            )
            assert answered_ms < MOST_MS
            assert held.faults == []


def test_2000_blocks_are_light_and_answer_soon_with_trees_left_packed(tmp_path):
    plan = small_plan(blocks=2000, rows=2, trees_a_row=6)
    page = overview_map(plan, tmp_path / "large.html")
    assert page.stat().st_size < MOST_BYTES
    with browser() as chromium:
        assert best_ready_ms(chromium, page) < MOST_MS
        with opened(chromium, page) as held:
            assert held.page.evaluate("fieldView.content.blocks.length") == 2000
            assert held.page.evaluate("fieldView.treeLayers.size") == 0
            assert held.faults == []
