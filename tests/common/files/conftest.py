"""A fresh folder of records for each test, and pictures made on the spot."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from django.core.files.storage import storages
from PIL import Image

from lab.common.files.storage import RecordsStorage


@pytest.fixture
def records(tmp_path: Path, settings: Any) -> RecordsStorage:
    own = {"BACKEND": "lab.common.files.storage.RecordsStorage"}
    own["OPTIONS"] = {"location": tmp_path / "records"}  # type: ignore[assignment]
    settings.STORAGES = {**settings.STORAGES, "records": own}
    storage = storages["records"]
    assert isinstance(storage, RecordsStorage)
    return storage


@pytest.fixture
def picture() -> Callable[..., bytes]:
    """Return a maker of small pictures in a format, with whatever Pillow may save."""

    def make(
        written_as: str = "JPEG",
        size: tuple[int, int] = (40, 20),
        mode: str = "RGB",
        **saved: Any,
    ) -> bytes:
        out = io.BytesIO()
        image = Image.new(mode, size)
        image.putpixel((0, 0), (255, 0, 0) if mode == "RGB" else 1)
        image.save(out, written_as, **saved)
        return out.getvalue()

    return make
