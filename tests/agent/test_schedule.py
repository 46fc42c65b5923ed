"""The schedule: a run that is late is made up for, one that fails is told."""

import threading
from datetime import UTC, datetime, timedelta

import pytest

from agent.schedule import Schedule
from tests.waiting import wait_until


def test_the_library_is_told_never_to_leave_out_a_late_run() -> None:
    """Its defaults skip what is a second late (agronholm/apscheduler, issue 296)."""
    schedule = Schedule(lambda: None, lambda: None)
    schedule.start()
    jobs = schedule._scheduler.get_jobs()
    schedule.stop()

    assert {job.id for job in jobs} == {"tick", "housekeeping"}
    assert all(job.misfire_grace_time is None and job.coalesce for job in jobs)


def test_a_run_that_is_long_overdue_happens_once() -> None:
    """After a sleep of the machine the tick comes at once, and not once for each minute."""
    ticks = threading.Semaphore(0)
    schedule = Schedule(ticks.release, lambda: None)
    schedule.start()
    long_ago = datetime.now(UTC) - timedelta(hours=3)  # noqa: TID251  the library's own clock
    schedule._scheduler.modify_job("tick", next_run_time=long_ago)
    assert ticks.acquire(timeout=10.0)
    schedule.stop()

    # a whole minute may have begun meanwhile
    assert ticks._value <= 1  # type: ignore[attr-defined]  # the count of further ticks
    assert schedule.missed == 0


def test_without_a_tick_there_is_only_housekeeping() -> None:
    """Where a topic is the clock, the machine's minutes are none."""
    schedule = Schedule(None, lambda: None)
    schedule.start()
    jobs = schedule._scheduler.get_jobs()
    schedule.stop()

    assert [job.id for job in jobs] == ["housekeeping"]


def test_a_job_that_fails_is_told_and_runs_again(caplog: pytest.LogCaptureFixture) -> None:
    """A locked store does not end housekeeping for good."""
    runs = 0

    def fail() -> None:
        nonlocal runs
        runs += 1
        raise OSError("disk away")

    schedule = Schedule(None, fail)
    schedule.start()
    now = datetime.now(UTC)  # noqa: TID251  the library's own clock
    schedule._scheduler.modify_job("housekeeping", next_run_time=now)
    wait_until(lambda: "housekeeping failed" in caplog.text, "the failure to be told")
    next_run = schedule._scheduler.get_job("housekeeping").next_run_time
    schedule.stop()

    assert (runs, schedule.missed) == (1, 1)
    assert next_run > now
