"""The cheapest basket: equal to looking at everything, and free of every problem the checker knows."""

import itertools
import random
from dataclasses import replace
from decimal import Decimal

import pytest

from planning.compute.buying.basket import (
    BasketNeed,
    BasketOffer,
    Market,
    NoBasket,
    PriceStep,
    SupplierTerms,
    Surplus,
    basket_of,
    basket_problems,
    most_packs,
)
from planning.compute.buying.basket_program import (
    buy_each_where_cheapest,
    from_one_supplier,
    from_suppliers,
    solve_basket,
)


def money(cents: int) -> Decimal:
    return Decimal(cents) / 100


def a_market(rng: random.Random) -> Market:
    """Return a small market with everything in it: put-ups, steps, thresholds, days, equivalents, surplus."""
    suppliers = {
        name: SupplierTerms(
            name,
            shipping=money(rng.choice([0, 250, 490])),
            free_from=money(rng.choice([900, 1500])) if rng.random() < 0.5 else None,
            minimum_order=money(rng.choice([0, 0, 0, 700])),
        )
        for name in rng.sample(["Quay", "Pier", "Mole"], rng.randint(1, 3))
    }
    few = rng.random() < 0.5
    materials = ["red", "blue"] if few else ["red", "blue", "green"]
    put_ups = [1000, 2500] if few else [1000]
    offers = []
    for name, material, holds in itertools.product(suppliers, materials, put_ups):
        if rng.random() < 0.15:
            continue
        price = rng.randint(300, 500) * (1 if holds == 1000 else 2)
        steps = (PriceStep(rng.randint(2, 3), money(price - rng.randint(20, 120))),)
        offers.append(
            BasketOffer(
                number=len(offers) + 1,
                supplier=name,
                material=material,
                holds=holds,
                price=money(price),
                lead_time_days=rng.choice([2, 6]),
                steps=steps if rng.random() < 0.5 else (),
                incremental=rng.random() < 0.5,
                minimum_packs=rng.choice([1, 1, 1, 2]),
            )
        )
    needs = tuple(
        BasketNeed(
            material,
            rng.randint(200, 2600),
            days=rng.choice([None, None, 4]),
            equivalents=("red",) if material != "red" and rng.random() < 0.3 else (),
        )
        for material in materials
    )
    worth = {
        material: Surplus(Decimal(rng.choice([0, 1, 2])) / 1000, rng.choice([500, 2000]))
        for material in materials
    }
    return Market(needs, tuple(offers), suppliers, worth)


def cheapest_of_all(market: Market) -> Decimal | None:
    """Return the least net cost over every assignment, supplier and number of packs there is, or None."""
    least = None
    choices = [(need.material, *need.equivalents) for need in market.needs]
    for covered_by in itertools.product(*choices):
        parts = []
        for material in dict.fromkeys(covered_by):
            mine = [need for need, by in zip(market.needs, covered_by, strict=True) if by == material]
            parts.append(every_way(market, material, mine))
        for picked in itertools.product(*parts):
            goods: dict[str, int] = {}
            for supplier, cost, _ in picked:
                goods[supplier] = goods.get(supplier, 0) + cost
            if any(worth < market.suppliers[name].minimum_order * 100 for name, worth in goods.items()):
                continue
            net = sum(cost - worth for _, cost, worth in picked)
            for name, worth in goods.items():
                terms = market.suppliers[name]
                if terms.free_from is None or worth < terms.free_from * 100:
                    net += int(terms.shipping * 100)
            least = net if least is None else min(least, net)
    return None if least is None else Decimal(least) / 100


def every_way(market: Market, material: str, needs: list[BasketNeed]) -> list[tuple[str, int, Decimal]]:
    quantity = sum(need.quantity for need in needs)
    days = [need.days for need in needs if need.days is not None]
    ways = []
    for name in market.suppliers:
        offers = [
            offer
            for offer in market.offers
            if (offer.supplier, offer.material) == (name, material)
            and all(offer.lead_time_days <= each for each in days)
        ]
        counts = [[0, *range(offer.minimum_packs, most_packs(offer, quantity) + 1)] for offer in offers]
        for packs in itertools.product(*counts):
            held = sum(count * offer.holds for count, offer in zip(packs, offers, strict=True))
            if held < quantity:
                continue
            cost = sum(int(offer.cost(count) * 100) for count, offer in zip(packs, offers, strict=True))
            worth = market.surplus[material]
            ways.append((name, cost, 100 * worth.value * min(held - quantity, worth.useful)))
    return ways


def test_no_basket_of_500_small_markets_could_be_cheaper():
    rng = random.Random(2026)
    solved = 0
    for case in range(500):
        market = a_market(rng)
        least = cheapest_of_all(market)
        if least is None:
            with pytest.raises(NoBasket):
                solve_basket(market)
            continue
        basket = solve_basket(market)
        assert basket_problems(market, basket) == [], case
        assert abs(basket.net - least) <= Decimal("0.001"), (case, basket.net, least)
        solved += 1
    assert solved > 350


def test_greedy_and_single_supplier_baskets_are_sound_and_never_cheaper():
    rng = random.Random(7)
    dearer = 0
    for _ in range(120):
        market = a_market(rng)
        try:
            basket, greedy = solve_basket(market), buy_each_where_cheapest(market)
        except NoBasket:
            continue
        assert basket_problems(market, greedy) == []
        assert greedy.net >= basket.net - Decimal("0.001")
        dearer += greedy.net > basket.net
        for name, alone in from_one_supplier(market).items():
            assert basket_problems(market, alone) == []
            assert set(alone.by_supplier()) == {name}
            assert alone.net >= basket.net - Decimal("0.001")
    assert dearer > 10


@pytest.fixture
def market() -> Market:
    """Red and blue at two suppliers, each of whom is a little cheaper for one of them; shipping is 4.00 each."""
    prices = {("Quay", "red"): 400, ("Quay", "blue"): 440, ("Pier", "red"): 430, ("Pier", "blue"): 410}
    offers = tuple(
        BasketOffer(
            number, supplier, material, 1000, money(price), lead_time_days=3 if supplier == "Quay" else 8
        )
        for number, ((supplier, material), price) in enumerate(prices.items(), 1)
    )
    suppliers = {name: SupplierTerms(name, shipping=money(400)) for name in ("Quay", "Pier")}
    return Market((BasketNeed("red", 900), BasketNeed("blue", 900)), offers, suppliers)


def test_one_shipping_is_cheaper_than_two_bargains(market: Market):
    basket = solve_basket(market)
    assert basket.total == money(840 + 400)
    assert buy_each_where_cheapest(market).total == money(810 + 800)
    assert len(basket.by_supplier()) == 1


def test_a_need_soon_rules_out_the_slow_supplier(market: Market):
    soon = replace(market, needs=(BasketNeed("red", 900), BasketNeed("blue", 900, days=4)))
    assert set(solve_basket(soon).by_supplier()) == {"Quay"}
    with pytest.raises(NoBasket):
        solve_basket(from_suppliers(soon, ["Pier"]))


def test_more_is_bought_where_shipping_then_costs_nothing(market: Market):
    free = SupplierTerms("Quay", shipping=money(900), free_from=money(1200))
    only = Market((BasketNeed("red", 1900),), market.offers[:1], {"Quay": free})
    basket = solve_basket(only)
    assert (basket.bought[0].packs, basket.total) == (3, money(1200))


def test_an_equivalent_shade_shares_a_spool(market: Market):
    either = replace(market, needs=(BasketNeed("red", 400), BasketNeed("blue", 400, equivalents=("red",))))
    basket = solve_basket(either)
    assert basket.covered_by == ("red", "red")
    assert basket.total == money(400 + 400)


def test_nothing_needed_is_nothing_bought(market: Market):
    basket = solve_basket(replace(market, needs=()))
    assert (basket.bought, basket.total, basket.gap) == ((), 0, 0.0)


def test_what_nobody_sells_is_refused_in_words(market: Market):
    with pytest.raises(NoBasket, match="covers everything"):
        solve_basket(replace(market, needs=(BasketNeed("gold", 1),)))


@pytest.mark.parametrize(
    ("packs", "covered_by", "problem"),
    [
        ({1: 1}, ("red", "blue"), "0 of 900 blue"),
        ({1: 1, 3: 1, 2: 1}, ("red", "blue"), "red comes from Pier and Quay"),
        ({1: 2}, ("red", "red"), "red may not stand for blue"),
    ],
)
def test_the_checker_names_what_is_wrong(market: Market, packs, covered_by, problem: str):
    found = basket_problems(market, basket_of(market, packs, covered_by))
    assert any(problem in each for each in found), found


def test_the_checker_reckons_money_itself(market: Market):
    basket = solve_basket(market)
    assert "goods" in basket_problems(market, replace(basket, goods=money(1)))[0]
    assert "shipping" in basket_problems(market, replace(basket, shipping=money(0)))[0]
    assert "less than the bound" in basket_problems(market, replace(basket, bound=money(9999)))[0]


def test_late_goods_are_a_problem(market: Market):
    soon = replace(market, needs=(BasketNeed("red", 900, days=4), BasketNeed("blue", 900)))
    slow = basket_of(soon, {3: 1, 4: 1}, ("red", "blue"))
    assert "0 of 900 red come within 4 days" in basket_problems(soon, slow)


def test_a_small_order_is_a_problem(market: Market):
    choosy = {name: replace(terms, minimum_order=money(5000)) for name, terms in market.suppliers.items()}
    found = basket_problems(replace(market, suppliers=choosy), solve_basket(market))
    assert any("takes no order of 8.40" in each for each in found)


def test_many_packs_of_many_put_ups_are_still_covered():
    offers = tuple(
        BasketOffer(number, "Quay", "white", holds, money(price))
        for number, (holds, price) in enumerate([(500, 200), (1000, 350), (5000, 1500), (10_000, 2800)], 1)
    )
    market = Market((BasketNeed("white", 873_400),), offers, {"Quay": SupplierTerms("Quay")})
    basket = solve_basket(market)
    assert basket_problems(market, basket) == []
    assert basket.total <= money(88 * 2800)
