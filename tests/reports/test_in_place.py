"""A hand-out that is cut short leaves the old one whole, or a note that says it isn't."""

from __future__ import annotations

import os
import time
from datetime import date
from pathlib import Path
from types import SimpleNamespace

import pytest

from estate.app import runs
from estate.plan_settings import PlanSettings
from reports.file_names import LIST_NAME, leave_only
from reports.in_place import SCRATCH, UNFINISHED, put_in_place, scratch_beside


def written(folder: Path, *names: str, words: str) -> dict[str, list[Path]]:
    for name in names:
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(words)
    return {"maps": [folder / name for name in names]}


def contents(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text()
        for path in folder.rglob("*")
        if path.is_file()
    }


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    leave_only(tmp_path, written(tmp_path, "maps/B1.html", "maps/B2.html", words="old"))
    (tmp_path / "maps" / "mine.txt").write_text("mine")
    return tmp_path


def test_new_files_take_the_place_of_the_old_and_the_users_own_stay(folder: Path) -> None:
    with scratch_beside(folder) as scratch:
        made = written(scratch, "maps/B1.html", "maps/B3.html", words="new")
        moved = put_in_place(scratch, folder, made)
    assert moved == {"maps": [folder / "maps/B1.html", folder / "maps/B3.html"]}
    assert contents(folder) == {
        "maps/B1.html": "new",
        "maps/B3.html": "new",
        "maps/mine.txt": "mine",
        LIST_NAME: "maps/B1.html\nmaps/B3.html\n",
    }


def test_a_move_that_is_cut_short_is_noted_until_the_next_run(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    move = Path.replace

    def full(self: Path, target: Path) -> Path:
        if self.name == "B2.html":
            raise OSError(28, "No space left on device", str(target))
        return move(self, target)

    with monkeypatch.context() as patched:
        patched.setattr(Path, "replace", full)
        with pytest.raises(OSError, match="No space"), scratch_beside(folder) as scratch:
            put_in_place(
                scratch, folder, written(scratch, "maps/B1.html", "maps/B2.html", words="new")
            )
    assert "two runs" in (folder / UNFINISHED).read_text()
    with scratch_beside(folder) as scratch:
        put_in_place(scratch, folder, written(scratch, "maps/B1.html", "maps/B2.html", words="3"))
    assert not (folder / UNFINISHED).exists()
    assert contents(folder)["maps/B2.html"] == "3"


def test_what_a_killed_run_left_is_cleared_after_a_day(folder: Path) -> None:
    for name, age_s in (("old", 3 * 86400), ("running", 0)):
        left = folder / f"{SCRATCH}{name}"
        left.mkdir()
        (left / "half.pdf").write_text("half")
        os.utime(left, (time.time() - age_s,) * 2)
    with scratch_beside(folder):
        pass
    assert [path.name for path in folder.glob(f"{SCRATCH}*")] == [f"{SCRATCH}running"]


@pytest.mark.parametrize("cut", [KeyboardInterrupt(), OSError(28, "No space left", "x")])
def test_a_run_that_is_stopped_while_it_writes_changes_nothing(
    tmp_path: Path, folder: Path, monkeypatch: pytest.MonkeyPatch, cut: BaseException
) -> None:
    project = folder / "group.gpkg"
    project.write_bytes(b"as it was")
    before = contents(folder)

    def half(plan: object, scratch: Path, **_: object) -> dict[str, list[Path]]:
        written(scratch, "maps/B1.html", words="new")
        raise cut

    plan = SimpleNamespace(faults=(), task_sums={"task_id": []})
    intake = SimpleNamespace(layers=None, faults=(), sources=())
    monkeypatch.setattr(runs, "bring_in", lambda *_, **__: intake)
    monkeypatch.setattr(runs, "settle", lambda _: None)
    monkeypatch.setattr(runs, "with_decisions_of", lambda _, settings: settings)
    monkeypatch.setattr(runs, "with_earlier", lambda _, faults: faults)
    monkeypatch.setattr(runs, "unknown_keys", lambda *_, **__: ())
    monkeypatch.setattr(runs, "plan_estate", lambda *_, **__: plan)
    monkeypatch.setattr(runs, "hand_out", half)
    with pytest.raises(type(cut)) as caught:
        runs.run_plan(
            project,
            PlanSettings(on=date(2026, 3, 2)),
            out=None,
            epsg=None,
            name="Group",
            language="en",
            say=lambda _: None,
        )
    assert caught.value is cut
    assert contents(folder) == before
