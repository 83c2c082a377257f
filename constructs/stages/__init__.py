"""Stages: a construct is placed, tightened, locked, loaded and cycled in a stated order.

    from buttress.stages import run_stages
    from buttress.draw.stages import stage_pictures
    from buttress.study.read import example

    staged = run_stages(example("staged-tightening"))
    stage_pictures(staged["plate first"])

"""

from buttress.compare.stages import run_stages
from buttress.results.stages import StagedResult, StagedStudy, StageResult

__all__ = ["StageResult", "StagedResult", "StagedStudy", "run_stages"]
