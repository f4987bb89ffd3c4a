"""One report, two renderings: what both show, and what each shows alone."""

import pytest

from firing.report.cautions import cautions_report
from firing.report.document import (
    Block,
    Bullets,
    FillIn,
    Flagged,
    FlaggedList,
    Paragraph,
    Report,
    Section,
    Table,
    on_page,
    on_text,
)
from firing.report.page import render_page
from firing.report.text import render_text
from firing.safety import all_cautions


def page_of(*parts: Block) -> str:
    return render_page(Report("", "A title", parts))


def text_of(*parts: Block, width: int = 80) -> str:
    return render_text(Report("", "A title", parts), width=width).removeprefix("A title\n")


def test_an_empty_section_is_left_out() -> None:
    nothing = Section("Nothing", [None, Paragraph(""), Section("Inside", [])])
    assert "Nothing" not in page_of(nothing)
    assert "Nothing" not in text_of(nothing)


def test_parts_for_one_medium_stay_out_of_the_other() -> None:
    parts = [Section("Both", [on_text(Paragraph("said")), on_page(Paragraph("printed"))])]
    assert "printed" in page_of(*parts)
    assert "said" not in page_of(*parts)
    text = text_of(*parts)
    assert text == "\nBoth\nsaid"


def test_headings_may_be_shown_on_one_medium() -> None:
    section = Section("Course", [Paragraph("told")], heading_on="page")
    assert "Course" not in text_of(section)
    assert '<h2 id="course">Course</h2>' in page_of(section)


def test_sections_are_set_off_by_one_empty_line_however_they_nest() -> None:
    inner = Section("Inner", [Paragraph("b")])
    text = text_of(Paragraph("a"), Section("Outer", [inner, Section("", [Paragraph("c")])]))
    assert text.split("\n") == ["a", "", "Outer", "", "Inner", "b", "", "c"]


def test_tables_in_a_row_do_not_touch() -> None:
    table = Table(("a",), "l", [("x",)])
    assert text_of(table, table).split("\n") == ["a", "─", "x", "", "a", "─", "x"]


def test_bars_are_drawn_as_text_alone_solid_above_zero_and_hatched_below() -> None:
    table = Table(("cause", "minutes"), "lr", [("long", "+8"), ("short", "−4")], bars=[1.0, -0.5])
    long, short = text_of(table, width=72).split("\n")[-2:]
    assert long.count("█") == 24
    assert short.count("▒") == 12
    assert "█" not in page_of(table)


def test_boxes_to_tick_and_room_to_write_on_paper() -> None:
    table = Table(("#", "keyed"), "rt", [("1", "[ ]")])
    assert "[ ]" in text_of(table)
    page = page_of(table, FillIn(["Keyed by"]))
    assert page.count('class="box"') == 1
    assert 'Keyed by: <span class="blank">' in page
    assert "Keyed by" not in text_of(FillIn(["Keyed by"]))


def test_findings_bear_their_severity_and_sources_and_none_is_said() -> None:
    assert text_of(FlaggedList([])) == "None."
    assert "<p>None.</p>" in page_of(FlaggedList([]))
    found = FlaggedList([Flagged("act", "Look at <it>.", ["cone-model"])])
    assert text_of(found) == "• To do: Look at <it>."
    page = page_of(found)
    assert '<span class="severity act">To do</span>Look at &lt;it&gt;.' in page
    assert "[cone-model]" in page


@pytest.mark.parametrize("width", [40, 80])
def test_every_report_keeps_to_its_width_and_to_ascii(width: int) -> None:
    report = cautions_report("Cautions", all_cautions())
    text = render_text(report, width=width, ascii_only=True)
    assert text.isascii()
    assert max(map(len, text.split("\n"))) <= width


def test_an_item_of_a_list_is_indented_where_it_goes_on() -> None:
    lines = text_of(Bullets(["word " * 30]), width=40).split("\n")
    assert lines[0].startswith("• word")
    assert all(line.startswith("  word") for line in lines[1:])
