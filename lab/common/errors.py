"""Refusals that a person reads: what is wrong, where, and what to do."""

from __future__ import annotations


class DomainError(Exception):
    """A service refuses, in a sentence that can stand on the page.

    ``field`` names the form field it belongs beside, if there is one; ``status``
    is the HTTP status of the page when the refusal is all there is to show.
    """

    status = 409

    def __init__(self, sentence: str, *, field: str | None = None) -> None:
        super().__init__(sentence)
        self.sentence = sentence
        self.field = field


class NotAllowed(DomainError):
    """The person may see the thing but not do this to it."""

    status = 403


class WrongState(DomainError):
    """The thing is in a state from which this can't be done, or somebody was first."""


class NotAcceptable(DomainError):
    """What was typed or sent can't be taken as it is."""

    status = 400


class TooLarge(DomainError):
    """A file or a request is larger than the installation takes."""

    status = 413
