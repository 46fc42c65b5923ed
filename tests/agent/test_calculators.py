"""What `charge` and `top-up` promise for whatever is typed."""

import json
import subprocess
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from agent.calculators import Recipe, charge, top_up
from agent.cli import main
from agent.sheets import as_json
from agent.typed import ChargeInput, ImpossibleInputError, TopUpInput, litres

KEYS = {
    "water_l",
    "concentrate_l",
    "strength_pct",
    "drain_l",
    "batches",
    "after",
    "why",
    "cautions",
}

buckets = st.sampled_from(["", "10 L", "20 L", "5 gal", "5 imperial_gallon"])
graduations = st.sampled_from(["", "0.5 L"])
premixes = st.sampled_from(["", "4:1", "1:4", "5:1", "10:1"])
weak_mixes = st.sampled_from(["", "0", "1", "2.5"])


def added_up(recipe: Recipe) -> tuple[float, float]:
    """Water and concentrate of the batches, one by one. [L]"""
    batches = as_json(recipe)["batches"]
    return (
        sum(batch["count"] * batch["water_l"] for batch in batches),
        sum(batch["count"] * batch["concentrate_l"] for batch in batches),
    )


def assert_conserved(recipe: Recipe, volume: float, concentration: float) -> None:
    """Batches add up to the totals, and the totals to what the sump holds afterwards."""
    answer = as_json(recipe)
    water, pure = added_up(recipe)
    near = 1e-4 * max(len(answer["batches"]), 1)
    assert (answer["water_l"], answer["concentrate_l"]) == pytest.approx((water, pure), abs=near)
    kept = volume - answer["drain_l"]
    total = kept + water + pure
    assert answer["after"]["volume_l"] == pytest.approx(total, abs=near)
    strength = 100 * (kept * concentration + pure) / total
    assert answer["after"]["concentration_pct"] == pytest.approx(strength, abs=1e-3)


@settings(max_examples=100, deadline=None)
@given(
    st.floats(5.0, 2000.0),
    st.floats(0.5, 30.0),
    st.sampled_from(["of-mix", "per-water"]),
    premixes,
    buckets,
    weak_mixes,
)
def test_a_charge_reads_what_was_asked(volume, target, convention, premix, bucket, weak_mix):
    """Volume as asked; target as asked, or as near as weak mix and premix allow."""
    typed = ChargeInput(
        volume=f"{volume!r} L",
        target=repr(target),
        convention=convention,
        premix=premix,
        bucket=bucket,
        weak_mix=weak_mix,
    )
    recipe = charge(typed)

    assert_conserved(recipe, 0.0, 0.0)
    wanted = target if convention == "of-mix" else 100 * target / (100 + target)
    strongest = {"": 20.0, "4:1": 20.0, "1:4": 20.0, "5:1": 100 / 6, "10:1": 100 / 11}[premix]
    reached = min(max(wanted, float(weak_mix or 0)), strongest)
    after = as_json(recipe)["after"]
    assert after["volume_l"] == pytest.approx(volume, abs=1e-4)
    assert after["concentration_pct"] == pytest.approx(reached, abs=1e-4)
    assert as_json(recipe)["drain_l"] == 0.0


top_ups = st.builds(
    lambda now, wanted, bucket, graduation, exchange: TopUpInput(
        volume=f"{now[0]!r} L",
        concentration=repr(now[1]),
        to_volume=f"{wanted[0]!r} L",
        target=repr(wanted[1]),
        bucket=bucket,
        graduation=graduation if bucket else "",
        exchange=exchange,
    ),
    st.tuples(st.floats(0.0, 500.0), st.floats(0.0, 30.0)),
    st.tuples(st.floats(5.0, 500.0), st.floats(0.5, 20.0)),
    buckets,
    graduations,
    st.booleans(),
)


@settings(max_examples=100, deadline=None)
@given(top_ups)
def test_a_top_up_conserves_and_keeps_the_limits(typed):
    """Every litre is accounted for, no batch is too strong or larger than the bucket."""
    recipe = top_up(typed)
    volume, concentration = litres("--volume", typed.volume), float(typed.concentration)

    assert_conserved(recipe, volume, concentration / 100)
    answer = as_json(recipe)
    mark = 0.5 if typed.graduation else 0.0
    wanted = litres("--to-volume", typed.to_volume)
    assert answer["after"]["volume_l"] <= max(volume, wanted + mark) + 1e-5
    assert answer["drain_l"] == 0.0 or typed.exchange
    size = litres("--bucket", typed.bucket) if typed.bucket else float("inf")
    for batch in answer["batches"]:
        total = batch["water_l"] + batch["concentrate_l"]
        assert batch["concentrate_l"] <= 0.2 * total + 1e-5
        assert total <= size + 1e-5


def test_a_premix_is_understood_either_way_round_and_said_back():
    """4:1 and 1:4 are both four parts of water to one of concentrate."""
    answers = [
        as_json(charge(ChargeInput(volume="420 L", target="7", premix=premix)))
        for premix in ("4:1", "1:4")
    ]

    assert answers[0] == answers[1]
    assert "4 parts of water to 1 of concentrate, 20 %" in " ".join(answers[0]["why"])


def test_the_convention_governs_the_target_alone():
    """7 parts per 100 of water are 6.54 %; the weak mix stays in % of the mix."""
    typed = ChargeInput(volume="420 L", target="7", convention="per-water", weak_mix="1")
    answer = as_json(charge(typed))

    assert answer["after"]["concentration_pct"] == pytest.approx(100 * 7 / 107, abs=1e-5)
    weak = answer["batches"][-1]
    assert weak["concentrate_l"] / (weak["water_l"] + weak["concentrate_l"]) == pytest.approx(0.01)


def test_gallons_are_us_gallons():
    """95 gal are 359.61 L, 95 imperial_gallon are 431.88 L."""
    us = as_json(charge(ChargeInput(volume="95 gal", target="6")))
    imperial = as_json(charge(ChargeInput(volume="95 imperial_gallon", target="6")))

    assert us["after"]["volume_l"] == pytest.approx(95 * 3.785411784, abs=1e-5)
    assert imperial["after"]["volume_l"] == pytest.approx(95 * 4.54609, abs=1e-5)


def test_what_cannot_be_reached_is_the_best_plan_and_says_what_an_exchange_takes():
    """280 L at 10 % to 300 L at 8 % with a weak mix of 1 %: 9.4 %, by hand; x = 46.67 L."""
    answer = as_json(
        top_up(
            TopUpInput(
                volume="280 L", concentration="10", to_volume="300 L", target="8", weak_mix="1"
            )
        )
    )

    assert answer["after"] == {"volume_l": 300.0, "concentration_pct": 9.4}
    assert answer["strength_pct"] == pytest.approx(1.0)
    assert "drain 46.67 L" in " ".join(answer["why"])


def test_an_exchange_that_was_allowed_is_carried_out():
    """V (1 - c2 / c1): 60 of 300 L from 10 to 8 % with water."""
    answer = as_json(
        top_up(
            TopUpInput(
                volume="300 L", concentration="10", to_volume="300 L", target="8", exchange=True
            )
        )
    )

    assert (answer["drain_l"], answer["water_l"]) == pytest.approx((60.0, 60.0), abs=1e-5)
    assert any("waste" in caution for caution in answer["cautions"])


def test_what_is_left_in_the_sump_takes_up_room_and_does_not_count():
    """12 L left of 420: 408 L are poured; more than 2 % means rinse again."""
    answer = as_json(charge(ChargeInput(volume="420 L", target="7", residue="12 L")))

    assert answer["water_l"] + answer["concentrate_l"] == pytest.approx(408.0)
    assert answer["concentrate_l"] == pytest.approx(0.07 * 420.0, abs=1e-5)
    assert "rinse" in " ".join(answer["why"])


def test_the_reading_is_the_concentration_by_the_factor():
    """8 % at a factor of 1.25 read 6.4 °Brix."""
    typed = ChargeInput(volume="420 L", target="8", factor="1.25")

    assert as_json(charge(typed))["reading_brix"] == pytest.approx(6.4)


def test_costs_of_the_top_up_and_of_the_exchange_are_compared():
    """20 L at 1 % against 46.67 L drained and 66.67 L at 1 % filled in, by hand."""
    answer = as_json(
        top_up(
            TopUpInput(
                volume="280 L",
                concentration="10",
                to_volume="300 L",
                target="8",
                weak_mix="1",
                price="6",
                disposal="0.5",
            )
        )
    )

    assert answer["cost"] == pytest.approx(0.2 * 6)
    instead = 0.6667 * 6 + 46.6667 * 0.5
    assert f"The exchange would cost {instead:.2f}." in answer["why"]


def test_pumps_run_as_long_as_the_data_sheet_says():
    """In the steps and in the cautions, of a charge and of a top-up; half an hour unless typed."""
    charged = charge(ChargeInput(volume="300 L", target="8", circulate="45"))
    topped = top_up(
        TopUpInput(
            volume="280 L", concentration="8", to_volume="300 L", target="8", circulate="20 min"
        )
    )

    for recipe, minutes in ((charged, 45), (topped, 20)):
        answer = as_json(recipe)
        assert any(f"for {minutes} minutes" in step for step in answer["steps"])
        assert any(f"for {minutes} minutes" in caution for caution in answer["cautions"])
        assert "30 minutes" not in str(answer)


def test_nothing_is_said_of_cost_without_a_price():
    """No price, no cost."""
    assert as_json(charge(ChargeInput(volume="420 L", target="7")))["cost"] is None


IMPOSSIBLE = [
    ("--price", {"price": "-1"}),
    ("--price", {"price": "dear"}),
    ("--volume", {"volume": "420"}),
    ("--volume", {"volume": "420 kg"}),
    ("--volume", {"volume": "a lot"}),
    ("--volume", {"volume": "0 L"}),
    ("--volume", {"volume": "-420 L"}),
    ("--volume", {"volume": "1e300 L"}),
    ("--target", {"target": "0"}),
    ("--target", {"target": "-1"}),
    ("--target", {"target": "100"}),
    ("--target", {"target": "nan"}),
    ("--target", {"target": "seven"}),
    ("--target", {"target": "0", "convention": "per-water"}),
    ("--convention", {"convention": "by-weight"}),
    ("--premix", {"premix": "4"}),
    ("--premix", {"premix": "0:1"}),
    ("--premix", {"premix": "4:1:1"}),
    ("--bucket", {"bucket": "0 L"}),
    ("--weak-mix", {"weak_mix": "100"}),
    ("--weak-mix", {"weak_mix": "25"}),
    ("--graduation", {"graduation": "30 L", "bucket": "20 L"}),
    ("--residue", {"residue": "500 L"}),
    ("--factor", {"factor": "0"}),
    ("--circulate", {"circulate": "0"}),
    ("--circulate", {"circulate": "a while"}),
]


@pytest.mark.parametrize(("option", "typed"), IMPOSSIBLE)
def test_impossible_input_is_refused_with_its_option(option, typed):
    """The message names the option and what would have been accepted."""
    with pytest.raises(ImpossibleInputError) as refused:
        charge(ChargeInput(**{"volume": "420 L", "target": "7", **typed}))

    assert refused.value.option == option
    assert "expected" in str(refused.value)
    assert "\n" not in str(refused.value)


def test_json_is_one_object_with_the_keys_that_are_fixed(capsys):
    """Nothing but the object on standard output; exit code 0."""
    code = main(["charge", "--volume", "420 L", "--target", "7", "--bucket", "20 L", "--json"])

    answer = json.loads(capsys.readouterr().out)
    assert code == 0
    assert answer.keys() >= KEYS
    assert answer["after"].keys() == {"volume_l", "concentration_pct"}
    assert all(b.keys() == {"count", "water_l", "concentrate_l"} for b in answer["batches"])


def test_impossible_input_exits_with_two_and_one_line(capsys):
    """One line on standard error, nothing on standard output."""
    now = ["--volume", "280", "--concentration", "8"]
    code = main(["top-up", *now, "--to-volume", "300 L", "--target", "8"])

    said = capsys.readouterr()
    assert code == 2
    assert said.out == ""
    assert len(said.err.splitlines()) == 1


def test_the_command_itself_prints_only_json():
    """As a process, too: the solver prints nothing between."""
    run = [sys.executable, "-c", "import sys; from agent.cli import main; sys.exit(main())"]
    now = ["--volume", "280 L", "--concentration", "8.43"]
    wanted = ["--to-volume", "300 L", "--target", "8", "--weak-mix", "1", "--bucket", "20 L"]
    done = subprocess.run(
        [*run, "top-up", *now, *wanted, "--json"], capture_output=True, check=True
    )

    answer = json.loads(done.stdout)
    assert answer["strength_pct"] == pytest.approx(1.98, abs=1e-4)
    assert done.stderr == b""
