"""Allow ``python -m meltwick.cli``."""

import sys

from meltwick.cli import main

sys.exit(main())
