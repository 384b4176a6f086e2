"""Who acts: a person, or the program itself when it does what time or a row asks."""

from __future__ import annotations

from typing import Any, Final, Protocol


class Actor(Protocol):
    """What a service needs to know of whoever acts."""

    @property
    def pk(self) -> Any: ...

    @property
    def is_active(self) -> bool: ...

    def may(self, action: str) -> bool:
        """Tell whether the permission table lets this actor do ``action``."""

    def get_full_name(self) -> str: ...


class Program:
    """The program's own hand: sweeps, imports it was asked for, the first set-up."""

    pk: Final = None
    is_active: Final = True

    def may(self, action: str) -> bool:
        return True

    def get_full_name(self) -> str:
        return "the program"


PROGRAM: Final = Program()
