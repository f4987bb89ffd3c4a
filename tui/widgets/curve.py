"""The curve: lines over time with a window to zoom and pan, and a cross-hair that reads them."""

from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.actions import SkipAction
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.strip import Strip
from textual.widget import Widget

from firing.report.charts.text_chart import ChartSeries
from firing.report.sanitize import shorten, whole_words

from ..plot import AXIS, CROSS, MARK, Piece, Window, column_at, draw, time_at, window_on
from ..plot_lines import PlotLines
from .grid import ListGrid

_ZOOM = 1.5
_PAN = 0.2


class Curve(Widget, can_focus=True):
    """Temperatures over time."""

    HELP_TITLE = "Curve"
    DEFAULT_CSS = """
    Curve { background: $background; }
    Curve > .curve--axis { color: $quiet; }
    Curve > .curve--cross { color: $accent; }
    Curve > .curve--mark { color: $accent; text-style: bold; }
    Curve > .curve--0 { color: $line-0; }
    Curve > .curve--1 { color: $line-1; }
    Curve > .curve--2 { color: $line-2; }
    Curve > .curve--3 { color: $line-3; }
    Curve > .curve--readout { color: $quiet; }
    Curve:focus > .curve--readout { color: $foreground; background: $marked; }
    """
    COMPONENT_CLASSES: ClassVar[set[str]] = {
        "curve--axis",
        "curve--cross",
        "curve--mark",
        "curve--0",
        "curve--1",
        "curve--2",
        "curve--3",
        "curve--readout",
    }
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "cross(-1)", "Cross-hair left", show=False, tooltip="One column earlier"),
        Binding("right", "cross(1)", "Cross-hair right", show=False, tooltip="One column later"),
        Binding("home,ctrl+home", "edge(-1)", "First moment", show=False, tooltip="To the start"),
        Binding("end,ctrl+end", "edge(1)", "Last moment", show=False, tooltip="To the end"),
        Binding(
            "full_stop,]", "corner(1)", "Next corner", key_display=".",
            tooltip="Cross-hair to the next end of a ramp or hold",
        ),
        Binding(
            "comma,[", "corner(-1)", "Corner before", key_display=",",
            tooltip="Cross-hair to the end of a ramp or hold before",
        ),
        Binding(
            "plus,equals_sign", "zoom(1)", "Zoom in", key_display="+",
            tooltip="See less time, around the cross-hair; the wheel does it at the mouse",
        ),
        Binding("minus", "zoom(-1)", "Zoom out", key_display="-", tooltip="See more time"),
        Binding(
            "shift+left,h", "pan(-1)", "Earlier", key_display="h",
            tooltip="Move the window to earlier times; dragging with the mouse does it too",
        ),
        Binding("shift+right,l", "pan(1)", "Later", key_display="l", tooltip="To later times"),
        Binding("0", "whole", "Whole", tooltip="See everything again"),
        Binding(
            "escape", "unset", "All of it again", show=False,
            tooltip="See everything again; then take the cross-hair away; then leave the curve",
        ),
    ]  # fmt: skip

    class Pointed(Message):
        """The cross-hair was set or taken away by hand."""

        def __init__(self, curve: "Curve", at_s: float | None) -> None:
            super().__init__()
            self.curve = curve
            self.at_s = at_s

        @property
        def control(self) -> "Curve":
            """The curve it happened in."""
            return self.curve

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self.shown: PlotLines | None = None
        self.window: Window | None = None
        self.cross_s: float | None = None
        self.placeholder = ""
        self._strips: list[Strip] | None = None
        self._dragged_from: tuple[int, Window] | None = None

    def show(self, shown: PlotLines, *, keep: bool = False) -> None:
        """Draw other lines; with `keep` the window stays where it is, as far as it can."""
        old, self.shown = self.window, shown
        self.window = window_on(shown.lines)
        if keep and old is not None and self.window is not None and not old.whole:
            span_s = min(old.to_s - old.from_s, self.window.last_s - self.window.first_s)
            share = span_s / (self.window.to_s - self.window.from_s)
            self.window = self.window.zoomed(share, self.window.first_s)
            self.window = self.window.panned((old.from_s - self.window.from_s) / span_s)
        if self.cross_s is not None and self.window is not None:
            self.cross_s = min(max(self.cross_s, self.window.first_s), self.window.last_s)
        self._again()

    def clear(self) -> None:
        """Show nothing but the placeholder."""
        self.shown = self.window = self.cross_s = None
        self._again()

    def point(self, at_s: float | None) -> None:
        """Set the cross-hair, and move the window to it if need be."""
        self.cross_s = at_s
        if at_s is not None and self.window is not None:
            self.window = self.window.seeing(at_s)
        self._again()

    def see_around(self, at_s: float, span_s: float) -> Window | None:
        """Show a moment and so much before and after it; return the window."""
        if self.window is not None:
            self.window = self.window.between(at_s - span_s, at_s + span_s)
            self._again()
        return self.window

    def look_at(self, from_s: float, to_s: float) -> None:
        """Zoom to a stretch of time."""
        if self.window is not None:
            self.window = self.window.around(from_s, to_s)
            self._again()

    @property
    def zoomed(self) -> bool:
        """Whether only a part is seen."""
        return self.window is not None and not self.window.whole

    def _again(self) -> None:
        self._strips = None
        self.refresh()

    def notify_style_update(self) -> None:
        """Draw again in the colours of another theme."""
        super().notify_style_update()
        self._strips = None

    def on_resize(self) -> None:
        """Draw again in another size."""
        self._again()

    def on_focus(self) -> None:
        """Draw the read-out line as the one that listens."""
        self._again()

    def on_blur(self) -> None:
        """Draw the read-out line quietly."""
        self._again()

    def _middle_s(self, window: Window) -> float:
        return (window.from_s + window.to_s) / 2.0 if self.cross_s is None else self.cross_s

    def _set_cross(self, at_s: float) -> None:
        window = self.window
        if window is None:
            return
        self.point(min(max(at_s, window.first_s), window.last_s))
        self.post_message(self.Pointed(self, self.cross_s))

    def action_cross(self, by: int) -> None:
        """Move the cross-hair by a column."""
        window = self.window
        if window is None:
            return
        column_s = (window.to_s - window.from_s) / max(self.size.width - 5, 1)
        self._set_cross(self._middle_s(window) + by * column_s * (self.cross_s is not None))

    def action_edge(self, way: int) -> None:
        """Move the cross-hair to the first or the last moment."""
        if self.window is not None:
            self._set_cross(self.window.first_s if way < 0 else self.window.last_s)

    def action_corner(self, way: int) -> None:
        """Move the cross-hair to the next corner of the plan."""
        if self.shown is None or self.window is None:
            return
        at_s = self.window.from_s - 1.0 if self.cross_s is None else self.cross_s
        corners = self.shown.corners_s
        ahead = corners[corners > at_s + 0.5] if way > 0 else corners[corners < at_s - 0.5]
        if ahead.size:
            self._set_cross(float(ahead[0] if way > 0 else ahead[-1]))

    def action_zoom(self, way: int) -> None:
        """See less or more time."""
        if self.window is not None:
            at_s = self._middle_s(self.window)
            at_s = min(max(at_s, self.window.from_s), self.window.to_s)
            self.window = self.window.zoomed(_ZOOM**-way, at_s)
            self._again()

    def action_pan(self, way: int) -> None:
        """Move the window."""
        if self.window is not None:
            self.window = self.window.panned(way * _PAN)
            self._again()

    def action_whole(self) -> None:
        """See everything."""
        if self.window is not None:
            self.window = self.window.everything()
            self._again()

    def action_unset(self) -> None:
        """See everything again, then take the cross-hair away, then go back to the list beside."""
        if self.zoomed:
            self.action_whole()
        elif self.cross_s is not None:
            self.point(None)
            self.post_message(self.Pointed(self, None))
        elif beside := next((w for w in self.screen.query(ListGrid) if w.focusable), None):
            beside.focus()
        else:
            raise SkipAction

    def on_mouse_scroll_up(self, event: events.MouseScrollUp) -> None:
        """Zoom in where the mouse is."""
        self._wheel(event, 1)

    def on_mouse_scroll_down(self, event: events.MouseScrollDown) -> None:
        """Zoom out where the mouse is."""
        self._wheel(event, -1)

    def _wheel(self, event: events.MouseEvent, way: int) -> None:
        event.stop()
        if self.window is not None:
            at_s = time_at(self.window, event.x, self.size.width)
            self.window = self.window.zoomed(_ZOOM**-way, at_s)
            self._again()

    def on_mouse_down(self, event: events.MouseDown) -> None:
        """Begin to drag the window."""
        if self.window is not None:
            self._dragged_from = event.x, self.window
            self.capture_mouse()

    def on_mouse_move(self, event: events.MouseMove) -> None:
        """Drag the window."""
        if self._dragged_from is not None:
            x, window = self._dragged_from
            share = (x - event.x) / max(self.size.width - 5, 1)
            self.window = window.panned(share)
            self._again()

    def on_mouse_up(self, event: events.MouseUp) -> None:
        """End the drag; a click that moved nothing sets the cross-hair."""
        self.release_mouse()
        dragged, self._dragged_from = self._dragged_from, None
        if dragged is not None and dragged[0] == event.x and self.window is not None:
            self._set_cross(time_at(self.window, event.x, self.size.width))

    def render_line(self, y: int) -> Strip:
        """Return one line of the drawing, made once for all lines."""
        if self._strips is None or len(self._strips) != self.size.height:
            self._strips = self._drawing()
        return self._strips[y] if y < len(self._strips) else Strip.blank(self.size.width)

    def _drawing(self) -> list[Strip]:
        width, height = self.size
        shown, window = self.shown, self.window
        base = self.rich_style
        if shown is None or window is None or height < 6 or width < 20:
            nothing = shown is None or window is None
            words = shorten(self.placeholder if nothing else "too little room", max(width, 1))
            return [
                Strip([Segment(words if y == height // 2 else "", base)]).extend_cell_length(
                    width, base
                )
                for y in range(height)
            ]
        rows = draw(
            shown.lines,
            window,
            width=width,
            height=height - 1,
            unit=shown.unit,
            keeper=shown.keeper,
            cross_s=self.cross_s,
            marks=shown.marks,
            ascii_only=bool(getattr(self.app, "ascii_only", False)),
        )
        styles = {
            number: self.get_component_rich_style(f"curve--{_colour(line)}")
            for number, line in enumerate(shown.lines)
        }
        styles[AXIS] = self.get_component_rich_style("curve--axis")
        styles[CROSS] = self.get_component_rich_style("curve--cross")
        styles[MARK] = self.get_component_rich_style("curve--mark")
        strips = [_strip(row, styles, base, width) for row in rows]
        readout = self.get_component_rich_style("curve--readout")
        words = whole_words(self.readout(width), width)
        strips.append(Strip([Segment(words, readout)]).adjust_cell_length(width, readout))
        return strips

    def readout(self, width: int | None = None) -> str:
        """Return what the cross-hair reads, or how to set it, in words for a width."""
        if self.shown is None or self.window is None:
            return ""
        if self.cross_s is not None:
            return self.shown.readout(self.cross_s, width)
        if self.has_focus:
            return "← → read off · + − zoom"
        key = ""
        for part in self.shown.key:
            longer = f"{key} {part}".lstrip()
            key = longer if width is None or len(longer) <= width else key
        return key

    def cross_column(self) -> int | None:
        """Return the column the cross-hair is drawn in; None if it is not seen."""
        if self.window is None or self.cross_s is None:
            return None
        return column_at(self.window, self.cross_s, self.size.width)


def _colour(line: ChartSeries) -> int:
    """Return a line's place among the colours; the quietest for one without."""
    return 2 if line.colour is None else line.colour % 4


def _strip(row: list[Piece], styles: dict[int, Style], base: Style, width: int) -> Strip:
    segments = [Segment(text, styles.get(role, base)) for text, role in row]
    return Strip(segments).adjust_cell_length(width, base)
