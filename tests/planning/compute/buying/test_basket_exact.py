"""Baskets in which equal shades may stand for one another, held against an exact model of another kind."""

import itertools
import random
from collections import defaultdict
from decimal import Decimal

import pytest
from ortools.sat.python import cp_model

from planning.compute.buying.basket import (
    BasketNeed,
    BasketOffer,
    Market,
    NoBasket,
    PriceStep,
    SupplierTerms,
    Surplus,
    basket_problems,
    most_packs,
)
from planning.compute.buying.basket_program import solve_basket, split_basket
from planning.compute.search.proof import Proof
from tests.sizes import searched

CASES, PARTS = 500, 20


def money(cents: int) -> Decimal:
    return Decimal(cents) / 100


def near_shades(rng: random.Random) -> Market:
    """Three to six shades, most near enough to stand for one another, cones, steps, post, free post, days."""
    shades = [f"red {number}" for number in range(rng.randint(3, 6))]
    names = rng.sample(["Quay", "Pier", "Mole"], rng.randint(2, 3))
    suppliers = {
        name: SupplierTerms(
            name,
            shipping=money(rng.choice([0, 390, 690])),
            free_from=money(rng.choice([1500, 3000])) if rng.random() < 0.5 else None,
            minimum_order=money(rng.choice([0, 0, 0, 1000])),
        )
        for name in names
    }
    offers = []
    for name, shade, holds in itertools.product(names, shades, (1_000, 5_000)):
        if rng.random() < (0.3 if holds == 1_000 else 0.6):
            continue
        price = rng.randint(280, 520) if holds == 1_000 else rng.randint(900, 1600)
        offers.append(
            BasketOffer(
                number=len(offers) + 1,
                supplier=name,
                material=shade,
                holds=holds,
                price=money(price),
                lead_time_days=rng.choice([2, 2, 6]),
                steps=(PriceStep(rng.randint(2, 4), money(price - rng.randint(20, 90))),)
                if rng.random() < 0.4
                else (),
                incremental=rng.random() < 0.5,
                minimum_packs=rng.choice([1, 1, 1, 2]),
            )
        )
    needs = tuple(
        BasketNeed(
            shade,
            rng.randint(200, 2_600),
            days=rng.choice([None, None, 4]),
            equivalents=tuple(other for other in shades if other != shade and rng.random() < 0.75),
        )
        for shade in shades
    )
    worth = {
        shade: Surplus(Decimal(rng.choice([0, 1])) / 1000, rng.choice([500, 2_000]))
        for shade in shades
        if rng.random() < 0.5
    }
    return Market(needs, tuple(offers), suppliers, worth)


def least_net(market: Market, *, may_split: bool = False) -> Decimal | None:
    """Return the least net cost by CP-SAT, in tenths of a cent inside; None if nothing covers the needs."""
    model = cp_model.CpModel()
    covers = {
        (number, material): model.new_bool_var("")
        for number, need in enumerate(market.needs)
        for material in (need.material, *need.equivalents)
    }
    for number, need in enumerate(market.needs):
        model.add_exactly_one(covers[number, material] for material in (need.material, *need.equivalents))
    total, goods, sold = [], defaultdict(list), defaultdict(list)
    for material in {material for _, material in covers}:
        users = [number for number, by in covers if by == material]
        wanted = sum(market.needs[number].quantity * covers[number, material] for number in users)
        is_wanted = model.new_bool_var("")
        model.add_max_equality(is_wanted, [covers[number, material] for number in users])
        most_wanted = sum(market.needs[number].quantity for number in users)
        held, from_supplier = [], {name: model.new_bool_var("") for name in market.suppliers}
        for offer in market.offers:
            if offer.material != material:
                continue
            limit = most_packs(offer, most_wanted)
            packs = model.new_int_var_from_domain(
                cp_model.Domain.from_intervals([(0, 0), (max(1, offer.minimum_packs), limit)]), ""
            )
            table = [round(offer.cost(count) * 1000) if count else 0 for count in range(limit + 1)]
            cost = model.new_int_var(0, max(table), "")
            model.add_element(packs, table, cost)
            always = max(offer.minimum_packs, offer.prices[-1].from_packs) * offer.holds
            room = model.new_int_var(0, 10**9, "")
            model.add_max_equality(room, [always, wanted + 2 * offer.holds - 1])
            model.add(packs * offer.holds <= room)
            is_bought = model.new_bool_var("")
            model.add(packs >= 1).only_enforce_if(is_bought)
            model.add(packs == 0).only_enforce_if(~is_bought)
            model.add_implication(is_bought, from_supplier[offer.supplier])
            model.add_implication(is_bought, is_wanted)
            for number in users:
                days = market.needs[number].days
                if days is not None and offer.lead_time_days > days:
                    model.add_bool_or(~is_bought, ~covers[number, material])
            held.append(packs * offer.holds)
            goods[offer.supplier].append(cost)
            sold[offer.supplier].append(is_bought)
        if not may_split:
            model.add_at_most_one(from_supplier.values())
        model.add(sum(held) >= wanted)
        worth = market.surplus.get(material)
        if worth is not None and worth.value:
            left = model.new_int_var(0, worth.useful, "")
            model.add(left <= sum(held) - wanted)
            total.append(-round(worth.value * 1000) * left)
    for name, terms in market.suppliers.items():
        bought = model.new_bool_var("")
        model.add_max_equality(bought, [*sold[name], 0])
        worth_of = sum(goods[name])
        total.append(worth_of)
        model.add(worth_of >= round(terms.minimum_order * 1000)).only_enforce_if(bought)
        pays = model.new_bool_var("")
        if terms.free_from is None:
            model.add(pays == bought)
        else:
            model.add_implication(pays, bought)
            is_free = model.new_bool_var("")
            model.add(worth_of >= round(terms.free_from * 1000)).only_enforce_if(is_free)
            model.add_bool_or(~bought, is_free, pays)
        total.append(round(terms.shipping * 1000) * pays)
    model.minimize(sum(total))
    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    status = solver.solve(model)
    assert status in (cp_model.OPTIMAL, cp_model.INFEASIBLE)
    return Decimal(round(solver.objective_value)) / 1000 if status == cp_model.OPTIMAL else None


def assert_told_truly(seed: int) -> Proof | None:
    """Return what the basket of a random market is said to be, None where there is none."""
    market = near_shades(random.Random(seed))
    least = least_net(market)
    if least is None:
        with pytest.raises(NoBasket):
            solve_basket(market)
        return None
    basket = solve_basket(market)
    assert basket_problems(market, basket) == [], seed
    assert basket.bound is not None
    assert basket.bound <= least + Decimal("0.001"), seed
    if basket.proof is Proof.LEAST:
        assert basket.net - least < Decimal("0.01"), (seed, basket.net, least)
    else:
        assert basket.net <= least * Decimal("1.005"), (seed, basket.net, least)
    return basket.proof


def test_no_basket_is_said_to_be_the_cheapest_that_is_not():
    told = [assert_told_truly(seed) for seed in range(8)]
    assert told.count(Proof.LEAST) >= 6


@pytest.mark.parametrize("part", searched(range(PARTS)))
def test_of_500_baskets_with_equal_shades_none_is_said_to_be_the_cheapest_that_is_not(part):
    every = CASES // PARTS
    told = [assert_told_truly(seed) for seed in range(1000 + part * every, 1000 + (part + 1) * every)]
    assert told.count(Proof.LEAST) > 0.7 * sum(each is not None for each in told)


def four_near_reds() -> Market:
    """A thousand metres of each of four reds; the fourth is sold on a cone that holds them all for 10.00."""
    reds = tuple(f"red {number}" for number in range(4))
    needs = tuple(
        BasketNeed(red, 1_000, equivalents=tuple(other for other in reds if other != red)) for red in reds
    )
    offers = [BasketOffer(number, "Quay", red, 1_000, money(750)) for number, red in enumerate(reds, 1)]
    offers.append(BasketOffer(5, "Quay", "red 3", 5_000, money(1000)))
    return Market(needs, tuple(offers), {"Quay": SupplierTerms("Quay")})


def test_four_near_reds_come_off_one_cone():
    basket = solve_basket(four_near_reds())
    assert (basket.total, set(basket.covered_by), basket.proof) == (money(1000), {"red 3"}, Proof.LEAST)


def test_a_basket_that_may_split_its_lots_is_never_dearer_and_says_what_one_lot_costs():
    market = Market(
        (BasketNeed("navy", 6_000),),
        (
            BasketOffer(1, "Quay", "navy", 5_000, money(1000)),
            BasketOffer(2, "Pier", "navy", 1_000, money(250)),
        ),
        {name: SupplierTerms(name) for name in ("Quay", "Pier")},
    )
    kept, split = solve_basket(market), split_basket(market)
    assert split is not None
    assert (kept.total, split.total) == (money(1500), money(1250))
    assert basket_problems(market, split, may_split=True) == []
    assert basket_problems(market, split) == ["navy comes from Pier and Quay"]


def test_of_random_markets_no_split_is_cheaper_than_the_least_there_is():
    for seed in range(30):
        market = near_shades(random.Random(seed))
        split = split_basket(market)
        least = least_net(market, may_split=True)
        assert (split is None) == (least is None), seed
        if split is not None and least is not None:
            assert basket_problems(market, split, may_split=True) == []
            assert split.net >= least - Decimal("0.001")
            assert split.proof is not Proof.LEAST or split.net - least < Decimal("0.01"), seed


def test_a_caller_out_of_patience_gets_the_basket_at_hand_and_the_same_question_has_one_answer():
    market = near_shades(random.Random(4))
    hurried = solve_basket(market, seconds_left=lambda: -1.0)
    patient = solve_basket(market)
    assert basket_problems(market, hurried) == []
    assert hurried.net >= patient.net
    assert hurried.proof is (Proof.LEAST if hurried.bound == hurried.net else Proof.IN_TIME)
    assert solve_basket(market, seconds_left=lambda: 1e9) == patient
