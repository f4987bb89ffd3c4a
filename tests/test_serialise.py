"""The one serialiser: fields under their names, in order, unless they say otherwise."""

from dataclasses import dataclass, field
from datetime import date

from firing.serialise import OMITTED, Serialised, keyed, named, rounded


@dataclass(frozen=True, slots=True)
class Part(Serialised):
    name: str
    size_mm: float | None = field(default=None, metadata=rounded(1))


@dataclass(frozen=True, slots=True)
class Whole(Serialised):
    parts: tuple[Part, ...]
    by_name: dict[str, Part]
    on: date = field(metadata=named("date"))
    kept: int = field(metadata=OMITTED)
    hours: float = field(default=0.0, metadata=rounded(None, "whole_hours"))


@dataclass(frozen=True)
class Ordered(Serialised):
    low: float
    high: float

    json_keys = ("high", "span", "low")

    @property
    def span(self) -> float:
        """From one to the other."""
        return self.high - self.low


def test_a_result_holds_results() -> None:
    part = Part("foot", 12.345)
    whole = Whole((part,), {"rim": Part("rim")}, date(2026, 3, 1), 7, 2.6)
    assert whole.to_dict() == {
        "parts": [{"name": "foot", "size_mm": 12.3}],
        "by_name": {"rim": {"name": "rim", "size_mm": None}},
        "date": "2026-03-01",
        "whole_hours": 3,
    }


def test_a_class_may_order_its_keys_and_have_properties_among_them() -> None:
    assert list(Ordered(1.0, 3.0).to_dict().items()) == [("high", 3.0), ("span", 2.0), ("low", 1.0)]


def test_a_document_keeps_its_order_and_keys_what_is_in_it() -> None:
    document = keyed(schema=1, parts=[Part("lid")], none=None, names=("a", "b"))
    assert list(document) == ["schema", "parts", "none", "names"]
    assert document["parts"] == [{"name": "lid", "size_mm": None}]
    assert document["names"] == ["a", "b"]
