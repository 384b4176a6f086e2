"""Text files of loggers: what they look like, and the readings in them.

`layout`: which column is what. `guessing`: a first look, shown to a person before
anything is read by it. `times`: written times, zones and clock changes. `walking`:
the rows in large bites. `report`: what was left out, and why. None of it knows the
database.
"""
