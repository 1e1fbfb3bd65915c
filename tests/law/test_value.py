"""Values: made by name, never changed, equal and hashed by what they hold."""

from __future__ import annotations

import copy
import pickle

import pytest

from service.law.lump_sums import Payment, Pension


def test_a_value_is_made_by_name_or_in_the_order_of_its_fields() -> None:
    assert Pension(uncrystallised=5, drawdown=2) == Pension(5, 2)
    with pytest.raises(TypeError):
        Pension(drawdown=2)


def test_a_value_cannot_be_changed_but_copied_with_changes() -> None:
    pension = Pension(5, 2)
    with pytest.raises(AttributeError):
        pension.drawdown = 3
    assert pension._replace(drawdown=3) == Pension(5, 3)
    assert pension == Pension(5, 2)
    with pytest.raises(TypeError):
        pension._replace(income=3)


def test_values_are_equal_and_hashed_by_class_and_fields() -> None:
    payment = Payment(1, 0, 1)
    assert payment == Payment(1, 0, 1) != Payment(1, 1, 0)
    assert payment != Pension(1, 0, 1)
    assert len({payment, Payment(1, 0, 1), Payment(1, 1, 0)}) == 2


def test_a_value_can_be_copied_and_sent_to_another_process() -> None:
    pension = Pension(5, lump_sum_allowance_used=7)
    assert copy.copy(pension) == copy.deepcopy(pension) == pickle.loads(pickle.dumps(pension)) == pension
