"""The shared calculation module: plain floats and numpy arrays in fixed units, no web, no database, no clock.

Units, everywhere: mm, cents, Hz, N, MPa, g/m, degC, % RH, % MC, turns, days.
"""
