import pytest

from telemetry.simulator import (
    BeamDead,
    BeamDropouts,
    Chatter,
    FeedJam,
    LimitOverrun,
    LogGap,
    LooseLug,
    MatchPlan,
    MotorUnplugged,
    SimulatedMatch,
    simulate_match,
)

SHORT = MatchPlan(autonomous_s=8.0, teleop_s=40.0, endgame_s=20.0, hits=8.0)


@pytest.fixture(scope="session")
def short_plan() -> MatchPlan:
    return SHORT


@pytest.fixture(scope="session")
def clean() -> SimulatedMatch:
    return simulate_match(seed=5, plan=SHORT)


@pytest.fixture(scope="session")
def troubled() -> SimulatedMatch:
    """One match with most faults in it at once, of the same seed as the clean one."""
    faults = (
        BeamDropouts(beam="entry", probability=1.0, length_s=(2.0, 4.0)),
        Chatter(beam="middle", bursts_per_belt_minute=30.0),
        FeedJam(from_s=17.0, held_s=1.5),
        BeamDead(beam="gate", from_s=36.0, stuck="broken"),
        LogGap(at_s=28.0, length_s=1.5),
        LooseLug(from_s=30.0, resistance_ohm=0.05),
        MotorUnplugged(motor="intake", from_s=12.0, to_s=15.0),
        LimitOverrun(driven_on_s=1.0),
    )
    return simulate_match(seed=5, plan=SHORT, faults=faults)
