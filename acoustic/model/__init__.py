"""The frozen objects that travel down the chain, from recording to analysis."""

from acoustic.conditions import Level
from acoustic.model.analysis import Analysis, Features
from acoustic.model.bearing import Bearing
from acoustic.model.drivetrain import Drivetrain, HeardDrivetrain
from acoustic.model.motion import HeardTrain, Motion, SpeedRequest, Spin
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
    "Features",
    "Finding",
    "HeardDrivetrain",
    "HeardTrain",
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
