"""The board app."""

from django.apps import AppConfig


class BoardConfig(AppConfig):
    """The front page and every page that joins apps."""

    name = "lab.board"
