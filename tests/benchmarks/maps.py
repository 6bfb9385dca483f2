"""Weight of the maps and the time until they answer: ``python -m tests.benchmarks.maps``.

One table: a block of 5,000 trees, then overviews of 2,000 blocks with more and more trees.
"""

import sys
import tempfile
import time
from pathlib import Path

from reports.maps import block_map, overview_map
from tests.browser import browser, opened
from tests.reports.small_plan import small_plan

OPENINGS = 5


def ready_ms(chromium, page):
    """Give the times from opening the file until the map is painted and answers."""
    times = []
    for _ in range(OPENINGS):
        with opened(chromium, page) as held:
            times.append(
                held.page.evaluate("performance.getEntriesByName('field-map-ready')[0].startTime")
            )
    return times


def report(chromium, name, draw, path):
    """Draw one map and print its line of the table."""
    began = time.perf_counter()
    draw(path)
    drawn_s = time.perf_counter() - began
    times = ready_ms(chromium, path)
    print(
        f"{name:<38} {path.stat().st_size / 1e6:8.2f} {drawn_s:9.1f} "
        f"{min(times):12.0f} {sorted(times)[len(times) // 2]:12.0f}"
    )


def main(rows=(2, 10, 20)):
    """Print the table; `rows` is how many rows of 25 trees each block of the overviews has."""
    print(f"{'map':<38} {'MB':>8} {'drawn, s':>9} {'ready ms min':>12} {'median':>12}")
    with tempfile.TemporaryDirectory() as folder, browser() as chromium:
        plan = small_plan(blocks=1, rows=50, trees_a_row=100)
        report(
            chromium,
            "block, 5,000 trees",
            lambda path: block_map(plan, "B01", path),
            Path(folder) / "block.html",
        )
        for count in rows:
            whole = small_plan(blocks=2000, rows=count, trees_a_row=25)
            report(
                chromium,
                f"overview, 2,000 blocks, {2000 * count * 25:,} trees",
                lambda path, whole=whole: overview_map(whole, path),
                Path(folder) / "overview.html",
            )


if __name__ == "__main__":
    main(tuple(int(count) for count in sys.argv[1:]) or (2, 10, 20))
