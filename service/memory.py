"""The memory of a worker, which answers for months: how it stays shared, and how it is given back.

The interpreter gives memory back a megabyte at a time, and keeps each megabyte in which anything is still in use. A large plan
takes some 10 MB while it is made. What is kept meanwhile for later requests lies between, and would hold all of it.
"""

from __future__ import annotations

import gc

from service.law.kept import forget


def settle() -> None:
    """Leave what there is alone from now on: no collection looks at it, or writes beside it. So processes forked from this one
    go on sharing it, and a collection in them takes less than a millisecond."""
    gc.collect()
    gc.freeze()


def give_back() -> None:
    """Give back what heavy work has taken. What is kept for later requests is forgotten. A collection finds what refers to
    itself, and empties the interpreter's own stores of small objects."""
    forget()
    gc.collect()
