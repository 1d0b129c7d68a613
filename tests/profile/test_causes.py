"""Why a stretch runs, against what a controller does; minutes worked out by hand.

The controller (common practice of the trade, no published source; [MEM] where it says so): priming at each start for its
minutes, before the plan takes over; an override of one speed for at most 24 h, then the plan again (facts 2k, from
memory); freeze protection starts a standing pump in the cold; an auxiliary load raises a slower pump to its minimum.
"""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from steady_days import AUTUMN, ORDINARY, SPRING, midnight, minutes, spans_of, steady_rows

ON_PLAN = [(0, 0), (480, 1800), (485, 2600), (540, 1200), (1080, 0)]


def day_of(*stretches: tuple, day: date = ORDINARY, days: int = 1, sample_min: float | None = 1, **more: object):
    stop = (midnight(day + timedelta(days=days)) - midnight(day)).total_seconds() / 60
    return minutes(spans_of(steady_rows(stretches, day, stop, sample_min), day, days, **more))


def test_a_day_on_plan() -> None:
    assert day_of(*ON_PLAN) == {"off": 480 + 360, "plan period": 55 + 540, "priming": 5}


# priming


def test_priming_at_each_start() -> None:
    """Two stops of the day, each followed by five minutes of priming: 5 at 08:00, 5 at 12:30, 5 at 15:00."""
    states = [*ON_PLAN[:4], (720, 0), (750, 1800), (755, 1200), (890, 0), (900, 1800), (905, 1200), (1080, 0)]
    assert day_of(*states)["priming"] == 15


def test_priming_speed_in_the_middle_of_a_run_is_no_priming() -> None:
    """Half an hour at the priming's speed, two hours after the start, then back: somebody at the pad."""
    told = day_of(*ON_PLAN[:4], (660, 1800), (690, 1200), (1080, 0))
    assert (told["priming"], told["override"]) == (5, 30)


def test_a_burst_at_priming_speed_within_a_run_is_neither_priming_nor_the_plans_edge() -> None:
    """Five minutes at noon, as a pump that has lost its water does; too short for an override."""
    told = day_of(*ON_PLAN[:4], (720, 1800), (725, 1200), (1080, 0))
    assert (told["priming"], told["unexplained"], told["plan period"]) == (5, 5, 55 + 535)


def test_a_mean_over_priming_and_plan_is_the_plans_edge() -> None:
    """A log of means over 15 minutes: 5 min at 1800 and 10 at 1200 are 1400."""
    told = day_of((0, 0), (540, 1400), (555, 1200), (1080, 0), sample_min=15, plan=[(1, 1200.0, 540, 1080)])
    assert told == {"off": 900, "plan period": 540}


def test_an_override_at_priming_speed_begins_behind_the_priming() -> None:
    """From standstill at 20:00 for three hours: an override cannot begin while the pump primes (common practice)."""
    told = day_of(*ON_PLAN, (1200, 1800), (1380, 0))
    assert (told["priming"], told["override"]) == (5 + 5, 175)


def test_priming_that_a_log_shows_longer_by_its_interval_is_priming() -> None:
    told = day_of(*[(0, 0), (480, 1800), (495, 2600), (540, 1200), (1080, 0)], sample_min=15)
    assert (told["priming"], told["plan period"]) == (15, 45 + 540)


def test_a_pump_without_priming_on_record_never_primes() -> None:
    assert "priming" not in day_of(*ON_PLAN, priming_speed_rpm=None, priming_min=None)


def test_a_run_that_goes_on_behind_a_short_hole_did_not_start_there() -> None:
    """An override at the priming's speed with half an hour lost from the log: 10:00-11:00 and 11:30-13:00."""
    told = day_of(*ON_PLAN[:4], (600, 1800), (660, None), (690, 1800), (780, 1200), (1080, 0))
    assert told == {"off": 840, "override": 60 + 90, "plan period": 55 + 60 + 300, "priming": 5, "unknown": 30}


# overrides


@pytest.mark.parametrize(("length", "cause"), [(1440, "override"), (1441, "unexplained")])
def test_check_value_2k_an_override_of_24_h_and_one_minute_more(length: int, cause: str) -> None:
    """Facts 2k [MEM-H]: 24 h 0 min passes, 24 h 1 min does not; a log of changes knows the minute.

    From 10:00 on. The plan's own 2600 and 1200 rpm lie 400 rpm away from 3000 at least."""
    states = [*ON_PLAN[:4], (600, 3000), (600 + length, 1200), (1440 + 1080, 0)]
    told = day_of(*states, days=2, sample_min=None)
    assert told[cause] == length and set(told) - {cause} == {"off", "plan period", "priming"}


@pytest.mark.parametrize(("length", "cause"), [(1445, "override"), (1450, "unexplained")])
def test_a_sampled_log_may_show_one_sample_more(length: int, cause: str) -> None:
    states = [*ON_PLAN[:4], (600, 3000), (600 + length, 1200), (1440 + 1080, 0)]
    assert day_of(*states, days=2, sample_min=5)[cause] == length


@pytest.mark.parametrize(("day", "length"), [(AUTUMN - timedelta(days=1), 1440), (SPRING - timedelta(days=1), 1440)])
def test_24_hours_are_hours_and_not_a_day_of_the_clock(day: date, length: int) -> None:
    """From 20:00 before the change of the clock: 24 real hours end at 19:00 in autumn, at 21:00 in spring, in the
    plan's pause either way."""
    states = [*ON_PLAN, (1200, 3000), (1200 + length, 0)]
    assert day_of(*states, day=day, days=2, sample_min=None)["override"] == length


def test_two_overrides_back_to_back_are_two() -> None:
    """3000 from 10:00 to 12:00 and 2200 until 14:00. Both hand back in the end, whatever their order of lengths."""
    told = day_of(*ON_PLAN[:4], (600, 3000), (720, 2200), (840, 1200), (1080, 0))
    assert told["override"] == 240 and "unexplained" not in told


def test_two_overrides_of_20_hours_are_not_one_of_40() -> None:
    states = [*ON_PLAN[:4], (600, 3000), (1800, 2200), (3000, 0)]
    assert day_of(*states, days=3, sample_min=None)["override"] == 2400
    one = [*ON_PLAN[:4], (600, 3000), (3000, 0)]
    assert day_of(*one, days=3, sample_min=None)["unexplained"] == 2400


def test_an_override_that_a_longer_one_follows_stays_unexplained() -> None:
    """Two hours at 2200, then 30 h at 3000: the first never handed back to the plan."""
    states = [*ON_PLAN[:4], (600, 2200), (720, 3000), (2520, 0)]
    told = day_of(*states, days=2, sample_min=None)
    assert told["unexplained"] == 120 + 1800 and "override" not in told


def test_the_last_of_a_chain_is_an_override_though_the_first_was_too_long() -> None:
    """30 h at 3000 from 10:00, two hours at 2200 until 18:00 of the next day."""
    states = [*ON_PLAN[:4], (600, 3000), (2400, 2200), (2520, 0)]
    told = day_of(*states, days=2, sample_min=None)
    assert (told["override"], told["unexplained"]) == (120, 1800)


@pytest.mark.parametrize(("hole", "cause"), [(120, "override"), (121, "unexplained")])
def test_an_override_that_ends_in_a_hole(hole: int, cause: str) -> None:
    """The plan is seen again within the bridge of two hours, or too late; the hole lies across the plan's change at
    18:00, which cuts it and must not shorten it."""
    states = [*ON_PLAN[:4], (900, 3000), (1080 - hole / 2, None), (1080 + hole / 2, 0)]
    assert day_of(*states)[cause] == 180 - hole / 2


def test_a_blip_of_the_supply_ends_no_override() -> None:
    """Five minutes off and five of priming within: 10:00-11:00 and 11:10-13:00."""
    told = day_of(*ON_PLAN[:4], (600, 3000), (660, 0), (665, 1800), (670, 3000), (780, 1200), (1080, 0))
    assert (told["override"], told["priming"]) == (60 + 110, 10)


def test_a_stop_for_longer_than_an_edge_is_not_the_plan() -> None:
    """Off from 12:00 to 14:00 although the plan runs, then the plan: the stretch before ended in no plan."""
    told = day_of(*ON_PLAN[:4], (600, 3000), (720, 0), (840, 1800), (845, 1200), (1080, 0))
    assert told["unexplained"] == 120


def test_a_mean_of_two_overrides_is_not_the_plan() -> None:
    told = day_of(*ON_PLAN[:4], (600, 3000), (720, 2600), (735, 2200), (840, 1200), (1080, 0), sample_min=15)
    assert (told["override"], told["unexplained"]) == (120 + 105, 15)


# freeze protection

COLD_UNTIL_4 = [1.0] * 4 + [12.0] * 21


@pytest.mark.parametrize(
    ("air_c", "cause"),
    [([6.0] * 25, "freeze protection"), ([6.1] * 25, "override"), (None, "override")],
)
def test_freeze_protection_within_its_margin(air_c: list[float] | None, cause: str) -> None:
    """Set point 3 deg C and 3 for the distance between station and pad; without a station nobody can say."""
    told = day_of((0, 0), (60, 1500), (180, 0), *ON_PLAN[1:], air_c=air_c, freeze_setpoint_c=3.0, freeze_speed_rpm=1500)
    assert told[cause] == 120


def test_freeze_protection_does_not_slow_or_speed_a_period() -> None:
    """It starts a standing pump (common practice): 1500 rpm inside a period of 1200 is somebody's hand."""
    states = [*ON_PLAN[:4], (600, 1500), (720, 1200), (1080, 0)]
    told = day_of(*states, air_c=[1.0] * 25, freeze_setpoint_c=3.0, freeze_speed_rpm=1500)
    assert told["override"] == 120


def test_freeze_protection_primes_first_and_overhangs_the_plan_by_an_edge() -> None:
    """Start at 05:00, priming to 05:05, then until 08:10, ten minutes into the period."""
    states = [(0, 0), (300, 1800), (305, 1500), (490, 2600), *ON_PLAN[3:]]
    told = day_of(*states, air_c=[1.0] * 9 + [12.0] * 16, freeze_setpoint_c=3.0, freeze_speed_rpm=1500)
    assert told["freeze protection"] == 185 and told["priming"] == 5 and told["plan period"] == 50 + 540


def test_freeze_protection_on_the_night_of_25_hours() -> None:
    """00:00 to 03:00 by the wall clock are four hours when 01:00-02:00 comes twice."""
    states = [(0, 1500), (240, 0), (540, 1800), (545, 2600), (600, 1200), (1140, 0)]
    told = day_of(*states, day=AUTUMN, air_c=[1.0] * 26, freeze_setpoint_c=3.0, freeze_speed_rpm=1500)
    assert told == {"freeze protection": 240, "off": 300 + 360, "plan period": 55 + 540, "priming": 5}


# auxiliary load


@pytest.mark.parametrize(
    ("rpm", "on", "cause"), [(1750, True, "auxiliary load"), (1750, False, "override"), (2000, True, "override")]
)
def test_an_auxiliary_load_raises_the_speed_to_its_minimum(rpm: float, on: bool, cause: str) -> None:
    states = [(0, 0, False), (480, 1800, False), (485, 2600, False), (540, 1200, False)]
    told = day_of(*states, (600, rpm, on), (780, 1200, False), (1080, 0, False), aux_min_speed_rpm=1750)
    assert told[cause] == 180


def test_an_auxiliary_load_in_a_pause_runs_the_pump() -> None:
    told = day_of(*ON_PLAN, (1200, 1700, True), (1260, 0, False), aux_min_speed_rpm=1700)
    assert told["auxiliary load"] == 60


def test_a_load_that_cycles_keeps_its_speed_up() -> None:
    """On for 20 and off for 10 minutes twice: an hour at its speed, 1200 rpm planned."""
    cycling = [(600, 1750, True), (620, 1750, False), (630, 1750, True), (650, 1750, False)]
    told = day_of(*ON_PLAN[:4], *cycling, (660, 1200, False), (1080, 0, False), aux_min_speed_rpm=1750)
    assert told["auxiliary load"] == 60


def test_an_auxiliary_load_does_not_explain_what_runs_without_it() -> None:
    """On from 10:00 to 11:00, the speed held until 13:00: the two hours after it are off the plan."""
    told = day_of(
        *ON_PLAN[:4], (600, 1750, True), (660, 1750, False), (780, 1200, False), (1080, 0), aux_min_speed_rpm=1750
    )
    assert (told["auxiliary load"], told["override"]) == (60, 120)


def test_a_plan_above_the_minimum_needs_no_raising() -> None:
    """1200 rpm under a load whose minimum is 1200: the plan; and slower than the plan is never the load's doing."""
    told = day_of(*[(minute, rpm, True) for minute, rpm in ON_PLAN], aux_min_speed_rpm=1200)
    assert "auxiliary load" not in told
    slower = day_of((0, 0), (480, 1800), (485, 1750, True), (540, 1200), (1080, 0), aux_min_speed_rpm=1750)
    assert slower.get("auxiliary load") is None


# properties

SPEEDS = st.sampled_from([None, 0, 600, 1200, 1200, 1500, 1750, 1800, 2600, 2640, 3000, 3450])
RUNS = st.lists(
    st.tuples(st.integers(0, 2 * 1380), SPEEDS, st.sampled_from([None, True, False])),
    unique_by=lambda run: run[0],
    max_size=25,
).map(lambda runs: sorted(runs, key=lambda run: run[0]))
FULL = {"freeze_setpoint_c": 3.0, "freeze_speed_rpm": 1500.0, "aux_min_speed_rpm": 1750.0}
AIR = st.one_of(st.none(), st.lists(st.sampled_from([1.0, 5.9, 12.0]), min_size=50, max_size=50))
DAYS = st.sampled_from([ORDINARY, AUTUMN, SPRING])


@settings(max_examples=15, deadline=None, derandomize=True)
@given(RUNS, DAYS, AIR)
def test_causes_cover_each_local_day_once(runs: list, day: date, air_c: list | None) -> None:
    spans = spans_of(steady_rows(runs, day, 2760, 1), day, 2, air_c=air_c, **FULL)
    assert (spans["end_utc"][:-1] == spans["start_utc"][1:]).all() and (spans["duration_min"] > 0).all()
    for at in range(2):
        that = day + timedelta(days=at)
        length = (midnight(that + timedelta(days=1)) - midnight(that)).total_seconds() / 60
        own = spans.filter(spans["day_local"] == that)
        assert own["start_utc"].min() == midnight(that)
        assert own["duration_min"].sum() == pytest.approx(length)
    known = spans.filter(spans["kind"] == "run")
    assert set(known["cause"]) <= {
        "plan period", "priming", "override", "freeze protection", "auxiliary load", "unexplained",
    }  # fmt: skip
    assert (spans.filter(spans["kind"] != "run")["cause"] == spans.filter(spans["kind"] != "run")["kind"]).all()
    put_in = sum(row["energy_kwh"] for row in steady_rows(runs, day, 2760, 1))
    assert (spans["energy_kwh"].sum() or 0) == pytest.approx(put_in, abs=1e-6)


@settings(max_examples=15, deadline=None, derandomize=True)
@given(RUNS, DAYS, AIR, st.lists(st.integers(1, 2 * 1380 - 1), min_size=1, max_size=8, unique=True))
def test_cutting_a_stretch_changes_no_minutes(runs: list, day: date, air_c: list | None, cuts: list[int]) -> None:
    """Readings say how fine the log is, so that a cut stretch keeps its share of them: a minute each here."""
    state = {start: rest for start, *rest in runs}
    for cut in cuts:
        before = [start for start in state if start <= cut]
        if before:
            state.setdefault(cut, state[max(before)])
    finer = [(start, *rest) for start, rest in sorted(state.items())]
    whole = spans_of(steady_rows(runs, day, 2760, 1), day, 2, air_c=air_c, **FULL)
    parted = spans_of(steady_rows(finer, day, 2760, 1), day, 2, air_c=air_c, **FULL)
    assert minutes(whole) == minutes(parted)
