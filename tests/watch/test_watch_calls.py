"""Calls: open until answered or over, and never told away from what stands."""

from firing.watch.calls import MOST_CALLS, CallBoard
from firing.watch.events import EventState, Severity, WatchEvent


def event(
    name: str, state: EventState = "raised", severity: Severity = "act", at_s: float = 0.0
) -> WatchEvent:
    return WatchEvent(name, severity, state, at_s, f"{name} {state}")


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def __call__(self) -> float:
        return self.now_s


def test_an_alarm_is_a_call_until_it_is_over_and_calls_anew_when_raised_again() -> None:
    board = CallBoard()
    board.take(event("lid", "told"))
    assert not board.alarmed  # told once, with no cause that goes on
    assert board.acknowledge(1)
    board.take(event("top"))
    assert board.alarmed
    (call,) = board.open()
    assert call.unanswered
    assert board.acknowledge(call.number)
    (call,) = board.open()
    assert call.acknowledged
    assert not call.unanswered
    assert not board.alarmed
    board.take(event("top", "over"))
    assert board.open() == ()
    board.take(event("top"))
    (again,) = board.open()
    assert again.number != call.number
    assert again.unanswered


def test_what_is_told_once_is_a_call_until_it_is_acknowledged() -> None:
    board = CallBoard()
    board.take(event("action", "told"))
    board.take(event("action", "told"))
    first, second = board.open()
    assert board.acknowledge(first.number)
    assert board.open() == (second,)
    assert not board.acknowledge(first.number)
    assert not board.snooze(first.number)


def test_a_mere_note_calls_nobody() -> None:
    board = CallBoard()
    board.take(event("hold-over", "told", "note"))
    assert board.open() == ()


def test_a_snoozed_call_is_quiet_for_a_while_and_then_unanswered_again() -> None:
    clock = Clock()
    board = CallBoard(clock)
    board.take(event("lost"))
    (call,) = board.open()
    assert board.snooze(call.number, 60.0)
    clock.now_s += 59.0
    assert not board.open()[0].unanswered
    clock.now_s += 1.0
    assert board.open()[0].unanswered


def test_a_snoozed_call_is_acknowledged_with_the_others() -> None:
    board = CallBoard(Clock())
    for name in ("lost", "top"):
        board.take(event(name))
        assert board.answer(snooze=True) == (name,)
    assert board.answer() == ("lost", "top")
    assert all(call.acknowledged for call in board.open())
    assert board.answer() == ()


def test_a_standing_alarm_is_never_given_up_for_what_was_told_once() -> None:
    board = CallBoard()
    board.take(event("top"))
    for _ in range(3 * MOST_CALLS):
        board.take(event("action", "told"))
    kept = board.open()
    assert len(kept) == MOST_CALLS
    assert kept[0].id == "top"
    assert kept[-1].number == 3 * MOST_CALLS + 1
