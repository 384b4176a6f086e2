"""The functional core: what a dimensional-metrology lab computes.

Arrays and dataclasses in, frozen dataclasses out. No Django, no database, no
clock and no global state; files only as bytes handed in. Inside, lengths are
millimetres, temperatures degrees Celsius, times seconds, masses kilograms and
angles radians; every name carries its unit.
"""
