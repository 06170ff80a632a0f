"""Focal length and centre after the fit, held against what the file says of them.

A picture that is not what its file says (cut, zoomed, squeezed, from another camera) shows a
reference whose perspective needs another focal length or another centre.  Such a fit is a
finding, not a result: it is told, and what the file says is then believed no more than what a
stranger's picture would be.
"""

from __future__ import annotations

from dataclasses import replace
from math import hypot
from typing import Final

import numpy as np
from numpy.typing import NDArray

from photocheck.judge.joint import Joint
from photocheck.judge.outliers import LEAST_TOLD, told_score
from photocheck.judge.shots import camera_at
from photocheck.judge.solve import Mode
from photocheck.scale.pose import View
from photocheck.scale.priors import FOCAL_DOUBTED
from photocheck.speech import tr

Array = NDArray[np.float64]

FILE_LIMIT: Final = 3.5
"""Standard deviations from which a focal length or a centre that does not go with the file is told
(judgement: 1 good photo in 700 over the three)."""
EVENLY: Final = 0.5
"""How probably a picture whose file is doubted is cut (judgement: zoomed or misnamed as likely)."""
OF_THE_FILE: Final = ("focal", "framing")
"""Sources, of `Joint.sources`, whose residuals are the priors of what the file says."""


def unlike_file(joint: Joint, mode: Mode, number: int) -> str:
    """What is to be said of a photo that contradicts its file; empty for one that does not.

    Baarda's w-test of the priors of focal length, growth and centre in the fit of that photo alone.

    Parameters
    ----------
    joint, mode : Joint and Mode
        Of one photo from the side.
    number : int
        What people call the photo.
    """
    if farthest(joint, mode) <= FILE_LIMIT:
        return ""
    (shot,) = joint.shots
    camera = camera_at(joint.unknowns, mode.theta, shot, 0)
    width, height = shot.view.size_px
    across, down = (camera.centre_px - shot.view.frame.middle_px) / np.array([width, height])
    return tr(
        "Photo {number}: what it shows of the reference does not go with its file. It fits a focal "
        "length {percent:+.0f} % off what the file lets expect, and a middle {across:.0f} % of the "
        "width and {down:.0f} % of the height away from the picture's: it may be cropped, zoomed "
        "or squeezed, or the reference is another than was named. Its lengths are taken as that "
        "much less certain; send the whole photo as the camera saved it.",
        number=number,
        percent=100.0 * (float(camera.focal_px) / shot.view.usual_focal_px - 1.0),
        across=100.0 * abs(float(across)),
        down=100.0 * abs(float(down)),
    )


def farthest(joint: Joint, mode: Mode) -> float:
    """The largest of the w-tests of what a one-photo model believes of its file."""
    scores = (
        told_score(mode, row, LEAST_TOLD)
        for row, source in enumerate(joint.sources)
        if source in OF_THE_FILE
    )
    return max((score for score in scores if score is not None), default=0.0)


def doubted(view: View) -> View:
    """The same photo with its file believed no more than a stranger's: cut or not, both may be."""
    spread = hypot(view.camera.focal_spread or 0.0, FOCAL_DOUBTED)
    framing = replace(view.camera.framing, cut=max(view.camera.framing.cut, EVENLY))
    return replace(view, camera=replace(view.camera, focal_spread=spread, framing=framing))
