"""The parts of the tax curve, from the rules up: a year that is asked, the points where the tax may bend, the bends that
the set-off makes between them, and the pieces with their reasons. ``tax_curve.py`` puts them together.
"""
