#!/usr/bin/env python
"""Run a command of the project: ``python manage.py serve``, ``demo``, ``backup`` …"""

import os
import sys

if __name__ == "__main__":
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "lab.settings")
    from django.core.management import execute_from_command_line

    execute_from_command_line(sys.argv)
