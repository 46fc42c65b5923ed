"""What a dose costs, and what an exchange costs beside waiting."""

from dataclasses import replace

import pytest

from advisor.advice import AdviceMemory, reconsider
from advisor.costs import for_dose, for_exchange, money, waiting
from advisor.drift import Rates, kept_full
from advisor.effects import Mix
from advisor.plan import Supply
from advisor.words import MINUTE, Estimate
from tests.alarm_watch import START
from tests.plants import FLUID, a_sump
from tests.sump_states import LOSSES, sump_holding

PRICED = replace(FLUID, price=5.0, disposal=0.5)


def test_concentrate_and_disposal_by_their_prices():
    """4 L at 5 and 60 L at 0.50 are 50, by hand."""
    assert money(Mix(56.0, 4.0), 60.0, PRICED) == pytest.approx(50.0)
    assert for_dose(Mix(56.0, 4.0), 60.0, PRICED) == (
        "Costs 50.00: 4 L of concentrate (20.00) and 60 L to dispose of (30.00).",
    )
    assert for_dose(Mix(56.0, 4.0), 0.0, PRICED) == ("Costs 20.00: 4 L of concentrate.",)


def test_nothing_is_said_of_costs_that_nobody_knows():
    """Without prices none; with one of two, the other is called unknown."""
    assert money(Mix(56.0, 4.0), 60.0, FLUID) is None
    assert for_dose(Mix(56.0, 4.0), 60.0, FLUID) == ()
    assert for_dose(Mix(50.0, 0.0), 0.0, PRICED) == ()
    (said,) = for_dose(Mix(56.0, 4.0), 60.0, replace(FLUID, disposal=0.5))
    assert said == (
        "Costs 30.00: 4 L of concentrate (price not known) and 60 L to dispose of (30.00)."
    )


def test_waiting_ends_where_the_balance_says():
    """After so many days of topping up with the weak mix the target is there."""
    fluid = replace(PRICED, weak_mix=0.01)
    wait = waiting(Estimate(399.0, 1.0), Estimate(0.095, 0.001), LOSSES, fluid)

    assert wait is not None
    rates = Rates(19.4 - 0.4 / 0.095, 0.4 / 0.095)
    assert kept_full(399.0, 0.095, 0.01, rates, wait.days) == pytest.approx(0.08)
    assert wait.concentrate == pytest.approx(0.01 * 19.4 * wait.days)


def test_both_ways_cost_the_same_concentrate_but_for_what_is_drained():
    """To the same end: the exchange costs what goes down with the drained fluid, and disposal."""
    fluid = replace(PRICED, weak_mix=0.0)
    wait = waiting(Estimate(399.0, 0.0), Estimate(0.095, 0.0), LOSSES, fluid)
    assert wait is not None

    lost_waiting = wait.concentrate - 399.0 * (0.08 - 0.095)
    lost_exchanged = wait.holding + 63.0 * 0.095
    # While it waits at more than the target, carry-off takes a little more of it.
    assert 0.0 < lost_waiting - wait.holding < 0.1 * wait.holding
    assert lost_exchanged > lost_waiting


def test_too_lean_waits_on_the_premix():
    """What is lost is filled up with the strongest mix that may be made."""
    wait = waiting(Estimate(399.0, 1.0), Estimate(0.065, 0.001), LOSSES, PRICED)

    assert wait is not None
    assert wait.fresh == PRICED.premix_max
    assert 0.0 < wait.days < 10.0


def test_waiting_that_leads_nowhere_is_said():
    """Where nothing is carried off, water alone never makes a full sump leaner."""
    still = replace(LOSSES, concentrate=Estimate(0.0, 0.1))
    wait = waiting(Estimate(399.0, 1.0), Estimate(0.13, 0.001), still, PRICED)
    said = for_exchange(Mix(60.0, 0.0), 60.0, wait, PRICED)

    assert "never comes to the target" in said[0]
    assert said[1] == "The exchange alone costs 30.00."


@pytest.mark.parametrize("volume", [0.0, 399.0])
def test_nothing_is_said_of_waiting_where_losses_are_unknown(volume):
    """Without losses nobody knows how long."""
    unknown = replace(LOSSES, water=None)
    assert waiting(Estimate(volume, 1.0), Estimate(0.095, 0.001), unknown, PRICED) is None


def advised(volume: float, strength: float, fluid=PRICED, **changes: object):
    """Advice on a sump seen for the first time."""
    plan = a_sump(fluid=fluid)
    return reconsider(AdviceMemory(), sump_holding(plan, volume, strength, **changes), plan, START)[
        1
    ]


def test_a_top_up_says_what_its_concentrate_costs():
    """One sentence of costs, after the reasons."""
    advice = advised(280.0, 0.081)

    cost = 5.0 * advice.mix.concentrate
    said = [reason for reason in advice.why if reason.startswith("Costs")]
    assert len(said) == 1
    assert f"Costs {cost:.2f}: " in said[0]


def test_an_exchange_says_its_cost_and_that_of_waiting():
    """Disposal included; how long waiting takes into the band and to the target."""
    advice = advised(398.0, 0.13)

    why = " ".join(advice.why)
    assert advice.kind == "exchange"
    assert advice.mix.concentrate == 0.0
    assert f"Costs {0.5 * advice.drain:.2f}: {advice.drain:.0f} L to dispose of." in why
    assert "Waiting instead: topped up with 0 % as it loses fluid, it comes into the band" in why
    assert "the exchange costs" in why


def test_an_exchange_that_is_only_named_has_its_cost_beside_waiting():
    """In the band but over the target with no room: nothing is drained, both ways are priced."""
    advice = advised(399.0, 0.0905)
    exchange = advised(370.0, 0.0985)

    assert "waiting" not in " ".join(advice.why).lower()  # no whole vessel fits: nothing to do yet
    why = " ".join(exchange.why)
    assert exchange.drain == 0.0
    assert "An exchange would reach it" in why
    assert "it comes to the target in about" in why
    assert "waiting 0.00." in why


def test_stock_that_shrinks_changes_the_advice():
    """What a report says is left in the drum is honoured at the next look."""
    drum = Supply(id="drum", kind="drum", fluid="semi-a", volume=200.0)
    plan = a_sump(supplies=(drum,))
    state = sump_holding(plan, 280.0, 0.075)
    memory, full = reconsider(AdviceMemory(), state, plan, START, stock={"drum": 100.0})

    same, nothing = reconsider(memory, state, plan, START + MINUTE, stock={"drum": 100.0})
    assert (same, nothing) == (memory, None)
    memory, short = reconsider(memory, state, plan, START + MINUTE, stock={"drum": 2.0})
    assert full.mix.concentrate > 8.0
    assert short.mix.concentrate == pytest.approx(2.0)
    assert any("at hand" in reason for reason in short.why)

    same, nothing = reconsider(
        memory, state, plan, START + 2 * MINUTE, stock={"drum": 2.0, "other": 1.0}
    )
    assert (same, nothing) == (memory, None)
