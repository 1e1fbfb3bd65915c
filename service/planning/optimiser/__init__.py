"""The best plan: a linear relaxation of a household's years, branch and bound over it, and the rounding to whole pennies."""
