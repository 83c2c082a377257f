"""Stages: a construct is placed, tightened, locked, loaded and cycled in a stated order.

    from constructs.stages import run_stages
    from constructs.stages.figure import stage_pictures
    from constructs.study import example

    staged = run_stages(example("staged-tightening"))
    stage_pictures(staged["plate first"])

"""

from constructs.stages.records import StagedResult, StagedStudy, StageResult
from constructs.stages.run import run_stages

__all__ = ["StageResult", "StagedResult", "StagedStudy", "run_stages"]
