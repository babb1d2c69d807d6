"""The price list that the person edits."""

from __future__ import annotations

import pytest

from estimator.prices import default_price_list, default_prices, load_prices
from vision.findings import PerpendError


def test_every_default_price_is_marked_as_invented() -> None:
    prices = default_prices()
    assert prices.rows and {row.source for row in prices.rows.values()} == {"invented default"}
    assert not prices.edited


def test_the_default_list_can_be_read_back() -> None:
    assert load_prices(default_price_list()).rows == default_prices().rows


def test_an_edited_price_takes_its_place_and_leaves_the_others() -> None:
    prices = load_prices('[adhesive]\nlow = 9\nhigh = 11\n[heat]\n"fuel.gas_boiler" = [0.06, 0.08]\n')
    assert prices.edited
    assert prices.line("adhesive", 3) == (27, 33)
    assert prices.rows["sealant"] == default_prices().rows["sealant"]
    assert prices.heat == {"fuel.gas_boiler": (0.06, 0.08)}
    assert prices.line("nothing", 1) is None


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[adhesiv]\nlow = 1\nhigh = 2", "unknown key 'adhesiv'. Did you mean 'adhesive'?"),
        ("[adhesive]\nlow = 3\nhigh = 2", "low 3 is more than high 2"),
        ("[adhesive]\nlow = -1\nhigh = 2", "low is -1. Write a number of at least 0"),
        ("[adhesive]\nlow = 1\nhigh = 2\nunit = \"kg\"", "the unit is 'kg', but it is reckoned by 'bag'"),
        ("[adhesive]\nlow = 1\nhihg = 2", "unknown entry 'hihg'"),
        ("adhesive = 4", "'adhesive' is 4. Write a table"),
        ("[adhesive", "not readable as TOML"),
    ],
)  # fmt: skip
def test_a_list_that_cannot_be_used_says_where_and_what_to_do(text: str, said: str) -> None:
    with pytest.raises(PerpendError, match="prices") as caught:
        load_prices(text)
    assert said in str(caught.value)
