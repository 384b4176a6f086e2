"""What a certificate must say: ISO/IEC 17025:2017, 7.8, as one table to be read whole.

The words are ours, the numbers those of our own list of that clause. Each row says
when it applies and which printed texts answer it; a text that is empty or a
placeholder answers nothing. Issue is refused while a row that applies has no answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

from lab.common.errors import NotAcceptable
from lab.common.texts import refuse_placeholder

Content = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Requirement:
    """One row: what is asked, when it applies, and the texts that answer it.

    ``at_issue`` marks what exists only from issue on.
    """

    id: str
    words: str
    texts: Callable[[Content], Iterable[str]]
    predicate: Callable[[Content], bool] = lambda content: True
    at_issue: bool = False

    def __str__(self) -> str:
        return f"{self.id} {self.words}"

    def applies(self, content: Content) -> bool:
        try:
            return bool(self.predicate(content))
        except (KeyError, TypeError):
            # Where it can't be told whether it applies, it does.
            return True

    def present(self, content: Content) -> bool:
        """Tell whether the content answers it: with texts, and each says something."""
        try:
            texts = list(self.texts(content))
        except (KeyError, TypeError):
            # What the texts are taken from isn't there at all.
            return False
        return bool(texts) and all(map(_says_something, texts))


def unmet(content: Content, *, issued: bool = False) -> list[Requirement]:
    """Return the rows that apply and have no answer; before issue without its own."""
    return [
        row
        for row in REQUIREMENTS
        if (issued or not row.at_issue)
        and row.applies(content)
        and not row.present(content)
    ]


#: Signs that say something though they hold neither letter nor digit.
SIGNS: Final = frozenset({"°"})


def _says_something(text: Any) -> bool:
    if text in SIGNS:
        return True
    try:
        return bool(refuse_placeholder(str(text or ""), ""))
    except NotAcceptable:
        return False


# --- Predicates ---------------------------------------------------------------------


def _states_conformity(content: Content) -> bool:
    return bool(content["agreement"]["states_conformity"])


def _came_in(content: Content) -> bool:
    return any(place.get("kind") == "permanent" for place in content["place_of_work"])


def _sampled(content: Content) -> bool:
    return bool(content["agreement"]["sampled"])


def _has_others_results(content: Content) -> bool:
    return any(not row["measured_here"] for row in _rows(content))


def _was_adjusted(content: Content) -> bool:
    return bool(content["adjustment"])


def _has_opinion(content: Content) -> bool:
    return bool(content["opinion"]["text"])


def _changes_another(content: Content) -> bool:
    return content["change"] is not None


def _amends(content: Content) -> bool:
    return _changes_another(content) and content["change"]["kind"] == "amendment"


def _replaces(content: Content) -> bool:
    return _changes_another(content) and content["change"]["kind"] == "replacement"


# --- Where the texts stand ------------------------------------------------------------


def _rows(content: Content) -> Iterator[dict[str, Any]]:
    for group in content["results"]:
        yield from group["rows"]


def _of_rows(*names: str) -> Callable[[Content], list[str]]:
    return lambda content: [row[name] for row in _rows(content) for name in names]


def _at(*path: str) -> Callable[[Content], list[str]]:
    """Return a reader of one text, or of a list of texts, at a path of keys."""

    def read(content: Content) -> list[str]:
        found: Any = content
        for key in path:
            found = found[key]
        return list(found) if isinstance(found, list) else [found]

    return read


def _each(name: str, *keys: str) -> Callable[[Content], list[str]]:
    """Return a reader of texts in every entry of a list."""
    return lambda content: [entry[key] for entry in content[name] for key in keys]


def _all(
    *readers: Callable[[Content], list[str]],
) -> Callable[[Content], list[str]]:
    """Return a reader that fails as a whole if one of its parts reads nothing."""

    def read(content: Content) -> list[str]:
        parts = [reader(content) for reader in readers]
        return [text for part in parts for text in part or [""]]

    return read


def _places(content: Content) -> list[str]:
    return [
        text
        for place in content["place_of_work"]
        for text in (place["name"], *(place["address"] or [""]))
    ]


def _marks(content: Content) -> list[str]:
    return [row["provider"] for row in _rows(content) if not row["measured_here"]]


def _before(content: Content) -> list[str]:
    changed = [row["before"] for row in _rows(content) if row["before"]]
    names = ("value", "expanded_u", "coverage_factor", "unit")
    values = [one[name] for one in changed for name in names]
    return [content["adjustment"], *values] if values else []


def _standards(content: Content) -> list[str]:
    names = ("tag", "certificate_number", "provider", "calibrated_on")
    return [row[name] for row in content["traceability"]["standards"] for name in names]


def _air(content: Content) -> list[str]:
    return [row["temperature"] for row in content["conditions"]["rooms"]]


#: The whole table.
REQUIREMENTS: Final[tuple[Requirement, ...]] = (
    Requirement("R04", "a title that says what kind of document it is", _at("title")),
    Requirement(
        "R05",
        "name and address of the laboratory",
        _all(_at("laboratory", "name"), _at("laboratory", "address")),
    ),
    Requirement("R06", "where the work was done", _places),
    Requirement(
        "R07",
        "one identifier of the document",
        _at("issue", "number"),
        at_issue=True,
    ),
    Requirement(
        "R08",
        "the customer and how to reach them",
        _all(
            _at("customer", "name"),
            _at("customer", "address"),
            _at("customer", "contact"),
            _at("customer", "contact_email"),
        ),
    ),
    Requirement(
        "R09",
        "the method and its revision",
        _all(_at("method", "code"), _at("method", "revision"), _at("method", "text")),
    ),
    Requirement(
        "R10",
        "what each item is, and its condition",
        _each("items", "serial", "description", "condition"),
    ),
    Requirement(
        "R11",
        "the day on which each item came in",
        _each("items", "received_on"),
        predicate=_came_in,
    ),
    Requirement(
        "R12",
        "the days of measuring",
        _all(_at("measured_on", "text"), _at("measured_on", "days")),
    ),
    Requirement("R13", "the day of issue", _at("issue", "issued_on"), at_issue=True),
    Requirement(
        "R14", "the sampling plan and method", _at("sampling"), predicate=_sampled
    ),
    Requirement(
        "R15",
        "that the results concern only these items",
        _at("statements", "items_only"),
    ),
    Requirement(
        "R16",
        "a result with its unit for each characteristic of each item",
        _of_rows("value", "unit"),
    ),
    Requirement(
        "R17", "deviations from the method, or that there are none", _at("deviations")
    ),
    Requirement(
        "R18",
        "who authorised the document",
        _at("issue", "authorised_by"),
        at_issue=True,
    ),
    Requirement(
        "R19",
        "a mark on each result of an outside provider",
        _marks,
        predicate=_has_others_results,
    ),
    Requirement(
        "R20",
        "that it may be copied in full only",
        _at("statements", "no_partial_copy"),
    ),
    Requirement(
        "R21",
        "what the customer supplied, and for what the items stand",
        _all(
            _at("customer_supplied"),
            _at("statements", "customer_data"),
            _at("statements", "as_received"),
        ),
    ),
    Requirement(
        "R22",
        "the uncertainty of each result with its coverage",
        _all(
            _at("uncertainty", "statement"),
            _of_rows("expanded_u", "coverage_factor", "coverage_probability"),
        ),
    ),
    Requirement("R23", "the conditions in the room while it was measured", _air),
    Requirement(
        "R24",
        "the standards that the results are traceable to",
        _all(_at("traceability", "statement"), _standards),
    ),
    Requirement(
        "R25",
        "the results before the adjustment beside those after",
        _before,
        predicate=_was_adjusted,
    ),
    Requirement(
        "R26",
        "a verdict on each result",
        _of_rows("verdict", "tolerance"),
        predicate=_states_conformity,
    ),
    Requirement(
        "R32",
        "the decision rule as applied, and its risk",
        _all(_at("conformity", "rule_text"), _at("conformity", "risk")),
        predicate=_states_conformity,
    ),
    Requirement(
        "R33",
        "which results the statement covers, and by which specification",
        _all(_at("conformity", "scope"), _at("conformity", "specification")),
        predicate=_states_conformity,
    ),
    Requirement(
        "R34",
        "the name of the decision rule",
        _at("conformity", "rule"),
        predicate=_states_conformity,
    ),
    Requirement(
        "R35",
        "an opinion marked as such, with its author",
        _all(_at("opinion", "heading"), _at("opinion", "author")),
        predicate=_has_opinion,
    ),
    Requirement(
        "R36",
        "what is changed, and why",
        _at("change", "text"),
        predicate=_changes_another,
    ),
    Requirement(
        "R37",
        "the number of the document that it amends",
        _all(_at("change", "number"), _at("change", "statement")),
        predicate=_amends,
    ),
    Requirement(
        "R38",
        "the number of the document that it replaces",
        _all(_at("change", "number"), _at("change", "statement")),
        predicate=_replaces,
    ),
)
