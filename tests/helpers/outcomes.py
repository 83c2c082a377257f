"""What became of a case of a sweep, made up."""

from __future__ import annotations

from buttress.sweeps.evaluate import Outcome


def outcome(number: int, constructs: int = 2) -> Outcome:
    names = [f"construct {i}" for i in range(constructs)]
    return Outcome(
        number, f"h{number}", seconds=0.5, worker=7, counts={"factorisations": 2, "answers": 3},
        capacities=[{"construct": n, "capacity_lower_N": 900.0, "capacity_upper_N": None,
                     "capacity_status": "not limited by this model", "links": 5} for n in names],
        results=[{"construct": n, "total_load_N": 700.0, "status": "held", "step_off_mm": 0.25,
                  "subsidence_mean_mm": 0.1 * number} for n in names],
        fragments=[{"construct": n, "total_load_N": 700.0, "fragment": "medial", "tilt_deg": 1.0}
                   for n in names],
        edges=[{"construct": n, "total_load_N": 700.0, "edge": "shear plane", "gap_mm": 0.0}
               for n in names])
