"""Rate noise fitted to the truth."""

import math

import numpy as np
import pytest
from filterpy.kalman import KalmanFilter

from simulators.score.fitting import Growth, RateNoise, fit, halves, increments, likelihood

DAYS = 30.0 / 1440.0


def walked(noise: RateNoise, running: np.ndarray, drive: np.ndarray, seed: int) -> np.ndarray:
    """A loss that truly walks so, minute by minute. [L]"""
    draw = np.random.default_rng(seed)
    dt = 1.0 / 1440.0
    rest = noise.mean + np.cumsum(draw.normal(size=len(running))) * math.sqrt(noise.rest * dt)
    run = noise.mean + np.cumsum(draw.normal(size=len(running))) * math.sqrt(noise.run * dt)
    lumps = draw.normal(size=len(running)) * np.sqrt(noise.lumps * dt * running)
    return np.cumsum(drive * (rest + running * run) * dt + lumps)


def test_likelihood_agrees_with_the_reference_library():
    """The scalar recursion gives the log-likelihood of filterpy's dense filter to 1e-9."""
    draw = np.random.default_rng(3)
    noise = RateNoise(mean=10.0, rest=4.0, run=30.0, lumps=2.0)
    growths = [
        Growth(*draw.uniform((0.1, 0.5, 0.0, 0.0), (0.9, 1.5, 1.0, 1.0)).tolist())
        for _ in range(60)
    ]
    other = KalmanFilter(dim_x=3, dim_z=1)
    other.x = np.array([[10.0], [10.0], [0.0]])
    other.P = np.diag([100.0, 100.0, 0.0])
    total = 0.0
    for growth in growths:
        f, g = growth.rest, growth.run
        forward = np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [f * DAYS, g * DAYS, 0.0]])
        q0, q1 = noise.rest, noise.run
        spread = np.array(
            [
                [q0 * DAYS, 0.0, f * q0 * DAYS**2 / 2],
                [0.0, q1 * DAYS, g * q1 * DAYS**2 / 2],
                [
                    f * q0 * DAYS**2 / 2,
                    g * q1 * DAYS**2 / 2,
                    (f * f * q0 + g * g * q1) * DAYS**3 / 3,
                ],
            ]
        )
        spread[2, 2] += growth.share * noise.lumps * DAYS + 1e-12
        other.predict(F=forward, Q=spread)
        other.update(np.array([[growth.lost]]), R=np.array([[0.0]]), H=np.array([[0.0, 0.0, 1.0]]))
        total += other.log_likelihood

    assert likelihood(noise, growths, DAYS) == pytest.approx(total, rel=1e-9)


def test_what_is_passed_over_says_nothing():
    """An interval that is not known adds nothing to the likelihood, and only lets time pass."""
    noise = RateNoise(mean=10.0, rest=4.0, run=0.0, lumps=0.0)
    gap = Growth(math.nan, 1.0, 0.0, 0.0)
    known = Growth(0.21, 1.0, 0.0, 0.0)

    assert likelihood(noise, [gap], DAYS) == 0.0
    assert likelihood(noise, [gap, known], DAYS) == pytest.approx(
        likelihood(noise, [known], DAYS), abs=0.1
    )


def test_known_noise_is_found_again():
    """A fit to walks of known noise finds it within the spread of such fits."""
    minutes = 14 * 1440
    running = (np.arange(minutes) % 1440 < 720).astype(float)
    true = RateNoise(mean=20.0, rest=9.0, run=400.0, lumps=3.0)
    even = np.ones(minutes)
    found = [fit(walked(true, running, even, seed), running, even, even) for seed in range(4)]

    assert np.mean([math.log(f.run / true.run) for f in found]) == pytest.approx(0.0, abs=0.3)
    assert np.mean([math.log(f.lumps / true.lumps) for f in found]) == pytest.approx(0.0, abs=0.3)
    assert np.mean([math.log(f.rest / true.rest) for f in found]) == pytest.approx(0.0, abs=1.0)


def test_a_burst_does_not_make_the_rates_restless():
    """Half hours that were not as usual leave the fit as it is without them."""
    minutes = 6 * 1440
    running, even = np.ones(minutes), np.ones(minutes)
    lost = walked(RateNoise(20.0, 9.0, 1e-6, 1.0), running, even, 1)
    burst, usual = lost.copy(), even.copy()
    burst[3000:] += np.clip(np.arange(minutes - 3000) / 3.0, 0.0, 70.0)
    usual[2990:3230] = 0.0

    kept, told = fit(lost, running, even, usual), fit(burst, running, even, usual)
    untold = fit(burst, running, even, even)
    assert told.rest + told.run == pytest.approx(kept.rest + kept.run, rel=0.2, abs=1.0)
    assert untold.rest + untold.run + untold.lumps > 20.0 * (kept.rest + kept.run + kept.lumps)


def test_half_hours_add_up():
    """Increments are what each half hour lost, and their sum is the total at its last one."""
    lost = np.arange(1, 101, dtype=float)

    assert increments(lost).tolist() == [30.0, 30.0, 30.0]
    assert halves(np.arange(60, dtype=float)).tolist() == [14.5, 44.5]
