"""How long a hundred task sheets take: ``python -m tests.benchmarks.sheets`` prints one table.

The plan is the invented one of the tests, 310 trees a task; the goal is 100 sheets in under 20 s on
one core.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import pdfplumber

from reports.sheets import task_sheets
from tests.reports.small_plan import small_plan

SHEETS = 100
CASES = (("en", "a4"), ("ml", "a4"), ("en", "a5"))


def main() -> None:
    plan = small_plan(blocks=34, rows=40, trees_a_row=30)
    tasks = list(plan.task_sums["task_id"])[:SHEETS]
    print("language  paper  sheets  pages  wall_s  processor_s  megabytes")
    with tempfile.TemporaryDirectory() as folder:
        for language, paper in CASES:
            path = Path(folder) / f"{language}-{paper}.pdf"
            wall, processor = time.perf_counter(), time.process_time()
            task_sheets(plan, tasks, path, language=language, paper=paper)
            wall, processor = time.perf_counter() - wall, time.process_time() - processor
            with pdfplumber.open(path) as pdf:
                pages = len(pdf.pages)
            size = path.stat().st_size / 1e6
            print(
                f"{language:8}  {paper:5}  {len(tasks):6}  {pages:5}"
                f"  {wall:6.1f}  {processor:11.1f}  {size:9.1f}"
            )


if __name__ == "__main__":
    main()
