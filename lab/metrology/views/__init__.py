"""What each pose of a tracker will see: planned at the desk.

- `plan_targets`, `poses_looking_at`, `Tracker`, `surround`: what is planned.
- `see_targets`: which target is seen from which pose, and why not.
- `judge_poses`, `judge_steps`: whether it is enough.
- `find_sites`, `advise_targets`: the fewest targets to add, with proof.
- `advise_stations`: the fewest stations.
- `reach_surface`: what a hand-held scanner can reach while the tracker sees it.
- `points_of_interest`, `sketch_pose`, `make_display_copy`, `project_picks`: for pages
  and set-up sheets.
"""

from __future__ import annotations

from lab.metrology.views.advising import TargetPlan, advise_targets
from lab.metrology.views.display import (
    DisplayCopy,
    Pick,
    make_display_copy,
    project_picks,
)
from lab.metrology.views.interest import points_of_interest
from lab.metrology.views.judging import (
    PoseView,
    Requirement,
    WeakStep,
    judge_poses,
    judge_steps,
)
from lab.metrology.views.programme import NoPlan
from lab.metrology.views.rays import Blockers
from lab.metrology.views.reach import Reach, Scanner, ShareReached, reach_surface
from lab.metrology.views.sites import SitesLeftNone, find_sites
from lab.metrology.views.sketch import Sketch, sketch_pose
from lab.metrology.views.stations import StationPlan, advise_stations
from lab.metrology.views.trackers import (
    PlannedTargets,
    Poses,
    Tracker,
    plan_targets,
    poses_looking_at,
)
from lab.metrology.views.visibility import (
    Reason,
    Surroundings,
    Visibility,
    see_targets,
    surround,
)

__all__ = [
    "Blockers",
    "DisplayCopy",
    "NoPlan",
    "Pick",
    "PlannedTargets",
    "PoseView",
    "Poses",
    "Reach",
    "Reason",
    "Requirement",
    "Scanner",
    "ShareReached",
    "SitesLeftNone",
    "Sketch",
    "StationPlan",
    "Surroundings",
    "TargetPlan",
    "Tracker",
    "Visibility",
    "WeakStep",
    "advise_stations",
    "advise_targets",
    "find_sites",
    "judge_poses",
    "judge_steps",
    "make_display_copy",
    "plan_targets",
    "points_of_interest",
    "poses_looking_at",
    "project_picks",
    "reach_surface",
    "see_targets",
    "sketch_pose",
    "surround",
]
