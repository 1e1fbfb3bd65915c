"""The statute as pure functions: one module per tax or allowance, each step citing its section.

Money is whole pence (int). Rates are basis points (int; 20% is 2000). Tax that has not been rounded yet is in
ten-thousandths of a penny (pence times basis points), so every product is exact. Nothing here reads a file, a clock
or a request.
"""
