"""What is kept about the air of the rooms: sensors, readings by the hour, imports."""

from lab.environment.models.readings import AirQuantity, ReadingHour
from lab.environment.models.sensors import SensorPlacement
from lab.environment.models.spot import SpotReading

__all__ = ["AirQuantity", "ReadingHour", "SensorPlacement", "SpotReading"]
