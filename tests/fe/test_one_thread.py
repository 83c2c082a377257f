"""Linear algebra on one thread: every library that is loaded, which are looked for once."""

from __future__ import annotations

import os
import subprocess
import sys

from buttress.workers import cores

CODE = """
import numpy
from threadpoolctl import threadpool_info
from buttress.fe import threads

def counts():
    return [library["num_threads"] for library in threadpool_info()]

looked = []
class Counted(threads.ThreadpoolController):
    def __init__(self):
        looked.append(self)
        super().__init__()
threads.ThreadpoolController = Counted

few = counts()
with threads.one_thread(), threads.one_thread():
    assert set(counts()) == {1}
assert counts() == few
import scipy.linalg
usual = counts()
for _ in range(3):
    with threads.one_thread():
        assert set(counts()) == {1}
    assert counts() == usual
assert len(looked) == 2
print(*usual)
"""


def test_libraries_that_come_later_are_limited_too_and_none_is_looked_for_again() -> None:
    done = subprocess.run([sys.executable, "-c", CODE], capture_output=True, text=True, check=False,
                          env=os.environ | {"OPENBLAS_NUM_THREADS": "2", "OMP_NUM_THREADS": "2"})
    assert done.returncode == 0, done.stderr
    assert set(done.stdout.split()) == {str(min(2, cores()))}
