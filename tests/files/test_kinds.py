"""Kinds of files: each is registered under its name, and reads what comes ready of it."""

from pathlib import Path

import pytest

from firing.errors import FiringError
from firing.files.kinds import KIND_NAMES, example_names, file_kind, kind_of_text, ready_names


@pytest.mark.parametrize("name", KIND_NAMES)
def test_a_kind_is_found_under_its_own_name(name: str) -> None:
    assert file_kind(name).name == name


@pytest.mark.parametrize("name", [*ready_names(), *example_names()])
def test_what_comes_ready_is_read_by_its_name_as_what_it_is(name: str) -> None:
    kind = "schedule" if name in ready_names() else name.split("-")[1]
    text = file_kind(kind).text(name)
    assert kind_of_text(text) == kind
    assert file_kind(kind).open(name) == file_kind(kind).parse(text, name)


@pytest.mark.parametrize("kind", KIND_NAMES)
def test_a_key_that_does_not_belong_is_named_with_its_line(kind: str) -> None:
    with pytest.raises(FiringError, match=rf"{kind}:2: hodl: is not a key here"):
        file_kind(kind).parse("\nhodl = 1\n")


def test_a_file_that_lies_here_goes_before_a_ready_one(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("example-kiln").write_text("here = true\n", encoding="utf-8")
    assert file_kind("kiln").text("example-kiln") == "here = true\n"


def test_a_slip_in_the_name_of_an_example_names_it() -> None:
    with pytest.raises(FiringError, match='did you mean the example "example-kiln"'):
        file_kind("kiln").open("exampel-kiln")
    with pytest.raises(FiringError, match=r"no such file$"):
        file_kind("kiln").open("example-load-thin-cups.tom")  # an example, but of no kiln
