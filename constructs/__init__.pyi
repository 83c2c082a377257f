# What type checkers and editors read: the names that `__init__.py` loads when they are asked for.

from buttress.bench.run import run_bench as run_bench
from buttress.comparison.compare import compare as compare
from buttress.comparison.stages import run_stages as run_stages
from buttress.draw import figures as figures
from buttress.fe.errors import InputError as InputError
from buttress.fe.richardson import extrapolate as extrapolate
from buttress.fe.verification import statics as statics
from buttress.improving.search import improve as improve
from buttress.ranking.designs import describe as describe
from buttress.ranking.rank import rank as rank
from buttress.report.assumptions import LIMITS as LIMITS
from buttress.report.assumptions import assumptions as assumptions
from buttress.report.diff import diff as diff
from buttress.report.glossary import glossary as glossary
from buttress.report.written import write_study as write_study
from buttress.rules.check import check as check
from buttress.study.read import example as example
from buttress.study.read import example_names as example_names
from buttress.study.read import example_text as example_text
from buttress.study.read import load_study as load_study
from buttress.study.read import only as only
from buttress.study.read import parse_study as parse_study
from buttress.study.read import study_from as study_from
from buttress.study.tables import table_value as table_value
from buttress.sweeps.batch import batch as batch
from buttress.sweeps.explore import Explorer as Explorer
from buttress.sweeps.rows import sweep_frame as sweep_frame
from buttress.sweeps.sweep import sweep as sweep
from buttress.sweeps.vary import known_keys as known_keys
from buttress.sweeps.vary import varied as varied
from buttress.verification.table import verify as verify

LABEL: str
__version__: str
