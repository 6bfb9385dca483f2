import pdfplumber
import pytest

from layers.errors import SettingError
from reports.sheets import block_sheets, task_sheets
from tests.reports.pages import texts
from tests.reports.small_plan import small_plan


@pytest.fixture(scope="module")
def plan():
    return small_plan(rows=24, trees_a_row=30)


@pytest.fixture(scope="module")
def pages(plan, tmp_path_factory):
    return texts(block_sheets(plan, "B01", tmp_path_factory.mktemp("sheets") / "B01.pdf"))


def test_a_block_has_one_page_a_task(plan, pages):
    tasks = plan.task_sums.loc[plan.task_sums["block_ids"] == "B01", "task_id"]
    assert len(pages) == len(tasks)
    for page, task in zip(pages, tasks, strict=True):
        assert f"Task {task}" in page


def test_a_sheet_says_what_a_tapper_needs(pages):
    for words in ("Cut faces", "Scale 1:", "Take care", "Emergency", "Days to tap"):
        assert words in pages[0]


def test_a_block_without_tasks_is_refused(plan, tmp_path):
    with pytest.raises(SettingError, match="B99"):
        block_sheets(plan, "B99", tmp_path / "none.pdf")


@pytest.mark.slow
def test_a_hundred_sheets_go_into_one_document(tmp_path):
    plan = small_plan(blocks=34, rows=40, trees_a_row=30)
    tasks = list(plan.task_sums["task_id"])[:100]
    path = task_sheets(plan, tasks, tmp_path / "hundred.pdf")
    with pdfplumber.open(path) as pdf:
        assert len(pdf.pages) >= 100
