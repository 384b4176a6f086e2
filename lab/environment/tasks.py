"""What the worker does about the air of the rooms."""

from __future__ import annotations

from lab.common.work.kinds import Kind
from lab.environment.importing import import_readings
from lab.environment.services.excursions import find_excursions

KINDS = {
    "environment.find_excursions": Kind(find_excursions, limit_s=900),
    "environment.import_readings": Kind(import_readings, limit_s=3600, tries=20),
}
