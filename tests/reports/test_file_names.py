from reports.file_names import LIST_NAME, file_names, leave_only


def test_keys_that_look_alike_get_names_of_their_own():
    keys = ["A/1", "A-1", "A 1", "a-1", "B"]
    names = file_names(keys)
    assert len({name.casefold() for name in names.values()}) == len(keys)
    assert names["B"] == "B"
    assert names == file_names(reversed(keys))


def test_what_the_last_run_wrote_and_this_one_does_not_is_taken_away(tmp_path):
    (tmp_path / "sheets").mkdir()
    old, kept, own = (tmp_path / "sheets" / n for n in ("A.pdf", "B.pdf", "notes.txt"))
    for path in (old, kept, own):
        path.write_text("x")
    leave_only(tmp_path, {"sheets": [old, kept]})
    leave_only(tmp_path, {"sheets": [kept]})
    assert not old.exists()
    assert kept.exists()
    assert own.exists()
    assert (tmp_path / LIST_NAME).read_text() == "sheets/B.pdf\n"


def test_nothing_outside_the_folder_is_taken_away(tmp_path):
    folder, beside = tmp_path / "out", tmp_path / "beside.txt"
    folder.mkdir()
    beside.write_text("x")
    (folder / LIST_NAME).write_text("../beside.txt\n")
    leave_only(folder, {})
    assert beside.exists()
