"""TOML files: faults stand at their lines, comments stay, nothing is overwritten unasked."""

import os
from pathlib import Path

import pytest

from firing.errors import FiringError
from firing.files.tomledit import render
from firing.files.tomlfile import FaultyFile, key_lines, parse, read_text, write_text

TEXT = '''# about this file
title = "x"  # said once
"quoted key" = [
  1, 2,
  # rate = 3
]
story = """
target = 5
[[segment]]
"""

# why the first
[[segment]]
rate = 1
where = { deep = 1, deeper = { deepest = 2 } }

[[segment]]
# inside the second
rate = 2
[segment.more]
rate = 3

[fitted]
power = 1.0
'''


def test_every_key_is_found_at_its_line() -> None:
    lines = key_lines(TEXT)
    expected = {
        ("title",): "title",
        ("quoted key",): '"quoted key"',
        ("story",): "story",
        ("segment", 0, "rate"): "rate = 1",
        ("segment", 0, "where"): "where",
        ("segment", 1, "rate"): "rate = 2",
        ("segment", 1, "more", "rate"): "rate = 3",
        ("fitted", "power"): "power",
    }
    rows = TEXT.splitlines()
    for path, begins in expected.items():
        assert rows[lines[path] - 1].startswith(begins), path
    assert ("target",) not in lines


def test_a_syntax_fault_names_its_line() -> None:
    with pytest.raises(FaultyFile, match=r"^plan\.toml:3: is not TOML here"):
        parse('a = 1\nb = "x"\nc = = 2\n', "plan.toml")


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is empty"),
        (b"  \n", "is empty"),
        (b"a = 1\nb = \xff\n", ":2: is not UTF-8"),
        (b"a = 1\0", "binary"),
        (b"#" * 1_100_000, "larger than 1 MB"),
    ],
)
def test_files_that_are_no_toml_are_told_apart(tmp_path: Path, content: bytes, words: str) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(content)
    with pytest.raises(FaultyFile, match=words):
        read_text(path)


def test_a_directory_and_a_missing_file_are_said_to_be_that(tmp_path: Path) -> None:
    with pytest.raises(FaultyFile, match="is a directory"):
        read_text(tmp_path)
    with pytest.raises(FaultyFile, match="no such file"):
        read_text(tmp_path / "none.toml")


def test_a_byte_order_mark_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "f.toml"
    path.write_bytes(b"\xef\xbb\xbfa = 1\n")
    assert parse(read_text(path), "f") == {"a": 1}


def test_nothing_is_overwritten_without_being_asked(tmp_path: Path) -> None:
    path = tmp_path / "f.toml"
    write_text(path, "a = 1\n")
    with pytest.raises(FiringError, match="exists already"):
        write_text(path, "a = 2\n")
    assert path.read_text() == "a = 1\n"
    write_text(path, "a = 2\n", overwrite=True)
    assert path.read_text() == "a = 2\n"
    assert [p.name for p in tmp_path.iterdir()] == ["f.toml"]


def test_a_file_keeps_its_mode_when_it_is_rewritten(tmp_path: Path) -> None:
    path = tmp_path / "f.toml"
    path.write_text("a = 1\n")
    os.chmod(path, 0o640)
    write_text(path, "a = 2\n", overwrite=True)
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_folder_that_is_not_there_is_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(FiringError, match="cannot be written"):
        write_text(tmp_path / "no" / "f.toml", "a = 1\n")


def test_unchanged_data_leave_every_byte() -> None:
    assert render(parse(TEXT, ""), TEXT) == TEXT


def test_a_comment_stays_with_its_own_table() -> None:
    base = "# first\n[[s]]\nrate = 1\nn = 1\n\n# second\n[[s]]\nrate = 2 # two\nn = 2\n"
    assert render({"s": [{"rate": 2, "n": 2}]}, base) == "# second\n[[s]]\nrate = 2 # two\nn = 2\n"
    swapped = render({"s": [{"rate": 2, "n": 2}, {"rate": 1, "n": 1}]}, base)
    assert swapped.index("# second") < swapped.index("rate = 2") < swapped.index("# first")
    edited = render({"s": [{"rate": 1, "n": 1}, {"rate": 5, "n": 2}]}, base)
    assert "# second\n[[s]]\nrate = 5 # two\n" in edited


def test_where_it_is_known_which_table_is_which_likeness_has_no_say() -> None:
    base = "# a\n[[s]]\nn = 1\n\n# b\n[[s]]\nn = 2\n\n# c\n[[s]]\nn = 3\n"
    # by likeness a and b would stay where they are, with their comments
    wanted = {"s": [{"n": 2}, {"n": 4}, {"n": 1}]}
    written = render(wanted, base, {"s": (0, None, 2)})
    assert written == "# a\n[[s]]\nn = 2\n\n[[s]]\nn = 4\n\n# c\n[[s]]\nn = 1\n"


def test_new_tables_and_keys_are_added_and_gone_ones_removed() -> None:
    data = {"a": 2, "s": [{"r": 1}, {"r": 2}], "t": {"x": 1.5}}
    written = render(data, "a = 1 # one\nb = 3\n\n[[s]]\nr = 1\n")
    assert parse(written, "") == data
    assert "a = 2 # one" in written
    assert "b" not in written


def test_brackets_without_end_are_a_fault_and_no_crash() -> None:
    with pytest.raises(FaultyFile, match="nested too deeply"):
        parse("a = " + "[" * 20_000, "deep.toml")


@pytest.mark.parametrize("name", ["x" * 5000, "a\0b"])
def test_names_that_no_file_can_have_are_refused_in_words(name: str) -> None:
    with pytest.raises(FaultyFile):
        read_text(Path(name))
