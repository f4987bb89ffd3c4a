"""A newcomer's first evening: own kiln, own controller, own schedule, and no TOML by hand."""

import json
import math
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from firing.cli import COMMANDS, EXAMPLES, GROUPS, cli
from firing.errors import FiringError
from firing.files.starter import parse_supply
from firing.schedule.file import open_schedule

ANSWERS = "7 cu ft\nround\n3 in\n240 V 40 A\n2300F\n8\nF\ny\n0.15 USD\n"
OPTIONS = (
    "--volume", "180 l", "--shape", "box", "--wall", "115 mm", "--power", "11 kW at 400 V 3 phase",
    "--max", "1300C", "--segments", "12", "--unit", "C", "--by-the-clock", "--price", "0,28 EUR",
)  # fmt: skip


def ask(*words: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(cli, list(words), input=typed)


@pytest.fixture(autouse=True)
def studio(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_own_schedule_in_an_own_kiln_takes_three_commands_and_a_card_a_fourth() -> None:
    assert ask("setup", typed=ANSWERS).exception is None
    legs = "150F/h to 1100F, 200/h to 1830 hold 10m"
    made = ask("new", legs, "--purpose", "bisque", "--cone", "06", "--out", "mugs.toml")
    assert made.exception is None
    told = ask(
        "forecast", "mugs.toml", "--kiln", "kiln.toml", "--tariff", "tariff.toml", "--start",
        "2026-03-14 07:30", "--json",
    )  # fmt: skip
    course = json.loads(told.stdout)
    # (1100 − 68) / 150 + (1830 − 1100) / 200 hours, and ten minutes.
    programmed_s = 3600.0 * (1032.0 / 150.0 + 730.0 / 200.0) + 600.0
    assert course["program_s"] == pytest.approx(programmed_s, rel=0.01)
    assert course["cones"]["target"] == "06"
    card = ask("card", "mugs.toml", "--controller", "controller.toml")
    assert "°F/h" in card.stdout
    assert "°C" not in card.stdout


def test_every_question_is_an_option_too_and_nothing_is_written_over() -> None:
    done = ask("setup", *OPTIONS, "--folder", "kiln two", "--json")
    files = json.loads(done.stdout)["files"]
    assert set(files) == {"kiln", "controller", "tariff"}
    shown = json.loads(ask("kiln", "show", files["kiln"], "--json").stdout)
    assert shown["rows"][0] == {
        "name": "rated power", "value": 11.0, "unit": "kW", "source": "the kiln file"
    }  # fmt: skip
    again = ask("setup", *OPTIONS, "--folder", "kiln two")
    assert "add --overwrite" in str(again.exception)
    assert ask("setup", *OPTIONS, "--folder", "kiln two", "--overwrite").exception is None


def test_a_wrong_answer_is_asked_again_with_its_reason() -> None:
    done = ask("setup", typed=ANSWERS.replace("240 V 40 A", "forty amps\n240 V 40 A"))
    assert done.exception is None
    assert "write what the plate says" in done.output


@pytest.mark.parametrize(
    ("plate", "kilowatts", "volts", "phases"),
    [
        ("9.6 kW at 240 V", 9.6, 240.0, 1),
        # Ohm's law; for three phases the line current times √3.
        ("240 V 40 A", 9.6, 240.0, 1),
        ("400V 3 x 16A", math.sqrt(3.0) * 400.0 * 16.0 / 1000.0, 400.0, 3),
        ("11,5 kW, 400 volts, three-phase", 11.5, 400.0, 3),
    ],
)
def test_what_the_plate_says(plate: str, kilowatts: float, volts: float, phases: int) -> None:
    supply = parse_supply(plate)
    assert supply.kilowatts == pytest.approx(kilowatts, abs=5e-4)
    assert (supply.volts, supply.phases) == (volts, phases)


@pytest.mark.parametrize("plate", ["9.6 kW", "40 A", "240 V", "", "nine"])
def test_a_plate_that_leaves_something_out_is_asked_again(plate: str) -> None:
    with pytest.raises(FiringError, match="what the plate says"):
        parse_supply(plate)


def test_a_slip_of_the_finger_is_understood() -> None:
    assert "did you mean 'forecast'?" in ask("forcast").output


def test_a_program_that_only_dries_is_written_too() -> None:
    # No cone is asked for, so none bounds it.
    made = ask("new", "100F/h to 200F hold 8h", "--out", "dry.toml")
    assert made.exit_code == 0, made.output
    (segment,) = open_schedule("dry.toml").segments
    assert (segment.target_c, segment.hold_s) == (pytest.approx((200.0 - 32.0) / 1.8), 28800.0)


def test_a_file_of_another_kind_is_called_what_it_is() -> None:
    ask("setup", typed=ANSWERS)
    ask("new", "100C/h to 600C", "--out", "plan.toml")
    Path("log.csv").write_text(
        "time,Kiln °C\n" + "".join(f"{n},{20 + n}\n" for n in range(40)), encoding="utf-8"
    )
    for words, kind in (
        (("forecast", "kiln.toml"), "is a kiln file"),
        (("forecast", "log.csv"), "is a log, which 'firing review PLAN LOG' reads"),
        (("review", "plan.toml", "kiln.toml"), "is a kiln file"),
        (("forecast", "plan.toml", "--kiln", "plan.toml"), "is a schedule file"),
        (("card", "plan.toml", "--controller", "tariff.toml"), "is a tariff file"),
    ):
        assert kind in str(ask(*words).exception), words


def test_help_lists_every_command_in_one_group() -> None:
    grouped = [name for names in GROUPS.values() for name in names]
    assert sorted(grouped) == sorted(COMMANDS)


def test_the_shell_can_complete_the_commands() -> None:
    done = CliRunner().invoke(
        cli, prog_name="firing", env={
            "_FIRING_COMPLETE": "bash_complete", "COMP_WORDS": "firing fore", "COMP_CWORD": "1",
        },
    )  # fmt: skip
    assert "plain,forecast" in done.stdout


def test_every_help_ends_in_an_example_that_runs() -> None:
    ask("demo", "--json")
    answers = ANSWERS.replace("7 cu ft\n", "", 1).replace("3 in\n", "", 1)
    for name in COMMANDS:
        if name not in EXAMPLES:  # asks for a file of its own first
            continue
        assert "Example: firing" in ask(name, "--help").stdout, name
        words = shlex.split(EXAMPLES[name])
        assert words[:2] == ["firing", name]
        if name == "edit":  # needs a terminal
            continue
        done = ask(*words[1:], typed=answers if name == "setup" else None)
        assert done.exception is None or isinstance(done.exception, SystemExit), name
        assert done.exit_code in (0, 1), (name, done.output)


@pytest.mark.parametrize("charset", ["cp1252", "cp437", "ascii"])
@pytest.mark.parametrize(
    "line",
    [
        "schema kiln",
        "hold 6 --at 2190F",
        "cone 6 --json",
        "calendar thin-ware-bisque --start 07:30",
        "design --help",
        "kiln fit --help",
        "forcast",
    ],
)
def test_every_output_keeps_to_the_characters_it_is_given(line: str, charset: str) -> None:
    done = CliRunner(charset=charset).invoke(cli, shlex.split(line))
    assert not isinstance(done.exception, UnicodeError)
    printed = done.stdout_bytes.decode(charset) + done.stderr_bytes.decode(charset)
    assert printed
    assert "?" not in printed.replace("did you mean 'forecast'?", "")
    if line.startswith("schema") or line.endswith("--json"):
        as_utf_8 = CliRunner().invoke(cli, shlex.split(line))
        assert json.loads(printed) == json.loads(as_utf_8.stdout)


def test_the_manual_page_has_every_command_and_no_macro_but_its_own() -> None:
    done = ask("--man")
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    for name in (*COMMANDS, "kiln fit"):
        heading = f".SS firing {name}".replace("-", "\\-")
        assert any(line.startswith(heading) for line in lines), name
    macros = {line.split()[0] for line in lines if line.startswith((".", "'"))}
    # Those of man(7), groff's manual page of them.
    assert macros <= {".TH", ".SH", ".SS", ".PP", ".TP", ".B"}
