"""Allow ``python -m meltwick``."""

import sys

from meltwick.cli import main

sys.exit(main())
