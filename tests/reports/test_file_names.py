import pytest

from reports.file_names import LIST_NAME, file_name, file_names, leave_only


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


@pytest.mark.parametrize("key", ["é" * 400, "मण्डल" * 90, "x" * 1000])
def test_a_long_name_is_cut_so_that_a_system_takes_it(key, tmp_path):
    # NAME_MAX of common file systems is 255 bytes: POSIX.1-2017, limits.h; ext4 documentation.
    one, other = file_names([key + "1", key + "2"]).values()
    assert one != other
    for name in (one, other, file_name(key)):
        assert len(f"sheet-{name}-of-a-block.html".encode()) <= 255
        (tmp_path / f"{name}.html").touch()
        assert name.encode().decode() == name


@pytest.mark.parametrize("key", ["CON", "nul", "Aux.7", "../com1", "LPT9"])
def test_no_file_has_a_device_s_name(key):
    # Microsoft, Naming Files, Paths, and Namespaces: these names, also followed by an extension.
    stem = f"{file_name(key)}.html".split(".")[0]
    assert stem.casefold() not in {"con", "nul", "aux", "com1", "lpt9"}
    assert file_name("console") == "console"
