"""The engine of plans: what each tax year brings, one period settled to the penny, and the plain ways to draw a pension.

It knows no answer: schedule, timing and the optimiser ask it.
"""
