"""Writes go through services; frozen is frozen; the clock is the one clock."""

from __future__ import annotations

import ast
import re
from typing import Any

from django.apps import apps
from django.db import models

from lab.accounts.permissions import ACTIONS
from lab.common.frozen import FrozenModel, frozen_models
from lab.common.services import SERVICES

WRITES = {"save", "create", "bulk_create", "update", "get_or_create", "delete"}


def calls(tree: ast.AST) -> list[ast.Call]:
    return [
        node
        for node in ast.walk(tree)
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute)
    ]


def test_an_existing_row_is_saved_by_named_fields(sources: list[Any]) -> None:
    bare = [
        f"{source.name}:{call.lineno}"
        for source in sources
        for call in calls(source.tree)
        if call.func.attr == "save"
        and "metrology" not in source.name
        and "/pdf/" not in source.name
        and not {k.arg for k in call.keywords} & {"update_fields", "force_insert", None}
        and not call.args
    ]
    # `super().save(*args, **kwargs)` passes; a form or a picture writes elsewhere.
    assert bare == []


def test_every_public_function_of_a_services_module_is_a_service(
    sources: list[Any],
) -> None:
    plain = [
        f"{source.name}:{node.name}"
        for source in sources
        if re.search(r"lab/\w+/services(/\w+)?\.py$", source.name)
        and "/common/" not in source.name
        for node in source.tree.body
        if isinstance(node, ast.FunctionDef)
        and not node.name.startswith("_")
        and not any("service" in ast.unparse(d) for d in node.decorator_list)
    ]
    assert plain == []


def test_views_write_nothing_themselves(sources: list[Any]) -> None:
    writing = [
        f"{source.name}:{call.lineno} .{call.func.attr}()"
        for source in sources
        if "/views" in source.name
        for call in calls(source.tree)
        if (call.func.attr in WRITES and "objects" in ast.unparse(call.func))
        or ("/views" in source.name and "transaction.atomic" in source.text)
    ]
    assert writing == []


def test_every_action_that_a_service_asks_for_is_in_the_table() -> None:
    asked = {s.may for s in SERVICES.values() if s.may}  # type: ignore[attr-defined]
    assert asked <= set(ACTIONS)


def test_keys_to_frozen_records_protect_them() -> None:
    loose = [
        str(field)
        for model in apps.get_models()
        for field in model._meta.get_fields()
        if isinstance(field, models.ForeignKey)
        and issubclass(field.related_model, FrozenModel)
        and field.remote_field.on_delete is not models.PROTECT
    ]
    assert loose == []


def test_frozen_models_keep_their_fences_in_meta() -> None:
    assert frozen_models()
    open_ones = [
        model._meta.label
        for model in frozen_models()
        if model._meta.base_manager_name != "objects"
    ]
    assert open_ones == []


def test_nothing_but_the_clock_asks_for_the_time(sources: list[Any]) -> None:
    asks = re.compile(
        r"timezone\.now\(|datetime\.now\(|datetime\.today\(|date\.today\("
    )
    asking = [
        source.name
        for source in sources
        if asks.search(source.text) and source.name != "lab/common/clock.py"
    ]
    assert asking == []


def test_no_signals_but_the_one_that_rebuilds_fences(sources: list[Any]) -> None:
    listening = [
        source.name
        for source in sources
        if re.search(r"@receiver|\.dispatch import|signals import", source.text)
    ]
    assert listening == ["lab/common/apps.py"]
