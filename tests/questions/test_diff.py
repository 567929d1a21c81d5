"""What changed between two answers."""

from __future__ import annotations

import json

import pytest

from optimizer.errors import InputError
from optimizer.questions.diff import diff, load_answer


def line(part, quantity, price):
    return {"part": part, "description": f"the {part}", "quantity": quantity, "unit_price": price / quantity, "price": price}


def rule(name, required, margin, severity="hard"):
    return {"rule": name, "required": required, "margin": margin, "severity": severity}


BEFORE = {
    "cost": {"total": 700.0, "currency": "USD"}, "bill": [line("A", 2, 400.0), line("B", 1, 200.0), line("C", 1, 100.0)],
    "checks": [rule("autonomy", 100.0, 3.0), rule("surge", 100.0, 50.0), rule("recovery", 100.0, 1.0, "soft")],
}
AFTER = {
    "cost": {"total": 960.0, "currency": "USD"}, "bill": [line("A", 3, 600.0), line("B", 1, 200.0), line("D", 4, 160.0)],
    "checks": [rule("autonomy", 100.0, 30.0), rule("surge", 100.0, 5.0)],
}


def test_known_answers_differ_as_written_by_hand():
    found = diff(BEFORE, AFTER)
    assert (found.total_before, found.total_after, found.currency) == (700.0, 960.0, "USD")
    assert [(one.part, one.quantity_before, one.quantity_after, one.price_before, one.price_after) for one in found.added] == [("D", 0, 4, 0.0, 160.0)]
    assert [(one.part, one.quantity_before, one.quantity_after, one.price_before) for one in found.removed] == [("C", 1, 0, 100.0)]
    assert [(one.part, one.quantity_before, one.quantity_after, one.price_after) for one in found.changed] == [("A", 2, 3, 600.0)]
    assert found.became_binding == ("surge",)
    assert found.no_longer_binding == ("autonomy",)


def test_an_answer_does_not_differ_from_itself():
    for answer in (BEFORE, AFTER):
        found = diff(answer, answer)
        assert found.total_before == found.total_after
        assert not (*found.added, *found.removed, *found.changed, *found.became_binding, *found.no_longer_binding)


@pytest.mark.parametrize("bad", [
    {}, {"bill": [], "cost": {"total": None, "currency": "USD"}}, {**BEFORE, "bill": [{"part": "A"}]}, {**BEFORE, "checks": [{}]},
    {**BEFORE, "cost": "much"}, {**BEFORE, "bill": "long"},
])
def test_what_is_no_answer_is_refused(bad, tmp_path):
    with pytest.raises(InputError, match="second file is not an answer"):
        diff(BEFORE, bad)
    file = tmp_path / "bad.json"
    file.write_text(json.dumps(bad))
    with pytest.raises(InputError, match=r"bad\.json"):
        load_answer(file)


def test_two_currencies_are_refused():
    with pytest.raises(InputError, match="two currencies"):
        diff(BEFORE, {**AFTER, "cost": {"total": 960.0, "currency": "EUR"}})


def test_files_that_cannot_be_read_are_named(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load_answer(tmp_path / "none.json")
    (tmp_path / "torn.json").write_text("{")
    with pytest.raises(InputError, match=r"torn\.json"):
        load_answer(tmp_path / "torn.json")
    (tmp_path / "list.json").write_text("[1]")
    with pytest.raises(InputError, match="not an answer"):
        load_answer(tmp_path / "list.json")
