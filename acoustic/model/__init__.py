"""The frozen objects that travel down the chain, from recording to analysis."""

from acoustic.conditions import Level
from acoustic.model.bearing import Bearing
from acoustic.model.drivetrain import Drivetrain, HeardDrivetrain
from acoustic.model.hearing import Analysis, Hearing
from acoustic.model.motion import HeardBeat, Motion, SpeedRequest, Spin
from acoustic.model.recording import Recording, Side, Sound, Step
from acoustic.model.scene import Scene
from acoustic.model.verdict import CONDITIONS, Evidence, Failure, Finding, Problem, Quality, Verdict

__all__ = [
    "CONDITIONS",
    "Analysis",
    "Bearing",
    "Drivetrain",
    "Evidence",
    "Failure",
    "Finding",
    "HeardBeat",
    "HeardDrivetrain",
    "Hearing",
    "Level",
    "Motion",
    "Problem",
    "Quality",
    "Recording",
    "Scene",
    "Side",
    "Sound",
    "SpeedRequest",
    "Spin",
    "Step",
    "Verdict",
]
