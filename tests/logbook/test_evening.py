"""A potter's evening with the logbook: keep a folder, find a firing, compare, note, carry away."""

import json
from pathlib import Path

import pytest
from commandline import call
from logbook.studio import PLANS, make_folder

from firing.schedule.file import open_schedule


@pytest.fixture(scope="module")
def evening(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which ten logs lie in `logs` and are kept in `studio.sqlite`."""
    place = tmp_path_factory.mktemp("evening")
    make_folder(place / "logs")
    kept = call(place, "keep", "logs", "--logbook", "studio.sqlite", "--json")
    assert kept.returncode == 0, kept.stderr
    (place / "kept.json").write_text(kept.stdout)
    return place


def ask(place: Path, *words: str) -> dict[str, object]:
    done = call(place, *words, "--logbook", "studio.sqlite", "--json")
    assert done.returncode in (0, 1), done.stderr
    document: dict[str, object] = json.loads(done.stdout)
    return document


def test_a_folder_is_kept_each_log_with_its_plan_and_the_reason(evening: Path) -> None:
    document = json.loads((evening / "kept.json").read_text())
    assert document["counts"] == {"kept": 10}
    titles = [open_schedule(name).title for name in PLANS]
    for number, one in enumerate(document["logs"]):
        assert one["plan"] == titles[number % 2], one
        assert one["kiln"] == "Workshop kiln"
        assert one["why"]


def test_the_same_folder_twice_is_nothing_new(evening: Path) -> None:
    again = call(evening, "keep", "logs", "--logbook", "studio.sqlite")
    assert "10 in the logbook already" in again.stdout
    assert ask(evening, "logbook", "list")["total"] == 10


def test_that_good_glaze_firing_of_march_is_found_and_opened(evening: Path) -> None:
    added = call(evening, "logbook", "add", "4", "--note", "The celadon came out so good",
                 "--witness", "8=5:00@middle", "--kwh", "61.5", "--cost", "18,40 EUR",
                 "--logbook", "studio.sqlite")  # fmt: skip
    assert added.returncode == 0, added.stderr
    found = ask(evening, "logbook", "find", "that", "good", "glaze", "firing", "of", "March")
    (one,) = found["firings"]
    assert (one["id"], one["started"][:10], one["purpose"]) == (4, "2026-03-14", "glaze")
    assert (one["kwh"], one["cost"], one["currency"]) == (61.5, 18.4, "EUR")
    (cone,) = one["witnesses"]
    assert (cone["cone"], cone["place"]) == ("8", "middle")
    assert cone["offset_c"] is not None
    shown = ask(evening, "logbook", "show", "4")
    assert shown["review"]["compared"] is True
    text = call(evening, "logbook", "show", "4", "--logbook", "studio.sqlite").stdout
    assert "The celadon came out so good" in text
    assert "Used: 61.5 kWh, 18.40 EUR" in text


def test_a_review_says_the_same_in_the_logbook_as_by_itself(evening: Path) -> None:
    by_hand = call(evening, "review", "stoneware-glaze-1240", "logs/log-01.csv", "--kiln",
                   "example-kiln", "--json")  # fmt: skip
    shown = ask(evening, "logbook", "show", "2")
    alone, kept = json.loads(by_hand.stdout), shown["review"]
    assert [name for name in alone if alone[name] != kept[name]] in ([], ["log"])
    text = call(evening, "logbook", "show", "2", "--logbook", "studio.sqlite").stdout
    assert "Reviewed in Workshop kiln" in text
    listed = call(evening, "logbook", "list", "--logbook", "studio.sqlite").stdout
    assert "cone (plan)" in listed
    # The review's own figures: cone 8.4 by the readings where 8 was the target.
    assert f"{alone['cones']['reached_number']:.1f} (8)" in listed


def test_a_list_of_a_cone_is_of_those_that_show_it(evening: Path) -> None:
    assert ask(evening, "logbook", "list", "--cone", "8")["total"] == 5
    assert ask(evening, "logbook", "list", "--cone", "6")["total"] == 0


def test_cones_that_contradict_each_other_are_asked_about(evening: Path) -> None:
    done = call(evening, "logbook", "add", "4", "--witness", "6=3:00@top", "--witness", "7=down",
                "--logbook", "studio.sqlite")  # fmt: skip
    assert done.returncode == 2
    assert "contradict each other: cones 6 and 7 exchanged?" in done.stderr


def test_what_a_person_named_is_said_to_be_named(evening: Path) -> None:
    call(evening, "logbook", "add", "6", "--plan", "stoneware-glaze-1240", "--logbook",
         "studio.sqlite")  # fmt: skip
    reason = ask(evening, "logbook", "show", "6")["firing"]["matched"]
    assert reason == "you named it; kiln: the only one there is"


def test_two_firings_are_compared(evening: Path) -> None:
    beside = ask(evening, "logbook", "compare", "4", "2")
    assert [one["log"] for one in beside["firings"]] == ["log-03.csv", "log-01.csv"]
    glazes = ask(evening, "logbook", "compare", "--plan", "stoneware glaze")
    assert glazes["numbers"] == [10, 8, 6, 4, 2]


def test_new_elements_are_noted(evening: Path) -> None:
    done = call(evening, "logbook", "event", "workshop kiln", "new elements", "--on", "2026-04-20",
                "--note", "all six", "--logbook", "studio.sqlite", "--json")  # fmt: skip
    (event,) = json.loads(done.stdout)["events"]
    assert (event["kiln"], event["kind"], event["words"]) == (
        "Workshop kiln", "new elements", "all six"
    )  # fmt: skip
    assert event["when"].startswith("2026-04-20")
    done = call(evening, "logbook", "event", "Other kiln", "--remove", str(event["id"]),
                "--logbook", "studio.sqlite")  # fmt: skip
    assert f"event {event['id']} is of Workshop kiln, not of Other kiln" in done.stderr


def test_a_kiln_alone_lists_its_events(tmp_path: Path) -> None:
    for kiln in ("Blue", "Old"):
        assert call(tmp_path, "logbook", "event", kiln, "relay", "--note", f"of {kiln}",
                    "--logbook", "studio.sqlite").returncode == 0  # fmt: skip
    listed = call(tmp_path, "logbook", "event", "blue", "--logbook", "studio.sqlite")
    assert listed.returncode == 0, listed.stderr
    assert "of Blue" in listed.stdout
    assert "of Old" not in listed.stdout
    everything = ask(tmp_path, "logbook", "event")["events"]
    assert len(everything) == 2
    assert [one["kiln"] for one in ask(tmp_path, "logbook", "event", "Old")["events"]] == ["Old"]


def test_the_logbook_is_checked_and_copied(evening: Path) -> None:
    found = ask(evening, "logbook", "check")
    assert found["wrong"] == []
    assert found["firings"] == 10
    copy = Path(str(ask(evening, "logbook", "backup", "copy.sqlite")["backup"]))
    listed = call(evening, "logbook", "list", "--logbook", str(copy), "--json")
    assert json.loads(listed.stdout)["total"] == 10


def test_a_faulty_plan_beside_the_logs_is_said_to_be_left_out(tmp_path: Path) -> None:
    """Its logs would be taken for another plan's, in silence."""
    make_folder(tmp_path / "logs", 1)
    faulty = 'title = "Slips"\npurpose = "bisqe"\n[[segment]]\nrate = 60\ntarget = 90\n'
    (tmp_path / "logs" / "slips.toml").write_text(faulty, encoding="utf-8")
    book = ("--logbook", "studio.sqlite")
    kept = call(tmp_path, "keep", "logs", *book)
    assert kept.returncode == 0, kept.stderr
    assert "left out: " in kept.stderr
    assert "slips.toml" in kept.stderr
    named = call(tmp_path, "keep", "logs", "--plan", PLANS[0], *book)
    assert "slips" not in named.stderr


def test_what_was_a_mistake_is_taken_back(evening: Path) -> None:
    noted = ask(evening, "logbook", "event", "Workshop kiln", "relay")
    wrong = noted["events"][-1]
    left = ask(evening, "logbook", "event", "workshop kiln", "--remove", str(wrong["id"]))
    assert wrong not in left["events"]
    place = ("--logbook", "removed.sqlite", "--json")
    call(evening, "keep", "logs/log-00.csv", "logs/log-01.csv", *place)
    removed = json.loads(call(evening, "logbook", "remove", "1", "--yes", *place).stdout)
    listed = json.loads(call(evening, "logbook", "list", *place).stdout)
    assert [one["log"] for one in listed["firings"]] == ["log-01.csv"]
    assert json.loads(call(evening, "logbook", "check", *place).stdout)["wrong"] == []
    copy = ("--logbook", removed["backup"], "--json")
    assert json.loads(call(evening, "logbook", "list", *copy).stdout)["total"] == 2


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("logbook", "lst"), "did you mean 'list'?"),
        (("logbook", "show", "99"), "the highest number is 10"),
        (("logbook", "event", "Workshop kiln", "new element"), "did you mean 'new elements'?"),
        (("logbook", "event", "new elements"), "name the kiln first"),
        (("logbook", "event", "workshop kln", "repair"), 'did you mean "Workshop kiln"?'),
        (("logbook", "event", "Workshop kiln", "--on", "2026-05-20"), "say what was done to"),
        (("logbook", "event", "Workshop kilm"), 'did you mean "Workshop kiln"?'),
        (("logbook", "event", "--remove", "77"), "there is no event 77"),
        (("keep", "logs/log-00.csv", "--kiln", "workshop-kiln"), 'did you mean "Workshop kiln"?'),
        (("logbook", "event", "Workshop kiln", "repair", "--on", "2150-05-20"), "is in the future"),
        (("logbook", "event", "Workshop kiln", "repair", "--on", "20/05/2026"),
         '--on "20/05/2026" is no day; write year, month and day'),
        (("logbook", "event", "Workshop kiln", "repair", "--remove", "1"), "leave out what"),
        (("logbook", "remove", "3"), "add --yes"),
        (("logbook", "list", "--month", "Marchember"), "is no month"),
        (("keep", "nothing-here.csv"), "No such file"),
    ],
)  # fmt: skip
def test_a_slip_is_understood(evening: Path, words: tuple[str, ...], told: str) -> None:
    more = () if words[1] == "lst" else ("--logbook", "studio.sqlite")
    done = call(evening, *words, *more)
    assert done.returncode == 2
    assert told in done.stderr
