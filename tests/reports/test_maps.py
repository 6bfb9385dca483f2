import pytest

from layers.errors import SettingError
from reports.maps import block_map, overview_map
from tests.browser import DESKTOP, PHONE, browser, opened
from tests.reports.small_plan import small_plan

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser")]


@pytest.fixture(scope="module")
def plan():
    return small_plan(blocks=4)


@pytest.fixture(scope="module")
def pages(plan, tmp_path_factory):
    folder = tmp_path_factory.mktemp("maps")
    return {
        "young": block_map(plan, "B01", folder / "young.html"),
        "mature": block_map(plan, "B02", folder / "mature.html"),
        "overview": overview_map(plan, folder / "all.html", block_pages={"B01": "young.html"}),
    }


@pytest.fixture(scope="module")
def chromium():
    with browser() as opened_browser:
        yield opened_browser


@pytest.mark.parametrize("name", ["young", "mature", "overview"])
@pytest.mark.parametrize("size", [PHONE, DESKTOP], ids=["phone", "desktop"])
def test_a_page_opens_with_the_network_cut(chromium, pages, name, size):
    with opened(chromium, pages[name], size=size) as held:
        outside = [url for url in held.requests if not url.startswith(("file:", "data:"))]
        assert held.faults == []
        assert outside == []


def test_an_unknown_block_is_refused_by_name(plan, tmp_path):
    with pytest.raises(SettingError, match="the block B77"):
        block_map(plan, "B77", tmp_path / "none.html")
