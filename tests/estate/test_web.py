"""The local page: every flow of its three users, and what it refuses."""

import io
import re
import shutil
import threading
from contextlib import contextmanager
from pathlib import Path

import axe_playwright_python
import geopandas as gpd
import pandas as pd
import pytest
from click.testing import CliRunner
from markupsafe import escape
from werkzeug.serving import make_server

from estate import store
from estate.app.cli import commands
from estate.app.web import make_app
from estate.app.web.incoming import plain_name
from layers.contract import LAYERS
from layers.errors import SettingError, UnreadableError
from layers.geopackage import read_layer, write_layers
from reports.decision_words import PER_CENT, per_cent
from reports.maps import in_language
from reports.words import words_in
from tests.browser import PHONE, browser
from tests.reports.small_plan import small_plan

pytestmark = pytest.mark.xdist_group("web")

PORT = 8787
HERE = f"http://127.0.0.1:{PORT}"


class Visitor:
    """A browser without pictures: it keeps the cookie and sends the token that it was given."""

    def __init__(self, app):
        self.client = app.test_client()
        self.token = re.search(r'name="token" value="([^"]+)"', self.get("/run/").text)[1]

    def get(self, path, **more):
        return self.client.get(path, base_url=HERE, **more)

    def post(self, path, fields=(), **more):
        more = {"base_url": HERE, "headers": {"Origin": HERE}, **more}
        return self.client.post(path, data={"token": self.token, **dict(fields)}, **more)

    def send(self, path, name, content, **fields):
        return self.post(path, {"file": (io.BytesIO(content), name), **fields})


def layer_files(folder: Path) -> Path:
    layers = small_plan(blocks=2, rows=8, trees_a_row=12).layers
    for name in LAYERS:
        frame = getattr(layers, name)
        if isinstance(frame, gpd.GeoDataFrame):
            frame.to_crs(4326).to_file(folder / f"{name}.geojson", engine="pyogrio")
        else:
            frame.to_csv(folder / f"{name}.csv", index=False)
    return folder


def run_now(visitor, **fields):
    assert visitor.post("/run/", {**RUN, **fields}).status_code == 303
    next(t for t in threading.enumerate() if t.name == "estate run").join(timeout=300)
    return visitor.get("/run/state").json


RUN = {
    "standard": "common-practice",
    "on": "2026-03-02",
    "days": "28",
    "interval": "3",
    "make_up": "rest day",
    "holiday_make_up": "next morning",
    "language": "en",
}


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return layer_files(tmp_path_factory.mktemp("web"))


@pytest.fixture(scope="module")
def visitor(folder):
    visitor = Visitor(make_app(folder, port=PORT))
    assert "Not planned yet" in visitor.get("/").text
    assert run_now(visitor)["state"] == "done"
    return visitor


@pytest.fixture(scope="module")
def project(folder, visitor):
    return next((folder / "handed-out").glob("*.gpkg"))


@pytest.fixture
def loose(folder, visitor, tmp_path):
    """A copy of the planned folder, to be changed at will."""
    copy = tmp_path / folder.name
    shutil.copytree(folder, copy)
    return Visitor(make_app(copy, port=PORT)), copy


def test_the_run_tells_its_steps_and_its_outcome(visitor):
    state = visitor.get("/run/state").json
    assert any("Draw tapping tasks" in line for line in state["lines"])
    page = visitor.get("/run/").text
    assert "Done" in page
    assert "2 holdings, 2 blocks, 192 tree places" in page


def test_the_overview_shows_blocks_tasks_and_every_file(visitor, folder, project):
    page = visitor.get("/").text
    ready = read_layer(project, "block_readiness")
    for block, share in zip(ready["block_id"], ready["ready_share"], strict=True):
        assert block in page
        assert per_cent(share, words_in("en"), sign=PER_CENT) in page
    assert "Deni Uko" in page or "Pell Amar" in page
    for path in (folder / "handed-out").rglob("*.*"):
        if path.parent.name != "handed-out":
            place = "en/maps" if path.parent.name == "maps" else path.parent.name
            address = f"/handed-out/{place}/{path.name}"
            assert f'href="{address}"' in page
            with visitor.get(address) as given:
                assert given.status_code == 200
                assert given.data == path.read_bytes()
    assert visitor.get("/handed-out/en/overview.html").status_code == 200


def test_maps_speak_the_language_of_the_page(folder, visitor):
    kept = folder / "handed-out"
    with visitor.get("/", headers={"Accept-Language": "fr"}) as page:
        assert 'src="/handed-out/fr/overview.html"' in page.text
        assert 'href="/handed-out/fr/maps/B01.html"' in page.text
        assert "/handed-out/en/" not in page.text
    for name in ("overview.html", "maps/B01.html"):
        written = (kept / name).read_text("utf-8")
        assert '<html lang="en">' in written
        told = visitor.get(f"/handed-out/fr/{name}")
        assert told.text == in_language(written, "fr")
        assert '<html lang="fr">' in told.text
        assert "sandbox allow-scripts" in told.headers["Content-Security-Policy"]
        assert (kept / name).read_text("utf-8") == written
    assert visitor.get("/handed-out/xx/overview.html").status_code == 404


def test_a_project_made_from_a_folder_brings_the_folder_along(project, folder):
    page = Visitor(make_app(project, port=PORT)).get("/layers/").text
    assert "holdings.geojson" in page
    assert re.search("No faults found|things? to look at", page)


def test_the_layers_page_lists_files_and_faults_as_the_command_does(visitor, folder):
    page = visitor.get("/layers/").text
    told = CliRunner().invoke(commands, ["check", str(folder), "--json"])
    for name in LAYERS:
        assert f"{name}.{'csv' if name == 'tappers' else 'geojson'}" in page
    for fault in pd.read_json(io.StringIO(told.stdout)).to_dict("records"):
        assert str(escape(fault["remedy"])) in page


def test_a_good_layer_takes_its_place_and_the_old_one_is_kept(loose):
    visitor, folder = loose
    old = (folder / "tappers.csv").read_bytes()
    new = old + b"A3,Oru Benn,low,C1\n"
    answer = visitor.send("/layers/", "tappers.csv", new)
    assert answer.status_code == 303
    assert (folder / "tappers.csv").read_bytes() == new
    kept = list((folder / "set-aside").iterdir())
    assert [p.read_bytes() for p in kept] == [old]
    assert "tappers.csv is in, as tappers" in visitor.get("/layers/").text
    assert not list(folder.glob(".incoming-*"))


def test_a_layer_can_take_the_place_of_a_file_of_another_name(loose):
    visitor, folder = loose
    text = (folder / "places.geojson").read_bytes()
    assert (
        visitor.send("/layers/", "Places May.geojson", text, replaces="places.geojson").status_code
        == 303
    )
    assert (folder / "Places-May.geojson").read_bytes() == text
    assert not (folder / "places.geojson").exists()


@pytest.mark.parametrize(
    ("name", "content", "said"),
    [
        ("blocks.geojson", b"{ not a layer", "blocks.geojson"),
        ("blocks.geojson", b'{"type": "FeatureCollection", "features": []}', "blocks"),
        ("treeline.geojson", b"{}", "bears no layer&#39;s name"),
        ("blocks.exe", b"MZ", "Save the layer in one of these formats"),
        ("rows.shp", b"", "Put the .shp, .dbf, .shx and .prj files into one .zip"),
        ("../../rows.txt", b"x", "Save the layer in one of these formats"),
    ],
)
def test_a_bad_file_is_refused_in_words_and_the_old_one_stays(loose, name, content, said):
    visitor, folder = loose
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    answer = visitor.send("/layers/", name, content)
    assert answer.status_code == 422
    assert said in answer.text
    assert "Nothing was changed" in answer.text
    assert {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()} == before


def test_own_notes_are_taken_where_they_can_be_read(loose):
    visitor, folder = loose
    good = b"tapper_id,date\nA1,2026-03-05\n"
    assert visitor.send("/layers/", "Absences.csv", good).status_code == 303
    assert (folder / "absences.csv").read_bytes() == good
    for name, content in [
        ("absences.csv", b"tapper_id,date\nA1,Thursday\n"),
        ("holidays.csv", b"day\n2026-03-05\n"),
        ("standards.toml", b"[broken"),
        ("figures.toml", b"[broken"),
    ]:
        answer = visitor.send("/layers/", name, content)
        assert answer.status_code == 422, name
        assert name in answer.text
    assert (folder / "absences.csv").read_bytes() == good
    assert not (folder / "holidays.csv").exists()
    assert not (folder / "figures.toml").exists()
    assert "There: absences.csv." in visitor.get("/layers/").text


def test_one_faulty_file_after_the_other_can_be_mended(tmp_path):
    folder = layer_files(tmp_path)
    good = {name: (folder / name).read_bytes() for name in ("blocks.geojson", "rows.geojson")}
    for name in good:
        (folder / name).write_bytes(b"{ broken")
    visitor = Visitor(make_app(folder, port=PORT))
    assert "can't be used yet" in visitor.get("/layers/").text.replace("&#39;", "'")
    for name, content in good.items():
        assert visitor.send("/layers/", name, content).status_code == 303
    assert "The layers can be used" in visitor.get("/layers/").text


def test_a_project_without_a_folder_takes_layers_too(tmp_path):
    layers = small_plan(blocks=2, rows=8, trees_a_row=12).layers
    project = tmp_path / "group.gpkg"
    write_layers(project, {name: getattr(layers, name) for name in LAYERS})
    visitor = Visitor(make_app(project, port=PORT))
    points = layers.girth.to_crs(4326).head(5)[["girth_cm", "geometry"]]
    text = points.assign(point_id=[f"N{k}" for k in range(5)]).to_json().encode()
    assert visitor.send("/points/", "girth_may.geojson", text).status_code == 303
    held = read_layer(project, "girth")
    assert len(held) == len(layers.girth) + 5
    assert held.crs == layers.crs
    trees = read_layer(project, "trees")
    assert set(trees["tree_id"]) == set(layers.trees["tree_id"])
    assert visitor.send("/points/", "girth.csv", b"a,b\n1,2\n").status_code == 422
    assert len(read_layer(project, "girth")) == len(held)


def test_what_was_found_in_a_layer_sent_to_a_bare_project_stays_told(tmp_path):
    layers = small_plan(blocks=2, rows=8, trees_a_row=12).layers
    project = tmp_path / "group.gpkg"
    write_layers(project, {name: getattr(layers, name) for name in LAYERS})
    visitor = Visitor(make_app(project, port=PORT))
    points = layers.girth.to_crs(4326).head(3)[["girth_cm", "geometry"]]
    points = points.assign(point_id=["N0", "N1", "N2"], bark_mm=["6.5", "much", "7.0"])
    sent = visitor.send("/points/", "girth_may.geojson", points.to_json().encode())
    assert sent.status_code == 303
    for _ in range(2):
        page = visitor.get("/layers/").text.replace("&#39;", "'")
        assert "bark_mm = “much”, left out" in page
        assert "girth_may.geojson" in page
        assert "Found on " in page
        assert "held-in-project" not in page
    # The same layer once more: what was found in the earlier file is told on, each thing once.
    more = points.assign(point_id=["M0", "M1", "M2"], bark_mm=["6.5", "6.5", "little"])
    sent = visitor.send("/points/", "girth_june.geojson", more.to_json().encode())
    assert sent.status_code == 303
    page = visitor.get("/layers/").text.replace("&#39;", "'")
    assert page.count("bark_mm = “much”, left out") == 1
    assert page.count("bark_mm = “little”, left out") == 1
    # A layer that takes the place of another takes its faults away.
    blocks = layers.blocks.to_crs(4326).assign(planted_on=["1899-12-30", "2018-05-01"])
    assert visitor.send("/layers/", "blocks.geojson", blocks.to_json().encode()).status_code == 303
    assert "1899-12-30" in visitor.get("/layers/").text
    good = blocks.assign(planted_on=["2018-05-01", "2018-05-01"])
    assert visitor.send("/layers/", "blocks.geojson", good.to_json().encode()).status_code == 303
    page = visitor.get("/layers/").text.replace("&#39;", "'")
    assert "1899-12-30" not in page
    assert "bark_mm = “much”, left out" in page


def test_girth_points_come_on_top_and_another_layer_is_refused_there(loose):
    visitor, folder = loose
    points = gpd.read_file(folder / "girth.geojson").head(4)
    table = pd.DataFrame(
        {
            "point_id": [f"N{k}" for k in range(4)],
            "girth_cm": points["girth_cm"],
            "session_id": "May",
            "longitude": points.geometry.x,
            "latitude": points.geometry.y,
        }
    )
    answer = visitor.send("/points/", "girth_may.csv", table.to_csv(index=False).encode())
    assert answer.status_code == 303
    assert "girth_may.csv: 4 rows" in visitor.get("/layers/").text
    refused = visitor.send("/points/", "blocks.geojson", b"{}")
    assert refused.status_code == 422
    assert "girth_march.csv" in refused.text


def test_points_that_settle_most_others_come_first_then_the_least_sure(loose, monkeypatch):
    visitor, _ = loose
    saved = store.saved_frame

    def doubts(path, name):
        frame = saved(path, name)
        if name == "match_points":
            frame = frame.assign(probability=1.0, settles_points=0.0)
            frame.loc[[3, 5, 7, 9], "probability"] = [0.7, 0.5, 0.6, 0.4]
            frame.loc[[3, 5, 7, 9], "settles_points"] = [1.0, 2.8, 11.6, 0.9]
        return frame

    monkeypatch.setattr(store, "saved_frame", doubts)
    page = visitor.get("/points/").text
    shown = re.findall(r'name="point" value="([^"]+)"', page)
    ids = saved(next((loose[1] / "handed-out").glob("*.gpkg")), "match_points")["point_id"]
    assert list(dict.fromkeys(shown)) == ids.iloc[[7, 5, 9, 3]].tolist()
    assert re.findall(r"likely settles (\d+) points", page) == ["12", "3"]


def test_a_doubtful_point_is_set_on_a_tree_or_on_none(loose):
    visitor, folder = loose
    project = next((folder / "handed-out").glob("*.gpkg"))
    matches = read_layer(project, "match_points")
    page = visitor.get("/points/").text
    doubtful = matches[matches["probability"] < 0.9]
    assert f"{len(doubtful)} point" in page
    shown = re.findall(r'name="point" value="([^"]+)"', page)
    assert set(shown) <= set(doubtful["point_id"])
    point = matches["point_id"].iloc[3]
    tree = read_layer(project, "trees")["tree_id"].iloc[40]
    assert visitor.post("/points/confirm", {"point": point, "tree": tree}).status_code == 303
    said = store.confirmed(project).set_index("point_id")["tree_id"]
    assert said[point] == tree
    assert f"{point}: {tree}" in visitor.get("/points/").text
    assert visitor.post("/points/confirm", {"point": point, "tree": ""}).status_code == 303
    assert store.confirmed(project)["tree_id"].isna().all()
    wrong = visitor.post("/points/confirm", {"point": point, "tree": "B99"})
    assert wrong.status_code == 422
    assert "no tree_id B99" in wrong.text


def test_decisions_beats_and_rain_count_from_the_next_run_on(loose):
    visitor, folder = loose
    project = next((folder / "handed-out").glob("*.gpkg"))
    sums = read_layer(project, "task_sums")
    beat = sums["beat_id"].iloc[0]
    crew = read_layer(project, "crew").set_index("beat_id")["tapper_id"]
    assert crew[beat] in ("A1", "A2")
    visitor.post("/manage/block", {"block": "B01", "decision": "closed"})
    assert store.decisions(project) == {"B01": "closed"}
    assert "Counts from the next run on" in visitor.get("/manage/").text
    # Beats with high cuts go only to a tapper trained for the high knife.
    refused = visitor.post("/manage/beat", {"beat": beat, "tapper": "A1"})
    assert refused.status_code == (422 if sums["needs_high_knife"].any() else 303)
    assert visitor.post("/manage/beat", {"beat": beat, "tapper": "A2"}).status_code == 303
    assert visitor.post("/manage/rain", {"day": "2026-03-04", "beat": ""}).status_code == 303
    assert "4 Mar 2026, all beats" in visitor.get("/manage/").text
    winter = {"winter_from": "2026-12-20", "winter_to": "2027-01-20", "make_up": "wait"}
    winter["holiday_make_up"] = "rest day"
    assert run_now(visitor, **winter)["state"] == "done"
    page = visitor.get("/run/").text
    assert 'value="2026-12-20"' in page
    assert 'value="wait" selected' in page
    assert 'value="rest day" selected' in page
    after = read_layer(project, "crew").set_index("beat_id")
    assert after.loc[beat, "tapper_id"] == "A2"
    assert after.loc[beat, "why"] == "given by the manager"
    ready = read_layer(project, "block_readiness").set_index("block_id")
    assert "kept closed by the manager" in ready.loc["B01", "reason"]
    roster = read_layer(project, "roster")
    lost = roster[roster["date"].astype(str) == "2026-03-04"]
    assert (lost["kind"] == "rain-lost").all()
    page = visitor.get("/manage/").text
    assert "Counts from the next run on" not in page
    # A tapper who has left since: the beat is shared out, and the page says so.
    tappers = (folder / "tappers.csv").read_text()
    (folder / "tappers.csv").write_text(tappers.replace("A2", "A9"))
    assert run_now(visitor)["state"] == "done"
    page = visitor.get("/run/").text.replace("&#39;", "'")
    assert 'value="2026-12-20"' not in page
    assert "the tapper A2, who isn't in the layer any more" in page
    visitor.post("/manage/beat", {"beat": beat, "tapper": ""})
    visitor.post("/manage/block", {"block": "B01", "decision": ""})
    assert store.crew(project) is None
    assert store.decisions(project) == {}


def test_tasks_are_held_until_the_manager_asks_to_draw_them_anew(loose):
    visitor, folder = loose
    project = next((folder / "handed-out").glob("*.gpkg"))
    drawn = read_layer(project, "task_stops")
    # A plan whose rounds somebody knows by heart, and which nobody would draw so.
    turned = drawn.assign(
        stop_no=drawn.groupby("task_id")["stop_no"].transform(lambda stops: stops.to_numpy()[::-1])
    )
    write_layers(project, {"task_stops": turned})
    assert 'href="/run/#redraw"' in visitor.get("/manage/").text
    assert 'name="redraw"' in visitor.get("/run/").text
    assert run_now(visitor)["state"] == "done"
    assert first_trees(project) == first_trees_of(turned)
    assert run_now(visitor, redraw="yes")["state"] == "done"
    assert first_trees(project) == first_trees_of(drawn)


def first_trees_of(stops):
    """The tree at which each task begins."""
    return stops[stops["stop_no"] == 1].set_index("task_id")["tree_id"].to_dict()


def first_trees(project):
    return first_trees_of(read_layer(project, "task_stops"))


def test_before_the_first_plan_there_is_nothing_to_draw_anew(tmp_path):
    visitor = Visitor(make_app(layer_files(tmp_path), port=PORT))
    assert "redraw" not in visitor.get("/run/").text


def test_the_command_gives_beats_too(loose):
    _, folder = loose
    project = next((folder / "handed-out").glob("*.gpkg"))
    beat = read_layer(project, "task_sums")["beat_id"].iloc[0]
    told = CliRunner().invoke(commands, ["assign", str(project), beat, "A2"])
    assert told.exit_code == 0, told.output
    assert store.crew(project)["tapper_id"].tolist() == ["A2"]
    told = CliRunner().invoke(commands, ["assign", str(project), beat, "--nobody"])
    assert told.exit_code == 0, told.output
    assert store.crew(project) is None
    assert CliRunner().invoke(commands, ["assign", str(project), beat]).exit_code == 2


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"on": "yesterday"}, "a date such as"),
        ({"on": "2569-03-02"}, "a date of the Gregorian calendar, such as 2026-03-02"),
        ({"days": "900"}, "1 to 400 days"),
        ({"days": "-3"}, "a whole number of days"),
        ({"interval": "9"}, "2 to 7 days"),
        ({"make_up": "never"}, "next morning"),
        ({"holiday_make_up": "never"}, "next morning"),
        ({"winter_from": "2026-03-01"}, "a date such as"),
        ({"winter_from": "2026-03-09", "winter_to": "2026-03-01"}, "a first day before the last"),
        ({"winter_from": "2026-03-09", "winter_to": "2026-03-01"}, "from 2026-03-09 to 2026-03-01"),
        ({"standard": "none such"}, "none such"),
        ({"language": "xx"}, "one of en"),
    ],
)
def test_a_choice_out_of_its_range_is_named(visitor, fields, said):
    answer = visitor.post("/run/", {**RUN, **fields})
    assert answer.status_code == 422
    assert said in answer.text


def test_a_run_that_stops_says_why_and_leaves_what_was_handed_out(loose):
    visitor, folder = loose
    (folder / "blocks.geojson").write_bytes(b"{ broken")
    assert run_now(visitor)["state"] == "failed"
    page = visitor.get("/run/").text
    assert "blocks.geojson" in page
    assert "Handed out" in visitor.get("/").text
    assert run_now(visitor)["state"] == "failed"


def test_nothing_changes_while_a_run_is_on_its_way(folder, project):
    app = make_app(folder, port=PORT)
    visitor = Visitor(app)
    before = store.decisions(project)
    desk = app.extensions["desk"]
    with desk.writing():
        for path, fields in [
            ("/manage/block", {"block": "B01", "decision": "open"}),
            ("/run/", RUN),
            ("/points/confirm", {"point": "P0001", "tree": ""}),
        ]:
            answer = visitor.post(path, fields)
            assert answer.status_code == 422
            assert "one at a time" in answer.text
        answer = visitor.send("/layers/", "tappers.csv", b"tapper_id\nA1\n")
        assert "one at a time" in answer.text
    assert store.decisions(project) == before


@pytest.mark.parametrize("path", ["/run/", "/layers/", "/points/", "/manage/block"])
@pytest.mark.parametrize(
    ("headers", "token"),
    [
        ({"Origin": "http://elsewhere.example"}, True),
        ({"Origin": "null"}, True),
        ({"Origin": f"http://127.0.0.1:{PORT + 1}"}, True),
        ({"Origin": f"https://127.0.0.1:{PORT}"}, True),
        ({"Referer": "http://elsewhere.example/page"}, True),
        ({}, True),
        ({"Origin": HERE}, False),
    ],
    ids=["site", "null", "port", "scheme", "referer", "nowhere", "token"],
)
def test_another_site_cannot_drive_the_page(visitor, project, path, headers, token):
    # OWASP, Cross-Site Request Forgery Prevention Cheat Sheet: origin and token (from memory).
    before = project.read_bytes()
    fields = {"block": "B01", "decision": "open", **RUN}
    fields["token"] = visitor.token if token else "x" * 43
    answer = visitor.post(path, fields, headers=headers)
    assert answer.status_code == 403
    assert "Nothing was changed" in answer.text
    assert project.read_bytes() == before


def test_a_foreign_name_that_leads_here_is_refused(visitor):
    for host in ("http://elsewhere.example:8787", "http://127.0.0.1:9999", "http://0.0.0.0:8787"):
        assert visitor.client.get("/", base_url=host).status_code == 403


def test_no_page_can_be_framed_elsewhere_and_no_file_is_guessed(visitor):
    answer = visitor.get("/")
    assert "frame-ancestors 'none'" in answer.headers["Content-Security-Policy"]
    assert answer.headers["X-Content-Type-Options"] == "nosniff"
    given = visitor.get("/handed-out/en/overview.html").headers["Content-Security-Policy"]
    assert "sandbox allow-scripts" in given
    assert "allow-same-origin" not in given


@pytest.mark.parametrize(
    "path",
    [
        "/handed-out/maps/../../blocks.geojson",
        "/handed-out/maps/..%2f..%2fblocks.geojson",
        "/handed-out/maps/%2e%2e/%2e%2e/blocks.geojson",
        "/handed-out/../blocks.geojson",
        "/handed-out/fr/maps/../../blocks.geojson",
        "/handed-out/fr/maps/..%2f..%2f..%2fblocks.geojson",
        "/handed-out/fr/maps/.hidden.html",
        "/handed-out/fr/tables/trees.csv",
        "/handed-out/maps/..\\..\\blocks.geojson",
        "/handed-out/maps//etc/passwd",
        "/handed-out/set-aside/blocks.geojson",
        "/handed-out/tables/.hidden",
        "/handed-out/maps/%00",
        "/static/../serving.py",
    ],
)
def test_only_what_a_run_hands_out_is_served(visitor, path):
    assert visitor.get(path).status_code in (400, 404)


def test_a_file_that_is_too_large_is_refused(folder):
    app = make_app(folder, port=PORT)
    visitor = Visitor(app)
    app.config["MAX_CONTENT_LENGTH"] = 2_000
    answer = visitor.send("/layers/", "tappers.csv", b"x" * 5_000)
    assert answer.status_code == 413
    assert "Nothing was changed" in answer.text


def test_names_from_the_layers_are_shown_as_text(loose):
    visitor, folder = loose
    project = next((folder / "handed-out").glob("*.gpkg"))
    tappers = read_layer(project, "tappers").assign(name="<script>alert(1)</script>")
    write_layers(project, {"tappers": tappers})
    for path in ("/", "/manage/"):
        page = visitor.get(path).text
        assert "<script>alert" not in page
        assert "&lt;script&gt;" in page


@pytest.mark.parametrize(
    "name",
    ["", "girth", "con.csv", ".girth.csv/..", "girth" * 40 + ".csv", f"girth_{'ก' * 90}.csv"],
)
def test_a_name_that_cannot_be_kept_is_refused(name):
    with pytest.raises(SettingError):
        plain_name(name)


def test_a_cooperative_with_little_to_show_still_has_every_page(tmp_path):
    folder = layer_files(tmp_path)
    for name in ("girth.geojson", "tappers.csv", "places.geojson", "obstacles.geojson"):
        (folder / name).unlink()
    visitor = Visitor(make_app(folder, port=PORT))
    assert run_now(visitor)["state"] == "done"
    for path in ("/", "/layers/", "/points/", "/manage/", "/run/"):
        assert visitor.get(path).status_code == 200, path
    assert "No tapper" in visitor.get("/").text or "No block is open" in visitor.get("/").text


def test_what_is_not_a_project_is_refused_before_the_page_starts(tmp_path):
    path = tmp_path / "notes.gpkg"
    path.write_text("not a project")
    with pytest.raises(UnreadableError, match=r"notes\.gpkg"):
        make_app(path)


@contextmanager
def served(app, port):
    server = make_server("127.0.0.1", port, app, threaded=True)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{port}"
    server.shutdown()
    thread.join()


def free_port():
    probe = make_server("127.0.0.1", 0, lambda *_: [])
    port = probe.server_port
    probe.server_close()
    return port


# Headings and links that are as wide as their text in their own font: what was laid out with
# another font, or with empty boxes for want of one, isn't.
MISSHAPED = """async () => {
    await document.fonts.ready;
    const context = document.createElement('canvas').getContext('2d');
    return [...document.querySelectorAll('h1, h2, body > nav a')].filter((one) => {
        const range = document.createRange();
        range.selectNodeContents(one);
        const style = getComputedStyle(one);
        context.font = [style.fontWeight, style.fontSize, style.fontFamily].join(' ');
        const lines = range.getClientRects();
        return lines.length === 1
            && Math.abs(lines[0].width - context.measureText(one.textContent.trim()).width) > 2;
    }).map((one) => one.textContent);
}"""


# The rules of WCAG 2.2 level AA as far as a machine can judge them: axe-core, Deque Systems.
@pytest.mark.browser
@pytest.mark.parametrize(
    ("size", "language"),
    [(PHONE, "en"), ({"width": 1280, "height": 900}, "fr"), (PHONE, "ml"), (PHONE, "th")],
)
def test_every_page_opens_without_the_network_and_keeps_the_rules(folder, visitor, size, language):
    rules = (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text("utf-8")
    port = free_port()
    faults, asked = [], []
    with served(make_app(folder, port=port), port) as address, browser() as chromium:
        # The page's own rules forbid foreign scripts: the test's must be let through.
        context = chromium.new_context(viewport=size, bypass_csp=True, locale=language)
        context.route(lambda url: not url.startswith(address), lambda route: route.abort())
        page = context.new_page()
        page.on("console", lambda m: faults.append(m.text) if m.type != "log" else None)
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("request", lambda request: asked.append(request.url))
        for path in ("/", "/layers/", "/points/", "/manage/", "/run/", "/no-such-page"):
            page.goto(address + path)
            page.wait_for_selector("body[data-ready=yes]")
            assert page.get_attribute("html", "lang") == language
            wide = page.evaluate("document.documentElement.scrollWidth")
            assert wide <= size["width"], path
            assert page.evaluate(MISSHAPED) == [], path
            small = page.evaluate(
                """() => [...document.querySelectorAll('button, select, summary, nav a, a.deep')]
                    .map((one) => [one.textContent, one.getBoundingClientRect()])
                    .filter(([, box]) => box.width && (box.width < 44 || box.height < 44))
                    .map(([text, box]) => [text, box.width, box.height])"""
            )
            assert small == [], path
            page.evaluate(rules)
            broken = page.evaluate(
                """async () => (await axe.run(document, { iframes: false, runOnly: [
                    'wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] }))
                    .violations.map((one) => [one.id, one.nodes.map((node) => node.html)])"""
            )
            assert broken == [], path
        context.close()
    assert [url for url in asked if not url.startswith((address, "data:"))] == []
    assert [f for f in faults if "404" not in f] == []


@pytest.mark.browser
def test_the_map_follows_the_language_that_is_chosen_and_keeps_it_from_map_to_map(folder, visitor):
    port = free_port()
    with served(make_app(folder, port=port), port) as address, browser() as chromium:
        page = chromium.new_page(viewport={"width": 1000, "height": 800}, locale="en")
        page.goto(address + "/")
        page.select_option("#page-language", "th")
        page.get_by_role("button", name="Choose").click()
        page.wait_for_selector("html[lang=th] body[data-ready=yes]")
        page.locator("iframe.map").scroll_into_view_if_needed()
        frame = page.frame_locator("iframe.map")
        frame.locator("html[lang=th] body[data-ready=yes]").wait_for(timeout=20_000)
        # As the maps' own links to each other do.
        for link, there in (("maps/B01.html", "/th/maps/B01.html"), ("../overview.html", "/th/o")):
            inside = page.frames[1]
            inside.evaluate("(link) => { location.href = link; }", link)
            inside.wait_for_url(f"**{there}*")
            frame.locator("html[lang=th] body[data-ready=yes]").wait_for(timeout=20_000)


@pytest.mark.browser
def test_a_person_can_decide_and_run_by_keyboard(loose):
    _, folder = loose
    port = free_port()
    faults = []
    with served(make_app(folder, port=port), port) as address, browser() as chromium:
        page = chromium.new_page(viewport=PHONE)
        page.on("console", lambda m: faults.append(m.text) if m.type != "log" else None)
        page.goto(address + "/manage/")
        button = page.get_by_role("button", name="Close it B02")
        button.focus()
        page.keyboard.press("Enter")
        page.wait_for_selector(".said")
        assert "B02 is closed" in page.inner_text(".said")
        page.goto(address + "/run/")
        page.fill("#on", "2026-03-02")
        page.get_by_role("button", name="Run the plan").focus()
        page.keyboard.press("Enter")
        page.wait_for_selector(".summary", timeout=300_000)
        assert "1 wait" in page.inner_text(".summary")
        page.goto(address + "/")
        frame = page.frame_locator("iframe.map")
        frame.locator("body[data-ready=yes]").wait_for(timeout=20_000)
        page.get_by_role("link", name="B01", exact=True).focus()
        page.keyboard.press("Enter")
        page.wait_for_url("**/maps/B01.html")
        page.wait_for_selector("body[data-ready=yes]", timeout=20_000)
        assert "B01" in page.title()
    assert faults == []
