"""What is kept about the air of the rooms: sensors, readings by the hour, imports."""

from lab.environment.models.excursions import Excursion, ExcursionNote, NewReadings
from lab.environment.models.imports import ReadingImport, ReadingSource, StagedHour
from lab.environment.models.readings import AirQuantity, ReadingHour
from lab.environment.models.sensors import SensorPlacement
from lab.environment.models.spot import SpotReading
from lab.environment.models.tokens import LoggerToken

__all__ = [
    "AirQuantity",
    "Excursion",
    "ExcursionNote",
    "LoggerToken",
    "NewReadings",
    "ReadingHour",
    "ReadingImport",
    "ReadingSource",
    "SensorPlacement",
    "SpotReading",
    "StagedHour",
]
