"""Every kind of work that the source asks for is one that some app declares."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest
from django.conf import settings

from lab.common.work import kinds
from lab.common.work.kinds import Kind, all_kinds

LAB = Path(settings.BASE_DIR) / "lab"


def asked_for(source: str) -> Iterator[tuple[int, str | None]]:
    """Yield the line of each ``enqueue(…)`` and the kind that it names.

    A kind is named by a string, or by a constant of the module that is one; anything
    else yields None, since nobody could tell what it asks for.
    """
    tree = ast.parse(source)
    constants = {
        target.id: node.value.value
        for node in tree.body
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Constant)
        for target in node.targets
        if isinstance(target, ast.Name)
    }
    constants |= {
        node.target.id: node.value.value
        for node in tree.body
        if isinstance(node, ast.AnnAssign)
        and isinstance(node.target, ast.Name)
        and isinstance(node.value, ast.Constant)
    }
    for node in ast.walk(tree):
        if isinstance(node, ast.Call) and _name_of(node.func) == "enqueue":
            named = node.args[0] if node.args else _keyword(node, "kind")
            if isinstance(named, ast.Constant):
                yield node.lineno, named.value
            else:
                yield node.lineno, constants.get(_name_of(named))


def _name_of(node: ast.AST | None) -> str:
    if isinstance(node, ast.Attribute):
        return node.attr
    return node.id if isinstance(node, ast.Name) else ""


def _keyword(call: ast.Call, name: str) -> ast.AST | None:
    return next((k.value for k in call.keywords if k.arg == name), None)


def test_every_kind_that_is_asked_for_is_declared() -> None:
    strays = [
        f"{path.relative_to(LAB)}:{line}: {kind}"
        for path in sorted(LAB.rglob("*.py"))
        for line, kind in asked_for(path.read_text())
        if kind not in all_kinds()
    ]
    assert strays == []


def test_something_is_asked_for_at_all() -> None:
    found = [
        kind for path in LAB.rglob("*.py") for _, kind in asked_for(path.read_text())
    ]
    assert "accounts.send_password_link" in found


@pytest.mark.parametrize(
    ("source", "kind"),
    [
        ('enqueue("a.b", 1)', "a.b"),
        ('work.enqueue("a.b", 1)', "a.b"),
        ('enqueue(kind="a.b", object_id=1)', "a.b"),
        ('SEND = "a.b"\nenqueue(SEND, 1)', "a.b"),
        ('SEND: Final = "a.b"\ndef f():\n    enqueue(SEND, 1)', "a.b"),
        ("def f(kind):\n    enqueue(kind, 1)", None),
        ('enqueue(f"a.{b}", 1)', None),
    ],
)
def test_the_search_reads_each_way_of_asking(source: str, kind: str | None) -> None:
    assert [found for _, found in asked_for(source)] == [kind]


def test_an_app_declares_only_kinds_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    stray = SimpleNamespace(KINDS={"elsewhere.run": Kind(print, limit_s=1)})
    monkeypatch.setattr(kinds, "import_module", lambda _name: stray)
    with pytest.raises(ValueError, match=r"may not declare the kinds elsewhere\.run"):
        all_kinds.__wrapped__()


@pytest.mark.parametrize(
    ("bounds", "complaint"),
    [
        ({"limit_s": 0}, "at least one second"),
        ({"limit_s": 1, "tries": 0}, "one try"),
        ({"limit_s": 1, "every": timedelta(0)}, "once a second"),
        ({"limit_s": 1, "due": bool}, "Only a periodic kind"),
    ],
)
def test_a_kind_without_sense_is_refused(
    bounds: dict[str, Any], complaint: str
) -> None:
    with pytest.raises(ValueError, match=complaint):
        Kind(print, **bounds)
