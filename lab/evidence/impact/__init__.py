"""What leans on a device, a calibration or a check, and what would follow if …

Nothing here writes: the pages run it inside a transaction that the database itself
keeps from writing.
"""
