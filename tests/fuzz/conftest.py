"""What the fuzz tests share: the modules beside them, which are no tests themselves."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
