"""A project's surroundings follow its folder, and what was found stays known on a re-plan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from estate import store
from estate.app.beside import check_beside, own_standards_file, put_beside
from estate.app.runs import with_earlier
from estate.found_earlier import FAULTS, saved_faults
from estate.store import SETTINGS
from layers.contract import LAYERS, Layers
from layers.errors import Fault, SettingError
from layers.geopackage import read_layer, write_layers
from layers.terrain import read_terrain
from tests.reports.small_plan import small_plan


@pytest.fixture(scope="module")
def layers() -> Layers:
    return small_plan(blocks=2, rows=4, trees_a_row=6).layers


@pytest.fixture
def places(tmp_path: Path) -> tuple[Path, Path]:
    home, out = tmp_path / "layers", tmp_path / "out"
    home.mkdir()
    out.mkdir()
    return home, out / "group.gpkg"


def run(source: Path, project: Path, layers: Layers, **given: Path) -> None:
    """Do of a run what concerns the files beside the project."""
    import pandas as pd

    check_beside(source, project, layers, **given)
    kept = put_beside(source, project, layers, **given).as_settings()
    settings = pd.DataFrame({"name": list(kept), "value": list(kept.values())})
    write_layers(project, {"blocks": layers.blocks, SETTINGS: settings})


def test_terrain_and_notes_follow_the_folder(places, layers: Layers) -> None:
    home, project = places
    (home / "holidays.csv").write_text("date\n2026-12-25\n")
    (home / "cuts.csv").write_text("block_id,panel,foot_cm\n")
    run(home, project, layers)
    assert layers.terrain is not None
    higher = replace(layers.terrain, elevation_m=layers.terrain.elevation_m + 5.0)
    (home / "cuts.csv").unlink()
    (home / "holidays.csv").write_text("date\n2026-12-26\n")
    run(home, project, replace(layers, terrain=higher))
    kept, _ = read_terrain(project.parent / "terrain.tif", crs=layers.crs)
    assert (kept.elevation_m == higher.elevation_m).all()
    assert (project.parent / "holidays.csv").read_text().endswith("26\n")
    assert not (project.parent / "cuts.csv").exists()
    run(home, project, replace(layers, terrain=None))
    assert not (project.parent / "terrain.tif").exists()


def test_a_run_on_the_project_leaves_what_lies_beside_it(places, layers: Layers) -> None:
    home, project = places
    (home / "holidays.csv").write_text("date\n2026-12-25\n")
    run(home, project, layers)
    (project.parent / "absences.csv").write_text("tapper_id,date\n")
    run(project, project, layers)
    names = {path.name for path in project.parent.iterdir()}
    assert names == {"group.gpkg", "terrain.tif", "holidays.csv", "absences.csv"}
    run(home, project, layers)
    assert (project.parent / "absences.csv").exists()


def test_a_file_of_the_users_in_the_way_is_left_alone(places, layers: Layers) -> None:
    home, project = places
    (project.parent / "terrain.tif").write_bytes(b"mine")
    with pytest.raises(SettingError, match=r"terrain\.tif.*--out"):
        run(home, project, layers)
    assert (project.parent / "terrain.tif").read_bytes() == b"mine"


def test_layers_and_project_in_one_folder_keep_the_users_terrain(
    tmp_path: Path, layers: Layers
) -> None:
    (tmp_path / "terrain.tif").write_bytes(b"mine")
    run(tmp_path, tmp_path / "group.gpkg", layers)
    assert (tmp_path / "terrain.tif").read_bytes() == b"mine"


def test_standards_named_by_the_user_stay_with_the_project(places, layers: Layers) -> None:
    home, project = places
    given = home.parent / "ours.toml"
    given.write_text("# ours\n")
    run(home, project, layers, own_standards=given)
    assert own_standards_file(project, project.parent, None).read_text() == "# ours\n"
    run(home, project, layers)
    assert own_standards_file(project, home, None).read_text() == "# ours\n"
    (home / "standards.toml").write_text("# folder\n")
    run(home, project, layers)
    assert own_standards_file(project, home, None) == home / "standards.toml"
    (home / "standards.toml").unlink()
    run(home, project, layers)
    assert own_standards_file(project, home, None) is None


def test_standards_named_on_a_project_dont_overwrite_the_users_own(places, layers: Layers) -> None:
    _, project = places
    given = project.parent.parent / "ours.toml"
    given.write_text("# ours\n")
    run(project, project, layers, own_standards=given)
    assert (project.parent / "standards.toml").read_text() == "# ours\n"
    given.write_text("# newer\n")
    run(project, project, layers, own_standards=given)
    assert (project.parent / "standards.toml").read_text() == "# newer\n"
    other = project.parent.parent / "other"
    other.mkdir()
    (other / "standards.toml").write_text("# theirs\n")
    kept = put_beside(other / "p.gpkg", other / "p.gpkg", layers, own_standards=given)
    assert "left as it is" in kept.faults[0].found
    assert (other / "standards.toml").read_text() == "# theirs\n"


FOUND = Fault(
    severity="mended",
    file="blocks.kml",
    layer="blocks",
    row="B09",
    found="a boundary that isn't a plain ring; made valid",
    expected="a ring",
    remedy="Look at it.",
)


def test_what_the_first_run_found_is_told_on_a_run_from_the_project(
    tmp_path: Path, layers: Layers, monkeypatch: pytest.MonkeyPatch
) -> None:
    project = tmp_path / "group.gpkg"
    write_layers(project, {name: getattr(layers, name) for name in LAYERS})
    saved: Callable[..., None] = store.save_plan
    monkeypatch.setattr(store, "result_layers", lambda _: {})
    from types import SimpleNamespace

    import pandas as pd

    small = small_plan(blocks=2, rows=4, trees_a_row=6)
    plan = SimpleNamespace(
        name="g",
        on=small.on,
        layers=layers,
        standard=small.standard,
        rounds=SimpleNamespace(
            interval_days=3,
            start=small.on,
            days=28,
            make_up="wait",
            holiday_make_up="wait",
            wintering=None,
        ),
        tapped_before=pd.DataFrame({"tree_id": ["x"], "last_tapped": [small.on]}),
    )
    saved(project, plan, faults=(FOUND,))
    assert FAULTS in store.layer_names(project)
    (again,) = saved_faults(project)
    assert again == replace(FOUND, as_of="2026-03-02")
    assert str(again).endswith("(Found on 2026-03-02.)")
    # A later run carries it on as of the run that found it, and one that finds it anew says so.
    assert with_earlier(project, ()) == (again,)
    assert with_earlier(project, (FOUND,)) == (FOUND,)
    assert with_earlier(tmp_path, ()) == ()
    saved(project, plan, faults=with_earlier(project, ()))
    assert saved_faults(project) == (again,)
    assert read_layer(project, FAULTS)["row"].tolist() == ["B09"]
