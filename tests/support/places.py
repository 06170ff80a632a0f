"""Where things lie in a checkout."""

from __future__ import annotations

from pathlib import Path
from typing import Final

ROOT: Final = Path(__file__).resolve().parents[2]
SAMPLES: Final = ROOT / "sample_images_demo"
APP: Final = ROOT / "app" / "photocheck_app"
SUPPORT: Final = Path(__file__).parent
