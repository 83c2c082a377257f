"""Workers for a script that a researcher writes: its lines need no guard, and run once."""

import subprocess
import sys

import pytest

SCRIPT = '''
from pathlib import Path
from buttress import sweep
from buttress.study.read import example, only

print("once")
coarse = ["mesh.size_mm=7", "mesh.coarse_mm=14"]
found = sweep(only(example("medial-shear"), "lag screws", "nothing"), workers=1, out=Path({out!r}),
              vary=["fracture.shear plane.friction=0.3,0.5", *coarse])
print(found.done, found.failures)
'''


@pytest.mark.parametrize("how", ["a file", "standard input"])
def test_a_script_without_a_guard_has_its_workers(tmp_path, how):
    """Each process ran the script again, and died of it: "worker died" in every case."""
    script = SCRIPT.format(out=str(tmp_path / "store.sqlite"))
    (tmp_path / "script.py").write_text(script, encoding="utf-8")
    command, given = ([str(tmp_path / "script.py")], None) if how == "a file" else (["-"], script)
    ended = subprocess.run([sys.executable, *command], input=given, capture_output=True, text=True,
                           timeout=300, check=False)
    assert ended.stdout.splitlines() == ["once", "2 {}"], ended.stderr
    assert ended.stderr == ""
